//! The factors of the programme, with their sources.

use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::factor::Factor;
use crate::accounting::records::findings::SubjectKind;
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;

/// A factor as it is shown.
pub(super) struct FactorView {
    /// `code@version`.
    pub id: String,
    pub quantity: &'static str,
    /// Species, fuel and device, where the factor is of one.
    pub about: String,
    pub value: String,
    pub unit: String,
    pub spread: String,
    pub source: String,
    pub mark: &'static str,
    pub mark_words: &'static str,
    pub note: Option<String>,
}

impl FactorView {
    pub fn new(factor: &Factor) -> Self {
        let about: Vec<String> = [&factor.species, &factor.fuel, &factor.device]
            .into_iter()
            .flatten()
            .map(|code| words::spaced(code))
            .collect();
        let (mark, mark_words) = words::mark(factor.mark);
        FactorView {
            id: factor.id().to_string(),
            quantity: factor.quantity.words(),
            about: about.join(", "),
            value: words::whole(factor.value),
            unit: words::unit(&factor.unit),
            spread: words::spread(&factor.spread),
            source: factor.source.clone(),
            mark,
            mark_words,
            note: factor.note.clone(),
        }
    }
}

/// Factors of one quantity.
struct QuantityGroup {
    anchor: String,
    title: String,
    factors: Vec<FactorView>,
}

#[derive(Template)]
#[template(path = "factors.html")]
struct FactorsPage {
    shell: Shell,
    /// Whether the reader may raise findings.
    raises: bool,
    count: String,
    groups: Vec<QuantityGroup>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    let mut factors = service.factors(&caller).await?;
    // Stable: inside a quantity the library's own order stays.
    factors.sort_by_key(|factor| factor.quantity);
    let groups = factors
        .chunk_by(|one, next| one.quantity == next.quantity)
        .filter_map(|group| Some((group.first()?.quantity.words(), group)))
        .map(|(title, group)| QuantityGroup {
            anchor: title.replace(' ', "-"),
            title: words::capital(title),
            factors: group.iter().map(FactorView::new).collect(),
        });
    let raises = links::raise(&caller, SubjectKind::Factor, "").is_some();
    draw(&FactorsPage {
        raises,
        shell: Shell::of(&caller, Section::Factors, "Factors"),
        count: words::count(factors.len() as u64),
        groups: groups.collect(),
    })
}
