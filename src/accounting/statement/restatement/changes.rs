//! Everything that differs between two sets of inputs, one change at a time.

use super::{Cause, CauseKind, EvidencePlace};
use crate::accounting::factor::{Factor, FactorId};
use crate::accounting::inputs::{Burn, EvidenceRole, KitchenHousehold, StatementInputs};
use crate::accounting::methodology::Methodology;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

type Apply<'a> = Box<dyn Fn(&mut StatementInputs) + 'a>;

/// One difference and how to carry it over.
pub(super) struct Change<'a> {
    pub cause: Cause,
    pub apply: Apply<'a>,
}

/// The changes that turn `before` into `after`, in a fixed order.
pub(super) fn changes<'a>(
    before: &'a StatementInputs,
    after: &'a StatementInputs,
) -> Vec<Change<'a>> {
    let mut found = evidence(before, after);
    found.extend(factors(before, after));
    found.extend(rules(before, after));
    found
}

/// A list of the inputs whose items stand under keys of their own.
struct List<T, K> {
    role: EvidenceRole,
    items: fn(&StatementInputs) -> &Vec<T>,
    items_mut: fn(&mut StatementInputs) -> &mut Vec<T>,
    key: fn(&T) -> K,
    title: fn(&T) -> String,
    told: fn(&T) -> String,
    at: fn(&T) -> BTreeMap<String, String>,
}

impl<T: Clone + PartialEq + 'static, K: Ord + Clone + 'static> List<T, K> {
    fn changes<'a>(
        self,
        before: &'a StatementInputs,
        after: &'a StatementInputs,
    ) -> Vec<Change<'a>> {
        let keyed = |inputs: &'a StatementInputs| -> BTreeMap<K, &'a T> {
            (self.items)(inputs)
                .iter()
                .map(|item| ((self.key)(item), item))
                .collect()
        };
        let (old, new) = (keyed(before), keyed(after));
        let keys: BTreeSet<&K> = old.keys().chain(new.keys()).collect();
        let mut found = Vec::new();
        for key in keys {
            let (was, is) = (old.get(key).copied(), new.get(key).copied());
            let Some(shown) = is.or(was).filter(|_| was != is) else {
                continue;
            };
            let told = |item: Option<&T>| item.map_or_else(|| "nothing".to_owned(), self.told);
            let (items_mut, key_of, key) = (self.items_mut, self.key, key.clone());
            found.push(Change {
                cause: Cause {
                    kind: CauseKind::Evidence,
                    title: (self.title)(shown),
                    change: format!("{} became {}", told(was), told(is)),
                    evidence: Some(EvidencePlace {
                        role: self.role,
                        at: (self.at)(shown),
                    }),
                },
                apply: Box::new(move |inputs| {
                    let items = items_mut(inputs);
                    items.retain(|item| key_of(item) != key);
                    if let Some(item) = is {
                        let place = items.partition_point(|other| key_of(other) < key);
                        items.insert(place, item.clone());
                    }
                }),
            });
        }
        found
    }
}

fn at(pairs: &[(&str, String)]) -> BTreeMap<String, String> {
    pairs
        .iter()
        .map(|(name, value)| ((*name).to_owned(), value.clone()))
        .collect()
}

fn evidence<'a>(before: &'a StatementInputs, after: &'a StatementInputs) -> Vec<Change<'a>> {
    let mut found = register_and_use(before, after);
    found.extend(kitchens(before, after));
    found.extend(tests_and_char(before, after));
    found
}

