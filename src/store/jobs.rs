//! Jobs: the list that workers take from, and what became of each.
//!
//! Leases are told by the database's clock, so that servers with clocks of their own agree.
//! Taking and keeping a job runs as the owner of the tables, for a worker belongs to no
//! programme; what the job does runs behind the second wall.

use super::uploads::Beginner;
use super::{StoreError, signed, unsigned};
use chrono::{DateTime, Utc};
use sqlx::{PgConnection, PgPool};
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct JobRow {
    pub job_id: Uuid,
    pub place: u64,
    pub kind: String,
    pub request: String,
    pub state: String,
    pub who: String,
    pub created_at: DateTime<Utc>,
    pub started_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
    pub cancel_asked: bool,
    pub progress: ProgressRow,
    pub result: Option<String>,
    pub problem: Option<String>,
}

#[derive(Debug, Clone, Copy, Default)]
pub struct ProgressRow {
    pub rows_read: u64,
    pub rows_checked: u64,
    pub rows_written: u64,
    pub percent: u8,
}

/// A job in a worker's hands.
#[derive(Debug, Clone)]
pub struct TakenRow {
    pub programme_id: Uuid,
    pub programme_code: String,
    pub programme_name: String,
    pub job_id: Uuid,
    pub kind: String,
    pub request: String,
    pub takings: i32,
    pub cancel_asked: bool,
    pub by: Beginner,
}

/// Which jobs a caller may see; `None` = all of the programme.
#[derive(Debug, Clone, Copy)]
pub struct Sight<'a> {
    pub role: Option<&'a str>,
    pub sites: Option<&'a [String]>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    job_id: Uuid,
    kind: &str,
    request: &str,
    by: &Beginner,
    created_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into job (programme_id, job_id, kind, request, state, holder_kind, holder_id,
                          label, role, sites, created_at)
         values ($1, $2, $3, $4, 'waiting', $5, $6, $7, $8, $9, $10)",
        programme_id,
        job_id,
        kind,
        request,
        by.holder_kind,
        by.holder_id,
        by.label,
        by.role,
        by.sites.as_deref(),
        created_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// A page of jobs, the latest first; `one` picks a single one.
pub async fn list(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sight: Sight<'_>,
    one: Option<Uuid>,
    before: Option<u64>,
    limit: u32,
) -> Result<Vec<JobRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select job_id, place, kind, request, state, role || ': ' || label as "who!", created_at,
                  started_at, ended_at, cancel_asked, rows_read, rows_checked, rows_written,
                  percent, result, problem
           from job
           where programme_id = $1
             and ($2::text is null or (role = $2 and sites is not distinct from $3))
             and ($4::uuid is null or job_id = $4)
             and ($5::bigint is null or place < $5)
           order by place desc limit $6"#,
        programme_id,
        sight.role,
        sight.sites,
        one,
        before.map(signed),
        i64::from(limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(JobRow {
                job_id: row.job_id,
                place: unsigned(row.place, "job")?,
                kind: row.kind,
                request: row.request,
                state: row.state,
                who: row.who,
                created_at: row.created_at,
                started_at: row.started_at,
                ended_at: row.ended_at,
                cancel_asked: row.cancel_asked,
                progress: ProgressRow {
                    rows_read: unsigned(row.rows_read, "job")?,
                    rows_checked: unsigned(row.rows_checked, "job")?,
                    rows_written: unsigned(row.rows_written, "job")?,
                    percent: u8::try_from(row.percent)
                        .map_err(|e| StoreError::damaged("job", e))?,
                },
                result: row.result,
                problem: row.problem,
            })
        })
        .collect()
}

