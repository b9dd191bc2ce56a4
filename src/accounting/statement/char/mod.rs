//! Char carbon: what was weighed, what went to soil, what of it stays.

mod laboratory;
mod mass_balance;
mod material;
pub(super) mod once;
mod permanence;
mod stored;

pub use once::SoilSink;

use super::draft::Draft;
use super::fuel::Kitchens;
use crate::accounting::factor::Factor;
use crate::accounting::inputs::{CharLot, EvidenceRole};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use mass_balance::check_yield;
use material::{Material, material};
use once::open_sink;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};
use stored::{nothing_stored, stored_carbon};

/// Fates in which char gives its carbon back to the air, or may have.
const FLEETING_FATES: [&str; 4] = ["burnt", "sold_as_fuel", "discarded", "unknown"];

/// Char of the period, in the ledger.
pub(super) struct CharAccount {
    /// Dry kg, all fates.
    pub weighed: NodeRef,
    /// Dry kg with a durable fate, within the yield bound.
    pub to_soil: NodeRef,
    /// tCO2.
    pub stored: NodeRef,
    /// Present where char is counted in the soil.
    pub sink: Option<SoilSink>,
    /// Why nothing of it may be claimed.
    pub refusal: Option<String>,
}

/// The nodes that each lot gives to the totals.
struct LotNodes {
    dry: NodeRef,
    to_soil: Option<NodeRef>,
    stored: NodeRef,
}

pub(super) fn account(
    draft: &mut Draft,
    project: &Kitchens,
    days_in_use: NodeRef,
    co2_factors: &[&Factor],
) -> Option<CharAccount> {
    let inputs = draft.inputs;
    let rule = &inputs.methodology.char_rule;
    refuse_fleeting_fates(draft)?;
    let durable = |lot: &CharLot| rule.durable_fates.contains(&lot.fate);
    let mut sorted: Vec<&CharLot> = inputs.char_lots.iter().collect();
    sorted.sort_by_key(|lot| (&lot.feedstock, &lot.fate));
    let first_durable = sorted.iter().copied().find(|lot| durable(lot));
    let sink = open_sink(draft, first_durable, co2_factors)?;
    let counts = |lot: &CharLot| durable(lot) && sink.is_some();
    let counted = sorted.iter().filter(|lot| counts(lot));
    let feedstocks: BTreeSet<&str> = counted.map(|lot| lot.feedstock.as_str()).collect();
    // All feedstocks are tried before giving up, so that all gaps are named at once.
    let materials: Vec<Option<(&str, Material)>> = feedstocks
        .into_iter()
        .map(|feedstock| Some((feedstock, material(draft, feedstock)?)))
        .collect();
    let materials: BTreeMap<&str, Material> = materials.into_iter().collect::<Option<_>>()?;
    let mut lots = Vec::with_capacity(sorted.len());
    for lot in sorted {
        let material = materials.get(lot.feedstock.as_str()).copied();
        let counting = material.filter(|_| counts(lot));
        lots.push(lot_nodes(draft, lot, durable(lot), counting)?);
    }
    let weighed = total(
        draft,
        Heading::new(
            "char/weighed_dry",
            "char weighed, dry",
            "char-weighed",
            "kg dry char",
        ),
        lots.iter().map(|lot| lot.dry),
    )?;
    let to_soil = total(
        draft,
        Heading::new(
            "char/to_soil_dry",
            "char to a durable use, dry, within the yield bound",
            "char-to-soil",
            "kg dry char",
        ),
        lots.iter().filter_map(|lot| lot.to_soil),
    )?;
    let stored = total(
        draft,
        Heading::new(
            "char/stored_kg",
            "CO2 stored as durable char carbon",
            "char-carbon-stored",
            "kg CO2",
        ),
        lots.iter().map(|lot| lot.stored),
    )?;
    let stored = in_tonnes(draft, stored)?;
    let refusal = check_yield(draft, project, days_in_use, to_soil)?;
    Some(CharAccount {
        weighed,
        to_soil,
        stored,
        sink,
        refusal,
    })
}

