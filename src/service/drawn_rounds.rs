//! Rounds whose sample the program draws, from plan to close.
//!
//! Each step is one entry of the trail and happens once. The frame's entry also says how many
//! are drawn of each group; the seed is made of the trail's root after that entry and of a public
//! value given later, and the draw follows from it in the same commit: nothing is left to choose.

mod field_list;
mod looking;
mod reading;

pub use field_list::FieldList;
pub use looking::{DrawnUnitView, RoundDetail, StepAt, UnitsWanted};

use super::register::check_text;
use super::rounds::round_by_code;
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::RoundError;
use crate::accounting::rounds::closing::{Drawn, close};
use crate::accounting::rounds::drawing::{draw, draw_hash, seed};
use crate::accounting::rounds::frame::{FrameUnit, frame, group_counts, rows_hash};
use crate::accounting::rounds::plan::{RoundPlan, Sizes};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord, kind,
};
use crate::intake::BatchKind;
use crate::statistics::draw::frame_hash;
use crate::store;
use crate::trail::canonical::canonical_of;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;

/// A plan to be worked out without writing anything.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRequest {
    /// Kind of the round.
    pub kind: String,
    pub plan: RoundPlan,
}

/// The public value that the seed is made of.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SeedRequest {
    /// A value that nobody knew when the frame was taken, e.g. the numbers of a lottery.
    pub words: String,
    /// Where it was published, or who said it.
    pub source: String,
}

/// What has been recorded of a round.
#[derive(Debug, Default)]
pub(super) struct Steps {
    pub plan: Option<(u64, PlanRecord)>,
    pub frame: Option<(u64, FrameRecord)>,
    pub seed: Option<(u64, SeedRecord)>,
    pub draw: Option<(u64, DrawRecord)>,
    pub close: Option<(u64, CloseRecord)>,
}

impl Service {
    /// Works out how many units a plan needs, and writes nothing.
    pub async fn work_out_plan(
        &self,
        caller: &Caller,
        request: &PlanRequest,
    ) -> Result<Sizes, ServiceError> {
        caller.must_manage()?;
        let kind = super::rounds::round_kind(&request.kind)?;
        request.plan.check(kind)?;
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let groups = store::drawn_rounds::counted(
            &mut connection,
            caller.programme_id,
            position,
            &request.plan,
        )
        .await?;
        Ok(request.plan.sizes(&groups)?)
    }

    /// Records a plan with its arithmetic, inside the transaction that opens the round.
    pub(super) async fn record_plan(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        round: &str,
        plan: &RoundPlan,
    ) -> Result<(), ServiceError> {
        let position = store::trail::size(connection, caller.programme_id).await?;
        let groups =
            store::drawn_rounds::counted(connection, caller.programme_id, position, plan).await?;
        let record = PlanRecord {
            round: round.to_owned(),
            plan: plan.clone(),
            position,
            sizes: plan.sizes(&groups)?,
        };
        self.step(
            connection,
            caller,
            round,
            "plan",
            kind::ROUND_PLANNED,
            &record,
        )
        .await?;
        Ok(())
    }