/// Asks a job to stop: one that waits has ended, one that runs is told by its worker.
/// False where it has ended already.
pub async fn ask_to_cancel(
    connection: &mut PgConnection,
    programme_id: Uuid,
    job_id: Uuid,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update job set cancel_asked = true,
                        state = case when state = 'waiting' then 'cancelled' else state end,
                        ended_at = case when state = 'waiting' then $3 else ended_at end
         where programme_id = $1 and job_id = $2 and state in ('waiting', 'running')",
        programme_id,
        job_id,
        now
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes the oldest job that waits, or whose worker has let its lease end. Two workers never
/// take the same one.
pub async fn take(
    pool: &PgPool,
    lease_seconds: f64,
    now: DateTime<Utc>,
) -> Result<Option<TakenRow>, StoreError> {
    let row = sqlx::query!(
        "with next as (
             select programme_id, job_id from job
             where (state = 'waiting' and (lease_until is null or lease_until < clock_timestamp()))
                or (state = 'running' and lease_until < clock_timestamp())
             order by place limit 1 for update skip locked)
         update job j
         set state = 'running', takings = takings + 1, started_at = coalesce(started_at, $2),
             lease_until = clock_timestamp() + make_interval(secs => $1)
         from next, programme p
         where j.programme_id = next.programme_id and j.job_id = next.job_id
           and p.programme_id = j.programme_id
         returning j.programme_id, p.code, p.name, j.job_id, j.kind, j.request, j.takings,
                   j.cancel_asked, j.holder_kind, j.holder_id, j.label, j.role, j.sites",
        lease_seconds,
        now
    )
    .fetch_optional(pool)
    .await?;
    Ok(row.map(|row| TakenRow {
        programme_id: row.programme_id,
        programme_code: row.code,
        programme_name: row.name,
        job_id: row.job_id,
        kind: row.kind,
        request: row.request,
        takings: row.takings,
        cancel_asked: row.cancel_asked,
        by: Beginner {
            holder_kind: row.holder_kind,
            holder_id: row.holder_id,
            label: row.label,
            role: row.role,
            sites: row.sites,
        },
    }))
}

/// Renews the lease and notes the progress. Answers whether the job is to stop; `None` where
/// it is this worker's no more.
pub async fn keep(
    pool: &PgPool,
    job: &TakenRow,
    lease_seconds: f64,
    progress: ProgressRow,
) -> Result<Option<bool>, StoreError> {
    Ok(sqlx::query_scalar!(
        "update job set lease_until = clock_timestamp() + make_interval(secs => $4),
                        rows_read = $5, rows_checked = $6, rows_written = $7, percent = $8
         where programme_id = $1 and job_id = $2 and takings = $3 and state = 'running'
         returning cancel_asked",
        job.programme_id,
        job.job_id,
        job.takings,
        lease_seconds,
        signed(progress.rows_read),
        signed(progress.rows_checked),
        signed(progress.rows_written),
        i16::from(progress.percent)
    )
    .fetch_optional(pool)
    .await?)
}

/// How a job ended.
#[derive(Debug)]
pub struct EndRow {
    /// `succeeded`, `failed` or `cancelled`.
    pub state: &'static str,
    pub result: Option<String>,
    pub problem: Option<String>,
    pub progress: ProgressRow,
}

/// Ends a job that is still this worker's.
pub async fn end(
    pool: &PgPool,
    job: &TakenRow,
    end: &EndRow,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update job set state = $4, ended_at = $5, lease_until = null, result = $6, problem = $7,
                        rows_read = $8, rows_checked = $9, rows_written = $10, percent = $11
         where programme_id = $1 and job_id = $2 and takings = $3 and state = 'running'",
        job.programme_id,
        job.job_id,
        job.takings,
        end.state,
        now,
        end.result,
        end.problem,
        signed(end.progress.rows_read),
        signed(end.progress.rows_checked),
        signed(end.progress.rows_written),
        i16::from(end.progress.percent)
    )
    .execute(pool)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Puts a job back, to be taken again in `seconds`.
pub async fn put_back(pool: &PgPool, job: &TakenRow, seconds: f64) -> Result<(), StoreError> {
    sqlx::query!(
        "update job set state = 'waiting',
                        lease_until = clock_timestamp() + make_interval(secs => $4)
         where programme_id = $1 and job_id = $2 and takings = $3 and state = 'running'",
        job.programme_id,
        job.job_id,
        job.takings,
        seconds
    )
    .execute(pool)
    .await?;
    Ok(())
}
