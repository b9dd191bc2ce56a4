//! Two statements held against each other: the stated one and the one computed again.

use super::{Simulation, Statement};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// One place where the two statements part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// E.g. `figure reductions_co2e, value` or `node use/rate/band/0, value`.
    pub place: String,
    /// Absent where only the other statement has something here.
    pub stated: Option<String>,
    pub recomputed: Option<String>,
}

/// Characters of either side that a person is shown.
const SHOWN_MAX: usize = 80;

impl std::fmt::Display for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let shown = |side: &Option<String>| match side {
            Some(text) if text.chars().count() > SHOWN_MAX => {
                text.chars().take(SHOWN_MAX).chain(['…']).collect()
            }
            Some(text) => text.clone(),
            None => "nothing".to_owned(),
        };
        write!(
            f,
            "{}: stated {}, computed again {}",
            self.place,
            shown(&self.stated),
            shown(&self.recomputed)
        )
    }
}

/// Every difference, figure by figure and node by node; none when the statements agree.
///
/// The version of the program is not compared: a later version may confirm what an earlier
/// one stated.
pub fn compare(stated: &Statement, recomputed: &Statement) -> Vec<Difference> {
    let mut found = Vec::new();
    let (a, b) = (stated, recomputed);
    part(&mut found, "schema", &a.schema, &b.schema);
    part(&mut found, "programme", &a.programme, &b.programme);
    part(&mut found, "period", &a.period, &b.period);
    part(&mut found, "position", &a.position, &b.position);
    part(&mut found, "methodology", &a.methodology, &b.methodology);
    by_id(&mut found, "figure", &a.figures, &b.figures, |figure| {
        &figure.id
    });
    part(
        &mut found,
        "claim of reductions",
        &a.claims.reductions,
        &b.claims.reductions,
    );
    part(
        &mut found,
        "claim of removals",
        &a.claims.removals,
        &b.claims.removals,
    );
    simulations(&mut found, a.simulation.as_ref(), b.simulation.as_ref());
    part(&mut found, "advice", &a.advice, &b.advice);
    part(&mut found, "notes", &a.notes, &b.notes);
    part(&mut found, "rounding", &a.rounding, &b.rounding);
    part(&mut found, "cautions", &a.cautions, &b.cautions);
    part(&mut found, "evidence", &a.evidence, &b.evidence);
    by_id(&mut found, "node", &a.trace.nodes, &b.trace.nodes, |node| {
        &node.id
    });
    found
}

/// Draw by draw the same: every part of the simulation, its figures by their ids.
fn simulations(
    found: &mut Vec<Difference>,
    stated: Option<&Simulation>,
    recomputed: Option<&Simulation>,
) {
    let (Some(a), Some(b)) = (stated, recomputed) else {
        part(found, "simulation", &stated, &recomputed);
        return;
    };
    part(found, "simulation, draws", &a.draws, &b.draws);
    part(found, "simulation, seed", &a.seed, &b.seed);
    let cost = |one: &Simulation| (one.contribution_draws, one.contribution_evaluations);
    part(found, "simulation, contributions", &cost(a), &cost(b));
    by_id(
        found,
        "simulated figure",
        &a.figures,
        &b.figures,
        |figure| &figure.id,
    );
}

/// What is under one id on either side; a repeated id is paired in the order of its repeats.
fn by_id<T: Serialize + PartialEq + std::fmt::Debug>(
    found: &mut Vec<Difference>,
    kind: &str,
    stated: &[T],
    recomputed: &[T],
    id: impl Fn(&T) -> &String,
) {
    let mut pairs: BTreeMap<&str, (Vec<&T>, Vec<&T>)> = BTreeMap::new();
    for item in stated {
        pairs.entry(id(item)).or_default().0.push(item);
    }
    for item in recomputed {
        pairs.entry(id(item)).or_default().1.push(item);
    }
    for (id, (stated, recomputed)) in pairs {
        let place = format!("{kind} {id}");
        for at in 0..stated.len().max(recomputed.len()) {
            match (stated.get(at), recomputed.get(at)) {
                (Some(a), Some(b)) => part(found, &place, *a, *b),
                (a, b) => found.push(Difference {
                    place: place.clone(),
                    stated: a.map(|_| "present".to_owned()),
                    recomputed: b.map(|_| "present".to_owned()),
                }),
            }
        }
    }
    if stated.len() == recomputed.len() && found.is_empty() {
        let order = |items: &[T]| {
            items
                .iter()
                .map(|item| id(item).clone())
                .collect::<Vec<_>>()
        };
        part(
            found,
            &format!("order of the {kind}s"),
            &order(stated),
            &order(recomputed),
        );
    }
}

fn part<T: Serialize + PartialEq + std::fmt::Debug>(
    found: &mut Vec<Difference>,
    place: &str,
    stated: &T,
    recomputed: &T,
) {
    if stated == recomputed {
        return;
    }
    let before = found.len();
    if let (Ok(a), Ok(b)) = (
        serde_json::to_value(stated),
        serde_json::to_value(recomputed),
    ) {
        leaves(found, place, Some(&a), Some(&b));
    }
    // Values that differ but are written alike are still reported.
    if found.len() == before {
        found.push(Difference {
            place: place.to_owned(),
            stated: Some(format!("{stated:?}")),
            recomputed: Some(format!("{recomputed:?}")),
        });
    }
}

/// Descends objects to the values that differ.
fn leaves(found: &mut Vec<Difference>, place: &str, a: Option<&Value>, b: Option<&Value>) {
    if a == b {
        return;
    }
    if let (Some(Value::Object(a)), Some(Value::Object(b))) = (a, b) {
        let only_b = b.keys().filter(|key| !a.contains_key(*key));
        for key in a.keys().chain(only_b) {
            leaves(found, &format!("{place}, {key}"), a.get(key), b.get(key));
        }
        return;
    }
    let text = |value: &Value| match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    found.push(Difference {
        place: place.to_owned(),
        stated: a.map(text),
        recomputed: b.map(text),
    });
}
