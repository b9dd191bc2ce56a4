//! One factor: value, spread and source, where it is used, and its versions or any other factor
//! beside it.

use super::factors::FactorView;
use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::factor::{Factor, FactorId};
use crate::accounting::records::findings::SubjectKind;
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use rust_decimal::Decimal;
use serde::Deserialize;

/// A factor beside the one of the page.
struct Beside {
    view: FactorView,
    /// How far its value lies from the other's; none where the units differ or that is zero.
    change: Option<String>,
    own: bool,
}

/// A statement that reads the factor.
struct UseLine {
    href: String,
    title: String,
    /// Address and label of each node.
    nodes: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "factor.html")]
struct FactorPage {
    shell: Shell,
    raise: Option<String>,
    factor: FactorView,
    beside: Vec<Beside>,
    /// Others of the same quantity that can be set beside it.
    others: Vec<(String, bool)>,
    methodologies: Vec<String>,
    statements: Vec<UseLine>,
    whole: bool,
}

#[derive(Deserialize)]
pub(super) struct FactorQuery {
    /// `code@version` of the factor to set beside.
    with: Option<FactorId>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<FactorId>,
    QueryParts(query): QueryParts<FactorQuery>,
) -> Result<Response, Refusal> {
    let factors = service.factors(&caller).await?;
    let Some(factor) = factors.iter().find(|factor| factor.id() == id) else {
        return Err(Refusal::not_found(&format!("There is no factor {id}.")));
    };
    let chosen = |other: &Factor| query.with.as_ref() == Some(&other.id());
    let mut beside: Vec<&Factor> = factors
        .iter()
        .filter(|other| other.code == factor.code || chosen(other))
        .collect();
    beside.sort_by_key(|other| (other.code != factor.code, other.version));
    let uses = service.factor_uses(&caller, &id).await?;
    draw(&FactorPage {
        raise: links::raise(&caller, SubjectKind::Factor, &id.to_string()),
        shell: Shell::of(&caller, Section::Factors, format!("Factor {id}")),
        factor: FactorView::new(factor),
        beside: beside
            .into_iter()
            .map(|other| Beside {
                change: change(factor, other),
                own: other.id() == id,
                view: FactorView::new(other),
            })
            .collect(),
        others: factors
            .iter()
            .filter(|other| other.quantity == factor.quantity && other.id() != id)
            .map(|other| (other.id().to_string(), chosen(other)))
            .collect(),
        methodologies: uses.methodologies,
        statements: uses
            .statements
            .into_iter()
            .map(|one| UseLine {
                href: links::statement(one.statement),
                title: format!("{}, {}", one.period, one.methodology),
                nodes: one
                    .nodes
                    .into_iter()
                    .map(|(node, label)| {
                        let label = words::capital(&words::label(&label));
                        (links::node(one.statement, &node), label)
                    })
                    .collect(),
            })
            .collect(),
        whole: caller.sites.is_none(),
    })
}

/// `other` against `own`, as a share of `own`, with its sign.
fn change(own: &Factor, other: &Factor) -> Option<String> {
    if own.unit != other.unit || own.id() == other.id() {
        return None;
    }
    let part = other.value.checked_sub(own.value)?.checked_div(own.value)?;
    let percent = words::percent(part.abs());
    Some(if part.is_zero() {
        "equal".to_owned()
    } else if part > Decimal::ZERO {
        format!("{percent} more")
    } else {
        format!("{percent} less")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::accounting::library;

    #[test]
    fn a_change_is_told_in_the_same_unit_alone() {
        let factors = library::published_factors().unwrap();
        let mut own = factors[0].clone();
        let mut other = own.clone();
        own.value = Decimal::new(50, 1);
        other.version += 1;
        other.value = Decimal::new(40, 1);
        assert_eq!(change(&own, &other).as_deref(), Some("20 % less"));
        assert_eq!(change(&own, &own), None);
        own.value = Decimal::ZERO;
        assert_eq!(change(&own, &other), None, "no share of nothing");
        other.unit = "g/MJ".into();
        own.value = Decimal::ONE;
        assert_eq!(change(&own, &other), None);
    }
}
