//! The rows of a bag: each hashed again, proved into its batch, and read into
//! the types of the accounting.

use super::layout;
use super::library;
use super::record::History;
use super::report::{Fault, Level, Report};
use super::row_hash::RowHasher;
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CharWeighing, CookingTest, Deployment, DeploymentEnd,
    Household, KitchenDay, MoistureReading, StoveTest, UsageAnswer,
};
use crate::intake::{BatchKind, Row, row_from_texts};
use crate::trail::bag::Bag;
use crate::trail::merkle::{Frontier, Hash};
use std::collections::HashMap;
use uuid::Uuid;

/// A row with its place: a batch of [`Evidence::batches`] and a line of it.
#[derive(Debug)]
pub(super) struct Accepted<T> {
    batch: u32,
    line: u32,
    pub row: T,
}

/// Where the rows of a batch belong.
#[derive(Debug)]
struct Origin {
    id: Uuid,
    /// The trail entry that accepted it.
    sequence: u64,
    round: Option<String>,
}

/// Every row of the bag that a statement or a drawn round may read.
#[derive(Debug, Default)]
pub(super) struct Evidence {
    batches: Vec<Origin>,
    pub households: Vec<Accepted<Household>>,
    pub deployments: Vec<Accepted<Deployment>>,
    pub deployment_ends: Vec<Accepted<DeploymentEnd>>,
    pub usage_answers: Vec<Accepted<UsageAnswer>>,
    pub kitchen_days: Vec<Accepted<KitchenDay>>,
    pub char_weighings: Vec<Accepted<CharWeighing>>,
    pub baseline_answers: Vec<Accepted<BaselineSurveyAnswer>>,
    pub cooking_tests: Vec<Accepted<CookingTest>>,
    pub stove_tests: Vec<Accepted<StoveTest>>,
    pub char_samples: Vec<Accepted<CharLabTest>>,
    pub moisture_readings: Vec<Accepted<MoistureReading>>,
}

impl Evidence {
    /// Rows of batches that were known at `position`, of these rounds where any are named.
    pub fn known<'a, T>(
        &self,
        rows: &'a [Accepted<T>],
        position: u64,
        rounds: Option<&[String]>,
        counts: impl Fn(Uuid, u64) -> bool,
    ) -> Vec<&'a T> {
        self.placed(rows, position, rounds, counts)
            .map(|(_, _, row)| row)
            .collect()
    }

    /// The same, each with the trail entry that accepted it and its line.
    pub fn placed<'a, T>(
        &self,
        rows: &'a [Accepted<T>],
        position: u64,
        rounds: Option<&[String]>,
        counts: impl Fn(Uuid, u64) -> bool,
    ) -> impl Iterator<Item = (u64, u64, &'a T)> {
        let fits = |origin: &Origin| {
            let round = origin.round.as_ref();
            origin.sequence < position
                && rounds.is_none_or(|rounds| round.is_some_and(|round| rounds.contains(round)))
        };
        let fitting: Vec<Option<(Uuid, u64)>> = self
            .batches
            .iter()
            .map(|origin| fits(origin).then_some((origin.id, origin.sequence)))
            .collect();
        rows.iter().filter_map(move |accepted| {
            let batch = usize::try_from(accepted.batch).ok()?;
            let (id, sequence) = fitting.get(batch).copied().flatten()?;
            let line = u64::from(accepted.line);
            counts(id, line).then_some((sequence, line, &accepted.row))
        })
    }
}

/// The rows of the batches as they pass by, each in its tree.
struct Walk<'a> {
    history: &'a History,
    /// In the order of [`Evidence::batches`].
    trees: Vec<BatchTree>,
    places: HashMap<Uuid, usize>,
    /// The batch of the last row: most rows have the batch of the row before them.
    last: (String, usize),
    evidence: Evidence,
}

struct BatchTree {
    kind: BatchKind,
    tree: Frontier,
    last_line: u64,
}

impl<'a> Walk<'a> {
    fn new(history: &'a History) -> Self {
        Walk {
            history,
            trees: Vec::new(),
            places: HashMap::new(),
            last: (String::new(), 0),
            evidence: Evidence::default(),
        }
    }

    /// Where the batch of this id stands among the trees.
    fn place(&mut self, text: &str, kind: BatchKind) -> Result<usize, String> {
        let (last, place) = &self.last;
        if last == text && self.trees.get(*place).is_some_and(|tree| tree.kind == kind) {
            return Ok(*place);
        }
        let id: Uuid = text
            .parse()
            .map_err(|_| format!("{text:?} is not the id of a batch"))?;
        let (sequence, batch) = self
            .history
            .batches
            .get(&id)
            .ok_or_else(|| format!("batch {id} is not in the trail"))?;
        if batch.kind != kind.code() {
            return Err(format!("batch {id} holds {}, not {kind}", batch.kind));
        }
        let place = *self.places.entry(id).or_insert_with(|| {
            self.trees.push(BatchTree {
                kind,
                tree: Frontier::new(),
                last_line: 1,
            });
            self.evidence.batches.push(Origin {
                id,
                sequence: *sequence,
                round: batch.round.clone(),
            });
            self.trees.len() - 1
        });
        self.last = (text.to_owned(), place);
        Ok(place)
    }

    fn tree(&self, id: &Uuid) -> Option<&Frontier> {
        let place = self.places.get(id)?;
        self.trees.get(*place).map(|batch| &batch.tree)
    }

