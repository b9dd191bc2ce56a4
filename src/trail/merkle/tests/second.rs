//! Roots, paths and consistency proofs against a second implementation.

use super::*;

/// COMPUTED by `tests/reference/notes.py`, from the definitions of RFC 9162 alone.
fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("../../../../tests/reference/notes.json")).unwrap()
}

#[test]
fn every_proof_up_to_eleven_leaves_is_that_of_the_second_implementation() {
    let reference = reference();
    let texts = |value: &serde_json::Value| -> Vec<String> {
        serde_json::from_value(value.clone()).unwrap()
    };
    let leaves: Vec<Hash> = texts(&reference["leaves"])
        .iter()
        .map(|text| leaf_hash(text.as_bytes()))
        .collect();
    let roots = texts(&reference["roots"]);
    assert_eq!(roots.len(), 12);
    for (size, root) in roots.iter().enumerate() {
        assert_eq!(root_of(&leaves[..size]).to_string(), *root);
    }
    let number = |value: &serde_json::Value| value.as_u64().unwrap();
    let path = |proof: &serde_json::Value| -> Vec<Hash> {
        texts(&proof["path"])
            .iter()
            .map(|text| hash(text))
            .collect()
    };
    let inclusion = reference["inclusion"].as_array().unwrap();
    assert_eq!(inclusion.len(), 66);
    for proof in inclusion {
        let (index, size) = (number(&proof["index"]), number(&proof["size"]));
        let made = prove_inclusion(index, size, &Leaves(&leaves)).unwrap();
        assert_eq!(made, path(proof), "leaf {index} of {size}");
        let root = hash(&roots[size as usize]);
        verify_inclusion(&leaves[index as usize], index, size, &made, &root).unwrap();
    }
    let consistency = reference["consistency"].as_array().unwrap();
    assert_eq!(consistency.len(), 66);
    for proof in consistency {
        let (old, new) = (number(&proof["old"]), number(&proof["new"]));
        let made = prove_consistency(old, new, &Leaves(&leaves)).unwrap();
        assert_eq!(made, path(proof), "{old} to {new}");
        let root = |size: u64| hash(&roots[size as usize]);
        verify_consistency(old, new, &root(old), &root(new), &made).unwrap();
    }
}
