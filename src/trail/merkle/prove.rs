//! Makes roots and proofs out of stored nodes.

use super::address::{Run, runs_for_consistency, runs_for_inclusion};
use super::{Hash, MerkleError, NodeSource, empty_root, node_hash};

/// The hash of a run of leaves, from the perfect subtrees it falls into.
fn hash_of(run: Run, source: &impl NodeSource) -> Result<Hash, MerkleError> {
    let mut hash = None;
    for address in run.addresses().into_iter().rev() {
        let left = source
            .node(address)
            .ok_or(MerkleError::MissingNode(address))?;
        hash = Some(match hash {
            Some(right) => node_hash(&left, &right),
            None => left,
        });
    }
    Ok(hash.unwrap_or_else(empty_root))
}

/// The root of the tree as it was at this size.
///
/// # Errors
/// The source lacks a node of [`super::addresses_for_root`].
pub fn root_at(size: u64, source: &impl NodeSource) -> Result<Hash, MerkleError> {
    hash_of(Run::whole(size), source)
}

/// The inclusion path of a leaf in the tree of this size, its sibling first
/// (RFC 9162 section 2.1.3.1).
///
/// # Errors
/// The index is not below the size, or the source lacks a node of
/// [`super::addresses_for_inclusion`].
pub fn prove_inclusion(
    index: u64,
    size: u64,
    source: &impl NodeSource,
) -> Result<Vec<Hash>, MerkleError> {
    runs_for_inclusion(index, size)?
        .into_iter()
        .map(|run| hash_of(run, source))
        .collect()
}

/// The proof that the tree of the new size extends the one of the old size
/// (RFC 9162 section 2.1.4.1). Empty if the sizes are equal.
///
/// # Errors
/// The old size is above the new one, or is 0 while the new one is not, or the
/// source lacks a node of [`super::addresses_for_consistency`].
pub fn prove_consistency(
    old: u64,
    new: u64,
    source: &impl NodeSource,
) -> Result<Vec<Hash>, MerkleError> {
    runs_for_consistency(old, new)?
        .into_iter()
        .map(|run| hash_of(run, source))
        .collect()
}
