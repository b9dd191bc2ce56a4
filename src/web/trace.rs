//! One node of a statement's trace: how it came to be, what uses it, and its source opened.

use super::evidence::{self, EvidenceView};
use super::factors::FactorView;
use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{formula, links, words};
use crate::accounting::records::findings::SubjectKind;
use crate::accounting::statement::Statement;
use crate::accounting::trace::{Node, Source};
use crate::report::charts::{Interval, interval_bar};
use crate::service::{Caller, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use std::collections::{BTreeMap, VecDeque};
use uuid::Uuid;

/// Crumbs shown at the most.
const CRUMBS: usize = 3;

#[derive(Template)]
#[template(path = "trace.html")]
struct TracePage {
    shell: Shell,
    raise: Option<String>,
    statement_href: String,
    statement_title: String,
    /// From a stated figure down to the node above this one; of a long way its ends.
    crumbs: Vec<NodeLine>,
    /// Nodes left out after the first crumb.
    left_out: usize,
    node: NodeLine,
    id: String,
    recorded: String,
    standard_error: String,
    degrees_of_freedom: Option<String>,
    confidence: String,
    bar: String,
    formula: String,
    formula_name: String,
    inputs: Vec<NodeLine>,
    used_by: Vec<NodeLine>,
    stated: bool,
    factor: Option<FactorView>,
    factor_href: String,
    evidence: Option<EvidenceView>,
}

/// A node in a line.
struct NodeLine {
    href: String,
    label: String,
    /// What it does in the formula.
    sign: &'static str,
    value: String,
    unit: String,
    interval: Option<String>,
}

impl NodeLine {
    fn new(statement: Uuid, node: &Node, sign: &'static str) -> Self {
        NodeLine {
            href: links::node(statement, &node.id),
            label: words::capital(&words::label(&node.label)),
            sign,
            value: words::precise(node.value),
            unit: words::unit(&node.unit),
            interval: (node.lower != node.upper)
                .then(|| words::precise_bounds(node.lower, node.value, node.upper)),
        }
    }
}

#[derive(Deserialize)]
pub(super) struct TraceQuery {
    node: Option<String>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    QueryParts(query): QueryParts<TraceQuery>,
) -> Result<Response, Refusal> {
    let (_, statement) = service.statement(&caller, id).await?;
    let wanted = query
        .node
        .or_else(|| statement.figures.first().map(|figure| figure.node.clone()))
        .unwrap_or_default();
    let Some(node) = statement.trace.node(&wanted) else {
        return Err(Refusal::not_found(&format!(
            "The trace of this statement has no node {wanted}."
        )));
    };
    let (factor, evidence) = source(&service, &caller, &statement, node).await?;
    let page = page(&caller, id, &statement, node);
    draw(&TracePage {
        factor_href: match &node.source {
            Source::Factor { id } => links::factor(id),
            _ => String::new(),
        },
        factor,
        evidence,
        ..page
    })
}

/// Everything of the page but the opened source.
fn page(caller: &Caller, id: Uuid, statement: &Statement, node: &Node) -> TracePage {
    let trace = &statement.trace;
    let line = |node: &Node| NodeLine::new(id, node, "");
    let drawn = Interval {
        lower: words::drawn(node.lower),
        value: words::drawn(node.value),
        upper: words::drawn(node.upper),
    };
    let title = words::capital(&words::label(&node.label));
    let mut way = way_down(statement, &node.id);
    let left_out = way.len().saturating_sub(CRUMBS);
    if left_out > 0 {
        way.drain(1..=left_out);
    }
    TracePage {
        shell: Shell::of(caller, Section::Statements, title),
        statement_href: links::statement(id),
        statement_title: format!("Statement of {}", statement.period.code),
        left_out,
        crumbs: way
            .iter()
            .filter_map(|id| trace.node(id))
            .map(line)
            .collect(),
        node: line(node),
        raise: raise(caller, id, statement, node),
        id: node.id.clone(),
        recorded: node.value.normalize().to_string(),
        standard_error: words::precise(node.standard_error),
        degrees_of_freedom: node.degrees_of_freedom.map(words::precise),
        confidence: statement
            .figures
            .first()
            .map(|figure| words::percent(figure.confidence))
            .unwrap_or_default(),
        bar: interval_bar(drawn, None),
        formula: formula::sentence(trace, node),
        formula_name: words::spaced(&node.formula.id),
        inputs: node
            .inputs
            .iter()
            .enumerate()
            .filter_map(|(place, input)| Some((place, trace.node(input)?)))
            .map(|(place, input)| NodeLine::new(id, input, formula::sign(node, place)))
            .collect(),
        used_by: trace
            .nodes
            .iter()
            .filter(|other| other.inputs.contains(&node.id))
            .map(line)
            .collect(),
        stated: statement
            .figures
            .iter()
            .any(|figure| figure.node == node.id),
        factor: None,
        factor_href: String::new(),
        evidence: None,
    }
}

/// Where a finding is raised on the figure that the node is, else on the node.
fn raise(caller: &Caller, id: Uuid, statement: &Statement, node: &Node) -> Option<String> {
    let mut figures = statement.figures.iter();
    match figures.find(|figure| figure.node == node.id) {
        Some(figure) => links::raise(caller, SubjectKind::Figure, &format!("{id}/{}", figure.id)),
        None => links::raise(caller, SubjectKind::Node, &format!("{id}/{}", node.id)),
    }
}

/// Opens the factor or the evidence behind the node.
async fn source(
    service: &Service,
    caller: &Caller,
    statement: &Statement,
    node: &Node,
) -> Result<(Option<FactorView>, Option<EvidenceView>), ServiceError> {
    match &node.source {
        Source::None => Ok((None, None)),
        Source::Factor { id } => {
            let factors = service.factors(caller).await?;
            let factor = factors.iter().find(|factor| factor.id() == *id);
            Ok((factor.map(FactorView::new), None))
        }
        Source::Evidence { role, at, .. } => {
            let set = statement.evidence.iter().find(|set| set.role == *role);
            let asked = (*role, at);
            let view = evidence::gather(
                service,
                caller,
                asked,
                (&statement.period, statement.position),
                set,
            )
            .await?;
            Ok((None, Some(view)))
        }
    }
}

/// The shortest way from a stated figure to the node: the ids above it, figure first.
///
/// Figures are tried in the order of the statement, so the two totals come first.
fn way_down(statement: &Statement, node: &str) -> Vec<String> {
    let mut users: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for other in &statement.trace.nodes {
        for input in &other.inputs {
            users.entry(input).or_default().push(&other.id);
        }
    }
    // Breadth first, upwards; `below` remembers by which input each node was reached.
    let mut below: BTreeMap<&str, &str> = BTreeMap::new();
    let mut waiting = VecDeque::from([node]);
    while let Some(id) = waiting.pop_front() {
        for user in users.get(id).into_iter().flatten() {
            if *user != node && !below.contains_key(user) {
                below.insert(user, id);
                waiting.push_back(user);
            }
        }
    }
    let is_stated = |id: &str| statement.figures.iter().any(|figure| figure.node == id);
    let start = statement
        .figures
        .iter()
        .map(|figure| figure.node.as_str())
        .find(|id| below.contains_key(id));
    let mut way = Vec::new();
    let mut at = start.filter(|_| !is_stated(node));
    while let Some(id) = at {
        way.push(id.to_owned());
        at = below.get(id).copied().filter(|next| *next != node);
    }
    way
}

#[cfg(test)]
#[path = "trace_tests.rs"]
mod tests;
