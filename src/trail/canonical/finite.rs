//! Walks a value as serde would write it and refuses any number that is not
//! finite. The JSON writers check only a bare number: inside a structure they
//! write `null` in its place without a word.

use serde::ser::{self, Error as _, Serialize, Serializer};
use std::fmt;

/// Refuses a value that holds NaN or an infinity at any depth.
pub(super) fn check_finite<T: Serialize + ?Sized>(value: &T) -> Result<(), Refusal> {
    value.serialize(Walk)
}

/// What the walk, or the value's own way of serialising, objects to.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Refusal(pub(super) String);

impl fmt::Display for Refusal {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

impl std::error::Error for Refusal {}

impl ser::Error for Refusal {
    fn custom<T: fmt::Display>(message: T) -> Refusal {
        Refusal(message.to_string())
    }
}

struct Walk;

/// Methods that take a plain value, which is always fine.
macro_rules! accept {
    ($($method:ident($($kind:ty),*);)*) => {
        $(fn $method(self, $(_: $kind),*) -> Result<(), Refusal> { Ok(()) })*
    };
}

impl Serializer for Walk {
    type Ok = ();
    type Error = Refusal;
    type SerializeSeq = Walk;
    type SerializeTuple = Walk;
    type SerializeTupleStruct = Walk;
    type SerializeTupleVariant = Walk;
    type SerializeMap = Walk;
    type SerializeStruct = Walk;
    type SerializeStructVariant = Walk;

    accept! {
        serialize_bool(bool);
        serialize_i8(i8);
        serialize_i16(i16);
        serialize_i32(i32);
        serialize_i64(i64);
        serialize_i128(i128);
        serialize_u8(u8);
        serialize_u16(u16);
        serialize_u32(u32);
        serialize_u64(u64);
        serialize_u128(u128);
        serialize_char(char);
        serialize_str(&str);
        serialize_bytes(&[u8]);
        serialize_none();
        serialize_unit();
        serialize_unit_struct(&'static str);
        serialize_unit_variant(&'static str, u32, &'static str);
    }

    fn serialize_f32(self, value: f32) -> Result<(), Refusal> {
        self.serialize_f64(value.into())
    }

    fn serialize_f64(self, value: f64) -> Result<(), Refusal> {
        if value.is_finite() {
            Ok(())
        } else {
            Err(Refusal::custom(format_args!(
                "{value} is not a number that JSON knows"
            )))
        }
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), Refusal> {
        value.serialize(self)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        value: &T,
    ) -> Result<(), Refusal> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), Refusal> {
        value.serialize(self)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Walk, Refusal> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Walk, Refusal> {
        Ok(self)
    }
}

/// The compound kinds differ only in the names of their methods.
macro_rules! walk_into {
    ($kind:ident, $method:ident $(, $name:ty)?) => {
        impl ser::$kind for Walk {
            type Ok = ();
            type Error = Refusal;

            fn $method<T: Serialize + ?Sized>(
                &mut self,
                $(_: $name,)?
                value: &T,
            ) -> Result<(), Refusal> {
                check_finite(value)
            }

            fn end(self) -> Result<(), Refusal> {
                Ok(())
            }
        }
    };
}

walk_into!(SerializeSeq, serialize_element);
walk_into!(SerializeTuple, serialize_element);
walk_into!(SerializeTupleStruct, serialize_field);
walk_into!(SerializeTupleVariant, serialize_field);
walk_into!(SerializeStruct, serialize_field, &'static str);
walk_into!(SerializeStructVariant, serialize_field, &'static str);

impl ser::SerializeMap for Walk {
    type Ok = ();
    type Error = Refusal;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, name: &T) -> Result<(), Refusal> {
        check_finite(name)
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Refusal> {
        check_finite(value)
    }

    fn end(self) -> Result<(), Refusal> {
        Ok(())
    }
}
