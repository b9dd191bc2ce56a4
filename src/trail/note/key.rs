//! The two halves of a note key: the one that signs and the one that checks; and the
//! text form that keys of every kind share.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};

use super::{NoteError, SIGNATURE_START, check_characters};
use crate::trail::merkle::sha256;

/// The signature type of plain Ed25519 notes.
const ED25519: u8 = 0x01;

/// Whether a text can name a key.
pub(in crate::trail) fn is_name(name: &str) -> bool {
    !name.is_empty()
        && !name
            .chars()
            .any(|c| c.is_whitespace() || c.is_control() || c == '+')
}

/// The first four bytes of SHA-256 over name, newline, type and public key.
pub(in crate::trail) fn key_id(name: &str, kind: u8, public: &VerifyingKey) -> [u8; 4] {
    let named = [name.as_bytes(), b"\n", &encoded(kind, public)].concat();
    let [a, b, c, d, ..] = sha256(&named).0;
    [a, b, c, d]
}

/// The type byte and the public key.
fn encoded(kind: u8, public: &VerifyingKey) -> [u8; 33] {
    let mut encoded = [kind; 33];
    encoded[1..].copy_from_slice(public.as_bytes());
    encoded
}

/// `name+key id in hex+base64`
pub(in crate::trail) fn write_key(name: &str, kind: u8, public: &VerifyingKey) -> String {
    let id = hex::encode(key_id(name, kind, public));
    format!("{name}+{id}+{}", STANDARD.encode(encoded(kind, public)))
}

/// Name and public key of a key of this kind; `wrong_kind` is said of any other.
pub(in crate::trail) fn read_key(
    text: &str,
    kind: u8,
    wrong_kind: &'static str,
) -> Result<(String, VerifyingKey), NoteError> {
    // Base64 may hold a plus sign, a name may not.
    let mut parts = text.splitn(3, '+');
    let (Some(name), Some(id), Some(base64)) = (parts.next(), parts.next(), parts.next()) else {
        return Err(NoteError::Key("it is not name+id+base64"));
    };
    if !is_name(name) {
        return Err(NoteError::Name(name.to_owned()));
    }
    let bytes = STANDARD
        .decode(base64)
        .map_err(|_| NoteError::Key("its base64 is broken"))?;
    let public = match bytes.split_first() {
        Some((found, public)) if *found == kind => public,
        _ => return Err(NoteError::Key(wrong_kind)),
    };
    let public = public
        .try_into()
        .map_err(|_| NoteError::Key("its length is wrong"))?;
    let public = VerifyingKey::from_bytes(public)
        .ok()
        .filter(|public| !public.is_weak())
        .ok_or(NoteError::Key(
            "its bytes are not a usable Ed25519 public key",
        ))?;
    if hex::encode(key_id(name, kind, &public)) != id {
        return Err(NoteError::Key(
            "its key id does not belong to its name and bytes",
        ));
    }
    Ok((name.to_owned(), public))
}

/// Strict: refuses the signatures that a weak key or a second encoding would let pass.
pub(in crate::trail) fn holds(public: &VerifyingKey, message: &[u8], signature: &[u8]) -> bool {
    Signature::from_slice(signature)
        .is_ok_and(|signature| public.verify_strict(message, &signature).is_ok())
}

/// A line under a note: dash, name, and base64 over key id and `signature`.
pub(in crate::trail) fn signature_line(name: &str, id: [u8; 4], signature: &[u8]) -> String {
    let bytes = [&id[..], signature].concat();
    format!("{SIGNATURE_START}{name} {}\n", STANDARD.encode(bytes))
}

/// What a reader must have to check notes. Its text form, safe to publish, is
/// `name+key id in hex+base64`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct VerifierKey {
    name: String,
    public: VerifyingKey,
}

impl VerifierKey {
    /// The name under which the key signs.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The first four bytes of SHA-256 over name, newline, type and public key.
    pub fn key_id(&self) -> [u8; 4] {
        key_id(&self.name, ED25519, &self.public)
    }

    pub(super) fn verifies(&self, message: &[u8], signature: &[u8]) -> bool {
        holds(&self.public, message, signature)
    }
}

impl fmt::Display for VerifierKey {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str(&write_key(&self.name, ED25519, &self.public))
    }
}

impl FromStr for VerifierKey {
    type Err = NoteError;

    fn from_str(text: &str) -> Result<VerifierKey, NoteError> {
        let (name, public) = read_key(text, ED25519, "it is not an Ed25519 key of type 1")?;
        Ok(VerifierKey { name, public })
    }
}

/// What signs notes. Holds the secret, so its debug form shows the name alone.
pub struct NoteSigner {
    name: String,
    secret: SigningKey,
}

impl NoteSigner {
    /// The signer with this name and the 32 secret bytes of RFC 8032.
    ///
    /// # Errors
    /// The name cannot name a key.
    pub fn from_seed(name: &str, seed: &[u8; 32]) -> Result<NoteSigner, NoteError> {
        if !is_name(name) {
            return Err(NoteError::Name(name.to_owned()));
        }
        Ok(NoteSigner {
            name: name.to_owned(),
            secret: SigningKey::from_bytes(seed),
        })
    }

    /// The name under which it signs.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The half to publish.
    pub fn verifier_key(&self) -> VerifierKey {
        VerifierKey {
            name: self.name.clone(),
            public: self.secret.verifying_key(),
        }
    }

    /// The whole note: the text, a blank line and the signature line. The same
    /// text always gives the same note.
    ///
    /// # Errors
    /// The text does not end with a newline or holds other control characters.
    pub fn sign(&self, text: &str) -> Result<String, NoteError> {
        if !text.ends_with('\n') {
            return Err(NoteError::Malformed("its text does not end with a newline"));
        }
        check_characters(text)?;
        Ok(self.sign_checked(text))
    }

    /// As [`NoteSigner::sign`], for a text that is known to be fit.
    pub(in crate::trail) fn sign_checked(&self, text: &str) -> String {
        format!("{text}\n{}", self.line(text))
    }

    /// The signature line alone, for a text that is known to be fit.
    pub(in crate::trail) fn line(&self, text: &str) -> String {
        let signature = self.secret.sign(text.as_bytes());
        let id = self.verifier_key().key_id();
        signature_line(&self.name, id, &signature.to_bytes())
    }
}

impl fmt::Debug for NoteSigner {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter
            .debug_struct("NoteSigner")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}
