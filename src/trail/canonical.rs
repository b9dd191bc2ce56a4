//! Canonical JSON (RFC 8785) and the strict reader that goes with it: one value
//! has one spelling, so its hash means something.
//!
//! Three traps are closed here that the plain libraries leave open. An integer
//! beyond 2^53 - 1 would be rounded without a word on its way through a double,
//! so it is refused: such a number belongs in a string. Of two members with one
//! name the last would win, so a repeated name is refused. And a number that is
//! not finite would become `null` inside a structure, so it is refused too.

mod finite;
mod flat;
mod strict;
#[cfg(test)]
mod tests;

use serde::Serialize;
use serde_json::{Number, Value};
use thiserror::Error;

pub use flat::FlatObject;
pub use strict::parse_strict;

/// Arrays and objects must nest less deep than this.
pub const NESTING_BOUND: usize = 128;

/// The largest integer that every reader of JSON holds exactly (RFC 7493
/// section 2.2): 2^53 - 1.
pub const LARGEST_INTEGER: u64 = (1 << 53) - 1;

/// RFC 8785 writes a whole number below this as plain digits, and from here on
/// with an exponent.
const EXPONENT_FROM: f64 = 1e21;

/// Why a value has no canonical form, or bytes are not one strict JSON value.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CanonicalError {
    #[error("this is not a JSON value: {0}")]
    NotJson(String),
    #[error("{0}")]
    DuplicateName(String),
    #[error(
        "the integer {0} is outside -(2^53 - 1) to 2^53 - 1, where JSON readers round; \
         write it as a string"
    )]
    IntegerTooLarge(String),
    #[error("arrays and objects are nested 128 levels deep or more")]
    TooDeep,
    #[error("this value cannot be written as JSON: {0}")]
    NotWritable(String),
}

/// The canonical bytes of a JSON value, by RFC 8785.
///
/// # Errors
/// An integer outside +-(2^53 - 1), or nesting of [`NESTING_BOUND`] levels or more.
pub fn canonical_json(value: &Value) -> Result<Vec<u8>, CanonicalError> {
    check(value, 0)?;
    write(value)
}

/// The canonical bytes of anything that serde can write as JSON.
///
/// # Errors
/// As [`canonical_json`]; also a number that is not finite, and a value whose
/// serialisation fails or repeats a name.
pub fn canonical_of<T: Serialize>(value: &T) -> Result<Vec<u8>, CanonicalError> {
    finite::check_finite(value).map_err(|error| CanonicalError::NotWritable(error.to_string()))?;
    let bytes = write(value)?;
    check(&parse_strict(&bytes)?, 0)?;
    Ok(bytes)
}

/// Whether these bytes are exactly the canonical form of one strict JSON value.
pub fn is_canonical(bytes: &[u8]) -> bool {
    parse_strict(bytes)
        .and_then(|value| canonical_json(&value))
        .is_ok_and(|canonical| canonical == bytes)
}

fn write<T: Serialize>(value: &T) -> Result<Vec<u8>, CanonicalError> {
    serde_json_canonicalizer::to_vec(value)
        .map_err(|error| CanonicalError::NotWritable(error.to_string()))
}

fn check(value: &Value, depth: usize) -> Result<(), CanonicalError> {
    match value {
        Value::Number(number) => check_number(number),
        Value::Array(items) => {
            let depth = deeper(depth)?;
            items.iter().try_for_each(|item| check(item, depth))
        }
        Value::Object(members) => {
            let depth = deeper(depth)?;
            members.values().try_for_each(|member| check(member, depth))
        }
        Value::Null | Value::Bool(_) | Value::String(_) => Ok(()),
    }
}

fn deeper(depth: usize) -> Result<usize, CanonicalError> {
    if depth + 1 < NESTING_BOUND {
        Ok(depth + 1)
    } else {
        Err(CanonicalError::TooDeep)
    }
}

/// Refuses every number that would be written as plain digits of an integer
/// outside the exact range, whether it is held as an integer or as a double:
/// what is written must come back as the same number.
fn check_number(number: &Number) -> Result<(), CanonicalError> {
    let too_large = if let Some(integer) = number.as_u64() {
        integer > LARGEST_INTEGER
    } else if let Some(integer) = number.as_i64() {
        integer.unsigned_abs() > LARGEST_INTEGER
    } else if let Some(double) = number.as_f64() {
        let size = double.abs();
        size > LARGEST_INTEGER as f64 && size < EXPONENT_FROM
    } else {
        true
    };
    if too_large {
        Err(CanonicalError::IntegerTooLarge(number.to_string()))
    } else {
        Ok(())
    }
}
