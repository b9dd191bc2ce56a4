//! The quantified result: emissions, removals, doubt, claim.

use super::{Writer, interval, unit};
use crate::accounting::claim::Basis;
use crate::accounting::statement::{Figure, FigureKind};
use crate::report::block::{Block, Row, Span, plain};
use crate::report::charts::figures as charts;
use crate::report::words;

pub(super) fn write(writer: &mut Writer<'_>) {
    emissions(writer);
    removals(writer);
    masses(writer);
    uncertainty(writer);
    claim(writer);
    contributions(writer);
    for_information(writer);
}

fn starts(id: &str, with: &[&str]) -> bool {
    with.iter().any(|begin| id.starts_with(begin))
}

impl<'s> Writer<'s> {
    fn where_id(&self, wanted: impl Fn(&Figure) -> bool) -> Vec<&'s Figure> {
        let figures = self.source.statement.figures.iter();
        figures.filter(|figure| wanted(figure)).collect()
    }
}

fn emissions(writer: &mut Writer<'_>) {
    writer.section("Quantified emissions and reductions");
    let reductions = writer.where_id(|figure| {
        figure.kind == FigureKind::Reduction
            || (figure.kind == FigureKind::Mass && starts(&figure.id, &["co2e_", "leakage_"]))
    });
    let mut ordered: Vec<&Figure> = Vec::new();
    for wanted in ["co2e_baseline", "co2e_project", "co2e_avoided"] {
        ordered.extend(reductions.iter().filter(|figure| figure.id == wanted));
    }
    ordered.extend(writer.figure("co2e_percent"));
    ordered.extend(
        reductions
            .iter()
            .filter(|figure| starts(&figure.id, &["leakage_"])),
    );
    ordered.extend(
        reductions
            .iter()
            .filter(|figure| figure.kind == FigureKind::Reduction),
    );
    writer.figures("Baseline, project, leakage and reductions", &ordered);
    if let Some(chart) = charts::waterfall(&writer.source.statement) {
        writer.put(Block::Chart(chart));
    }
    let gases = writer.where_id(|figure| {
        matches!(figure.kind, FigureKind::Mass | FigureKind::Percent)
            && starts(&figure.id, &["co2_", "ch4_", "n2o_"])
    });
    writer.figures("The gases behind them", &gases);
}

fn removals(writer: &mut Writer<'_>) {
    writer.section("Removals, kept apart");
    writer.say(
        "CO2 taken from the air by the plants and stored in the soil as char is a removal. It is \
         another kind of tonne than a reduction and is never added to one; each batch of char is \
         counted in one place alone.",
    );
    let removals = writer
        .where_id(|figure| figure.kind == FigureKind::Removal || starts(&figure.id, &["char_"]));
    writer.figures("Char and the CO2 stored in it", &removals);
}

fn masses(writer: &mut Writer<'_>) {
    writer.section("Masses by species, and fuel");
    let fuel = writer.where_id(|figure| starts(&figure.id, &["fuel_"]));
    writer.figures("Fuel", &fuel);
    let species = writer.where_id(|figure| {
        matches!(figure.kind, FigureKind::Mass | FigureKind::Percent)
            && !starts(
                &figure.id,
                &[
                    "co2e_", "leakage_", "co2_", "ch4_", "n2o_", "fuel_", "char_",
                ],
            )
    });
    writer.figures(
        "Species: before, with the project, avoided, and in percent of the mass before",
        &species,
    );
}

fn uncertainty(writer: &mut Writer<'_>) {
    writer.section("Uncertainty by both approaches");
    let source = writer.source;
    let statement = &source.statement;
    let Some(simulation) = &statement.simulation else {
        writer.say("This statement holds intervals by propagation of errors alone.");
        return;
    };
    writer.say(format!(
        "Approach 1 of the IPCC carries the error of each input through in a straight line; \
         approach 2 draws the whole account {} times (seed {}). Intervals are two-sided.",
        words::count(simulation.draws),
        simulation.seed
    ));
    let mut rows = Vec::new();
    for figure in statement.figures.iter().filter(|f| f.lower != f.upper) {
        let Some(drawn) = simulation.figure(&figure.id) else {
            continue;
        };
        let simulated = match drawn.lower.zip(drawn.upper) {
            Some((lower, upper)) => words::figure_bounds(lower, figure.value, upper),
            None => "none: too few units".to_owned(),
        };
        let reference = writer.cited_cell(&figure.node);
        rows.push(Row::new(vec![
            plain(words::capital(&words::label(&figure.label))),
            plain(words::figure(figure.value)),
            plain(interval(figure)),
            plain(simulated),
            plain(unit(&figure.unit)),
            reference,
        ]));
    }
    writer.table(
        "Intervals of every figure in doubt",
        &[
            ("Figure", 3.4, false),
            ("Value", 1.1, true),
            ("Propagated", 2.0, true),
            ("Simulated", 2.0, true),
            ("Unit", 1.7, false),
            ("Ref.", 0.6, false),
        ],
        rows,
    );
    for (id, claimed) in claimed(writer) {
        if let Some(figure) = writer.figure(&id).filter(|f| f.lower != f.upper) {
            let chart = charts::intervals(statement, figure, claimed);
            writer.put(Block::Chart(chart));
        }
    }
}

