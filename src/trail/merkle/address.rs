//! Which nodes of the tree a root or a proof is made of.
//!
//! Everything is a run of neighbouring leaves that the tree keeps together. A
//! run is either a perfect subtree, or lies on the right edge and falls apart
//! into perfect subtrees of falling size. Only perfect subtrees never change
//! once complete, so only they have addresses.

use std::collections::{BTreeMap, HashMap};
use std::hash::BuildHasher;

use super::{Hash, MerkleError, root_of};

/// Names the perfect subtree over the leaves `index * 2^level` up to, but
/// without, `(index + 1) * 2^level`.
#[derive(Copy, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct NodeAddress {
    pub level: u8,
    pub index: u64,
}

/// Where the hashes of perfect subtrees come from.
pub trait NodeSource {
    /// The hash of that subtree, if it is complete and known.
    fn node(&self, address: NodeAddress) -> Option<Hash>;
}

impl<S: BuildHasher> NodeSource for HashMap<NodeAddress, Hash, S> {
    fn node(&self, address: NodeAddress) -> Option<Hash> {
        self.get(&address).copied()
    }
}

impl NodeSource for BTreeMap<NodeAddress, Hash> {
    fn node(&self, address: NodeAddress) -> Option<Hash> {
        self.get(&address).copied()
    }
}

/// Leaf hashes in memory; every node is computed when asked for.
#[derive(Copy, Clone, Debug)]
pub struct Leaves<'a>(pub &'a [Hash]);

impl NodeSource for Leaves<'_> {
    fn node(&self, address: NodeAddress) -> Option<Hash> {
        let width = 1_u64.checked_shl(address.level.into())?;
        let start = address.index.checked_mul(width)?;
        let end = start.checked_add(width)?;
        let leaves = self
            .0
            .get(usize::try_from(start).ok()?..usize::try_from(end).ok()?)?;
        Some(root_of(leaves))
    }
}

/// A run of leaves that is one subtree of the tree it is taken from.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub(super) struct Run {
    start: u64,
    end: u64,
}

impl Run {
    /// The run of all leaves.
    pub(super) fn whole(size: u64) -> Run {
        Run {
            start: 0,
            end: size,
        }
    }

    fn width(self) -> u64 {
        self.end - self.start
    }

    /// The two children of a run of at least two leaves.
    fn halves(self) -> (Run, Run) {
        let middle = self.start + (1 << (self.width() - 1).ilog2());
        (
            Run {
                end: middle,
                ..self
            },
            Run {
                start: middle,
                ..self
            },
        )
    }

    /// The perfect subtrees that make up this run, largest first. At most 64.
    pub(super) fn addresses(self) -> Vec<NodeAddress> {
        let mut addresses = Vec::new();
        let mut start = self.start;
        for level in (0..64_u8).rev() {
            if self.width() & (1 << level) != 0 {
                // A run starts at a multiple of the power of two next above its
                // width, so each part starts at a multiple of its own width.
                addresses.push(NodeAddress {
                    level,
                    index: start >> level,
                });
                start += 1 << level;
            }
        }
        addresses
    }
}

/// The runs whose hashes prove a leaf, from the leaf's sibling up.
pub(super) fn runs_for_inclusion(index: u64, size: u64) -> Result<Vec<Run>, MerkleError> {
    if index >= size {
        return Err(MerkleError::IndexOutside { index, size });
    }
    let mut runs = Vec::new();
    let mut run = Run::whole(size);
    while run.width() > 1 {
        let (left, right) = run.halves();
        let (inside, sibling) = if index < right.start {
            (left, right)
        } else {
            (right, left)
        };
        runs.push(sibling);
        run = inside;
    }
    runs.reverse();
    Ok(runs)
}

/// The runs whose hashes prove that a tree extends an older one, in the order
/// of RFC 6962 section 2.1.2.
pub(super) fn runs_for_consistency(old: u64, new: u64) -> Result<Vec<Run>, MerkleError> {
    if old > new {
        return Err(MerkleError::SizesReversed { old, new });
    }
    if old == new {
        return Ok(Vec::new());
    }
    if old == 0 {
        return Err(MerkleError::EmptyOldTree);
    }
    let mut runs = Vec::new();
    let mut run = Run::whole(new);
    while run.end != old {
        let (left, right) = run.halves();
        let (inside, sibling) = if old <= right.start {
            (left, right)
        } else {
            (right, left)
        };
        runs.push(sibling);
        run = inside;
    }
    // Where the old tree is itself a subtree the verifier knows this hash: it
    // is the old root.
    if run.start != 0 {
        runs.push(run);
    }
    runs.reverse();
    Ok(runs)
}

fn addresses_of(runs: &[Run]) -> Vec<NodeAddress> {
    runs.iter().flat_map(|run| run.addresses()).collect()
}

/// The nodes that the root of a tree of this size is made of, largest first.
pub fn addresses_for_root(size: u64) -> Vec<NodeAddress> {
    Run::whole(size).addresses()
}

/// The nodes that [`super::prove_inclusion`] asks its source for.
///
/// # Errors
/// The index is not below the size.
pub fn addresses_for_inclusion(index: u64, size: u64) -> Result<Vec<NodeAddress>, MerkleError> {
    Ok(addresses_of(&runs_for_inclusion(index, size)?))
}

/// The nodes that [`super::prove_consistency`] asks its source for.
///
/// # Errors
/// The old size is above the new one, or is 0 while the new one is not.
pub fn addresses_for_consistency(old: u64, new: u64) -> Result<Vec<NodeAddress>, MerkleError> {
    Ok(addresses_of(&runs_for_consistency(old, new)?))
}