fn total(
    draft: &mut Draft,
    heading: Heading,
    nodes: impl Iterator<Item = NodeRef>,
) -> Option<NodeRef> {
    let terms: Vec<Term> = nodes.map(|node| Term(Sign::Plus, node)).collect();
    let sum = draft.ledger.sum(heading, &terms);
    draft.keep(sum)
}

fn in_tonnes(draft: &mut Draft, stored: NodeRef) -> Option<NodeRef> {
    let tonne = draft.tonne_per_kg("co2", "tCO2/kg CO2")?;
    let heading = Heading::new(
        "char/removals",
        "CO2 removed and stored as char in soil",
        "co2-removals",
        "tCO2",
    );
    let removals = draft.ledger.product(heading, &[stored, tonne]);
    draft.keep(removals)
}

fn lot_id(lot: &CharLot) -> String {
    format!("char/{}/{}", lot.feedstock, lot.fate)
}

fn stored_id(lot: &CharLot) -> String {
    format!("{}/stored", lot_id(lot))
}

/// The nodes of one lot; `material` where it counts as stored.
fn lot_nodes(
    draft: &mut Draft,
    lot: &CharLot,
    durable: bool,
    material: Option<Material>,
) -> Option<LotNodes> {
    let words = format!("{} char, fate {}", lot.feedstock, lot.fate);
    // Every weighing of the period is here, so no sampling stands behind the mass.
    let label = format!("{words}, dry: all weighings added up, none sampled");
    let dry = lot_record(draft, lot, "dry", label, lot.dry_kg, lot.weighings)?;
    let within = within_bound(draft, lot, dry, &words)?;
    let stored = match material {
        Some(material) => stored_carbon(draft, lot, material, within, &words)?,
        None => nothing_stored(draft, lot, within, &words)?,
    };
    Some(LotNodes {
        dry,
        to_soil: durable.then_some(within),
        stored,
    })
}

/// A methodology cannot make a fate durable that gives the carbon back.
fn refuse_fleeting_fates(draft: &mut Draft) -> Option<()> {
    let durable = &draft.inputs.methodology.char_rule.durable_fates;
    let wrong: Vec<&str> = durable
        .iter()
        .map(String::as_str)
        .filter(|fate| FLEETING_FATES.contains(fate))
        .collect();
    if wrong.is_empty() {
        return Some(());
    }
    let sentence = format!(
        "The methodology counts char of these fates as durable, though nothing shows that its \
         carbon stays: {}.",
        wrong.join(", ")
    );
    draft.gap("fate-not-durable", sentence);
    None
}

fn lot_record(
    draft: &mut Draft,
    lot: &CharLot,
    what: &str,
    label: String,
    kg: Decimal,
    weighings: u64,
) -> Option<NodeRef> {
    let at = [("feedstock", &lot.feedstock), ("fate", &lot.fate)];
    let at: BTreeMap<String, String> = at
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value.clone()))
        .collect();
    let id = format!("{}/{what}", lot_id(lot));
    let heading = Heading::new(id, label, "char-weighed", "kg dry char");
    let role = EvidenceRole::CharWeighings;
    let record = draft.ledger.record(heading, kg, role, at, weighings);
    draft.keep(record)
}

/// The lot without the weighings whose char is more than their fuel can have given.
fn within_bound(draft: &mut Draft, lot: &CharLot, dry: NodeRef, words: &str) -> Option<NodeRef> {
    if lot.over_bound_weighings == 0 {
        return Some(dry);
    }
    draft.note(
        "char-over-bound",
        format!(
            "{} of {} weighings of {words} hold more char than the yield bound allows; their {} kg \
             dry are not counted.",
            lot.over_bound_weighings, lot.weighings, lot.over_bound_dry_kg
        ),
    );
    let label = format!("{words}, dry, above the yield bound");
    let (kg, weighings) = (lot.over_bound_dry_kg, lot.over_bound_weighings);
    let over = lot_record(draft, lot, "over_bound", label, kg, weighings)?;
    let heading = Heading::new(
        format!("{}/within_bound", lot_id(lot)),
        format!("{words}, dry, within the yield bound"),
        "char-within-bound",
        "kg dry char",
    );
    let within = draft.ledger.difference(heading, dry, over);
    draft.keep(within)
}
