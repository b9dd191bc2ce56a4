//! The database itself refuses what the program never does: changing what is recorded.

use crate::findings::raise_with_file;
use crate::flags::planted_flag;
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, TestProgramme, census, seeded};
use sqlx::postgres::PgDatabaseError;
use sqlx::{AssertSqlSafe, PgPool};

/// Every table that may only grow, with a column of it.
const APPEND_ONLY: [(&str, &str); 40] = [
    ("denial", "why"),
    ("column_mapping", "columns"),
    ("trail_entry", "actor"),
    ("trail_node", "hash"),
    ("checkpoint", "note"),
    ("cosignature", "line"),
    ("site", "name"),
    ("stove_model", "name"),
    ("round", "design"),
    ("round_step", "body"),
    ("round_frame_unit", "site_code"),
    ("round_draw_unit", "hash"),
    ("batch", "file_name"),
    ("household", "site_code"),
    ("deployment", "serial"),
    ("deployment_end", "end_reason"),
    ("usage_answer", "outcome"),
    ("kitchen_day", "moisture_wb"),
    ("char_weighing", "fate"),
    ("baseline_survey_answer", "fuel_wet_kg_per_day"),
    ("cooking_test", "food_kg"),
    ("stove_test", "water_end_kg"),
    ("char_lab_result", "hydrogen"),
    ("moisture_reading", "moisture_wb"),
    ("flag", "sentence"),
    ("flag_row", "line"),
    ("flag_disposition", "reason"),
    ("correction", "line"),
    ("known_household", "household_code"),
    ("factor", "body"),
    ("methodology", "body"),
    ("monitoring_period", "ends_on"),
    ("period_close", "sequence"),
    ("statement", "content_hash"),
    ("finding", "class"),
    ("finding_entry", "body"),
    ("finding_attachment", "file_name"),
    ("attachment_content", "content"),
    ("uploaded_file", "size_bytes"),
    ("uploaded_file_part", "content"),
];

/// Code and constraint of the error that a statement ends in.
async fn refusal(pool: &PgPool, sql: &str) -> (String, String) {
    let outcome = sqlx::raw_sql(AssertSqlSafe(sql.to_owned()))
        .execute(pool)
        .await;
    let error = outcome.err().unwrap_or_else(|| panic!("taken: {sql}"));
    let error = error
        .into_database_error()
        .expect("an error of the database");
    let error = error.downcast_ref::<PgDatabaseError>();
    let constraint = error.constraint().unwrap_or_default();
    (error.code().to_owned(), constraint.to_owned())
}

#[tokio::test]
async fn every_recorded_row_refuses_update_delete_and_truncate() {
    let programme = seeded_programme().await;
    let close = programme
        .manager
        .post("/periods/2025/close", &serde_json::json!({}))
        .await;
    close.ok(200);
    crate::rounds::draw_a_round(&programme, "usage-2026").await;
    let batch = seeded()
        .batches
        .iter()
        .find(|(name, _)| name == "kitchen-project.csv");
    let batch = crate::corrections::id(&batch.expect("a batch").1);
    crate::corrections::exclude(&programme, &batch, 2)
        .await
        .ok(201);
    let verifier = raise_with_file(&programme, "corrective_action_request").await;
    verifier.get("/tokens").await.problem(403, "forbidden");
    let flag = planted_flag(&programme).await;
    let answer = serde_json::json!({"disposition": "stands", "reason": "read again"});
    let answered = programme
        .manager
        .post(&format!("/flags/{flag}/disposition"), &answer)
        .await;
    answered.ok(200);
    let names = serde_json::json!({"Kode": "household_code"});
    let path = "/mappings/households";
    let save = programme.manager.request(reqwest::Method::PUT, path);
    Answer::of(save.json(&names)).await.ok(200);
    crate::witnesses::cosign_the_head(&programme).await;
    let pool = &programme.app.pool;
    let before = census(pool).await;
    for (table, column) in APPEND_ONLY {
        let rows: i64 = sqlx::query_scalar(AssertSqlSafe(format!("select count(*) from {table}")))
            .fetch_one(pool)
            .await
            .expect("a count");
        assert!(rows > 0, "{table} is empty, so nothing is shown of it");
        for sql in [
            format!("update {table} set {column} = {column}"),
            format!("update {table} set {column} = {column} where false"),
            format!("delete from {table}"),
            format!("truncate {table} cascade"),
        ] {
            // 23001 is SQL's restrict_violation.
            let expected = ("23001".to_owned(), "append_only".to_owned());
            assert_eq!(refusal(pool, &sql).await, expected, "{sql}");
        }
    }
    assert_eq!(census(pool).await, before);
}

