//! Controlled cooking tests: fuel spent for each kg of food, one dish and device a row.

use crate::accounting::evidence::CookingTest;
use crate::accounting::stove_test::{CharEnergy, TestError};
use crate::accounting::stove_test::{equivalent_by_rule, must};
use crate::accounting::units::{DryMass, EquivalentDryFuel, WetBasisMoisture, WetMass, checked};
use rust_decimal::Decimal;

/// Specific fuel consumption, g equivalent dry fuel per kg food, by the rule of thumb of the
/// controlled cooking test 2.0: `SC = 1000 * (f_m * (1 - 1.12 M) - 1.5 * char) / food`.
///
/// The char's term is left out where its energy is ignored: all fuel counts as spent.
///
/// # Errors
/// A row that no test can give: no fuel, no food, more char than fuel, char worth more than the
/// fuel.
pub fn specific_consumption(
    test: &CookingTest,
    char_energy: CharEnergy,
) -> Result<Decimal, TestError> {
    let (fuel, moisture, char) = weighed(test)?;
    per_food(test, equivalent_by_rule(fuel, moisture, char, char_energy)?)
}

fn weighed(test: &CookingTest) -> Result<(WetMass, WetBasisMoisture, DryMass), TestError> {
    must(test.fuel_wet_kg > Decimal::ZERO, "no fuel was burnt")?;
    must(
        test.char_left_kg >= Decimal::ZERO,
        "char left over cannot weigh less than nothing",
    )?;
    let moisture = WetBasisMoisture::from_fraction(test.moisture_wb)?;
    let fuel = WetMass::from_kg(test.fuel_wet_kg);
    must(
        test.char_left_kg <= fuel.dried(moisture)?.kg(),
        "more char was left over than dry fuel was burnt",
    )?;
    Ok((fuel, moisture, DryMass::from_kg(test.char_left_kg)))
}

fn per_food(test: &CookingTest, spent: EquivalentDryFuel) -> Result<Decimal, TestError> {
    must(test.food_kg > Decimal::ZERO, "no food was cooked")?;
    must(
        spent.kg() > Decimal::ZERO,
        "the char left over holds more energy than the fuel burnt",
    )?;
    let kg_per_kg = checked::quotient(spent.kg(), test.food_kg)?;
    Ok(checked::product(kg_per_kg, Decimal::ONE_THOUSAND)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
    use std::str::FromStr;

    fn decimal(text: &str) -> Decimal {
        Decimal::from_str(text).unwrap()
    }

    /// 600 g fuel of 10 % moisture, 90 g char, and 1.5 kg food.
    fn dish() -> CookingTest {
        CookingTest {
            test_code: "C-1".into(),
            cook_code: "K-1".into(),
            tested_on: NaiveDate::from_ymd_opt(2025, 3, 1).unwrap(),
            device: "gasifier".into(),
            dish: "rice".into(),
            fuel: "wood".into(),
            fuel_wet_kg: decimal("0.6"),
            moisture_wb: decimal("0.10"),
            char_left_kg: decimal("0.09"),
            food_kg: decimal("1.5"),
            minutes: None,
        }
    }

    /// Older form: `600 * (1 - 0.112) - 1.5 * 90 = 397.8 g` (COMPUTED from the protocol's
    /// formula, MEMORY); without the char's term 532.8 g. Over 1.5 kg food.
    #[test]
    fn rule_of_thumb_of_the_cooking_test() {
        let credited = specific_consumption(&dish(), CharEnergy::Credited).unwrap();
        assert_eq!(credited, decimal("265.2"));
        let ignored = specific_consumption(&dish(), CharEnergy::Ignored).unwrap();
        assert_eq!(ignored, decimal("355.2"));
    }

    #[test]
    fn rows_that_no_test_can_give_are_refused_in_words() {
        let refused = |change: fn(&mut CookingTest)| {
            let mut test = dish();
            change(&mut test);
            specific_consumption(&test, CharEnergy::Credited)
                .expect_err("an impossible row")
                .to_string()
        };
        assert_eq!(
            refused(|t| t.fuel_wet_kg = Decimal::ZERO),
            "no fuel was burnt"
        );
        assert_eq!(refused(|t| t.food_kg = Decimal::ZERO), "no food was cooked");
        assert_eq!(
            refused(|t| t.char_left_kg = Decimal::new(55, 2)),
            "more char was left over than dry fuel was burnt"
        );
        assert_eq!(
            refused(|t| t.char_left_kg = Decimal::new(5, 1)),
            "the char left over holds more energy than the fuel burnt"
        );
        assert!(refused(|t| t.moisture_wb = Decimal::ONE).contains("outside 0 to 0.8"));
        assert!(refused(|t| t.fuel_wet_kg = Decimal::MAX).contains("too large"));
    }
}
