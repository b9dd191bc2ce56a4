//! What is in a database, table by table, so that "nothing changed" can be said of all of it.

use sqlx::{AssertSqlSafe, PgPool, Row};
use std::collections::BTreeMap;

/// Rows of each table, and a digest over what they hold.
pub type Census = BTreeMap<String, (i64, String)>;

/// Counts and digests of every table. Left out is what reading and refusing leave behind: the
/// kept checkpoints, the day of a token's last use, the denials, the refused files that wait.
pub async fn census(pool: &PgPool) -> Census {
    let tables: Vec<String> = sqlx::query_scalar(
        "select table_name::text from information_schema.tables
         where table_schema = 'public' and table_type = 'BASE TABLE'
           and table_name not in ('_sqlx_migrations', 'checkpoint', 'token_use', 'denial', 'rejected_file')",
    )
    .fetch_all(pool)
    .await
    .expect("the tables");
    assert!(tables.len() > 15, "{tables:?}");
    let mut census = Census::new();
    for table in tables {
        let sql = format!(
            "select count(*), coalesce(md5(string_agg(t::text, '|' order by t::text)), '')
             from \"{table}\" t"
        );
        let row = sqlx::query(AssertSqlSafe(sql))
            .fetch_one(pool)
            .await
            .expect("a count");
        census.insert(table, (row.get(0), row.get(1)));
    }
    census
}

/// Temporary tables of any connection: a finished upload leaves none.
pub async fn staging_tables(pool: &PgPool) -> i64 {
    sqlx::query_scalar("select count(*) from pg_class where relname = 'staged'")
        .fetch_one(pool)
        .await
        .expect("a count")
}
