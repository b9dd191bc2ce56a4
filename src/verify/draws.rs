//! The drawn rounds of a bag: each plan worked out again, each frame read again from the
//! register's rows, each seed and draw made again, and what each close says of its round.

mod closes;

use super::due::DueTable;
use super::evidence::{Accepted, Evidence};
use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use crate::accounting::rounds::drawing::{DrawnUnit, draw, draw_hash, seed};
use crate::accounting::rounds::frame::{FrameUnit, Register, frame, group_counts, rows_hash};
use crate::accounting::rounds::plan::RoundPlan;
use crate::accounting::rounds::records::{DrawRecord, FrameRecord, PlanRecord, SeedRecord};
use crate::intake::neutral;
use crate::statistics::draw::frame_hash;
use crate::trail::bag::Bag;
use crate::trail::merkle::Hash;
use std::collections::BTreeMap;

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

/// The three tables, compared while the rounds are redone.
struct Tables {
    frames: DueTable,
    seeds: DueTable,
    draws: DueTable,
}

pub(super) fn check(bag: &Bag, history: &History, evidence: &Evidence, report: &mut Report) {
    let open = |file, header: Vec<&'static str>| DueTable::open(bag, file, &header);
    let mut tables = Tables {
        frames: open(layout::ROUND_FRAMES, layout::frame_header()),
        seeds: open(layout::ROUND_SEEDS, layout::seed_header()),
        draws: open(layout::ROUND_DRAWS, layout::draw_header()),
    };
    let mut draws = Draws::new();
    for steps in &history.drawn_rounds {
        match redo(steps, history, evidence, &mut tables) {
            Ok(Some(units)) => {
                draws.insert(steps.round.as_str(), (steps, units));
            }
            Ok(None) => {}
            Err(problem) => report.fault(
                Level::Draws,
                Fault::of_payload(
                    layout::CONTENTS,
                    format!("round {}: {problem}", steps.round),
                ),
            ),
        }
    }
    closes::check(history, evidence, &draws, report);
    report.done(
        Level::Draws,
        format!(
            "{} frame units read again from the register, {} draw(s) made again, {} close(s) of \
             rounds worked out again",
            tables.frames.rows(),
            draws.len(),
            history.closes.len()
        ),
    );
    for table in [tables.frames, tables.seeds, tables.draws] {
        table.close(Level::Draws, report);
    }
}

/// Draws that were made again, by round.
type Draws<'a> = BTreeMap<&'a str, (&'a RoundSteps, Vec<DrawnUnit>)>;

/// A line of a table: the round, then these cells.
fn due<C: AsRef<str>>(table: &mut DueTable, round: &str, cells: &[C]) {
    table.row(std::iter::once(round).chain(cells.iter().map(AsRef::as_ref)));
}

/// Rows that count at `position`, of this round where one is named.
fn counted<T: Clone>(
    history: &History,
    evidence: &Evidence,
    rows: &[Accepted<T>],
    position: u64,
    round: Option<&str>,
) -> Vec<(u64, u64, T)> {
    let rounds = round.map(|round| [round.to_owned()]);
    let rounds = rounds.as_ref().map(<[String; 1]>::as_slice);
    let counts = |batch, line| history.corrections.counts(batch, line, position);
    evidence
        .placed(rows, position, rounds, counts)
        .map(|(sequence, line, row)| (sequence, line, row.clone()))
        .collect()
}

fn frame_at(
    plan: &RoundPlan,
    history: &History,
    evidence: &Evidence,
    position: u64,
) -> Vec<FrameUnit> {
    fn bare<T>(rows: Vec<(u64, u64, T)>) -> Vec<T> {
        rows.into_iter().map(|(_, _, row)| row).collect()
    }
    let e = evidence;
    let register = Register {
        households: bare(counted(history, e, &e.households, position, None)),
        deployments: bare(counted(history, e, &e.deployments, position, None)),
        ends: bare(counted(history, e, &e.deployment_ends, position, None)),
        weighings: counted(history, e, &e.char_weighings, position, None),
    };
    frame(plan, register.candidates(plan))
}

/// Redoes a round's steps; the drawn units where there was a draw.
fn redo(
    steps: &RoundSteps,
    history: &History,
    evidence: &Evidence,
    tables: &mut Tables,
) -> Result<Option<Vec<DrawnUnit>>, String> {
    let (planned_at, planned) = &steps.plan;
    let plan = &planned.plan;
    if planned.position > *planned_at {
        return Err("its plan claims a position after its entry".into());
    }
    let kind = history
        .rounds
        .iter()
        .find(|(_, round)| round.code == steps.round)
        .map(|(_, round)| round.kind)
        .ok_or("it was never opened")?;
    plan.check(kind).map_err(|e| e.to_string())?;
    let counted = group_counts(&frame_at(plan, history, evidence, planned.position));
    if plan.sizes(&counted).map_err(|e| e.to_string())? != planned.sizes {
        return Err("working out its plan again gives other numbers".into());
    }
    let Some((framed_at, framed, root)) = &steps.frame else {
        return Ok(None);
    };
    if framed.position > *framed_at {
        return Err("its frame claims a position after its entry".into());
    }
    let units = frame_at(plan, history, evidence, framed.position);
    for unit in &units {
        due(&mut tables.frames, &steps.round, &unit.cells());
    }
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
        return Ok(None);
    };
    let root = root.to_string();
    if seeded.tree_size != framed_at + 1 || seeded.root != root {
        return Err("its seed is not made of the trail's root after the frame".into());
    }
    if seeded.seed != seed(&root, &seeded.words) || drawn.seed != seeded.seed {
        return Err("its seed does not follow from root and words".into());
    }
    let size = seeded.tree_size.to_string();
    let (words, source) = (neutral(&seeded.words), neutral(&seeded.source));
    let cells = [
        &framed.sha256,
        &size,
        &root,
        &*words,
        &*source,
        &seeded.seed,
    ];
    due(&mut tables.seeds, &steps.round, &cells);
    let again =
        draw(&seeded.seed, plan.design, &framed.sizes, &units).map_err(|e| e.to_string())?;
    let reserve = again.units.iter().filter(|unit| unit.reserve).count() as u64;
    for unit in &again.units {
        due(&mut tables.draws, &steps.round, &unit.cells());
    }
    let same = draw_hash(&again.units) == drawn.sha256
        && again.clusters == drawn.clusters
        && reserve == drawn.reserve
        && again.units.len() as u64 == drawn.sample + drawn.reserve;
    if same {
        Ok(Some(again.units))
    } else {
        Err("drawing again gives other units than the trail holds".into())
    }
}
