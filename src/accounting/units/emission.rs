//! Masses emitted and emission factors, each of one species.

use super::{DryMass, Energy, Fraction, NetCalorificValueDry, UnitsError, UsefulEnergy, checked};
use rust_decimal::Decimal;
use std::fmt::Debug;
use std::marker::PhantomData;

/// A species that a fire gives off, as a type.
pub trait Species: Debug + Clone + Copy + PartialEq + Eq + PartialOrd + Ord {
    /// As factors and methodologies name it.
    const CODE: &'static str;
}

macro_rules! species {
    ($($name:ident $code:literal)*) => {
        $(
            #[doc = concat!("`", $code, "`.")]
            #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
            pub enum $name {}

            impl Species for $name {
                const CODE: &'static str = $code;
            }
        )*
    };
}

species! {
    CarbonDioxide "CO2"
    CarbonMonoxide "CO"
    Methane "CH4"
    Nmvoc "NMVOC"
    Pm25 "PM2.5"
    BlackCarbon "BC"
    OrganicCarbon "OC"
}

/// Mass emitted of one species, in g.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct EmissionMass<S: Species>(Decimal, PhantomData<S>);

impl<S: Species> EmissionMass<S> {
    pub fn from_g(g: Decimal) -> Self {
        EmissionMass(g, PhantomData)
    }

    pub fn g(self) -> Decimal {
        self.0
    }

    pub fn checked_add(self, other: Self) -> Result<Self, UnitsError> {
        checked::sum(self.0, other.0).map(Self::from_g)
    }

    pub fn checked_sub(self, other: Self) -> Result<Self, UnitsError> {
        checked::difference(self.0, other.0).map(Self::from_g)
    }

    /// Emission per useful energy of the same test.
    pub fn per_delivered(
        self,
        useful: UsefulEnergy,
    ) -> Result<FactorPerMegajouleDelivered<S>, UnitsError> {
        checked::quotient(self.0, useful.mj()).map(FactorPerMegajouleDelivered::from_g_per_mj)
    }
}

/// Emission factor in g per kg dry fuel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FactorPerKg<S: Species>(Decimal, PhantomData<S>);

impl<S: Species> FactorPerKg<S> {
    pub fn from_g_per_kg(g_per_kg: Decimal) -> Self {
        FactorPerKg(g_per_kg, PhantomData)
    }

    pub fn g_per_kg(self) -> Decimal {
        self.0
    }

    /// `E = dry mass * EF`.
    pub fn emitted_by(self, fuel: DryMass) -> Result<EmissionMass<S>, UnitsError> {
        checked::product(self.0, fuel.kg()).map(EmissionMass::from_g)
    }
}

impl FactorPerKg<Pm25> {
    /// The black carbon in the particulate of one device, by that device's own share.
    pub fn black_carbon(self, share: Fraction) -> Result<FactorPerKg<BlackCarbon>, UnitsError> {
        checked::product(self.0, share.value()).map(FactorPerKg::from_g_per_kg)
    }
}

/// Emission factor in g per MJ of fuel energy (net calorific value).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FactorPerMegajoule<S: Species>(Decimal, PhantomData<S>);

impl<S: Species> FactorPerMegajoule<S> {
    /// From g/GJ, which is also kg/TJ.
    pub fn from_g_per_gj(g_per_gj: Decimal) -> Result<Self, UnitsError> {
        let g_per_mj = checked::quotient(g_per_gj, Decimal::ONE_THOUSAND)?;
        Ok(FactorPerMegajoule(g_per_mj, PhantomData))
    }

    pub fn emitted_by(self, burnt: Energy) -> Result<EmissionMass<S>, UnitsError> {
        checked::product(self.0, burnt.mj()).map(EmissionMass::from_g)
    }

    /// `EF(g/kg) = EF(g/MJ) * NCV(MJ/kg)`, both dry.
    pub fn per_kg_dry(self, ncv: NetCalorificValueDry) -> Result<FactorPerKg<S>, UnitsError> {
        checked::product(self.0, ncv.mj_per_kg()).map(FactorPerKg::from_g_per_kg)
    }
}

/// Emission in g per MJ of useful energy delivered, the basis of ISO 19867-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FactorPerMegajouleDelivered<S: Species>(Decimal, PhantomData<S>);

impl<S: Species> FactorPerMegajouleDelivered<S> {
    pub fn from_g_per_mj(g_per_mj: Decimal) -> Self {
        FactorPerMegajouleDelivered(g_per_mj, PhantomData)
    }

    pub fn g_per_mj(self) -> Decimal {
        self.0
    }

    pub fn mg_per_mj(self) -> Result<Decimal, UnitsError> {
        checked::product(self.0, Decimal::ONE_THOUSAND)
    }
}
