//! The sheets of numbers: figures, species, every node of the trace.

use super::writing::{Cell, Head, whole};
use crate::accounting::statement::{Figure, FigureKind, Statement};
use crate::report::source::ReportSource;
use crate::report::words;
use rust_xlsxwriter::{Worksheet, XlsxError};

type Done = Result<(), XlsxError>;

/// What may be claimed of a figure; nothing where no claim is drawn from it.
fn claimed(statement: &Statement, id: &str) -> Cell {
    let claims = &statement.claims;
    if id == claims.reductions.figure {
        Cell::Count(claims.reductions.tonnes.tonnes())
    } else if id == claims.removals.figure {
        Cell::Count(claims.removals.tonnes.tonnes())
    } else {
        Cell::Empty
    }
}

const FIGURE_HEADS: [Head; 14] = [
    ("Figure", 28.0),
    ("What it is", 46.0),
    ("Kind", 15.0),
    ("Value [unit]", 15.0),
    ("Unit", 22.0),
    ("Lower, propagated [unit]", 15.0),
    ("Upper, propagated [unit]", 15.0),
    ("Lower, simulated [unit]", 15.0),
    ("Upper, simulated [unit]", 15.0),
    ("Mean, simulated [unit]", 15.0),
    ("Confidence [fraction]", 12.0),
    ("Claim [unit]", 12.0),
    ("Node of the trace", 44.0),
    ("Address of its page", 60.0),
];

fn figure_row(source: &ReportSource, figure: &Figure) -> Vec<Cell> {
    let drawn = source.statement.simulation.as_ref();
    let drawn = drawn.and_then(|simulation| simulation.figure(&figure.id));
    let address = source.address_of(&figure.node);
    vec![
        Cell::text(&figure.id),
        Cell::text(words::label(&figure.label)),
        Cell::text(kind(figure.kind)),
        Cell::Number(figure.value),
        Cell::text(&figure.unit),
        Cell::Number(figure.lower),
        Cell::Number(figure.upper),
        Cell::number(drawn.and_then(|drawn| drawn.lower)),
        Cell::number(drawn.and_then(|drawn| drawn.upper)),
        Cell::number(drawn.and_then(|drawn| drawn.mean)),
        Cell::Number(figure.confidence),
        claimed(&source.statement, &figure.id),
        Cell::text(&figure.node),
        Cell::Text(address.unwrap_or_else(|| source.path_of(&figure.node))),
    ]
}

fn kind(kind: FigureKind) -> &'static str {
    match kind {
        FigureKind::Reduction => "reduction",
        FigureKind::Removal => "removal",
        FigureKind::Mass => "mass",
        FigureKind::Percent => "percent",
        FigureKind::Activity => "activity",
        FigureKind::ForInformation => "for information",
    }
}

pub(super) fn figures(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let figures = source.statement.figures.iter();
    whole(
        sheet,
        &FIGURE_HEADS,
        figures.map(|figure| figure_row(source, figure)),
    )
}

/// Every node of the trace, in its order: what a node stands on comes before it.
pub(super) fn nodes(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let heads: [Head; 10] = [
        ("Node", 50.0),
        ("What it is", 50.0),
        ("Formula", 24.0),
        ("Value [unit]", 15.0),
        ("Unit", 26.0),
        ("Standard error [unit]", 15.0),
        ("Lower [unit]", 15.0),
        ("Upper [unit]", 15.0),
        ("Stands on", 60.0),
        ("Address of its page", 60.0),
    ];
    let nodes = source.statement.trace.nodes.iter().map(|node| {
        vec![
            Cell::text(&node.id),
            Cell::text(words::label(&node.label)),
            Cell::text(&node.formula.id),
            Cell::Number(node.value),
            Cell::text(&node.unit),
            Cell::Number(node.standard_error),
            Cell::Number(node.lower),
            Cell::Number(node.upper),
            Cell::Text(node.inputs.join("\n")),
            Cell::Text(
                source
                    .address_of(&node.id)
                    .unwrap_or_else(|| source.path_of(&node.id)),
            ),
        ]
    });
    whole(sheet, &heads, nodes)
}

/// Masses by species: before, with the project, avoided.
pub(super) fn species(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let figures = source.statement.figures.iter().filter(|figure| {
        let begins = ["co2e_", "leakage_", "fuel_", "char_"];
        match figure.kind {
            FigureKind::Mass | FigureKind::Percent => {
                !begins.iter().any(|begin| figure.id.starts_with(begin))
            }
            FigureKind::ForInformation => true,
            _ => false,
        }
    });
    whole(
        sheet,
        &FIGURE_HEADS,
        figures.map(|figure| figure_row(source, figure)),
    )
}