fn register_and_use<'a>(
    before: &'a StatementInputs,
    after: &'a StatementInputs,
) -> Vec<Change<'a>> {
    let cohorts = List {
        role: EvidenceRole::Register,
        items: |inputs| &inputs.cohorts,
        items_mut: |inputs| &mut inputs.cohorts,
        key: |c| {
            (
                c.model_code.clone(),
                c.model_version,
                c.site_code.clone(),
                c.age_band,
            )
        },
        title: |c| {
            format!(
                "stove days of {} version {} in {}, year {}",
                c.model_code,
                c.model_version,
                c.site_code,
                u64::from(c.age_band) + 1
            )
        },
        told: |c| format!("{} days of {} stoves", c.stove_days, c.stoves),
        at: |c| {
            at(&[
                ("model_code", c.model_code.clone()),
                ("site_code", c.site_code.clone()),
                ("age_band", c.age_band.to_string()),
            ])
        },
    };
    let usage = List {
        role: EvidenceRole::Usage,
        items: |inputs| &inputs.usage,
        items_mut: |inputs| &mut inputs.usage,
        key: |u| (u.age_band, u.site_code.clone()),
        title: |u| {
            format!(
                "usage answers of {}, stoves in year {}",
                u.site_code,
                u64::from(u.age_band) + 1
            )
        },
        told: |u| {
            format!(
                "{} in use, {} not in use, {} not found, {} refused, meal shares {} in {} answers",
                u.in_use,
                u.not_in_use,
                u.not_found,
                u.refused,
                u.meal_share.sum.normalize(),
                u.meal_share.count
            )
        },
        at: |u| {
            at(&[
                ("age_band", u.age_band.to_string()),
                ("site_code", u.site_code.clone()),
            ])
        },
    };
    let mut found = cohorts.changes(before, after);
    found.extend(usage.changes(before, after));
    found
}

fn kitchens<'a>(before: &'a StatementInputs, after: &'a StatementInputs) -> Vec<Change<'a>> {
    let list = |role, items, items_mut, title| List {
        role,
        items,
        items_mut,
        key: |k: &KitchenHousehold| k.household.clone(),
        title,
        told: kitchen_words,
        at: |k: &KitchenHousehold| at(&[("household_code", k.household.clone())]),
    };
    let mut found = list(
        EvidenceRole::BaselineKitchens,
        |inputs: &StatementInputs| &inputs.baseline_kitchens,
        |inputs: &mut StatementInputs| &mut inputs.baseline_kitchens,
        |k: &KitchenHousehold| format!("kitchen test of {}, baseline", k.household),
    )
    .changes(before, after);
    found.extend(
        list(
            EvidenceRole::ProjectKitchens,
            |inputs| &inputs.project_kitchens,
            |inputs| &mut inputs.project_kitchens,
            |k| format!("kitchen test of {}, project", k.household),
        )
        .changes(before, after),
    );
    found.extend(
        list(
            EvidenceRole::BaselineSurvey,
            |inputs| &inputs.baseline_survey,
            |inputs| &mut inputs.baseline_survey,
            |k| format!("baseline survey of {}", k.household),
        )
        .changes(before, after),
    );
    found
}

fn kitchen_words(kitchen: &KitchenHousehold) -> String {
    let burnt: Vec<String> = kitchen
        .dry_kg
        .iter()
        .map(|(Burn { device, fuel }, kg)| format!("{} kg {fuel} in {device}", kg.normalize()))
        .collect();
    format!("{} dry in {} days", burnt.join(", "), kitchen.days)
}

