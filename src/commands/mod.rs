//! What each command does; `main` only parses.

pub mod demo;
pub mod offline;
pub mod serve;
pub mod witness;
