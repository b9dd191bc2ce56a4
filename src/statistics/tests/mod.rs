//! This room held against the outside: values that R's package `survey` and scipy made, and
//! worked examples of handbooks and standards.

mod distributions;
mod examples;
mod properties;
pub mod survey;
mod weighed;

/// The rows of a reference file below its comments and its line of names.
fn rows(text: &'static str) -> Vec<Vec<&'static str>> {
    let rows: Vec<Vec<&str>> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').collect())
        .collect();
    assert!(!rows.is_empty());
    rows
}

fn number(cell: &str) -> f64 {
    cell.parse()
        .unwrap_or_else(|_| panic!("{cell} is not a number"))
}

/// Equal to `within` of the larger of the expected value and one.
#[track_caller]
pub fn agrees(what: &str, found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within * expected.abs().max(1.0),
        "{what}: {found} is not {expected} within {within}"
    );
}
