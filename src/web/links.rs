//! Where each thing has its page.

use crate::accounting::factor::FactorId;
use uuid::Uuid;

/// Text as it may stand in the query or the fragment of an address.
pub(super) fn encoded(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/@".contains(&byte) {
            safe.push(char::from(byte));
        } else {
            safe.push_str(&format!("%{byte:02X}"));
        }
    }
    safe
}

pub(super) fn statement(id: Uuid) -> String {
    format!("/statements/{id}")
}

pub(super) fn node(statement: Uuid, node: &str) -> String {
    format!("/statements/{statement}/trace?node={}", encoded(node))
}

pub(super) fn batch(id: Uuid) -> String {
    format!("/batches/{id}")
}

pub(super) fn flag(id: Uuid) -> String {
    format!("/flags/{id}")
}

pub(super) fn row(batch: Uuid, line: u64) -> String {
    format!("/rows/{batch}/{line}")
}

pub(super) fn factor(id: &FactorId) -> String {
    format!("/factors#{}", encoded(&id.to_string()))
}

pub(super) fn found(code: &str) -> String {
    format!("/register?find={}", encoded(code))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_cannot_add_to_an_address() {
        assert_eq!(encoded("a b&c=ü/1@2"), "a%20b%26c%3D%C3%BC/1@2");
    }
}