    /// Writes down who may be drawn, and how many of each group will be.
    pub async fn take_frame(
        &self,
        caller: &Caller,
        round: &str,
        once: &Once,
    ) -> Result<FrameRecord, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            let steps = steps_of(connection, caller, round).await?;
            let Some((_, planned)) = &steps.plan else {
                return Err(ServiceError::conflict(
                    "round_not_planned",
                    format!(
                        "round {round} was opened without a plan: its sample is described in words"
                    ),
                ));
            };
            not_closed(&steps, round)?;
            if store::drawn_rounds::has_batches(connection, caller.programme_id, round).await? {
                return Err(ServiceError::conflict(
                    "rows_before_frame",
                    format!(
                        "round {round} has rows already: a frame comes before the first of them"
                    ),
                ));
            }
            let position = store::trail::size(connection, caller.programme_id).await?;
            let units = register_frame(connection, caller, &planned.plan, position).await?;
            let ids: Vec<&str> = units.iter().map(|unit| unit.unit.as_str()).collect();
            let record = FrameRecord {
                round: round.to_owned(),
                position,
                units: units.len() as u64,
                sha256: frame_hash(&ids).map_err(RoundError::from)?,
                rows_sha256: rows_hash(&units),
                sizes: planned.plan.sizes(&group_counts(&units))?,
            };
            self.step(
                connection,
                caller,
                round,
                "frame",
                kind::ROUND_FRAMED,
                &record,
            )
            .await?;
            store::drawn_rounds::insert_frame(connection, caller.programme_id, round, &units)
                .await?;
            Ok(record)
        })
        .await
    }

    /// Fixes the seed from the trail's root after the frame and a public value, and draws.
    pub async fn fix_seed(
        &self,
        caller: &Caller,
        round: &str,
        request: &SeedRequest,
        once: &Once,
    ) -> Result<SeedRecord, ServiceError> {
        caller.must_manage()?;
        check_text("words", &request.words, 500)?;
        check_text("source", &request.source, 500)?;
        self.write(caller, once, async |connection| {
            let steps = steps_of(connection, caller, round).await?;
            let (Some((_, planned)), Some((framed_at, framed))) = (&steps.plan, &steps.frame)
            else {
                return Err(ServiceError::conflict(
                    "frame_missing",
                    format!("round {round} has no frame: it must be in the trail before the seed"),
                ));
            };
            not_closed(&steps, round)?;
            let tree_size = framed_at + 1;
            let root = store::trail::root(connection, caller.programme_id, tree_size)
                .await?
                .to_string();
            let words = request.words.trim().to_owned();
            let record = SeedRecord {
                round: round.to_owned(),
                tree_size,
                seed: seed(&root, &words),
                root,
                words,
                source: request.source.trim().to_owned(),
            };
            self.step(
                connection,
                caller,
                round,
                "seed",
                kind::ROUND_SEEDED,
                &record,
            )
            .await?;
            let units = store::drawn_rounds::frame(connection, caller.programme_id, round).await?;
            let drawn = draw(&record.seed, planned.plan.design, &framed.sizes, &units)?;
            let reserve = drawn.units.iter().filter(|unit| unit.reserve).count() as u64;
            let draw_record = DrawRecord {
                round: round.to_owned(),
                seed: record.seed.clone(),
                clusters: drawn.clusters,
                sample: drawn.units.len() as u64 - reserve,
                reserve,
                sha256: draw_hash(&drawn.units),
            };
            self.step(
                connection,
                caller,
                round,
                "draw",
                kind::ROUND_DRAWN,
                &draw_record,
            )
            .await?;
            store::drawn_rounds::insert_draw(connection, caller.programme_id, round, &drawn.units)
                .await?;
            Ok(record)
        })
        .await
    }

    /// Closes a round: what was achieved is recorded, and no further batch is taken into it.
    pub async fn close_round(
        &self,
        caller: &Caller,
        round: &str,
        once: &Once,
    ) -> Result<CloseRecord, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            let row = round_by_code(connection, caller, round).await?;
            let steps = steps_of(connection, caller, round).await?;
            if steps.frame.is_some() && steps.draw.is_none() {
                return Err(ServiceError::conflict(
                    "draw_missing",
                    format!("round {round} has a frame and no draw yet"),
                ));
            }
            let position = store::trail::size(connection, caller.programme_id).await?;
            let record =
                close_record(connection, caller, &steps, row.record.kind, round, position).await?;
            self.step(
                connection,
                caller,
                round,
                "close",
                kind::ROUND_CLOSED,
                &record,
            )
            .await?;
            Ok(record)
        })
        .await
    }

    /// Appends a step to the trail and keeps it.
    async fn step<R: Serialize>(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        round: &str,
        step: &str,
        entry_kind: &str,
        record: &R,
    ) -> Result<(), ServiceError> {
        let failed = |e: String| ServiceError::Internal(format!("record of {round}: {e}"));
        let bytes = canonical_of(record).map_err(|e| failed(e.to_string()))?;
        let sequence = self
            .log_bytes(connection, caller, entry_kind, round, &bytes)
            .await?;
        let body = String::from_utf8(bytes).map_err(|e| failed(e.to_string()))?;
        store::drawn_rounds::insert_step(
            connection,
            caller.programme_id,
            round,
            step,
            &body,
            sequence,
        )
        .await?;
        Ok(())
    }
}

