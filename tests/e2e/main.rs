//! End to end: the real router over real HTTP on a real PostgreSQL.
//!
//! One server for the whole run, a database for each test; see `support`.

mod batches;
mod main_job;
mod repeats;
mod support;
mod trail;
