//! Objects of one shape, many times over: the rows of a batch. Their canonical bytes
//! are written straight into a buffer, without a JSON value in between.

use super::{CanonicalError, canonical_json};
use serde_json::Value;

/// The names of an object whose members are texts or `null`.
#[derive(Debug, Clone)]
pub struct FlatObject {
    /// In canonical order.
    members: Vec<Member>,
}

#[derive(Debug, Clone)]
struct Member {
    /// Place of the name among those given.
    place: usize,
    /// What stands before the value: `"name":`.
    lead: Vec<u8>,
    /// Whether the member is left out where it has no value.
    optional: bool,
}

impl FlatObject {
    /// The shape of objects with these names, which may be given in any order.
    ///
    /// # Errors
    /// A name is given twice.
    pub fn new(names: &[&str]) -> Result<FlatObject, CanonicalError> {
        FlatObject::with_optional(names, |_| false)
    }

    /// The same, where `optional` says of a name that its member is left out, not `null`,
    /// where it has no value.
    ///
    /// # Errors
    /// A name is given twice.
    pub fn with_optional(
        names: &[&str],
        optional: impl Fn(&str) -> bool,
    ) -> Result<FlatObject, CanonicalError> {
        let mut sorted: Vec<(usize, &str)> = names.iter().copied().enumerate().collect();
        // RFC 8785 section 3.2.3: by the code units of UTF-16.
        sorted.sort_by(|(_, a), (_, b)| a.encode_utf16().cmp(b.encode_utf16()));
        if let Some([(_, name), _]) = sorted.windows(2).find(|pair| pair[0].1 == pair[1].1) {
            return Err(CanonicalError::DuplicateName(format!(
                "the name {name:?} is given twice"
            )));
        }
        let mut members = Vec::with_capacity(sorted.len());
        for (place, name) in sorted {
            let mut lead = canonical_json(&Value::from(name))?;
            lead.push(b':');
            let optional = optional(name);
            members.push(Member {
                place,
                lead,
                optional,
            });
        }
        Ok(FlatObject { members })
    }

    /// Appends the canonical bytes of the object with these values: `text` is asked for
    /// the value of the name at each place, nothing stands for `null`.
    pub fn write<'a>(&self, text: impl Fn(usize) -> Option<&'a str>, buffer: &mut Vec<u8>) {
        buffer.push(b'{');
        let mut is_first = true;
        for member in &self.members {
            let text = text(member.place);
            if member.optional && text.is_none() {
                continue;
            }
            if !std::mem::take(&mut is_first) {
                buffer.push(b',');
            }
            buffer.extend_from_slice(&member.lead);
            match text {
                None => buffer.extend_from_slice(b"null"),
                Some(text) => write_text(text, buffer),
            }
        }
        buffer.push(b'}');
    }
}

/// A JSON string by RFC 8785 section 3.2.2.2.
fn write_text(text: &str, buffer: &mut Vec<u8>) {
    const HEX: &[u8; 16] = b"0123456789abcdef";
    buffer.push(b'"');
    for &byte in text.as_bytes() {
        match byte {
            b'"' => buffer.extend_from_slice(b"\\\""),
            b'\\' => buffer.extend_from_slice(b"\\\\"),
            0x08 => buffer.extend_from_slice(b"\\b"),
            b'\t' => buffer.extend_from_slice(b"\\t"),
            b'\n' => buffer.extend_from_slice(b"\\n"),
            0x0C => buffer.extend_from_slice(b"\\f"),
            b'\r' => buffer.extend_from_slice(b"\\r"),
            0..=0x1F => {
                let digit = |half: u8| HEX[usize::from(half & 0x0F)];
                buffer.extend_from_slice(&[b'\\', b'u', b'0', b'0', digit(byte >> 4), digit(byte)]);
            }
            other => buffer.push(other),
        }
    }
    buffer.push(b'"');
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::Map;
    use std::collections::BTreeMap;

    fn flat(members: &[(&str, Option<&str>)]) -> Vec<u8> {
        let names: Vec<&str> = members.iter().map(|(name, _)| *name).collect();
        let mut bytes = Vec::new();
        FlatObject::new(&names)
            .unwrap()
            .write(|place| members[place].1, &mut bytes);
        bytes
    }

    /// RFC 8785 section 3.2.3, the names of its sorting example. SEEN-2ND.
    #[test]
    fn names_are_sorted_by_their_code_units() {
        let names = [
            "\u{20ac}",
            "\r",
            "\u{fb33}",
            "1",
            "\u{1f600}",
            "\u{80}",
            "\u{f6}",
        ];
        let members = names.map(|name| (name, None));
        let expected = "{\"\\r\":null,\"1\":null,\"\u{80}\":null,\"\u{f6}\":null,\
                        \"\u{20ac}\":null,\"\u{1f600}\":null,\"\u{fb33}\":null}";
        assert_eq!(String::from_utf8(flat(&members)).unwrap(), expected);
    }

    #[test]
    fn nothing_is_an_empty_object_and_a_name_twice_is_refused() {
        assert_eq!(flat(&[]), b"{}");
        assert!(FlatObject::new(&["a", "b", "a"]).is_err());
    }

    proptest! {
        /// The outside reference is the library that [`canonical_json`] writes with.
        #[test]
        fn the_bytes_are_those_of_the_general_writer(
            members in prop::collection::btree_map(
                any::<String>(),
                prop::option::of("[\\x00-\\x7f]{0,12}|\\PC{0,12}"),
                0..8,
            )
        ) {
            let members: BTreeMap<String, Option<String>> = members;
            let value = Value::Object(
                members
                    .iter()
                    .map(|(name, text)| (name.clone(), text.clone().map_or(Value::Null, Value::from)))
                    .collect::<Map<_, _>>(),
            );
            let borrowed: Vec<_> = members.iter().map(|(n, t)| (n.as_str(), t.as_deref())).collect();
            prop_assert_eq!(flat(&borrowed), canonical_json(&value).unwrap());
        }
    }
}
