//! What the trail says of people and tokens: who may do what, never a secret.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Someone who signs in with a password, as added or as changed to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PersonRecord {
    pub id: Uuid,
    /// The code that the person signs in with.
    pub name: String,
    pub role: String,
    /// A monitor's own sites.
    pub sites: Option<Vec<String>>,
    pub disabled: bool,
}

/// A new password was set; what it is stands nowhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PasswordRecord {
    pub id: Uuid,
    pub name: String,
    /// True where the program made it, to be replaced at the next sign-in.
    pub first: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TokenRecord {
    pub id: Uuid,
    pub role: String,
    pub label: String,
    /// Sites that a monitor's token is bound to; absent = every site.
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    /// RFC 3339, in UTC.
    pub expires_at: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TokenRevokedRecord {
    pub id: Uuid,
}
