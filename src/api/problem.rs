//! The one place where a refusal becomes an HTTP answer (RFC 9457).

use crate::intake::Rejections;
use crate::service::batches::OTHER_SITE;
use crate::service::denials::Denied;
use crate::service::{FieldProblem, ServiceError};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

/// `application/problem+json`. `type` is stable; `detail` is for people.
#[derive(Debug, Serialize, ToSchema)]
pub struct Problem {
    /// A URI reference that names the kind of problem, e.g. `/problems/rejected-batch`.
    #[serde(rename = "type")]
    pub kind: String,
    pub title: &'static str,
    pub status: u16,
    pub detail: String,
    /// Fields of the request that cannot be taken.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldProblem>,
    /// Rows of a file that were refused: the first 1,000.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rejections: Vec<RowProblem>,
    /// How many rows or cells were refused in all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rejection_count: Option<u64>,
    /// Sheet of the workbook that the rows are of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// Where the file can be fetched for some days with its faults marked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub marked_file: Option<String>,
    /// What is missing before a statement can be made.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub gaps: Vec<GapProblem>,
    /// The marked copy of a refused file.
    #[serde(skip)]
    marked_id: Option<Box<uuid::Uuid>>,
    /// Why it is a denial, where it is one; for the list of denials.
    #[serde(skip)]
    denied: Option<Box<str>>,
    /// When to come back.
    #[serde(skip)]
    retry_seconds: Option<u64>,
}

/// One wrong cell or row of a file.
#[derive(Debug, Serialize, ToSchema)]
pub struct RowProblem {
    /// Line of the file; the header is line 1.
    pub line: Option<u64>,
    pub column: Option<String>,
    pub code: String,
    pub detail: String,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct GapProblem {
    pub code: String,
    pub sentence: String,
}

impl Problem {
    pub(super) fn new(
        status: StatusCode,
        slug: &str,
        title: &'static str,
        detail: impl Into<String>,
    ) -> Self {
        Problem {
            kind: format!("/problems/{slug}"),
            title,
            status: status.as_u16(),
            detail: detail.into(),
            errors: Vec::new(),
            rejections: Vec::new(),
            rejection_count: None,
            sheet: None,
            marked_file: None,
            gaps: Vec::new(),
            marked_id: None,
            denied: None,
            retry_seconds: None,
        }
    }

    /// The same under another status, where a protocol asks for one.
    pub(super) fn with_status(self, status: StatusCode) -> Self {
        Problem {
            status: status.as_u16(),
            ..self
        }
    }

    fn after(self, seconds: u64) -> Self {
        Problem {
            retry_seconds: Some(seconds),
            ..self
        }
    }

    fn denial(self) -> Self {
        Problem {
            denied: Some(self.detail.as_str().into()),
            ..self
        }
    }

    /// A request that could not be read at all.
    pub(super) fn unreadable(detail: impl Into<String>) -> Self {
        Problem::new(
            StatusCode::BAD_REQUEST,
            "unreadable",
            "The request cannot be read",
            detail,
        )
    }

    pub(super) fn field(field: &str, detail: impl Into<String>) -> Self {
        ServiceError::Invalid(vec![FieldProblem {
            field: field.into(),
            detail: detail.into(),
        }])
        .into()
    }

    /// The address exists, but not for this method.
    pub fn wrong_method() -> Self {
        Problem::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "method-not-allowed",
            "This address does not take that method",
            "see /api/v1/openapi.json",
        )
    }

    fn refused_rows(rejections: Rejections) -> Self {
        Problem {
            denied: denied_rows(&rejections).map(String::into_boxed_str),
            rejection_count: Some(rejections.count),
            rejections: rejections
                .list
                .into_iter()
                .map(|rejection| RowProblem {
                    line: rejection.line,
                    column: rejection.column,
                    code: rejection.code.to_owned(),
                    detail: rejection.detail,
                })
                .collect(),
            ..Problem::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "rejected-batch",
                "The file was refused",
                "nothing of the file was kept; its faults are listed under rejections",
            )
        }
    }

    /// Says where the marked copy of a refused file is, in this programme.
    pub(super) fn in_programme(self, programme: &str) -> Self {
        let address =
            |id: &uuid::Uuid| format!("/api/v1/programmes/{programme}/batches/rejected/{id}");
        Problem {
            marked_file: self.marked_id.as_deref().map(address),
            ..self
        }
    }

    pub(super) fn unsupported(detail: impl Into<String>) -> Self {
        Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "unsupported-media-type",
            "This content type is not taken here",
            detail,
        )
    }
}

