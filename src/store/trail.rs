//! The append-only log of a programme, with the hashes of its complete subtrees.
//!
//! Appending and proving read O(log n) nodes; nothing is rebuilt. One writer per
//! programme: [`lock`] is taken by everything that appends.

use super::{StoreError, signed, unsigned};
use crate::trail::event::Event;
use crate::trail::merkle::leaf_hash;
use crate::trail::merkle::{Frontier, Hash, NodeAddress, root_at, sha256};
use chrono::{DateTime, SecondsFormat, Utc};
use sqlx::PgConnection;
use std::collections::HashMap;
use uuid::Uuid;

/// What is to be logged; the sequence and the hashes are found here.
#[derive(Debug)]
pub struct NewEntry<'a> {
    pub kind: &'a str,
    pub subject: &'a str,
    /// Canonical JSON.
    pub content: &'a [u8],
    pub actor: &'a str,
    pub reason: Option<&'a str>,
    pub now: DateTime<Utc>,
}

#[derive(Debug, Clone)]
pub struct EntryRow {
    pub sequence: u64,
    pub kind: String,
    pub subject: String,
    pub actor: String,
    pub at: DateTime<Utc>,
    pub reason: Option<String>,
    pub leaf: Vec<u8>,
    pub leaf_hash: Hash,
    pub content: Vec<u8>,
    pub content_hash: Hash,
}

/// Makes this transaction see one state of the database throughout.
pub async fn freeze(connection: &mut PgConnection) -> Result<(), StoreError> {
    sqlx::query("set transaction isolation level repeatable read")
        .execute(connection)
        .await?;
    Ok(())
}

