//! Statements held against each other: what moved one into another, and what each
//! methodology makes of the same period. Nothing is written.

use super::periods::period_by_code;
use super::statements::{methodology_at, statement_inputs};
use super::{Caller, Service, ServiceError};
use crate::accounting::claim::Claims;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::statement::{ExplainError, Explanation, Figure, Gap, explain, side_by_side};
use crate::store;
use serde::Serialize;
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// More methodologies than this are not stated at once.
const STATED_AT_ONCE: usize = 12;

/// What one methodology makes of a period.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MethodView {
    /// `code@version`
    pub methodology: String,
    pub title: String,
    /// Fuel saved per household-day and in all, reductions, removals; empty where gaps are named.
    #[schema(value_type = Vec<Object>)]
    pub figures: Vec<Figure>,
    #[schema(value_type = Option<Object>)]
    pub claims: Option<Claims>,
    /// What is missing before this methodology can state the period.
    pub gaps: Vec<Gap>,
}

impl Service {
    /// What moved each figure of the statement `from` into that of the statement `to`.
    ///
    /// # Errors
    /// A conflict where the two are of different periods, or where one can no longer be made.
    pub async fn explain(
        &self,
        caller: &Caller,
        from: Uuid,
        to: Uuid,
    ) -> Result<Explanation, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let before = inputs_of(&mut connection, caller, from).await?;
        let after = inputs_of(&mut connection, caller, to).await?;
        drop(connection);
        apart(move || explain(&before, &after))
            .await?
            .map_err(refused)
    }

    /// The same period by several methodologies: those named, or all that the programme has.
    pub async fn methods(
        &self,
        caller: &Caller,
        period: &str,
        named: &[String],
    ) -> Result<Vec<MethodView>, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let row = period_by_code(&mut connection, caller, period).await?;
        let position = row.closed.unwrap_or(position);
        let named = match named {
            [] => store::library::methodologies(&mut connection, caller.programme_id, position)
                .await?
                .iter()
                .map(|methodology| methodology.id())
                .collect(),
            named => named.to_vec(),
        };
        if named.len() > STATED_AT_ONCE {
            return Err(ServiceError::invalid(
                "methodologies",
                format!(
                    "are {}; {STATED_AT_ONCE} at most are stated at once",
                    named.len()
                ),
            ));
        }
        let mut all = Vec::new();
        for name in &named {
            let methodology = methodology_at(&mut connection, caller, name, position).await?;
            let inputs =
                statement_inputs(&mut connection, caller, &row.period, methodology, position)
                    .await?;
            all.push(inputs);
        }
        drop(connection);
        apart(move || all.iter().flat_map(stated).collect()).await
    }
}

/// Stove days and char depend on the methodology, so each has inputs of its own.
fn stated(inputs: &StatementInputs) -> Option<MethodView> {
    let of = (inputs.methodology.clone(), inputs.factors.clone());
    let found = side_by_side(inputs, &[of]).pop()?;
    let (figures, claims, gaps) = match found.outcome {
        Ok(headline) => (headline.figures, Some(headline.claims), Vec::new()),
        Err(gaps) => (Vec::new(), None, gaps),
    };
    Some(MethodView {
        methodology: inputs.methodology.id(),
        title: found.methodology.title,
        figures,
        claims,
        gaps,
    })
}

/// What the statement of this id was a function of.
async fn inputs_of(
    connection: &mut PgConnection,
    caller: &Caller,
    id: Uuid,
) -> Result<StatementInputs, ServiceError> {
    let row = store::statements::by_id(connection, caller.programme_id, id)
        .await?
        .ok_or_else(|| ServiceError::not_found("statement", id))?;
    let period = period_by_code(connection, caller, &row.period_code)
        .await?
        .period;
    let name = format!("{}@{}", row.methodology_code, row.methodology_version);
    let methodology = methodology_at(connection, caller, &name, row.position).await?;
    statement_inputs(connection, caller, &period, methodology, row.position).await
}

/// Computes where it keeps no other request waiting.
async fn apart<T: Send + 'static>(
    compute: impl FnOnce() -> T + Send + 'static,
) -> Result<T, ServiceError> {
    tokio::task::spawn_blocking(compute)
        .await
        .map_err(|e| ServiceError::Internal(format!("comparison: {e}")))
}

fn refused(error: ExplainError) -> ServiceError {
    let code = match error {
        ExplainError::OtherPeriod => "other_period",
        ExplainError::Gaps(_) => "statement_gaps",
        ExplainError::TooLarge => "number_too_large",
    };
    ServiceError::conflict(code, error.to_string())
}
