//! The monitoring report of a period: gathered from the trail up to one position, and written
//! apart from the requests that wait.

mod gather;

use super::trail::key_chain;
use super::{Caller, Service, ServiceError, apart};
use crate::report::source::ReportSource;
use crate::report::{content, pdf, workbook};
use crate::store;
use crate::trail::merkle::sha256;
use uuid::Uuid;

/// How a report is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReportFormat {
    Pdf,
    Workbook,
}

impl ReportFormat {
    pub fn ending(self) -> &'static str {
        match self {
            ReportFormat::Pdf => "pdf",
            ReportFormat::Workbook => "xlsx",
        }
    }

    pub fn media_type(self) -> &'static str {
        match self {
            ReportFormat::Pdf => "application/pdf",
            ReportFormat::Workbook => {
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
            }
        }
    }
}

/// Which report is asked for.
#[derive(Debug, Clone)]
pub struct ReportRequest {
    pub statement: Uuid,
    pub format: ReportFormat,
    /// Size of the trail to read it at; absent = as the trail stands.
    pub position: Option<u64>,
    /// Where the service is reached, for links to the trace.
    pub base: Option<String>,
}

/// A report that can be named before it is written.
#[derive(Debug, Clone)]
pub struct NamedReport {
    pub file_name: String,
    /// The same for the same bytes.
    pub fingerprint: String,
    request: ReportRequest,
    position: u64,
}

impl NamedReport {
    /// For caches (RFC 9110): weak, as a proxy may compress the bytes.
    pub fn entity_tag(&self) -> String {
        format!("W/\"{}\"", self.fingerprint)
    }

    /// `attachment; filename="…"`; codes have nothing in them that would need quoting.
    pub fn disposition(&self) -> String {
        format!("attachment; filename=\"{}\"", self.file_name)
    }
}

impl Service {
    /// Which report the request comes to.
    ///
    /// # Errors
    /// `NotFound` where there is no such statement, `Invalid` where the trail had not come to
    /// the statement at that position, or has not come to the position.
    pub async fn name_report(
        &self,
        caller: &Caller,
        request: ReportRequest,
    ) -> Result<NamedReport, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let row = store::statements::by_id(&mut connection, caller.programme_id, request.statement)
            .await?
            .ok_or_else(|| ServiceError::not_found("statement", request.statement))?;
        let size = store::trail::size(&mut connection, caller.programme_id).await?;
        let position = request.position.unwrap_or(size);
        if position > size || position <= row.sequence {
            return Err(ServiceError::invalid(
                "position",
                format!("must be from {} to {size}", row.sequence.saturating_add(1)),
            ));
        }
        let of = format!(
            "{}\n{}\n{}\n{position}\n{}\n{}",
            env!("CARGO_PKG_VERSION"),
            request.statement,
            hex::encode(&row.content_hash),
            request.format.ending(),
            request.base.as_deref().unwrap_or_default()
        );
        Ok(NamedReport {
            file_name: format!(
                "{}-{}-report-{position}.{}",
                caller.programme_code,
                row.period_code,
                request.format.ending()
            ),
            fingerprint: sha256(of.as_bytes()).to_string(),
            request,
            position,
        })
    }

    /// The bytes of a report.
    pub async fn write_report(
        &self,
        caller: &Caller,
        named: &NamedReport,
    ) -> Result<Vec<u8>, ServiceError> {
        let source = self.report_source(caller, named).await?;
        let format = named.request.format;
        apart("the report stopped", move || written(&source, format)).await?
    }

    async fn report_source(
        &self,
        caller: &Caller,
        named: &NamedReport,
    ) -> Result<ReportSource, ServiceError> {
        let mut transaction = self.changing(caller).await?;
        let checkpoint = self
            .checkpoint_at(&mut transaction, caller, named.position)
            .await?;
        let chain = key_chain(&mut transaction, caller.programme_id).await?;
        transaction.commit().await?;
        let key = chain.in_force_at(named.position).to_string();
        let mut connection = self.reading(caller).await?;
        let kinds = gather::kinds();
        let programme = caller.programme_id;
        let position = named.position;
        let entries = store::trail::of_kinds(&mut connection, programme, &kinds, position).await?;
        let row = store::statements::by_id(&mut connection, programme, named.request.statement)
            .await?
            .ok_or_else(|| ServiceError::not_found("statement", named.request.statement))?;
        let entry = store::trail::entries(&mut connection, programme, row.sequence, 1)
            .await?
            .pop()
            .ok_or_else(|| ServiceError::not_found("trail entry", row.sequence))?;
        drop(connection);
        let head = gather::Head {
            row,
            entry,
            position,
            checkpoint,
            key,
            base: named.request.base.clone(),
        };
        apart("the report stopped", move || gather::source(head, &entries)).await?
    }
}

fn written(source: &ReportSource, format: ReportFormat) -> Result<Vec<u8>, ServiceError> {
    match format {
        ReportFormat::Pdf => pdf::pdf(&content::document(source))
            .map_err(|e| ServiceError::Internal(format!("report: {e}"))),
        ReportFormat::Workbook => {
            workbook::workbook(source).map_err(|e| ServiceError::Internal(format!("report: {e}")))
        }
    }
}
