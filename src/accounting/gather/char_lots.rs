//! Char weighings, added up by feedstock and fate.

use super::GatherError;
use crate::accounting::evidence::CharWeighing;
use crate::accounting::inputs::{CharLot, Period};
use crate::accounting::units::UnitsError;
use rust_decimal::Decimal;
use std::borrow::Borrow;
use std::collections::BTreeMap;

/// Lots weighed inside the period, sorted by feedstock, then fate.
///
/// A weighing is over the bound when the fuel was weighed with it, moisture too, and
/// `dry char > yield_bound * dry fuel`.
pub fn char_lots<W: Borrow<CharWeighing>>(
    weighings: &[W],
    period: &Period,
    yield_bound: Decimal,
) -> Result<Vec<CharLot>, GatherError> {
    let mut lots: BTreeMap<(&str, &str), CharLot> = BTreeMap::new();
    let inside = |weighing: &&CharWeighing| {
        period.starts_on <= weighing.weighed_on && weighing.weighed_on < period.ends_on
    };
    for weighing in weighings.iter().map(Borrow::borrow).filter(inside) {
        let key = (weighing.feedstock.as_str(), weighing.fate.as_str());
        let lot = lots.entry(key).or_insert_with(|| CharLot {
            feedstock: weighing.feedstock.clone(),
            fate: weighing.fate.clone(),
            weighings: 0,
            dry_kg: Decimal::ZERO,
            over_bound_weighings: 0,
            over_bound_dry_kg: Decimal::ZERO,
        });
        add(lot, weighing, yield_bound).map_err(|reason| GatherError::Unusable {
            what: format!(
                "char weighing of household {} on {}",
                weighing.household_code, weighing.weighed_on
            ),
            reason,
        })?;
    }
    Ok(lots.into_values().collect())
}

fn add(lot: &mut CharLot, weighing: &CharWeighing, bound: Decimal) -> Result<(), UnitsError> {
    let char_kg = weighing.dry_char()?.kg();
    let sum = |so_far: Decimal| {
        so_far
            .checked_add(char_kg)
            .map(|total| total.normalize())
            .ok_or(UnitsError::TooLarge)
    };
    lot.weighings += 1;
    lot.dry_kg = sum(lot.dry_kg)?;
    let Some(fuel) = weighing.dry_fuel()? else {
        return Ok(());
    };
    if char_kg > fuel.kg().checked_mul(bound).ok_or(UnitsError::TooLarge)? {
        lot.over_bound_weighings += 1;
        lot.over_bound_dry_kg = sum(lot.over_bound_dry_kg)?;
    }
    Ok(())
}
