//! Corrections over HTTP: what they do to lists, to statements, to pages, and to a bag.

mod pages;
mod places;
mod references;
mod statements;

use crate::support::{Answer, TestProgramme};
use serde_json::{Value, json};

/// The id of an accepted batch.
pub fn id(batch: &Value) -> String {
    batch["id"].as_str().expect("an id").to_owned()
}

/// Uploads rows that must be accepted; returns the batch's id.
pub async fn send(
    programme: &TestProgramme,
    kind: &str,
    round: Option<&str>,
    rows: &[&str],
) -> String {
    let file = crate::batches::rows(kind, rows);
    id(&programme.manager.upload(kind, round, file).await.ok(201))
}

pub async fn supersede(programme: &TestProgramme, batch: &str, line: u64, cells: Value) -> Answer {
    let body = json!({"cells": cells, "reason": "The sheet was misread."});
    let path = format!("/batches/{batch}/rows/{line}/supersede");
    programme.manager.post(&path, &body).await
}

pub async fn exclude(programme: &TestProgramme, batch: &str, line: u64) -> Answer {
    let body = json!({"reason": "A feast day."});
    let path = format!("/batches/{batch}/rows/{line}/exclude");
    programme.manager.post(&path, &body).await
}

pub async fn withdraw(programme: &TestProgramme, batch: &str) -> Answer {
    let body = json!({"reason": "Sent into the wrong round."});
    let path = format!("/batches/{batch}/withdraw");
    programme.manager.post(&path, &body).await
}

/// The batch that stands in place of the row that an answer superseded.
pub fn replacement(answer: &Value) -> String {
    answer["replaced_by"].as_str().expect("a batch").to_owned()
}
