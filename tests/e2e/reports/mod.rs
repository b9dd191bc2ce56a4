//! The monitoring report: what it says is what the statement says, and the same bytes each time.

mod opinions;
mod workbook;

use crate::support::seeded::seeded_programme;
use crate::support::{Answer, Client, TestProgramme, seeded};
use emberbook::accounting::statement::Statement;
use reqwest::Method;
use serde_json::json;
use std::collections::BTreeSet;

/// Named in each request, as the address is a part of the report.
const HOST: &str = "books.example.org";

pub fn statement_id() -> &'static str {
    seeded().statement["id"].as_str().expect("an id")
}

pub fn statement() -> Statement {
    serde_json::from_slice(&seeded().statement_bytes).expect("a statement")
}

pub async fn report(client: &Client, ending: &str, query: &str) -> Answer {
    let path = format!("/statements/{}/report.{ending}{query}", statement_id());
    let request = client.request(Method::GET, &path).header("Host", HOST);
    Answer::of(request).await
}

/// The text of each page, by a reader that shares no code with the program.
pub fn pages(pdf: &[u8]) -> Vec<String> {
    let document = lopdf::Document::load_mem(pdf).expect("a PDF");
    let numbers: Vec<u32> = document.get_pages().keys().copied().collect();
    numbers
        .iter()
        .map(|number| document.extract_text(&[*number]).expect("text"))
        .map(|text| text.split(' ').collect::<Vec<_>>().join(" "))
        .collect()
}

/// The text with every line break as a space, runs of spaces as one.
pub fn flowing(text: &str) -> String {
    text.split([' ', '\n', '\r'])
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// Where each link of the file leads.
fn addresses(pdf: &[u8]) -> Vec<String> {
    let document = lopdf::Document::load_mem(pdf).expect("a PDF");
    let mut found = Vec::new();
    for object in document.objects.values() {
        let Ok(dictionary) = object.as_dict() else {
            continue;
        };
        let action = match dictionary.get(b"A") {
            Ok(lopdf::Object::Reference(id)) => document.get_dictionary(*id).ok(),
            Ok(other) => other.as_dict().ok(),
            Err(_) => None,
        };
        if let Some(Ok(uri)) = action.map(|action| action.get(b"URI"))
            && let Ok(bytes) = uri.as_str()
        {
            found.push(String::from_utf8_lossy(bytes).into_owned());
        }
    }
    found
}

/// A figure as a reader sees it: three or four digits, thousands by thin spaces.
fn shown(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 1000.0 || size == 0.0 => 0,
        size if size >= 10.0 => 1,
        size if size >= 1.0 => 2,
        _ => 3,
    };
    let text = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let fraction = fraction.trim_end_matches('0');
    let mut grouped = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            grouped.push('\u{2009}');
        }
        grouped.push(digit);
    }
    let sign = if value < 0.0 { "\u{2212}" } else { "" };
    let point = if fraction.is_empty() { "" } else { "." };
    format!("{sign}{grouped}{point}{fraction}")
}

fn value(decimal: rust_decimal::Decimal) -> f64 {
    decimal.to_string().parse().expect("a number")
}

#[tokio::test]
async fn the_pdf_says_every_figure_of_the_statement_and_that_nobody_verified_it() {
    let programme = seeded_programme().await;
    let answer = report(&programme.manager, "pdf", "").await;
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert_eq!(answer.header("content-type"), "application/pdf");
    let disposition = answer.header("content-disposition");
    assert!(
        disposition.starts_with("attachment; filename=\""),
        "{disposition}"
    );
    assert!(disposition.ends_with(".pdf\""), "{disposition}");
    let pages = pages(&answer.bytes);
    let statement = statement();
    assert!(pages[0].contains("Not verified."), "{}", pages[0]);
    for (index, page) in pages.iter().enumerate() {
        let page = flowing(page);
        assert!(
            page.contains("Not verified by a verification body"),
            "{page}"
        );
        let number = format!("Page {} of {}", index + 1, pages.len());
        assert!(page.contains(&number), "{number} in {page}");
    }
    let text = flowing(&pages.join(" "));
    for figure in &statement.figures {
        let number = shown(value(figure.value));
        let stands = text.split(' ').any(|word| word == number);
        assert!(stands, "{}: {number}", figure.id);
    }
    for needed in [
        statement_id(),
        seeded().statement["sha256"].as_str().expect("a hash"),
        "300 tCO2e (lower bound)",
        "1 tCO2 (lower bound)",
        "Baseline scenario",
        "Sources, sinks and reservoirs",
        "emberbook verify BAG.tar.gz --key KEY",
        "not a health assessment",
    ] {
        assert!(text.contains(needed), "{needed}");
    }
    for note in &statement.notes {
        let sentence = flowing(&note.sentence.replace('_', " "));
        assert!(text.contains(&sentence), "{sentence}");
    }
    // No line of the report says of the figures that they have been verified.
    let without = text
        .replace("Not verified", "")
        .replace("verified by the", "");
    assert!(
        !without.to_lowercase().contains("has verified"),
        "{without}"
    );
    assert!(!without.to_lowercase().contains("certified"));
}

