//! A corrected row frees its place or keeps it; a standing row's place is never taken twice.

use super::{exclude, id, replacement, send, supersede, withdraw};
use crate::batches::rows;
use crate::support::{TestProgramme, census};
use serde_json::json;

const ANSWER: &str = "HH-1,S-1,2025-09-03,not_in_use,,";

#[tokio::test]
async fn a_superseded_row_stays_and_the_new_one_is_a_batch_of_its_own() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let batch = send(&programme, "usage_survey", Some("usage"), &[ANSWER]).await;
    let head = manager.get("/trail/entries?limit=1000").await.ok(200);
    let before = head.as_array().expect("entries").len();

    let cells = json!({"outcome": "in_use", "days_used_last_week": 6});
    let done = supersede(&programme, &batch, 2, cells.clone())
        .await
        .ok(201);
    assert_eq!(done["kind"], "superseded");
    assert_eq!(done["sequence"], before);
    assert_eq!(done["reason"], "The sheet was misread.");
    let new = replacement(&done);
    let entry = manager
        .get(&format!("/trail/entries/{before}"))
        .await
        .ok(200);
    assert_eq!(entry["kind"], "row-superseded");
    assert_eq!(entry["reason"], "The sheet was misread.");
    assert_eq!(entry["content"]["batch"], batch.as_str());
    assert_eq!(entry["content"]["replacement"]["id"], new.as_str());

    // Both rows are read, the new one with the cells that were not named.
    let old_rows = manager.get(&format!("/batches/{batch}/rows")).await.ok(200);
    assert_eq!(old_rows[0]["cells"]["outcome"], "not_in_use");
    assert_eq!(old_rows[0]["corrected"], done);
    let new_rows = manager.get(&format!("/batches/{new}/rows")).await.ok(200);
    assert_eq!(new_rows[0]["cells"]["outcome"], "in_use");
    assert_eq!(new_rows[0]["cells"]["serial"], "S-1");
    assert!(new_rows[0].get("corrected").is_none());
    let batch_of_new = manager.get(&format!("/batches/{new}")).await.ok(200);
    assert_eq!(batch_of_new["round"], "usage");
    assert_eq!(batch_of_new["rows"], 1);
    manager
        .get(&format!("/batches/{new}/rows/2/proof"))
        .await
        .ok(200);

    // Earlier positions show what stood then.
    let as_of = format!("/batches/{batch}/rows?as_of={before}");
    let then = manager.get(&as_of).await.ok(200);
    assert!(then[0].get("corrected").is_none());
    let then = manager
        .get(&format!("/batches?as_of={before}"))
        .await
        .ok(200);
    let now = manager.get("/batches").await.ok(200);
    let count = |list: &serde_json::Value| list.as_array().expect("a list").len();
    assert_eq!(count(&now), count(&then) + 1);
    manager
        .get(&format!("/batches/{new}/rows?as_of={before}"))
        .await
        .problem(404, "not-found");

    let refused = census(&programme.app.pool).await;
    supersede(&programme, &batch, 2, cells)
        .await
        .problem(409, "superseded-already");
    exclude(&programme, &batch, 2)
        .await
        .problem(409, "superseded-already");
    let refusal = withdraw(&programme, &batch).await;
    let problem = refusal.problem(409, "rows-superseded");
    let detail = problem["detail"].as_str().expect("a text");
    let named = format!("line 2 of batch {new} in place of line 2");
    assert!(detail.contains(&named), "{detail}");
    let same = json!({"days_used_last_week": "6"});
    supersede(&programme, &new, 2, same)
        .await
        .problem(409, "same-values");
    let odd = supersede(&programme, &new, 2, json!({"weather": "dry"})).await;
    odd.problem(422, "invalid-fields");
    let late = supersede(&programme, &new, 2, json!({"surveyed_on": "2026-01-01"})).await;
    let problem = late.problem(422, "invalid-fields");
    assert_eq!(problem["errors"][0]["field"], "surveyed_on");
    supersede(&programme, &new, 3, json!({}))
        .await
        .problem(404, "not-found");
    for reason in ["", "   ", "two\nlines", &"long ".repeat(101)] {
        let body = json!({"reason": reason});
        let path = format!("/batches/{new}/rows/2/exclude");
        manager
            .post(&path, &body)
            .await
            .problem(422, "invalid-fields");
    }
    assert_eq!(census(&programme.app.pool).await, refused);

    let list = manager.get("/corrections").await.ok(200);
    assert_eq!(list["items"], json!([done]));
    let list = manager
        .get(&format!("/corrections?as_of={before}"))
        .await
        .ok(200);
    assert_eq!(list["items"], json!([]));
}

