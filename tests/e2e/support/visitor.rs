//! A visitor of the pages without a browser: one cookie, forms with the session's token.

use super::{Answer, TestProgramme};
use reqwest::{Client, Method, RequestBuilder};
use std::sync::Mutex;

/// A browser of its own: it keeps one cookie and follows no redirect.
pub struct Browser {
    http: Client,
    base: String,
    programme: String,
    pub session: Option<String>,
    /// Of the session: goes with every form.
    token: Mutex<Option<String>>,
    /// Sent as the address that a proxy saw.
    pub from: &'static str,
}

impl Browser {
    pub fn new(programme: &TestProgramme) -> Self {
        let http = Client::builder().redirect(reqwest::redirect::Policy::none());
        Browser {
            http: http.build().expect("a client"),
            base: format!("http://{}", programme.app.address),
            programme: programme.code.clone(),
            session: None,
            token: Mutex::default(),
            from: "192.0.2.1",
        }
    }

    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.http.request(method, format!("{}{path}", self.base));
        let request = request.header("x-forwarded-for", self.from);
        match &self.session {
            Some(session) => request.header("cookie", format!("emberbook_session={session}")),
            None => request,
        }
    }

    pub async fn get(&self, path: &str) -> Answer {
        Answer::of(self.request(Method::GET, path)).await
    }

    /// The token of the session's forms, read off a page as a browser would.
    pub async fn form_token(&self) -> Option<String> {
        let known = self.token.lock().expect("a token").clone();
        if known.is_some() || self.session.is_none() {
            return known;
        }
        let page = self.get("/account").await.text();
        let (_, from) = page.split_once("name=\"form_token\" value=\"")?;
        let token = from.split('"').next().map(str::to_owned);
        *self.token.lock().expect("a token") = token.clone();
        token
    }

    /// Sends a form with the session's token, and keeps the cookie that comes back.
    pub async fn send(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let token = self.form_token().await;
        let mut fields = fields.to_vec();
        fields.extend(token.iter().map(|token| ("form_token", token.as_str())));
        self.send_bare(path, &fields).await
    }

    /// Sends these fields and no other.
    pub async fn send_bare(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let query = reqwest::Url::parse_with_params("http://x/", fields).expect("fields");
        let request = self
            .request(Method::POST, path)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(query.query().unwrap_or_default().to_owned());
        let answer = Answer::of(request).await;
        let cookie = answer.header("set-cookie");
        if let Some(rest) = cookie.strip_prefix("emberbook_session=") {
            assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"));
            let value = rest.split(';').next().unwrap_or_default();
            self.session = (!value.is_empty()).then(|| value.to_owned());
            self.token = Mutex::default();
        }
        answer
    }

    pub async fn sign_in(&mut self, name: &str, password: &str) -> Answer {
        let programme = self.programme.clone();
        let fields = [
            ("programme", programme.as_str()),
            ("name", name),
            ("password", password),
        ];
        self.send("/sign-in", &fields).await
    }

    /// Replaces the person's own password.
    pub async fn choose(&mut self, current: &str, new: &str) -> Answer {
        let fields = [("current", current), ("new", new), ("again", new)];
        self.send("/account", &fields).await
    }
}
