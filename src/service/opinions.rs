//! Opinions of verification bodies on statements: recorded by a verifier, never formed here.

use super::register::check_text;
use super::{Caller, FieldProblem, Once, Role, Service, ServiceError};
use crate::accounting::records::opinions::{
    Assurance, Conclusion, OPINION_RECORDED, OpinionRecord,
};
use crate::store;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

const BODY_MAX: usize = 200;
const ACCREDITATION_MAX: usize = 1_000;

/// What a verifier records of a signed opinion.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewOpinion {
    /// Whose opinion it is.
    pub body: String,
    /// Accreditation of the body, in its own words.
    pub accreditation: String,
    pub assurance: Assurance,
    pub conclusion: Conclusion,
    /// The day on which the document was signed.
    pub signed_on: NaiveDate,
    /// SHA-256 of the signed document, 64 hexadecimal digits.
    pub document_sha256: String,
}

/// An opinion as recorded. The program has checked neither document nor accreditation.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct OpinionView {
    pub statement: Uuid,
    /// Of the statement's canonical JSON: what the opinion is on.
    pub statement_sha256: String,
    pub body: String,
    pub accreditation: String,
    pub assurance: Assurance,
    pub conclusion: Conclusion,
    pub signed_on: NaiveDate,
    pub document_sha256: String,
    /// Who recorded it, and when.
    pub recorded_by: String,
    pub recorded_at: DateTime<Utc>,
    /// Its trail entry.
    pub sequence: u64,
}

impl OpinionView {
    pub fn record(&self) -> OpinionRecord {
        OpinionRecord {
            statement: self.statement,
            statement_sha256: self.statement_sha256.clone(),
            body: self.body.clone(),
            accreditation: self.accreditation.clone(),
            assurance: self.assurance,
            conclusion: self.conclusion,
            signed_on: self.signed_on,
            document_sha256: self.document_sha256.clone(),
        }
    }
}

impl Service {
    /// Records the opinion of a verification body on a statement. For verifiers.
    ///
    /// # Errors
    /// `NotFound` where there is no such statement, `Invalid` where a field cannot be taken,
    /// `Conflict` where the same document was recorded on it before.
    pub async fn record_opinion(
        &self,
        caller: &Caller,
        statement: Uuid,
        new: &NewOpinion,
        once: &Once,
    ) -> Result<OpinionView, ServiceError> {
        caller.must_be(&[Role::Verifier])?;
        let document_sha256 = self.check(new)?;
        self.write(caller, once, async |connection| {
            let row = store::statements::by_id(connection, caller.programme_id, statement)
                .await?
                .ok_or_else(|| ServiceError::not_found("statement", statement))?;
            let known = opinions_on(connection, caller, statement).await?;
            if known
                .iter()
                .any(|one| one.document_sha256 == document_sha256)
            {
                return Err(ServiceError::conflict(
                    "opinion_recorded",
                    "this document is recorded on this statement already",
                ));
            }
            let record = OpinionRecord {
                statement,
                statement_sha256: hex::encode(&row.content_hash),
                body: new.body.trim().to_owned(),
                accreditation: new.accreditation.trim().to_owned(),
                assurance: new.assurance,
                conclusion: new.conclusion,
                signed_on: new.signed_on,
                document_sha256: document_sha256.clone(),
            };
            let subject = statement.to_string();
            self.log(connection, caller, OPINION_RECORDED, &subject, &record)
                .await?;
            opinions_on(connection, caller, statement)
                .await?
                .pop()
                .ok_or_else(|| ServiceError::Internal("the opinion was not kept".into()))
        })
        .await
    }

    fn check(&self, new: &NewOpinion) -> Result<String, ServiceError> {
        check_text("body", &new.body, BODY_MAX)?;
        check_text("accreditation", &new.accreditation, ACCREDITATION_MAX)?;
        let hash = new.document_sha256.trim().to_ascii_lowercase();
        let mut problems = Vec::new();
        if hash.len() != 64 || !hash.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            problems.push(FieldProblem {
                field: "document_sha256".into(),
                detail: "must be the 64 hexadecimal digits of a SHA-256".into(),
            });
        }
        if new.signed_on > self.now().date_naive() {
            problems.push(FieldProblem {
                field: "signed_on".into(),
                detail: "lies in the future".into(),
            });
        }
        if problems.is_empty() {
            Ok(hash)
        } else {
            Err(ServiceError::Invalid(problems))
        }
    }

    /// Every opinion on a statement, the latest last.
    pub async fn opinions(
        &self,
        caller: &Caller,
        statement: Uuid,
    ) -> Result<Vec<OpinionView>, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        store::statements::by_id(&mut connection, caller.programme_id, statement)
            .await?
            .ok_or_else(|| ServiceError::not_found("statement", statement))?;
        opinions_on(&mut connection, caller, statement).await
    }
}

async fn opinions_on(
    connection: &mut PgConnection,
    caller: &Caller,
    statement: Uuid,
) -> Result<Vec<OpinionView>, ServiceError> {
    let position = store::trail::size(connection, caller.programme_id).await?;
    let kinds = [OPINION_RECORDED];
    let entries = store::trail::of_kinds(connection, caller.programme_id, &kinds, position).await?;
    let subject = statement.to_string();
    entries
        .into_iter()
        .filter(|entry| entry.subject == subject)
        .map(|entry| {
            let record: OpinionRecord = serde_json::from_slice(&entry.content).map_err(|e| {
                ServiceError::Internal(format!("trail entry {}: {e}", entry.sequence))
            })?;
            Ok(OpinionView {
                statement,
                statement_sha256: record.statement_sha256,
                body: record.body,
                accreditation: record.accreditation,
                assurance: record.assurance,
                conclusion: record.conclusion,
                signed_on: record.signed_on,
                document_sha256: record.document_sha256,
                recorded_by: entry.actor,
                recorded_at: entry.at,
                sequence: entry.sequence,
            })
        })
        .collect()
}
