//! The trace holds its own proof: every node follows from the nodes it names.

use super::example::*;
use crate::accounting::trace::{Node, Operation, Sign, Source, Trace};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

fn again(trace: &Trace, node: &Node) -> Option<Decimal> {
    let values: Vec<Decimal> = node
        .inputs
        .iter()
        .map(|id| trace.node(id).unwrap().value)
        .collect();
    match node.formula.operation {
        Operation::Sum => Some(
            node.formula
                .signs
                .iter()
                .zip(&values)
                .map(
                    |(sign, value)| {
                        if *sign == Sign::Plus { *value } else { -*value }
                    },
                )
                .sum(),
        ),
        Operation::Product => Some(values.iter().product()),
        Operation::Quotient => Some(values[0] / values[1]),
        Operation::Bounded => Some(values[0].max(values[1]).min(values[2])),
        Operation::Factor | Operation::Evidence | Operation::Convention => None,
    }
}

#[test]
fn every_node_follows_from_its_inputs() {
    let computed = nodes_that_follow(&stated(&example()).trace);
    assert!(computed > 40, "only {computed} nodes are computed");
}

/// Asserts that every computed node follows from its inputs; how many there are.
pub fn nodes_that_follow(trace: &Trace) -> usize {
    let mut computed = 0;
    for node in &trace.nodes {
        let Some(value) = again(trace, node) else {
            continue;
        };
        computed += 1;
        // Inputs are shown to eight digits; a sum may lose some of them to cancellation.
        let scale = node
            .inputs
            .iter()
            .map(|id| trace.node(id).unwrap().value.abs())
            .max();
        let scale = match node.formula.operation {
            Operation::Sum => scale.unwrap_or_default(),
            _ => node.value.abs(),
        };
        let apart = (value - node.value).abs();
        assert!(
            apart <= scale * decimal("0.0000002"),
            "{}: {value}, not {}",
            node.id,
            node.value
        );
    }
    computed
}

#[test]
fn inputs_come_before_what_is_made_of_them() {
    let trace = stated(&example()).trace;
    let mut seen = BTreeSet::new();
    for node in &trace.nodes {
        assert!(
            node.inputs.iter().all(|id| seen.contains(id)),
            "{} comes too early",
            node.id
        );
        assert!(seen.insert(&node.id), "{} stands twice", node.id);
    }
}

#[test]
fn leaves_are_factors_evidence_or_conventions() {
    let trace = stated(&example()).trace;
    for node in trace.nodes.iter().filter(|node| node.inputs.is_empty()) {
        let named = match node.formula.operation {
            Operation::Factor => matches!(node.source, Source::Factor { .. }),
            Operation::Evidence => matches!(node.source, Source::Evidence { .. }),
            Operation::Convention => node.source == Source::None,
            Operation::Sum => node.value.is_zero(),
            Operation::Product | Operation::Quotient | Operation::Bounded => false,
        };
        assert!(named, "{} comes from nowhere", node.id);
    }
}
