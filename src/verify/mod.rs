//! The offline verifier: a bag in, a verdict out. It stands on the pure rooms
//! alone: no database, no network, no clock, nothing of the service.
//!
//! Levels, each on top of the one before: the bag (every checksum), the trail
//! (hashes, order, signature), the evidence (every row proves into its batch and
//! the batch into the trail), the files (every uploaded file, read again, gives the rows
//! of its batch), the draws (every frame, seed and draw of a round made again),
//! the figures (every statement computed again).

mod draws;
mod due;
mod evidence;
mod figures;
mod files;
pub mod findings;
pub mod layout;
mod library;
pub mod proof;
mod record;
mod report;
mod row_hash;
pub mod tables;
mod trail;

pub use report::{Check, Fault, Level, Report};

use crate::trail::bag::Bag;
use crate::trail::cosignature::WitnessKey;
use crate::trail::note::VerifierKey;
use record::History;
use std::path::Path;

/// What the verifier brings along.
#[derive(Debug, Default)]
pub struct Options {
    /// The key that the checkpoints must be signed with, or one that it was handed over
    /// from by entries of the trail. Without it the bag's own key is taken on trust, and the
    /// report says so.
    pub key: Option<VerifierKey>,
    /// A checkpoint kept from an earlier visit: the trail must still begin with it.
    pub kept_checkpoint: Option<String>,
    /// Witnesses who must have cosigned a checkpoint.
    pub witnesses: Vec<WitnessKey>,
}

/// Checks everything about a bag, a folder or a `.tar.gz`.
///
/// A bag that cannot be opened at all is a report with one fault.
pub fn verify(path: &Path, options: &Options) -> Report {
    verify_telling(path, options, &mut |_| {})
}

/// The same, telling at the beginning of each level that it has come to it.
pub fn verify_telling(path: &Path, options: &Options, tell: &mut dyn FnMut(Level)) -> Report {
    let mut report = Report::default();
    tell(Level::Bag);
    let bag = match Bag::open(path) {
        Ok(bag) => bag,
        Err(error) => {
            let file = path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            report.fault(Level::Bag, Fault::new(file, error.to_string()));
            return report;
        }
    };
    std::thread::scope(|threads| {
        // Reading all bytes for their checksums is as long as the rest: both at a time.
        let sums = threads.spawn(|| check_bag(&bag));
        // The later levels run on a damaged bag too: they name the row, not only the file.
        tell(Level::Trail);
        let history = trail::check(&bag, options, &mut report);
        if let Some(history) = &history {
            check_contents(&bag, history, &mut report, tell);
        }
        match sums.join() {
            Ok(found) => report.take_in(found),
            Err(_) => broke(Level::Bag, &mut report),
        }
    });
    report
}

/// The levels that stand on the trail.
fn check_contents(bag: &Bag, history: &History, report: &mut Report, tell: &mut dyn FnMut(Level)) {
    std::thread::scope(|threads| {
        let files = threads.spawn(|| {
            let mut report = Report::default();
            files::check(bag, history, &mut report);
            report
        });
        tell(Level::Evidence);
        let evidence = evidence::check(bag, history, report);
        tell(Level::Draws);
        draws::check(bag, history, &evidence, report);
        findings::check(bag, &history.findings, report);
        tell(Level::Figures);
        figures::check(bag, history, &evidence, report);
        match files.join() {
            Ok(found) => report.take_in(found),
            Err(_) => broke(Level::Files, report),
        }
    });
}

fn broke(level: Level, report: &mut Report) {
    report.fault(level, Fault::new("the bag", "the check itself broke"));
}

/// Every checksum.
fn check_bag(bag: &Bag) -> Report {
    let mut report = Report::default();
    match bag.check() {
        Ok(checked) => {
            report.done(
                Level::Bag,
                format!(
                    "{} payload files, {} bytes: every checksum matches",
                    checked.payload_files, checked.payload_bytes
                ),
            );
            for fault in checked.faults {
                // The line is that of the manifest or tag file that tells of the fault.
                let problem = match fault.line {
                    Some(line) => format!("{} (line {line} there)", fault.problem),
                    None => fault.problem,
                };
                report.fault(Level::Bag, Fault::new(fault.file, problem));
            }
        }
        Err(error) => report.fault(Level::Bag, Fault::new("the bag", error.to_string())),
    }
    report
}