#[tokio::test]
async fn a_withdrawn_file_may_be_sent_again_and_a_standing_row_is_never_doubled() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let file = || {
        rows(
            "usage_survey",
            &[ANSWER, "HH-2,S-2,2025-09-04,in_use,7,0.9"],
        )
    };
    let upload = async || manager.upload("usage_survey", Some("usage"), file()).await;
    let mut earlier = Vec::new();
    for _ in 0..3 {
        let batch = upload().await.ok(201);
        assert_eq!(upload().await.ok(200)["id"], batch["id"]);
        // A row that stands keeps its place, whatever stood in it before.
        let other = manager
            .upload(
                "usage_survey",
                Some("usage"),
                rows("usage_survey", &["HH-1,S-1,2025-09-09,in_use,1,"]),
            )
            .await;
        let problem = other.problem(422, "rejected-batch");
        assert_eq!(problem["rejections"][0]["code"], "duplicate_row");
        let done = withdraw(&programme, &id(&batch)).await.ok(201);
        let known = manager
            .get(&format!("/batches/{}", id(&batch)))
            .await
            .ok(200);
        assert_eq!(known["withdrawn_by"], done["sequence"]);
        withdraw(&programme, &id(&batch))
            .await
            .problem(409, "withdrawn-already");
        exclude(&programme, &id(&batch), 2)
            .await
            .problem(409, "withdrawn-already");
        assert!(!earlier.contains(&id(&batch)));
        earlier.push(id(&batch));
    }
    // An excluded row keeps its place: it is put right, not sent again.
    let batch = id(&upload().await.ok(201));
    exclude(&programme, &batch, 2).await.ok(201);
    exclude(&programme, &batch, 2)
        .await
        .problem(409, "excluded-already");
    let again = manager
        .upload(
            "usage_survey",
            Some("usage"),
            rows("usage_survey", &["HH-1,S-1,2025-09-09,in_use,1,"]),
        )
        .await;
    again.problem(422, "rejected-batch");
    supersede(&programme, &batch, 2, json!({"surveyed_on": "2025-09-05"}))
        .await
        .ok(201);
}

#[tokio::test]
async fn of_many_at_the_same_moment_one_takes_a_free_place() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let batch = send(&programme, "usage_survey", Some("usage"), &[ANSWER]).await;
    let supersedes = (1..=6).map(|days| {
        let (programme, batch) = (&programme, &batch);
        async move {
            let cells = json!({"outcome": "in_use", "days_used_last_week": days});
            supersede(programme, batch, 2, cells).await
        }
    });
    let answers = futures_util::future::join_all(supersedes).await;
    let done: Vec<_> = answers
        .iter()
        .filter(|answer| answer.status == 201)
        .collect();
    assert_eq!(done.len(), 1);
    for answer in answers.iter().filter(|answer| answer.status != 201) {
        answer.problem(409, "superseded-already");
    }

    withdraw(&programme, &replacement(&done[0].json()))
        .await
        .ok(201);
    let uploads = (1..=6).map(|days| {
        let row = format!("HH-1,S-1,2025-09-03,in_use,{days},");
        let file = rows("usage_survey", &[&row]);
        programme
            .manager
            .upload("usage_survey", Some("usage"), file)
    });
    let answers = futures_util::future::join_all(uploads).await;
    let taken = answers.iter().filter(|answer| answer.status == 201).count();
    assert_eq!(taken, 1);
    for answer in answers.iter().filter(|answer| answer.status != 201) {
        answer.problem(422, "rejected-batch");
    }
}

#[tokio::test]
async fn the_database_itself_refuses_a_second_standing_row() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let batch = send(&programme, "usage_survey", Some("usage"), &[ANSWER]).await;
    supersede(
        &programme,
        &batch,
        2,
        json!({"outcome": "in_use", "days_used_last_week": 3}),
    )
    .await
    .ok(201);
    // By hand, beside the program: the generation that stands is taken, the one before too.
    for generation in [0, 1] {
        let sql = format!(
            "insert into usage_answer
             select programme_id, round_code, household_code, serial, surveyed_on, outcome,
                    days_used_last_week, share_of_meals, batch_id, 99, sequence, row_hash, {generation}
             from usage_answer where generation = 0"
        );
        let refused = sqlx::raw_sql(sqlx::AssertSqlSafe(sql))
            .execute(&programme.app.pool)
            .await;
        let error = refused.expect_err("it is refused");
        let constraint = error
            .as_database_error()
            .and_then(|e| e.constraint().map(str::to_owned));
        assert_eq!(constraint.as_deref(), Some("usage_answer_taken"));
    }
}

#[tokio::test]
async fn only_managers_correct_and_a_repeat_with_its_key_is_harmless() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let batch = send(&programme, "usage_survey", Some("usage"), &[ANSWER]).await;
    let path = format!("/batches/{batch}/rows/2/exclude");
    let body = json!({"reason": "The household moved away in the week."});
    for role in ["monitor", "verifier"] {
        let client = programme.client_of(role).await;
        client.post(&path, &body).await.problem(403, "forbidden");
    }
    let first = programme
        .manager
        .post_once(&path, &body, "k-1")
        .await
        .ok(201);
    let repeat = programme
        .manager
        .post_once(&path, &body, "k-1")
        .await
        .ok(201);
    assert_eq!(repeat, first);
    let other = programme
        .manager
        .post_once(&format!("/batches/{batch}/withdraw"), &body, "k-1")
        .await;
    other.problem(409, "key-reused");
}
