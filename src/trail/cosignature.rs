//! Cosignatures (C2SP tlog-cosignature, Ed25519, type 0x04): a witness says that at a
//! time it saw a checkpoint which extends all that it had seen of the log before.

use std::fmt;
use std::str::FromStr;

use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use thiserror::Error;

use super::note::{
    NoteError, SignatureLine, holds, is_name, key_id, read_key, signature_line, split, write_key,
};

/// The signature type of timestamped Ed25519 cosignatures.
const COSIGNATURE: u8 = 0x04;

/// Time and signature.
const VALUE_BYTES: usize = 8 + 64;

/// Why a cosignature cannot be relied on.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CosignatureError {
    #[error(transparent)]
    Note(#[from] NoteError),
    #[error("this is not one cosignature line: {0}")]
    Line(&'static str),
    #[error("the line is not of this witness's key")]
    AnotherKey,
    #[error("the checkpoint does not fit the cosignature of {0}")]
    Wrong(String),
}

/// What a reader must have to check a witness's cosignatures. Its text form is
/// `name+key id in hex+base64`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WitnessKey {
    name: String,
    public: VerifyingKey,
}

impl WitnessKey {
    /// The name under which the witness signs.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The first four bytes of SHA-256 over name, newline, type and public key.
    pub fn key_id(&self) -> [u8; 4] {
        key_id(&self.name, COSIGNATURE, &self.public)
    }

    fn is_of(&self, line: &SignatureLine<'_>) -> bool {
        line.name == self.name && line.key_id == self.key_id()
    }

    /// Checks one cosignature line under the text of a checkpoint, and returns its time
    /// in seconds since 1970.
    ///
    /// # Errors
    /// The line is not in its form, is of another key, or does not fit the text.
    pub fn check(&self, text: &str, line: &str) -> Result<u64, CosignatureError> {
        let line = SignatureLine::parse(line)?;
        if !self.is_of(&line) {
            return Err(CosignatureError::AnotherKey);
        }
        let Some((time, signature)) = line
            .bytes
            .split_first_chunk::<8>()
            .filter(|_| line.bytes.len() == VALUE_BYTES)
        else {
            return Err(CosignatureError::Line(
                "it does not hold a time and 64 bytes",
            ));
        };
        let time = u64::from_be_bytes(*time);
        if holds(&self.public, message(text, time).as_bytes(), signature) {
            Ok(time)
        } else {
            Err(CosignatureError::Wrong(self.name.clone()))
        }
    }
}

impl fmt::Display for WitnessKey {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str(&write_key(&self.name, COSIGNATURE, &self.public))
    }
}

impl FromStr for WitnessKey {
    type Err = NoteError;

    fn from_str(text: &str) -> Result<WitnessKey, NoteError> {
        let wrong = "it is not an Ed25519 key of a witness, type 4";
        let (name, public) = read_key(text, COSIGNATURE, wrong)?;
        Ok(WitnessKey { name, public })
    }
}

/// The secret half. Its debug form shows the name alone.
pub struct WitnessSigner {
    name: String,
    secret: SigningKey,
}

impl WitnessSigner {
    /// The witness with this name and the 32 secret bytes of RFC 8032.
    ///
    /// # Errors
    /// The name cannot name a key.
    pub fn from_seed(name: &str, seed: &[u8; 32]) -> Result<WitnessSigner, NoteError> {
        if !is_name(name) {
            return Err(NoteError::Name(name.to_owned()));
        }
        Ok(WitnessSigner {
            name: name.to_owned(),
            secret: SigningKey::from_bytes(seed),
        })
    }

    /// The half to publish.
    pub fn key(&self) -> WitnessKey {
        WitnessKey {
            name: self.name.clone(),
            public: self.secret.verifying_key(),
        }
    }

    /// The cosignature line under a checkpoint's text, with its newline. Whether the
    /// checkpoint extends what was seen before is for the caller to have checked.
    pub fn cosign(&self, text: &str, time: u64) -> String {
        let signature = self.secret.sign(message(text, time).as_bytes());
        let value = [&time.to_be_bytes()[..], &signature.to_bytes()].concat();
        signature_line(&self.name, self.key().key_id(), &value)
    }
}

impl fmt::Debug for WitnessSigner {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter
            .debug_struct("WitnessSigner")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}

/// What a witness signs.
fn message(text: &str, time: u64) -> String {
    format!("cosignature/v1\ntime {time}\n{text}")
}

/// A cosignature that holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cosignature {
    pub witness: WitnessKey,
    /// Seconds since 1970.
    pub time: u64,
}

/// The cosignatures under a note by the given witnesses. Lines of other keys, the log's
/// own among them, are passed over.
///
/// # Errors
/// The note is malformed, or a line of a given witness does not hold.
pub fn cosignatures(
    note: &str,
    witnesses: &[WitnessKey],
) -> Result<Vec<Cosignature>, CosignatureError> {
    let (text, lines) = split(note)?;
    let mut found = Vec::new();
    for line in lines.split_terminator('\n') {
        let parsed = SignatureLine::parse(line)?;
        if let Some(witness) = witnesses.iter().find(|key| key.is_of(&parsed)) {
            let time = witness.check(text, line)?;
            found.push(Cosignature {
                witness: witness.clone(),
                time,
            });
        }
    }
    Ok(found)
}

/// The signature lines of a note by keys that are none of these witnesses and not `log`.
///
/// # Errors
/// The note is malformed.
pub fn strangers(
    note: &str,
    log: &str,
    witnesses: &[WitnessKey],
) -> Result<Vec<String>, CosignatureError> {
    let (_, lines) = split(note)?;
    let mut names = Vec::new();
    for line in lines.split_terminator('\n') {
        let parsed = SignatureLine::parse(line)?;
        if parsed.name != log && !witnesses.iter().any(|key| key.is_of(&parsed)) {
            names.push(parsed.name.to_owned());
        }
    }
    Ok(names)
}

/// The name that a signature line is under.
///
/// # Errors
/// The line is not in its form.
pub fn line_name(line: &str) -> Result<&str, NoteError> {
    Ok(SignatureLine::parse(line)?.name)
}

/// The text that a note's signatures are over, with its last newline.
///
/// # Errors
/// The note is malformed.
pub fn signed_text(note: &str) -> Result<&str, NoteError> {
    Ok(split(note)?.0)
}

#[cfg(test)]
mod tests;
