//! The sheets beside the figures, one function each.

use super::writing::{Cell, Head, table, whole, write};
use crate::report::source::ReportSource;
use crate::report::words;
use rust_decimal::Decimal;
use rust_xlsxwriter::{Worksheet, XlsxError};

type Done = Result<(), XlsxError>;

const FACTS: [Head; 2] = [("What", 30.0), ("As recorded", 90.0)];

pub(super) fn summary(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let statement = &source.statement;
    let standing = match source.opinions.last() {
        None => "NOT VERIFIED: no opinion of a verification body is recorded on this statement."
            .to_owned(),
        Some(last) => format!(
            "{}. Accreditation, in the words of whoever recorded it: {}. SHA-256 of the signed \
             document: {}. The program has checked neither.",
            last.record.sentence(),
            last.record.accreditation,
            last.record.document_sha256
        ),
    };
    write(sheet, (0, 0), Cell::text("Monitoring report"))?;
    write(sheet, (0, 1), Cell::text(&statement.programme.name))?;
    write(sheet, (1, 0), Cell::text("Standing"))?;
    write(sheet, (1, 1), Cell::text(standing))?;
    let fact = |name: &str, value: String| vec![Cell::text(name), Cell::Text(value)];
    let facts = [
        fact("Programme code", statement.programme.code.clone()),
        fact("Period", statement.period.code.clone()),
        vec![Cell::text("From"), Cell::Day(statement.period.starts_on)],
        vec![Cell::text("To before"), Cell::Day(statement.period.ends_on)],
        fact("Methodology", source.methodology.id()),
        fact(
            "Title of the methodology",
            statement.methodology.title.clone(),
        ),
        fact("Statement", source.statement_id.to_string()),
        fact("SHA-256 of the statement", source.sha256.clone()),
        vec![
            Cell::text("Evidence read at position"),
            Cell::Count(statement.position),
        ],
        vec![
            Cell::text("This report read at position"),
            Cell::Count(source.position),
        ],
        fact(
            "Program",
            format!("emberbook {}", statement.program_version),
        ),
        fact("Rounding", statement.rounding.clone()),
    ];
    let below = table(sheet, 3, &FACTS, facts)?;
    let claims = &statement.claims;
    let lines = [
        (
            "Reductions: avoided",
            &claims.reductions.figure,
            claims.reductions.tonnes.tonnes(),
            (&claims.reductions.unit, &claims.reductions.rule),
        ),
        (
            "Removals: stored, never added to reductions",
            &claims.removals.figure,
            claims.removals.tonnes.tonnes(),
            (&claims.removals.unit, &claims.removals.rule),
        ),
    ];
    let rows = lines.into_iter().map(|(name, id, tonnes, (unit, rule))| {
        let mut cells = vec![
            Cell::text(name),
            Cell::text(words::label(rule)),
            Cell::Count(tonnes),
            Cell::text(unit),
        ];
        if let Some(figure) = statement.figure(id) {
            cells.extend([
                Cell::Number(figure.value),
                Cell::Number(figure.lower),
                Cell::Number(figure.upper),
            ]);
        }
        cells
    });
    let heads: [Head; 7] = [
        ("Total", 30.0),
        ("Rule of the claim", 90.0),
        ("Claim [unit in the next column]", 14.0),
        ("Unit", 10.0),
        ("Value", 12.0),
        ("Lower bound", 12.0),
        ("Upper bound", 12.0),
    ];
    table(sheet, below + 1, &heads, rows)?;
    Ok(())
}

pub(super) fn factors(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let heads: [Head; 11] = [
        ("Factor", 34.0),
        ("Quantity", 26.0),
        ("Species", 10.0),
        ("Device", 20.0),
        ("Fuel", 16.0),
        ("Value [unit]", 14.0),
        ("Unit", 22.0),
        ("Spread", 40.0),
        ("Mark", 12.0),
        ("Source", 70.0),
        ("Note", 50.0),
    ];
    let optional = |text: &Option<String>| text.as_ref().map_or(Cell::Empty, Cell::text);
    let rows = source.factors.iter().map(|factor| {
        vec![
            Cell::Text(factor.id().to_string()),
            Cell::text(factor.quantity.words()),
            optional(&factor.species),
            optional(&factor.device),
            optional(&factor.fuel),
            Cell::Number(factor.value),
            Cell::text(&factor.unit),
            Cell::Text(words::spread(&factor.spread)),
            Cell::text(words::mark(factor.mark).0),
            Cell::text(&factor.source),
            optional(&factor.note),
        ]
    });
    whole(sheet, &heads, rows)
}

