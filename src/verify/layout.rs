//! What stands where in a bag: written by the export, read by the verifier.

mod rounds;

pub use rounds::{draw_header, frame_header, seed_header};

use crate::intake::{BatchKind, Column, ValueRule};
use serde_json::{Value, json};

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
    format!("statements/{id}.json")
}

/// Header of the row file of a kind.
pub fn row_header(kind: BatchKind) -> Vec<&'static str> {
    let columns = kind.template().columns.iter().map(|column| column.name);
    ROW_PLACE_COLUMNS.into_iter().chain(columns).collect()
}

/// The Data Package description of the bag's tables (version 2 of that standard).
pub fn datapackage(programme_code: &str) -> Value {
    let resources: Vec<Value> = BatchKind::ALL
        .into_iter()
        .map(resource)
        .chain(rounds::resources())
        .collect();
    json!({
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": programme_code,
        "title": format!("Register and evidence of {programme_code}"),
        "resources": resources,
    })
}

fn resource(kind: BatchKind) -> Value {
    let place = [
        json!({"name": "batch", "type": "string", "format": "uuid",
               "constraints": {"required": true},
               "description": "Batch that the row was accepted in"}),
        json!({"name": "line", "type": "integer", "constraints": {"required": true},
               "description": "Line of the uploaded file; its header is line 1"}),
        json!({"name": "row_hash", "type": "string",
               "constraints": {"required": true, "pattern": "[0-9a-f]{64}"},
               "description": "RFC 9162 leaf hash of the row's canonical JSON (RFC 8785)"}),
    ];
    let fields: Vec<Value> = place
        .into_iter()
        .chain(kind.template().columns.iter().map(field))
        .collect();
    json!({
        "name": kind.file_stem(),
        "path": row_file(kind),
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "primaryKey": ["batch", "line"]},
    })
}

fn field(column: &Column) -> Value {
    let (kind, mut constraints) = match column.value {
        ValueRule::Code { max_len } => ("string", json!({"maxLength": max_len})),
        ValueRule::OneOf(values) => ("string", json!({"enum": values})),
        ValueRule::Date => ("date", json!({})),
        ValueRule::Decimal { min, max, .. } => (
            "number",
            json!({"minimum": min.to_string(), "maximum": max.to_string()}),
        ),
        ValueRule::Integer { min, max } => ("integer", json!({"minimum": min, "maximum": max})),
        ValueRule::YesNo => ("string", json!({"enum": ["yes", "no"]})),
        ValueRule::Minute => (
            "string",
            json!({"pattern": "[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}"}),
        ),
    };
    constraints["required"] = json!(column.required);
    let mut field = json!({
        "name": column.name,
        "type": kind,
        "description": column.description,
        "constraints": constraints,
    });
    if let Some(unit) = column.unit {
        field["unit"] = json!(unit);
    }
    field
}

/// The page for a human who opens the bag.
pub fn readme(programme_code: &str, programme_name: &str, position: u64) -> String {
    format!(
        "# {programme_name} ({programme_code})\n\n\
         The whole record of this programme at trail position {position}: a BagIt bag (RFC 8493)\n\
         written by emberbook {version}. Check it without any network or database:\n\n\
         \x20   emberbook verify PATH-TO-THIS-BAG\n\n\
         | where | what |\n| --- | --- |\n\
         | `data/register/*.csv` | households (pseudonymous codes), deployments, their ends |\n\
         | `data/evidence/*.csv` | surveys, tests, weighings, laboratory results: every accepted row |\n\
         | `data/rounds/*.csv` | frame, seed and draw of each round that was drawn by the program |\n\
         | `data/factors.json` | every factor version with its unit, spread, source and mark |\n\
         | `data/methodologies.json` | every methodology version |\n\
         | `data/findings.json` | findings of verifiers with their dialogues; attached files by hash |\n\
         | `data/statements/*.json` | statements with their traces, byte for byte as recorded |\n\
         | `data/trail/entries.jsonl` | the append-only log: line n is leaf n - 1 |\n\
         | `data/trail/contents.jsonl` | what each entry committed to, in the same order |\n\
         | `data/trail/checkpoint.txt` | the signed head of the log (C2SP checkpoint, Ed25519) |\n\
         | `data/trail/checkpoint-key.txt` | the log's keys, the one in force last; compare with a copy you trust |\n\
         | `data/trail/cosigned.jsonl` | checkpoints with the cosignatures of witnesses, where there are any (C2SP tlog-cosignature) |\n\
         | `data/datapackage.json` | columns, units and bounds of the tables (Data Package) |\n\n\
         `row_hash` is SHA-256 over 0x00 and the row's canonical JSON (RFC 8785): an object of the\n\
         template's columns, each a string as it stands in the table, or null where it is empty.\n\
         The hashes of a batch, in file order, are the leaves of a Merkle tree (RFC 9162) whose head\n\
         stands in the batch's trail entry.\n\n\
         These are estimates for accounting, not a health assessment. Issuance and any public claim\n\
         rest with an accredited validation and verification body and the rules of the scheme.\n",
        version = env!("CARGO_PKG_VERSION"),
    )
}
