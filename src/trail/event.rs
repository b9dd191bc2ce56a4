//! Events: what the trail is a list of. The leaf data of an event is its
//! canonical JSON, always with all eight members.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::canonical::{CanonicalError, canonical_of, parse_strict};
use super::merkle::Hash;

/// One thing that happened, as one leaf of the trail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// Whose trail it is.
    pub programme: String,
    /// Its place in the trail, from 0; at most 2^53 - 1.
    pub sequence: u64,
    /// What kind of thing happened.
    pub kind: String,
    /// What it happened to.
    pub subject: String,
    /// SHA-256 of the canonical bytes of what was recorded.
    pub content: Hash,
    /// Who did it.
    pub actor: String,
    /// When, by RFC 3339 in UTC: `2026-03-01T09:30:00Z` or with milliseconds.
    #[serde(with = "utc_time")]
    pub time: String,
    /// Why, where a reason was given.
    pub reason: Option<String>,
}

/// Why bytes are not the leaf of an event.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum EventError {
    #[error(transparent)]
    Json(#[from] CanonicalError),
    #[error("this is not an event of the trail: {0}")]
    Shape(String),
    #[error("the event is not written in canonical form, so its hash is not to be relied on")]
    NotCanonical,
}

impl Event {
    /// The leaf data: canonical JSON.
    ///
    /// # Errors
    /// The sequence is above 2^53 - 1 or the time is not in its form.
    pub fn leaf_bytes(&self) -> Result<Vec<u8>, CanonicalError> {
        canonical_of(self)
    }

    /// Reads the leaf data of an event.
    ///
    /// # Errors
    /// The bytes are not strict JSON, have other members than an event, or are
    /// not the canonical form.
    pub fn parse(bytes: &[u8]) -> Result<Event, EventError> {
        let value = parse_strict(bytes)?;
        let event: Event =
            serde_json::from_value(value).map_err(|error| EventError::Shape(error.to_string()))?;
        if event.leaf_bytes()? != bytes {
            return Err(EventError::NotCanonical);
        }
        Ok(event)
    }
}

/// Lets a time through, in and out, only in the one form.
mod utc_time {
    use serde::{Deserialize, Deserializer, Serializer, de, ser};

    const PROBLEM: &str = "the time is not written as 2026-03-01T09:30:00Z \
                           or 2026-03-01T09:30:00.000Z";

    pub fn serialize<S: Serializer>(time: &str, serializer: S) -> Result<S::Ok, S::Error> {
        if !is_utc_time(time) {
            return Err(ser::Error::custom(PROBLEM));
        }
        serializer.serialize_str(time)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
        let time = String::deserialize(deserializer)?;
        if is_utc_time(&time) {
            Ok(time)
        } else {
            Err(de::Error::custom(PROBLEM))
        }
    }

    /// RFC 3339 with an upper-case T and Z, whole seconds or milliseconds, and a
    /// day that exists. Leap seconds are refused: no clock of ours tells them.
    fn is_utc_time(text: &str) -> bool {
        const SECONDS: &[u8] = b"0000-00-00T00:00:00Z";
        const MILLISECONDS: &[u8] = b"0000-00-00T00:00:00.000Z";
        let bytes = text.as_bytes();
        let fits = |form: &[u8]| {
            form.len() == bytes.len()
                && form.iter().zip(bytes).all(|(expected, byte)| {
                    if *expected == b'0' {
                        byte.is_ascii_digit()
                    } else {
                        expected == byte
                    }
                })
        };
        if !fits(SECONDS) && !fits(MILLISECONDS) {
            return false;
        }
        let number = |from: usize, to: usize| -> u32 {
            bytes[from..to]
                .iter()
                .fold(0, |sum, digit| sum * 10 + u32::from(digit - b'0'))
        };
        let (year, month, day) = (number(0, 4), number(5, 7), number(8, 10));
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => 0,
        };
        (1..=days).contains(&day)
            && number(11, 13) < 24
            && number(14, 16) < 60
            && number(17, 19) < 60
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::trail::canonical::LARGEST_INTEGER;
    use crate::trail::merkle::sha256;

    fn event() -> Event {
        Event {
            programme: "6f2c".into(),
            sequence: 12,
            kind: "batch.accepted".into(),
            subject: "batch 3".into(),
            content: sha256(b"content"),
            actor: "monitor 1".into(),
            time: "2026-03-01T09:30:00Z".into(),
            reason: None,
        }
    }

