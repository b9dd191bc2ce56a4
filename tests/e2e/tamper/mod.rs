//! Tampering behind the program's back: with the tables, and with the bag.

mod columns;
mod programme;
mod report;