pub(super) fn rounds(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let heads: [Head; 15] = [
        ("Round", 24.0),
        ("Kind", 18.0),
        ("From", 12.0),
        ("To before", 12.0),
        ("Batches", 10.0),
        ("Rows", 10.0),
        ("Frame [units]", 10.0),
        ("Frame SHA-256", 20.0),
        ("Drawn [units]", 10.0),
        ("Reserve [units]", 10.0),
        ("Response [fraction]", 12.0),
        ("Achieved value", 12.0),
        ("Achieved half-width", 12.0),
        ("Meets its plan", 12.0),
        ("How the sample was taken", 80.0),
    ];
    let count = |value: Option<u64>| value.map_or(Cell::Empty, Cell::Count);
    let rows = source.rounds.iter().map(|round| {
        let close = round.close.as_ref();
        let achieved = close.and_then(|close| close.achieved.as_ref());
        vec![
            Cell::text(&round.record.code),
            Cell::Text(words::spaced(round.record.kind.code())),
            Cell::Day(round.record.starts_on),
            Cell::Day(round.record.ends_on),
            Cell::Count(round.counted.batches),
            Cell::Count(round.counted.rows),
            count(round.frame.as_ref().map(|frame| frame.units)),
            round
                .frame
                .as_ref()
                .map_or(Cell::Empty, |frame| Cell::text(&frame.sha256)),
            count(round.draw.as_ref().map(|draw| draw.sample)),
            count(round.draw.as_ref().map(|draw| draw.reserve)),
            Cell::number(close.and_then(|close| close.response)),
            Cell::number(achieved.map(|achieved| achieved.value)),
            Cell::number(achieved.map(|achieved| achieved.half_width)),
            achieved.map_or(Cell::Empty, |achieved| {
                Cell::text(if achieved.meets_the_plan { "yes" } else { "no" })
            }),
            Cell::text(&round.record.design),
        ]
    });
    whole(sheet, &heads, rows)
}

pub(super) fn corrections(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let heads: [Head; 8] = [
        ("What", 14.0),
        ("Trail entry", 10.0),
        ("Day", 12.0),
        ("Of which rows", 34.0),
        ("Line", 8.0),
        ("Rows", 8.0),
        ("Reason, or what was found", 70.0),
        ("By, or last word", 40.0),
    ];
    let corrections = source.corrections.iter().map(|one| {
        vec![
            Cell::text(one.kind.code()),
            Cell::Count(one.sequence),
            one.on.parse().map_or(Cell::Empty, Cell::Day),
            Cell::Text(format!("{}, batch {}", one.what, one.batch)),
            one.line.map_or(Cell::Empty, Cell::Count),
            Cell::Empty,
            Cell::text(&one.reason),
            Cell::text(&one.actor),
        ]
    });
    let flags = source.flags.iter().map(|one| {
        let (what, last) = match &one.answer {
            None => ("flag, open", Cell::Empty),
            Some((word, reason)) => (
                "flag, answered",
                Cell::Text(format!("{}: {reason}", words::spaced(word.code()))),
            ),
        };
        vec![
            Cell::text(what),
            Cell::Empty,
            Cell::Empty,
            Cell::Text(format!(
                "{} in {}",
                words::spaced(&one.flag.screen),
                one.round
            )),
            Cell::Empty,
            Cell::Count(one.flag.row_count),
            Cell::text(&one.flag.sentence),
            last,
        ]
    });
    let notes = source.statement.notes.iter().map(|note| {
        let mut cells = vec![Cell::text("note of the statement")];
        cells.extend((0..5).map(|_| Cell::Empty));
        cells.push(Cell::Text(words::label(&note.sentence)));
        cells
    });
    whole(sheet, &heads, corrections.chain(flags).chain(notes))
}

pub(super) fn findings(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let heads: [Head; 9] = [
        ("Finding", 10.0),
        ("Class", 26.0),
        ("State", 10.0),
        ("On", 30.0),
        ("Held against", 30.0),
        ("Trail entry", 10.0),
        ("Act", 12.0),
        ("By", 24.0),
        ("Text", 90.0),
    ];
    let lines = source.findings.iter().flat_map(|finding| {
        finding.dialogue.iter().map(move |line| {
            vec![
                Cell::text(&finding.id),
                Cell::Text(words::spaced(finding.class.code())),
                Cell::text(finding.state.code()),
                Cell::Text(format!(
                    "{} {}",
                    finding.subject.kind.code(),
                    finding.subject.key
                )),
                Cell::text(finding.requirement.as_deref().unwrap_or_default()),
                Cell::Count(line.sequence),
                Cell::text(line.act.code()),
                Cell::text(&line.actor),
                Cell::text(&line.text),
            ]
        })
    });
    whole(sheet, &heads, lines)
}

pub(super) fn trail(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let fact = |name: &str, value: String| vec![Cell::text(name), Cell::Text(value)];
    let mut rows = vec![
        fact("Statement", source.statement_id.to_string()),
        fact("SHA-256 of the statement", source.sha256.clone()),
        vec![
            Cell::text("Entry of the statement"),
            Cell::Count(source.sequence),
        ],
        fact("Made at", source.made_at.clone()),
        vec![
            Cell::text("Evidence read at position"),
            Cell::Count(source.statement.position),
        ],
        vec![
            Cell::text("This report read at position"),
            Cell::Count(source.position),
        ],
        fact("Key of the trail", source.key.clone()),
        fact("Signed head at that position", source.checkpoint.clone()),
        fact(
            "To check it",
            "emberbook verify BAG.tar.gz --key KEY".to_owned(),
        ),
    ];
    let batches = source.statement.evidence.iter().flat_map(|set| {
        let role = words::evidence_role(set.role);
        set.batches.iter().map(move |batch| {
            let what = format!("Batch of {role}");
            vec![
                Cell::Text(what),
                Cell::Text(format!("{}, root of its rows {}", batch.id, batch.root)),
                Cell::Number(Decimal::from(batch.rows)),
            ]
        })
    });
    rows.extend(batches);
    let heads: [Head; 3] = [("What", 34.0), ("As recorded", 100.0), ("Rows", 10.0)];
    whole(sheet, &heads, rows)
}

pub(super) fn cautions(sheet: &mut Worksheet, source: &ReportSource) -> Done {
    let cautions = source.statement.cautions.iter();
    whole(
        sheet,
        &[("Cautions", 120.0)],
        cautions.map(|caution| vec![Cell::text(caution)]),
    )
}
