//! Statements: made from what was known at one position of the trail, and read.

use super::periods::period_by_code;
use super::{Caller, Once, Service, ServiceError, apart, id_of};
use crate::accounting::gather::FieldDays;
use crate::accounting::inputs::{
    EvidenceRole, EvidenceSet, Period, ProgrammeName, StatementInputs,
};
use crate::accounting::methodology::{FinitePopulation, Methodology};
use crate::accounting::records::{RoundRecord, choose_rounds, kind};
use crate::accounting::statement::{Gap, Statement, gaps, state};
use crate::accounting::trace::prov_json;
use crate::store;
use crate::store::cohorts::{self, Scope};
use crate::store::statements::StatementRow;
use crate::store::{populations, samples};
use crate::trail::merkle::sha256;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewStatement {
    /// Code of the monitoring period.
    pub period: String,
    /// `code@version` of the methodology.
    #[schema(example = "kitchen-test-households@1")]
    pub methodology: String,
    /// For a closed period: read the evidence of today instead of that of the closing.
    #[serde(default)]
    pub restate: bool,
}

/// A statement as it is listed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StatementView {
    pub id: Uuid,
    pub period: String,
    pub methodology: String,
    /// Trail size at which the evidence was read.
    pub position: u64,
    pub restatement: bool,
    /// SHA-256 of the statement's canonical JSON: same inputs, same bytes.
    pub sha256: String,
    /// Its own trail entry.
    pub sequence: u64,
}

impl Service {
    /// Computes and records the statement of a period.
    ///
    /// # Errors
    /// `Gaps` says in words what is missing before it can be stated.
    pub async fn make_statement(
        &self,
        caller: &Caller,
        new: &NewStatement,
        once: &Once,
    ) -> Result<StatementView, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            let head = store::trail::size(connection, caller.programme_id).await?;
            let row = period_by_code(connection, caller, &new.period).await?;
            self.must_be_over(&row.period)
                .map_err(|gap| ServiceError::Gaps(vec![gap]))?;
            let position = match row.closed {
                Some(closed) if !new.restate => closed,
                _ => head,
            };
            let methodology =
                methodology_at(connection, caller, &new.methodology, position).await?;
            let inputs =
                statement_inputs(connection, caller, &row.period, methodology, position).await?;
            let statement = apart("statement", move || state(&inputs))
                .await?
                .map_err(ServiceError::Gaps)?;
            let restatement = row.closed.is_some_and(|closed| position > closed);
            self.record_statement(connection, caller, &statement, restatement)
                .await
        })
        .await
    }

    /// Days that have not passed cannot be counted.
    fn must_be_over(&self, period: &Period) -> Result<(), Gap> {
        if period.ends_on <= self.now().date_naive() {
            return Ok(());
        }
        Err(Gap {
            code: "period-not-over".to_owned(),
            sentence: format!(
                "The period runs until before {}; it can be stated from that day on.",
                period.ends_on
            ),
        })
    }

    async fn record_statement(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        statement: &Statement,
        restatement: bool,
    ) -> Result<StatementView, ServiceError> {
        let content = crate::trail::canonical::canonical_of(statement)
            .map_err(|e| ServiceError::Internal(format!("statement: {e}")))?;
        let digest = sha256(&content);
        let id = id_of(&[
            "statement",
            &caller.programme_id.to_string(),
            &digest.to_string(),
        ]);
        if let Some(known) = store::statements::by_id(connection, caller.programme_id, id).await? {
            return Ok(view(known));
        }
        let sequence = self
            .log_bytes(
                connection,
                caller,
                kind::STATEMENT_MADE,
                &id.to_string(),
                &content,
            )
            .await?;
        let row = StatementRow {
            statement_id: id,
            period_code: statement.period.code.clone(),
            methodology_code: statement.methodology.code.clone(),
            methodology_version: statement.methodology.version,
            position: statement.position,
            restatement,
            content_hash: digest.0.to_vec(),
            sequence,
        };
        store::statements::insert(connection, caller.programme_id, &row).await?;
        Ok(view(row))
    }

    /// What is missing before the period can be stated; empty = nothing.
    pub async fn gaps(
        &self,
        caller: &Caller,
        period: &str,
        methodology: &str,
    ) -> Result<Vec<Gap>, ServiceError> {
        caller.must_see_every_site()?;
        let mut transaction = self.reading(caller).await?;
        let position = store::trail::size(&mut transaction, caller.programme_id).await?;
        let row = period_by_code(&mut transaction, caller, period).await?;
        if let Err(gap) = self.must_be_over(&row.period) {
            return Ok(vec![gap]);
        }
        let methodology = methodology_at(&mut transaction, caller, methodology, position).await?;
        let inputs =
            statement_inputs(&mut transaction, caller, &row.period, methodology, position).await?;
        Ok(gaps(&inputs))
    }

    /// All statements, the latest first.
    pub async fn statements(&self, caller: &Caller) -> Result<Vec<StatementView>, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let rows = store::statements::all(&mut connection, caller.programme_id).await?;
        Ok(rows.into_iter().map(view).collect())
    }

    /// One statement with its figures and its whole trace.
    pub async fn statement(
        &self,
        caller: &Caller,
        id: Uuid,
    ) -> Result<(StatementView, Statement), ServiceError> {
        let bytes = self.statement_bytes(caller, id).await?;
        let mut connection = self.reading(caller).await?;
        let row = store::statements::by_id(&mut connection, caller.programme_id, id)
            .await?
            .ok_or_else(|| ServiceError::not_found("statement", id))?;
        let statement = serde_json::from_slice(&bytes)
            .map_err(|e| ServiceError::Internal(format!("statement {id}: {e}")))?;
        Ok((view(row), statement))
    }

    /// Its trace as PROV-JSON: the bytes that a bag holds of it.
    pub async fn provenance_bytes(
        &self,
        caller: &Caller,
        id: Uuid,
    ) -> Result<Vec<u8>, ServiceError> {
        let (_, statement) = self.statement(caller, id).await?;
        crate::trail::canonical::canonical_of(&prov_json(&statement, &id.to_string()))
            .map_err(|e| ServiceError::Internal(format!("trace of statement {id}: {e}")))
    }

    /// The exact bytes that the trail committed to.
    pub async fn statement_bytes(
        &self,
        caller: &Caller,
        id: Uuid,
    ) -> Result<Vec<u8>, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        store::statements::content(&mut connection, caller.programme_id, id)
            .await?
            .ok_or_else(|| ServiceError::not_found("statement", id))
    }
}

