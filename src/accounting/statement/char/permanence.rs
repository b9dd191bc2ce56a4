//! Which fraction of the char's carbon is still there at the horizon.

use super::laboratory::{Means, Sample};
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::methodology::{HydrogenToCarbonRule, Permanence};
use crate::accounting::statement::co2e::of_quantity;
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use rust_decimal::Decimal;

/// Char with this much hydrogen, or more, is no durable char: it counts zero (the limit of the
/// European Biochar Certificate and of Budai et al. 2013, molar H/C_org; MEMORY, strong).
pub(super) const COUNTS_ZERO_FROM: Decimal = Decimal::from_parts(7, 0, 0, false, 1);
/// The published lines rest on no char with less hydrogen than this (Woolf et al. 2021; SEEN):
/// below it their value here is taken.
const LINE_BEGINS: Decimal = Decimal::from_parts(1, 0, 0, false, 1);

/// Permanence of one feedstock's char. Above the limit of hydrogen it is zero by every rule.
pub(super) fn permanence(
    draft: &mut Draft,
    feedstock: &str,
    samples: &[Sample],
    means: Option<&Means>,
) -> Option<NodeRef> {
    if let Some(means) = means {
        if draft.ledger.value(means.hydrogen_to_carbon) >= COUNTS_ZERO_FROM {
            return counts_zero(draft, feedstock, means);
        }
        name_samples_above(draft, feedstock, samples);
    }
    match (&draft.inputs.methodology.char_rule.permanence, means) {
        (Permanence::Factor(id), _) => cited(draft, id),
        (Permanence::HydrogenToCarbon(rule), Some(means)) => line(draft, feedstock, rule, means),
        (Permanence::HydrogenToCarbon(rule), None) => {
            let sentence = format!(
                "The laboratory has analysed no {feedstock} char: its permanence is the cited {}.",
                rule.unmeasured
            );
            draft.note("char-permanence-unmeasured", sentence);
            cited(draft, &rule.unmeasured)
        }
    }
}

fn cited(draft: &mut Draft, id: &FactorId) -> Option<NodeRef> {
    let factor = draft.named_factor(id, "permanence")?;
    of_quantity(draft, factor, Quantity::CharPermanence)
}

fn counts_zero(draft: &mut Draft, feedstock: &str, means: &Means) -> Option<NodeRef> {
    let ratio = draft.ledger.value(means.hydrogen_to_carbon);
    draft.note(
        "char-hydrogen-rich",
        format!(
            "{feedstock} char has a molar H/C_org of {}, at or above {COUNTS_ZERO_FROM}: none of \
             it counts as stored.",
            ratio.round_dp(4).normalize()
        ),
    );
    let zero = draft.convention(
        "hydrogen_rich_char",
        "char whose molar H/C_org is at or above 0.7 counts as not durable",
        "1",
        Decimal::ZERO,
    )?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}"),
        format!("permanence of {feedstock} char: H/C_org at or above 0.7 counts zero"),
        "hydrogen-rich-counts-zero",
        "1",
    );
    let nothing = draft
        .ledger
        .product(heading, &[means.hydrogen_to_carbon, zero]);
    draft.keep(nothing)
}

/// The mean decides; single samples that it hides are named.
fn name_samples_above(draft: &mut Draft, feedstock: &str, samples: &[Sample]) {
    let above: Vec<&str> = samples
        .iter()
        .filter(|sample| sample.found.hydrogen_to_carbon >= COUNTS_ZERO_FROM)
        .map(|sample| sample.code)
        .collect();
    if above.is_empty() {
        return;
    }
    draft.note(
        "char-hydrogen-rich-samples",
        format!(
            "{} of {} samples of {feedstock} char have a molar H/C_org at or above \
             {COUNTS_ZERO_FROM} ({}), though their mean lies below it: the char counts by the mean.",
            above.len(),
            samples.len(),
            above.join(", ")
        ),
    );
}

