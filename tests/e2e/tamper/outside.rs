//! Changes of the tables that no audit can see, and those that a bag does not carry, with reasons.

use std::collections::BTreeSet;

/// What the trail knows nothing of, so that no audit can tell: table, what is done, why.
const OUTSIDE: [(&str, &str, &str); 9] = [
    (
        "access_token",
        "token_hash",
        "a secret's hash is not put into the trail",
    ),
    (
        "person",
        "password_hash",
        "a secret's hash is not put into the trail",
    ),
    (
        "checkpoint",
        "delete",
        "heads are signed when asked for, and again byte for byte; one that is cosigned is missed",
    ),
    (
        "cosignature",
        "actor",
        "a cosignature has no entry: its line tells of the witness, not of the sender",
    ),
    (
        "cosignature",
        "received_at",
        "the same; the time of signing is in its line",
    ),
    (
        "cosignature",
        "delete",
        "it has no entry; the witness has its own copy",
    ),
    ("cosignature", "truncate", "the same"),
    (
        "attachment_content",
        "delete",
        "a file may be known by its hash alone",
    ),
    ("attachment_content", "truncate", "the same"),
];

/// Tables that a bag does not carry: it makes what they hold again from the trail, or leaves it
/// out. Only the audit sees a change in them.
const NOT_IN_THE_BAG: [&str; 27] = [
    "access_token",
    "attachment_content",
    "batch",
    "checkpoint",
    "column_mapping",
    "correction",
    "deployment_span",
    "factor",
    "finding",
    "finding_attachment",
    "finding_entry",
    "flag",
    "flag_disposition",
    "flag_row",
    "known_household",
    "methodology",
    "monitoring_period",
    "period_close",
    "person",
    "programme",
    "round",
    "round_step",
    "site",
    "statement",
    "stove_model",
    "trail_head",
    "trail_node",
];

/// Columns of the other tables that a bag does not carry.
const COLUMNS_NOT_IN_THE_BAG: [&str; 4] = ["sequence", "round_code", "generation", "leaf_hash"];

/// Further changes that do not reach a bag: the parts of a file are asked for by their places,
/// as many as its size says, and of a cosignature its line alone is taken.
const CHANGES_NOT_IN_THE_BAG: [(&str, &str); 4] = [
    ("uploaded_file", "size_bytes"),
    ("uploaded_file", "swap"),
    ("uploaded_file", "copy"),
    ("uploaded_file_part", "copy"),
];

/// Columns of entries that are beside their leaf, which alone is in the bag.
const ENTRY_COLUMNS_NOT_IN_THE_BAG: [&str; 6] =
    ["kind", "subject", "actor", "at", "reason", "content_hash"];

/// Whether no audit can tell of it.
pub fn stands_outside(table: &str, what: &str) -> bool {
    let listed = |(of, done, _): &(&str, &str, &str)| (*of, *done) == (table, what);
    OUTSIDE.iter().any(listed)
}

/// Whether only the audit can see such a change.
pub fn is_live_only(table: &str, what: &str) -> bool {
    NOT_IN_THE_BAG.contains(&table)
        || CHANGES_NOT_IN_THE_BAG.contains(&(table, what))
        || table == "cosignature" && what != "line"
        || COLUMNS_NOT_IN_THE_BAG.contains(&what)
        || table == "trail_entry" && ENTRY_COLUMNS_NOT_IN_THE_BAG.contains(&what)
}

#[test]
fn what_stands_outside_is_listed_once() {
    let listed: BTreeSet<_> = OUTSIDE
        .iter()
        .map(|(table, what, _)| (table, what))
        .collect();
    assert_eq!(listed.len(), OUTSIDE.len());
    assert!(OUTSIDE.iter().all(|(_, _, why)| !why.is_empty()));
}
