//! The rows of a bag: each hashed again, proved into its batch, and read into
//! the types of the accounting.

use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use super::row_hash::RowHasher;
use super::tables::Table;
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CharWeighing, CookingTest, Deployment, DeploymentEnd,
    Household, KitchenDay, MoistureReading, StoveTest, UsageAnswer,
};
use crate::intake::{BatchKind, Row, row_from_texts};
use crate::trail::bag::Bag;
use crate::trail::merkle::{Frontier, Hash};
use std::collections::BTreeMap;
use std::io::Read;
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

/// Every row of the bag that a statement may read.
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
        let fits = |origin: &Origin| {
            let round = origin.round.as_ref();
            origin.sequence < position
                && rounds.is_none_or(|rounds| round.is_some_and(|round| rounds.contains(round)))
        };
        let fitting: Vec<Option<Uuid>> = self
            .batches
            .iter()
            .map(|origin| fits(origin).then_some(origin.id))
            .collect();
        let stands = |accepted: &&Accepted<T>| {
            let batch = usize::try_from(accepted.batch).ok();
            let id = batch.and_then(|at| fitting.get(at).copied().flatten());
            id.is_some_and(|id| counts(id, u64::from(accepted.line)))
        };
        rows.iter()
            .filter(stands)
            .map(|accepted| &accepted.row)
            .collect()
    }
}

/// Rows of one batch as they pass by.
struct BatchTree {
    /// Its place in [`Evidence::batches`].
    place: u32,
    tree: Frontier,
    last_line: u64,
}

pub(super) fn check(bag: &Bag, history: &History, report: &mut Report) -> Evidence {
    let mut evidence = Evidence::default();
    let mut trees: BTreeMap<Uuid, BatchTree> = BTreeMap::new();
    let mut rows = 0_u64;
    for kind in BatchKind::ALL {
        rows += read_file(bag, kind, history, &mut trees, &mut evidence, report);
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
        let found = trees.get(id).map_or(0, |batch| batch.tree.size());
        if found != batch.rows {
            fault(format!(
                "{} rows were accepted, {found} are here",
                batch.rows
            ));
        } else if trees
            .get(id)
            .is_some_and(|found| found.tree.root().to_string() != batch.root)
        {
            fault("its rows do not hash to the root in the trail".into());
        }
    }
    check_library(bag, history, report);
    report.done(
        Level::Evidence,
        format!(
            "{rows} rows in {} batches prove into the trail",
            history.batches.len()
        ),
    );
    evidence
}

