//! A plain HTTP client and the answers that it gets.

use reqwest::header::HeaderMap;
use reqwest::{Method, RequestBuilder};
use serde_json::Value;

#[derive(Clone)]
pub struct Client {
    http: reqwest::Client,
    base: String,
    token: Option<String>,
}

impl Client {
    pub fn new(base: String) -> Self {
        Client {
            http: reqwest::Client::new(),
            base,
            token: None,
        }
    }

    pub fn with_token(&self, token: &str) -> Self {
        Client {
            token: Some(token.to_owned()),
            ..self.clone()
        }
    }

    pub fn token(&self) -> Option<&str> {
        self.token.as_deref()
    }

    /// A client of the same server whose paths all stand below `path`.
    pub fn under(&self, path: &str) -> Self {
        Client {
            base: format!("{}{path}", self.base),
            ..self.clone()
        }
    }

    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.http.request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    pub async fn get(&self, path: &str) -> Answer {
        Answer::of(self.request(Method::GET, path)).await
    }

    pub async fn post(&self, path: &str, body: &Value) -> Answer {
        Answer::of(self.request(Method::POST, path).json(body)).await
    }

    pub async fn post_once(&self, path: &str, body: &Value, key: &str) -> Answer {
        let request = self.request(Method::POST, path).json(body);
        Answer::of(request.header("Idempotency-Key", key)).await
    }

    /// A file of a kind, as a client in the field sends it.
    pub fn upload_request(
        &self,
        kind: &str,
        round: Option<&str>,
        file: impl Into<Vec<u8>>,
    ) -> RequestBuilder {
        let request = self
            .request(Method::POST, "/batches")
            .query(&[("kind", kind)])
            .header("Content-Type", "text/csv; charset=utf-8")
            .body(file.into());
        match round {
            Some(round) => request.query(&[("round", round)]),
            None => request,
        }
    }

    pub async fn upload(
        &self,
        kind: &str,
        round: Option<&str>,
        file: impl Into<Vec<u8>>,
    ) -> Answer {
        Answer::of(self.upload_request(kind, round, file)).await
    }
}

#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub headers: HeaderMap,
    pub bytes: Vec<u8>,
}

impl Answer {
    pub async fn of(request: RequestBuilder) -> Self {
        let response = request.send().await.expect("an answer");
        Answer {
            status: response.status().as_u16(),
            headers: response.headers().clone(),
            bytes: response.bytes().await.expect("a whole answer").to_vec(),
        }
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .map_or("", |value| value.to_str().expect("a plain header"))
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes)
            .unwrap_or_else(|e| panic!("{e} in answer {}: {}", self.status, self.text()))
    }

    /// The body, where the status is the expected one.
    #[track_caller]
    pub fn ok(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}", self.text());
        self.json()
    }

    /// The body of a refusal, where status and type are the expected ones and the
    /// form is that of RFC 9457.
    #[track_caller]
    pub fn problem(&self, status: u16, kind: &str) -> Value {
        let text = self.text();
        assert_eq!(self.status, status, "{text}");
        assert_eq!(
            self.header("content-type"),
            "application/problem+json",
            "{text}"
        );
        let problem = self.json();
        assert_eq!(problem["type"], format!("/problems/{kind}"), "{text}");
        assert_eq!(problem["status"], status, "{text}");
        for member in ["title", "detail"] {
            let filled = problem[member]
                .as_str()
                .is_some_and(|text| !text.is_empty());
            assert!(filled, "no {member}: {text}");
        }
        problem
    }
}
