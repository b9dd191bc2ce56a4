//! Files that go out to the field: the templates, and refused files with their faults marked.

use super::page::{PathParts, download};
use super::refusal::Refusal;
use super::session::Visitor;
use crate::intake::{BatchKind, FileFormat, workbook_template};
use crate::service::Service;
use axum::extract::State;
use axum::response::Response;
use uuid::Uuid;

/// A refused file with its faults marked.
pub(super) async fn marked(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    let file = service.marked_file(&caller, id).await?;
    Ok(download(&file.media_type, &file.file_name, file.bytes))
}

/// The template of a kind, `KIND.csv` or `KIND.xlsx`.
pub(super) async fn template(
    _visitor: Visitor,
    PathParts(named): PathParts<String>,
) -> Result<Response, Refusal> {
    let unknown = || Refusal::not_found("There is no such template.");
    let (kind, ending) = named.rsplit_once('.').ok_or_else(unknown)?;
    let kind: BatchKind = kind.parse().map_err(|_| unknown())?;
    let (format, bytes) = match ending {
        "csv" => (FileFormat::Csv, kind.template().example_csv().into_bytes()),
        "xlsx" => {
            let bytes = workbook_template(kind.template()).map_err(|e| Refusal::broken(&e))?;
            (FileFormat::Workbook, bytes)
        }
        _ => return Err(unknown()),
    };
    let name = format!("{}.{ending}", kind.file_stem());
    Ok(download(format.media_type(), &name, bytes))
}
