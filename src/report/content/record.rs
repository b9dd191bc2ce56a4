//! What was changed, what is open, what was found, and how all of it can be checked.

use super::opening::standing;
use super::{Writer, counted};
use crate::accounting::records::findings::Finding;
use crate::report::block::{Block, Row, Span, plain};
use crate::report::words;

/// Lines of a list that are printed; the workbook has them all.
const PRINTED: usize = 60;

pub(super) fn write(writer: &mut Writer<'_>) {
    deviations(writer);
    findings(writer);
    trail(writer);
    cautions(writer);
}

fn deviations(writer: &mut Writer<'_>) {
    writer.section("Deviations, corrections, exclusions and open flags");
    let source = writer.source;
    writer.under("Notes of the statement");
    if source.statement.notes.is_empty() {
        writer.say("There is nothing to note.");
    } else {
        let notes = source.statement.notes.iter();
        let notes = notes.map(|note| plain(words::label(&note.sentence)));
        writer.put(Block::Items(notes.collect()));
    }
    writer.under("Corrections and exclusions");
    corrections(writer);
    writer.under("Flags of the screens");
    flags(writer);
}

fn corrections(writer: &mut Writer<'_>) {
    let source = writer.source;
    if source.corrections.is_empty() {
        writer.say("No row was corrected, excluded or withdrawn.");
        return;
    }
    let rows = source
        .corrections
        .iter()
        .take(PRINTED)
        .map(|one| {
            let place = match one.line {
                Some(line) => format!("line {line} of {}", one.what),
                None => format!("all of {}", one.what),
            };
            let counts = if one.sequence < source.statement.position {
                "yes"
            } else {
                "no: came later"
            };
            Row::new(vec![
                plain(one.sequence.to_string()),
                plain(one.on.clone()),
                plain(one.kind.code()),
                plain(place),
                plain(one.reason.clone()),
                plain(counts),
            ])
        })
        .collect();
    writer.table(
        "Corrections of the programme's rows, by trail entry",
        &[
            ("Entry", 0.6, true),
            ("Day", 1.0, false),
            ("What", 1.0, false),
            ("Of which row", 2.6, false),
            ("Reason", 3.0, false),
            ("In this statement", 1.0, false),
        ],
        rows,
    );
    more(writer, source.corrections.len(), "corrections");
}

fn more(writer: &mut Writer<'_>, count: usize, what: &str) {
    if count > PRINTED {
        writer.say(format!(
            "{} further {what} are in the workbook of this report.",
            words::count((count - PRINTED) as u64)
        ));
    }
}

fn flags(writer: &mut Writer<'_>) {
    let source = writer.source;
    let open: Vec<_> = source
        .flags
        .iter()
        .filter(|one| one.answer.is_none())
        .collect();
    let answered = source.flags.len() - open.len();
    if source.flags.is_empty() {
        writer.say("The screens raised no flag on the rows that the statement read.");
        return;
    }
    writer.say(format!(
        "The screens raised {} on the rows that the statement read: {} answered with a reason, {} \
         open. A flag changes no row and no figure.",
        counted(source.flags.len() as u64, "flag", "flags"),
        words::count(answered as u64),
        words::count(open.len() as u64)
    ));
    if open.is_empty() {
        return;
    }
    let rows = open
        .iter()
        .take(PRINTED)
        .map(|one| {
            Row::new(vec![
                plain(one.round.clone()),
                plain(words::spaced(&one.flag.screen)),
                plain(one.flag.sentence.clone()),
                plain(words::count(one.flag.row_count)),
            ])
        })
        .collect();
    writer.table(
        "Flags that nobody has answered",
        &[
            ("Round", 1.8, false),
            ("Screen", 1.5, false),
            ("What was found", 5.0, false),
            ("Rows", 0.7, true),
        ],
        rows,
    );
    more(writer, open.len(), "open flags");
}

fn findings(writer: &mut Writer<'_>) {
    writer.section("Findings and opinions");
    let source = writer.source;
    let standing = standing(source);
    writer.put(Block::Paragraph(standing));
    if source.findings.is_empty() {
        writer.say("No finding is recorded on this period or this statement.");
        return;
    }
    let rows = source.findings.iter().map(finding).collect();
    writer.table(
        "Findings of verifiers, with their state",
        &[
            ("Finding", 0.8, false),
            ("Class", 1.8, false),
            ("On", 2.2, false),
            ("What was found, and the last word", 4.6, false),
            ("State", 0.9, false),
        ],
        rows,
    );
}

fn finding(finding: &Finding) -> Row {
    let first = finding.dialogue.first();
    let mut text = vec![Span::plain(
        first.map_or_else(String::new, |line| line.text.clone()),
    )];
    if let Some(last) = finding
        .dialogue
        .last()
        .filter(|_| finding.dialogue.len() > 1)
    {
        text.push(Span::quiet(format!(
            " {} by {}: {}",
            words::capital(last.act.code()),
            last.actor,
            last.text
        )));
    }
    Row::new(vec![
        plain(finding.id.clone()),
        plain(words::spaced(finding.class.code())),
        plain(format!(
            "{} {}",
            finding.subject.kind.code(),
            finding.subject.key
        )),
        text,
        plain(finding.state.code()),
    ])
}

fn trail(writer: &mut Writer<'_>) {
    writer.section("The record, and how to check it");
    let source = writer.source;
    writer.facts(
        "What this report is of",
        vec![
            ("Statement", plain(source.statement_id.to_string())),
            ("SHA-256 of the statement", plain(source.sha256.clone())),
            (
                "Evidence read at",
                plain(format!(
                    "position {} of the trail",
                    source.statement.position
                )),
            ),
            (
                "This report read at",
                plain(format!("position {} of the trail", source.position)),
            ),
            ("Key of the trail", plain(source.key.clone())),
            ("Rounding", plain(source.statement.rounding.clone())),
        ],
    );
    writer.under("Signed head of the trail at that position");
    let lines = source.checkpoint.lines().map(str::to_owned);
    writer.put(Block::Lines(lines.collect()));
    writer.under("Checking offline");
    writer.say(
        "Download the programme's bag from the page Trail and ask for the key of the trail by \
         another way. The program then checks, without database or network, every hash, signature \
         and proof, and computes every figure of the statement again from the rows:",
    );
    writer.put(Block::Lines(vec![
        "emberbook verify BAG.tar.gz --key KEY".to_owned(),
    ]));
    writer.say(
        "Of this report itself: the same statement, at the same position of the trail, by the same \
         version of the program and the same address of the service, gives the same bytes.",
    );
}

fn cautions(writer: &mut Writer<'_>) {
    writer.section("Cautions");
    let cautions = writer.source.statement.cautions.iter();
    writer.put(Block::Items(cautions.map(plain).collect()));
}
