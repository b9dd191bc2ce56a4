//! The headers of the tus protocol 1.0.0 (tus.io/protocols/resumable-upload), read and written.

use crate::api::Problem;
use crate::intake::{BatchKind, UnknownBatchKind};
use crate::service::ServiceError;
use crate::service::batches::Taking;
use crate::service::uploads::{Checksum, NewUpload, UploadView};
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::collections::BTreeMap;

/// The one version of the protocol that is spoken here.
pub const VERSION: HeaderValue = HeaderValue::from_static("1.0.0");
pub const RESUMABLE: HeaderName = HeaderName::from_static("tus-resumable");
const TUS_VERSION: HeaderName = HeaderName::from_static("tus-version");
const LENGTH: &str = "upload-length";
const OFFSET: &str = "upload-offset";
const PART_TYPE: &str = "application/offset+octet-stream";
/// The protocol's own status for a part that does not come to its checksum.
const CHECKSUM_MISMATCH: u16 = 460;

/// A request that says it speaks this version of the protocol. Comes after the caller, so
/// that a stranger learns nothing.
pub struct Spoken;

impl<S: Send + Sync> FromRequestParts<S> for Spoken {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Response> {
        if parts.headers.get(RESUMABLE) == Some(&VERSION) {
            return Ok(Spoken);
        }
        let problem = Problem::new(
            StatusCode::PRECONDITION_FAILED,
            "tus-version",
            "This version of the protocol is not spoken here",
            "send Tus-Resumable: 1.0.0",
        );
        Err(([(TUS_VERSION, VERSION), (RESUMABLE, VERSION)], problem).into_response())
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

fn number(headers: &HeaderMap, name: &'static str) -> Result<u64, Problem> {
    let value = text(headers, name).map(str::trim).unwrap_or_default();
    // A sign or blanks are no number of this protocol, though Rust would read a plus.
    let digits = value.bytes().all(|byte| byte.is_ascii_digit());
    value
        .parse()
        .ok()
        .filter(|_| digits)
        .ok_or_else(|| Problem::field(name, "give a whole number of bytes"))
}

pub fn offset(headers: &HeaderMap) -> Result<u64, Problem> {
    let named = text(headers, "content-type").unwrap_or_default();
    if named.trim() != PART_TYPE {
        return Err(Problem::unsupported(format!(
            "send the part with Content-Type: {PART_TYPE}"
        )));
    }
    number(headers, OFFSET)
}

/// `Upload-Checksum`: the algorithm, a blank, the digest in base64.
pub fn checksum(headers: &HeaderMap) -> Result<Option<Checksum>, Problem> {
    let Some(value) = headers.get("upload-checksum") else {
        return Ok(None);
    };
    let wrong = || {
        Problem::field(
            "Upload-Checksum",
            "give sha1 or sha256, a blank, and the digest in base64",
        )
        .with_status(StatusCode::BAD_REQUEST)
    };
    let value = value.to_str().map_err(|_| wrong())?;
    let (algorithm, digest) = value.trim().split_once(' ').ok_or_else(wrong)?;
    let digest = STANDARD.decode(digest.trim()).map_err(|_| wrong())?;
    match algorithm {
        "sha1" => Ok(Some(Checksum::Sha1(digest))),
        "sha256" => Ok(Some(Checksum::Sha256(digest))),
        _ => Err(wrong()),
    }
}

/// The file that `Upload-Length` and `Upload-Metadata` announce.
pub fn new_upload(headers: &HeaderMap) -> Result<NewUpload, Problem> {
    let metadata = metadata(text(headers, "upload-metadata").unwrap_or_default())?;
    let get = |name: &str| {
        metadata
            .get(name)
            .filter(|value| !value.is_empty())
            .cloned()
    };
    let kind = get("kind").unwrap_or_default();
    let kind: BatchKind = kind
        .parse()
        .map_err(|e: UnknownBatchKind| Problem::field("kind", e.to_string()))?;
    let dry_run = match get("dry_run").as_deref() {
        None | Some("false") => false,
        Some("true") => true,
        Some(_) => return Err(Problem::field("dry_run", "give true or false")),
    };
    Ok(NewUpload {
        kind,
        round: get("round"),
        file_name: get("file_name").or_else(|| get("filename")),
        bytes: number(headers, LENGTH)?,
        taking: Taking {
            dry_run,
            marks_dry_run: true,
            mapping: get("mapping"),
        },
    })
}

/// Pairs of a name and a value in base64, with commas between the pairs.
fn metadata(line: &str) -> Result<BTreeMap<String, String>, Problem> {
    let wrong = || Problem::field("Upload-Metadata", "give names with base64 values, in UTF-8");
    let mut pairs = BTreeMap::new();
    for pair in line.split(',').map(str::trim).filter(|p| !p.is_empty()) {
        let (name, value) = pair.split_once(' ').unwrap_or((pair, ""));
        let value = STANDARD.decode(value.trim()).map_err(|_| wrong())?;
        let value = String::from_utf8(value).map_err(|_| wrong())?;
        if pairs.insert(name.to_owned(), value).is_some() {
            return Err(wrong());
        }
    }
    Ok(pairs)
}

/// The refusal of a part, with the protocol's own status where it has one.
pub fn refusal(error: ServiceError) -> Problem {
    let status = match &error {
        ServiceError::Conflict {
            code: "checksum_mismatch",
            ..
        } => StatusCode::from_u16(CHECKSUM_MISMATCH).ok(),
        _ => None,
    };
    let problem = Problem::from(error);
    match status {
        Some(status) => problem.with_status(status),
        None => problem,
    }
}

/// What every answer about an upload carries.
pub fn about(view: &UploadView, programme: &str) -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(RESUMABLE, VERSION);
    headers.insert(OFFSET, view.offset.into());
    let expires = view
        .expires_at
        .format("%a, %d %b %Y %H:%M:%S GMT")
        .to_string();
    if let Ok(expires) = HeaderValue::from_str(&expires) {
        headers.insert("upload-expires", expires);
    }
    if view.is_whole() {
        let job = format!(
            "</api/v1/programmes/{programme}/jobs/{}>; rel=\"related\"",
            view.id
        );
        if let Ok(job) = HeaderValue::from_str(&job) {
            headers.insert(header::LINK, job);
        }
    }
    headers
}

/// What is spoken here, for `OPTIONS`.
pub fn spoken(bytes_max: u64) -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(RESUMABLE, VERSION);
    headers.insert(TUS_VERSION, VERSION);
    headers.insert(
        "tus-extension",
        HeaderValue::from_static("creation,expiration,termination,checksum"),
    );
    headers.insert(
        "tus-checksum-algorithm",
        HeaderValue::from_static("sha1,sha256"),
    );
    headers.insert("tus-max-size", bytes_max.into());
    headers
}

