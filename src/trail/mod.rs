//! Canonical JSON, Merkle tree, signed checkpoints, bags. Stands on nothing else in the crate.