fn tests_and_char<'a>(before: &'a StatementInputs, after: &'a StatementInputs) -> Vec<Change<'a>> {
    let cooking = List {
        role: EvidenceRole::CookingTests,
        items: |inputs| &inputs.cooking_tests,
        items_mut: |inputs| &mut inputs.cooking_tests,
        key: |t| t.test_code.clone(),
        title: |t| format!("cooking test {}", t.test_code),
        told: |t| {
            format!(
                "{} kg {} for {} kg {} in {}",
                t.fuel_wet_kg, t.fuel, t.food_kg, t.dish, t.device
            )
        },
        at: |t| at(&[("test_code", t.test_code.clone())]),
    };
    let stove = List {
        role: EvidenceRole::StoveTests,
        items: |inputs| &inputs.stove_tests,
        items_mut: |inputs| &mut inputs.stove_tests,
        key: |t| t.test_code.clone(),
        title: |t| format!("stove test {}", t.test_code),
        told: |t| format!("{} kg {} in {}", t.fuel_wet_kg, t.fuel, t.device),
        at: |t| at(&[("test_code", t.test_code.clone())]),
    };
    let lab = List {
        role: EvidenceRole::CharLab,
        items: |inputs| &inputs.char_lab,
        items_mut: |inputs| &mut inputs.char_lab,
        key: |t| t.sample_code.clone(),
        title: |t| format!("char sample {}", t.sample_code),
        told: |t| format!("carbon {}, hydrogen {}", t.carbon_total, t.hydrogen),
        at: |t| at(&[("sample_code", t.sample_code.clone())]),
    };
    let lots = List {
        role: EvidenceRole::CharWeighings,
        items: |inputs| &inputs.char_lots,
        items_mut: |inputs| &mut inputs.char_lots,
        key: |lot| (lot.feedstock.clone(), lot.fate.clone()),
        title: |lot| format!("char of {}, fate {}", lot.feedstock, lot.fate),
        told: |lot| {
            format!(
                "{} kg dry in {} weighings",
                lot.dry_kg.normalize(),
                lot.weighings
            )
        },
        at: |lot| {
            at(&[
                ("feedstock", lot.feedstock.clone()),
                ("fate", lot.fate.clone()),
            ])
        },
    };
    let mut found = cooking.changes(before, after);
    found.extend(stove.changes(before, after));
    found.extend(lab.changes(before, after));
    found.extend(lots.changes(before, after));
    found
}

/// Factors by code: another version takes the place of the earlier one wherever it is named.
fn factors<'a>(before: &'a StatementInputs, after: &'a StatementInputs) -> Vec<Change<'a>> {
    let of = |inputs: &'a StatementInputs| -> BTreeMap<&'a str, Vec<&'a Factor>> {
        let mut by_code: BTreeMap<&str, Vec<&Factor>> = BTreeMap::new();
        for factor in &inputs.factors {
            by_code
                .entry(factor.code.as_str())
                .or_default()
                .push(factor);
        }
        by_code
    };
    let (old, new) = (of(before), of(after));
    let codes: BTreeSet<&str> = old.keys().chain(new.keys()).copied().collect();
    let none = Vec::new();
    let mut found = Vec::new();
    for code in codes {
        let (was, is) = (
            old.get(code).unwrap_or(&none),
            new.get(code).unwrap_or(&none),
        );
        if was == is {
            continue;
        }
        let told = |factors: &[&Factor]| {
            let words: Vec<String> = factors
                .iter()
                .map(|f| format!("{} {} ({})", f.value.normalize(), f.unit, f.id()))
                .collect();
            if words.is_empty() {
                "nothing".to_owned()
            } else {
                words.join(" and ")
            }
        };
        let renamed = match (was.as_slice(), is.as_slice()) {
            ([was], [is]) if was.id() != is.id() => Some((was.id(), is.id())),
            _ => None,
        };
        let is: Vec<Factor> = is.iter().map(|factor| (*factor).clone()).collect();
        let cause = Cause {
            kind: CauseKind::Factor,
            title: format!("factor {code}"),
            change: format!(
                "{} became {}",
                told(was),
                told(&is.iter().collect::<Vec<_>>())
            ),
            evidence: None,
        };
        found.push(Change {
            cause,
            apply: Box::new(move |inputs| replace_factor(inputs, code, &is, renamed.as_ref())),
        });
    }
    found
}

