//! Emberbook keeps the books of programmes that give households char-making
//! gasifier cookstoves: what the stoves avoided, what their char stored, how
//! sure that is, and the proof of it.
//!
//! # The map
//!
//! | room | what it is for | what it must never know |
//! | --- | --- | --- |
//! | [`statistics`] | estimators, distributions, quantiles | database, HTTP, clock |
//! | [`accounting`] | units, fuel, stove days, emissions, char, claim, statement, trace | database, HTTP, clock |
//! | [`trail`] | canonical JSON, Merkle tree, signed checkpoints, bags | every other room |
//! | [`intake`] | bytes to typed rows or located errors | database, HTTP, clock |
//! | [`verify`] | the offline verifier: a bag in, a verdict out | database, HTTP, clock |
//! | [`store`] | all SQL; nothing else knows a table | HTTP |
//! | [`service`] | use cases: opens the transaction, asks the store, calls the pure rooms, appends to the trail | HTTP |
//! | [`api`] | HTTP JSON and its OpenAPI document | SQL |
//! | [`web`] | HTML pages over the same services | SQL |
//! | [`server`] | the HTTP face: `api` and `web` under one set of layers | SQL |
//! | [`report`] | statement to charts and text | SQL, HTTP |
//! | [`postgres`] | the private PostgreSQL of demo, tests and small offices | |
//! | [`config`] | one typed configuration | |
//!
//! Imports run downward only: `main -> server -> api, web -> service -> store,
//! report -> intake -> accounting -> statistics`. `trail` stands on nothing; `verify`
//! stands on the pure rooms alone. `tests/walls.rs` keeps it so.

pub mod accounting;
pub mod api;
pub mod config;
pub mod intake;
pub mod postgres;
pub mod report;
pub mod seed;
pub mod server;
pub mod service;
pub mod statistics;
pub mod store;
pub mod trail;
pub mod verify;
pub mod web;
