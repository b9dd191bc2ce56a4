//! Bytes from the field to typed rows, or to errors that name the row, the column and the reason.
//!
//! A [`Template`] says which columns a batch has and what each cell may hold. It
//! knows no file format: [`CsvReader`] turns the bytes of a CSV file into cell
//! texts, [`read_rows`] those of either a CSV file or a workbook, and [`row_from_texts`]
//! checks texts that came by any other way (a JSON post, a row of a bag) by the same
//! rules. [`typed`] turns a checked [`Row`] into
//! the types of the accounting.
//!
//! Nothing is guessed and nothing is repaired: a cell that can be read in two ways
//! is refused with a sentence that says how to write it.

mod csv_reader;
mod encoding;
mod header;
mod kinds;
mod lexer;
mod marked;
mod naming;
mod neutral;
mod number;
mod privacy;
mod reading;
mod rejection;
mod row;
pub mod screens;
mod template;
mod templates;
pub mod typed;
mod value;
mod workbook;
mod workbook_template;
pub mod xform;

#[cfg(test)]
pub(in crate::intake) mod tests;

pub use csv_reader::CsvReader;
pub use kinds::{BatchKind, UnknownBatchKind};
pub use marked::{Marked, mark};
pub use naming::{ColumnMapping, Naming, WHAT_IS_WRONG, mapping_faults};
pub use neutral::neutral;
pub use reading::{FileFormat, Layout, read_rows};
pub use rejection::{KEPT_REJECTIONS, Rejection, Rejections, code};
pub use row::{CellTexts, Row, row_from_texts};
pub use template::{Column, RowRule, Template, ValueRule};
pub use value::Cell;
pub use workbook_template::workbook_template;
