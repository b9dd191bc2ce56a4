//! The trail: canonical JSON, the Merkle tree over events, signed checkpoints,
//! proof files and bags. It stands on no other room of the crate and knows no
//! database, no network and no clock.

pub mod bag;
pub mod canonical;
pub mod checkpoint;
pub mod cosignature;
pub mod event;
pub mod key_change;
pub mod merkle;
pub mod note;
pub mod proof_file;
