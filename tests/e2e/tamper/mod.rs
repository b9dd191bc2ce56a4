//! Tampering behind the program's back: with the tables, and with the bag.

mod backup;
mod catalogue;
mod columns;
mod fields;
mod files;
mod log;
mod outside;
mod programme;
mod report;
