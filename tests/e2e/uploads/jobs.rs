//! Jobs: followed, refused with the faults of their file, cancelled, shared among workers.

use super::{begin, ended, id_of, part, programme, send, usage, workers};
use crate::support::Answer;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// A survey of `count` answers whose rows are all of unknown households.
fn long_file(count: usize) -> Vec<u8> {
    let rows: Vec<String> = (0..count)
        .map(|n| format!("HH-X{n},S-X{n},2025-09-10,in_use,7,0.5"))
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    crate::batches::rows("usage_survey", &rows)
}

#[tokio::test]
async fn a_refused_file_leaves_the_problem_with_every_wrong_row_in_the_job() {
    let programme = programme().await;
    let _workers = workers(&programme, 1);
    let file = crate::batches::rows("usage_survey", &["HH-9,S-1,2025-09-10,in_use,7,0.5"]);
    let id = send(&programme.manager, "usage_survey", Some("usage"), &file).await;
    let job = ended(&programme.manager, &id).await;
    assert_eq!(job["state"], "failed");
    assert_eq!(job["result"], Value::Null);
    let direct = programme
        .manager
        .upload("usage_survey", Some("usage"), file)
        .await;
    let mut direct = direct.problem(422, "rejected-batch");
    let mut problem = job["problem"].clone();
    // Each refusal has a marked copy of its own.
    for refusal in [&mut problem, &mut direct] {
        let copy = refusal["marked_file"].take();
        assert!(
            copy.as_str()
                .is_some_and(|copy| copy.contains("/batches/rejected/"))
        );
    }
    assert_eq!(problem, direct);
    let kept = programme.app.uploads.path().join(&id);
    assert!(!kept.exists(), "the bytes are given up with the job");
}

#[tokio::test]
async fn a_job_is_followed_to_its_end_and_told_again_to_whoever_comes_back() {
    let programme = programme().await;
    let manager = &programme.manager;
    let id = send(manager, "usage_survey", Some("usage"), &usage()).await;
    let path = format!("/jobs/{id}/events");
    let follower = manager.clone();
    let address = path.clone();
    let following = tokio::spawn(async move { follower.get(&address).await });
    tokio::time::sleep(std::time::Duration::from_millis(700)).await;
    let _workers = workers(&programme, 1);
    let answer = following.await.expect("followed");
    assert_eq!(answer.status, 200);
    assert_eq!(answer.header("content-type"), "text/event-stream");
    let views = events(&answer);
    assert!(views.len() >= 2, "{}", answer.text());
    assert_eq!(views[0]["state"], "waiting");
    assert_eq!(views[views.len() - 1]["state"], "succeeded");
    let back = manager.request(reqwest::Method::GET, &path);
    let back = Answer::of(back.header("Last-Event-ID", "1")).await;
    assert_eq!(events(&back), views[views.len() - 1..]);
}

fn events(answer: &Answer) -> Vec<Value> {
    let text = answer.text();
    let data = text.lines().filter_map(|line| line.strip_prefix("data: "));
    data.map(|json| serde_json::from_str(json).expect("JSON"))
        .collect()
}

#[tokio::test]
async fn jobs_are_listed_by_pages_to_those_who_may_see_them() {
    let programme = programme().await;
    let monitor = programme.client_of("monitor").await;
    let verifier = programme.client_of("verifier").await;
    let mut ids = Vec::new();
    for client in [&programme.manager, &monitor, &monitor] {
        ids.push(send(client, "usage_survey", Some("usage"), &usage()).await);
    }
    ids.reverse();
    let list = |page: &Value| -> Vec<String> {
        let items = page["items"].as_array().expect("items").iter();
        items
            .map(|job| job["id"].as_str().expect("an id").to_owned())
            .collect()
    };
    let first = verifier.get("/jobs?limit=2").await.ok(200);
    assert_eq!(list(&first), ids[..2]);
    let second = verifier
        .get(&format!("/jobs?limit=2&before={}", first["next"]))
        .await
        .ok(200);
    assert_eq!(list(&second), ids[2..]);
    assert_eq!(second["next"], Value::Null);
    let own = monitor.get("/jobs").await.ok(200);
    assert_eq!(list(&own), ids[..2]);
    let manager_job = format!("/jobs/{}", ids[2]);
    monitor.get(&manager_job).await.problem(404, "not-found");
    let cancel = format!("{manager_job}/cancel");
    let refused = monitor.post(&cancel, &json!({})).await;
    refused.problem(404, "not-found");
}