fn view(row: StatementRow) -> StatementView {
    StatementView {
        id: row.statement_id,
        period: row.period_code,
        methodology: format!("{}@{}", row.methodology_code, row.methodology_version),
        position: row.position,
        restatement: row.restatement,
        sha256: hex::encode(row.content_hash),
        sequence: row.sequence,
    }
}

pub(super) async fn methodology_at(
    connection: &mut PgConnection,
    caller: &Caller,
    name: &str,
    position: u64,
) -> Result<Methodology, ServiceError> {
    store::library::methodologies(connection, caller.programme_id, position)
        .await?
        .into_iter()
        .find(|methodology| methodology.id() == name)
        .ok_or_else(|| ServiceError::not_found("methodology", name))
}

/// Gathers what the statement is a function of, as known at `position`.
pub(super) async fn statement_inputs(
    connection: &mut PgConnection,
    caller: &Caller,
    period: &Period,
    methodology: Methodology,
    position: u64,
) -> Result<StatementInputs, ServiceError> {
    let scope = Scope {
        programme_id: caller.programme_id,
        period,
        position,
    };
    let rounds: Vec<RoundRecord> = store::rounds::all(connection, caller.programme_id, position)
        .await?
        .into_iter()
        .map(|row| row.record)
        .collect();
    let chosen = choose_rounds(&rounds, period);
    let factors = store::library::factors_by_id(
        connection,
        caller.programme_id,
        &methodology.factors,
        position,
    )
    .await?;
    let yield_bound = factors
        .iter()
        .find(|factor| factor.id() == methodology.char_rule.yield_bound)
        .map(|factor| factor.value)
        .ok_or_else(|| ServiceError::not_found("factor", &methodology.char_rule.yield_bound))?;
    let mut evidence = vec![EvidenceSet {
        role: EvidenceRole::Register,
        rounds: Vec::new(),
        batches: cohorts::batches(connection, scope, None).await?,
    }];
    for (role, rounds) in chosen.by_role() {
        let batches = cohorts::batches(connection, scope, Some(rounds)).await?;
        evidence.push(EvidenceSet {
            role,
            rounds: rounds.to_vec(),
            batches,
        });
    }
    let to_draw_from = match methodology.designs.finite_population {
        FinitePopulation::None => Vec::new(),
        FinitePopulation::Register => {
            let field = FieldDays::of(&rounds, &chosen, period);
            populations::to_draw_from(connection, scope, &field).await?
        }
    };
    Ok(StatementInputs {
        programme: ProgrammeName {
            id: caller.programme_id,
            code: caller.programme_code.clone(),
            name: caller.programme_name.clone(),
        },
        period: period.clone(),
        position,
        cohorts: cohorts::cohort_days(connection, scope, methodology.grace_days).await?,
        usage: cohorts::usage_counts(connection, scope, &chosen.usage).await?,
        baseline_kitchens: cohorts::kitchen_households(
            connection,
            scope,
            &chosen.baseline_kitchens,
        )
        .await?,
        project_kitchens: cohorts::kitchen_households(connection, scope, &chosen.project_kitchens)
            .await?,
        char_lots: cohorts::char_lots(connection, scope, &chosen.char_weighings, yield_bound)
            .await?,
        baseline_survey: samples::survey_households(connection, scope, &chosen.baseline_survey)
            .await?,
        cooking_tests: samples::cooking_tests(connection, scope, &chosen.cooking_tests).await?,
        stove_tests: samples::stove_tests(connection, scope, &chosen.stove_tests).await?,
        char_lab: samples::char_lab(connection, scope, &chosen.char_lab).await?,
        to_draw_from,
        open_flags: store::flags::open_on_rows_of(connection, scope, &chosen.all_read()).await?,
        evidence,
        methodology,
        factors,
    })
}
