//! A statement computed again is held against the stated one.

use super::example::*;
use crate::accounting::statement::compare;

#[test]
fn a_statement_agrees_with_itself() {
    let statement = stated(&example());
    assert!(compare(&statement, &stated(&example())).is_empty());
}

#[test]
fn a_changed_row_shows_in_figures_and_nodes() {
    let statement = stated(&example());
    let mut changed = example();
    changed.usage[0].in_use += 1;
    changed.usage[0].not_in_use -= 1;
    let found = compare(&statement, &stated(&changed));
    let at = |place: &str| {
        let found = found.iter().find(|difference| difference.place == place);
        found.unwrap_or_else(|| panic!("{place} is not among the differences"))
    };
    let days = at("figure household_days_in_use, value");
    assert_eq!(days.stated.as_deref(), Some("110000"));
    assert_eq!(days.recomputed.as_deref(), Some("111000"));
    at("figure reductions_co2e, value");
    at("node use/rate/band/0, value");
}

#[test]
fn a_doctored_claim_a_missing_node_and_a_moved_figure_are_found() {
    let statement = stated(&example());
    let mut doctored = statement.clone();
    doctored.claims.removals.tonnes = serde_json::from_str("23").unwrap();
    doctored.trace.nodes.pop();
    let places: Vec<String> = compare(&doctored, &statement)
        .into_iter()
        .map(|difference| difference.place)
        .collect();
    assert_eq!(places.len(), 2, "{places:?}");
    assert_eq!(places[0], "claim of removals, tonnes");
    assert!(places[1].starts_with("node "));
    let mut moved = statement.clone();
    moved.figures.swap(0, 1);
    assert_eq!(compare(&moved, &statement).len(), 1);
    let mut renamed = statement.clone();
    renamed.program_version = "0.0.0".into();
    assert!(compare(&renamed, &statement).is_empty());
}
