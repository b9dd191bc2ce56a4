//! Signed notes (C2SP signed-note): a text and the signatures under it, with
//! Ed25519 keys (signature type 0x01).
//!
//! Signatures of keys that the reader does not know are passed over. One by a
//! known key must hold, or the whole note is refused. At least one must be by a
//! known key.

mod key;
#[cfg(test)]
mod tests;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use thiserror::Error;

pub use key::{NoteSigner, VerifierKey};
pub(in crate::trail) use key::{holds, is_name, key_id, read_key, signature_line, write_key};

/// A longer note is refused unread. Sixteen signatures of the largest kind in
/// use (under 5 kB each) fit many times over.
pub const LARGEST_NOTE_BYTES: usize = 1_000_000;

/// More signature lines are refused. The specification asks for at least 16.
pub const MOST_SIGNATURES: usize = 100;

/// Before each signature line: an em dash and a space.
const SIGNATURE_START: &str = "\u{2014} ";

/// Why a note or a key cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NoteError {
    #[error("a key name must not be empty or hold spaces, plus signs or control characters: {0:?}")]
    Name(String),
    #[error("this is not a key that checks notes: {0}")]
    Key(&'static str),
    #[error("this is not a signed note: {0}")]
    Malformed(&'static str),
    #[error("the note has {0} bytes, more than a note may have")]
    TooLarge(usize),
    #[error("the note's text does not fit the signature of {0}")]
    WrongSignature(String),
    #[error("two of the given keys share the name {0} and the key id, so neither can be used")]
    AmbiguousKey(String),
    #[error("none of the given keys signed this note")]
    NoKnownSignature,
}

/// A note whose signatures by known keys all hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenedNote {
    /// The signed text, with its last newline.
    pub text: String,
    /// The known keys that signed, in the order of their lines, each once.
    pub signed_by: Vec<VerifierKey>,
}

/// Checks a note against the keys that the reader trusts.
///
/// # Errors
/// The note is malformed or too large, a signature by a known key is wrong, or
/// no known key signed.
pub fn open(note: &str, keys: &[VerifierKey]) -> Result<OpenedNote, NoteError> {
    let (text, lines) = split(note)?;
    let mut signed_by: Vec<VerifierKey> = Vec::new();
    for line in lines.split_terminator('\n') {
        let signature = SignatureLine::parse(line)?;
        let Some(key) = signature.known_key(keys)? else {
            continue;
        };
        if !key.verifies(text.as_bytes(), &signature.bytes) {
            return Err(NoteError::WrongSignature(key.name().to_owned()));
        }
        if !signed_by.contains(key) {
            signed_by.push(key.clone());
        }
    }
    if signed_by.is_empty() {
        return Err(NoteError::NoKnownSignature);
    }
    Ok(OpenedNote {
        text: text.to_owned(),
        signed_by,
    })
}

/// The text with its last newline, and the signature lines.
pub(in crate::trail) fn split(note: &str) -> Result<(&str, &str), NoteError> {
    if note.len() > LARGEST_NOTE_BYTES {
        return Err(NoteError::TooLarge(note.len()));
    }
    check_characters(note)?;
    let Some(gap) = note.rfind("\n\n") else {
        return Err(NoteError::Malformed(
            "no blank line stands before the signatures",
        ));
    };
    let (text, lines) = (&note[..=gap], &note[gap + 2..]);
    if lines.is_empty() {
        return Err(NoteError::Malformed("it has no signatures"));
    }
    if !lines.ends_with('\n') {
        return Err(NoteError::Malformed("its last line does not end"));
    }
    if lines.matches('\n').count() > MOST_SIGNATURES {
        return Err(NoteError::Malformed("it has too many signatures"));
    }
    Ok((text, lines))
}

fn check_characters(text: &str) -> Result<(), NoteError> {
    if text
        .chars()
        .any(|character| character < ' ' && character != '\n')
    {
        return Err(NoteError::Malformed("it holds control characters"));
    }
    Ok(())
}

/// One line under a note.
pub(in crate::trail) struct SignatureLine<'a> {
    pub name: &'a str,
    pub key_id: [u8; 4],
    pub bytes: Vec<u8>,
}

impl SignatureLine<'_> {
    pub fn parse(line: &str) -> Result<SignatureLine<'_>, NoteError> {
        let malformed = NoteError::Malformed("a signature line is not a dash, a name and base64");
        let Some((name, base64)) = line
            .strip_prefix(SIGNATURE_START)
            .and_then(|rest| rest.split_once(' '))
        else {
            return Err(malformed);
        };
        let Ok(bytes) = STANDARD.decode(base64) else {
            return Err(malformed);
        };
        match bytes.split_first_chunk::<4>() {
            Some((key_id, signature)) if !signature.is_empty() && key::is_name(name) => {
                Ok(SignatureLine {
                    name,
                    key_id: *key_id,
                    bytes: signature.to_vec(),
                })
            }
            _ => Err(malformed),
        }
    }

    fn known_key<'k>(&self, keys: &'k [VerifierKey]) -> Result<Option<&'k VerifierKey>, NoteError> {
        let mut known = keys
            .iter()
            .filter(|key| key.name() == self.name && key.key_id() == self.key_id);
        let first = known.next();
        if known.any(|other| Some(other) != first) {
            return Err(NoteError::AmbiguousKey(self.name.to_owned()));
        }
        Ok(first)
    }
}
