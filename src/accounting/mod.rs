//! The accounting of a programme's stoves, as pure functions of typed inputs.
//!
//! What a statement says is decided here and nowhere else: the service and the
//! offline verifier call the same [`statement::state`].

pub mod carbon_balance;
pub mod cautions;
pub mod char_lab;
pub mod claim;
pub mod cooking_test;
pub mod evidence;
pub mod factor;
pub mod fuel;
pub mod gather;
pub mod inputs;
pub mod library;
pub mod methodology;
pub mod records;
pub mod replicates;
pub mod rounding;
pub mod rounds;
pub mod statement;
pub mod stove_days;
pub mod stove_test;
pub mod trace;
pub mod units;
