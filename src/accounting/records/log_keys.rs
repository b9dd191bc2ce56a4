//! What the trail says of keys: the changes of the log's own, and the witnesses that
//! cosign its checkpoints.

use serde::{Deserialize, Serialize};

/// The kinds of trail entries about keys.
pub mod kind {
    pub const LOG_KEY_CHANGED: &str = "log-key-changed";
    pub const WITNESS_REGISTERED: &str = "witness-registered";
}

/// A change of the key that signs the checkpoints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LogKeyChangedRecord {
    /// C2SP verifier keys, `name+hex+base64`.
    pub old_key: String,
    pub new_key: String,
    /// The signed note of the change, under the signatures of both keys.
    pub note: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WitnessRecord {
    /// C2SP verifier key of the witness's cosignatures, `name+hex+base64`.
    pub key: String,
}
