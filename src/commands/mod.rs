//! What each command does; `main` only parses.

pub mod audit;
pub mod backup;
pub mod database;
pub mod demo;
pub mod offline;
pub mod serve;
pub mod verdict;
pub mod witness;
