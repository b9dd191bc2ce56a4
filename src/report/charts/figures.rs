//! The charts of a report, drawn from the same figures as those of the pages.

use super::drawing::{Anchor, DRAWING_WIDTH, Drawing, Scale, Shape};
use crate::accounting::statement::{Figure, Statement};
use crate::report::words;
use rust_decimal::Decimal;

/// Where the bars begin: names stand to the left of it, values to the right of the bars.
const BARS_FROM: f32 = 150.0;
const BARS_TO: f32 = DRAWING_WIDTH - 92.0;
const PITCH: f32 = 21.0;
const THICK: f32 = 11.0;
const DARK: u8 = 70;
const LIGHT: u8 = 205;

/// One step from the baseline to the claim.
struct Step {
    name: String,
    from: Decimal,
    to: Decimal,
    told: String,
    total: bool,
}

/// From the baseline over the project and leakage to the claim, step by step; nothing where a
/// step is not among the figures.
pub fn waterfall(statement: &Statement) -> Option<Drawing> {
    let of = |id: &str| statement.figure(id).map(|figure| figure.value);
    let (baseline, project) = (of("co2e_baseline")?, of("co2e_project")?);
    let (avoided, reductions) = (of("co2e_avoided")?, of("reductions_co2e")?);
    let claim = Decimal::from(statement.claims.reductions.tonnes.tonnes());
    let total = |name: &str, to: Decimal| Step {
        name: name.to_owned(),
        from: Decimal::ZERO,
        to,
        told: words::figure(to),
        total: true,
    };
    let taken = |name: &str, from: Decimal, to: Decimal| Step {
        name: name.to_owned(),
        from,
        to,
        told: words::figure(to.saturating_sub(from)),
        total: false,
    };
    let steps = [
        total("Baseline emissions", baseline),
        taken(
            "Project emissions",
            baseline,
            baseline.saturating_sub(project),
        ),
        total("Avoided, gross", avoided),
        taken("Leakage", avoided, reductions),
        total("Reductions", reductions),
        taken("Held back for doubt and rounding", reductions, claim),
        total("Claim", claim),
    ];
    let unit = &statement.claims.reductions.unit;
    let ends = steps.iter().flat_map(|step| [step.from, step.to]);
    let scale = Scale::of(ends.map(words::drawn), BARS_FROM, BARS_TO);
    let mut shapes = Vec::new();
    for (row, step) in (0_u16..).zip(&steps) {
        let top = f32::from(row) * PITCH;
        let (from, to) = (
            scale.at(words::drawn(step.from)),
            scale.at(words::drawn(step.to)),
        );
        let area = [from.min(to), top, (to - from).abs().max(0.6), THICK];
        shapes.push(if step.total {
            Shape::Bar { area, grey: DARK }
        } else {
            Shape::Frame { area }
        });
        if row > 0 {
            let x = from.max(to);
            shapes.push(Shape::line((x, top - PITCH + THICK), (x, top), 0.4, 150));
        }
        named(&mut shapes, top, &step.name, step.total);
        let value = format!("{} {unit}", step.told);
        let at = (DRAWING_WIDTH, top + THICK - 2.4);
        shapes.push(Shape::words(at, value, Anchor::End));
    }
    zero(&mut shapes, &scale, steps.len());
    let told: Vec<String> = steps
        .iter()
        .map(|step| format!("{}: {} {unit}", step.name, step.told))
        .collect();
    Some(Drawing {
        title: "From baseline emissions to the claim. Filled bars are totals, outlined bars what \
            is taken off."
            .to_owned(),
        description: format!("From baseline emissions to the claim. {}.", told.join("; ")),
        height: steps.len() as f32 * PITCH,
        shapes,
    })
}

fn named(shapes: &mut Vec<Shape>, top: f32, name: &str, strong: bool) {
    shapes.push(Shape::Words {
        at: (0.0, top + THICK - 2.4),
        text: name.to_owned(),
        anchor: Anchor::Start,
        strong,
    });
}

fn zero(shapes: &mut Vec<Shape>, scale: &Scale, rows: usize) {
    let x = scale.at(0.0);
    let floor = rows as f32 * PITCH - (PITCH - THICK) + 3.0;
    shapes.push(Shape::line((x, -3.0), (x, floor), 0.6, 60));
}

