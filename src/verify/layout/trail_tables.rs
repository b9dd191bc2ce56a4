//! The schemas of the tables that retell the trail.

use super::schema::{HASH, field, reference, table};
use crate::accounting::records::RoundKind;
use crate::intake::BatchKind;
use crate::verify::tables::Table;
use serde_json::{Value, json};

pub(super) fn resources() -> Vec<Value> {
    Table::ALL.into_iter().map(resource).collect()
}

fn name(table: Table) -> &'static str {
    match table {
        Table::Sites => "sites",
        Table::StoveModels => "stove-models",
        Table::Rounds => "rounds",
        Table::Periods => "periods",
        Table::Batches => "batches",
        Table::Corrections => "corrections",
    }
}

fn resource(which: Table) -> Value {
    let entry = || {
        let says = "Trail entry that tells it; entry n is on line n + 1 of trail/entries.jsonl";
        field(
            "entry",
            "integer",
            says,
            json!({"required": true, "minimum": 0}),
        )
    };
    let (fields, schema) = match which {
        Table::Sites => sites(entry()),
        Table::StoveModels => models(entry()),
        Table::Rounds => rounds(entry()),
        Table::Periods => periods(entry()),
        Table::Batches => batches(entry()),
        Table::Corrections => corrections(entry()),
    };
    table(name(which), which.file(), &fields, schema)
}

fn sites(entry: Value) -> (Vec<Value>, Value) {
    let fields = vec![
        field(
            "site_code",
            "string",
            "Code of the site",
            json!({"required": true, "unique": true}),
        ),
        field(
            "name",
            "string",
            "What the programme calls it",
            json!({"required": true}),
        ),
        entry,
    ];
    (fields, json!({"primaryKey": ["site_code"]}))
}

fn models(entry: Value) -> (Vec<Value>, Value) {
    let needed = || json!({"required": true});
    let fields = vec![
        field("model_code", "string", "Code of the stove model", needed()),
        field(
            "model_version",
            "integer",
            "Its version",
            json!({"required": true, "minimum": 0}),
        ),
        field("name", "string", "What the programme calls it", needed()),
        field("device", "string", "Device code of the factors", needed()),
        field(
            "char_making",
            "string",
            "Whether it makes char",
            json!({"required": true, "enum": ["yes", "no"]}),
        ),
        entry,
    ];
    (
        fields,
        json!({"primaryKey": ["model_code", "model_version"]}),
    )
}

fn rounds(entry: Value) -> (Vec<Value>, Value) {
    let kinds = RoundKind::ALL.map(RoundKind::code);
    let needed = || json!({"required": true});
    let fields = vec![
        field(
            "round",
            "string",
            "Code of the round",
            json!({"required": true, "unique": true}),
        ),
        field(
            "kind",
            "string",
            "What it collects",
            json!({"required": true, "enum": kinds}),
        ),
        field("starts_on", "date", "First day", needed()),
        field("ends_on", "date", "Day after the last one", needed()),
        field(
            "design",
            "string",
            "How the sample was drawn, in words",
            json!({}),
        ),
        entry,
    ];
    (fields, json!({"primaryKey": ["round"]}))
}

fn periods(entry: Value) -> (Vec<Value>, Value) {
    let needed = || json!({"required": true});
    let fields = vec![
        field(
            "period",
            "string",
            "Code of the period",
            json!({"required": true, "unique": true}),
        ),
        field("starts_on", "date", "First day", needed()),
        field("ends_on", "date", "Day after the last one", needed()),
        entry,
        field(
            "closed_by",
            "integer",
            "Trail entry that closed it; empty while it is open",
            json!({"minimum": 0}),
        ),
    ];
    (fields, json!({"primaryKey": ["period"]}))
}

fn batches(entry: Value) -> (Vec<Value>, Value) {
    let kinds = BatchKind::ALL.map(BatchKind::code);
    let hash = || json!({"required": true, "pattern": HASH});
    let mut id = field(
        "batch",
        "string",
        "Rows that were accepted together",
        json!({"required": true, "unique": true}),
    );
    id["format"] = json!("uuid");
    let fields = vec![
        id,
        field(
            "kind",
            "string",
            "What its rows are",
            json!({"required": true, "enum": kinds}),
        ),
        field(
            "round",
            "string",
            "Round of its rows; empty for the register",
            json!({}),
        ),
        field(
            "rows",
            "integer",
            "How many",
            json!({"required": true, "minimum": 1}),
        ),
        field(
            "root",
            "string",
            "RFC 9162 tree head over its rows' hashes",
            hash(),
        ),
        field(
            "file_name",
            "string",
            "What its sender called the file",
            json!({}),
        ),
        field(
            "file_sha256",
            "string",
            "SHA-256 of the file that it came in",
            hash(),
        ),
        field(
            "file",
            "string",
            "Where the bag holds that file; empty where it was not kept: rows typed in one by one, \
             corrected rows, and batches from before files were kept",
            json!({"pattern": "data/files/[0-9a-f]{64}"}),
        ),
        entry,
    ];
    let schema = json!({
        "primaryKey": ["batch"],
        "foreignKeys": [reference(&["round"], "rounds", &["round"])],
    });
    (fields, schema)
}

fn corrections(entry: Value) -> (Vec<Value>, Value) {
    let kinds = ["superseded", "excluded", "withdrawn"];
    let uuid = |name: &str, says: &str, constraints: Value| {
        let mut field = field(name, "string", says, constraints);
        field["format"] = json!("uuid");
        field
    };
    let fields = vec![
        entry,
        field(
            "kind",
            "string",
            "What was done",
            json!({"required": true, "enum": kinds}),
        ),
        uuid(
            "batch",
            "Batch that counts no more, or whose row does not",
            json!({"required": true}),
        ),
        field(
            "line",
            "integer",
            "Row that counts no more from this entry on; empty where the whole batch does not",
            json!({"minimum": 2}),
        ),
        uuid(
            "replaced_by",
            "Batch of one row that came in its place",
            json!({}),
        ),
    ];
    let schema = json!({
        "primaryKey": ["entry"],
        "foreignKeys": [
            reference(&["batch"], "batches", &["batch"]),
            reference(&["replaced_by"], "batches", &["batch"]),
        ],
    });
    (fields, schema)
}