fn replace_factor(
    inputs: &mut StatementInputs,
    code: &str,
    is: &[Factor],
    renamed: Option<&(FactorId, FactorId)>,
) {
    inputs.factors.retain(|factor| factor.code != code);
    inputs.factors.extend(is.iter().cloned());
    let listed = &mut inputs.methodology.factors;
    listed.retain(|id| id.code != code);
    listed.extend(is.iter().map(Factor::id));
    if let Some((old, new)) = renamed
        && let Some(changed) = with_name_replaced(&inputs.methodology, old, new)
    {
        inputs.methodology = changed;
    }
}

/// The methodology with every mention of `old` turned into `new`.
fn with_name_replaced(of: &Methodology, old: &FactorId, new: &FactorId) -> Option<Methodology> {
    fn replace(value: &mut Value, old: &str, new: &str) {
        match value {
            Value::String(text) if text == old => new.clone_into(text),
            Value::Array(items) => items.iter_mut().for_each(|item| replace(item, old, new)),
            Value::Object(fields) => fields.values_mut().for_each(|item| replace(item, old, new)),
            _ => {}
        }
    }
    let mut value = serde_json::to_value(of).ok()?;
    replace(&mut value, &old.to_string(), &new.to_string());
    serde_json::from_value(value).ok()
}

/// Fields of a methodology that say who it is rather than what it chooses.
const NAMES: [&str; 4] = ["code", "version", "title", "citations"];

/// Choices of the methodology, field by field.
fn rules<'a>(before: &'a StatementInputs, after: &'a StatementInputs) -> Vec<Change<'a>> {
    let fields = |inputs: &StatementInputs| match serde_json::to_value(&inputs.methodology) {
        Ok(Value::Object(fields)) => fields,
        _ => serde_json::Map::new(),
    };
    let (old, new) = (fields(before), fields(after));
    let names: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    let mut found = Vec::new();
    for name in names {
        let (was, is) = (old.get(name), new.get(name));
        if was == is || NAMES.contains(&name.as_str()) {
            continue;
        }
        // The factors were carried over before; what is left of the list is its order.
        let silent = name == "factors" || only_factor_versions(was, is);
        let (field, is) = (name.clone(), is.cloned());
        let cause = Cause {
            kind: CauseKind::Rule,
            title: format!("rule {}", name.replace('_', " ")),
            change: format!("{} became {}", shown(was), shown(is.as_ref())),
            evidence: None,
        };
        let apply: Apply<'a> = Box::new(move |inputs| set_field(inputs, &field, is.as_ref()));
        if !silent {
            found.push(Change { cause, apply });
        }
    }
    found
}

/// Whether the two differ in versions of the factors that they name and in nothing else.
fn only_factor_versions(was: Option<&Value>, is: Option<&Value>) -> bool {
    fn unversioned(value: &Value) -> Value {
        match value {
            Value::String(text) => match text.parse::<FactorId>() {
                Ok(id) => Value::String(id.code),
                Err(_) => value.clone(),
            },
            Value::Array(items) => items.iter().map(unversioned).collect(),
            Value::Object(fields) => Value::Object(
                fields
                    .iter()
                    .map(|(name, value)| (name.clone(), unversioned(value)))
                    .collect(),
            ),
            other => other.clone(),
        }
    }
    was.map(unversioned) == is.map(unversioned)
}

fn set_field(inputs: &mut StatementInputs, field: &str, value: Option<&Value>) {
    let Ok(Value::Object(mut fields)) = serde_json::to_value(&inputs.methodology) else {
        return;
    };
    match value {
        Some(value) => fields.insert(field.to_owned(), value.clone()),
        None => fields.remove(field),
    };
    if let Ok(changed) = serde_json::from_value(Value::Object(fields)) {
        inputs.methodology = changed;
    }
}

/// Characters of a rule that are shown.
const SHOWN_MAX: usize = 160;

fn shown(value: Option<&Value>) -> String {
    let text = match value {
        None => return "nothing".to_owned(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    };
    if text.chars().count() > SHOWN_MAX {
        text.chars().take(SHOWN_MAX).chain(['…']).collect()
    } else {
        text
    }
}
