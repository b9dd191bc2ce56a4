//! Tiers of ISO/TR 19867-3:2018, each metric for itself.
//!
//! There is no overall tier. The bounds are MEMORY (strong): the table itself was not read.

use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::ToSchema;

/// Said wherever a tier is shown.
pub const TIERS_NOTE: &str = "Tiers of ISO/TR 19867-3:2018 are valid only for results of a \
laboratory test by ISO 19867-1; each metric has its own tier and there is no overall one. Bounds of \
the tiers: MEMORY. The tier at the unfavourable end of the two-sided 90 % interval (lower end for \
efficiency and safety, upper end for emissions and durability) is the cautious reading; that the standard reads it so is \
MEMORY.";

/// Emission tiers were set for stoves up to this firepower, kW (SEEN in a summary of the report).
pub(super) const LARGEST_FIREPOWER_KW: Decimal = Decimal::from_parts(10, 0, 0, false, 0);

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TierMetric {
    /// Fraction; higher is better.
    ThermalEfficiency,
    /// g/MJd; lower is better.
    CarbonMonoxide,
    /// mg/MJd; lower is better.
    Pm25,
    /// Points of 100; higher is better.
    Safety,
    /// Points of 100; lower is better.
    Durability,
}

/// Which side of a bound belongs to its tier.
enum Side {
    AtLeast,
    AtMost,
    Below,
}

impl TierMetric {
    /// Bounds of the tiers 5, 4, 3, 2, 1 (MEMORY, strong); each belongs to its tier, but for
    /// durability, whose tiers begin below their bound.
    fn bounds(self) -> [Decimal; 5] {
        match self {
            TierMetric::ThermalEfficiency => [50, 40, 30, 20, 10].map(|n| Decimal::new(n, 2)),
            TierMetric::CarbonMonoxide => [30, 44, 72, 115, 183].map(|n| Decimal::new(n, 1)),
            TierMetric::Pm25 => [5, 62, 218, 481, 1031].map(|n| Decimal::new(n, 0)),
            TierMetric::Safety => [95, 86, 77, 68, 60].map(|n| Decimal::new(n, 0)),
            TierMetric::Durability => [10, 15, 20, 25, 35].map(|n| Decimal::new(n, 0)),
        }
    }

    fn side(self) -> Side {
        match self {
            TierMetric::ThermalEfficiency | TierMetric::Safety => Side::AtLeast,
            TierMetric::CarbonMonoxide | TierMetric::Pm25 => Side::AtMost,
            TierMetric::Durability => Side::Below,
        }
    }

    fn higher_is_better(self) -> bool {
        matches!(self.side(), Side::AtLeast)
    }

    pub(super) fn is_of_emissions(self) -> bool {
        matches!(self, TierMetric::CarbonMonoxide | TierMetric::Pm25)
    }
}

/// The tier, 0 to 5, of one value: a fraction, g/MJd, mg/MJd or points of 100.
pub fn tier(metric: TierMetric, value: Decimal) -> u8 {
    (1..=5)
        .rev()
        .zip(metric.bounds())
        .find(|(_, bound)| match metric.side() {
            Side::AtLeast => value >= *bound,
            Side::AtMost => value <= *bound,
            Side::Below => value < *bound,
        })
        .map_or(0, |(tier, _)| tier)
}

/// Tiers of the replicates of one metric.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TierReading {
    pub metric: TierMetric,
    /// 0 to 5, of the mean.
    pub at_mean: u8,
    /// 0 to 5, of the unfavourable end of the two-sided 90 % interval; absent for a single test.
    pub at_unfavourable_bound: Option<u8>,
}

impl TierReading {
    pub(super) fn of(
        metric: TierMetric,
        mean: Decimal,
        interval: Option<(Decimal, Decimal)>,
    ) -> Self {
        let unfavourable = |(lower, upper)| {
            if metric.higher_is_better() {
                lower
            } else {
                upper
            }
        };
        TierReading {
            metric,
            at_mean: tier(metric, mean),
            at_unfavourable_bound: interval.map(|ends| tier(metric, unfavourable(ends))),
        }
    }
}
