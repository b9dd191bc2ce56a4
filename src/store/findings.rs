//! Findings, the lines of their dialogues, and the files attached to them.

use super::{StoreError, signed, unsigned};
use crate::accounting::records::findings::{
    Act, Attachment, FindingClass, FindingState, Subject, SubjectKind,
};
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

/// A finding with how it stands and its first line.
#[derive(Debug, Clone)]
pub struct FindingRow {
    pub number: u64,
    pub class: FindingClass,
    pub subject: Subject,
    /// The statement that the subject is, or is a part of.
    pub statement_id: Option<Uuid>,
    /// The batch that brought the subject.
    pub batch_id: Option<Uuid>,
    pub period: Option<String>,
    pub requirement: Option<String>,
    /// The trail entry that opened it.
    pub sequence: u64,
    pub state: FindingState,
    pub text: String,
    pub opened_by: String,
    pub opened_at: DateTime<Utc>,
}

/// What is kept of a finding when it is opened.
#[derive(Debug)]
pub struct NewFinding<'a> {
    pub number: u64,
    pub class: FindingClass,
    pub subject: &'a Subject,
    pub statement_id: Option<Uuid>,
    pub batch_id: Option<Uuid>,
    pub period: Option<&'a str>,
    pub requirement: Option<&'a str>,
    pub sequence: u64,
}

/// Narrows a list of findings; what is absent narrows nothing.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    pub number: Option<u64>,
    /// Findings that stand in one of these.
    pub states: Option<Vec<FindingState>>,
    pub class: Option<FindingClass>,
    pub subject_kind: Option<SubjectKind>,
    pub subject_key: Option<String>,
    /// Findings after this number.
    pub after: Option<u64>,
    /// At most so many.
    pub limit: Option<u32>,
}

/// One line of a dialogue.
#[derive(Debug, Clone)]
pub struct LineRow {
    pub sequence: u64,
    pub act: Act,
    pub text: String,
    pub actor: String,
    pub at: DateTime<Utc>,
}

/// A file that a line names, and whether its bytes are kept.
#[derive(Debug, Clone)]
pub struct AttachmentRow {
    pub sequence: u64,
    pub attachment: Attachment,
    pub kept: bool,
}

