//! Cooking tests, stove tests and char samples: each row is an input by itself.

use crate::accounting::evidence::{CharLabTest, CookingTest, StoveTest};
use rust_decimal::Decimal;
use std::borrow::Borrow;

/// The tests in order of their codes, decimals without trailing zeros.
pub fn cooking_tests<T: Borrow<CookingTest>>(tests: &[T]) -> Vec<CookingTest> {
    let mut sorted: Vec<CookingTest> = tests
        .iter()
        .map(Borrow::borrow)
        .cloned()
        .map(|test| CookingTest {
            fuel_wet_kg: test.fuel_wet_kg.normalize(),
            moisture_wb: test.moisture_wb.normalize(),
            char_left_kg: test.char_left_kg.normalize(),
            food_kg: test.food_kg.normalize(),
            minutes: plain(test.minutes),
            ..test
        })
        .collect();
    sorted.sort_by(|a, b| a.test_code.cmp(&b.test_code));
    sorted
}

/// The tests in order of their codes, decimals without trailing zeros.
pub fn stove_tests<T: Borrow<StoveTest>>(tests: &[T]) -> Vec<StoveTest> {
    let mut sorted: Vec<StoveTest> = tests
        .iter()
        .map(Borrow::borrow)
        .cloned()
        .map(|test| StoveTest {
            fuel_wet_kg: test.fuel_wet_kg.normalize(),
            moisture_wb: test.moisture_wb.normalize(),
            fuel_ncv_dry_mj_per_kg: test.fuel_ncv_dry_mj_per_kg.normalize(),
            char_left_kg: test.char_left_kg.normalize(),
            char_ncv_mj_per_kg: test.char_ncv_mj_per_kg.normalize(),
            water_start_kg: test.water_start_kg.normalize(),
            water_end_kg: test.water_end_kg.normalize(),
            water_start_c: test.water_start_c.normalize(),
            water_end_c: test.water_end_c.normalize(),
            minutes: test.minutes.normalize(),
            co_g: plain(test.co_g),
            pm25_mg: plain(test.pm25_mg),
            safety_score: plain(test.safety_score),
            durability_score: plain(test.durability_score),
            ..test
        })
        .collect();
    sorted.sort_by(|a, b| a.test_code.cmp(&b.test_code));
    sorted
}

/// The samples in order of their codes, decimals without trailing zeros.
pub fn char_lab<T: Borrow<CharLabTest>>(samples: &[T]) -> Vec<CharLabTest> {
    let mut sorted: Vec<CharLabTest> = samples
        .iter()
        .map(Borrow::borrow)
        .cloned()
        .map(|sample| CharLabTest {
            carbon_total: sample.carbon_total.normalize(),
            carbon_inorganic: sample.carbon_inorganic.normalize(),
            hydrogen: sample.hydrogen.normalize(),
            ash: plain(sample.ash),
            ..sample
        })
        .collect();
    sorted.sort_by(|a, b| a.sample_code.cmp(&b.sample_code));
    sorted
}

fn plain(number: Option<Decimal>) -> Option<Decimal> {
    number.map(|number| number.normalize())
}