/// Opens the log of a new programme.
pub async fn open(
    connection: &mut PgConnection,
    programme_id: Uuid,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into trail_head (programme_id, size, last_at) values ($1, 0, $2)",
        programme_id,
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Makes this transaction the programme's only writer and returns the trail's size.
pub async fn lock(connection: &mut PgConnection, programme_id: Uuid) -> Result<u64, StoreError> {
    let size = sqlx::query_scalar!(
        "select size from trail_head where programme_id = $1 for update",
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(size, "trail size")
}

pub async fn size(connection: &mut PgConnection, programme_id: Uuid) -> Result<u64, StoreError> {
    let size = sqlx::query_scalar!(
        "select size from trail_head where programme_id = $1",
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(size, "trail size")
}

/// Appends one entry and returns its sequence. Takes the lock.
pub async fn append(
    connection: &mut PgConnection,
    programme_id: Uuid,
    entry: &NewEntry<'_>,
) -> Result<u64, StoreError> {
    let head = sqlx::query!(
        "select size, last_at from trail_head where programme_id = $1 for update",
        programme_id
    )
    .fetch_one(&mut *connection)
    .await?;
    let sequence = unsigned(head.size, "trail size")?;
    // A clock set back must not make history run backwards.
    let at = entry.now.max(head.last_at);
    let content_hash = sha256(entry.content);
    let event = Event {
        programme: programme_id.to_string(),
        sequence,
        kind: entry.kind.to_owned(),
        subject: entry.subject.to_owned(),
        content: content_hash,
        actor: entry.actor.to_owned(),
        time: at.to_rfc3339_opts(SecondsFormat::Millis, true),
        reason: entry.reason.map(str::to_owned),
    };
    let leaf = event
        .leaf_bytes()
        .map_err(|e| StoreError::damaged("trail entry", e))?;
    let hash = leaf_hash(&leaf);

    sqlx::query!(
        "insert into trail_entry (programme_id, sequence, kind, subject, actor, at, reason,
                                  leaf, leaf_hash, content, content_hash)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        programme_id,
        head.size,
        entry.kind,
        entry.subject,
        entry.actor,
        at,
        entry.reason,
        leaf,
        hash.0.as_slice(),
        entry.content,
        content_hash.0.as_slice()
    )
    .execute(&mut *connection)
    .await?;

    let edge = nodes(
        &mut *connection,
        programme_id,
        &Frontier::addresses(sequence),
    )
    .await?;
    let mut frontier =
        Frontier::from_nodes(sequence, &edge).map_err(|e| StoreError::damaged("trail", e))?;
    let completed = frontier.push(hash);
    insert_nodes(&mut *connection, programme_id, &completed).await?;

    sqlx::query!(
        "update trail_head set size = $2, last_at = $3 where programme_id = $1",
        programme_id,
        signed(sequence + 1),
        at
    )
    .execute(connection)
    .await?;
    Ok(sequence)
}

async fn insert_nodes(
    connection: &mut PgConnection,
    programme_id: Uuid,
    completed: &[(NodeAddress, Hash)],
) -> Result<(), StoreError> {
    let levels: Vec<i16> = completed.iter().map(|(a, _)| i16::from(a.level)).collect();
    let indices: Vec<i64> = completed.iter().map(|(a, _)| signed(a.index)).collect();
    let hashes: Vec<Vec<u8>> = completed.iter().map(|(_, hash)| hash.0.to_vec()).collect();
    sqlx::query!(
        "insert into trail_node (programme_id, level, index, hash)
         select $1, n.level, n.index, n.hash
         from unnest($2::smallint[], $3::bigint[], $4::bytea[]) as n (level, index, hash)",
        programme_id,
        &levels,
        &indices,
        &hashes
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Hashes of the named subtrees; those that do not exist are left out.
pub async fn nodes(
    connection: &mut PgConnection,
    programme_id: Uuid,
    addresses: &[NodeAddress],
) -> Result<HashMap<NodeAddress, Hash>, StoreError> {
    let levels: Vec<i16> = addresses.iter().map(|a| i16::from(a.level)).collect();
    let indices: Vec<i64> = addresses.iter().map(|a| signed(a.index)).collect();
    let rows = sqlx::query!(
        "select n.level, n.index, n.hash
         from unnest($2::smallint[], $3::bigint[]) as wanted (level, index)
         join trail_node n on n.programme_id = $1 and n.level = wanted.level and n.index = wanted.index",
        programme_id,
        &levels,
        &indices
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let level =
                u8::try_from(row.level).map_err(|e| StoreError::damaged("trail node", e))?;
            let address = NodeAddress {
                level,
                index: unsigned(row.index, "trail node")?,
            };
            Ok((address, hash_of(&row.hash, "trail node")?))
        })
        .collect()
}

/// Tree head over the first `size` entries.
pub async fn root(
    connection: &mut PgConnection,
    programme_id: Uuid,
    size: u64,
) -> Result<Hash, StoreError> {
    let nodes = nodes(
        connection,
        programme_id,
        &crate::trail::merkle::addresses_for_root(size),
    )
    .await?;
    root_at(size, &nodes).map_err(|e| StoreError::damaged("trail", e))
}

/// Entries `from..from + limit`, in order.
pub async fn entries(
    connection: &mut PgConnection,
    programme_id: Uuid,
    from: u64,
    limit: u32,
) -> Result<Vec<EntryRow>, StoreError> {
    let rows = sqlx::query_as!(
        StoredEntry,
        "select sequence, kind, subject, actor, at, reason, leaf, leaf_hash, content, content_hash
         from trail_entry where programme_id = $1 and sequence >= $2 order by sequence limit $3",
        programme_id,
        signed(from),
        i64::from(limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(entry_row).collect()
}

/// The entries of these kinds among the first `position`, in order.
pub async fn of_kinds(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kinds: &[&str],
    position: u64,
) -> Result<Vec<EntryRow>, StoreError> {
    let kinds: Vec<String> = kinds.iter().map(|&kind| kind.to_owned()).collect();
    let rows = sqlx::query_as!(
        StoredEntry,
        "select sequence, kind, subject, actor, at, reason, leaf, leaf_hash, content, content_hash
         from trail_entry
         where programme_id = $1 and kind = any($2) and sequence < $3 order by sequence",
        programme_id,
        &kinds,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(entry_row).collect()
}

/// What of the trail is looked for.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// Of this kind alone.
    pub kind: Option<&'a str>,
    /// About this record or a part of it, which is named `record/part`.
    pub subject: Option<&'a str>,
    /// Below this sequence.
    pub before: u64,
    pub limit: u32,
}

/// Entries that are looked for, the latest first.
pub async fn latest(
    connection: &mut PgConnection,
    programme_id: Uuid,
    wanted: Wanted<'_>,
) -> Result<Vec<EntryRow>, StoreError> {
    let rows = sqlx::query_as!(
        StoredEntry,
        "select sequence, kind, subject, actor, at, reason, leaf, leaf_hash, content, content_hash
         from trail_entry
         where programme_id = $1 and sequence < $2 and ($3::text is null or kind = $3)
           and ($4::text is null or subject = $4 or starts_with(subject, $4 || '/'))
         order by sequence desc limit $5",
        programme_id,
        signed(wanted.before),
        wanted.kind,
        wanted.subject,
        i64::from(wanted.limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(entry_row).collect()
}

/// A row of `trail_entry` as the database gives it.
struct StoredEntry {
    sequence: i64,
    kind: String,
    subject: String,
    actor: String,
    at: DateTime<Utc>,
    reason: Option<String>,
    leaf: Vec<u8>,
    leaf_hash: Vec<u8>,
    content: Vec<u8>,
    content_hash: Vec<u8>,
}

fn entry_row(row: StoredEntry) -> Result<EntryRow, StoreError> {
    Ok(EntryRow {
        sequence: unsigned(row.sequence, "trail entry")?,
        kind: row.kind,
        subject: row.subject,
        actor: row.actor,
        at: row.at,
        reason: row.reason,
        leaf: row.leaf,
        leaf_hash: hash_of(&row.leaf_hash, "trail entry")?,
        content: row.content,
        content_hash: hash_of(&row.content_hash, "trail entry")?,
    })
}

pub async fn checkpoint_note(
    connection: &mut PgConnection,
    programme_id: Uuid,
    size: u64,
) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select note from checkpoint where programme_id = $1 and size = $2",
        programme_id,
        signed(size)
    )
    .fetch_optional(connection)
    .await?)
}

/// Keeps a signed checkpoint; a size is signed once, and Ed25519 would give the same note again.
pub async fn insert_checkpoint(
    connection: &mut PgConnection,
    programme_id: Uuid,
    size: u64,
    note: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into checkpoint (programme_id, size, note) values ($1, $2, $3) on conflict do nothing",
        programme_id,
        signed(size),
        note
    )
    .execute(connection)
    .await?;
    Ok(())
}

fn hash_of(bytes: &[u8], what: &str) -> Result<Hash, StoreError> {
    <[u8; 32]>::try_from(bytes)
        .map(Hash)
        .map_err(|e| StoreError::damaged(what, e))
}
