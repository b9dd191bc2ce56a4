//! What an entry of the trail tells, as a sentence: who did what to which record.

use super::evidence::name;
use super::{links, words};
use crate::accounting::records::findings::{Act, kind as finding};
use crate::accounting::records::kind;
use crate::accounting::records::log_keys::kind as key;
use crate::accounting::rounds::records::kind as step;
use crate::service::trail::EntryView;
use crate::service::{Caller, Service, ServiceError};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Every kind of entry with what was done, before the name of what it was done to.
const DEEDS: [(&str, &str); 33] = [
    (kind::PROGRAMME_CREATED, "founded the programme"),
    (kind::SITE_ADDED, "added the site"),
    (kind::STOVE_MODEL_ADDED, "added the stove model"),
    (kind::FACTORS_ADDED, "added to the factors"),
    (kind::METHODOLOGY_ADDED, "added the methodology"),
    (kind::ROUND_OPENED, "opened the round"),
    (step::ROUND_PLANNED, "planned the round"),
    (step::ROUND_FRAMED, "took the frame of the round"),
    (step::ROUND_SEEDED, "fixed the seed of the round"),
    (step::ROUND_DRAWN, "drew the sample of the round"),
    (step::ROUND_CLOSED, "closed the round"),
    (kind::MAPPING_SAVED, "saved column names for"),
    (kind::BATCH_ACCEPTED, "sent the batch"),
    (kind::FLAGS_RAISED, "sent rows that raised flags, in"),
    (kind::FLAG_ANSWERED, "answered the flag"),
    (kind::ROW_SUPERSEDED, "put a new row in place of"),
    (kind::ROW_EXCLUDED, "excluded"),
    (kind::BATCH_WITHDRAWN, "withdrew the batch"),
    (kind::PERIOD_OPENED, "opened the monitoring period"),
    (kind::PERIOD_CLOSED, "closed the monitoring period"),
    (kind::STATEMENT_MADE, "made the statement"),
    (finding::OPENED, "raised the finding"),
    (finding::ANSWERED, "answered the finding"),
    (finding::COMMENTED, "commented on the finding"),
    (finding::CLOSED, "closed the finding"),
    (finding::REOPENED, "reopened the finding"),
    (kind::PERSON_ADDED, "added the person"),
    (kind::PERSON_CHANGED, "changed the person"),
    (kind::PASSWORD_SET, "set the password of"),
    (kind::TOKEN_ISSUED, "issued the token"),
    (kind::TOKEN_REVOKED, "revoked the token"),
    (key::WITNESS_REGISTERED, "registered the witness"),
    (
        key::LOG_KEY_CHANGED,
        "changed the key that signs the log of",
    ),
];

/// Every kind of entry, with its words in a list.
pub(super) fn kinds() -> impl Iterator<Item = (&'static str, String)> {
    DEEDS
        .into_iter()
        .map(|(kind, _)| (kind, words::event(kind)))
}

/// What the ids in the trail stand for.
#[derive(Default)]
pub(super) struct Names(BTreeMap<String, String>);

impl Names {
    pub async fn load(service: &Service, caller: &Caller) -> Result<Self, ServiceError> {
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
        Ok(Names(of_batches.chain(of_statements).collect()))
    }

    /// The name of a record, or of a row as `BATCH/LINE`.
    pub fn name(&self, subject: &str) -> String {
        let known = subject
            .split_once('/')
            .is_some_and(|(batch, _)| self.0.contains_key(batch));
        match self.0.get(subject) {
            None if known => self.row(subject),
            name => name.map_or(subject, |name| name).to_owned(),
        }
    }

    /// The name of the row `BATCH/LINE`, whether or not its batch has one.
    pub fn row(&self, place: &str) -> String {
        let (batch, line) = place.split_once('/').unwrap_or((place, "?"));
        let batch = self.0.get(batch).map_or(batch, |name| name);
        format!("row {line} of {batch}")
    }
}

/// An entry as a sentence.
pub(super) struct Told {
    pub who: String,
    pub did: String,
    pub name: Option<String>,
    pub href: Option<String>,
    pub reason: Option<String>,
    pub at: String,
}

/// `manager: office` is the office, a manager.
fn who(actor: &str) -> String {
    match actor.split_once(": ") {
        Some((role, label)) => format!("{label} ({role})"),
        None => actor.to_owned(),
    }
}

