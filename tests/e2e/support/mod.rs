//! What the tests stand on: a database of their own, the served program, and a
//! client that speaks HTTP to it as any client would.

pub mod app;
pub mod bag;
pub mod census;
pub mod client;
pub mod database;
pub mod programme;
pub mod seeded;
pub mod visitor;

pub use app::{App, Setup};
pub use census::census;
pub use client::{Answer, Client};
pub use programme::TestProgramme;
pub use seeded::seeded;