fn not_closed(steps: &Steps, round: &str) -> Result<(), ServiceError> {
    match steps.close {
        None => Ok(()),
        Some(_) => Err(ServiceError::conflict(
            "round_closed",
            format!("round {round} is closed"),
        )),
    }
}

/// Refuses rows for a round that is closed, or that has a frame and no draw: rows that came
/// before the seed could be chosen to fit it, or it to fit them.
pub(super) async fn takes_rows(
    connection: &mut PgConnection,
    caller: &Caller,
    round: Option<&str>,
) -> Result<(), ServiceError> {
    let Some(round) = round else {
        return Ok(());
    };
    let steps = steps_of(connection, caller, round).await?;
    if steps.close.is_some() {
        return Err(ServiceError::conflict(
            "round_closed",
            format!("round {round} is closed: no further batch is taken into it"),
        ));
    }
    if steps.frame.is_some() && steps.draw.is_none() {
        return Err(ServiceError::conflict(
            "draw_missing",
            format!(
                "round {round} has a frame and no draw yet: fix its seed before the first rows"
            ),
        ));
    }
    Ok(())
}

pub(super) fn check_plan(plan: &RoundPlan, kind: RoundKind) -> Result<(), ServiceError> {
    check_text("purpose", &plan.purpose, 1_000)?;
    Ok(plan.check(kind)?)
}

/// The frame that a plan asks for, from the register as known at `position`.
async fn register_frame(
    connection: &mut PgConnection,
    caller: &Caller,
    plan: &RoundPlan,
    position: u64,
) -> Result<Vec<FrameUnit>, ServiceError> {
    let candidates =
        store::drawn_rounds::candidates(connection, caller.programme_id, position, plan).await?;
    Ok(frame(plan, candidates))
}

pub(super) async fn close_record(
    connection: &mut PgConnection,
    caller: &Caller,
    steps: &Steps,
    round_kind: RoundKind,
    round: &str,
    position: u64,
) -> Result<CloseRecord, ServiceError> {
    let (Some((_, planned)), Some((_, framed)), Some((_, record))) =
        (&steps.plan, &steps.frame, &steps.draw)
    else {
        return Ok(close(round, position, None));
    };
    let programme = caller.programme_id;
    let units = store::drawn_rounds::draw(connection, programme, round).await?;
    let (kind, unit) = (BatchKind::of_round(round_kind), planned.plan.unit);
    let rows =
        store::drawn_rounds::rows_of_drawn(connection, programme, round, kind, unit, position)
            .await?;
    let answers = reading::round_rows(round_kind, &rows)?.answers(unit);
    let outside =
        store::drawn_rounds::outside(connection, programme, round, kind, unit, position).await?;
    Ok(close(
        round,
        position,
        Some(Drawn {
            plan: &planned.plan,
            sizes: &framed.sizes,
            clusters: &record.clusters,
            units: &units,
            answers: &answers,
            outside,
        }),
    ))
}

pub(super) async fn steps_of(
    connection: &mut PgConnection,
    caller: &Caller,
    round: &str,
) -> Result<Steps, ServiceError> {
    fn read<R: serde::de::DeserializeOwned>(
        row: &store::drawn_rounds::StepRow,
    ) -> Result<Option<(u64, R)>, ServiceError> {
        serde_json::from_str(&row.body)
            .map(|record| Some((row.sequence, record)))
            .map_err(|e| ServiceError::Internal(format!("step {} of a round: {e}", row.step)))
    }
    let mut steps = Steps::default();
    for row in store::drawn_rounds::steps(connection, caller.programme_id, round).await? {
        match row.step.as_str() {
            "plan" => steps.plan = read(&row)?,
            "frame" => steps.frame = read(&row)?,
            "seed" => steps.seed = read(&row)?,
            "draw" => steps.draw = read(&row)?,
            "close" => steps.close = read(&row)?,
            other => {
                return Err(ServiceError::Internal(format!(
                    "a round has the step {other}"
                )));
            }
        }
    }
    Ok(steps)
}

impl From<RoundError> for ServiceError {
    fn from(error: RoundError) -> Self {
        match error {
            RoundError::Field { field, detail } => ServiceError::invalid(field, detail),
            RoundError::Statistics(problem) => ServiceError::invalid("plan", problem.to_string()),
        }
    }
}
