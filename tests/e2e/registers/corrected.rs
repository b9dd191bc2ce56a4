//! Corrections at random of an invented programme: rows superseded and excluded, a batch
//! withdrawn and part of it sent again.

use super::invented::{Invented, Sent, Taken, taken, upload};
use super::people::SITES;
use super::samples::cooking_row;
use super::timeline::Chance;
use crate::corrections;
use crate::support::TestProgramme;
use emberbook::accounting::evidence::{CookingTest, UsageOutcome};
use rust_decimal::Decimal;
use serde_json::{Value, json};

/// Corrections of each kind of row.
const TRIES: usize = 5;

fn sequence(answer: &Value) -> u64 {
    answer["sequence"].as_u64().expect("a sequence")
}

/// Supersedes some rows, each by what `change` makes of it and says of its cells; where rows of
/// the kind may be excluded, excludes some.
async fn correct_some<T: Clone>(
    programme: &TestProgramme,
    chance: &mut Chance,
    sent: &mut Taken<T>,
    excludable: bool,
    change: impl Fn(&mut Chance, &mut T) -> Value,
) {
    for _ in 0..TRIES {
        let place = chance.between(0, sent.len() as u64 - 1) as usize;
        let old = &mut sent[place];
        if old.until.is_some() {
            continue;
        }
        if excludable && chance.percent(40) {
            let done = corrections::exclude(programme, &old.batch, old.line).await;
            old.until = Some(sequence(&done.ok(201)));
            continue;
        }
        let mut row = old.row.clone();
        let cells = change(chance, &mut row);
        let done = corrections::supersede(programme, &old.batch, old.line, cells).await;
        let done = done.ok(201);
        old.until = Some(sequence(&done));
        sent.push(Sent {
            sequence: sequence(&done),
            until: None,
            batch: corrections::replacement(&done),
            line: 2,
            row,
        });
    }
}

/// Withdraws the batch of the first test, and sends every second row of it again.
async fn withdraw_and_send_again(programme: &TestProgramme, sent: &mut Taken<CookingTest>) {
    let batch = sent[0].batch.clone();
    let done = corrections::withdraw(programme, &batch).await.ok(201);
    let mut again = Vec::new();
    for old in sent.iter_mut().filter(|old| old.batch == batch) {
        old.until = Some(sequence(&done));
        if old.line % 2 == 0 {
            again.push(old.row.clone());
        }
    }
    let texts = again.iter().map(cooking_row).collect();
    let at = upload(programme, "cooking_test", Some("cooked"), texts).await;
    sent.extend(taken(at, again));
}

impl Invented {
    pub async fn correct(&mut self, programme: &TestProgramme, chance: &mut Chance) {
        let more = |value: &mut Decimal| {
            *value += Decimal::new(7, 1);
            value.to_string()
        };
        correct_some(
            programme,
            chance,
            &mut self.households,
            false,
            |chance, row| {
                let other = SITES.iter().filter(|site| **site != row.site_code);
                let other: Vec<&&str> = other.collect();
                row.site_code = (**chance.pick(&other)).to_owned();
                json!({"site_code": row.site_code})
            },
        )
        .await;
        correct_some(programme, chance, &mut self.deployments, false, |_, row| {
            let (code, version) = match (row.model_code.as_str(), row.model_version) {
                ("G1", 2) => ("g-1", 1),
                _ => ("G1", 2),
            };
            (row.model_code, row.model_version) = (code.to_owned(), version);
            // The new row must be another one, whichever model the old one was of.
            json!({"model_code": code, "model_version": version})
        })
        .await;
        if !self.ends.is_empty() {
            correct_some(programme, chance, &mut self.ends, false, |_, row| {
                let other = match row.end_reason.as_str() {
                    "broken" => "moved",
                    _ => "broken",
                };
                row.end_reason = other.to_owned();
                json!({"end_reason": other})
            })
            .await;
        }
        correct_some(programme, chance, &mut self.answers, true, |_, (_, row)| {
            let (outcome, word) = match row.outcome {
                UsageOutcome::InUse => (UsageOutcome::NotInUse, "not_in_use"),
                _ => (UsageOutcome::InUse, "in_use"),
            };
            row.outcome = outcome;
            json!({"outcome": word})
        })
        .await;
        correct_some(programme, chance, &mut self.kitchen_days, true, |_, row| {
            // Its fellows of the day may name other people from now on.
            row.people.men_15_59 += 1;
            json!({"added_wet_kg": more(&mut row.added_wet_kg),
                   "men_15_59": row.people.men_15_59})
        })
        .await;
        correct_some(
            programme,
            chance,
            &mut self.weighings,
            true,
            |_, row| json!({"char_wet_kg": more(&mut row.char_wet_kg)}),
        )
        .await;
        let samples = &mut self.samples;
        correct_some(
            programme,
            chance,
            &mut samples.answers,
            true,
            |_, (_, row)| json!({"fuel_wet_kg_per_day": more(&mut row.fuel_wet_kg_per_day)}),
        )
        .await;
        withdraw_and_send_again(programme, &mut samples.cooking).await;
        correct_some(
            programme,
            chance,
            &mut samples.cooking,
            true,
            |_, row| json!({"food_kg": more(&mut row.food_kg)}),
        )
        .await;
        correct_some(
            programme,
            chance,
            &mut samples.stoves,
            true,
            |_, row| json!({"minutes": more(&mut row.minutes)}),
        )
        .await;
        correct_some(programme, chance, &mut samples.lab, true, |_, row| {
            row.laboratory += "-2";
            json!({"laboratory": row.laboratory})
        })
        .await;
    }
}