#[tokio::test]
async fn a_job_that_waits_is_cancelled_at_once_and_one_that_has_ended_cannot_be() {
    let programme = programme().await;
    let manager = &programme.manager;
    let id = send(manager, "usage_survey", Some("usage"), &usage()).await;
    let cancel = format!("/jobs/{id}/cancel");
    let cancelled = manager.post_once(&cancel, &json!({}), "c-1").await.ok(200);
    assert_eq!(cancelled["state"], "cancelled");
    let again = manager.post_once(&cancel, &json!({}), "c-1").await.ok(200);
    assert_eq!(again, cancelled);
    let late = manager.post(&cancel, &json!({})).await;
    late.problem(409, "job-ended");
    let _workers = workers(&programme, 1);
    let other = send(manager, "usage_survey", Some("usage"), &usage()).await;
    assert_eq!(ended(manager, &other).await["state"], "succeeded");
    let job = manager.get(&format!("/jobs/{id}")).await.ok(200);
    assert_eq!(job["state"], "cancelled");
}

#[tokio::test]
async fn a_job_that_runs_stops_before_it_writes() {
    let programme = programme().await;
    let manager = &programme.manager;
    // Holds every writer of the programme at the trail, so that the job is caught running.
    let mut holder = programme.app.pool.begin().await.expect("a transaction");
    sqlx::query("select size from trail_head for update")
        .execute(&mut *holder)
        .await
        .expect("the lock");
    let _workers = workers(&programme, 1);
    let id = send(manager, "usage_survey", Some("usage"), &usage()).await;
    loop {
        let job = manager.get(&format!("/jobs/{id}")).await.ok(200);
        if job["progress"]["rows_read"] == 2 {
            assert_eq!(job["state"], "running");
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let asked = manager
        .post(&format!("/jobs/{id}/cancel"), &json!({}))
        .await;
    assert_eq!(asked.ok(200)["cancel_asked"], true);
    // Longer than two beats of the lease.
    tokio::time::sleep(std::time::Duration::from_millis(1_500)).await;
    holder.rollback().await.expect("let go");
    let job = ended(manager, &id).await;
    assert_eq!(job["state"], "cancelled", "{job:#}");
    let batches = manager.get("/batches").await.ok(200);
    assert_eq!(batches.as_array().expect("a list").len(), 2);
}

#[tokio::test]
async fn two_workers_take_different_jobs_and_each_job_is_done_once() {
    let programme = programme().await;
    let manager = &programme.manager;
    let mut ids = Vec::new();
    for n in 0..12 {
        let row = format!("HH-W{n},NORTH,2,1,1,0");
        let file = crate::batches::rows("households", &[&row]);
        ids.push(send(manager, "households", None, &file).await);
    }
    let _two = workers(&programme, 2);
    let _more = workers(&programme, 2);
    let mut batches = BTreeSet::new();
    for id in &ids {
        let job = ended(manager, id).await;
        assert_eq!(job["state"], "succeeded", "{job:#}");
        assert_eq!(job["result"]["repeated"], false, "{job:#}");
        batches.insert(job["result"]["id"].as_str().expect("an id").to_owned());
    }
    assert_eq!(batches.len(), ids.len());
    let takings: Vec<i32> = sqlx::query_scalar("select takings from job")
        .fetch_all(&programme.app.pool)
        .await
        .expect("the takings");
    assert_eq!(takings, vec![1; ids.len()]);
}

#[tokio::test]
async fn a_job_whose_worker_went_silent_is_taken_again_and_gives_the_same_batch() {
    let programme = programme().await;
    let manager = &programme.manager;
    let file = usage();
    let id = send(manager, "usage_survey", Some("usage"), &file).await;
    {
        let _workers = workers(&programme, 1);
        assert_eq!(ended(manager, &id).await["state"], "succeeded");
    }
    let first = manager.get(&format!("/jobs/{id}")).await.ok(200);
    // As if the worker had died after the batch was in and before the job was ended.
    let kept = programme.app.uploads.path().join(&id);
    std::fs::write(kept, &file).expect("the bytes are back");
    sqlx::query(
        "update job set state = 'running', ended_at = null, result = null,
                        lease_until = clock_timestamp() - interval '1 second'",
    )
    .execute(&programme.app.pool)
    .await
    .expect("the job is back");
    let _workers = workers(&programme, 1);
    let second = ended(manager, &id).await;
    assert_eq!(second["result"], first["result"]);
    let batches = manager.get("/batches").await.ok(200);
    assert_eq!(batches.as_array().expect("a list").len(), 3);
}

#[tokio::test]
async fn a_long_file_of_strangers_is_refused_with_a_count() {
    let programme = programme().await;
    let _workers = workers(&programme, 2);
    let file = long_file(3_000);
    let manager = &programme.manager;
    let id = id_of(&begin(manager, "usage_survey", Some("usage"), file.len() as u64).await);
    let mut at = 0;
    for chunk in file.chunks(10_000) {
        let answer = Answer::of(part(manager, &id, at, chunk)).await;
        assert_eq!(answer.status, 204);
        at += chunk.len() as u64;
    }
    let job = ended(manager, &id).await;
    assert_eq!(job["state"], "failed");
    assert_eq!(job["progress"]["rows_read"], 3_000);
    assert!(job["problem"]["rejection_count"].as_u64() >= Some(3_000));
}
