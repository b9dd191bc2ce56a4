//! The Data Package description of a bag: types, bounds, units and keys of every table.

use super::{rounds, row_file, trail_tables};
use crate::intake::{BatchKind, Column, ValueRule};
use serde_json::{Value, json};

/// The Data Package description of the bag's tables (version 2 of that standard).
pub fn datapackage(programme_code: &str) -> Value {
    let resources: Vec<Value> = trail_tables::resources()
        .into_iter()
        .chain(BatchKind::ALL.into_iter().map(rows))
        .chain(rounds::resources())
        .collect();
    json!({
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": programme_code,
        "title": format!("Register and evidence of {programme_code}"),
        "description": "Texts that a spreadsheet would take for a formula (beginning with = + - @ \
                        tab or carriage return, and no number) have an apostrophe before them.",
        "resources": resources,
    })
}

/// A table as a resource.
pub(super) fn table(name: &str, path: &str, fields: &[Value], schema: Value) -> Value {
    let mut whole = json!({"fields": fields, "missingValues": [""]});
    if let (Some(whole), Value::Object(more)) = (whole.as_object_mut(), schema) {
        whole.extend(more);
    }
    json!({
        "name": name,
        "path": path,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": "\"", "header": true},
        "schema": whole,
    })
}

/// A field of a table that retells the trail.
pub(super) fn field(name: &str, kind: &str, description: &str, constraints: Value) -> Value {
    json!({"name": name, "type": kind, "description": description, "constraints": constraints})
}

/// A key that must stand in another table.
pub(super) fn reference(fields: &[&str], resource: &str, there: &[&str]) -> Value {
    json!({"fields": fields, "reference": {"resource": resource, "fields": there}})
}

/// What a SHA-256 in hexadecimal looks like.
pub(super) const HASH: &str = "[0-9a-f]{64}";

fn rows(kind: BatchKind) -> Value {
    let place = [
        json!({"name": "batch", "type": "string", "format": "uuid",
               "constraints": {"required": true},
               "description": "Batch that the row was accepted in"}),
        json!({"name": "line", "type": "integer", "constraints": {"required": true, "minimum": 2},
               "description": "Line of the uploaded file; its header is line 1"}),
        json!({"name": "row_hash", "type": "string",
               "constraints": {"required": true, "pattern": HASH},
               "description": "RFC 9162 leaf hash of the row's canonical JSON (RFC 8785)"}),
    ];
    let fields: Vec<Value> = place
        .into_iter()
        .chain(kind.template().columns.iter().map(cell))
        .collect();
    let schema = json!({"primaryKey": ["batch", "line"], "foreignKeys": references(kind)});
    table(kind.file_stem(), &row_file(kind), &fields, schema)
}

/// What the codes of a row stand for. Codes of the register repeat where a row was superseded or
/// sent again, so that they are references and no unique keys: `corrections` tells which count.
fn references(kind: BatchKind) -> Vec<Value> {
    let has = |name: &str| kind.template().column(name).is_some();
    let mut keys = vec![reference(&["batch"], "batches", &["batch"])];
    if has("site_code") {
        keys.push(reference(&["site_code"], "sites", &["site_code"]));
    }
    if has("household_code") && kind != BatchKind::Households {
        let code = ["household_code"];
        keys.push(reference(&code, "households", &code));
    }
    if has("model_code") {
        let model = ["model_code", "model_version"];
        keys.push(reference(&model, "stove-models", &model));
    }
    if has("serial") && kind != BatchKind::Deployments {
        let all = ["serial", "installed_on"];
        let stove = if has("installed_on") {
            &all[..]
        } else {
            &all[..1]
        };
        keys.push(reference(stove, "deployments", stove));
    }
    keys
}

fn cell(column: &Column) -> Value {
    let (kind, mut constraints) = match column.value {
        ValueRule::Code { max_len } => (
            "string",
            json!({"maxLength": max_len, "pattern": "[A-Za-z0-9._/-]+"}),
        ),
        ValueRule::OneOf(values) => ("string", json!({"enum": values})),
        ValueRule::Date => (
            "date",
            json!({"minimum": "2000-01-01", "maximum": "2100-12-31"}),
        ),
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
