//! The trace of a statement as one tree: from its totals down to rows and citations.

use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::statement::Statement;
use crate::accounting::trace::{Node, Source};
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Nodes that one page shows; what lies below them is reached by their links.
const NODES_MAX: usize = 2_000;

/// A node in the tree.
struct Line {
    href: String,
    label: String,
    value: String,
    unit: String,
    interval: Option<String>,
    /// What it rests on: a cited factor, raw rows, or nothing of its own.
    source: Option<String>,
    source_href: Option<String>,
    /// Stands in full further up.
    again: bool,
}

/// A tree written out: a node opens, is a leaf, or ends.
enum Part {
    Open(Line),
    Leaf(Line),
    Close,
}

#[derive(Template)]
#[template(path = "tree.html")]
struct TreePage {
    shell: Shell,
    statement_href: String,
    statement_title: String,
    parts: Vec<Part>,
    left_out: bool,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    let (_, statement) = service.statement(&caller, id).await?;
    let title = format!("Statement of {}", statement.period.code);
    let (parts, left_out) = tree(id, &statement);
    draw(&TreePage {
        shell: Shell::of(
            &caller,
            Section::Statements,
            format!("Tree of {}", statement.period.code),
        ),
        statement_href: links::statement(id),
        statement_title: title,
        parts,
        left_out,
    })
}

/// Writes the tree out from the two totals, then from every further figure that they do not
/// hold; says whether some of it was left out.
fn tree(id: Uuid, statement: &Statement) -> (Vec<Part>, bool) {
    let nodes = statement.trace.nodes.iter();
    let mut writer = Writer {
        statement: id,
        nodes: nodes.map(|node| (node.id.as_str(), node)).collect(),
        seen: BTreeSet::new(),
        parts: Vec::new(),
        left_out: false,
    };
    for figure in &statement.figures {
        if !writer.seen.contains(figure.node.as_str()) {
            writer.write(&figure.node);
        }
    }
    (writer.parts, writer.left_out)
}

struct Writer<'a> {
    statement: Uuid,
    nodes: BTreeMap<&'a str, &'a Node>,
    seen: BTreeSet<&'a str>,
    parts: Vec<Part>,
    left_out: bool,
}

/// What is still to be written.
enum Next<'a> {
    Node(&'a str),
    Close,
}

impl<'a> Writer<'a> {
    /// A stack of its own instead of recursion: a trace may be of any depth.
    fn write(&mut self, root: &'a str) {
        let mut next = vec![Next::Node(root)];
        while let Some(step) = next.pop() {
            let node = match step {
                Next::Close => {
                    self.parts.push(Part::Close);
                    continue;
                }
                Next::Node(id) => match self.nodes.get(id) {
                    Some(node) => *node,
                    None => continue,
                },
            };
            let full = self.seen.len() >= NODES_MAX;
            self.left_out |= full;
            let again = !self.seen.insert(&node.id);
            let line = self.line(node, again);
            if node.inputs.is_empty() || again || full {
                self.parts.push(Part::Leaf(line));
            } else {
                self.parts.push(Part::Open(line));
                next.push(Next::Close);
                next.extend(node.inputs.iter().rev().map(|input| Next::Node(input)));
            }
        }
    }

    fn line(&self, node: &Node, again: bool) -> Line {
        let (source, source_href) = match &node.source {
            Source::None => (None, None),
            Source::Factor { id } => (Some(format!("factor {id}")), Some(links::factor(id))),
            Source::Evidence { role, units, .. } => {
                let rows = words::evidence_role(*role);
                (
                    Some(format!("{rows}, {} units", words::count(*units))),
                    None,
                )
            }
        };
        Line {
            href: links::node(self.statement, &node.id),
            label: words::capital(&words::label(&node.label)),
            value: words::precise(node.value),
            unit: words::unit(&node.unit),
            interval: (node.lower != node.upper)
                .then(|| words::precise_bounds(node.lower, node.value, node.upper)),
            source,
            source_href,
            again,
        }
    }
}
