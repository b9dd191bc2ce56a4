//! Drawn rounds as their tables have them: each plan worked out again, each frame read again
//! from the register's tables, each seed and draw made again.

use super::closes;
use super::expected::{Framed, Known};
use super::report::{AuditLevel, AuditReport};
use crate::accounting::rounds::drawing::{DrawnUnit, draw, draw_hash, seed};
use crate::accounting::rounds::frame::{FrameUnit, frame, group_counts, rows_hash};
use crate::accounting::rounds::plan::RoundPlan;
use crate::service::ServiceError;
use crate::statistics::draw::frame_hash;
use crate::store::{self, StoreError};
use sqlx::{Connection, PgConnection};
use std::collections::BTreeMap;
use uuid::Uuid;

const LEVEL: AuditLevel = AuditLevel::Draws;
const STEP: &str = "round_step";
const FRAME: &str = "round_frame_unit";
const DRAW: &str = "round_draw_unit";

pub(super) async fn check(
    connection: &mut PgConnection,
    programme: Uuid,
    known: &Known,
    report: &mut AuditReport,
) -> Result<(), ServiceError> {
    let (mut units, mut draws) = (0, 0);
    for planned in &known.plans {
        let round = planned.round.as_str();
        let counted = register_frame(connection, programme, &planned.plan, planned.position).await;
        match counted.map(|units| planned.plan.sizes(&group_counts(&units))) {
            Ok(Ok(sizes)) if sizes == planned.sizes => {}
            Ok(_) => {
                let problem = "working out the plan again from the register gives other numbers";
                report.fault(LEVEL, STEP, format!("{round}/plan"), problem);
            }
            Err(error) => report.fault(LEVEL, STEP, format!("{round}/plan"), error),
        }
        let Some(framed) = known.frames.get(round) else {
            continue;
        };
        let Some(frame) = check_frame(connection, programme, &planned.plan, framed, report).await?
        else {
            continue;
        };
        units += frame.len();
        draws += check_draw(
            connection,
            programme,
            (round, &planned.plan),
            known,
            frame,
            report,
        )
        .await?;
    }
    let framed: Vec<String> = known.frames.keys().cloned().collect();
    let drawn: Vec<String> = known.draws.keys().cloned().collect();
    for (table, rounds) in [(FRAME, framed), (DRAW, drawn)] {
        for round in store::audit::rounds_beside(connection, programme, table, &rounds).await? {
            let problem = "the trail has no such step of this round";
            report.fault(LEVEL, table, round, problem);
        }
    }
    let closes = closes::check(connection, known, report).await?;
    report.done(
        LEVEL,
        format!(
            "{units} frame units read again from the register, {draws} draw(s) made again, \
             {closes} close(s) worked out again"
        ),
    );
    Ok(())
}

/// Asks under a savepoint: what cannot be read must not end the audit.
async fn register_frame(
    connection: &mut PgConnection,
    programme: Uuid,
    plan: &RoundPlan,
    position: u64,
) -> Result<Vec<FrameUnit>, String> {
    let mut inner = connection.begin().await.map_err(|e| e.to_string())?;
    let candidates = store::drawn_rounds::candidates(&mut inner, programme, position, plan).await;
    inner.rollback().await.map_err(|e| e.to_string())?;
    let candidates = candidates.map_err(|error| format!("the register cannot be read: {error}"))?;
    Ok(frame(plan, candidates))
}

