//! The monitoring report for people, and the form that records an opinion on a statement.

use super::page::{PathParts, QueryParts};
use super::refusal::Refusal;
use super::session::Visitor;
use super::statement;
use super::{links, words};
use crate::accounting::records::opinions::{Assurance, Conclusion};
use crate::service::opinions::NewOpinion;
use crate::service::report::{ReportFormat, ReportRequest};
use crate::service::{Caller, FieldProblem, Once, Service, ServiceError, browser};
use axum::extract::{Form, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
pub(super) struct ReportQuery {
    position: Option<u64>,
}

pub(super) async fn pdf(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    QueryParts(query): QueryParts<ReportQuery>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let wanted = (id, query.position, ReportFormat::Pdf);
    report(&service, &caller, wanted, &headers).await
}

pub(super) async fn workbook(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    QueryParts(query): QueryParts<ReportQuery>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let wanted = (id, query.position, ReportFormat::Workbook);
    report(&service, &caller, wanted, &headers).await
}

async fn report(
    service: &Service,
    caller: &Caller,
    (statement, position, format): (Uuid, Option<u64>, ReportFormat),
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let request = ReportRequest {
        statement,
        format,
        position,
        base: browser::address(text("host"), text("x-forwarded-proto")),
    };
    let named = service.name_report(caller, request).await?;
    let bytes = service.write_report(caller, &named).await?;
    let headers = [
        (header::CONTENT_TYPE, format.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, named.disposition()),
    ];
    Ok((headers, bytes).into_response())
}

/// Fields of the form that records an opinion, as they were typed.
#[derive(Deserialize, Default)]
pub(super) struct OpinionForm {
    pub body: String,
    pub accreditation: String,
    pub assurance: String,
    pub conclusion: String,
    pub signed_on: String,
    pub document_sha256: String,
}

impl OpinionForm {
    fn opinion(&self) -> Result<NewOpinion, ServiceError> {
        let wrong = |field: &str, detail: &str| FieldProblem {
            field: field.into(),
            detail: detail.into(),
        };
        let assurance = Assurance::from_code(&self.assurance);
        let conclusion = Conclusion::from_code(&self.conclusion);
        let signed_on = self.signed_on.trim().parse().ok();
        match (assurance, conclusion, signed_on) {
            (Some(assurance), Some(conclusion), Some(signed_on)) => Ok(NewOpinion {
                body: self.body.clone(),
                accreditation: self.accreditation.clone(),
                assurance,
                conclusion,
                signed_on,
                document_sha256: self.document_sha256.clone(),
            }),
            (None, ..) => Err(ServiceError::Invalid(vec![wrong(
                "assurance",
                "is one of those listed",
            )])),
            (_, None, _) => Err(ServiceError::Invalid(vec![wrong(
                "conclusion",
                "is one of those listed",
            )])),
            (.., None) => Err(ServiceError::Invalid(vec![wrong(
                "signed_on",
                "must be a day, YYYY-MM-DD",
            )])),
        }
    }
}

pub(super) async fn record_opinion(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    Form(form): Form<OpinionForm>,
) -> Result<Response, Refusal> {
    let recorded = match form.opinion() {
        Ok(new) => {
            let once = Once::unkeyed();
            service.record_opinion(&caller, id, &new, &once).await
        }
        Err(error) => Err(error),
    };
    match recorded {
        Ok(_) => Ok(Redirect::to(&links::statement(id)).into_response()),
        Err(error) => {
            let (status, fault) = words::fault(error)?;
            let page = statement::page(&service, &caller, id, (form, Some(fault))).await?;
            Ok((status, page).into_response())
        }
    }
}