/// Rows of sites that the sender is not bound to make the refusal of a file a denial.
fn denied_rows(rejections: &Rejections) -> Option<String> {
    let first = rejections
        .list
        .iter()
        .find(|rejection| rejection.code == OTHER_SITE)?;
    let line = first.line.unwrap_or_default();
    Some(format!("line {line} of the file: {}", first.detail))
}

impl From<ServiceError> for Problem {
    fn from(error: ServiceError) -> Self {
        let text = error.to_string();
        match error {
            ServiceError::Unauthenticated => Problem::new(
                StatusCode::UNAUTHORIZED,
                "unauthenticated",
                "Sign in first",
                text,
            )
            .denial(),
            ServiceError::Forbidden(_) => {
                Problem::new(StatusCode::FORBIDDEN, "forbidden", "Not allowed", text).denial()
            }
            ServiceError::Braked { seconds } => Problem {
                retry_seconds: Some(seconds),
                ..Problem::new(
                    StatusCode::TOO_MANY_REQUESTS,
                    "too-many-tries",
                    "Too many wrong tries",
                    text,
                )
                .denial()
            },
            ServiceError::NotFound { .. } => {
                Problem::new(StatusCode::NOT_FOUND, "not-found", "Not found", text)
            }
            ServiceError::Invalid(errors) => Problem {
                errors,
                ..Problem::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "invalid-fields",
                    "Some fields cannot be taken",
                    "each is named under errors with its reason",
                )
            },
            ServiceError::Conflict { code, .. } => Problem::new(
                StatusCode::CONFLICT,
                &code.replace('_', "-"),
                "It conflicts with what is recorded",
                text,
            ),
            ServiceError::Rejected(rejections) => Problem::refused_rows(rejections),
            ServiceError::RejectedFile(refused) => Problem {
                sheet: refused.sheet,
                marked_id: refused.marked.map(Box::new),
                ..Problem::refused_rows(refused.rejections)
            },
            ServiceError::Gaps(gaps) => Problem {
                gaps: gaps
                    .into_iter()
                    .map(|gap| GapProblem {
                        code: gap.code.to_string(),
                        sentence: gap.sentence,
                    })
                    .collect(),
                ..Problem::new(
                    StatusCode::CONFLICT,
                    "statement-gaps",
                    "The statement cannot be made yet",
                    "what is missing is listed under gaps",
                )
            },
            ServiceError::Shortcomings(shortcomings) => Problem {
                errors: shortcomings
                    .into_iter()
                    .map(|shortcoming| FieldProblem {
                        field: shortcoming.place,
                        detail: shortcoming.sentence,
                    })
                    .collect(),
                ..Problem::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "methodology-shortcomings",
                    "The methodology cannot be added",
                    "what it lacks or contradicts is listed under errors, place by place",
                )
            },
            ServiceError::TooLarge { .. } => Problem::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-large",
                "The upload is too large",
                text,
            ),
            ServiceError::BrokenUpload(_) => Problem::new(
                StatusCode::BAD_REQUEST,
                "broken-upload",
                "The upload broke off",
                text,
            ),
            ServiceError::Outage(source) => {
                tracing::error!(error = %source, "database cannot be reached");
                Problem::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "outage",
                    "Try again in a moment",
                    text,
                )
                .after(5)
            }
            ServiceError::Damaged(source) => {
                tracing::error!(error = %source, "stored data is damaged");
                Problem::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "damaged",
                    "Stored data is damaged",
                    text,
                )
            }
            ServiceError::Internal(cause) => {
                tracing::error!(%cause, "internal error");
                Problem::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "internal",
                    "Something went wrong on our side",
                    "the cause is in the server's log",
                )
            }
        }
    }
}

/// A refusal in a programme as the JSON of its problem document, for work that no request waits
/// for.
pub fn describe(error: ServiceError, programme: &str) -> serde_json::Value {
    serde_json::to_value(Problem::from(error).in_programme(programme)).unwrap_or_default()
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let body = serde_json::to_vec(&self).unwrap_or_default();
        let mut response = (
            status,
            [(header::CONTENT_TYPE, "application/problem+json")],
            body,
        )
            .into_response();
        if status == StatusCode::UNAUTHORIZED {
            let challenge = header::HeaderValue::from_static("Bearer");
            response
                .headers_mut()
                .insert(header::WWW_AUTHENTICATE, challenge);
        }
        if let Some(seconds) = self.retry_seconds {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, header::HeaderValue::from(seconds));
        }
        if let Some(why) = self.denied.map(String::from) {
            response.extensions_mut().insert(Denied(why));
        }
        response
    }
}
