//! The Merkle tree of RFC 6962 section 2.1 (RFC 9162 keeps its hashing): roots,
//! proofs that a leaf is in a tree, and proofs that one tree extends another.
//!
//! A tree is never held whole. Its perfect subtrees are named by
//! [`NodeAddress`] and fetched from any [`NodeSource`], so a proof over a
//! million leaves reads some twenty nodes.

mod address;
mod frontier;
mod hash;
mod prove;
#[cfg(test)]
mod tests;
mod verify;

use thiserror::Error;

pub use address::{
    Leaves, NodeAddress, NodeSource, addresses_for_consistency, addresses_for_inclusion,
    addresses_for_root,
};
pub use frontier::{Frontier, LARGEST_FRONTIER};
pub use hash::{Hash, HashError, empty_root, leaf_hash, node_hash, root_of, sha256};
pub use prove::{prove_consistency, prove_inclusion, root_at};
pub use verify::{verify_consistency, verify_inclusion};

/// No proof in a tree whose size fits 64 bits is longer than this, but for a
/// consistency proof, which may bring one more hash to start from.
pub const LONGEST_PROOF: usize = 65;

/// Why a proof cannot be made, or does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MerkleError {
    #[error("there is no leaf {index} in a tree of {size} leaves")]
    IndexOutside { index: u64, size: u64 },
    #[error("a tree of {new} leaves cannot extend one of {old}")]
    SizesReversed { old: u64, new: u64 },
    #[error("every tree extends the empty one, so there is nothing to prove")]
    EmptyOldTree,
    #[error("the node at level {}, index {} is missing", .0.level, .0.index)]
    MissingNode(NodeAddress),
    #[error("a tree of {0} leaves is beyond what can still grow")]
    TooLarge(u64),
    #[error("the proof has {given} hashes, which does not fit this tree")]
    ProofLength { given: usize },
    #[error("the proof leads to another root")]
    RootDiffers,
    #[error("the proof leads to another root of the older tree")]
    OldRootDiffers,
    #[error("the proof leads to another root of the newer tree")]
    NewRootDiffers,
}