/// `intercept + slope * H/C_org + residual`, from 0 to 1; H/C_org within the line's range.
///
/// The residual, zero on average, is how far one material lies from the line: drawn once for
/// all char of a feedstock, and for each feedstock anew. It is added after the line is held
/// within 0 to 1, so that a line above 1 does not pass for a char without doubt.
///
/// Intercept and slope of one least-squares fit err in opposite directions
/// (`covariance = -mean(x) * variance(slope)`). Factors are independent here, so for the
/// H/C_org of any char the doubt comes out too large, never too small: for the line of Woolf
/// et al. 2021 at 14.9 C and H/C_org 0.4, 0.206 in place of 0.195 (COMPUTED).
fn line(
    draft: &mut Draft,
    feedstock: &str,
    rule: &HydrogenToCarbonRule,
    means: &Means,
) -> Option<NodeRef> {
    let intercept = draft.named_factor(&rule.intercept, "intercept of the permanence line");
    let intercept = intercept.and_then(|f| of_quantity(draft, f, Quantity::PermanenceIntercept));
    let slope = draft.named_factor(&rule.slope, "slope of the permanence line");
    let slope = slope.and_then(|f| falling_slope(draft, f));
    let residual = draft.named_factor(&rule.residual, "spread around the permanence line");
    let residual = residual.and_then(|f| residual_of(draft, f, feedstock));
    let (intercept, slope, residual) = (intercept?, slope?, residual?);
    let ratio = within_line(draft, feedstock, means)?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}/change"),
        format!("change of permanence with the H/C_org of {feedstock} char"),
        "permanence-change",
        "1",
    );
    let change = draft.ledger.product(heading, &[slope, ratio]);
    let change = draft.keep(change)?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}/on_line"),
        format!(
            "permanence of {feedstock} char on the line; intercept and slope are taken as \
             independent, which overstates the doubt"
        ),
        "permanence-on-line",
        "1",
    );
    let on_line = sum_of(draft, heading, intercept, change)?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}/fitted"),
        format!("permanence of {feedstock} char on the line, no lower than 0, no higher than 1"),
        "permanence-fitted",
        "1",
    );
    let fitted = within_unity(draft, heading, on_line)?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}/of_material"),
        format!("permanence of {feedstock} char as one material among many"),
        "permanence-of-material",
        "1",
    );
    let of_material = sum_of(draft, heading, fitted, residual)?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}"),
        format!("permanence of {feedstock} char, by its H/C_org"),
        "char-permanence",
        "1",
    );
    within_unity(draft, heading, of_material)
}

fn sum_of(draft: &mut Draft, heading: Heading, a: NodeRef, b: NodeRef) -> Option<NodeRef> {
    let terms = [Term(Sign::Plus, a), Term(Sign::Plus, b)];
    let sum = draft.ledger.sum(heading, &terms);
    draft.keep(sum)
}

fn within_unity(draft: &mut Draft, heading: Heading, node: NodeRef) -> Option<NodeRef> {
    let none = draft.convention("none", "nothing of it", "1", Decimal::ZERO)?;
    let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
    let bounded = draft.ledger.bounded(heading, node, none, whole);
    draft.keep(bounded)
}

/// H/C_org no lower than the line's data reach and no higher than durable char has.
fn within_line(draft: &mut Draft, feedstock: &str, means: &Means) -> Option<NodeRef> {
    if draft.ledger.value(means.hydrogen_to_carbon) < LINE_BEGINS {
        draft.note(
            "char-below-permanence-line",
            format!(
                "The molar H/C_org of {feedstock} char lies below {LINE_BEGINS}, where the \
                 permanence line has no data: its value at {LINE_BEGINS} is taken."
            ),
        );
    }
    let lowest = draft.convention(
        "permanence_line_begins",
        "least molar H/C_org that the permanence line is read at",
        "1",
        LINE_BEGINS,
    )?;
    let highest = draft.convention(
        "permanence_line_ends",
        "molar H/C_org from which char counts zero",
        "1",
        COUNTS_ZERO_FROM,
    )?;
    let heading = Heading::new(
        format!("char_permanence/{feedstock}/hydrogen_to_carbon"),
        format!("molar H/C_org of {feedstock} char within the range of the line"),
        "hydrogen-to-carbon-within-line",
        "1",
    );
    let ratio = means.hydrogen_to_carbon;
    let within = draft.ledger.bounded(heading, ratio, lowest, highest);
    draft.keep(within)
}

/// More hydrogen never makes char last longer: a slope above zero is a mistake of sign.
fn falling_slope(draft: &mut Draft, factor: &Factor) -> Option<NodeRef> {
    if factor.quantity == Quantity::PermanenceSlope && factor.value > Decimal::ZERO {
        let sentence = format!(
            "The slope of char permanence {} is {}, but permanence falls with H/C_org: it must be \
             0 or less.",
            factor.id(),
            factor.value
        );
        draft.gap("factor-out-of-range", sentence);
        return None;
    }
    of_quantity(draft, factor, Quantity::PermanenceSlope)
}

/// The residual of one feedstock's char.
fn residual_of(draft: &mut Draft, factor: &Factor, feedstock: &str) -> Option<NodeRef> {
    let wanted = Quantity::PermanenceResidual;
    if factor.quantity != wanted {
        let sentence = format!(
            "The methodology names {} as the {}, but it is a {}.",
            factor.id(),
            wanted.words(),
            factor.quantity.words()
        );
        draft.gap("factor-of-other-quantity", sentence);
        return None;
    }
    if !factor.value.is_zero() {
        let sentence = format!(
            "The {} {} is {}, but it must be 0: materials lie on both sides of the line.",
            wanted.words(),
            factor.id(),
            factor.value
        );
        draft.gap("factor-out-of-range", sentence);
        return None;
    }
    draft.enter_apart(factor, &format!("{feedstock} char"))
}