/// The number that the next finding gets. To be asked under the lock of the trail.
pub async fn next_number(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<u64, StoreError> {
    let next = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "next!" from finding where programme_id = $1"#,
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(next, "finding")
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    new: &NewFinding<'_>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into finding (programme_id, number, class, subject_kind, subject_key, statement_id,
                              batch_id, period_code, requirement, sequence)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        programme_id,
        signed(new.number),
        new.class.code(),
        new.subject.kind.code(),
        new.subject.key,
        new.statement_id,
        new.batch_id,
        new.period,
        new.requirement,
        signed(new.sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Keeps one line of a dialogue with the files that it names.
pub async fn insert_line(
    connection: &mut PgConnection,
    programme_id: Uuid,
    number: u64,
    (sequence, act, text): (u64, Act, &str),
    attachments: &[Attachment],
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into finding_entry (programme_id, sequence, number, act, body)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        signed(sequence),
        signed(number),
        act.code(),
        text
    )
    .execute(&mut *connection)
    .await?;
    for (place, attachment) in (0_i32..).zip(attachments) {
        let hash =
            hex::decode(&attachment.sha256).map_err(|e| StoreError::damaged("attachment", e))?;
        sqlx::query!(
            "insert into finding_attachment (programme_id, sequence, place, sha256, file_name,
                                             media_type, size_bytes)
             values ($1, $2, $3, $4, $5, $6, $7)",
            programme_id,
            signed(sequence),
            place,
            hash,
            attachment.file_name,
            attachment.media_type,
            signed(attachment.size_bytes)
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

/// Acts after which a finding stands so.
fn acts_of(states: &[FindingState]) -> Vec<String> {
    Act::ALL
        .into_iter()
        .filter(|act| *act != Act::Commented)
        .filter(|act| states.contains(&FindingState::Open.after(*act)))
        .map(|act| act.code().to_owned())
        .collect()
}

/// Findings in the order of their numbers.
pub async fn list(
    connection: &mut PgConnection,
    programme_id: Uuid,
    wanted: &Wanted,
) -> Result<Vec<FindingRow>, StoreError> {
    let acts = wanted.states.as_deref().map(acts_of);
    let rows = sqlx::query!(
        r#"select f.number, f.class, f.subject_kind, f.subject_key, f.statement_id, f.batch_id,
                  f.period_code, f.requirement, f.sequence, last.act as "act!",
                  first.body as "body!", t.actor as "actor!", t.at as "at!"
           from finding f
           join finding_entry first using (programme_id, sequence)
           join trail_entry t using (programme_id, sequence)
           cross join lateral (
               select e.act from finding_entry e
               where e.programme_id = f.programme_id and e.number = f.number
                 and e.act <> 'commented'
               order by e.sequence desc limit 1) last
           where f.programme_id = $1
             and ($2::bigint is null or f.number = $2)
             and ($3::text[] is null or last.act = any($3))
             and ($4::text is null or f.class = $4)
             and ($5::text is null or f.subject_kind = $5)
             and ($6::text is null or f.subject_key = $6)
             and ($7::bigint is null or f.number > $7)
           order by f.number limit $8"#,
        programme_id,
        wanted.number.map(signed),
        acts.as_deref(),
        wanted.class.map(FindingClass::code),
        wanted.subject_kind.map(SubjectKind::code),
        wanted.subject_key,
        wanted.after.map(signed),
        wanted.limit.map(i64::from)
    )
    .fetch_all(connection)
    .await?;
    let damaged = || StoreError::damaged("finding", "a code of it is unknown");
    rows.into_iter()
        .map(|row| {
            let act = Act::from_code(&row.act).ok_or_else(damaged)?;
            Ok(FindingRow {
                number: unsigned(row.number, "finding")?,
                class: FindingClass::from_code(&row.class).ok_or_else(damaged)?,
                subject: Subject {
                    kind: SubjectKind::from_code(&row.subject_kind).ok_or_else(damaged)?,
                    key: row.subject_key,
                },
                statement_id: row.statement_id,
                batch_id: row.batch_id,
                period: row.period_code,
                requirement: row.requirement,
                sequence: unsigned(row.sequence, "finding")?,
                state: FindingState::Open.after(act),
                text: row.body,
                opened_by: row.actor,
                opened_at: row.at,
            })
        })
        .collect()
}

/// How many findings are not closed.
pub async fn count_unclosed(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<u64, StoreError> {
    let count = sqlx::query_scalar!(
        r#"select count(*) as "count!" from (
               select distinct on (number) act from finding_entry
               where programme_id = $1 and act <> 'commented'
               order by number, sequence desc) last
           where act <> 'closed'"#,
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(count, "finding")
}

/// The lines of a dialogue, in trail order.
pub async fn dialogue(
    connection: &mut PgConnection,
    programme_id: Uuid,
    number: u64,
) -> Result<Vec<LineRow>, StoreError> {
    let rows = sqlx::query!(
        "select e.sequence, e.act, e.body, t.actor, t.at
         from finding_entry e join trail_entry t using (programme_id, sequence)
         where e.programme_id = $1 and e.number = $2 order by e.sequence",
        programme_id,
        signed(number)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(LineRow {
                sequence: unsigned(row.sequence, "finding")?,
                act: Act::from_code(&row.act)
                    .ok_or_else(|| StoreError::damaged("finding", "an act of it is unknown"))?,
                text: row.body,
                actor: row.actor,
                at: row.at,
            })
        })
        .collect()
}

/// The files that a dialogue names, in order.
pub async fn attachments(
    connection: &mut PgConnection,
    programme_id: Uuid,
    number: u64,
) -> Result<Vec<AttachmentRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select a.sequence, a.sha256, a.file_name, a.media_type, a.size_bytes,
                  exists (select from attachment_content c
                          where c.programme_id = a.programme_id and c.sha256 = a.sha256) as "kept!"
           from finding_attachment a join finding_entry e using (programme_id, sequence)
           where a.programme_id = $1 and e.number = $2 order by a.sequence, a.place"#,
        programme_id,
        signed(number)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(AttachmentRow {
                sequence: unsigned(row.sequence, "attachment")?,
                attachment: Attachment {
                    sha256: hex::encode(row.sha256),
                    file_name: row.file_name,
                    media_type: row.media_type,
                    size_bytes: unsigned(row.size_bytes, "attachment")?,
                },
                kept: row.kept,
            })
        })
        .collect()
}

/// Keeps the bytes of an attachment; bytes that are kept already stay as they are.
pub async fn insert_content(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sha256: &[u8],
    content: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into attachment_content (programme_id, sha256, content) values ($1, $2, $3)
         on conflict do nothing",
        programme_id,
        sha256,
        content
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The bytes of an attachment, where they are kept.
pub async fn content(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sha256: &[u8],
) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select content from attachment_content where programme_id = $1 and sha256 = $2",
        programme_id,
        sha256
    )
    .fetch_optional(connection)
    .await?)
}
