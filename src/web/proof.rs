//! An inclusion proof as steps to follow by eye, and as commands to follow by machine.

use crate::service::trail::InclusionProof;
use crate::trail::merkle::{Hash, HashError, node_hash};

/// One step up the tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Step {
    /// Whether the sibling stands left of what we hold.
    pub sibling_left: bool,
    pub sibling: String,
    /// The hash of both.
    pub result: String,
}

/// The steps from a leaf to the root, after RFC 9162, section 2.1.3.2.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Climb {
    pub steps: Vec<Step>,
    /// Whether they arrive at the root that the proof names.
    pub arrives: bool,
}

pub(super) fn climb(proof: &InclusionProof) -> Result<Climb, HashError> {
    let mut hash = Hash::from_hex(&proof.leaf_hash)?;
    let mut place = proof.index;
    let mut last = proof.size.saturating_sub(1);
    let mut steps = Vec::with_capacity(proof.path.len());
    for text in &proof.path {
        let sibling = Hash::from_hex(text)?;
        // The last node of a level without a neighbour moves up as it is.
        while place == last && place.is_multiple_of(2) && place > 0 {
            place /= 2;
            last /= 2;
        }
        let sibling_left = !place.is_multiple_of(2) || place == last;
        hash = if sibling_left {
            node_hash(&sibling, &hash)
        } else {
            node_hash(&hash, &sibling)
        };
        place /= 2;
        last /= 2;
        steps.push(Step {
            sibling_left,
            sibling: text.clone(),
            result: hash.to_string(),
        });
    }
    Ok(Climb {
        arrives: hash.to_string() == proof.root,
        steps,
    })
}

/// Shell commands that print the leaf hash of `content`.
pub(super) fn leaf_command(content: &str) -> String {
    format!(
        "(printf '\\000'; printf '%s' {}) | sha256sum",
        quoted(content)
    )
}

/// Shell commands that follow `climb` from the leaf of `content`; the last line printed
/// is the root.
pub(super) fn climb_commands(content: &str, climb: &Climb) -> String {
    let mut lines = vec![format!("h=$( {} | cut -c1-64 )", leaf_command(content))];
    for step in &climb.steps {
        let (left, right) = if step.sibling_left {
            (step.sibling.as_str(), "$h")
        } else {
            ("$h", step.sibling.as_str())
        };
        lines.push(format!(
            "h=$(printf '01%s%s' {left} {right} | xxd -r -p | sha256sum | cut -c1-64)"
        ));
    }
    lines.push("echo $h".to_owned());
    lines.join("\n")
}

/// Text as one word of the shell.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trail::merkle::{Leaves, leaf_hash, prove_inclusion, root_of};

    #[test]
    fn the_steps_arrive_at_the_root_from_every_leaf_of_every_small_tree() {
        for size in 1..=33_u64 {
            let leaves: Vec<Hash> = (0..size).map(|n| leaf_hash(&n.to_be_bytes())).collect();
            for index in 0..size {
                let path = prove_inclusion(index, size, &Leaves(&leaves)).unwrap();
                let proof = InclusionProof {
                    index,
                    size,
                    leaf_hash: leaves[index as usize].to_string(),
                    path: path.iter().map(Hash::to_string).collect(),
                    root: root_of(&leaves).to_string(),
                };
                assert!(climb(&proof).unwrap().arrives, "leaf {index} of {size}");
                let elsewhere = InclusionProof {
                    root: leaf_hash(b"another").to_string(),
                    ..proof
                };
                assert!(!climb(&elsewhere).unwrap().arrives);
            }
        }
    }

    #[test]
    fn the_commands_quote_what_they_hash() {
        assert_eq!(
            leaf_command(r#"{"a":"it's"}"#),
            r#"(printf '\000'; printf '%s' '{"a":"it'\''s"}') | sha256sum"#
        );
    }

    #[test]
    fn the_commands_follow_every_step_on_its_side() {
        let leaves: Vec<Hash> = (0..5).map(|n: u8| leaf_hash(&[b'0' + n])).collect();
        let path = prove_inclusion(3, 5, &Leaves(&leaves)).unwrap();
        let proof = InclusionProof {
            index: 3,
            size: 5,
            leaf_hash: leaves[3].to_string(),
            path: path.iter().map(Hash::to_string).collect(),
            root: root_of(&leaves).to_string(),
        };
        let step = |left: &str, right: &str| {
            format!("h=$(printf '01%s%s' {left} {right} | xxd -r -p | sha256sum | cut -c1-64)")
        };
        // Leaf 3 of 5: its neighbours are leaf 2, then the pair 0-1, both left; then leaf 4.
        assert_eq!(
            climb_commands("3", &climb(&proof).unwrap()),
            [
                r"h=$( (printf '\000'; printf '%s' '3') | sha256sum | cut -c1-64 )".to_owned(),
                step(&leaves[2].to_string(), "$h"),
                step(&node_hash(&leaves[0], &leaves[1]).to_string(), "$h"),
                step("$h", &leaves[4].to_string()),
                "echo $h".to_owned(),
            ]
            .join("\n")
        );
    }
}