/// The length of the whole file, for `HEAD`.
pub fn length(view: &UploadView) -> (HeaderName, HeaderValue) {
    (HeaderName::from_static(LENGTH), view.bytes.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let pair = |(name, value): &(&'static str, &str)| {
            (
                HeaderName::from_static(name),
                HeaderValue::from_str(value).unwrap(),
            )
        };
        pairs.iter().map(pair).collect()
    }

    #[test]
    fn metadata_is_read_as_the_protocol_writes_it() {
        // The protocol's own example: "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential"
        // (tus 1.0.0, section Creation; MEMORY).
        let line = "filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential";
        let read = metadata(line).unwrap();
        assert_eq!(read["filename"], "world_domination_plan.pdf");
        assert_eq!(read["is_confidential"], "");
        assert!(metadata("a YQ==,a Yg==").is_err(), "a name stands once");
        assert!(metadata("a ?").is_err());
        assert!(metadata("a /w==").is_err(), "not UTF-8");
    }

    #[test]
    fn lengths_are_plain_numbers() {
        for wrong in ["", "-1", "+1", "1.0", "1e3", "18446744073709551616"] {
            assert!(
                number(&headers(&[(LENGTH, wrong)]), LENGTH).is_err(),
                "{wrong}"
            );
        }
        assert_eq!(number(&headers(&[(LENGTH, "42")]), LENGTH).unwrap(), 42);
        assert!(number(&HeaderMap::new(), LENGTH).is_err());
    }

    #[test]
    fn a_checksum_names_an_algorithm_that_is_spoken_here() {
        let of = |value| checksum(&headers(&[("upload-checksum", value)]));
        assert!(matches!(of("sha1 YQ=="), Ok(Some(Checksum::Sha1(_)))));
        assert!(matches!(of("sha256 YQ=="), Ok(Some(Checksum::Sha256(_)))));
        for wrong in ["md5 YQ==", "sha1", "sha1 ?", ""] {
            assert_eq!(of(wrong).unwrap_err().status, 400, "{wrong}");
        }
        assert!(checksum(&HeaderMap::new()).unwrap().is_none());
    }
}
