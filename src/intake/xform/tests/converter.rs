//! Our forms beside those that pyxform (4.5.0) made of the same templates: the same
//! questions, types, duties, bounds, words and choices; and its instances are read.
//! `tests/reference/forms.py` made the files.

use super::form;
use crate::intake::kinds::BatchKind;
use crate::intake::row_from_texts;
use crate::intake::xform::read_submission;
use roxmltree::{Document, Node};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

const JAVAROSA: &str = "http://openrosa.org/javarosa";

const CASES: [(&str, &str); 3] = [
    ("usage_survey", "usage_survey--2025"),
    ("kitchen_test", "kitchen_test--2025"),
    ("deployments", "deployments"),
];

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference/forms")
        .join(name)
}

fn read(name: &str) -> String {
    std::fs::read_to_string(file(name)).expect("a file of reference")
}

/// What a form says of one question.
#[derive(Debug, Default, PartialEq)]
struct Question {
    bind: BTreeMap<String, String>,
    control: String,
    label: String,
    hint: String,
    choices: Vec<(String, String)>,
}

fn text_of(node: Node<'_, '_>, name: &str) -> String {
    let child = node.children().find(|each| each.tag_name().name() == name);
    let text = child.and_then(|child| child.text()).unwrap_or_default();
    text.to_owned()
}

/// Value and label of each choice, whether they stand in the control or in a list beside it.
fn choices(document: &Document<'_>, control: Node<'_, '_>) -> Vec<(String, String)> {
    let named = |node: Node<'_, '_>, value: &str| (text_of(node, value), text_of(node, "label"));
    let own = control
        .children()
        .filter(|each| each.tag_name().name() == "item");
    let own: Vec<_> = own.map(|item| named(item, "value")).collect();
    let set = control
        .children()
        .find(|each| each.tag_name().name() == "itemset");
    let Some(set) = set else { return own };
    let place = set.attribute("nodeset").expect("where the list is");
    let list = place.split('\'').nth(1).expect("the name of a list");
    let lists = document.descendants();
    let mut lists = lists.filter(|each| each.tag_name().name() == "instance");
    let list = lists.find(|each| each.attribute("id") == Some(list));
    let items = list.expect("the list").descendants();
    let items = items.filter(|each| each.tag_name().name() == "item");
    items.map(|item| named(item, "name")).collect()
}

/// The questions of a form by their place in its instance.
fn questions(xml: &str) -> BTreeMap<String, Question> {
    let document = Document::parse(xml).expect("well-formed");
    let mut found: BTreeMap<String, Question> = BTreeMap::new();
    for node in document.descendants() {
        match node.tag_name().name() {
            "bind" => {
                let place = node.attribute("nodeset").expect("a place").to_owned();
                let bind = node.attributes().map(|each| {
                    let prefix = if each.namespace() == Some(JAVAROSA) {
                        "jr:"
                    } else {
                        ""
                    };
                    let plain: Vec<&str> = each.value().split_whitespace().collect();
                    (format!("{prefix}{}", each.name()), plain.join(" "))
                });
                found.entry(place).or_default().bind = bind.collect();
            }
            control @ ("input" | "select1" | "select" | "upload" | "trigger") => {
                let place = node.attribute("ref").expect("a place").to_owned();
                let question = found.entry(place).or_default();
                question.control = control.to_owned();
                question.label = text_of(node, "label");
                question.hint = text_of(node, "hint");
                question.choices = choices(&document, node);
            }
            _ => {}
        }
    }
    found
}

#[test]
fn our_forms_ask_what_the_converters_forms_ask() {
    for (kind, name) in CASES {
        let ours = questions(&form(name));
        let theirs = questions(&read(&format!("{kind}.xml")));
        // One question for each column, and the id of the instance.
        let columns = kind
            .parse::<BatchKind>()
            .expect("a kind")
            .template()
            .columns;
        assert_eq!(theirs.len(), columns.len() + 1, "{kind}");
        assert_eq!(ours, theirs, "{kind}");
    }
}

#[test]
fn instances_of_the_converters_forms_are_read_as_rows() {
    for (kind, name) in CASES {
        let submission = read_submission(read(&format!("{kind}.filled.xml")).as_bytes());
        let submission = submission.expect("sound");
        assert_eq!(submission.form.to_string(), name);
        let template = submission.form.kind.template();
        let row = row_from_texts(template, 2, submission.texts.iter().map(String::as_str));
        let row = row.expect("a row");
        for (at, column) in template.columns.iter().enumerate() {
            assert_eq!(row.text(at), column.example, "{kind} {}", column.name);
        }
    }
}

/// The converter was shown the templates as they are now.
#[test]
fn the_templates_that_the_converter_was_shown_are_these() {
    let all: Vec<_> = BatchKind::ALL.iter().map(|kind| kind.template()).collect();
    let now = serde_json::to_string_pretty(&all).expect("JSON") + "\n";
    if std::env::var_os("UPDATE_SNAPSHOTS").is_some() {
        std::fs::write(file("templates.json"), &now).expect("the snapshot is written");
    }
    assert!(
        read("templates.json") == now,
        "the templates changed: write them with UPDATE_SNAPSHOTS=1, then run \
         tests/reference/forms.py"
    );
}
