//! A statement under construction: its ledger, what is missing, what must be said.

use super::Note;
use crate::accounting::factor::{Factor, FactorId};
use crate::accounting::inputs::StatementInputs;
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::{Heading, Ledger, LedgerError, NodeRef};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What keeps the statement from being made, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Gap {
    pub code: String,
    pub sentence: String,
}

pub(super) struct Draft<'a> {
    pub inputs: &'a StatementInputs,
    pub ledger: Ledger,
    pub gaps: Vec<Gap>,
    pub notes: Vec<Note>,
}

impl<'a> Draft<'a> {
    /// Refuses a confidence that no interval can have; an empty period is a gap among others.
    pub fn open(inputs: &'a StatementInputs) -> Result<Self, Gap> {
        let confidence = inputs.methodology.claim.confidence;
        let ledger = Ledger::new(to_statistic(confidence)).map_err(|_| Gap {
            code: "confidence-unusable".to_owned(),
            sentence: format!("A confidence of {confidence} is not between 0 and 1."),
        })?;
        let mut draft = Draft {
            inputs,
            ledger,
            gaps: Vec::new(),
            notes: Vec::new(),
        };
        if inputs.period.starts_on >= inputs.period.ends_on {
            let sentence = "The period ends before it has a day.";
            draft.gap("period-empty", sentence.to_owned());
        }
        Ok(draft)
    }

    /// Says what is missing; once, however often it is missed.
    pub fn gap(&mut self, code: &str, sentence: String) {
        let gap = Gap {
            code: code.to_owned(),
            sentence,
        };
        if !self.gaps.contains(&gap) {
            self.gaps.push(gap);
        }
    }

    pub fn note(&mut self, code: &str, sentence: String) {
        let note = Note {
            code: code.to_owned(),
            sentence,
        };
        if !self.notes.contains(&note) {
            self.notes.push(note);
        }
    }

    /// What the ledger computed, or nothing and a gap that says why not.
    pub fn keep<T>(&mut self, computed: Result<T, LedgerError>) -> Option<T> {
        let error = match computed {
            Ok(value) => return Some(value),
            Err(error) => error,
        };
        let code = match &error {
            LedgerError::TooLarge { .. } => "number-too-large",
            LedgerError::Unit { .. } => "unit-unusable",
            LedgerError::Name { .. } => "name-twice",
            LedgerError::DivisionByZero { .. } => "division-by-zero",
            LedgerError::Covariance { .. } => "covariance-unusable",
            LedgerError::Statistics { .. } => "spread-unusable",
        };
        self.gap(code, format!("This cannot be computed: {error}."));
        None
    }

    /// A conversion or definition, one node however often it is used.
    pub fn convention(
        &mut self,
        id: &str,
        label: &str,
        unit: &'static str,
        value: Decimal,
    ) -> Option<NodeRef> {
        let heading = Heading::new(format!("convention/{id}"), label, "convention", unit);
        let node = self.ledger.constant(heading, value);
        self.keep(node)
    }

    pub fn kg_per_g(&mut self) -> Option<NodeRef> {
        self.convention(
            "kg_per_g",
            "kilograms in a gram",
            "kg/g",
            Decimal::new(1, 3),
        )
    }

    pub fn terajoule_per_megajoule(&mut self) -> Option<NodeRef> {
        self.convention(
            "tj_per_mj",
            "terajoules in a megajoule",
            "TJ/MJ",
            Decimal::new(1, 6),
        )
    }

    /// The thousandth that turns kg of something into tonnes of it.
    pub fn tonne_per_kg(&mut self, of: &str, unit: &'static str) -> Option<NodeRef> {
        self.convention(
            &format!("tonne_per_kg/{of}"),
            "tonnes in a kilogram",
            unit,
            Decimal::new(1, 3),
        )
    }

    /// The factor of this id among the inputs.
    pub fn named_factor(&mut self, id: &FactorId, what: &str) -> Option<&'a Factor> {
        let found = self.inputs.factors.iter().find(|factor| factor.id() == *id);
        if found.is_none() {
            self.gap(
                "factor-missing",
                format!("The methodology names {id} as the {what}, but that factor is not known."),
            );
        }
        found
    }
}
