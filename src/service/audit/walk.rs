//! The trail as the tables have it: every entry hashed again, the tree built again beside the
//! stored one, and each entry's rows compared with what it says.

use super::AuditOptions;
use super::compare::{compare, key_of};
use super::expected::{Cell, Due, Known, Told};
use super::keys::{COSIGNATURE, Keys};
use super::report::{AuditLevel, AuditReport};
use crate::service::ServiceError;
use crate::store;
use crate::store::audit::{AS_OF_NOW, BESIDE_THE_TRAIL, Cursor, RawEntry};
use crate::trail::canonical::is_canonical;
use crate::trail::checkpoint::Checkpoint;
use crate::trail::event::Event;
use crate::trail::merkle::{Frontier, Hash, leaf_hash, sha256};
use chrono::{DateTime, SecondsFormat, Utc};
use serde_json::{Map, Value, json};
use sqlx::PgConnection;
use uuid::Uuid;

const ENTRY: &str = "trail_entry";
const NODE: &str = "trail_node";
pub(super) const CHECKPOINT: &str = "checkpoint";
pub(super) const KEPT: &str = "the kept checkpoint";

/// Entries read at a time.
const ENTRIES_AT_ONCE: u32 = 100;

type Rows = Vec<(i64, Map<String, Value>)>;

pub(super) struct Walk<'a> {
    programme: Uuid,
    pub options: &'a AuditOptions,
    pub report: &'a mut AuditReport,
    pub known: Known,
    /// Read ahead of the walk.
    pub keys: Keys,
    /// Of the entries so far, each checked in its place.
    pub walked: Keys,
    pub tree: Frontier,
    cursors: Vec<Cursor>,
    last_at: Option<DateTime<Utc>>,
    /// True from an entry on that is missing: the tree cannot be built on.
    pub broken: bool,
    pub kept: Option<Checkpoint>,
    /// Whether a head over just the entries so far is kept.
    pub head_here: bool,
    pub signed_heads: u64,
    pub cosignatures: u64,
    records: u64,
}

/// Goes through the whole trail and returns what later checks need of it.
pub(super) async fn walk(
    connection: &mut PgConnection,
    programme: Uuid,
    options: &AuditOptions,
    report: &mut AuditReport,
) -> Result<Known, ServiceError> {
    let mut cursors = Vec::new();
    for table in BESIDE_THE_TRAIL {
        cursors.push(Cursor::open(connection, programme, table).await?);
    }
    let mut walk = Walk {
        programme,
        options,
        report,
        known: Known::default(),
        keys: Keys::ahead(connection, programme).await?,
        walked: Keys::default(),
        tree: Frontier::new(),
        cursors,
        last_at: None,
        broken: false,
        kept: None,
        head_here: false,
        signed_heads: 0,
        cosignatures: 0,
        records: 0,
    };
    let mut after = -1;
    loop {
        let page = store::audit::entries(connection, programme, after, ENTRIES_AT_ONCE).await?;
        let Some(last) = page.last() else { break };
        after = last.sequence;
        for entry in &page {
            walk.step(connection, entry).await?;
        }
    }
    walk.finish(connection).await
}

