//! The trail: all that happened, the latest first, and the signed head to keep.

use super::evidence::name;
use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::records::kind;
use crate::service::trail::EntryView;
use crate::service::{Caller, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use std::collections::BTreeMap;
use uuid::Uuid;

const ENTRIES_A_PAGE: u64 = 50;

#[derive(Template)]
#[template(path = "trail.html")]
struct TrailPage {
    shell: Shell,
    checkpoint: String,
    size: String,
    entries: Vec<EntryLine>,
    latest: bool,
    older: Option<u64>,
}

struct EntryLine {
    sequence: u64,
    what: String,
    subject: String,
    href: Option<String>,
    actor: String,
    at: String,
    reason: Option<String>,
    leaf_hash: String,
    short_hash: String,
}

#[derive(Deserialize)]
pub(super) struct TrailQuery {
    /// Shows the entries before this sequence.
    before: Option<u64>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<TrailQuery>,
) -> Result<Response, Refusal> {
    let checkpoint = service.checkpoint(&caller, None).await?;
    let size = size_of(&checkpoint).ok_or_else(|| Refusal::broken(&"checkpoint without size"))?;
    let before = query.before.unwrap_or(size).min(size);
    let from = before.saturating_sub(ENTRIES_A_PAGE);
    let limit = u32::try_from(before - from).unwrap_or(0);
    let mut entries = service.trail_entries(&caller, from, limit, false).await?;
    entries.reverse();
    let names = names(&service, &caller).await?;
    draw(&TrailPage {
        shell: Shell::of(&caller, Section::Trail, "Trail"),
        entries: entries
            .into_iter()
            .map(|entry| line(entry, &names))
            .collect(),
        size: words::count(size),
        latest: before == size,
        older: (from > 0).then_some(from),
        checkpoint,
    })
}

/// The second line of a checkpoint (C2SP tlog-checkpoint).
fn size_of(checkpoint: &str) -> Option<u64> {
    checkpoint.lines().nth(1)?.parse().ok()
}

/// What the ids in the trail stand for.
async fn names(
    service: &Service,
    caller: &Caller,
) -> Result<BTreeMap<String, String>, ServiceError> {
    let batches = service.batches(caller, None).await?;
    let statements = service.statements(caller).await?;
    let of_batches = batches.iter().map(|batch| {
        let rows = words::count(batch.rows);
        (
            batch.id.to_string(),
            format!("{}, {rows} rows", name(batch)),
        )
    });
    let of_statements = statements.iter().map(|statement| {
        let words = format!("{} by {}", statement.period, statement.methodology);
        (statement.id.to_string(), words)
    });
    Ok(of_batches.chain(of_statements).collect())
}

fn line(entry: EntryView, names: &BTreeMap<String, String>) -> EntryLine {
    let id = || entry.subject.parse::<Uuid>().ok();
    let href = match entry.kind.as_str() {
        kind::BATCH_ACCEPTED | kind::BATCH_WITHDRAWN | kind::FLAGS_RAISED => id().map(links::batch),
        kind::FLAG_ANSWERED => id().map(links::flag),
        kind::ROW_SUPERSEDED | kind::ROW_EXCLUDED => links::row_named(&entry.subject),
        kind::STATEMENT_MADE => id().map(links::statement),
        kind::FACTORS_ADDED => Some("/factors".to_owned()),
        _ => None,
    };
    EntryLine {
        sequence: entry.sequence,
        what: words::event(&entry.kind),
        href,
        subject: names.get(&entry.subject).cloned().unwrap_or(entry.subject),
        actor: entry.actor,
        at: words::instant(entry.at),
        reason: entry.reason,
        short_hash: words::short_hash(&entry.leaf_hash),
        leaf_hash: entry.leaf_hash,
    }
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
}
