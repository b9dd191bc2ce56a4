//! Batches of rows: what is taken, and what is refused whole with every fault named.

mod cells;
mod evidence;
mod files;
mod limits;
mod register;
mod requests;
mod samples;

use crate::support::{TestProgramme, census};
use serde_json::Value;

/// One bad file and the faults that its answer must name, each as `line column code`,
/// with `-` where the fault is of the whole file or the whole line.
pub struct Case {
    pub name: &'static str,
    pub kind: &'static str,
    pub round: Option<&'static str>,
    pub file: Vec<u8>,
    pub faults: &'static [&'static str],
}

/// A case of a file without a round.
pub fn case(
    name: &'static str,
    kind: &'static str,
    file: impl Into<Vec<u8>>,
    faults: &'static [&'static str],
) -> Case {
    Case {
        name,
        kind,
        round: None,
        file: file.into(),
        faults,
    }
}

/// Rows under the header of their kind, without the columns that a file may leave out where the
/// rows leave them out.
pub fn rows(kind: &str, rows: &[&str]) -> Vec<u8> {
    let kind: emberbook::intake::BatchKind = kind.parse().expect("a kind");
    let columns = &kind.template().columns;
    let first = rows.first().map_or(0, |row| row.split(',').count());
    let whole = first == columns.len();
    let kept = columns
        .iter()
        .filter(|column| whole || !column.may_be_left_out());
    let header: Vec<&str> = kept.map(|column| column.name).collect();
    let mut text = format!("{}\n", header.join(","));
    for row in rows {
        text.push_str(row);
        text.push('\n');
    }
    text.into_bytes()
}

/// Sends each case and holds the answer against it; nothing of the file may stay behind.
pub async fn refuses_each(programme: &TestProgramme, cases: Vec<Case>) {
    let before = census(&programme.app.pool).await;
    for case in cases {
        let answer = programme
            .manager
            .upload(case.kind, case.round, case.file)
            .await;
        assert_eq!(answer.status, 422, "{}: {}", case.name, answer.text());
        let problem = answer.problem(422, "rejected-batch");
        assert_eq!(faults(&problem), case.faults, "{}: {problem:#}", case.name);
        assert_eq!(
            problem["rejection_count"],
            case.faults.len(),
            "{}",
            case.name
        );
        assert_sentences(case.name, &problem);
        assert_eq!(
            census(&programme.app.pool).await,
            before,
            "{} left something behind",
            case.name
        );
    }
}

/// Every fault has a sentence for a human.
fn assert_sentences(name: &str, problem: &Value) {
    for fault in problem["rejections"].as_array().expect("rejections") {
        let sentence = fault["detail"].as_str().unwrap_or_default();
        assert!(sentence.len() > 10, "{name}: {fault}");
    }
}

/// The faults of a refusal in the short form of [`Case`].
pub fn faults(problem: &Value) -> Vec<String> {
    let short = |fault: &Value| {
        let part = |name: &str| match &fault[name] {
            Value::Null => "-".to_owned(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        format!("{} {} {}", part("line"), part("column"), part("code"))
    };
    problem["rejections"]
        .as_array()
        .map(|list| list.iter().map(short).collect())
        .unwrap_or_default()
}
