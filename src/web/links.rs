//! Where each thing has its page.

use crate::accounting::factor::FactorId;
use crate::accounting::records::findings::SubjectKind;
use crate::service::{Caller, Role};
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

/// The whole trace of a statement.
pub(super) fn tree(statement: Uuid) -> String {
    format!("/statements/{statement}/tree")
}

pub(super) fn difference(from: Uuid, to: Uuid) -> String {
    format!("/statements/{to}/difference?from={from}")
}

pub(super) fn methods(period: &str) -> String {
    format!("/methods/{}", encoded(period).replace('/', "%2F"))
}

/// A refused file with its faults marked.
pub(super) fn marked(id: Uuid) -> String {
    format!("/batches/rejected/{id}")
}

pub(super) fn job(id: Uuid) -> String {
    format!("/jobs/{id}")
}

pub(super) fn batch(id: Uuid) -> String {
    format!("/batches/{id}")
}

pub(super) fn flag(id: Uuid) -> String {
    format!("/flags/{id}")
}

pub(super) fn round(code: &str) -> String {
    format!("/rounds/{}", encoded(code))
}

pub(super) fn row(batch: Uuid, line: u64) -> String {
    format!("/rows/{batch}/{line}")
}

/// The row that `batch/line` names.
pub(super) fn row_named(place: &str) -> Option<String> {
    let (batch, line) = place.split_once('/')?;
    Some(row(batch.parse().ok()?, line.parse().ok()?))
}

pub(super) fn factor(id: &FactorId) -> String {
    format!("/factors/{}", encoded(&id.to_string()))
}

pub(super) fn found(code: &str) -> String {
    format!("/register?find={}", encoded(code))
}

pub(super) fn finding(id: &str) -> String {
    format!("/findings/{}", encoded(id))
}

/// Where a finding is raised on something, for whoever may raise one.
pub(super) fn raise(caller: &Caller, kind: SubjectKind, key: &str) -> Option<String> {
    let may = caller.role == Role::Verifier && !caller.read_only;
    let (kind, key) = (kind.code(), encoded(key));
    may.then(|| format!("/findings/new?kind={kind}&key={key}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_cannot_add_to_an_address() {
        assert_eq!(encoded("a b&c=ü/1@2"), "a%20b%26c%3D%C3%BC/1@2");
    }
}
