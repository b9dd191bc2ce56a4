//! Tests of the room as its callers see it.
