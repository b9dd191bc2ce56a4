//! The export for people: the same bag that the API gives.

use super::refusal::Refusal;
use super::session::Visitor;
use crate::service::Service;
use crate::service::export::Export;
use axum::body::Body;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use tokio_util::io::ReaderStream;

pub(super) async fn download(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    let export = service.export(&caller).await?;
    let headers = [
        (header::CONTENT_TYPE, Export::MEDIA_TYPE.to_owned()),
        (header::CONTENT_LENGTH, export.bytes.to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{}\"", export.file_name()),
        ),
    ];
    let file = tokio::fs::File::from_std(export.file);
    Ok((headers, Body::from_stream(ReaderStream::new(file))).into_response())
}
