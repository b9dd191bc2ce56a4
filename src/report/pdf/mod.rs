//! A document as a tagged PDF (PDF/UA-1) on A4, black and white in mind.
//!
//! `layout` sets the blocks onto pages, `table` and `drawing` are two of its trades, `tags`
//! keeps the reading order, `emit` writes the file. The bytes are a function of the document.

mod canvas;
mod drawing;
mod emit;
mod fonts;
mod layout;
mod table;
mod tags;
mod text;

use crate::report::block::Document;
use fonts::Fonts;

/// What keeps a document from becoming a PDF.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    #[error("an embedded font cannot be read")]
    Font,
    #[error("the PDF cannot be written: {0}")]
    Unwritten(String),
}

/// Sets the document and writes it; the same document gives the same bytes.
///
/// # Errors
/// The file cannot be written as PDF/UA-1, which no document should lead to.
pub fn pdf(document: &Document) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    // The list of contents is as long whatever its page numbers are, so a second setting has
    // the headings where the first one found them.
    let first = layout::set(document, &fonts, &[]);
    let set = layout::set(document, &fonts, &first.headings);
    emit::write(document, &fonts, set)
}
