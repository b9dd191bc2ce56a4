//! The factors of the programme, narrowed down as the reader asks.

use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::factor::Factor;
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use std::collections::BTreeSet;

/// A factor as it is shown.
pub(super) struct FactorView {
    /// `code@version`.
    pub id: String,
    pub href: String,
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
            href: links::factor(&factor.id()),
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

/// What the list is narrowed down by; empty = not at all.
#[derive(Deserialize, Default)]
pub(super) struct FactorsQuery {
    #[serde(default)]
    quantity: String,
    #[serde(default)]
    species: String,
    #[serde(default)]
    fuel: String,
    #[serde(default)]
    device: String,
    #[serde(default)]
    mark: String,
    /// Words of the code or the source.
    #[serde(default)]
    words: String,
}

impl FactorsQuery {
    fn wants(&self, factor: &Factor) -> bool {
        let is = |wanted: &str, own: &Option<String>| {
            wanted.is_empty() || own.as_deref() == Some(wanted)
        };
        let text = format!("{} {}", factor.id(), factor.source).to_lowercase();
        let wanted = self.words.to_lowercase();
        (self.quantity.is_empty() || self.quantity == factor.quantity.words())
            && is(&self.species, &factor.species)
            && is(&self.fuel, &factor.fuel)
            && is(&self.device, &factor.device)
            && (self.mark.is_empty() || self.mark == words::mark(factor.mark).0)
            && wanted.split_whitespace().all(|word| text.contains(word))
    }
}

/// One field of the form that narrows the list: name, label, and each choice with whether it
/// is the one taken.
struct Choice {
    name: &'static str,
    label: &'static str,
    options: Vec<(String, String, bool)>,
}

fn choice(name: &'static str, label: &'static str, taken: &str, of: BTreeSet<&str>) -> Choice {
    let options = of.into_iter();
    Choice {
        name,
        label,
        options: options
            .map(|value| (value.to_owned(), words::spaced(value), value == taken))
            .collect(),
    }
}

#[derive(Template)]
#[template(path = "factors.html")]
struct FactorsPage {
    shell: Shell,
    /// How many there are, and how many are shown.
    count: String,
    shown: String,
    words: String,
    choices: Vec<Choice>,
    groups: Vec<QuantityGroup>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<FactorsQuery>,
) -> Result<Response, Refusal> {
    let mut factors = service.factors(&caller).await?;
    let of = |field: fn(&Factor) -> Option<&str>| factors.iter().filter_map(field).collect();
    let choices = vec![
        choice(
            "quantity",
            "Quantity",
            &query.quantity,
            of(|f| Some(f.quantity.words())),
        ),
        choice(
            "species",
            "Species",
            &query.species,
            of(|f| f.species.as_deref()),
        ),
        choice("fuel", "Fuel", &query.fuel, of(|f| f.fuel.as_deref())),
        choice(
            "device",
            "Device",
            &query.device,
            of(|f| f.device.as_deref()),
        ),
        choice(
            "mark",
            "Mark",
            &query.mark,
            of(|f| Some(words::mark(f.mark).0)),
        ),
    ];
    let count = factors.len();
    factors.retain(|factor| query.wants(factor));
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
    draw(&FactorsPage {
        shell: Shell::of(&caller, Section::Factors, "Factors"),
        count: words::count(count as u64),
        shown: words::count(factors.len() as u64),
        choices,
        groups: groups.collect(),
        words: query.words,
    })
}