    fn take_row(
        &mut self,
        kind: BatchKind,
        record: &csv::StringRecord,
        hasher: &mut RowHasher,
    ) -> Result<(), String> {
        let mut cells = record.iter();
        let mut cell = || cells.next().unwrap_or_default();
        let (batch_id, line, stated_hash) = (cell(), cell(), cell());
        let place = self.place(batch_id, kind)?;
        let line: u64 = line
            .parse()
            .map_err(|_| format!("{line:?} is not a line number"))?;
        let stated_hash = Hash::from_hex(stated_hash).map_err(|e| format!("row_hash: {e}"))?;
        let row = row_from_texts(kind.template(), line, cells).map_err(|rejections| {
            let sentences: Vec<String> = rejections.iter().map(|r| r.detail.clone()).collect();
            sentences.join("; ")
        })?;
        // The table holds the very texts that were hashed.
        let text = |at: usize| record.get(at + layout::ROW_PLACE_COLUMNS.len());
        let hash = hasher.hash_texts(|at| text(at).filter(|text| !text.is_empty()));
        let Some(batch) = self.trees.get_mut(place) else {
            return Err(format!("batch {batch_id} has no place"));
        };
        batch.tree.push(hash);
        // A batch's lines follow each other without a gap, from the one below its header.
        let due = std::mem::replace(&mut batch.last_line, line).saturating_add(1);
        if line != due {
            return Err(format!(
                "line {line} of batch {batch_id} stands where line {due} is due"
            ));
        }
        if hash != stated_hash {
            return Err(format!(
                "the row (line {line} of batch {batch_id}) does not hash to its row_hash: it was changed"
            ));
        }
        let place = u32::try_from(place).ok().zip(u32::try_from(line).ok());
        let place = place.ok_or_else(|| format!("there is no line {line}"))?;
        keep(kind, &row, place, &mut self.evidence)
    }
}

pub(super) fn check(bag: &Bag, history: &History, report: &mut Report) -> Evidence {
    let mut walk = Walk::new(history);
    let mut rows = 0_u64;
    for kind in BatchKind::ALL {
        rows += read_file(bag, kind, &mut walk, report);
    }
    for (id, (_, batch)) in &history.batches {
        let file = batch
            .kind
            .parse()
            .map_or_else(|_| batch.kind.clone(), layout::row_file);
        let mut fault = |problem: String| {
            report.fault(
                Level::Evidence,
                Fault::of_payload(&file, format!("batch {id}: {problem}")),
            );
        };
        let tree = walk.tree(id);
        let found = tree.map_or(0, Frontier::size);
        if found != batch.rows {
            fault(format!(
                "{} rows were accepted, {found} are here",
                batch.rows
            ));
        } else if tree.is_some_and(|tree| tree.root().to_string() != batch.root) {
            fault("its rows do not hash to the root in the trail".into());
        }
    }
    library::check(bag, history, report);
    report.done(
        Level::Evidence,
        format!(
            "{rows} rows in {} batches prove into the trail",
            history.batches.len()
        ),
    );
    walk.evidence
}

/// Reads one row file; returns how many rows it has.
fn read_file(bag: &Bag, kind: BatchKind, walk: &mut Walk<'_>, report: &mut Report) -> u64 {
    let file = layout::row_file(kind);
    let reader = match bag.payload(&file) {
        Ok(reader) => reader,
        Err(error) => {
            report.fault(Level::Evidence, Fault::of_payload(&file, error.to_string()));
            return 0;
        }
    };
    let mut hasher = match RowHasher::new(kind) {
        Ok(hasher) => hasher,
        Err(problem) => {
            report.fault(Level::Evidence, Fault::of_payload(&file, problem));
            return 0;
        }
    };
    let mut csv = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(reader);
    let mut record = csv::StringRecord::new();
    let mut line = 0_u64;
    let mut rows = 0_u64;
    loop {
        line += 1;
        match csv.read_record(&mut record) {
            Ok(false) => break,
            Ok(true) if line == 1 => {
                if record.iter().ne(layout::row_header(kind)) {
                    let problem = "the header is not that of this kind";
                    report.fault(
                        Level::Evidence,
                        Fault::of_payload(&file, problem).at_line(line),
                    );
                    break;
                }
            }
            Ok(true) => {
                rows += 1;
                if let Err(problem) = walk.take_row(kind, &record, &mut hasher) {
                    report.fault(
                        Level::Evidence,
                        Fault::of_payload(&file, problem).at_line(line),
                    );
                }
            }
            Err(error) => {
                let problem = format!("this line cannot be read: {error}");
                report.fault(
                    Level::Evidence,
                    Fault::of_payload(&file, problem).at_line(line),
                );
                if matches!(error.kind(), csv::ErrorKind::Io(_)) {
                    break;
                }
            }
        }
    }
    rows
}

fn keep(
    kind: BatchKind,
    row: &Row,
    (batch, line): (u32, u32),
    evidence: &mut Evidence,
) -> Result<(), String> {
    macro_rules! push {
        ($into:ident) => {
            evidence.$into.push(Accepted {
                batch,
                line,
                row: row.try_into().map_err(|e| format!("{e}"))?,
            })
        };
    }
    match kind {
        BatchKind::Households => push!(households),
        BatchKind::Deployments => push!(deployments),
        BatchKind::DeploymentEnds => push!(deployment_ends),
        BatchKind::UsageSurvey => push!(usage_answers),
        BatchKind::KitchenTest => push!(kitchen_days),
        BatchKind::CharWeighing => push!(char_weighings),
        BatchKind::BaselineSurvey => push!(baseline_answers),
        BatchKind::CookingTest => push!(cooking_tests),
        BatchKind::StoveTest => push!(stove_tests),
        BatchKind::CharLab => push!(char_samples),
        BatchKind::MoistureReading => push!(moisture_readings),
    }
    Ok(())
}
