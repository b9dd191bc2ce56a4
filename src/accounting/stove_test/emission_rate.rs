//! Emission rates beside the targets of the WHO guidelines of 2014, for information.

use crate::accounting::units::{FactorPerKg, Species, UnitsError, checked};
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::ToSchema;

/// Said wherever a rate is shown beside a target.
pub const WHO_CAUTION: &str = "Emission-rate targets of the WHO guidelines for indoor air quality: \
household fuel combustion (2014), shown for information. This is not a health assessment: what \
people breathe depends on the room, its openings, and how long and how many stoves burn. Targets \
hold for each device; the vented ones take it that a quarter of the emission enters the room.";

/// A rate that the guidelines set a target for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EmissionRate {
    /// mg/min.
    Pm25,
    /// g/min.
    CarbonMonoxide,
}

impl EmissionRate {
    pub fn unit(self) -> &'static str {
        match self {
            EmissionRate::Pm25 => "mg/min",
            EmissionRate::CarbonMonoxide => "g/min",
        }
    }

    /// Targets without and with a chimney, in the rate's unit (SEEN in two summaries).
    fn targets(self) -> (Decimal, Decimal) {
        match self {
            EmissionRate::Pm25 => (Decimal::new(23, 2), Decimal::new(80, 2)),
            EmissionRate::CarbonMonoxide => (Decimal::new(16, 2), Decimal::new(59, 2)),
        }
    }
}

/// One rate beside its two targets.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RateCheck {
    pub rate: EmissionRate,
    pub unit: &'static str,
    #[serde(serialize_with = "crate::accounting::replicates::stated")]
    pub value: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub target_unvented: Decimal,
    pub within_unvented: bool,
    #[serde(with = "rust_decimal::serde::str")]
    pub target_vented: Decimal,
    pub within_vented: bool,
}

/// Compares `value`, in the rate's unit, with both targets.
pub fn check_rate(rate: EmissionRate, value: Decimal) -> RateCheck {
    let (target_unvented, target_vented) = rate.targets();
    RateCheck {
        rate,
        unit: rate.unit(),
        value,
        target_unvented,
        within_unvented: value <= target_unvented,
        target_vented,
        within_vented: value <= target_vented,
    }
}

/// Emission in g/min of a fire that burns `dry_kg_per_hour`: `EF * rate / 60`.
pub fn rate_per_minute<S: Species>(
    factor: FactorPerKg<S>,
    dry_kg_per_hour: Decimal,
) -> Result<Decimal, UnitsError> {
    let per_hour = checked::product(factor.g_per_kg(), dry_kg_per_hour)?;
    checked::quotient(per_hour, Decimal::from(60))
}
