//! Bytes from the field to typed rows, or to errors that name the row, the column and the reason.
//!
//! A [`Template`] says which columns a batch has and what each cell may hold. It
//! knows no file format: [`CsvReader`] turns the bytes of a CSV file into cell
//! texts, and [`row_from_texts`] checks texts that came by any other way (a JSON
//! post, a row of a bag) by the same rules. [`typed`] turns a checked [`Row`] into
//! the types of the accounting.
//!
//! Nothing is guessed and nothing is repaired: a cell that can be read in two ways
//! is refused with a sentence that says how to write it.

mod csv_reader;
mod encoding;
mod header;
mod kinds;
mod lexer;
mod number;
mod rejection;
mod row;
pub mod screens;
mod template;
mod templates;
pub mod typed;
mod value;
pub mod xform;

#[cfg(test)]
mod tests;

pub use csv_reader::CsvReader;
pub use kinds::{BatchKind, UnknownBatchKind};
pub use rejection::{KEPT_REJECTIONS, Rejection, Rejections, code};
pub use row::{CellTexts, Row, row_from_texts};
pub use template::{Column, RowRule, Template, ValueRule};
pub use value::Cell;
