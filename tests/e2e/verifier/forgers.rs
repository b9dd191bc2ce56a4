//! Forgers, from the careless one who edits a file to the one who holds the key of the log.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use emberbook::accounting::records::kind;
use emberbook::trail::canonical::canonical_json;
use emberbook::trail::merkle::{Hash, leaf_hash, root_of};
use emberbook::verify::Fault;
use serde_json::{Map, Value};

const USAGE: &str = "data/evidence/usage-survey.csv";

fn bag() -> SpoiltBag {
    SpoiltBag::of(&seeded().bag)
}

fn statement_file() -> String {
    let id = seeded().statement["id"].as_str().expect("an id");
    format!("data/statements/{id}.json")
}

#[track_caller]
fn assert_named(faults: &[Fault], file: &str, line: Option<u64>, words: &str) {
    let named = |fault: &Fault| {
        fault.file == file
            && (line.is_none() || fault.line == line)
            && fault.problem.contains(words)
    };
    assert!(
        faults.iter().any(named),
        "{file} line {line:?} with {words:?} not in {faults:#?}"
    );
}

/// Turns an answer of the survey that the statement reads, and returns its index.
fn turn_answer(lines: &mut [String]) -> usize {
    let at = lines
        .iter()
        .rposition(|line| line.contains(",not_in_use,0,"))
        .expect("an answer that can be turned");
    lines[at] = lines[at].replace(",not_in_use,0,", ",in_use,7,");
    at
}

/// The row's own hash, made to fit its cells again.
fn rehash(header: &str, line: &str) -> (String, Hash) {
    let cells: Vec<&str> = line.split(',').collect();
    let row: Map<String, Value> = header
        .split(',')
        .zip(&cells)
        .skip(3)
        // Later columns are no part of a row that leaves them empty.
        .filter(|(name, cell)| {
            let later = [
                "enumerator_code",
                "started_at",
                "ended_at",
                "safety_score",
                "durability_score",
            ]
            .contains(name);
            !(later && cell.is_empty())
        })
        .map(|(name, cell)| {
            let value = match *cell {
                "" => Value::Null,
                text => Value::String(text.to_owned()),
            };
            (name.to_owned(), value)
        })
        .collect();
    let hash = leaf_hash(&canonical_json(&Value::Object(row)).expect("canonical"));
    let mut cells: Vec<String> = cells.into_iter().map(str::to_owned).collect();
    cells[2] = hash.to_string();
    (cells.join(","), hash)
}

#[test]
fn a_file_that_is_missing_or_added_is_named() {
    let without = bag();
    for file in without.files() {
        let bytes = without.read(&file);
        std::fs::remove_file(without.root.join(&file)).expect("removed");
        let faults = without.faults();
        assert_named(&faults, &file, None, "");
        without.write(&file, bytes);
    }
    assert!(without.verify().is_sound());
    for file in [
        "data/notes.txt",
        "data/statements/x.json",
        "data/evidence/more.csv",
        "notes.txt",
    ] {
        let with = bag();
        with.write(file, "something");
        assert_named(&with.faults(), file, None, "does not list it");
    }
    // Listed or not, the trail knows no such statement.
    let sealed = bag();
    sealed.write("data/statements/x.json", "{}");
    sealed.seal();
    assert_named(
        &sealed.faults(),
        "data/statements/x.json",
        None,
        "knows of no such file",
    );
}

#[test]
fn a_row_edited_under_fitting_manifests_is_named() {
    let bag = bag();
    let mut at = 0;
    bag.edit_lines(USAGE, |lines| at = turn_answer(lines));
    bag.seal();
    let faults = bag.faults();
    assert_named(&faults, USAGE, Some(at as u64 + 1), "it was changed");
    let only_rows =
        |fault: &Fault| fault.file == USAGE || fault.file.starts_with("data/statements/");
    assert!(faults.iter().all(only_rows), "{faults:#?}");
}

#[test]
fn a_row_edited_with_its_hash_breaks_its_batch() {
    let bag = bag();
    let mut batch = String::new();
    bag.edit_lines(USAGE, |lines| {
        let at = turn_answer(lines);
        lines[at] = rehash(&lines[0], &lines[at]).0;
        batch = lines[at].split(',').next().expect("a batch").to_owned();
    });
    bag.seal();
    let faults = bag.faults();
    assert_named(
        &faults,
        USAGE,
        None,
        &format!("batch {batch}: its rows do not hash"),
    );
    assert_named(&faults, &statement_file(), None, "use/rate");
}

#[test]
fn rows_that_are_swapped_dropped_doubled_or_invented_are_found() {
    let swapped = bag();
    swapped.edit_lines(USAGE, |lines| lines.swap(4, 5));
    swapped.seal();
    let faults = swapped.faults();
    assert_named(&faults, USAGE, Some(6), "stands where line");
    assert_named(&faults, USAGE, None, "do not hash to the root");

    let dropped = bag();
    dropped.edit_lines(USAGE, |lines| {
        lines.remove(7);
    });
    dropped.seal();
    assert_named(&dropped.faults(), USAGE, None, "rows were accepted");

    let doubled = bag();
    doubled.edit_lines(USAGE, |lines| lines.insert(8, lines[7].clone()));
    doubled.seal();
    let faults = doubled.faults();
    assert_named(&faults, USAGE, Some(9), "stands where line");
    assert_named(&faults, USAGE, None, "rows were accepted");

    let invented = bag();
    invented.edit_lines(USAGE, |lines| {
        let cells: Vec<&str> = lines[1].split(',').collect();
        let nobody = "00000000-0000-8000-8000-000000000000";
        let row = format!("{nobody},2,{}", cells[2..].join(","));
        lines.push(row);
    });
    invented.seal();
    let last = invented
        .read(USAGE)
        .iter()
        .filter(|byte| **byte == b'\n')
        .count() as u64;
    assert_named(&invented.faults(), USAGE, Some(last), "is not in the trail");
}