fn href(entry: &EntryView) -> Option<String> {
    let id = || entry.subject.parse::<Uuid>().ok();
    match entry.kind.as_str() {
        kind::BATCH_ACCEPTED | kind::BATCH_WITHDRAWN | kind::FLAGS_RAISED => id().map(links::batch),
        kind::FLAG_ANSWERED => id().map(links::flag),
        kind::ROW_SUPERSEDED | kind::ROW_EXCLUDED => links::row_named(&entry.subject),
        kind::STATEMENT_MADE => id().map(links::statement),
        kind::FACTORS_ADDED => Some(format!("/factors#{}", links::encoded(&entry.subject))),
        kind::PERIOD_OPENED | kind::PERIOD_CLOSED => Some("/statements".to_owned()),
        kind::SITE_ADDED | kind::STOVE_MODEL_ADDED => Some("/register".to_owned()),
        other if other.starts_with("round-") => Some(links::round(&entry.subject)),
        other if Act::from_entry_kind(other).is_some() => Some(links::finding(&entry.subject)),
        _ => None,
    }
}

/// The name of a person or a token, which its entry's subject does not tell.
fn named_in_content(entry: &EntryView) -> Option<String> {
    let content = entry.content.as_ref()?;
    let text = |member: &str| content[member].as_str().map(str::to_owned);
    match entry.kind.as_str() {
        kind::PERSON_ADDED | kind::PERSON_CHANGED | kind::PASSWORD_SET => text("name"),
        kind::TOKEN_ISSUED | kind::TOKEN_REVOKED => text("label"),
        _ => None,
    }
}

pub(super) fn told(entry: &EntryView, names: &Names) -> Told {
    let deed = DEEDS.iter().find(|(kind, _)| *kind == entry.kind);
    let name = match entry.kind.as_str() {
        // A flag has no name of its own.
        kind::FLAG_ANSWERED => words::short_hash(&entry.subject),
        kind::FACTORS_ADDED => entry.subject.clone(),
        _ => named_in_content(entry).unwrap_or_else(|| names.name(&entry.subject)),
    };
    Told {
        who: who(&entry.actor),
        did: deed.map_or_else(
            || format!("recorded {}:", words::spaced(&entry.kind)),
            |(_, did)| (*did).to_owned(),
        ),
        name: Some(name),
        href: href(entry),
        reason: entry.reason.clone(),
        at: words::instant(entry.at),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(kind: &str, subject: &str) -> EntryView {
        EntryView {
            sequence: 3,
            kind: kind.to_owned(),
            subject: subject.to_owned(),
            actor: "manager: office".to_owned(),
            at: "2026-03-01T09:30:00Z".parse().unwrap(),
            reason: None,
            leaf: String::new(),
            leaf_hash: String::new(),
            content_hash: String::new(),
            content: None,
        }
    }

    #[test]
    fn every_kind_is_told_as_a_sentence_of_its_own() {
        let mut seen = std::collections::BTreeSet::new();
        for (kind, words) in kinds() {
            let told = told(&entry(kind, "X"), &Names::default());
            assert!(!told.did.starts_with("recorded"), "{kind}");
            assert!(seen.insert(told.did), "{kind} is told like another");
            assert!(!words.is_empty());
        }
        assert_eq!(seen.len(), DEEDS.len());
    }

    #[test]
    fn a_row_is_named_by_its_batch_and_linked() {
        let id = "6f2c1a1e-0000-4000-8000-000000000001";
        let names = Names([(id.to_owned(), "Households, 4 rows".to_owned())].into());
        let told = told(&entry(kind::ROW_EXCLUDED, &format!("{id}/3")), &names);
        let expected = ("excluded", "row 3 of Households, 4 rows");
        assert_eq!((told.did.as_str(), told.name.as_deref().unwrap()), expected);
        assert_eq!(told.who, "office (manager)");
        assert_eq!(told.href.as_deref(), Some(&*format!("/rows/{id}/3")));
    }

    #[test]
    fn an_unknown_kind_is_still_told() {
        let told = told(&entry("moon-landed", "Z"), &Names::default());
        assert_eq!(told.did, "recorded moon landed:");
    }
}