impl Walk<'_> {
    pub(super) fn fault(&mut self, table: &str, key: impl ToString, problem: impl Into<String>) {
        let level = level_of(table);
        self.report.fault(level, table, key.to_string(), problem);
    }

    async fn step(
        &mut self,
        connection: &mut PgConnection,
        entry: &RawEntry,
    ) -> Result<(), ServiceError> {
        let at = entry.sequence;
        let due = i64::try_from(self.tree.size()).unwrap_or(i64::MAX);
        if at > due && !self.broken {
            self.broken = true;
            let last = at - 1;
            let problem = match last == due {
                true => "this entry is missing".to_owned(),
                false => format!("this entry and those up to {last} are missing"),
            };
            self.fault(ENTRY, due, problem);
        }
        let mut rows: Vec<Rows> = Vec::new();
        for cursor in &mut self.cursors {
            rows.push(cursor.take_until(connection, at).await?);
        }
        let leaf = self.leaf_of(entry, &rows);
        let before = self.tree.root();
        let completed = self.tree.push(leaf);
        let told = self.read(entry);
        let mut due = Vec::new();
        if !self.broken {
            due.extend(
                completed
                    .iter()
                    .map(|(address, hash)| node_row(address.level, address.index, hash)),
            );
        }
        let event = match told {
            Some(event) => event,
            None => {
                self.pass_by(at, rows);
                return Ok(());
            }
        };
        let told = Told {
            sequence: event.sequence,
            kind: &event.kind,
            subject: &event.subject,
            actor: &event.actor,
            at: entry.at,
            content: &entry.content,
            root: self.tree.root(),
        };
        let taken = match Keys::know(told.kind) {
            true => self.walked.take(&told, before).map(|()| Vec::new()),
            false => self.known.take(&told),
        };
        match taken {
            Ok(rows) => due.extend(rows),
            Err(problem) => {
                self.fault(ENTRY, at, problem);
                self.pass_by(at, rows);
                return Ok(());
            }
        }
        if at == 0 {
            self.begin_keys();
        }
        self.check_kept();
        self.compare_rows(at, due, rows);
        Ok(())
    }

    /// The hash that goes into the tree: of the leaf as it stands, unless leaf_hash and the
    /// stored tree agree that the leaf is what was changed.
    fn leaf_of(&mut self, entry: &RawEntry, rows: &[Rows]) -> Hash {
        let computed = leaf_hash(&entry.leaf);
        let stored = Hash::from_slice(&entry.leaf_hash).ok();
        if stored == Some(computed) {
            return computed;
        }
        self.fault(
            ENTRY,
            entry.sequence,
            "leaf_hash is not the hash of leaf: one of them was changed",
        );
        let in_tree = |hash: &Hash| {
            let cell = json!(format!("\\x{hash}"));
            let nodes = self.cursors.iter().zip(rows);
            nodes
                .filter(|(cursor, _)| cursor.table.name == NODE)
                .flat_map(|(_, rows)| rows)
                .any(|(_, row)| {
                    row.get("level") == Some(&json!(0)) && row.get("hash") == Some(&cell)
                })
        };
        stored.filter(in_tree).unwrap_or(computed)
    }

    /// Checks the columns of an entry; `None` where its leaf or content is not to be relied on.
    fn read(&mut self, entry: &RawEntry) -> Option<Event> {
        let at = entry.sequence;
        let event = match Event::parse(&entry.leaf) {
            Ok(event) => event,
            Err(error) => {
                self.fault(ENTRY, at, format!("leaf: {error}"));
                return None;
            }
        };
        let time = entry.at.to_rfc3339_opts(SecondsFormat::Millis, true);
        let programme = self.programme.to_string();
        let sequence = at.to_string();
        for (column, stored, told) in [
            ("programme_id", &programme, &event.programme),
            ("sequence", &sequence, &event.sequence.to_string()),
            ("kind", &entry.kind, &event.kind),
            ("subject", &entry.subject, &event.subject),
            ("actor", &entry.actor, &event.actor),
            ("at", &time, &event.time),
        ] {
            if stored != told {
                let problem = format!("{column} is {stored:?}, its leaf says {told:?}");
                self.fault(ENTRY, at, problem);
            }
        }
        if entry.reason != event.reason {
            self.fault(ENTRY, at, "reason is not the one that its leaf has");
        }
        if self.last_at.is_some_and(|last| entry.at < last) {
            self.fault(ENTRY, at, "at is before that of the entry before it");
        }
        self.last_at = Some(entry.at);
        if entry.content_hash != event.content.0 {
            self.fault(ENTRY, at, "content_hash is not the one that its leaf has");
        }
        if sha256(&entry.content) != event.content {
            let problem = "content does not hash to what its leaf commits to: it was changed";
            self.fault(ENTRY, at, problem);
            return None;
        }
        if !is_canonical(&entry.content) {
            self.fault(ENTRY, at, "content is not canonical JSON");
        }
        Some(event)
    }

    fn compare_rows(&mut self, at: i64, due: Vec<Due>, rows: Vec<Rows>) {
        for (index, rows) in rows.into_iter().enumerate() {
            let Some(table) = self.cursors.get(index).map(|cursor| cursor.table) else {
                continue;
            };
            let (here, strays): (Rows, Rows) = rows.into_iter().partition(|(of, _)| *of == at);
            let here: Vec<_> = here.into_iter().map(|(_, row)| row).collect();
            for (_, row) in strays {
                let key = key_of(&table, &row);
                self.fault(table.name, key, "no entry of the trail tells of it");
            }
            self.records += here.len() as u64;
            match table.name {
                CHECKPOINT => self.check_heads(here),
                COSIGNATURE => self.check_cosignatures(here),
                NODE if self.broken => {}
                name => {
                    let due = due
                        .iter()
                        .filter(|due| due.table == name)
                        .cloned()
                        .collect();
                    compare(self.report, level_of(name), &table, due, here);
                }
            }
        }
    }

    /// The rows of an entry that cannot be read: they are neither right nor wrong.
    fn pass_by(&mut self, at: i64, rows: Vec<Rows>) {
        self.check_kept();
        let strays = rows
            .into_iter()
            .map(|rows| rows.into_iter().filter(|(of, _)| *of != at).collect())
            .collect();
        self.compare_rows(at, Vec::new(), strays);
    }

    async fn finish(mut self, connection: &mut PgConnection) -> Result<Known, ServiceError> {
        for mut cursor in std::mem::take(&mut self.cursors) {
            for (_, row) in cursor.take_until(connection, i64::MAX).await? {
                let table = cursor.table;
                let key = key_of(&table, &row);
                self.fault(table.name, key, "no entry of the trail tells of it");
            }
            cursor.close(connection).await?;
        }
        let size = self.tree.size();
        if let Some(kept) = self.kept.take().filter(|kept| kept.size > 0) {
            let problem = format!(
                "it is over {} entries, but the trail has only {size}: history was cut off",
                kept.size
            );
            self.fault(KEPT, "", problem);
        }
        if self.known.programme.is_none() {
            self.fault(ENTRY, 0, "the first entry does not create a programme");
        }
        self.as_of_now(connection, size).await?;
        self.report.entries = size;
        self.report.root = self.tree.root().to_string();
        self.report.code = self.known.programme.as_ref().map(|p| p.code.clone());
        if self.signed_heads == 0 {
            self.report.remarks.push(
                "the database holds no signed head: without a kept checkpoint nothing outside of it vouches for the trail".into(),
            );
        }
        let done = format!(
            "{size} entries and every stored node hash to {} signed head(s) with {} cosignature(s)",
            self.signed_heads, self.cosignatures
        );
        self.report.done(AuditLevel::Trail, done);
        let done = format!("{} rows are what their entries say", self.records);
        self.report.done(AuditLevel::Records, done);
        Ok(self.known)
    }

    /// Tables whose rows change with later entries.
    async fn as_of_now(
        &mut self,
        connection: &mut PgConnection,
        size: u64,
    ) -> Result<(), ServiceError> {
        let mut tables = Vec::new();
        let mut token_ids = Vec::new();
        for table in AS_OF_NOW {
            let mut cursor = Cursor::open(connection, self.programme, table).await?;
            let rows = cursor.take_until(connection, i64::MAX).await?;
            cursor.close(connection).await?;
            let rows: Vec<_> = rows.into_iter().map(|(_, row)| row).collect();
            let ids = rows
                .iter()
                .filter_map(|row| row.get("token_id")?.as_str()?.parse::<Uuid>().ok());
            token_ids.extend(ids);
            tables.push((table, rows));
        }
        let due = self.known.as_of_now(size, self.last_at, &token_ids);
        for (table, rows) in tables {
            self.records += rows.len() as u64;
            let due = due
                .iter()
                .filter(|due| due.table == table.name)
                .cloned()
                .collect();
            compare(self.report, level_of(table.name), &table, due, rows);
        }
        Ok(())
    }
}

fn level_of(table: &str) -> AuditLevel {
    match table {
        ENTRY | NODE | CHECKPOINT | COSIGNATURE | "trail_head" | KEPT => AuditLevel::Trail,
        _ => AuditLevel::Records,
    }
}

fn node_row(level: u8, index: u64, hash: &Hash) -> Due {
    let cells = [
        ("level", json!(level)),
        ("index", json!(index)),
        ("hash", json!(format!("\\x{hash}"))),
    ];
    Due {
        table: NODE,
        cells: cells.map(|(name, value)| (name, Cell::Is(value))).to_vec(),
    }
}
