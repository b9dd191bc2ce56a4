//! Uploads whose request does not fit: content type, kind, round.

use super::rows;
use crate::support::{Answer, TestProgramme, census};

#[tokio::test]
async fn another_content_type_is_refused_before_the_file_is_read() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let before = census(&programme.app.pool).await;
    let good = rows("households", &["HH-9,NORTH,1,1,1,0"]);
    for content_type in [
        "application/json",
        "text/plain",
        "multipart/form-data; boundary=x",
        "",
    ] {
        let request = programme
            .manager
            .request(reqwest::Method::POST, "/batches?kind=households")
            .header("Content-Type", content_type)
            .body(good.clone());
        Answer::of(request)
            .await
            .problem(415, "unsupported-media-type");
    }
    let bare = programme
        .manager
        .request(reqwest::Method::POST, "/batches?kind=households")
        .body(good);
    Answer::of(bare)
        .await
        .problem(415, "unsupported-media-type");
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn an_unknown_kind_or_an_unknown_round_is_named() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let before = census(&programme.app.pool).await;
    let manager = &programme.manager;
    let file = rows("usage_survey", &["HH-1,S-1,2025-09-10,in_use,7,0.5"]);
    let unknown_kind = manager.upload("stoves", None, file.clone()).await;
    let problem = unknown_kind.problem(422, "invalid-fields");
    assert_eq!(problem["errors"][0]["field"], "kind");
    let detail = problem["errors"][0]["detail"].as_str().expect("a sentence");
    assert!(detail.contains("usage_survey"), "{detail}");
    let unknown_round = manager.upload("usage_survey", Some("2031"), file).await;
    let problem = unknown_round.problem(404, "not-found");
    assert_eq!(problem["detail"], "there is no round 2031");
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn evidence_names_a_round_of_its_kind_and_the_register_names_none() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let before = census(&programme.app.pool).await;
    let usage = rows("usage_survey", &["HH-1,S-1,2025-09-10,in_use,7,0.5"]);
    let kitchen = rows(
        "kitchen_test",
        &["HH-1,2025-05-10,gasifier,wood,5,0,3,0.1,2,1,1,0"],
    );
    let household = rows("households", &["HH-9,NORTH,1,1,1,0"]);
    for (kind, round, file) in [
        ("usage_survey", None, &usage),
        ("usage_survey", Some("project"), &usage),
        ("kitchen_test", Some("usage"), &kitchen),
        ("char_weighing", Some("baseline"), &kitchen),
        ("households", Some("usage"), &household),
    ] {
        let answer = programme.manager.upload(kind, round, file.clone()).await;
        let problem = answer.problem(422, "invalid-fields");
        assert_eq!(problem["errors"][0]["field"], "round", "{kind} {round:?}");
    }
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn the_name_of_a_file_is_kept_without_its_folders() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let request = programme
        .manager
        .upload_request(
            "households",
            None,
            rows("households", &["HH-9,NORTH,1,1,1,0"]),
        )
        .query(&[("file_name", "C:\\field\\north\\households 1.csv")]);
    let batch = Answer::of(request).await.ok(201);
    assert_eq!(batch["file_name"], "households 1.csv");
    let id = batch["id"].as_str().expect("an id");
    let read = programme
        .manager
        .get(&format!("/batches/{id}"))
        .await
        .ok(200);
    assert_eq!(read, batch);
    let listed = programme.manager.get("/batches").await.ok(200);
    assert_eq!(listed, serde_json::json!([batch]));
}
