//! The tables of drawn rounds in a bag.

use super::schema::{self, HASH, reference};
use super::{ROUND_DRAWS, ROUND_FRAMES, ROUND_SEEDS};
use crate::accounting::rounds::drawing::DRAW_COLUMNS;
use crate::accounting::rounds::frame::FRAME_COLUMNS;
use serde_json::{Value, json};

/// Header of the table of frames.
pub fn frame_header() -> Vec<&'static str> {
    std::iter::once("round").chain(FRAME_COLUMNS).collect()
}

/// Header of the table of draws.
pub fn draw_header() -> Vec<&'static str> {
    std::iter::once("round").chain(DRAW_COLUMNS).collect()
}

/// Header of the table of seeds.
pub fn seed_header() -> Vec<&'static str> {
    vec![
        "round",
        "frame_sha256",
        "tree_size",
        "root",
        "words",
        "source",
        "seed",
    ]
}

pub(super) fn resources() -> [Value; 3] {
    let unit = reference(&["round", "unit"], "round-frames", &["round", "unit"]);
    [
        table(
            "round-frames",
            ROUND_FRAMES,
            &frame_header(),
            &["round", "unit"],
            vec![reference(
                &["household_code"],
                "households",
                &["household_code"],
            )],
        ),
        table(
            "round-seeds",
            ROUND_SEEDS,
            &seed_header(),
            &["round"],
            Vec::new(),
        ),
        table(
            "round-draws",
            ROUND_DRAWS,
            &draw_header(),
            &["round", "group", "place"],
            vec![unit],
        ),
    ]
}

fn table(
    name: &str,
    path: &str,
    header: &[&str],
    key: &[&str],
    mut references: Vec<Value>,
) -> Value {
    let fields: Vec<Value> = header.iter().map(|column| field(column)).collect();
    references.push(reference(&["round"], "rounds", &["round"]));
    let schema = json!({"primaryKey": key, "foreignKeys": references});
    schema::table(name, path, &fields, schema)
}

/// Columns of a frame that a unit without a stove, or without a weighing, leaves empty.
const MAY_BE_EMPTY: [&str; 5] = ["serial", "model", "age_band", "weighed_on", "feedstock"];

fn field(column: &str) -> Value {
    let (kind, description) = match column {
        "round" => ("string", "Code of the round"),
        "unit" => (
            "string",
            "What is drawn: serial of the stove, code of the household, or code of the weighing",
        ),
        "group" => (
            "string",
            "Stratum or site that the draw is made in; all where there is one",
        ),
        "household_code" => ("string", "Household that the unit is, or is of"),
        "serial" => (
            "string",
            "Stove in service there on the day of the frame; empty where there is none",
        ),
        "site_code" => ("string", "Site of the household"),
        "model" => ("string", "Stove model, code@version"),
        "age_band" => (
            "integer",
            "Whole years since installation on the day of the frame",
        ),
        "weighed_on" => ("date", "Day of the weighing, where weighings are drawn"),
        "feedstock" => (
            "string",
            "What the char was made of, where weighings are drawn",
        ),
        "place" => (
            "integer",
            "Place in the group's draw, from 1; the reserve follows the sample",
        ),
        "standing" => ("string", "sample or reserve"),
        "hash" => (
            "string",
            "SHA-256 of the seed's text followed by the unit, lower-case hex",
        ),
        "frame_sha256" => (
            "string",
            "SHA-256 of the frame's units, sorted by bytes, one a line",
        ),
        "tree_size" => ("integer", "Size of the trail just after the frame's entry"),
        "root" => (
            "string",
            "Root hash of the trail at that size, lower-case hex",
        ),
        "words" => ("string", "Public value that was given after the frame"),
        "source" => (
            "string",
            "Where these words were published, or who said them",
        ),
        _ => (
            "string",
            "SHA-256 of root, line feed, words, line feed, lower-case hex",
        ),
    };
    let required = !MAY_BE_EMPTY.contains(&column);
    let constraints = match column {
        "standing" => json!({"required": true, "enum": ["sample", "reserve"]}),
        "age_band" => json!({"required": required, "minimum": 0}),
        "place" | "tree_size" => json!({"required": true, "minimum": 1}),
        "hash" | "frame_sha256" | "root" | "seed" => json!({"required": true, "pattern": HASH}),
        _ => json!({"required": required}),
    };
    schema::field(column, kind, description, constraints)
}
