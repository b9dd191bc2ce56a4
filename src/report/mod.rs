//! A statement for readers: text, the charts of the pages, and the report of a period on paper
//! and as a workbook.
//!
//! `source` is what a report is made of, `content` writes it as blocks, `pdf` sets these onto
//! pages, `workbook` writes the same figures into sheets. Pure functions: no clock, no chance.

pub mod block;
pub mod charts;
pub mod content;
pub mod pdf;
pub mod source;
pub mod summary;
pub mod words;
pub mod workbook;
