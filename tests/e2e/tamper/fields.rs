//! Each field of a statement's trace, and of every record of the trail, changed in turn.

use super::programme::{CODE, small};
use crate::support::bag::SpoiltBag;
use emberbook::accounting::records::kind;
use emberbook::trail::canonical::canonical_json;
use emberbook::trail::event::Event;
use emberbook::verify::{Level, Options, Report, verify};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Fields of a statement that no figure rests on and nothing computes: none.
const NOT_COMPUTED: [&str; 0] = [];

/// One place of each shape: `figures/*/value` stands for the value of every figure.
fn places(value: &Value) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![(String::new(), String::new(), value)];
    while let Some((shape, pointer, value)) = waiting.pop() {
        match value {
            Value::Object(members) if !members.is_empty() => {
                for (name, member) in members {
                    let step = name.replace('~', "~0").replace('/', "~1");
                    waiting.push((
                        format!("{shape}/{name}"),
                        format!("{pointer}/{step}"),
                        member,
                    ));
                }
            }
            Value::Array(elements) if !elements.is_empty() => {
                for (index, element) in elements.iter().enumerate() {
                    waiting.push((format!("{shape}/*"), format!("{pointer}/{index}"), element));
                }
            }
            _ => {
                found.insert(shape, pointer);
            }
        }
    }
    found
}

/// Another value of the same type; of a number in text, the next one.
fn changed(value: &Value) -> Value {
    match value {
        Value::Null => json!("x"),
        Value::Bool(flag) => json!(!flag),
        Value::Number(number) => json!(number.as_u64().map_or(1, |number| number + 1)),
        Value::String(text) => match text.chars().last() {
            Some(last @ '0'..='8') => {
                let next = char::from_u32(last as u32 + 1).expect("a digit");
                json!(format!("{}{next}", &text[..text.len() - 1]))
            }
            Some('9') => json!(format!("{}8", &text[..text.len() - 1])),
            _ => json!(format!("{text}x")),
        },
        Value::Array(_) => json!(["x"]),
        Value::Object(_) => Value::Object(Map::from_iter([("x".to_owned(), json!("x"))])),
    }
}

fn edited(content: &str, pointer: &str) -> String {
    let mut value: Value = serde_json::from_str(content).expect("JSON");
    let place = value.pointer_mut(pointer).expect(pointer);
    *place = changed(place);
    String::from_utf8(canonical_json(&value).expect("canonical")).expect("text")
}

fn bag() -> SpoiltBag {
    SpoiltBag::of(&small().bag)
}

fn lines(bag: &SpoiltBag, file: &str) -> Vec<String> {
    let text = String::from_utf8(bag.read(file)).expect("text");
    text.lines().map(str::to_owned).collect()
}

/// Entries of the log with their contents.
fn log(bag: &SpoiltBag) -> Vec<(Event, String)> {
    let entries = lines(bag, "data/trail/entries.jsonl");
    let events = entries
        .iter()
        .map(|entry| Event::parse(entry.as_bytes()).expect("an event"));
    events
        .zip(lines(bag, "data/trail/contents.jsonl"))
        .collect()
}

fn with_kept(bag: &SpoiltBag) -> Report {
    let options = Options {
        kept_checkpoint: Some(small().checkpoint.clone()),
        ..Options::default()
    };
    verify(&bag.root, &options)
}

