//! The change of a log's key, and the chain of keys that such changes make.
//!
//! A change is a signed note under two signatures: the old key's, which hands over, and
//! the new key's, which shows that its secret is held. The text names the size and the
//! root of the trail just before it, so that a change cannot be taken into another
//! history. It has six lines and thus can never be read as a checkpoint.

use thiserror::Error;

use super::checkpoint::{Checkpoint, CheckpointError, parse_decimal};
use super::merkle::Hash;
use super::note::{self, NoteError, NoteSigner, VerifierKey};

/// First line of the text.
const HEADER: &str = "emberbook log-key-changed v1";

/// Why a change of key cannot be relied on.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum KeyChangeError {
    #[error("this is not a change of the log's key: {0}")]
    Malformed(&'static str),
    #[error(transparent)]
    Note(#[from] NoteError),
    #[error("the change of key is not signed by the key {0}")]
    Unsigned(String),
    #[error("the change of key leaves the key {0}, which is not the one in force")]
    NotInForce(String),
    #[error("the change of key was signed for another place of the trail")]
    Elsewhere,
}

/// One change of key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyChange {
    /// Entries of the trail before the change; the change is the entry with this sequence.
    pub size: u64,
    /// Root over those entries.
    pub root: Hash,
    pub old: VerifierKey,
    pub new: VerifierKey,
}

impl KeyChange {
    /// The note for a change at this place, signed by both.
    ///
    /// # Errors
    /// The two keys are of different names, or are one and the same.
    pub fn sign(
        size: u64,
        root: Hash,
        old: &NoteSigner,
        new: &NoteSigner,
    ) -> Result<String, KeyChangeError> {
        let change = KeyChange {
            size,
            root,
            old: old.verifier_key(),
            new: new.verifier_key(),
        };
        change.check_keys()?;
        let text = change.text();
        Ok(format!("{text}\n{}{}", old.line(&text), new.line(&text)))
    }

    fn text(&self) -> String {
        format!(
            "{HEADER}\n{}\n{}\n{}\n{}\n{}\n",
            self.old.name(),
            self.size,
            self.root.to_base64(),
            self.old,
            self.new
        )
    }

    fn check_keys(&self) -> Result<(), KeyChangeError> {
        if self.old.name() != self.new.name() {
            return Err(KeyChangeError::Malformed("the keys are of different logs"));
        }
        if self.old == self.new {
            return Err(KeyChangeError::Malformed("the key stays the same"));
        }
        Ok(())
    }

    /// Reads a change and checks both signatures. Whether it is in its place is checked
    /// by [`KeyChain::take`].
    ///
    /// # Errors
    /// The note is malformed, or one of the two keys did not sign it.
    pub fn open(note: &str) -> Result<KeyChange, KeyChangeError> {
        let (text, _) = note::split(note)?;
        let lines: Vec<&str> = text.lines().collect();
        let [HEADER, name, size, root, old, new] = lines[..] else {
            return Err(KeyChangeError::Malformed("its lines are not those of one"));
        };
        let change = KeyChange {
            size: parse_decimal(size).ok_or(KeyChangeError::Malformed(
                "its size is not a plain decimal number",
            ))?,
            root: Hash::from_base64(root)
                .map_err(|_| KeyChangeError::Malformed("its root is not 32 bytes in base64"))?,
            old: old.parse()?,
            new: new.parse()?,
        };
        change.check_keys()?;
        if change.old.name() != name || change.text() != text {
            return Err(KeyChangeError::Malformed("it is spelled in another way"));
        }
        let keys = [change.old.clone(), change.new.clone()];
        let signed_by = note::open(note, &keys)?.signed_by;
        match keys.iter().find(|key| !signed_by.contains(key)) {
            Some(missing) => Err(KeyChangeError::Unsigned(missing.to_string())),
            None => Ok(change),
        }
    }
}

