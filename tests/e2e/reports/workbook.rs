//! The workbook of a report, read back by another library.

use super::{report, statement, statement_id, value};
use crate::support::seeded::seeded_programme;
use calamine::{Data, Range, Reader, Xlsx, open_workbook_from_rs};
use serde_json::json;
use std::io::Cursor;

type Book = Xlsx<Cursor<Vec<u8>>>;

fn open(bytes: Vec<u8>) -> Book {
    open_workbook_from_rs(Cursor::new(bytes)).expect("a workbook")
}

fn sheet(book: &mut Book, name: &str) -> Range<Data> {
    book.worksheet_range(name).expect(name)
}

fn text(range: &Range<Data>) -> String {
    let cells = range.used_cells().map(|(_, _, cell)| cell.to_string());
    cells.collect::<Vec<_>>().join("\n")
}

fn number(cell: Option<&Data>) -> f64 {
    match cell {
        Some(Data::Float(number)) => *number,
        Some(Data::Int(number)) => *number as f64,
        other => panic!("{other:?} is no number"),
    }
}

#[tokio::test]
async fn every_figure_and_node_is_a_number_of_its_own_sheet() {
    let programme = seeded_programme().await;
    let answer = report(&programme.manager, "xlsx", "").await;
    assert_eq!(answer.status, 200, "{}", answer.text());
    let mut book = open(answer.bytes);
    assert_eq!(book.sheet_names(), emberbook::report::workbook::SHEETS);
    let first = text(&sheet(&mut book, "Summary"));
    assert!(first.contains("NOT VERIFIED"), "{first}");
    let statement = statement();
    let drawn = statement.simulation.as_ref().expect("a simulation");
    let figures = sheet(&mut book, "Figures");
    assert_eq!(figures.height(), statement.figures.len() + 1);
    for (row, figure) in figures.rows().skip(1).zip(&statement.figures) {
        assert_eq!(row[0].to_string(), figure.id);
        assert_eq!(row[4].to_string(), figure.unit);
        assert_eq!(number(row.get(3)), value(figure.value), "{}", figure.id);
        assert_eq!(number(row.get(5)), value(figure.lower), "{}", figure.id);
        assert_eq!(number(row.get(6)), value(figure.upper), "{}", figure.id);
        let drawn = drawn.figure(&figure.id).expect("a drawn figure");
        if let Some(lower) = drawn.lower {
            assert_eq!(number(row.get(7)), value(lower), "{}", figure.id);
        }
        assert!(statement.trace.node(&row[12].to_string()).is_some());
        assert!(row[13].to_string().contains(statement_id()));
    }
    let claimed = |id: &str| {
        let row = figures.rows().find(|row| row[0] == *id);
        number(row.expect(id).get(11))
    };
    let claims = &statement.claims;
    assert_eq!(
        claimed("reductions_co2e"),
        claims.reductions.tonnes.tonnes() as f64
    );
    assert_eq!(
        claimed("removals_co2"),
        claims.removals.tonnes.tonnes() as f64
    );
    let nodes = sheet(&mut book, "Nodes");
    assert_eq!(nodes.height(), statement.trace.nodes.len() + 1);
    for (row, node) in nodes.rows().skip(1).zip(&statement.trace.nodes) {
        assert_eq!(row[0].to_string(), node.id);
        assert_eq!(number(row.get(3)), value(node.value), "{}", node.id);
    }
    let cautions = text(&sheet(&mut book, "Cautions"));
    for caution in &statement.cautions {
        assert!(cautions.contains(caution.as_str()), "{caution}");
    }
}

#[tokio::test]
async fn what_looks_like_a_formula_stays_text() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    let formula = "=HYPERLINK(\"http://x.example\",\"look\")";
    let finding = json!({"class": "clarification_request", "text": formula,
        "subject": {"kind": "statement", "key": statement_id()}});
    verifier.post("/findings", &finding).await.ok(201);
    let mut book = open(report(&verifier, "xlsx", "").await.bytes);
    let findings = sheet(&mut book, "Findings");
    let cells = findings.used_cells().map(|(_, _, cell)| cell);
    let held = cells.filter(|cell| **cell == *formula).count();
    assert_eq!(held, 1);
    for name in book.sheet_names() {
        let formulas = book.worksheet_formula(&name).expect("formulas");
        assert!(formulas.is_empty(), "{name}");
    }
}
