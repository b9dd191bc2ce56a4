//! The trail: all that happened, told in sentences, the latest first; the signed head to
//! keep, and who cosigned.

use super::page::{QueryParts, Section, Shell, download, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::trail_words::{Names, Told, kinds, told};
use super::{links, words};
use crate::service::trail::LogKeyView;
use crate::service::{Caller, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

const ENTRIES_A_PAGE: u32 = 50;

/// Cosignatures that are looked through for the latest of each witness.
const COSIGNATURES_READ: u32 = 1000;

#[derive(Template)]
#[template(path = "trail.html")]
struct TrailPage {
    shell: Shell,
    checkpoint: String,
    size: String,
    keys: Vec<LogKeyView>,
    witnesses: Vec<WitnessLine>,
    kinds: Vec<KindChoice>,
    record: String,
    filtered: bool,
    entries: Vec<EntryLine>,
    latest: Option<String>,
    older: Option<String>,
}

struct WitnessLine {
    name: String,
    key: String,
    size: Option<u64>,
    when: String,
}

struct KindChoice {
    kind: &'static str,
    words: String,
    chosen: bool,
}

struct EntryLine {
    sequence: u64,
    told: Told,
    leaf_hash: String,
    short_hash: String,
}

#[derive(Deserialize)]
pub(super) struct TrailQuery {
    /// Shows the entries before this sequence.
    before: Option<u64>,
    /// Of this kind alone.
    #[serde(default)]
    kind: String,
    /// About this record, or a part of it.
    #[serde(default)]
    record: String,
}

impl TrailQuery {
    fn address(&self, before: Option<u64>) -> String {
        let mut parts = Vec::new();
        for (name, value) in [("kind", &self.kind), ("record", &self.record)] {
            if !value.is_empty() {
                parts.push(format!("{name}={}", links::encoded(value)));
            }
        }
        parts.extend(before.map(|before| format!("before={before}")));
        let query = if parts.is_empty() { "" } else { "?" };
        format!("/trail{query}{}#history", parts.join("&"))
    }
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<TrailQuery>,
) -> Result<Response, Refusal> {
    let query = TrailQuery {
        record: query.record.trim().to_owned(),
        ..query
    };
    let asked = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    let (kind, record) = (asked(&query.kind), asked(&query.record));
    // What holds a zero byte is no text to the database, and names nothing.
    if query.kind.contains('\0') || query.record.contains('\0') {
        return Err(Refusal::not_found("There is nothing of that name."));
    }
    let before = query.before.unwrap_or(u64::MAX);
    let mut entries = service
        .trail_history(
            &caller,
            kind.as_deref(),
            record.as_deref(),
            before,
            ENTRIES_A_PAGE + 1,
        )
        .await?;
    let more = entries.len() > ENTRIES_A_PAGE as usize;
    entries.truncate(ENTRIES_A_PAGE as usize);
    let last = entries.last().map(|entry| entry.sequence);
    let checkpoint = service.checkpoint(&caller, None).await?;
    let size = size_of(&checkpoint).ok_or_else(|| Refusal::broken(&"checkpoint without size"))?;
    let names = Names::load(&service, &caller).await?;
    let line = |entry| EntryLine {
        told: told(&entry, &names),
        sequence: entry.sequence,
        short_hash: words::short_hash(&entry.leaf_hash),
        leaf_hash: entry.leaf_hash,
    };
    draw(&TrailPage {
        shell: Shell::of(&caller, Section::Trail, "Trail"),
        size: words::count(size),
        keys: service.log_keys_of(&caller).await?,
        witnesses: witnesses(&service, &caller).await?,
        kinds: kinds()
            .map(|(kind, words)| KindChoice {
                chosen: kind == query.kind,
                kind,
                words,
            })
            .collect(),
        filtered: kind.is_some() || record.is_some(),
        entries: entries.into_iter().map(line).collect(),
        latest: query.before.map(|_| query.address(None)),
        older: last.filter(|_| more).map(|last| query.address(Some(last))),
        record: query.record,
        checkpoint,
    })
}

#[derive(Deserialize)]
pub(super) struct CheckpointQuery {
    /// Entries that it is over; absent = all.
    size: Option<u64>,
}

/// The signed head as a file to keep.
pub(super) async fn checkpoint(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<CheckpointQuery>,
) -> Result<Response, Refusal> {
    let note = service.checkpoint(&caller, query.size).await?;
    let size = size_of(&note).unwrap_or_default();
    let name = format!("{}-{size}.checkpoint.txt", caller.programme_code);
    Ok(download(
        "text/plain; charset=utf-8",
        &name,
        note.into_bytes(),
    ))
}

/// Each witness with the largest checkpoint that it cosigned.
async fn witnesses(service: &Service, caller: &Caller) -> Result<Vec<WitnessLine>, ServiceError> {
    let known = service.witnesses(caller).await?;
    let signed = service
        .cosignatures(caller, None, COSIGNATURES_READ)
        .await?;
    let lines = known.into_iter().map(|witness| {
        let latest = signed.iter().find(|each| each.key == witness.key);
        let when = latest.and_then(|each| each.cosigned_at);
        WitnessLine {
            size: latest.map(|each| each.size),
            when: when.map(words::instant).unwrap_or_default(),
            name: witness.name,
            key: witness.key,
        }
    });
    Ok(lines.collect())
}

/// The second line of a checkpoint (C2SP tlog-checkpoint).
fn size_of(checkpoint: &str) -> Option<u64> {
    checkpoint.lines().nth(1)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_size_is_the_second_line_of_the_checkpoint() {
        assert_eq!(size_of("example.org/log\n26\nroot\n\n— sig\n"), Some(26));
        assert_eq!(size_of("example.org/log\n"), None);
        assert_eq!(size_of("example.org/log\nmany\n"), None);
    }

    #[test]
    fn a_further_page_keeps_what_was_looked_for() {
        let query = TrailQuery {
            before: None,
            kind: "row-excluded".into(),
            record: "a b&c".into(),
        };
        assert_eq!(
            query.address(Some(7)),
            "/trail?kind=row-excluded&record=a%20b%26c&before=7#history"
        );
        let all = TrailQuery {
            before: None,
            kind: String::new(),
            record: String::new(),
        };
        assert_eq!(all.address(None), "/trail#history");
    }
}