/// Reads one row file; returns how many rows it has.
fn read_file(
    bag: &Bag,
    kind: BatchKind,
    history: &History,
    trees: &mut BTreeMap<Uuid, BatchTree>,
    evidence: &mut Evidence,
    report: &mut Report,
) -> u64 {
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
                if let Err(problem) = take_row(kind, &record, &mut hasher, history, trees, evidence)
                {
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

fn take_row(
    kind: BatchKind,
    record: &csv::StringRecord,
    hasher: &mut RowHasher,
    history: &History,
    trees: &mut BTreeMap<Uuid, BatchTree>,
    evidence: &mut Evidence,
) -> Result<(), String> {
    let mut cells = record.iter();
    let mut place = || cells.next().unwrap_or_default();
    let (batch_id, line, stated_hash) = (place(), place(), place());
    let batch_id: Uuid = batch_id
        .parse()
        .map_err(|_| format!("{batch_id:?} is not the id of a batch"))?;
    let line: u64 = line
        .parse()
        .map_err(|_| format!("{line:?} is not a line number"))?;
    let stated_hash = Hash::from_hex(stated_hash).map_err(|e| format!("row_hash: {e}"))?;
    let (sequence, batch) = history
        .batches
        .get(&batch_id)
        .ok_or_else(|| format!("batch {batch_id} is not in the trail"))?;
    if batch.kind != kind.code() {
        return Err(format!("batch {batch_id} holds {}, not {kind}", batch.kind));
    }
    let row = row_from_texts(kind.template(), line, cells).map_err(|rejections| {
        let sentences: Vec<String> = rejections.iter().map(|r| r.detail.clone()).collect();
        sentences.join("; ")
    })?;
    let hash = hasher.hash(&row);
    let tree = trees.entry(batch_id).or_insert_with(|| {
        let place = u32::try_from(evidence.batches.len()).unwrap_or(u32::MAX);
        evidence.batches.push(Origin {
            id: batch_id,
            sequence: *sequence,
            round: batch.round.clone(),
        });
        BatchTree {
            place,
            tree: Frontier::new(),
            last_line: 1,
        }
    });
    tree.tree.push(hash);
    // A batch's lines follow each other without a gap, from the one below its header.
    let due = std::mem::replace(&mut tree.last_line, line).saturating_add(1);
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
    let line = u32::try_from(line).map_err(|_| format!("there is no line {line}"))?;
    keep(kind, &row, (tree.place, line), evidence)
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
        // No figure is worked out from them, so that none need be kept.
        BatchKind::MoistureReading => {
            MoistureReading::try_from(row).map_err(|e| e.to_string())?;
        }
    }
    Ok(())
}

/// The files for human readers say what the trail says.
fn check_library(bag: &Bag, history: &History, report: &mut Report) {
    let factors: Vec<_> = history.factors.iter().map(|(_, factor)| factor).collect();
    compare_json(bag, layout::FACTORS, &factors, report);
    let methodologies: Vec<_> = history.methodologies.iter().map(|(_, m)| m).collect();
    compare_json(bag, layout::METHODOLOGIES, &methodologies, report);
    for table in Table::ALL {
        compare_table(bag, table, history, report);
    }
    if let Some(programme) = &history.programme {
        compare_json(
            bag,
            layout::DATAPACKAGE,
            &layout::datapackage(&programme.code),
            report,
        );
        let readme = layout::readme(&programme.code, &programme.name, history.entries);
        let mut found = Vec::new();
        let read = bag
            .payload(layout::README)
            .map(|mut file| file.read_to_end(&mut found));
        if !matches!(read, Ok(Ok(_))) || found != readme.as_bytes() {
            let problem = "it is not the page that this version writes for this trail";
            report.fault(Level::Evidence, Fault::of_payload(layout::README, problem));
        }
    }
}

fn compare_json<T: serde::Serialize>(bag: &Bag, file: &str, expected: &T, report: &mut Report) {
    let found = bag
        .payload(file)
        .map_err(|e| e.to_string())
        .and_then(|reader| {
            serde_json::from_reader::<_, serde_json::Value>(reader).map_err(|e| e.to_string())
        });
    let problem = match (found, serde_json::to_value(expected)) {
        (Ok(found), Ok(expected)) if found == expected => return,
        (Ok(_), _) => "it differs from what the trail holds".to_owned(),
        (Err(problem), _) => problem,
    };
    report.fault(Level::Evidence, Fault::of_payload(file, problem));
}

/// Compares a table that retells the trail with what the trail says, line by line.
fn compare_table(bag: &Bag, table: Table, history: &History, report: &mut Report) {
    let file = table.file();
    let mut due = Vec::new();
    let (mut found, mut problem) = (Vec::new(), None);
    if let Err(error) = history.tables.write(table, &mut due) {
        problem = Some(error.to_string());
    }
    match bag.payload(file) {
        Err(error) => problem = Some(error.to_string()),
        Ok(reader) => {
            // One byte more than is due tells of anything beyond.
            let mut reader = reader.take(due.len() as u64 + 1);
            if let Err(error) = reader.read_to_end(&mut found) {
                problem = Some(error.to_string());
            }
        }
    }
    if let Some(problem) = problem {
        return report.fault(Level::Evidence, Fault::of_payload(file, problem));
    }
    if found == due {
        return;
    }
    let same = found.split(|b| *b == b'\n').zip(due.split(|b| *b == b'\n'));
    let line = same.take_while(|(found, due)| found == due).count() as u64 + 1;
    let problem = "it differs from what the trail holds";
    report.fault(
        Level::Evidence,
        Fault::of_payload(file, problem).at_line(line),
    );
}
