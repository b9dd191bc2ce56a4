//! The accounting of a programme's stoves, as pure functions of typed inputs.
//!
//! What a statement says is decided here and nowhere else: the service and the
//! offline verifier call the same [`statement::state`].

pub mod evidence;
pub mod factor;
pub mod inputs;
pub mod library;
pub mod methodology;
pub mod records;