    #[test]
    fn a_leaf_is_canonical_json_with_all_members_in_order() {
        let expected = format!(
            r#"{{"actor":"monitor 1","content":"{}","kind":"batch.accepted","programme":"6f2c","reason":null,"sequence":12,"subject":"batch 3","time":"2026-03-01T09:30:00Z"}}"#,
            sha256(b"content"),
        );
        let bytes = event().leaf_bytes().unwrap();
        assert_eq!(String::from_utf8(bytes.clone()).unwrap(), expected);
        assert_eq!(Event::parse(&bytes), Ok(event()));
    }

    #[test]
    fn leaves_in_any_other_form_are_refused() {
        let leaf = String::from_utf8(event().leaf_bytes().unwrap()).unwrap();
        let hash = sha256(b"content").to_string();
        let cases = [
            ("a space", leaf.replacen(':', ": ", 1)),
            ("a newline after it", leaf.clone() + "\n"),
            (
                "another order",
                leaf.replace(r#""actor":"monitor 1","#, "")
                    .replace(r#""time""#, r#""actor":"monitor 1","time""#),
            ),
            (
                "an unknown member",
                leaf.replace(r#""time""#, r#""tame":1,"time""#),
            ),
            (
                "a member twice",
                leaf.replacen('{', r#"{"actor":"monitor 1","#, 1),
            ),
            ("no reason member", leaf.replace(r#""reason":null,"#, "")),
            ("no actor", leaf.replace(r#""actor":"monitor 1","#, "")),
            ("a sequence in words", leaf.replace(":12,", r#":"12","#)),
            ("a negative sequence", leaf.replace(":12,", ":-12,")),
            (
                "a sequence too large",
                leaf.replace(":12,", ":9007199254740992,"),
            ),
            ("a sequence with a point", leaf.replace(":12,", ":12.0,")),
            (
                "a hash in capitals",
                leaf.replace(&hash, &hash.to_uppercase()),
            ),
            ("a short hash", leaf.replace(&hash, &hash[2..])),
            ("a local time", leaf.replace("00Z", "00+01:00")),
            ("an escape", leaf.replace("batch 3", "b\\u0061tch 3")),
            ("an array", format!("[{leaf}]")),
            ("nothing", String::new()),
        ];
        for (what, text) in cases {
            assert_ne!(text, leaf, "{what} changed nothing");
            assert!(Event::parse(text.as_bytes()).is_err(), "{what}");
        }
    }

    #[test]
    fn only_utc_times_that_exist_are_written_or_read() {
        let with_time = |time: &str| Event {
            time: time.into(),
            ..event()
        };
        for time in [
            "2026-03-01T09:30:00Z",
            "2026-03-01T09:30:00.125Z",
            "2024-02-29T23:59:59Z",
            "2000-02-29T00:00:00Z",
        ] {
            let bytes = with_time(time).leaf_bytes().unwrap();
            assert_eq!(Event::parse(&bytes).unwrap().time, time);
        }
        for time in [
            "",
            "2026-03-01",
            "2026-03-01 09:30:00Z",
            "2026-03-01t09:30:00z",
            "2026-03-01T09:30:00",
            "2026-03-01T09:30:00+00:00",
            "2026-03-01T09:30:00.1Z",
            "2026-03-01T09:30:00.000000Z",
            "2026-13-01T09:30:00Z",
            "2026-00-01T09:30:00Z",
            "2026-02-29T09:30:00Z",
            "1900-02-29T09:30:00Z",
            "2026-04-31T09:30:00Z",
            "2026-04-00T09:30:00Z",
            "2026-03-01T24:00:00Z",
            "2026-03-01T09:60:00Z",
            "2016-12-31T23:59:60Z",
            "٢٠٢٦-03-01T09:30:00Z",
        ] {
            assert!(with_time(time).leaf_bytes().is_err(), "{time}");
        }
    }

    #[test]
    fn a_sequence_is_refused_where_json_would_round_it() {
        let at = |sequence| {
            Event {
                sequence,
                ..event()
            }
            .leaf_bytes()
        };
        assert!(at(LARGEST_INTEGER).is_ok());
        assert!(at(LARGEST_INTEGER + 1).is_err());
        assert!(at(u64::MAX).is_err());
    }

    proptest! {
        #[test]
        fn every_event_comes_back(
            programme: String, sequence in 0..=LARGEST_INTEGER, kind: String, subject: String,
            content: [u8; 32], actor: String, reason: Option<String>,
        ) {
            let time = "2026-03-01T09:30:00.001Z".to_owned();
            let content = Hash(content);
            let event = Event { programme, sequence, kind, subject, content, actor, time, reason };
            prop_assert_eq!(Event::parse(&event.leaf_bytes().unwrap()), Ok(event));
        }

        #[test]
        fn any_bytes_are_answered_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
            prop_assert!(Event::parse(&bytes).is_err());
        }
    }
}