/// The two intervals of one figure, with the place of the claim.
pub fn intervals(statement: &Statement, figure: &Figure, claim: u64) -> Drawing {
    let unit = words::unit(&figure.unit);
    let drawn = statement
        .simulation
        .as_ref()
        .and_then(|simulation| simulation.figure(&figure.id));
    let mut bands = vec![("Propagated", figure.lower, figure.upper)];
    if let Some((lower, upper)) = drawn.and_then(|drawn| drawn.lower.zip(drawn.upper)) {
        bands.push(("Simulated", lower, upper));
    }
    let ends = bands.iter().flat_map(|(_, lower, upper)| [*lower, *upper]);
    let values: Vec<f64> = ends
        .chain([figure.value, Decimal::from(claim)])
        .map(words::drawn)
        .collect();
    let scale = Scale::of(values, BARS_FROM, BARS_TO);
    let mut shapes = Vec::new();
    let mut told = Vec::new();
    for (row, (name, lower, upper)) in (0_u16..).zip(&bands) {
        let top = f32::from(row) * PITCH;
        let (from, to) = (
            scale.at(words::drawn(*lower)),
            scale.at(words::drawn(*upper)),
        );
        let middle = top + THICK / 2.0;
        shapes.push(Shape::Bar {
            area: [from, top + 2.5, (to - from).max(0.6), THICK - 5.0],
            grey: LIGHT,
        });
        for x in [from, to] {
            shapes.push(Shape::line((x, top), (x, top + THICK), 0.9, 40));
        }
        shapes.push(Shape::line((from, middle), (to, middle), 0.5, 40));
        shapes.push(Shape::Point {
            at: (scale.at(words::drawn(figure.value)), middle),
        });
        named(&mut shapes, top, name, false);
        let bounds = words::figure_bounds(*lower, figure.value, *upper);
        told.push(format!("{}: {bounds} {unit}", name.to_lowercase()));
        let at = (DRAWING_WIDTH, top + THICK - 2.4);
        shapes.push(Shape::words(at, bounds, Anchor::End));
    }
    let floor = bands.len() as f32 * PITCH - (PITCH - THICK) + 3.0;
    let x = scale.at(Decimal::from(claim).try_into().unwrap_or(0.0));
    shapes.push(Shape::line((x, -3.0), (x, floor), 1.2, 0));
    shapes.push(Shape::words((x, floor + 9.0), "claim", Anchor::Middle));
    if (x - scale.at(0.0)).abs() > 30.0 {
        shapes.push(Shape::words(
            (scale.at(0.0), floor + 9.0),
            "0",
            Anchor::Middle,
        ));
    }
    zero(&mut shapes, &scale, bands.len());
    let label = words::capital(&words::label(&figure.label));
    Drawing {
        title: format!(
            "{label}: {} {unit}, with its intervals at {}",
            words::figure(figure.value),
            words::percent(figure.confidence)
        ),
        description: format!(
            "{label}: {} {unit}; claim {} {unit}; intervals {}.",
            words::figure(figure.value),
            words::count(claim),
            told.join("; ")
        ),
        height: floor + 12.0,
        shapes,
    }
}

/// What each input brings to the variance of a figure, the largest first.
pub fn contributions(figure: &Figure) -> Option<Drawing> {
    let most = figure.shares.first()?;
    let scale = Scale::of([words::drawn(most.share)], BARS_FROM + 80.0, BARS_TO + 40.0);
    let mut shapes = Vec::new();
    let mut told = Vec::new();
    for (row, share) in (0_u16..).zip(&figure.shares) {
        let top = f32::from(row) * PITCH;
        let name = words::capital(&words::label(&share.input));
        let (from, to) = (scale.at(0.0), scale.at(words::drawn(share.share)));
        shapes.push(Shape::Bar {
            area: [from, top, (to - from).max(0.6), THICK],
            grey: DARK,
        });
        told.push(format!("{name} {}", words::percent(share.share)));
        named(&mut shapes, top, &shortened(&name), false);
        let at = (DRAWING_WIDTH, top + THICK - 2.4);
        shapes.push(Shape::words(at, words::percent(share.share), Anchor::End));
    }
    zero(&mut shapes, &scale, figure.shares.len());
    let label = words::label(&figure.label);
    Some(Drawing {
        title: format!("Where the doubt of {label} comes from: share of the variance"),
        description: format!("Share of the variance of {label}. {}.", told.join("; ")),
        height: figure.shares.len() as f32 * PITCH,
        shapes,
    })
}

/// As much of a name as has room beside the bars.
fn shortened(name: &str) -> String {
    const ROOM: usize = 52;
    if name.chars().count() <= ROOM {
        return name.to_owned();
    }
    let begun: String = name.chars().take(ROOM - 1).collect();
    format!("{}\u{2026}", begun.trim_end())
}
