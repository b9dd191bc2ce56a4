//! The drawn rounds of a bag: each plan worked out again, each frame read again from the
//! register's rows, each seed and draw made again.

use super::evidence::Evidence;
use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use crate::accounting::rounds::drawing::{draw, draw_hash, seed};
use crate::accounting::rounds::frame::{FrameUnit, frame, group_counts, in_service, rows_hash};
use crate::accounting::rounds::plan::RoundPlan;
use crate::accounting::rounds::records::{DrawRecord, FrameRecord, PlanRecord, SeedRecord};
use crate::intake::neutral;
use crate::statistics::draw::frame_hash;
use crate::trail::bag::Bag;
use crate::trail::merkle::Hash;

/// What the trail says of one drawn round, each step with its entry.
#[derive(Debug)]
pub(super) struct RoundSteps {
    pub round: String,
    pub plan: (u64, PlanRecord),
    /// With the trail's root just after its entry.
    pub frame: Option<(u64, FrameRecord, Hash)>,
    pub seed: Option<(u64, SeedRecord)>,
    pub draw: Option<(u64, DrawRecord)>,
}

impl RoundSteps {
    pub fn planned(sequence: u64, record: PlanRecord) -> Self {
        RoundSteps {
            round: record.round.clone(),
            plan: (sequence, record),
            frame: None,
            seed: None,
            draw: None,
        }
    }
}

/// The lines that the three tables should have.
#[derive(Default)]
struct Tables {
    frames: Vec<Vec<String>>,
    seeds: Vec<Vec<String>>,
    draws: Vec<Vec<String>>,
}

pub(super) fn check(bag: &Bag, history: &History, evidence: &Evidence, report: &mut Report) {
    let mut tables = Tables::default();
    let mut redone = 0;
    for steps in &history.drawn_rounds {
        match redo(steps, evidence, &mut tables) {
            Ok(drawn) => redone += u64::from(drawn),
            Err(problem) => report.fault(
                Level::Draws,
                Fault::of_payload(
                    layout::CONTENTS,
                    format!("round {}: {problem}", steps.round),
                ),
            ),
        }
    }
    compare(
        bag,
        layout::ROUND_FRAMES,
        &layout::frame_header(),
        &tables.frames,
        report,
    );
    compare(
        bag,
        layout::ROUND_SEEDS,
        &layout::seed_header(),
        &tables.seeds,
        report,
    );
    compare(
        bag,
        layout::ROUND_DRAWS,
        &layout::draw_header(),
        &tables.draws,
        report,
    );
    report.done(
        Level::Draws,
        format!(
            "{} frame units read again from the register, {redone} draw(s) made again",
            tables.frames.len()
        ),
    );
}

fn frame_at(plan: &RoundPlan, evidence: &Evidence, position: u64) -> Vec<FrameUnit> {
    let stoves = in_service(
        plan,
        &evidence.known(&evidence.households, position, None, |_, _| true),
        &evidence.known(&evidence.deployments, position, None, |_, _| true),
        &evidence.known(&evidence.deployment_ends, position, None, |_, _| true),
    );
    frame(plan, stoves)
}

/// Redoes a round's steps; true where there was a draw.
fn redo(steps: &RoundSteps, evidence: &Evidence, tables: &mut Tables) -> Result<bool, String> {
    let (planned_at, planned) = &steps.plan;
    let plan = &planned.plan;
    if planned.position > *planned_at {
        return Err("its plan claims a position after its entry".into());
    }
    let counted = group_counts(&frame_at(plan, evidence, planned.position));
    if plan.sizes(&counted).map_err(|e| e.to_string())? != planned.sizes {
        return Err("working out its plan again gives other numbers".into());
    }
    let Some((framed_at, framed, root)) = &steps.frame else {
        return Ok(false);
    };
    if framed.position > *framed_at {
        return Err("its frame claims a position after its entry".into());
    }
    let units = frame_at(plan, evidence, framed.position);
    let line = |cells: &[String]| -> Vec<String> {
        std::iter::once(&steps.round)
            .chain(cells)
            .cloned()
            .collect()
    };
    tables
        .frames
        .extend(units.iter().map(|unit| line(&unit.cells())));
    let ids: Vec<&str> = units.iter().map(|unit| unit.unit.as_str()).collect();
    let hash = frame_hash(&ids).map_err(|e| e.to_string())?;
    if hash != framed.sha256
        || rows_hash(&units) != framed.rows_sha256
        || units.len() as u64 != framed.units
    {
        return Err("the register's rows do not give the frame that the trail holds".into());
    }
    let sizes = plan
        .sizes(&group_counts(&units))
        .map_err(|e| e.to_string())?;
    if sizes != framed.sizes {
        return Err("the frame promises other numbers than its plan gives".into());
    }
    let (Some((_, seeded)), Some((_, drawn))) = (&steps.seed, &steps.draw) else {
        return Ok(false);
    };
    let root = root.to_string();
    if seeded.tree_size != framed_at + 1 || seeded.root != root {
        return Err("its seed is not made of the trail's root after the frame".into());
    }
    if seeded.seed != seed(&root, &seeded.words) || drawn.seed != seeded.seed {
        return Err("its seed does not follow from root and words".into());
    }
    tables.seeds.push(vec![
        steps.round.clone(),
        framed.sha256.clone(),
        seeded.tree_size.to_string(),
        root,
        neutral(&seeded.words).into_owned(),
        neutral(&seeded.source).into_owned(),
        seeded.seed.clone(),
    ]);
    let again =
        draw(&seeded.seed, plan.design, &framed.sizes, &units).map_err(|e| e.to_string())?;
    let reserve = again.units.iter().filter(|unit| unit.reserve).count() as u64;
    tables
        .draws
        .extend(again.units.iter().map(|unit| line(&unit.cells())));
    let same = draw_hash(&again.units) == drawn.sha256
        && again.clusters == drawn.clusters
        && reserve == drawn.reserve
        && again.units.len() as u64 == drawn.sample + drawn.reserve;
    if same {
        Ok(true)
    } else {
        Err("drawing again gives other units than the trail holds".into())
    }
}

/// Compares a table of the bag, line by line, with what it should be.
fn compare(bag: &Bag, file: &str, header: &[&str], expected: &[Vec<String>], report: &mut Report) {
    let reader = match bag.payload(file) {
        Ok(reader) => reader,
        Err(error) => {
            return report.fault(Level::Draws, Fault::of_payload(file, error.to_string()));
        }
    };
    let mut csv = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(reader);
    let header: Vec<String> = header.iter().map(|cell| (*cell).to_owned()).collect();
    let mut due = std::iter::once(&header).chain(expected);
    let mut line = 0;
    let mut record = csv::StringRecord::new();
    loop {
        line += 1;
        let found = match csv.read_record(&mut record) {
            Ok(true) => Some(record.iter().collect::<Vec<_>>()),
            Ok(false) => None,
            Err(error) => {
                let fault = Fault::of_payload(file, format!("it cannot be read: {error}"));
                return report.fault(Level::Draws, fault.at_line(line));
            }
        };
        let (problem, ends) = match (found, due.next()) {
            (None, None) => return,
            (Some(found), Some(due)) if found == *due => continue,
            (Some(_), Some(_)) => (
                "this line is not what register, seed and draw give: it was changed",
                false,
            ),
            (Some(_), None) => ("there are lines beyond those that were recorded", true),
            (None, Some(_)) => ("lines that were recorded are missing", true),
        };
        report.fault(Level::Draws, Fault::of_payload(file, problem).at_line(line));
        if ends {
            return;
        }
    }
}
