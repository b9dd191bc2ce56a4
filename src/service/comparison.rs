//! Statements held against each other: what moved one into another, and what each
//! methodology makes of the same period. Nothing is written.

use super::periods::period_by_code;
use super::statements::{methodology_at, statement_inputs};
use super::{Caller, Service, ServiceError, apart};
use crate::accounting::claim::Claims;
use crate::accounting::factor::Factor;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::Methodology;
use crate::accounting::statement::{
    ExplainError, Explanation, Figure, Gap, SideBySide, counted_otherwise, explain, side_by_side,
};
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
        apart("comparison", move || explain(&before, &after))
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
        let known =
            store::library::methodologies(&mut connection, caller.programme_id, position).await?;
        let mut groups: Vec<CountedAlike> = Vec::new();
        for (place, methodology) in chosen(known, named)?.into_iter().enumerate() {
            let factors = store::library::factors_by_id(
                &mut connection,
                caller.programme_id,
                &methodology.factors,
                position,
            )
            .await?;
            let alike = |group: &&mut CountedAlike| {
                counted_otherwise(&group.inputs, &methodology, &factors).is_empty()
            };
            if let Some(group) = groups.iter_mut().find(alike) {
                group.places.push(place);
                group.methodologies.push((methodology, factors));
                continue;
            }
            let own = methodology.clone();
            let inputs =
                statement_inputs(&mut connection, caller, &row.period, own, position).await?;
            groups.push(CountedAlike {
                inputs,
                places: vec![place],
                methodologies: vec![(methodology, factors)],
            });
        }
        drop(connection);
        apart("comparison", move || stated(&groups)).await
    }
}

/// Methodologies that count stove days and char alike, so that what is gathered serves them all.
struct CountedAlike {
    inputs: StatementInputs,
    /// Of each methodology among those asked for.
    places: Vec<usize>,
    methodologies: Vec<(Methodology, Vec<Factor>)>,
}

/// The methodologies named, in their order; all where none is.
fn chosen(known: Vec<Methodology>, named: &[String]) -> Result<Vec<Methodology>, ServiceError> {
    let wanted = match named {
        [] => known,
        named => named
            .iter()
            .map(|name| {
                let mut fitting = known.iter().filter(|methodology| methodology.id() == *name);
                let found = fitting.next().cloned();
                found.ok_or_else(|| ServiceError::not_found("methodology", name))
            })
            .collect::<Result<_, _>>()?,
    };
    if wanted.len() > STATED_AT_ONCE {
        return Err(ServiceError::invalid(
            "methodologies",
            format!(
                "are {}; {STATED_AT_ONCE} at most are stated at once",
                wanted.len()
            ),
        ));
    }
    Ok(wanted)
}

/// What each makes of the period, in the order in which they were asked for.
fn stated(groups: &[CountedAlike]) -> Vec<MethodView> {
    let mut views: Vec<(usize, MethodView)> = Vec::new();
    for group in groups {
        let found = side_by_side(&group.inputs, &group.methodologies);
        views.extend(
            group
                .places
                .iter()
                .copied()
                .zip(found.into_iter().map(view)),
        );
    }
    views.sort_by_key(|(place, _)| *place);
    views.into_iter().map(|(_, view)| view).collect()
}

fn view(found: SideBySide) -> MethodView {
    let (figures, claims, gaps) = match found.outcome {
        Ok(headline) => (headline.figures, Some(headline.claims), Vec::new()),
        Err(gaps) => (Vec::new(), None, gaps),
    };
    let name = found.methodology;
    MethodView {
        methodology: format!("{}@{}", name.code, name.version),
        title: name.title,
        figures,
        claims,
        gaps,
    }
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

fn refused(error: ExplainError) -> ServiceError {
    let code = match error {
        ExplainError::OtherPeriod => "other_period",
        ExplainError::Gaps(_) => "statement_gaps",
        ExplainError::TooLarge => "number_too_large",
    };
    ServiceError::conflict(code, error.to_string())
}
