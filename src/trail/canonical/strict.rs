//! Reads JSON text without forgiving anything: one value, no repeated names, no
//! lone surrogates, nothing after the value, bounded depth.

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::error::Category;
use serde_json::{Map, Number, Value};

use super::CanonicalError;

/// One JSON value from its text (UTF-8 bytes).
///
/// # Errors
/// Anything but exactly one JSON value by RFC 8259, a name that appears twice
/// in one object, a lone surrogate, a number too large for a double, nesting of
/// [`super::NESTING_BOUND`] levels or more.
pub fn parse_strict(bytes: &[u8]) -> Result<Value, CanonicalError> {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = Strict.deserialize(&mut reader).map_err(explain)?;
    reader.end().map_err(explain)?;
    Ok(value)
}

fn explain(error: serde_json::Error) -> CanonicalError {
    let text = error.to_string();
    match error.classify() {
        // The visitor below raises data errors for repeated names alone.
        Category::Data => CanonicalError::DuplicateName(text),
        _ if text.starts_with("recursion limit exceeded") => CanonicalError::TooDeep,
        _ => CanonicalError::NotJson(text),
    }
}

struct Strict;

impl<'de> DeserializeSeed<'de> for Strict {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str("a JSON value")
    }

    fn visit_unit<E: Error>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value)
            .map(Value::Number)
            .ok_or_else(|| E::custom("a number not finite"))
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_string<E: Error>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut array = Vec::new();
        while let Some(item) = items.next_element_seed(Strict)? {
            array.push(item);
        }
        Ok(Value::Array(array))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Value, A::Error> {
        let mut object = Map::new();
        while let Some(name) = members.next_key::<String>()? {
            if object.contains_key(&name) {
                return Err(A::Error::custom(format_args!(
                    "the name {name:?} appears twice"
                )));
            }
            object.insert(name, members.next_value_seed(Strict)?);
        }
        Ok(Value::Object(object))
    }
}
