//! A statement for readers: text, and the charts of the pages.

pub mod charts;
pub mod summary;
