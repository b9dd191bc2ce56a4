//! What the field measured, as it is spread: fuel before and after, char yield, moisture.

use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::report::charts::{Group, Histogram};
use crate::service::Service;
use crate::service::measured::{Measure, Spread};
use askama::Template;
use axum::extract::State;
use axum::response::Response;

/// One measure with its chart and the numbers behind it.
struct MeasureView {
    anchor: &'static str,
    title: &'static str,
    /// What one value is, and what the marked line means.
    words: &'static str,
    unit: &'static str,
    svg: String,
    groups: Vec<GroupLine>,
    /// Rows of the table: a class, and the count of each group in it.
    classes: Vec<(String, Vec<u64>)>,
}

struct GroupLine {
    name: String,
    count: String,
    mean: String,
    lower_quartile: String,
    median: String,
    upper_quartile: String,
}

#[derive(Template)]
#[template(path = "measured.html")]
struct MeasuredPage {
    shell: Shell,
    measures: Vec<MeasureView>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    let measured = service.measured(&caller).await?;
    draw(&MeasuredPage {
        shell: Shell::of(&caller, Section::Evidence, "What was measured"),
        measures: measured
            .iter()
            .map(|(measure, spreads)| view(*measure, spreads))
            .collect(),
    })
}

/// Anchor, title, words and unit of a measure, and the value that its line marks.
fn told(
    measure: Measure,
) -> (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    Option<f64>,
) {
    match measure {
        Measure::FuelPerDay => (
            "fuel",
            "Fuel a household-day, before and after",
            "Each value is one kitchen: dry fuel of every kind and device, over its days. Kitchens whose fuel could not be weighed are not in it.",
            "kg dry fuel a household-day",
            None,
        ),
        Measure::CharYield => (
            "yield",
            "Char yield",
            "Each value is one weighing for which the fuel burnt is known. The line marks 0.30: char above it is refused as a claim.",
            "kg dry char per kg dry fuel",
            Some(0.30),
        ),
        Measure::FuelMoisture => (
            "moisture",
            "Moisture of the fuel",
            "Each value is one reading, wet basis. The line marks 0.20: a gasifier wants drier fuel (common practice, no source).",
            "kg water per kg wet fuel",
            Some(0.20),
        ),
    }
}

fn name(measure: Measure, of: &str) -> String {
    match (measure, of) {
        (Measure::FuelPerDay, "kitchen_baseline") => "Before".to_owned(),
        (Measure::FuelPerDay, "kitchen_project") => "After".to_owned(),
        _ => words::capital(&words::spaced(of)),
    }
}

fn view(measure: Measure, spreads: &[Spread]) -> MeasureView {
    let (anchor, title, said, unit, bound) = told(measure);
    let width = measure.class_width();
    let round = |value: f64| format!("{value:.3}");
    let chart = Histogram {
        id: anchor.to_owned(),
        title: title.to_owned(),
        description: format!(
            "How many values lie in each class of {width} {unit}; the numbers stand in the table below."
        ),
        unit: unit.to_owned(),
        class_width: width,
        bound,
        groups: spreads
            .iter()
            .map(|spread| Group {
                name: name(measure, &spread.of),
                classes: spread.classes.clone(),
                median: spread.median,
            })
            .collect(),
    };
    let last = measure.classes() - 1;
    let classes = (0..measure.classes())
        .map(|class| {
            let from = width * class as f64;
            let label = if class == last {
                format!("{from:.2} and above")
            } else {
                format!("{from:.2} to {:.2}", from + width)
            };
            let counts = spreads.iter();
            let counts = counts.map(|spread| spread.classes.get(class).copied().unwrap_or(0));
            (label, counts.collect())
        })
        .filter(|(_, counts): &(String, Vec<u64>)| counts.iter().any(|count| *count > 0));
    MeasureView {
        anchor,
        title,
        words: said,
        unit,
        svg: chart.svg(),
        groups: spreads
            .iter()
            .map(|spread| GroupLine {
                name: name(measure, &spread.of),
                count: words::count(spread.count),
                mean: round(spread.mean),
                lower_quartile: round(spread.lower_quartile),
                median: round(spread.median),
                upper_quartile: round(spread.upper_quartile),
            })
            .collect(),
        classes: classes.collect(),
    }
}
