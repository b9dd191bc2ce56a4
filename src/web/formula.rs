//! The formula of a trace node in words, with the values that it was worked out from.

use super::words;
use crate::accounting::trace::{Node, Operation, Sign, Source, Trace};

/// More inputs than this are counted in the sentence and listed below it.
const NAMED: usize = 4;

/// How the node came to be, in one sentence.
pub(super) fn sentence(trace: &Trace, node: &Node) -> String {
    let inputs: Vec<&Node> = node.inputs.iter().filter_map(|id| trace.node(id)).collect();
    match node.formula.operation {
        Operation::Factor => "A factor from the library, with its cited source.".into(),
        Operation::Convention => {
            "A choice or definition: it rests on no measurement and has no doubt of its own.".into()
        }
        Operation::Evidence => from_evidence(node),
        Operation::Sum => sum(node, &inputs),
        Operation::Product => match inputs.as_slice() {
            [] => "The product of nothing, which is 1.".into(),
            [only] => format!("The same as {}.", named(only)),
            several if several.len() > NAMED => {
                format!("The product of the {} values below.", several.len())
            }
            several => format!("The product of {}.", listed(several)),
        },
        Operation::Quotient => match inputs.as_slice() {
            [above, below] => format!("{}, divided by {}.", capital(above), named(below)),
            _ => "A quotient of the values below.".into(),
        },
        Operation::Bounded => match inputs.as_slice() {
            [value, lowest, highest] => format!(
                "{}, no lower than {} and no higher than {}.",
                capital(value),
                named(lowest),
                named(highest)
            ),
            _ => "The first value below, between the other two.".into(),
        },
    }
}

/// What an input does in the formula: the sign before it.
pub(super) fn sign(node: &Node, place: usize) -> &'static str {
    match node.formula.operation {
        Operation::Sum if is_minus(node, place) => "−",
        Operation::Sum if place > 0 => "+",
        Operation::Product if place > 0 => "×",
        Operation::Quotient if place > 0 => "÷",
        _ => "",
    }
}

fn is_minus(node: &Node, place: usize) -> bool {
    node.formula.signs.get(place) == Some(&Sign::Minus)
}

fn from_evidence(node: &Node) -> String {
    match &node.source {
        Source::Evidence { role, units, .. } => format!(
            "Worked out from the rows of {}: {} behind it.",
            words::evidence_role(*role),
            match units {
                1 => "1 unit stands".to_owned(),
                several => format!("{} units stand", words::count(*several)),
            }
        ),
        _ => "Worked out from evidence.".into(),
    }
}

fn sum(node: &Node, inputs: &[&Node]) -> String {
    let (mut added, mut taken) = (Vec::new(), Vec::new());
    for (place, input) in inputs.iter().enumerate() {
        if is_minus(node, place) {
            taken.push(*input);
        } else {
            added.push(*input);
        }
    }
    let group = |group: &[&Node]| {
        if group.len() > NAMED {
            format!("the {} values below with this sign", group.len())
        } else {
            listed(group)
        }
    };
    match (added.as_slice(), taken.as_slice()) {
        ([], []) => "The sum of nothing, which is 0.".into(),
        ([only], []) => format!("The same as {}.", named(only)),
        (several, []) if several.len() > NAMED => {
            format!("The sum of the {} values below.", several.len())
        }
        (several, []) => format!("The sum of {}.", listed(several)),
        ([], taken) => format!("Zero less {}.", group(taken)),
        (added, taken) => format!("{} less {}.", words::capital(&group(added)), group(taken)),
    }
}

fn named(node: &Node) -> String {
    format!(
        "{} ({} {})",
        words::label(&node.label),
        words::precise(node.value),
        words::unit(&node.unit)
    )
}

fn capital(node: &Node) -> String {
    words::capital(&named(node))
}

fn listed(nodes: &[&Node]) -> String {
    let names: Vec<String> = nodes.iter().map(|node| named(node)).collect();
    match names.as_slice() {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::accounting::inputs::EvidenceRole;
    use crate::accounting::trace::Formula;
    use rust_decimal::Decimal;

    fn node(id: &str, operation: Operation, inputs: &[&str], signs: &[Sign]) -> Node {
        let value = Decimal::from(12);
        Node {
            id: id.into(),
            label: format!("{id}_label"),
            formula: Formula {
                id: "test".into(),
                operation,
                signs: signs.to_vec(),
            },
            unit: "kg".into(),
            value,
            standard_error: Decimal::ZERO,
            lower: value,
            upper: value,
            degrees_of_freedom: None,
            inputs: inputs.iter().map(|id| (*id).to_owned()).collect(),
            source: Source::None,
        }
    }

    fn trace() -> Trace {
        let leaf = |id: &str| node(id, Operation::Convention, &[], &[]);
        Trace {
            nodes: ["a", "b", "c", "d", "e"].map(leaf).into(),
        }
    }

    fn told(operation: Operation, inputs: &[&str], signs: &[Sign]) -> String {
        sentence(&trace(), &node("x", operation, inputs, signs))
    }

    #[test]
    fn products_and_quotients_name_their_parts_with_values() {
        assert_eq!(
            told(Operation::Product, &["a", "b"], &[]),
            "The product of a label (12 kg) and b label (12 kg)."
        );
        assert_eq!(
            told(Operation::Quotient, &["a", "b"], &[]),
            "A label (12 kg), divided by b label (12 kg)."
        );
    }

    #[test]
    fn sums_keep_what_is_added_from_what_is_taken_off() {
        use Sign::{Minus, Plus};
        assert_eq!(
            told(Operation::Sum, &["a", "b", "c"], &[Plus, Plus, Minus]),
            "A label (12 kg) and b label (12 kg) less c label (12 kg)."
        );
        assert_eq!(
            told(Operation::Sum, &["a", "b", "c", "d", "e"], &[Plus; 5]),
            "The sum of the 5 values below."
        );
        assert_eq!(
            told(Operation::Sum, &["a"], &[Plus]),
            "The same as a label (12 kg)."
        );
    }

    #[test]
    fn evidence_says_how_many_units_stand_behind_it() {
        let mut node = node("x", Operation::Evidence, &[], &[]);
        node.source = Source::Evidence {
            role: EvidenceRole::BaselineKitchens,
            at: Default::default(),
            units: 40,
        };
        assert_eq!(
            sentence(&trace(), &node),
            "Worked out from the rows of baseline kitchen tests: 40 units stand behind it."
        );
    }

    #[test]
    fn signs_stand_before_all_inputs_but_a_leading_plus() {
        let sum = node("x", Operation::Sum, &["a", "b"], &[Sign::Plus, Sign::Minus]);
        assert_eq!((sign(&sum, 0), sign(&sum, 1)), ("", "−"));
        let product = node("x", Operation::Product, &["a", "b"], &[]);
        assert_eq!((sign(&product, 0), sign(&product, 1)), ("", "×"));
    }
}
