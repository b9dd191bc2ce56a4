//! Files of a bag that no check reads: under fitting manifests they would stand there as if
//! something vouched for them.

use super::layout;
use super::report::{Fault, Level, Report};
use crate::intake::BatchKind;
use crate::trail::bag::Bag;

/// Every payload file that a check reads, but for the rows of the kinds and the statements.
const READ: [&str; 12] = [
    layout::README,
    layout::DATAPACKAGE,
    layout::ENTRIES,
    layout::CONTENTS,
    layout::CHECKPOINT,
    layout::CHECKPOINT_KEY,
    layout::FACTORS,
    layout::METHODOLOGIES,
    layout::FINDINGS,
    layout::ROUND_FRAMES,
    layout::ROUND_SEEDS,
    layout::ROUND_DRAWS,
];

/// Whether a check reads this file. Statements are told apart by the trail.
fn is_read(file: &str) -> bool {
    READ.contains(&file)
        || file.starts_with("statements/")
        || BatchKind::ALL
            .into_iter()
            .any(|kind| layout::row_file(kind) == file)
}

pub(super) fn check(bag: &Bag, report: &mut Report) {
    for file in bag.payload_files() {
        if !is_read(&file) {
            let problem = "no check reads it: it has no place in a bag";
            report.fault(Level::Bag, Fault::of_payload(&file, problem));
        }
    }
}