#[tokio::test]
async fn every_reference_leads_to_a_node_of_the_trace_and_every_figure_has_one() {
    let programme = seeded_programme().await;
    let pdf = report(&programme.manager, "pdf", "").await.bytes;
    let statement = statement();
    let begins = format!("http://{HOST}/statements/{}/trace?node=", statement_id());
    let addresses = addresses(&pdf);
    assert!(addresses.len() > 100, "{}", addresses.len());
    let mut named = BTreeSet::new();
    for address in &addresses {
        let node = address.strip_prefix(&begins).expect(address);
        let node = node
            .replace("%2B", "+")
            .replace("%2C", ",")
            .replace("%20", " ");
        assert!(statement.trace.node(&node).is_some(), "{node}");
        named.insert(node);
    }
    for figure in &statement.figures {
        assert!(named.contains(&figure.node), "{}", figure.id);
    }
    // The list at the end names each of them.
    let text = flowing(&pages(&pdf).join(" ")).replace(' ', "");
    for node in &named {
        assert!(text.contains(&node.replace(' ', "")), "{node}");
    }
}

#[tokio::test]
async fn the_same_statement_and_position_give_the_same_bytes_on_another_day() {
    let (first, second) = (seeded_programme().await, seeded_programme().await);
    second.app.clock.advance_seconds(86_400 * 30);
    let entry = json!({"code": "LATER", "name": "Opened later"});
    let size = size_of(&first).await;
    second.manager.post("/sites", &entry).await.ok(201);
    for ending in ["pdf", "xlsx"] {
        let then = report(&first.manager, ending, "").await;
        let again = report(&first.manager, ending, "").await;
        assert!(then.bytes == again.bytes, "{ending}");
        let at_it = report(&second.manager, ending, &format!("?position={size}")).await;
        assert_eq!(at_it.status, 200);
        assert!(then.bytes == at_it.bytes, "{ending} at position {size}");
        assert_eq!(then.header("etag"), at_it.header("etag"));
        let now = report(&second.manager, ending, "").await;
        assert!(then.bytes != now.bytes, "{ending} a trail entry later");
        assert_ne!(then.header("etag"), now.header("etag"));
    }
}

async fn size_of(programme: &TestProgramme) -> u64 {
    let note = programme.manager.get("/trail/checkpoint").await.text();
    let size = note.lines().nth(1).expect("a size");
    size.parse().expect("a number")
}

#[tokio::test]
async fn who_has_the_bytes_is_told_that_they_are_the_same() {
    let programme = seeded_programme().await;
    let first = report(&programme.manager, "pdf", "").await;
    let path = format!("/statements/{}/report.pdf", statement_id());
    let request = programme.manager.request(Method::GET, &path);
    let request = request
        .header("Host", HOST)
        .header("If-None-Match", first.header("etag"));
    let again = Answer::of(request).await;
    assert_eq!((again.status, again.bytes.len()), (304, 0));
}

#[tokio::test]
async fn a_position_that_the_trail_has_not_come_to_is_refused() {
    let programme = seeded_programme().await;
    let size = size_of(&programme).await;
    for position in [0, 1, size + 1] {
        let query = format!("?position={position}");
        let answer = report(&programme.manager, "pdf", &query).await;
        answer.problem(422, "invalid-fields");
    }
    let nothing = "/statements/00000000-0000-0000-0000-000000000000/report.pdf";
    programme
        .manager
        .get(nothing)
        .await
        .problem(404, "not-found");
}

#[tokio::test]
async fn the_pdf_is_tagged_for_those_who_cannot_see_it() {
    let programme = seeded_programme().await;
    let pdf = report(&programme.manager, "pdf", "").await.bytes;
    let document = lopdf::Document::load_mem(&pdf).expect("a PDF");
    let catalog = document.catalog().expect("a catalog");
    let marked = catalog
        .get(b"MarkInfo")
        .and_then(|info| document.dereference(info));
    let (_, marked) = marked.expect("mark information");
    let marked = marked.as_dict().and_then(|info| info.get(b"Marked"));
    assert!(marked.and_then(lopdf::Object::as_bool).expect("a mark"));
    assert!(catalog.get(b"StructTreeRoot").is_ok());
    assert!(catalog.get(b"Lang").is_ok());
    let mut kinds = BTreeSet::new();
    let mut told = 0;
    for object in document.objects.values() {
        let Ok(element) = object.as_dict() else {
            continue;
        };
        if let Ok(kind) = element.get(b"S").and_then(lopdf::Object::as_name) {
            kinds.insert(String::from_utf8_lossy(kind).into_owned());
            if kind == b"Figure" {
                let alt = element.get(b"Alt").and_then(lopdf::Object::as_str);
                assert!(alt.is_ok_and(|words| words.len() > 20));
                told += 1;
            }
        }
    }
    for kind in [
        "H1", "H2", "P", "Table", "TH", "TD", "L", "LI", "Figure", "Link",
    ] {
        assert!(kinds.contains(kind), "{kind} in {kinds:?}");
    }
    assert!(told >= 4, "{told} charts");
}