#[tokio::test]
async fn only_the_tables_that_must_change_can_change() {
    let programme = TestProgramme::start().await;
    let guarded: Vec<String> = sqlx::query_scalar(
        "select tgrelid::regclass::text from pg_trigger where tgname = 'append_only' order by 1",
    )
    .fetch_all(&programme.app.pool)
    .await
    .expect("the triggers");
    let all: Vec<String> = sqlx::query_scalar(
        "select table_name::text from information_schema.tables
         where table_schema = 'public' and table_name <> '_sqlx_migrations' order by 1",
    )
    .fetch_all(&programme.app.pool)
    .await
    .expect("the tables");
    let free: Vec<&str> = all
        .iter()
        .filter(|table| !guarded.contains(table))
        .map(String::as_str)
        .collect();
    // Access, the head of the log, repeats, work on its way, refused files that expire, and what
    // triggers derive from the register.
    let expected = [
        "access_token",
        "browser_session",
        "deployment_span",
        "idempotent_answer",
        "job",
        "operator_token",
        "person",
        "programme",
        "rejected_file",
        "token_use",
        "trail_head",
        "upload",
    ];
    assert_eq!(free, expected);
}

#[tokio::test]
async fn overlapping_deployments_are_refused_by_the_constraint_itself() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let pool = &programme.app.pool;
    let before = census(pool).await;
    let insert =
        |serial: &str, household: &str, from: &str, until: &str, second: &str, line: u32| {
            format!(
                "insert into deployment
             select programme_id, '{serial}', model_code, model_version, '{household}', {from},
                    {until}, null, {second}, batch_id, {line}, sequence, row_hash
             from deployment where serial = 'S-1'"
            )
        };
    let exclusion = |constraint: &str| ("23P01".to_owned(), constraint.to_owned());
    for (sql, constraint) in [
        (
            insert("S-1", "HH-4", "date '2025-01-01'", "null", "false", 101),
            "one_household_at_a_time",
        ),
        (
            insert(
                "S-1",
                "HH-4",
                "date '2024-01-01'",
                "date '2024-03-01'",
                "true",
                102,
            ),
            "one_household_at_a_time",
        ),
        (
            insert("S-9", "HH-1", "date '2025-01-01'", "null", "null", 103),
            "one_unmarked_stove_at_a_time",
        ),
    ] {
        assert_eq!(refusal(pool, &sql).await, exclusion(constraint), "{sql}");
    }
    let unknown = insert("S-9", "HH-77", "date '2025-01-01'", "null", "false", 104);
    assert_eq!(
        refusal(pool, &unknown).await.0,
        "23503",
        "no such household"
    );
    let backwards = insert(
        "S-9",
        "HH-4",
        "date '2025-01-01'",
        "date '2025-01-01'",
        "false",
        105,
    );
    assert_eq!(
        refusal(pool, &backwards).await,
        ("23514".to_owned(), "deployment_dates".to_owned())
    );
    assert_eq!(census(pool).await, before);
    let apart = insert(
        "S-1",
        "HH-4",
        "date '2024-01-01'",
        "date '2024-02-29'",
        "false",
        106,
    );
    let done = sqlx::raw_sql(AssertSqlSafe(apart)).execute(pool).await;
    assert_eq!(done.expect("room before the first day").rows_affected(), 1);
}
