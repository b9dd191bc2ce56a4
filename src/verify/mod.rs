//! The offline verifier: a bag in, a verdict out. It stands on the pure rooms
//! alone: no database, no network, no clock, nothing of the service.
//!
//! Levels, each on top of the one before: the bag (every checksum), the trail
//! (hashes, order, signature), the evidence (every row proves into its batch and
//! the batch into the trail), the draws (every frame, seed and draw of a round made again),
//! the figures (every statement computed again).

mod draws;
mod evidence;
mod figures;
pub mod findings;
pub mod layout;
mod record;
mod report;
mod strangers;
mod trail;

pub use report::{Check, Fault, Level, Report};

use crate::trail::bag::Bag;
use crate::trail::note::VerifierKey;
use std::path::Path;

/// What the verifier brings along.
#[derive(Debug, Default)]
pub struct Options {
    /// The key that the checkpoints must be signed with. Without it the bag's own
    /// key is taken on trust, and the report says so.
    pub key: Option<VerifierKey>,
    /// A checkpoint kept from an earlier visit: the trail must still begin with it.
    pub kept_checkpoint: Option<String>,
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
    strangers::check(&bag, &mut report);
    // The later levels run on a damaged bag too: they name the row, not only the file.
    tell(Level::Trail);
    let Some(history) = trail::check(&bag, options, &mut report) else {
        return report;
    };
    tell(Level::Evidence);
    let evidence = evidence::check(&bag, &history, &mut report);
    tell(Level::Draws);
    draws::check(&bag, &history, &evidence, &mut report);
    findings::check(&bag, &history.findings, &mut report);
    tell(Level::Figures);
    figures::check(&bag, &history, &evidence, &mut report);
    report
}
