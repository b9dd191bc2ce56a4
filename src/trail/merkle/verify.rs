//! Checks proofs by the two algorithms of RFC 9162, written apart from the code
//! that makes them.

use super::{Hash, LONGEST_PROOF, MerkleError, node_hash};

/// Checks that a leaf hash is at this index of the tree with this size and root
/// (RFC 9162 section 2.1.3.2).
///
/// # Errors
/// The index is not below the size, the proof has another length than this
/// place in the tree asks for, or it leads to another root.
pub fn verify_inclusion(
    leaf: &Hash,
    index: u64,
    size: u64,
    proof: &[Hash],
    root: &Hash,
) -> Result<(), MerkleError> {
    if index >= size {
        return Err(MerkleError::IndexOutside { index, size });
    }
    let length = MerkleError::ProofLength { given: proof.len() };
    if proof.len() > LONGEST_PROOF {
        return Err(length);
    }
    let mut place = Place {
        inner: index,
        last: size - 1,
    };
    let mut hash = *leaf;
    for sibling in proof {
        hash = match place.step() {
            Some(Side::Left) => node_hash(sibling, &hash),
            Some(Side::Right) => node_hash(&hash, sibling),
            None => return Err(length),
        };
    }
    if place.last != 0 {
        return Err(length);
    }
    if hash == *root {
        Ok(())
    } else {
        Err(MerkleError::RootDiffers)
    }
}

/// Checks that the tree with the new size and root extends the one with the old
/// size and root (RFC 9162 section 2.1.4.2).
///
/// # Errors
/// The old size is above the new one, or is 0 while the new one is not (nothing
/// is proved then); the proof has another length than these sizes ask for, or
/// leads to other roots.
pub fn verify_consistency(
    old_size: u64,
    new_size: u64,
    old_root: &Hash,
    new_root: &Hash,
    proof: &[Hash],
) -> Result<(), MerkleError> {
    if old_size > new_size {
        return Err(MerkleError::SizesReversed {
            old: old_size,
            new: new_size,
        });
    }
    let length = MerkleError::ProofLength { given: proof.len() };
    if old_size == new_size {
        return match proof {
            [] if old_root == new_root => Ok(()),
            [] => Err(MerkleError::NewRootDiffers),
            _ => Err(length),
        };
    }
    if old_size == 0 {
        return Err(MerkleError::EmptyOldTree);
    }
    if proof.len() > LONGEST_PROOF {
        return Err(length);
    }
    // An old tree that is a perfect subtree is its own first hash.
    let (first, rest) = match proof {
        [] => return Err(length),
        _ if old_size.is_power_of_two() => (old_root, proof),
        [first, rest @ ..] => (first, rest),
    };
    let mut place = Place {
        inner: old_size - 1,
        last: new_size - 1,
    };
    // Below 64, since the old size is below the new one.
    let levels = place.inner.trailing_ones();
    place = Place {
        inner: place.inner >> levels,
        last: place.last >> levels,
    };
    let (mut old, mut new) = (*first, *first);
    for hash in rest {
        match place.step() {
            Some(Side::Left) => {
                old = node_hash(hash, &old);
                new = node_hash(hash, &new);
            }
            Some(Side::Right) => new = node_hash(&new, hash),
            None => return Err(length),
        }
    }
    if place.last != 0 {
        return Err(length);
    }
    if old != *old_root {
        return Err(MerkleError::OldRootDiffers);
    }
    if new == *new_root {
        Ok(())
    } else {
        Err(MerkleError::NewRootDiffers)
    }
}

/// On which side the next hash of a proof stands.
enum Side {
    Left,
    Right,
}

/// The node on the way up, and the last node of its level: `fn` and `sn` of the
/// RFC.
struct Place {
    inner: u64,
    last: u64,
}

impl Place {
    /// Takes one hash of the proof and moves up. `None` at the root, where a
    /// further hash has no place.
    fn step(&mut self) -> Option<Side> {
        if self.last == 0 {
            return None;
        }
        let side = if self.inner & 1 == 1 || self.inner == self.last {
            // The last node of a level may stay alone over several levels. It is
            // not node 0 here, so fewer than 64.
            let alone = self.inner.trailing_zeros();
            self.inner >>= alone;
            self.last >>= alone;
            Side::Left
        } else {
            Side::Right
        };
        self.inner >>= 1;
        self.last >>= 1;
        Some(side)
    }
}
