//! What stands where in a bag: written by the export, read by the verifier.

mod readme;
mod rounds;
mod schema;
mod trail_tables;

pub use readme::readme;
pub use rounds::{draw_header, frame_header, seed_header};
pub use schema::datapackage;

use super::tables::Table;
use crate::intake::BatchKind;

pub const ENTRIES: &str = "trail/entries.jsonl";
pub const CONTENTS: &str = "trail/contents.jsonl";
pub const CHECKPOINT: &str = "trail/checkpoint.txt";
pub const CHECKPOINT_KEY: &str = "trail/checkpoint-key.txt";
/// Checkpoints that witnesses cosigned, one JSON object with `size` and `note` a line; not
/// there where nobody did.
pub const COSIGNED: &str = "trail/cosigned.jsonl";
pub const FACTORS: &str = "factors.json";
pub const METHODOLOGIES: &str = "methodologies.json";
/// Units of the frames of all drawn rounds.
pub const ROUND_FRAMES: &str = "rounds/frames.csv";
/// The seeds of all drawn rounds, and what they were made of.
pub const ROUND_SEEDS: &str = "rounds/seeds.csv";
/// Drawn units of all drawn rounds.
pub const ROUND_DRAWS: &str = "rounds/draws.csv";
pub const FINDINGS: &str = "findings.json";
pub const README: &str = "README.md";
pub const DATAPACKAGE: &str = "datapackage.json";

/// Folders of files that are known by what is in them.
pub const UPLOADED_FILES: &str = "files/";
pub const ATTACHMENTS: &str = "attachments/";
pub const STATEMENTS: &str = "statements/";

/// Columns of every row file before those of the kind's template.
pub const ROW_PLACE_COLUMNS: [&str; 3] = ["batch", "line", "row_hash"];

/// The file that holds all rows of a kind.
pub fn row_file(kind: BatchKind) -> String {
    let folder = if kind.needs_round() {
        "evidence"
    } else {
        "register"
    };
    format!("{folder}/{}.csv", kind.file_stem())
}

/// The file of one statement.
pub fn statement_file(id: &str) -> String {
    format!("{STATEMENTS}{id}.json")
}

/// The trace of one statement, as PROV-JSON.
pub fn provenance_file(id: &str) -> String {
    format!("{STATEMENTS}{id}.prov.json")
}

/// A file that a batch came in.
pub fn uploaded_file(sha256: &str) -> String {
    format!("{UPLOADED_FILES}{sha256}")
}

/// A file that a finding speaks of.
pub fn attachment(sha256: &str) -> String {
    format!("{ATTACHMENTS}{sha256}")
}

/// Whether a file of this name is one that every bag has.
pub(super) fn is_fixed(file: &str) -> bool {
    let named = [
        FACTORS,
        METHODOLOGIES,
        ROUND_FRAMES,
        ROUND_SEEDS,
        ROUND_DRAWS,
        FINDINGS,
        README,
        DATAPACKAGE,
        ENTRIES,
        CONTENTS,
        CHECKPOINT,
        CHECKPOINT_KEY,
        COSIGNED,
    ];
    named.contains(&file)
        || Table::ALL.iter().any(|table| table.file() == file)
        || BatchKind::ALL.iter().any(|kind| row_file(*kind) == file)
}

/// Header of the row file of a kind.
pub fn row_header(kind: BatchKind) -> Vec<&'static str> {
    let columns = kind.template().columns.iter().map(|column| column.name);
    ROW_PLACE_COLUMNS.into_iter().chain(columns).collect()
}
