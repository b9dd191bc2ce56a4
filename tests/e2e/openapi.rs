//! The API description: as it was agreed, of the right version, and unambiguous.

use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

#[test]
fn the_description_is_the_one_that_was_agreed() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/e2e/openapi.json");
    let generated = emberbook::api::openapi_json().expect("a description") + "\n";
    if std::env::var_os("UPDATE_SNAPSHOTS").is_some() {
        std::fs::write(&file, &generated).expect("the snapshot is written");
    }
    let agreed = std::fs::read_to_string(&file).unwrap_or_default();
    let first = agreed
        .lines()
        .zip(generated.lines())
        .position(|(a, b)| a != b)
        .unwrap_or(agreed.lines().count().min(generated.lines().count()));
    assert!(
        agreed == generated,
        "the API changed from line {} of {} on; where that is meant, write the new one with \
         UPDATE_SNAPSHOTS=1 and read what changed",
        first + 1,
        file.display()
    );
}

#[test]
fn the_description_is_openapi_3_1_and_names_each_operation_once() {
    let text = emberbook::api::openapi_json().expect("a description");
    let document: Value = serde_json::from_str(&text).expect("JSON");
    let version = document["openapi"].as_str().expect("a version");
    assert!(version.starts_with("3.1."), "{version}");
    assert!(document["components"]["securitySchemes"]["token"].is_object());
    let mut ids = BTreeSet::new();
    for (path, methods) in document["paths"].as_object().expect("paths") {
        for (method, operation) in methods.as_object().expect("methods") {
            let id = operation["operationId"].as_str().expect("an operationId");
            assert!(ids.insert(id.to_owned()), "{id} stands twice");
            let place = format!("{method} {path}");
            assert!(operation["summary"].is_string(), "{place} has no summary");
            assert_parameters(&place, path, operation);
            if operation.get("security").is_some() {
                let refused = &operation["responses"]["401"]["content"];
                assert!(refused["application/problem+json"].is_object(), "{place}");
            }
        }
    }
    assert!(ids.len() > 35);
}

/// Each parameter of the path is described, and no other is said to be of the path.
fn assert_parameters(place: &str, path: &str, operation: &Value) {
    let in_path: BTreeSet<&str> = path
        .split('/')
        .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
        .collect();
    let described: BTreeSet<&str> = operation["parameters"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|parameter| parameter["in"] == "path")
        .filter_map(|parameter| parameter["name"].as_str())
        .collect();
    assert_eq!(described, in_path, "{place}");
}

#[test]
fn every_reference_of_the_description_leads_somewhere() {
    let text = emberbook::api::openapi_json().expect("a description");
    let document: Value = serde_json::from_str(&text).expect("JSON");
    let mut waiting = vec![&document];
    let mut references = 0;
    while let Some(value) = waiting.pop() {
        match value {
            Value::Object(members) => {
                if let Some(Value::String(reference)) = members.get("$ref") {
                    let pointer = reference.strip_prefix('#').expect("a local reference");
                    assert!(document.pointer(pointer).is_some(), "{reference}");
                    references += 1;
                }
                waiting.extend(members.values());
            }
            Value::Array(elements) => waiting.extend(elements),
            _ => {}
        }
    }
    assert!(references > 50, "{references}");
}
