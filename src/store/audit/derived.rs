//! What the database works out of other rows by itself, worked out again and compared.

use crate::intake::BatchKind;
use crate::store::StoreError;
use crate::store::staging::{key, table};
use sqlx::{AssertSqlSafe, PgConnection};
use uuid::Uuid;

/// A row that is not what it should be: its key, and what is wrong.
pub type Derived = (String, String);

/// Rows whose generation is not the count of rows that left their key before them.
pub async fn wrong_generations(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
) -> Result<Vec<Derived>, StoreError> {
    let (key, table) = (key(kind), table(kind));
    let same = |left: &str, right: &str| -> String {
        let pair = |column: &str| format!("{left}.{column} = {right}.{column}");
        key.split(", ").map(pair).collect::<Vec<_>>().join(" and ")
    };
    let sql = format!(
        "with gone as materialized (
             select {key}, t.batch_id, t.line, min(c.sequence) as left_at
             from correction c
             join {table} t on t.programme_id = c.programme_id and t.batch_id = c.batch_id
                           and (c.line is null or c.line = t.line)
             where c.programme_id = $1 and c.kind <> 'excluded'
             group by {key}, t.batch_id, t.line)
         select r.batch_id::text || '/' || r.line, 'generation is ' || r.generation || ', but ' || due.rows
                || ' row(s) held its key before and were corrected'
         from {table} r
         cross join lateral (
             select count(*) as rows from gone g
             where {same} and g.left_at <= r.sequence and (g.batch_id, g.line) <> (r.batch_id, r.line)) due
         where r.programme_id = $1 and (r.generation <> 0 or exists (select from gone g where {same}))
           and r.generation <> due.rows
         order by 1",
        key = key.split(", ").map(|c| format!("t.{c}")).collect::<Vec<_>>().join(", "),
        same = same("g", "r"),
    );
    Ok(sqlx::query_as(AssertSqlSafe(sql))
        .bind(programme_id)
        .fetch_all(connection)
        .await?)
}

/// Rows of `known_household` that the households do not give, and those that are missing.
pub async fn wrong_known_households(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<Derived>, StoreError> {
    Ok(sqlx::query_as(
        "select coalesce(k.household_code, h.household_code),
                case when h.household_code is null then 'no household was recorded under this code'
                     else 'it is missing, though the household is recorded' end
         from (select household_code, count(*) as rows from known_household
               where programme_id = $1 group by household_code) k
         full join (select distinct household_code from household where programme_id = $1) h
              on h.household_code = k.household_code
         where k.household_code is null or h.household_code is null or k.rows > 1
         order by 1",
    )
    .bind(programme_id)
    .fetch_all(connection)
    .await?)
}

/// Rows of `deployment_span` that the standing deployments do not give, and missing ones.
pub async fn wrong_spans(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<Derived>, StoreError> {
    Ok(sqlx::query_as(
        "with due as materialized (
             select d.serial, d.installed_on, d.household_code, coalesce(d.second_stove, false) as second_stove,
                    case when d.installed_on > coalesce(d.ended_on, e.ended_on, 'infinity') then null
                         else daterange(d.installed_on, coalesce(d.ended_on, e.ended_on)) end as span,
                    d.batch_id, d.line
             from standing_deployment($1) d
             left join (select serial, installed_on, min(ended_on) as ended_on
                        from standing_deployment_end($1) group by serial, installed_on) e
                  on e.serial = d.serial and e.installed_on = d.installed_on),
         kept as materialized (
             select serial, installed_on, household_code, second_stove, span, batch_id, line
             from deployment_span where programme_id = $1)
         select w.serial || '/' || w.installed_on, w.problem from (
             select serial, installed_on, 'it is not what the deployments and their ends give' as problem
             from (select * from kept except all select * from due) extra
             union select serial, installed_on, 'the deployments and their ends give another, or it is missing'
             from (select * from due except all select * from kept) missing) w
         order by 1",
    )
    .bind(programme_id)
    .fetch_all(connection)
    .await?)
}

/// Kept files whose bytes are not those of their hash, or that no finding names.
pub async fn wrong_attachments(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<Derived>, StoreError> {
    Ok(sqlx::query_as(
        "select encode(k.sha256, 'hex'),
                case when sha256(k.content) <> k.sha256 then 'its bytes do not hash to its key'
                     else 'no finding names it' end
         from attachment_content k
         where k.programme_id = $1
           and (sha256(k.content) <> k.sha256
                or not exists (select from finding_attachment a
                               where a.programme_id = k.programme_id and a.sha256 = k.sha256))
         order by 1",
    )
    .bind(programme_id)
    .fetch_all(connection)
    .await?)
}

/// Findings on a household or deployment whose batch did not bring it.
pub async fn wrong_finding_batches(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<Derived>, StoreError> {
    Ok(sqlx::query_as(
        "select f.number::text, 'batch_id is not a batch that brought its ' || f.subject_kind
         from finding f
         where f.programme_id = $1 and f.subject_kind in ('household', 'deployment')
           and not exists (select from household h
                           where h.programme_id = f.programme_id and h.batch_id = f.batch_id
                             and f.subject_kind = 'household' and h.household_code = f.subject_key)
           and not exists (select from deployment d
                           where d.programme_id = f.programme_id and d.batch_id = f.batch_id
                             and f.subject_kind = 'deployment'
                             and d.serial || '/' || d.installed_on::text = f.subject_key)
         order by 1",
    )
    .bind(programme_id)
    .fetch_all(connection)
    .await?)
}

/// Rounds that a table has rows of, and that are not among these.
pub async fn rounds_beside(
    connection: &mut PgConnection,
    programme_id: Uuid,
    table: &'static str,
    known: &[String],
) -> Result<Vec<String>, StoreError> {
    let sql = format!(
        "select distinct round_code from {table}
         where programme_id = $1 and round_code <> all ($2) order by 1"
    );
    Ok(sqlx::query_scalar(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(known)
        .fetch_all(connection)
        .await?)
}
