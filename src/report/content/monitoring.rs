//! What was monitored: rounds with their samples, and the factors with their sources.

use super::{Writer, counted};
use crate::accounting::factor::Factor;
use crate::report::block::{Block, Row, Span, plain};
use crate::report::source::RoundFacts;
use crate::report::words;

pub(super) fn write(writer: &mut Writer<'_>) {
    rounds(writer);
    factors(writer);
}

fn rounds(writer: &mut Writer<'_>) {
    writer.section("Monitoring");
    let source = writer.source;
    writer.say(format!(
        "Rows come from the field in batches, each taken whole or refused whole, and written into \
         an append-only trail. This statement read {} of the register ({}) and the rounds below, \
         as the trail knew them at position {}.",
        counted(source.register.batches, "batch", "batches"),
        counted(source.register.rows, "row", "rows"),
        source.statement.position
    ));
    let rows = source
        .rounds
        .iter()
        .map(|round| {
            let record = &round.record;
            Row::new(vec![
                plain(record.code.clone()),
                plain(words::spaced(record.kind.code())),
                plain(record.starts_on.to_string()),
                plain(record.ends_on.to_string()),
                plain(words::count(round.counted.rows)),
                plain(how_drawn(round)),
            ])
        })
        .collect();
    writer.table(
        "Rounds that the statement read",
        &[
            ("Round", 2.1, false),
            ("Kind", 1.6, false),
            ("From", 1.15, false),
            ("To before", 1.15, false),
            ("Rows", 0.7, true),
            ("Sample drawn by the program", 2.5, false),
        ],
        rows,
    );
    writer.under("How the samples were taken");
    let designs = source.rounds.iter().map(|round| {
        let text = format!(": {}", sentence(&round.record.design));
        vec![Span::strong(round.record.code.clone()), Span::plain(text)]
    });
    writer.put(Block::Items(designs.collect()));
    let drawn: Vec<&RoundFacts> = source
        .rounds
        .iter()
        .filter(|round| round.draw.is_some() || round.close.is_some())
        .collect();
    if !drawn.is_empty() {
        writer.under("Draws, responses and precision");
        let items = drawn.into_iter().map(|round| {
            vec![
                Span::strong(round.record.code.clone()),
                Span::plain(draw(round)),
            ]
        });
        writer.put(Block::Items(items.collect()));
    }
}

fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.is_empty() {
        "nothing is said of it.".to_owned()
    } else {
        text.to_owned()
    }
}

fn how_drawn(round: &RoundFacts) -> String {
    match &round.draw {
        Some(draw) => format!(
            "{} and a reserve of {}",
            words::count(draw.sample),
            words::count(draw.reserve)
        ),
        None => "no: taken as described below".to_owned(),
    }
}

/// Frame, seed, draw, response and precision, as far as they are recorded.
fn draw(round: &RoundFacts) -> String {
    let mut parts = Vec::new();
    if let Some(plan) = &round.plan {
        parts.push(format!(
            "purpose: {}; wanted a half-width of {} at {}",
            plan.plan.purpose,
            words::whole(plan.plan.precision),
            words::percent(plan.plan.confidence)
        ));
    }
    if let Some(frame) = &round.frame {
        parts.push(format!(
            "frame of {} (SHA-256 {})",
            counted(frame.units, "unit", "units"),
            frame.sha256
        ));
    }
    if let Some(seed) = &round.seed {
        parts.push(format!(
            "seed from the trail's root and the public value \u{201c}{}\u{201d} ({})",
            seed.words, seed.source
        ));
    }
    if let Some(draw) = &round.draw {
        parts.push(format!(
            "drawn: {} and {} in reserve",
            counted(draw.sample, "unit", "units"),
            words::count(draw.reserve)
        ));
    }
    if let Some(close) = &round.close {
        if let Some(response) = close.response {
            parts.push(format!(
                "response {} of the visited",
                words::percent(response)
            ));
        }
        match (&close.achieved, &close.not_achieved_because) {
            (Some(achieved), _) => parts.push(format!(
                "achieved {} \u{b1} {} at {} from {}, which {} the plan",
                words::precise(achieved.value),
                words::precise(achieved.half_width),
                words::percent(achieved.confidence),
                counted(achieved.answered, "answer", "answers"),
                if achieved.meets_the_plan {
                    "meets"
                } else {
                    "misses"
                }
            )),
            (None, Some(because)) => parts.push(format!("no precision stated: {because}")),
            (None, None) => {}
        }
    }
    format!(": {}.", parts.join("; "))
}

fn factors(writer: &mut Writer<'_>) {
    writer.section("Data and factors");
    writer.say(
        "Every factor is a version that is never edited. Its mark says how well it is known that \
         the source says so: SEEN, read in the source; SEEN-2ND, read in another source that \
         quotes it; COMPUTED, worked out from seen values by a stated formula; MEMORY, recalled, \
         to be looked up before it is relied on.",
    );
    let source = writer.source;
    let rows: Vec<Row> = source
        .factors
        .iter()
        .map(|factor| {
            let node = node_of(writer, factor);
            let reference = node.and_then(|node| writer.cite(&node));
            Row::new(vec![
                plain(factor.id().to_string()),
                plain(what(factor)),
                plain(words::whole(factor.value)),
                plain(super::unit(&factor.unit)),
                plain(words::spread(&factor.spread)),
                plain(words::mark(factor.mark).0),
                reference.into_iter().collect(),
            ])
        })
        .collect();
    writer.table(
        "Factors that the methodology names; without a reference, one that no figure came to use",
        &[
            ("Factor", 2.3, false),
            ("What it is", 2.3, false),
            ("Value", 0.95, true),
            ("Unit", 1.25, false),
            ("Spread", 1.75, false),
            ("Mark", 1.2, false),
            ("Ref.", 0.55, false),
        ],
        rows,
    );
    let rows = source
        .factors
        .iter()
        .map(|factor| {
            let note = factor.note.as_deref().unwrap_or_default();
            Row::new(vec![
                plain(factor.id().to_string()),
                plain(factor.source.clone()),
                plain(note),
            ])
        })
        .collect();
    writer.table(
        "Sources of the factors",
        &[
            ("Factor", 1.9, false),
            ("Source", 3.3, false),
            ("Note", 3.8, false),
        ],
        rows,
    );
}

/// The first node of the trace that takes the factor in.
fn node_of(writer: &Writer<'_>, factor: &Factor) -> Option<String> {
    use crate::accounting::trace::Source;
    let id = factor.id();
    let nodes = writer.source.statement.trace.nodes.iter();
    let mut using =
        nodes.filter(|node| matches!(&node.source, Source::Factor { id: known } if *known == id));
    using.next().map(|node| node.id.clone())
}

fn what(factor: &Factor) -> String {
    let of = [&factor.species, &factor.device, &factor.fuel]
        .into_iter()
        .flatten()
        .map(|word| words::spaced(word))
        .collect::<Vec<_>>();
    if of.is_empty() {
        factor.quantity.words().to_owned()
    } else {
        format!("{}: {}", factor.quantity.words(), of.join(", "))
    }
}