#[test]
fn a_row_moved_to_another_kind_or_another_line_is_found() {
    let bag = bag();
    bag.edit_lines(USAGE, |lines| {
        let parts: Vec<String> = lines[3].splitn(3, ',').map(str::to_owned).collect();
        lines[3] = format!("{},1,{}", parts[0], parts[2]);
    });
    bag.seal();
    assert_named(&bag.faults(), USAGE, Some(4), "stands where line");

    // The last row of a file has no row after it that would give it away.
    let last = self::bag();
    let mut at = 0;
    last.edit_lines(USAGE, |lines| {
        at = lines.len() - 1;
        let parts: Vec<String> = lines[at].splitn(3, ',').map(str::to_owned).collect();
        let line: u64 = parts[1].parse().expect("a line");
        lines[at] = format!("{},{},{}", parts[0], line + 1, parts[2]);
    });
    last.seal();
    assert_named(
        &last.faults(),
        USAGE,
        Some(at as u64 + 1),
        "stands where line",
    );
}

#[test]
fn a_figure_changed_in_the_statement_is_found_however_far_the_forger_goes() {
    let change = |text: &str| {
        let statement: Value = serde_json::from_str(text).expect("a statement");
        let tonnes = &statement["claims"]["reductions"]["tonnes"];
        text.replacen(&format!("\"tonnes\":{tonnes}"), "\"tonnes\":600", 1)
    };
    // The file alone.
    let first = bag();
    first.edit(&statement_file(), change);
    first.seal();
    assert_named(
        &first.faults(),
        &statement_file(),
        None,
        "not what the trail committed to",
    );
    // The file and the log's content.
    let second = bag();
    second.edit(&statement_file(), change);
    second.edit_lines("data/trail/contents.jsonl", |lines| {
        let last = lines.last_mut().expect("a content");
        *last = change(last);
    });
    second.seal();
    let line = seeded().statement["sequence"].as_u64().expect("a sequence") + 1;
    assert_named(
        &second.faults(),
        "data/trail/contents.jsonl",
        Some(line),
        "not the one that the entry commits to",
    );
    // Everything, under a fitting signature: only computing it again can tell.
    let third = bag();
    third.edit(&statement_file(), change);
    third.forge_log(&seeded().code, |event, content| {
        if event.kind == kind::STATEMENT_MADE {
            *content = change(content);
        }
    });
    let faults = third.faults();
    assert_named(&faults, &statement_file(), None, "reductions");
    assert!(
        faults.iter().all(|fault| fault.file == statement_file()),
        "{faults:#?}"
    );
}

#[test]
fn a_row_changed_by_who_holds_the_key_still_contradicts_the_statement() {
    let bag = bag();
    let mut hashes: Vec<Hash> = Vec::new();
    let mut batch = String::new();
    bag.edit_lines(USAGE, |lines| {
        let at = turn_answer(lines);
        lines[at] = rehash(&lines[0], &lines[at]).0;
        batch = lines[at].split(',').next().expect("a batch").to_owned();
        let of_batch = lines.iter().filter(|line| line.starts_with(&batch));
        hashes = of_batch
            .map(|line| {
                line.split(',')
                    .nth(2)
                    .expect("a hash")
                    .parse()
                    .expect("a hash")
            })
            .collect();
    });
    let root = root_of(&hashes).to_string();
    bag.forge_log(&seeded().code, |event, content| {
        if event.kind == kind::BATCH_ACCEPTED && event.subject == batch {
            let mut record: Value = serde_json::from_str(content).expect("JSON");
            record["root"] = Value::String(root.clone());
            let bytes = canonical_json(&record).expect("canonical");
            *content = String::from_utf8(bytes).expect("text");
        }
    });
    let faults = bag.faults();
    assert_named(&faults, &statement_file(), None, "use/rate");
    // The file as it was uploaded gives the forger away too, and the table that tells of it.
    let read_again = |fault: &Fault| fault.problem.contains("it does not give the rows");
    assert!(faults.iter().any(read_again), "{faults:#?}");
    let known = |file: &str| {
        file == statement_file() || file == "data/batches.csv" || file.starts_with("data/files/")
    };
    assert!(faults.iter().all(|fault| known(&fault.file)), "{faults:#?}");
}

#[test]
fn an_honest_log_written_anew_is_sound() {
    let bag = bag();
    let contents = bag.read("data/trail/contents.jsonl");
    bag.forge_log(&seeded().code, |_, _| {});
    assert!(bag.read("data/trail/contents.jsonl") == contents);
    let report = bag.verify();
    assert!(report.is_sound(), "{report}");
}