/// The keys of a log, in the order in which they came into force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyChain {
    first: VerifierKey,
    /// Each with the sequence of the entry that brought it.
    later: Vec<(u64, VerifierKey)>,
}

impl KeyChain {
    /// A log that still has its first key.
    pub fn new(first: VerifierKey) -> KeyChain {
        KeyChain {
            first,
            later: Vec::new(),
        }
    }

    /// The key in force.
    pub fn current(&self) -> &VerifierKey {
        self.later.last().map_or(&self.first, |(_, key)| key)
    }

    /// All keys, the oldest first.
    pub fn keys(&self) -> impl Iterator<Item = &VerifierKey> {
        std::iter::once(&self.first).chain(self.later.iter().map(|(_, key)| key))
    }

    /// How many of the keys a trail of this size knows.
    pub fn keys_at(&self, size: u64) -> usize {
        1 + self.later.iter().filter(|(at, _)| *at < size).count()
    }

    /// The key that was in force when the trail had this size.
    pub fn in_force_at(&self, size: u64) -> &VerifierKey {
        let known = self.keys_at(size);
        self.keys().nth(known - 1).unwrap_or(&self.first)
    }

    /// The largest checkpoint that a key of this chain may have signed: nothing above the
    /// change that put it out of force. `None` where there is no such bound, or no such key.
    pub fn retired_at(&self, key: &VerifierKey) -> Option<u64> {
        let place = self.keys().position(|each| each == key)?;
        self.later.get(place).map(|(sequence, _)| *sequence)
    }

    /// Follows a change on the word of its two signatures; its place is the one that it
    /// names. For whoever holds a key and not the trail.
    ///
    /// # Errors
    /// The change does not open, does not leave the key in force, or comes back to a key
    /// that was left.
    pub fn follow(&mut self, note: &str) -> Result<(), KeyChangeError> {
        let change = KeyChange::open(note)?;
        self.add(change)
    }

    /// Takes the change that stands at `sequence` of the trail, where `root` is the root
    /// over the entries before it.
    ///
    /// # Errors
    /// As [`KeyChain::follow`], or the change was signed for another place.
    pub fn take(&mut self, note: &str, sequence: u64, root: Hash) -> Result<(), KeyChangeError> {
        let change = KeyChange::open(note)?;
        if (change.size, change.root) != (sequence, root) {
            return Err(KeyChangeError::Elsewhere);
        }
        self.add(change)
    }

    fn add(&mut self, change: KeyChange) -> Result<(), KeyChangeError> {
        if change.old != *self.current() {
            return Err(KeyChangeError::NotInForce(change.old.to_string()));
        }
        if self.keys().any(|key| *key == change.new) {
            return Err(KeyChangeError::Malformed("it comes back to an earlier key"));
        }
        self.later.push((change.size, change.new));
        Ok(())
    }

    /// Opens a checkpoint that any key of the chain signed, and says which. A key that was
    /// left signs nothing above the change, so a stolen old key makes no new history.
    ///
    /// # Errors
    /// The note does not open, is of another log, or is above what its key may sign.
    pub fn open(&self, note: &str) -> Result<(Checkpoint, VerifierKey), CheckpointError> {
        let keys: Vec<VerifierKey> = self.keys().cloned().collect();
        let opened = note::open(note, &keys)?;
        let checkpoint = Checkpoint::parse(&opened.text)?;
        if checkpoint.origin != self.first.name() {
            return Err(CheckpointError::AnotherLog(checkpoint.origin));
        }
        let may = |key: &&VerifierKey| {
            self.retired_at(key)
                .is_none_or(|bound| checkpoint.size <= bound)
        };
        match opened.signed_by.iter().find(may) {
            Some(key) => Ok((checkpoint, key.clone())),
            None => Err(CheckpointError::RetiredKey {
                size: checkpoint.size,
            }),
        }
    }
}

#[cfg(test)]
mod tests;
