//! An inclusion proof as steps to follow by eye, and as commands to follow by machine.

use crate::service::trail::InclusionProof;
use crate::trail::merkle::{Hash, HashError, node_hash};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

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

/// Shell command that prints the hash of what an entry commits to.
pub(super) fn content_command(content: &str) -> String {
    format!("printf '%s' {} | sha256sum", quoted(content))
}

/// Shell commands that follow `climb` from the leaf of `content`; the last line printed
/// is the root.
pub(super) fn climb_commands(content: &str, climb: &Climb) -> String {
    commands(content, climb, "echo $h")
}

/// The same for an entry of the trail: the root is printed as a checkpoint writes it.
pub(super) fn entry_commands(leaf: &str, climb: &Climb) -> String {
    commands(leaf, climb, "echo $h | xxd -r -p | base64")
}

fn commands(content: &str, climb: &Climb, last: &str) -> String {
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
    lines.push(last.to_owned());
    lines.join("\n")
}

/// What stands before the 32 bytes of an Ed25519 public key in its DER form (RFC 8410,
/// section 4; COMPUTED with OpenSSL 3.0).
const DER_START: &str = "302a300506032b6570032100";

/// Shell commands that check the signature of a checkpoint by this verifier key; `None`
/// where the key did not sign it.
pub(super) fn checkpoint_commands(note: &str, key: &str) -> Option<String> {
    let (text, lines) = note.rsplit_once("\n\n")?;
    let mut parts = key.splitn(3, '+');
    let (name, id, public) = (parts.next()?, parts.next()?, parts.next()?);
    let signature = lines.lines().find_map(|line| {
        let (signer, value) = line.strip_prefix("\u{2014} ")?.split_once(' ')?;
        let bytes = STANDARD.decode(value).ok()?;
        let own = signer == name && hex::encode(bytes.get(..4)?) == id;
        own.then_some(value)
    })?;
    let words: Vec<String> = text.lines().map(quoted).collect();
    Some(
        [
            format!("printf '%s\\n' {} > checkpoint-text", words.join(" ")),
            format!(
                "(printf {DER_START} | xxd -r -p; printf '%s' {} | base64 -d | tail -c 32) > log-key.der",
                quoted(public)
            ),
            format!(
                "printf '%s' {} | base64 -d | tail -c 64 > signature",
                quoted(signature)
            ),
            "openssl pkeyutl -verify -pubin -inkey log-key.der -keyform DER -rawin -in checkpoint-text -sigfile signature"
                .to_owned(),
        ]
        .join("\n"),
    )
}

/// Text as one word of the shell.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trail::checkpoint::Checkpoint;
    use crate::trail::cosignature::WitnessSigner;
    use crate::trail::merkle::{Leaves, leaf_hash, prove_inclusion, root_of};
    use crate::trail::note::NoteSigner;

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

    /// Runs commands as a person would, in an empty folder.
    fn shell(commands: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let run = std::process::Command::new("sh")
            .args(["-e", "-c", commands])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let errors = String::from_utf8_lossy(&run.stderr).into_owned();
        assert!(run.status.success(), "{commands}: {errors}");
        String::from_utf8(run.stdout).unwrap()
    }

    #[test]
    fn the_commands_run_in_a_shell_print_leaf_hash_and_root() {
        let texts: Vec<String> = (0..6)
            .map(|n| format!(r#"{{"a":"it's {n}, né\\"}}"#))
            .collect();
        let leaves: Vec<Hash> = texts.iter().map(|t| leaf_hash(t.as_bytes())).collect();
        for (index, text) in texts.iter().enumerate() {
            let path = prove_inclusion(index as u64, 6, &Leaves(&leaves)).unwrap();
            let proof = InclusionProof {
                index: index as u64,
                size: 6,
                leaf_hash: leaves[index].to_string(),
                path: path.iter().map(Hash::to_string).collect(),
                root: root_of(&leaves).to_string(),
            };
            let climb = climb(&proof).unwrap();
            let root = root_of(&leaves);
            let leaf = shell(&leaf_command(text));
            assert!(leaf.starts_with(&leaves[index].to_string()), "{leaf}");
            assert_eq!(
                shell(&climb_commands(text, &climb)).trim(),
                root.to_string()
            );
            assert_eq!(
                shell(&entry_commands(text, &climb)).trim(),
                root.to_base64()
            );
        }
    }

    #[test]
    fn the_signature_commands_hold_with_openssl_and_fail_on_another_text() {
        let head = Checkpoint {
            origin: "programme.example/it's".into(),
            size: 6,
            root: leaf_hash(b"x"),
        };
        let signer = NoteSigner::from_seed("programme.example/it's", &[3; 32]).unwrap();
        let key = signer.verifier_key().to_string();
        let witness = WitnessSigner::from_seed("witness.example", &[4; 32]).unwrap();
        let note = head.sign(&signer) + &witness.cosign(&head.to_text(), 5);
        let commands = checkpoint_commands(&note, &key).unwrap();
        assert_eq!(shell(&commands).trim(), "Signature Verified Successfully");
        let bent = commands.replacen(" '6' ", " '7' ", 1);
        assert_ne!(bent, commands);
        let run = std::process::Command::new("sh")
            .args(["-e", "-c", &bent])
            .current_dir(tempfile::tempdir().unwrap().path())
            .output()
            .unwrap();
        assert!(!run.status.success());
        let other = NoteSigner::from_seed("programme.example/it's", &[5; 32]).unwrap();
        let other = other.verifier_key().to_string();
        assert_eq!(checkpoint_commands(&note, &other), None);
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
