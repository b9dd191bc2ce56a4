//! A text field of a form that comes beside a file: bounded as it arrives, for such forms are
//! read without a limit of their own.

use super::refusal::Refusal;
use axum::extract::multipart::{Field, MultipartError};

/// Bytes that a field beside the file may have.
const FIELD_BYTES_MAX: usize = 1_000;

/// The field's text; `broken` says what it means that the form breaks off in it.
pub(super) async fn text(
    mut field: Field<'_>,
    broken: fn(MultipartError) -> Refusal,
) -> Result<String, Refusal> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(broken)? {
        bytes.extend_from_slice(&chunk);
        if bytes.len() > FIELD_BYTES_MAX {
            return Err(Refusal::unreadable("A field of the form is too long."));
        }
    }
    String::from_utf8(bytes).map_err(|_| Refusal::unreadable("A field of the form is no text."))
}