/// Compares the stored frame with what the trail holds; returns it where it is that one.
async fn check_frame(
    connection: &mut PgConnection,
    programme: Uuid,
    plan: &RoundPlan,
    framed: &Framed,
    report: &mut AuditReport,
) -> Result<Option<Vec<FrameUnit>>, ServiceError> {
    let record = &framed.record;
    let round = record.round.as_str();
    let is_framed = |units: &[FrameUnit]| {
        let ids: Vec<&str> = units.iter().map(|unit| unit.unit.as_str()).collect();
        frame_hash(&ids).is_ok_and(|hash| hash == record.sha256)
            && rows_hash(units) == record.rows_sha256
            && units.len() as u64 == record.units
    };
    let again = register_frame(connection, programme, plan, record.position).await;
    let again = match again {
        Ok(units) if is_framed(&units) => Some(units),
        Ok(_) => {
            let problem = "the register's rows do not give the frame that the trail holds";
            report.fault(LEVEL, STEP, format!("{round}/frame"), problem);
            None
        }
        Err(problem) => {
            report.fault(LEVEL, STEP, format!("{round}/frame"), problem);
            None
        }
    };
    let stored = match store::drawn_rounds::frame(connection, programme, round).await {
        Ok(stored) => stored,
        Err(StoreError::Damaged { reason, .. }) => {
            report.fault(LEVEL, FRAME, round, reason);
            return Ok(again);
        }
        Err(error) => return Err(error.into()),
    };
    if is_framed(&stored) {
        return Ok(Some(stored));
    }
    let Some(again) = again else {
        let problem = "its units are not those of the frame that the trail holds";
        report.fault(LEVEL, FRAME, round, problem);
        return Ok(None);
    };
    let lines = |units: &[FrameUnit]| -> BTreeMap<String, Vec<String>> {
        let line = |unit: &FrameUnit| (unit.unit.clone(), unit.cells().to_vec());
        units.iter().map(line).collect()
    };
    if !differ(report, FRAME, round, &lines(&stored), &lines(&again)) {
        report.fault(LEVEL, FRAME, round, "a unit is there twice");
    }
    Ok(Some(again))
}

/// Names each row of a round that is not as it must be; true where there was one.
fn differ(
    report: &mut AuditReport,
    table: &str,
    round: &str,
    stored: &BTreeMap<String, Vec<String>>,
    due: &BTreeMap<String, Vec<String>>,
) -> bool {
    let mut told = false;
    for (key, cells) in stored {
        let problem = match due.get(key) {
            None => "the frame and draw of the trail do not have it",
            Some(due) if due != cells => "it is not what register, seed and draw give",
            Some(_) => continue,
        };
        told = true;
        report.fault(LEVEL, table, format!("{round}/{key}"), problem);
    }
    for key in due.keys().filter(|key| !stored.contains_key(*key)) {
        told = true;
        report.fault(LEVEL, table, format!("{round}/{key}"), "it is missing");
    }
    told
}

/// Makes a draw again from the frame; returns how many there were, one or none.
async fn check_draw(
    connection: &mut PgConnection,
    programme: Uuid,
    (round, plan): (&str, &RoundPlan),
    known: &Known,
    frame: Vec<FrameUnit>,
    report: &mut AuditReport,
) -> Result<u64, ServiceError> {
    let (Some(framed), Some(seeded), Some(drawn)) = (
        known.frames.get(round),
        known.seeds.get(round),
        known.draws.get(round),
    ) else {
        return Ok(0);
    };
    let root = framed.root.to_string();
    if seeded.tree_size != framed.size
        || seeded.root != root
        || seeded.seed != seed(&root, &seeded.words)
        || drawn.seed != seeded.seed
    {
        let problem = "the seed does not follow from the root after the frame and the words";
        report.fault(LEVEL, STEP, format!("{round}/seed"), problem);
    }
    let again = match draw(&seeded.seed, plan.design, &framed.record.sizes, &frame) {
        Ok(again) => again.units,
        Err(error) => {
            report.fault(LEVEL, STEP, format!("{round}/draw"), error.to_string());
            return Ok(0);
        }
    };
    if draw_hash(&again) != drawn.sha256 {
        let problem = "drawing again gives other units than the trail holds";
        report.fault(LEVEL, STEP, format!("{round}/draw"), problem);
    }
    let stored = match store::drawn_rounds::draw(connection, programme, round).await {
        Ok(stored) => stored,
        Err(StoreError::Damaged { reason, .. }) => {
            report.fault(LEVEL, DRAW, round, reason);
            return Ok(1);
        }
        Err(error) => return Err(error.into()),
    };
    let lines = |units: &[DrawnUnit]| -> BTreeMap<String, Vec<String>> {
        let line = |unit: &DrawnUnit| {
            (
                format!("{}/{}", unit.group, unit.place),
                unit.cells().to_vec(),
            )
        };
        units.iter().map(line).collect()
    };
    let told = differ(report, DRAW, round, &lines(&stored), &lines(&again));
    if !told && stored.len() != again.len() {
        report.fault(LEVEL, DRAW, round, "a unit is there twice");
    }
    Ok(1)
}
