//! The first pages: what this is, what it comes to, who made it, for what and for whom.

use super::{Writer, interval, unit};
use crate::report::block::{Block, Rich, Row, Span, plain};
use crate::report::source::ReportSource;
use crate::report::words;

pub(super) fn write(writer: &mut Writer<'_>) {
    title(writer);
    totals(writer);
    writer.put(Block::Contents);
    proponent(writer);
    purpose(writer);
    description(writer);
}

fn title(writer: &mut Writer<'_>) {
    let statement = &writer.source.statement;
    let period = &statement.period;
    writer.put(Block::heading(
        1,
        format!("Monitoring report of {}", statement.programme.name),
    ));
    let restated = if writer.source.restatement {
        ", a restatement"
    } else {
        ""
    };
    writer.put(Block::Paragraph(vec![
        Span::strong(format!("Period {}", period.code)),
        Span::plain(format!(
            ": from {} to before {}{restated}. Greenhouse gas statement by the methodology \u{201c}{}\u{201d} ({}@{}).",
            period.starts_on,
            period.ends_on,
            statement.methodology.title,
            statement.methodology.code,
            statement.methodology.version
        )),
    ]));
    let standing = standing(writer.source);
    writer.put(Block::Notice(standing));
}

/// Whether somebody has given an opinion; never the program itself.
pub(super) fn standing(source: &ReportSource) -> Rich {
    let Some(last) = source.opinions.last() else {
        return vec![
            Span::strong("Not verified. "),
            Span::plain(
                "No opinion of a verification body is recorded on this statement. The figures are \
                 the programme's own computation from its own records.",
            ),
        ];
    };
    vec![
        Span::strong(format!("{}. ", last.record.sentence())),
        Span::plain(format!(
            "Accreditation, in the words of whoever recorded it: {}. SHA-256 of the signed \
             document: {}. Recorded on {} as entry {} of the trail. The program keeps this record; \
             it has checked neither the document nor the accreditation.",
            last.record.accreditation, last.record.document_sha256, last.recorded_on, last.sequence
        )),
    ]
}

/// The two totals and their claims, apart.
fn totals(writer: &mut Writer<'_>) {
    let claims = &writer.source.statement.claims;
    let lines = [
        (
            "Reductions: emissions avoided",
            claims.reductions.figure.clone(),
            claims.reductions.tonnes.tonnes(),
        ),
        (
            "Removals: CO2 stored as char",
            claims.removals.figure.clone(),
            claims.removals.tonnes.tonnes(),
        ),
    ];
    let mut rows = Vec::new();
    for (name, id, tonnes) in lines {
        let Some(figure) = writer.figure(&id) else {
            continue;
        };
        let reference = writer.cited_cell(&figure.node);
        rows.push(Row::new(vec![
            vec![Span::strong(name)],
            plain(words::figure(figure.value)),
            plain(interval(figure)),
            vec![Span::strong(words::count(tonnes))],
            plain(unit(&figure.unit)),
            reference,
        ]));
    }
    let confidence = writer
        .source
        .statement
        .figures
        .first()
        .map_or_else(String::new, |figure| words::percent(figure.confidence));
    writer.table(
        &format!(
            "Result: two totals of two kinds, never added (intervals two-sided, {confidence})"
        ),
        &[
            ("Total", 3.2, false),
            ("Value", 1.2, true),
            ("Interval", 2.1, true),
            ("Claim", 1.0, true),
            ("Unit", 1.1, false),
            ("Ref.", 0.6, false),
        ],
        rows,
    );
}

fn proponent(writer: &mut Writer<'_>) {
    writer.section("Project and proponent");
    let source = writer.source;
    let statement = &source.statement;
    writer.facts(
        "Who states this, and of which period",
        vec![
            (
                "Proponent",
                plain(format!(
                    "{} (code {}), which keeps its books in this program",
                    statement.programme.name, statement.programme.code
                )),
            ),
            (
                "Period",
                plain(format!(
                    "{}: from {} to before {}",
                    statement.period.code, statement.period.starts_on, statement.period.ends_on
                )),
            ),
            ("Statement", plain(source.statement_id.to_string())),
            (
                "Made",
                plain(format!(
                    "{} as entry {} of the programme's trail, from the evidence at position {}",
                    day_of(&source.made_at),
                    source.sequence,
                    statement.position
                )),
            ),
            (
                "Program",
                plain(format!("emberbook {}", statement.program_version)),
            ),
        ],
    );
}

/// Day of an instant in RFC 3339.
pub(super) fn day_of(instant: &str) -> &str {
    instant.split('T').next().unwrap_or(instant)
}

fn purpose(writer: &mut Writer<'_>) {
    writer.section("Purpose and intended user");
    writer.say(
        "This report states, for one monitoring period, the greenhouse gas emissions that the \
         programme's stoves avoided and the carbon that their char stored, with the doubt of each \
         figure and the way back to the rows it was worked out from. It is written for a validation \
         and verification body that is to form an opinion on the statement, and for the \
         programme's own managers. It is no issuance, no certificate and no public claim.",
    );
}

fn description(writer: &mut Writer<'_>) {
    writer.section("Description of the project");
    writer.say(
        "Households are given gasifier cookstoves, most of which make char. They burn less of the \
         fuel that was burnt before, or other fuel, and more cleanly; char that is put to a durable \
         use keeps carbon out of the air. Households are known to the program by codes alone.",
    );
    let source = writer.source;
    let models: Vec<Rich> = source
        .models
        .iter()
        .map(|model| {
            let char = if model.char_making {
                "makes char"
            } else {
                "makes no char"
            };
            plain(format!(
                "{} version {}: {} ({}, {char})",
                model.code,
                model.version,
                model.name,
                words::spaced(&model.device)
            ))
        })
        .collect();
    if !models.is_empty() {
        writer.under("Stove models");
        writer.put(Block::Items(models));
    }
    let sites: Vec<String> = source
        .sites
        .iter()
        .map(|site| format!("{} ({})", site.name, site.code))
        .collect();
    if !sites.is_empty() {
        writer.under("Sites");
        writer.say(format!("{}.", sites.join(", ")));
    }
    let activity = writer.named(&[
        "stoves_in_service_days",
        "use_rate",
        "household_days_in_use",
        "cooking_moved",
    ]);
    writer.under("State of the project in the period");
    writer.figures("Stoves in service and in use", &activity);
}
