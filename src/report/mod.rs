//! A statement for readers: text now, charts for the pages.

pub mod summary;
