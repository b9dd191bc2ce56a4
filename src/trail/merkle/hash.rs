//! The hash and how leaves and nodes are hashed.

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use thiserror::Error;

/// A SHA-256 hash. Written as 64 lower-case hexadecimal digits.
#[derive(Copy, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash(pub [u8; 32]);

/// Why a text or bytes are not a hash.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum HashError {
    #[error("a hash is written as 64 hexadecimal digits in lower case")]
    NotHex,
    #[error("a hash is written in base64 as 44 characters that stand for 32 bytes")]
    NotBase64,
    #[error("a hash has 32 bytes, not {0}")]
    Length(usize),
}

impl Hash {
    /// From 64 hexadecimal digits; only lower case, so that a hash has one spelling.
    pub fn from_hex(text: &str) -> Result<Hash, HashError> {
        if text.bytes().any(|byte| byte.is_ascii_uppercase()) {
            return Err(HashError::NotHex);
        }
        let mut bytes = [0; 32];
        hex::decode_to_slice(text, &mut bytes).map_err(|_| HashError::NotHex)?;
        Ok(Hash(bytes))
    }

    /// Standard base64 with padding, as checkpoints and proofs write a hash.
    pub fn to_base64(&self) -> String {
        STANDARD.encode(self.0)
    }

    /// From standard base64 with padding, in its one strict spelling.
    pub fn from_base64(text: &str) -> Result<Hash, HashError> {
        // Checked first so that a long text is not decoded in vain.
        if text.len() != 44 {
            return Err(HashError::NotBase64);
        }
        let bytes = STANDARD.decode(text).map_err(|_| HashError::NotBase64)?;
        Hash::from_slice(&bytes).map_err(|_| HashError::NotBase64)
    }

    /// From exactly 32 bytes.
    pub fn from_slice(bytes: &[u8]) -> Result<Hash, HashError> {
        bytes
            .try_into()
            .map(Hash)
            .map_err(|_| HashError::Length(bytes.len()))
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str(&hex::encode(self.0))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        fmt::Display::fmt(self, formatter)
    }
}

impl FromStr for Hash {
    type Err = HashError;

    fn from_str(text: &str) -> Result<Hash, HashError> {
        Hash::from_hex(text)
    }
}

impl Serialize for Hash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Hash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Hash, D::Error> {
        let text = String::deserialize(deserializer)?;
        Hash::from_hex(&text).map_err(serde::de::Error::custom)
    }
}

/// Plain SHA-256.
pub fn sha256(data: &[u8]) -> Hash {
    Hash(Sha256::digest(data).into())
}

/// The hash of a leaf: SHA-256 of 0x00 and the data. The prefix keeps a node
/// from being passed off as a leaf.
pub fn leaf_hash(data: &[u8]) -> Hash {
    Hash(
        Sha256::new()
            .chain_update([0])
            .chain_update(data)
            .finalize()
            .into(),
    )
}

/// The hash of a node: SHA-256 of 0x01 and its two children.
pub fn node_hash(left: &Hash, right: &Hash) -> Hash {
    Hash(
        Sha256::new()
            .chain_update([1])
            .chain_update(left.0)
            .chain_update(right.0)
            .finalize()
            .into(),
    )
}

/// The root of the tree without leaves: SHA-256 of nothing.
pub fn empty_root() -> Hash {
    sha256(&[])
}

/// The root over leaf hashes, straight from the definition: split at the
/// largest power of two that is smaller than the number of leaves.
pub fn root_of(leaf_hashes: &[Hash]) -> Hash {
    match leaf_hashes {
        [] => empty_root(),
        [leaf] => *leaf,
        _ => {
            let (left, right) = leaf_hashes.split_at(1 << (leaf_hashes.len() - 1).ilog2());
            node_hash(&root_of(left), &root_of(right))
        }
    }
}