/// The figures that claims are drawn from, and what is claimed of each.
fn claimed(writer: &Writer<'_>) -> [(String, u64); 2] {
    let claims = &writer.source.statement.claims;
    [
        (
            claims.reductions.figure.clone(),
            claims.reductions.tonnes.tonnes(),
        ),
        (
            claims.removals.figure.clone(),
            claims.removals.tonnes.tonnes(),
        ),
    ]
}

fn claim(writer: &mut Writer<'_>) {
    writer.section("Claim and its rule");
    let claims = writer.source.statement.claims.clone();
    let lines = [
        (
            "Reductions",
            claims.reductions.figure,
            claims.reductions.tonnes.tonnes(),
            claims.reductions.unit,
            (claims.reductions.basis, claims.reductions.rule),
        ),
        (
            "Removals",
            claims.removals.figure,
            claims.removals.tonnes.tonnes(),
            claims.removals.unit,
            (claims.removals.basis, claims.removals.rule),
        ),
    ];
    for (name, id, tonnes, of, (basis, rule)) in lines {
        let mut rich = vec![
            Span::strong(format!("{name}: {} {of}", words::count(tonnes))),
            Span::plain(format!(" ({})", words::basis(basis))),
        ];
        if let Some(figure) = writer.figure(&id) {
            rich.push(Span::plain(", from "));
            rich.extend(writer.told(figure));
        }
        rich.push(Span::plain(format!(
            ". {}.",
            words::capital(&words::label(&rule))
        )));
        if matches!(basis, Basis::Refused) {
            rich.push(Span::plain(" Nothing may be claimed of it."));
        }
        writer.put(Block::Paragraph(rich));
    }
}

fn contributions(writer: &mut Writer<'_>) {
    writer.section("What the doubt comes from");
    for (id, _) in claimed(writer) {
        let Some(figure) = writer.figure(&id) else {
            continue;
        };
        let Some(chart) = charts::contributions(figure) else {
            continue;
        };
        writer.put(Block::Chart(chart));
        let mut rows = Vec::new();
        let statement = &writer.source.statement;
        let drawn = statement
            .simulation
            .as_ref()
            .and_then(|simulation| simulation.figure(&id));
        for share in &figure.shares {
            let simulated = drawn
                .and_then(|drawn| {
                    drawn
                        .contributions
                        .iter()
                        .find(|one| one.input == share.input)
                })
                .map_or_else(String::new, |one| words::percent(one.total));
            let first = share.nodes.first().cloned().unwrap_or_default();
            let reference = writer.cited_cell(&first);
            rows.push(Row::new(vec![
                plain(words::capital(&words::label(&share.input))),
                plain(words::percent(share.share)),
                plain(simulated),
                reference,
            ]));
        }
        writer.table(
            &format!(
                "Inputs of {}, by what they bring",
                words::label(&figure.label)
            ),
            &[
                ("Input", 5.0, false),
                ("Propagated", 1.3, true),
                ("Simulated, in total", 1.5, true),
                ("Ref.", 0.6, false),
            ],
            rows,
        );
    }
    let advice = &writer.source.statement.advice;
    if !advice.is_empty() {
        writer.under("What would make the intervals narrower");
        let items = advice.iter().map(|one| plain(words::label(&one.sentence)));
        writer.put(Block::Items(items.collect()));
    }
}

fn for_information(writer: &mut Writer<'_>) {
    let beside = writer.where_id(|figure| figure.kind == FigureKind::ForInformation);
    writer.section("Short-lived species, for information");
    if beside.is_empty() {
        writer.say(
            "The methodology asks for no CO2e of short-lived species. Their masses are above; none \
             of them is in a claim.",
        );
        return;
    }
    writer.say("Told beside the account. No claim is ever drawn from these figures.");
    writer.figures("Beside the account", &beside);
}
