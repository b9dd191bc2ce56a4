//! End to end: the real router over real HTTP on a real PostgreSQL.
//!
//! One server for the whole run, a database for each test; see `support`.

mod access;
mod append_only;
mod batches;
mod browser;
mod comparison;
mod corrections;
mod findings;
mod flags;
mod forms;
mod main_job;
mod matrix;
mod methodologies;
mod openapi;
mod pages;
mod people;
mod periods;
mod populations;
mod proof_page;
mod proofs;
mod registers;
mod repeats;
mod reports;
mod rounds;
mod rounds_field;
mod rounds_kinds;
mod rounds_page;
mod sheets;
mod stove_tests;
mod support;
mod surface;
mod tamper;
mod tokens;
mod trail;
mod uploads;
mod verifier;
mod wall;
mod witnesses;
