//! The second wall: under the service's role the database itself keeps programmes apart.

use crate::support::database;
use crate::support::programme::create_programme;
use crate::support::seeded::seeded_programme;
use emberbook::config::RowSecurity;
use emberbook::store::wall::SERVICE_ROLE;
use emberbook::store::{StoreError, prepare};
use sqlx::{AssertSqlSafe, PgConnection, PgPool};

/// SQL's insufficient_privilege: of a right that was not given, and of row-level security.
const NOT_ALLOWED: &str = "42501";

/// Every table there is, and whether a programme keys it.
async fn tables(pool: &PgPool) -> Vec<(String, bool)> {
    sqlx::query_as(
        "select c.relname::text, exists (select from pg_attribute a where a.attrelid = c.oid
                                         and a.attname = 'programme_id' and not a.attisdropped)
         from pg_class c
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p', 'v', 'm')
         order by 1",
    )
    .fetch_all(pool)
    .await
    .expect("the tables")
}

async fn count(connection: &mut PgConnection, sql: &str) -> Result<i64, String> {
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned()))
        .fetch_one(connection)
        .await
        .map_err(|error| code_of(&error))
}

fn code_of(error: &sqlx::Error) -> String {
    let answer = error
        .as_database_error()
        .expect("an answer of the database");
    answer.code().expect("a code").into_owned()
}

/// Runs one statement under the service's role, set to a programme; nothing of it is kept.
async fn behind_the_wall(pool: &PgPool, programme: &str, sql: &str) -> Result<u64, String> {
    let mut transaction = pool.begin().await.expect("a transaction");
    stand_behind(&mut transaction, programme).await;
    sqlx::raw_sql(AssertSqlSafe(sql.to_owned()))
        .execute(&mut *transaction)
        .await
        .map(|done| done.rows_affected())
        .map_err(|error| code_of(&error))
}

async fn stand_behind(connection: &mut PgConnection, programme: &str) {
    let sql =
        format!("set local role {SERVICE_ROLE}; set local emberbook.programme = '{programme}'");
    sqlx::raw_sql(AssertSqlSafe(sql))
        .execute(connection)
        .await
        .expect("the role");
}

async fn count_behind_the_wall(pool: &PgPool, programme: &str, sql: &str) -> Result<i64, String> {
    let mut transaction = pool.begin().await.expect("a transaction");
    stand_behind(&mut transaction, programme).await;
    count(&mut transaction, sql).await
}

#[tokio::test]
async fn no_table_shows_or_takes_rows_of_another_programme() {
    let programme = seeded_programme().await;
    let pool = &programme.app.pool;
    let own = programme.created["programme"]["id"]
        .as_str()
        .expect("an id");
    let second = create_programme(&programme.app, "second-isles").await;
    let other = second["programme"]["id"].as_str().expect("an id");
    let mut owner = pool.acquire().await.expect("a connection");
    let (mut keyed, mut shown) = (0, 0);
    for (table, has_key) in tables(pool).await {
        let all = format!("select count(*) from {table}");
        if !has_key {
            // What belongs to no programme is not the service's to see.
            let refused = count_behind_the_wall(pool, own, &all).await;
            assert_eq!(refused, Err(NOT_ALLOWED.to_owned()), "{table}");
            continue;
        }
        keyed += 1;
        let of_own = format!("{all} where programme_id = '{own}'");
        let rows = count(&mut owner, &of_own).await.expect("a count");
        shown += i64::from(rows > 0);
        // Set to its own programme the service sees them all, and them alone.
        assert_eq!(
            count_behind_the_wall(pool, own, &all).await,
            Ok(rows),
            "{table}"
        );
        assert_eq!(
            count_behind_the_wall(pool, other, &of_own).await,
            Ok(0),
            "{table}"
        );
        assert_eq!(
            count_behind_the_wall(pool, "", &all).await,
            Ok(0),
            "{table} without a programme"
        );
        let row = format!(
            "insert into {table} select * from json_populate_record(null::{table},
             json_build_object('programme_id', '{own}'))"
        );
        let refused = behind_the_wall(pool, other, &row).await;
        assert_eq!(
            refused,
            Err(NOT_ALLOWED.to_owned()),
            "an insert into {table}"
        );
        for change in [
            format!("update {table} set programme_id = programme_id where programme_id = '{own}'"),
            format!("delete from {table} where programme_id = '{own}'"),
        ] {
            let outcome = behind_the_wall(pool, other, &change).await;
            let kept = matches!(&outcome, Ok(0)) || outcome == Err(NOT_ALLOWED.to_owned());
            assert!(kept, "{change}: {outcome:?}");
        }
    }
    println!("{keyed} tables keyed by a programme, {shown} of them with rows to hide");
    assert!(keyed >= 25 && shown >= 15, "{keyed} {shown}");
}

#[tokio::test]
async fn the_services_role_changes_no_schema_and_no_recorded_row_and_founds_no_programme() {
    let programme = seeded_programme().await;
    let pool = &programme.app.pool;
    let own = programme.created["programme"]["id"]
        .as_str()
        .expect("an id");
    for sql in [
        "create table mine (a integer)".to_owned(),
        "alter table household disable row level security".to_owned(),
        "drop policy own_programme on household".to_owned(),
        "alter table household disable trigger append_only".to_owned(),
        "update household set site_code = site_code".to_owned(),
        "delete from trail_entry".to_owned(),
        "truncate denial".to_owned(),
        "update programme set name = 'x'".to_owned(),
        format!("insert into programme select '{own}', 'x-isles', 'x', now()"),
        "select * from operator_token".to_owned(),
        "create role mine".to_owned(),
    ] {
        let refused = behind_the_wall(pool, own, &sql).await;
        assert_eq!(refused, Err(NOT_ALLOWED.to_owned()), "{sql}");
    }
}

#[tokio::test]
async fn where_the_operator_sees_to_it_the_service_works_as_the_user_that_it_is() {
    let programme = seeded_programme().await;
    let service = programme.app.service.clone();
    let service = service.with_row_security(RowSecurity::Operator);
    let caller = service.caller_by_token(&programme.manager_secret).await;
    let caller = caller.expect("a caller");
    assert_eq!(service.sites(&caller).await.expect("the sites").len(), 3);
    assert!(service.checkpoint(&caller, None).await.is_ok());
}

#[tokio::test]
async fn a_user_who_may_not_take_the_role_is_told_so_unless_the_operator_sees_to_it() {
    let (name, pool) = database::of_a_plain_user().await;
    let refused = prepare(&pool, RowSecurity::Service).await.err();
    let told = match refused {
        Some(error @ StoreError::NoServiceRole(_)) => error.to_string(),
        other => panic!("{other:?}"),
    };
    for word in [
        "row-level security",
        SERVICE_ROLE,
        "EMBERBOOK_ROW_SECURITY=operator",
    ] {
        assert!(told.contains(word), "{told}");
    }
    prepare(&pool, RowSecurity::Operator)
        .await
        .expect("the operator sees to it");
    database::admin(&format!("grant {SERVICE_ROLE} to \"{name}\"")).await;
    prepare(&pool, RowSecurity::Service)
        .await
        .expect("now it may");
    pool.close().await;
    database::drop_plain_user(&name).await;
}
