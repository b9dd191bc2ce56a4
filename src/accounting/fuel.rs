//! Fuel as it is weighed: dry mass of a day, dry char, standard adults.

use crate::accounting::evidence::{BaselineSurveyAnswer, CharWeighing, KitchenDay, People};
use crate::accounting::units::{DryMass, UnitsError, WetBasisMoisture, WetMass};
use rust_decimal::Decimal;

/// Standard adults: child to 14 counts 0.5, woman over 14 0.8, man 15 to 59 1.0, man over 59 0.8
/// (kitchen performance test protocol after FAO practice; MEMORY).
pub fn standard_adults(people: &People) -> Decimal {
    let tenths = 5 * u64::from(people.children_0_14)
        + 8 * u64::from(people.women_over_14)
        + 10 * u64::from(people.men_15_59)
        + 8 * u64::from(people.men_over_59);
    Decimal::from(tenths) / Decimal::TEN
}

impl KitchenDay {
    /// Dry fuel used that day: `(start + added - end) * (1 - M)`.
    pub fn dry_used(&self) -> Result<DryMass, UnitsError> {
        let moisture = WetBasisMoisture::from_fraction(self.moisture_wb)?;
        WetMass::from_kg(self.stock_start_wet_kg)
            .checked_add(WetMass::from_kg(self.added_wet_kg))?
            .checked_sub(WetMass::from_kg(self.stock_end_wet_kg))?
            .dried(moisture)
    }
}

impl BaselineSurveyAnswer {
    /// Dry fuel of a usual day: `wet * (1 - M)`.
    pub fn dry_per_day(&self) -> Result<DryMass, UnitsError> {
        let moisture = WetBasisMoisture::from_fraction(self.moisture_wb)?;
        WetMass::from_kg(self.fuel_wet_kg_per_day).dried(moisture)
    }
}

impl CharWeighing {
    /// Dry char of this weighing.
    pub fn dry_char(&self) -> Result<DryMass, UnitsError> {
        let moisture = WetBasisMoisture::from_fraction(self.char_moisture_wb)?;
        WetMass::from_kg(self.char_wet_kg).dried(moisture)
    }

    /// Dry fuel burnt to make it, where both its mass and its moisture were taken.
    pub fn dry_fuel(&self) -> Result<Option<DryMass>, UnitsError> {
        let (Some(wet), Some(moisture)) = (self.fuel_burnt_wet_kg, self.fuel_moisture_wb) else {
            return Ok(None);
        };
        WetMass::from_kg(wet)
            .dried(WetBasisMoisture::from_fraction(moisture)?)
            .map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn decimal(text: &str) -> Decimal {
        Decimal::from_str(text).unwrap()
    }

    /// Standard adults, kitchen test protocol (MEMORY): 2 children, 1 woman, 1 man, 1 old man
    /// are 2 * 0.5 + 0.8 + 1.0 + 0.8 = 3.6.
    #[test]
    fn standard_adults_of_a_family() {
        let people = People {
            children_0_14: 2,
            women_over_14: 1,
            men_15_59: 1,
            men_over_59: 1,
        };
        assert_eq!(standard_adults(&people), decimal("3.6"));
        let crowd = People {
            children_0_14: u32::MAX,
            ..People::default()
        };
        assert!(standard_adults(&crowd) > Decimal::ZERO);
    }
}