#[test]
#[ignore = "takes minutes unoptimised; run it by name with --ignored"]
fn each_field_of_a_statement_is_found_by_computing_it_again_whoever_holds_the_key() {
    let sound = bag();
    let (event, content) = log(&sound)
        .into_iter()
        .find(|(event, _)| event.kind == kind::STATEMENT_MADE)
        .expect("a statement");
    let file = format!("data/statements/{}.json", event.subject);
    let places = places(&serde_json::from_str(&content).expect("JSON"));
    let mut wrong = Vec::new();
    let mut found = [0; 2];
    let forged = bag();
    let trail = ["entries.jsonl", "contents.jsonl", "checkpoint.txt"].map(|name| {
        (
            format!("data/trail/{name}"),
            forged.read(&format!("data/trail/{name}")),
        )
    });
    for (shape, pointer) in &places {
        let other = edited(&content, pointer);
        // The file alone, under manifests that fit: the trail knows better.
        sound.write(&file, &other);
        sound.seal();
        let faults = sound.faults();
        assert!(
            faults.iter().any(|fault| fault.file == file),
            "{shape}: {faults:?}"
        );
        found[0] += 1;
        sound.write(&file, &content);
        // The whole log signed again with its own key: only computing tells.
        forged.write(&file, &other);
        forged.forge_log(CODE, |each, content| {
            if each.subject == event.subject {
                content.clone_from(&other);
            }
        });
        let report = forged.verify();
        // The cosigned heads and the opinion on it show the forgery too: a forger would leave
        // them out, so that computing must tell by itself.
        let computed = report
            .checks
            .iter()
            .find(|check| check.level == Level::Figures)
            .expect("a level");
        match (
            computed.faults.is_empty(),
            NOT_COMPUTED.contains(&shape.as_str()),
        ) {
            (false, false) => found[1] += 1,
            (true, true) => {}
            (sound, listed) => wrong.push(format!("{shape}: sound {sound}, listed {listed}")),
        }
        assert!(
            !with_kept(&forged).is_sound(),
            "{shape} against the kept head"
        );
        forged.write(&file, &content);
        for (file, bytes) in &trail {
            forged.write(file, bytes);
        }
    }
    println!(
        "{} shapes of fields of a statement: {} found in the file, {} under a log signed again",
        places.len(),
        found[0],
        found[1]
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(places.len() > 60, "{}", places.len());
}

#[test]
#[ignore = "takes minutes unoptimised; run it by name with --ignored"]
fn each_field_of_each_record_is_found_and_under_a_log_signed_again_by_the_kept_head() {
    let spoilt = bag();
    let contents = spoilt.read("data/trail/contents.jsonl");
    let mut tried = BTreeMap::new();
    for (line, (event, content)) in (1_u64..).zip(log(&spoilt)) {
        // The methodologies and factors are many; a statement has its own test.
        if event.kind == kind::STATEMENT_MADE {
            continue;
        }
        for (shape, pointer) in places(&serde_json::from_str(&content).expect("JSON")) {
            let first = tried.insert(format!("{}{shape}", event.kind), ()).is_none();
            if !first {
                continue;
            }
            let at = usize::try_from(line - 1).expect("small");
            spoilt.edit_lines("data/trail/contents.jsonl", |lines| {
                lines[at] = edited(&content, &pointer);
            });
            spoilt.seal();
            let named = spoilt
                .faults()
                .iter()
                .any(|fault| fault.file == "data/trail/contents.jsonl" && fault.line == Some(line));
            assert!(named, "{} {shape}", event.kind);
            spoilt.write("data/trail/contents.jsonl", &contents);
        }
    }
    println!(
        "{} shapes of fields of records, each found on its line",
        tried.len()
    );
    assert!(tried.len() > 150, "{}", tried.len());
}

#[test]
fn each_field_of_each_entry_is_found() {
    let spoilt = bag();
    let entries = lines(&spoilt, "data/trail/entries.jsonl");
    let sound = spoilt.read("data/trail/entries.jsonl");
    let mut tried = 0;
    for at in [0, entries.len() / 2, entries.len() - 1] {
        for (shape, pointer) in places(&serde_json::from_str(&entries[at]).expect("JSON")) {
            spoilt.edit_lines("data/trail/entries.jsonl", |lines| {
                lines[at] = edited(&entries[at], &pointer);
            });
            spoilt.seal();
            assert!(!spoilt.faults().is_empty(), "{shape} of entry {at}");
            tried += 1;
            spoilt.write("data/trail/entries.jsonl", &sound);
        }
    }
    println!("{tried} fields of entries, each found");
    assert_eq!(tried, 24, "three entries of eight members");
}
