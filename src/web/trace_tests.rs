//! The way down from a stated figure to a node.

use super::*;
use crate::accounting::claim::{Basis, Claim, Claims, Reduction, Removal};
use crate::accounting::inputs::{Period, ProgrammeName};
use crate::accounting::statement::{Figure, FigureKind, MethodologyName};
use crate::accounting::trace::{Formula, Operation, Trace};
use rust_decimal::Decimal;

fn node(id: &str, inputs: &[&str]) -> Node {
    Node {
        id: id.into(),
        label: id.into(),
        formula: Formula {
            id: "test".into(),
            operation: Operation::Product,
            signs: Vec::new(),
        },
        unit: "kg".into(),
        value: Decimal::ONE,
        standard_error: Decimal::ZERO,
        lower: Decimal::ONE,
        upper: Decimal::ONE,
        degrees_of_freedom: None,
        inputs: inputs.iter().map(|id| (*id).to_owned()).collect(),
        source: Source::None,
    }
}

fn figure(node: &str) -> Figure {
    Figure {
        id: node.into(),
        label: node.into(),
        unit: "kg".into(),
        value: Decimal::ONE,
        lower: Decimal::ONE,
        upper: Decimal::ONE,
        confidence: Decimal::new(9, 1),
        node: node.into(),
        kind: FigureKind::Mass,
        shares: Vec::new(),
    }
}

fn claim<T>(tonnes: T) -> Claim<T> {
    Claim {
        figure: "top".into(),
        unit: "t".into(),
        tonnes,
        basis: Basis::Nothing,
        rule: String::new(),
    }
}

/// `top` and `side` are stated; `leaf` is under both, `loose` under none.
fn statement() -> Statement {
    Statement {
        schema: String::new(),
        programme: ProgrammeName {
            id: Uuid::nil(),
            code: "p".into(),
            name: "P".into(),
        },
        period: Period {
            code: "2025".into(),
            starts_on: "2025-01-01".parse().unwrap(),
            ends_on: "2026-01-01".parse().unwrap(),
        },
        position: 0,
        methodology: MethodologyName {
            code: "m".into(),
            version: 1,
            title: "M".into(),
        },
        program_version: String::new(),
        figures: vec![figure("top"), figure("side")],
        claims: Claims {
            reductions: claim(Reduction::of_tonnes(0)),
            removals: claim(Removal::none()),
        },
        simulation: None,
        advice: vec![],
        notes: Vec::new(),
        rounding: String::new(),
        cautions: Vec::new(),
        evidence: Vec::new(),
        trace: Trace {
            nodes: vec![
                node("leaf", &[]),
                node("loose", &[]),
                node("middle", &["leaf"]),
                node("side", &["leaf"]),
                node("top", &["middle"]),
            ],
        },
    }
}

#[test]
fn the_way_begins_at_the_first_stated_figure_above_and_ends_before_the_node() {
    assert_eq!(way_down(&statement(), "leaf"), ["top", "middle"]);
    assert_eq!(way_down(&statement(), "middle"), ["top"]);
}

#[test]
fn a_stated_figure_and_an_unused_node_stand_at_the_top() {
    assert!(way_down(&statement(), "side").is_empty());
    assert!(way_down(&statement(), "loose").is_empty());
}
