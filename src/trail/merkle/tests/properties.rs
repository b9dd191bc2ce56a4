//! The promise that nothing altered passes.

use proptest::prelude::*;

use super::*;

/// Ways in which a proof is no longer the proof that was made.
fn alter(proof: &[Hash], what: u8, place: usize, bit: u8) -> Vec<Hash> {
    let mut altered = proof.to_vec();
    match what % 4 {
        0 if !altered.is_empty() => {
            let place = place % altered.len();
            altered[place].0[usize::from(bit) / 8] ^= 1 << (bit % 8);
        }
        1 if !altered.is_empty() => {
            altered.remove(place % proof.len());
        }
        2 if altered.first() != altered.last() => altered.reverse(),
        _ => altered.insert(place % (proof.len() + 1), leaf_hash(&[bit])),
    }
    altered
}

proptest! {
    #[test]
    fn an_altered_inclusion_proof_never_passes(
        (size, index) in (1_u64..200).prop_flat_map(|size| (Just(size), 0..size)),
        what in any::<u8>(), place in any::<usize>(), bit in any::<u8>(), other in any::<u64>(),
    ) {
        let leaves = leaves(size);
        let root = root_of(&leaves);
        let leaf = leaves[index as usize];
        let proof = prove_inclusion(index, size, &Leaves(&leaves)).unwrap();
        prop_assert_eq!(verify_inclusion(&leaf, index, size, &proof, &root), Ok(()));
        let altered = alter(&proof, what, place, bit);
        prop_assert!(verify_inclusion(&leaf, index, size, &altered, &root).is_err());
        let another = leaf_hash(b"another");
        prop_assert!(verify_inclusion(&another, index, size, &proof, &root).is_err());
        prop_assert!(verify_inclusion(&leaf, index, size, &proof, &another).is_err());
        for index in [other % size, other] {
            if leaves.get(index as usize) != Some(&leaf) {
                prop_assert!(verify_inclusion(&leaf, index, size, &proof, &root).is_err());
            }
        }
    }

    #[test]
    fn an_altered_consistency_proof_never_passes(
        (new, old) in (2_u64..200).prop_flat_map(|new| (Just(new), 1..new)),
        what in any::<u8>(), place in any::<usize>(), bit in any::<u8>(),
    ) {
        let leaves = leaves(new);
        let (old_root, new_root) = (root_of(&leaves[..old as usize]), root_of(&leaves));
        let proof = prove_consistency(old, new, &Leaves(&leaves)).unwrap();
        prop_assert_eq!(verify_consistency(old, new, &old_root, &new_root, &proof), Ok(()));
        let altered = alter(&proof, what, place, bit);
        prop_assert!(verify_consistency(old, new, &old_root, &new_root, &altered).is_err());
        let another = leaf_hash(b"another");
        prop_assert!(verify_consistency(old, new, &another, &new_root, &proof).is_err());
        prop_assert!(verify_consistency(old, new, &old_root, &another, &proof).is_err());
        prop_assert!(verify_consistency(old, new, &new_root, &old_root, &proof).is_err());
        // A rewritten past shows whatever proof is made for it.
        let mut rewritten = leaves.clone();
        rewritten[(place as u64 % old) as usize] = another;
        let root = root_of(&rewritten);
        let proof = prove_consistency(old, new, &Leaves(&rewritten)).unwrap();
        prop_assert!(verify_consistency(old, new, &old_root, &root, &proof).is_err());
    }

    /// A proof does not commit to the size of its tree, the signed checkpoint
    /// does. It passes at another size only where the way up is the same.
    #[test]
    fn another_size_passes_only_where_the_way_up_is_the_same(
        (size, index) in (1_u64..200).prop_flat_map(|size| (Just(size), 0..size)),
        other in prop_oneof![1_u64..400, any::<u64>()],
    ) {
        let leaves = leaves(size);
        let proof = prove_inclusion(index, size, &Leaves(&leaves)).unwrap();
        let answer =
            verify_inclusion(&leaves[index as usize], index, other, &proof, &root_of(&leaves));
        let same_way = index < other && sides(index, other) == sides(index, size);
        prop_assert_eq!(answer.is_ok(), same_way, "{} of {} as of {}", index, size, other);
    }
}

/// From the root down, whether the leaf is in the right part (RFC 9162 section
/// 2.1.1: split at the largest power of two below the size).
fn sides(index: u64, size: u64) -> Vec<bool> {
    if size == 1 {
        return Vec::new();
    }
    let split = 1 << (size - 1).ilog2();
    let right = index >= split;
    let mut way = vec![right];
    way.extend(if right {
        sides(index - split, size - split)
    } else {
        sides(index, split)
    });
    way
}
