//! The rows of an invented programme: drawn by chance, and written as lines of a file.

use super::timeline::Chance;
use chrono::{Days, NaiveDate};
use emberbook::accounting::evidence::{CharWeighing, Deployment, Household, KitchenDay, People};
use rust_decimal::Decimal;

/// Codes that sort one way by bytes and another by a dictionary.
pub const SITES: [&str; 4] = ["a-1", "A.2", "B", "a_1"];

pub fn people(chance: &mut Chance) -> People {
    let mut some = |most| u32::try_from(chance.between(0, most)).expect("small");
    People {
        children_0_14: some(5),
        women_over_14: 1 + some(2),
        men_15_59: some(3),
        men_over_59: some(1),
    }
}

pub fn people_cells(people: &People) -> String {
    format!(
        "{},{},{},{}",
        people.children_0_14, people.women_over_14, people.men_15_59, people.men_over_59
    )
}

pub fn household(chance: &mut Chance, n: u64) -> Household {
    Household {
        household_code: format!("{}{n}", chance.pick(&["h", "H", "h-", "H_"])),
        site_code: (*chance.pick(&SITES)).to_owned(),
        people: people(chance),
    }
}

pub fn household_row(row: &Household) -> String {
    format!(
        "{},{},{}",
        row.household_code,
        row.site_code,
        people_cells(&row.people)
    )
}

pub fn deployment_row(row: &Deployment) -> String {
    let ended_on = row.ended_on.map_or(String::new(), |day| day.to_string());
    let reason = row.end_reason.clone().unwrap_or_default();
    // An empty cell and a "no" say the same.
    let second = match (row.second_stove, row.serial.len() % 2) {
        (true, _) => "yes",
        (false, 0) => "no",
        (false, _) => "",
    };
    format!(
        "{},{},{},{},{},{ended_on},{reason},{second}",
        row.serial, row.model_code, row.model_version, row.household_code, row.installed_on
    )
}

/// A mass in kg with two decimals.
pub fn kg(chance: &mut Chance, low: u64, high: u64) -> Decimal {
    Decimal::new(i64::try_from(chance.between(low, high)).expect("small"), 2)
}

pub fn moisture(chance: &mut Chance) -> Decimal {
    Decimal::new(i64::try_from(chance.between(0, 800)).expect("small"), 3)
}

pub fn kitchens(
    chance: &mut Chance,
    first_day: &str,
    codes: &[String],
    burns: &[(&str, &str)],
) -> Vec<KitchenDay> {
    let first_day: NaiveDate = first_day.parse().expect("a day");
    let mut days = Vec::new();
    for code in codes {
        for day in 0..chance.between(3, 5) {
            let people = people(chance);
            for (place, (device, fuel)) in burns.iter().enumerate() {
                if place > 0 && chance.percent(30) {
                    continue;
                }
                let (start, added) = (kg(chance, 500, 2000), kg(chance, 0, 500));
                days.push(KitchenDay {
                    household_code: code.clone(),
                    measured_on: first_day + Days::new(day),
                    device: (*device).to_owned(),
                    fuel: (*fuel).to_owned(),
                    stock_start_wet_kg: start,
                    added_wet_kg: added,
                    stock_end_wet_kg: kg(chance, 0, 500),
                    moisture_wb: moisture(chance),
                    people,
                });
            }
        }
    }
    days
}

pub fn kitchen_row(row: &KitchenDay) -> String {
    format!(
        "{},{},{},{},{},{},{},{},{}",
        row.household_code,
        row.measured_on,
        row.device,
        row.fuel,
        row.stock_start_wet_kg,
        row.added_wet_kg,
        row.stock_end_wet_kg,
        row.moisture_wb,
        people_cells(&row.people)
    )
}

pub fn weighing(chance: &mut Chance, n: u64, codes: &[String]) -> CharWeighing {
    let weighed_with_fuel = chance.percent(70);
    CharWeighing {
        household_code: codes[n as usize % codes.len()].clone(),
        weighed_on: chance.day(),
        feedstock: (*chance.pick(&["coconut_husk", "pigeon_pea_stalk", "wood"])).to_owned(),
        fuel_burnt_wet_kg: weighed_with_fuel.then(|| kg(chance, 500, 4000)),
        fuel_moisture_wb: weighed_with_fuel.then(|| moisture(chance)),
        char_wet_kg: Decimal::new(100 + n as i64, 2) + kg(chance, 0, 600),
        char_moisture_wb: moisture(chance),
        fate: (*chance.pick(&[
            "soil",
            "soil",
            "burnt",
            "sold_as_fuel",
            "discarded",
            "unknown",
        ]))
        .to_owned(),
    }
}

pub fn weighing_row(row: &CharWeighing) -> String {
    let optional = |value: Option<Decimal>| value.map_or(String::new(), |v| v.to_string());
    format!(
        "{},{},{},{},{},{},{},{}",
        row.household_code,
        row.weighed_on,
        row.feedstock,
        optional(row.fuel_burnt_wet_kg),
        optional(row.fuel_moisture_wb),
        row.char_wet_kg,
        row.char_moisture_wb,
        row.fate
    )
}
