//! What a report is made of before it has pages: headings, paragraphs, tables, charts.
//!
//! The content is worked out once, in these blocks; `pdf` sets them.

use crate::report::charts::drawing::Drawing;

/// A whole report.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    pub title: String,
    /// Stands at the foot of every page.
    pub footer: String,
    /// When it was made, as an instant in RFC 3339, UTC.
    pub made_at: String,
    /// Tells this document from every other.
    pub id: String,
    pub blocks: Vec<Block>,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// Level 1 is the title of the document.
    Heading {
        level: u16,
        text: String,
    },
    Paragraph(Rich),
    /// A paragraph that must not be overlooked.
    Notice(Rich),
    Items(Vec<Rich>),
    /// A list of headings of level 2 with their pages.
    Contents,
    Table(Table),
    Chart(Drawing),
    /// Lines as they stand, e.g. a signed note.
    Lines(Vec<String>),
}

/// Text in several manners.
pub type Rich = Vec<Span>;

#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    pub text: String,
    pub manner: Manner,
    /// Address that the text leads to.
    pub link: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    Plain,
    Strong,
    Emphasis,
    /// Smaller and lighter: references, remarks.
    Quiet,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    pub caption: String,
    pub columns: Vec<Column>,
    pub rows: Vec<Row>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    pub title: String,
    /// Part of the width, in any measure that the columns of the table share.
    pub weight: f32,
    pub right: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub cells: Vec<Rich>,
    /// A total, or another row that stands out.
    pub strong: bool,
}

impl Span {
    pub fn plain(text: impl Into<String>) -> Self {
        Span::new(text, Manner::Plain)
    }

    pub fn strong(text: impl Into<String>) -> Self {
        Span::new(text, Manner::Strong)
    }

    pub fn quiet(text: impl Into<String>) -> Self {
        Span::new(text, Manner::Quiet)
    }

    pub fn new(text: impl Into<String>, manner: Manner) -> Self {
        Span {
            text: text.into(),
            manner,
            link: None,
        }
    }

    #[must_use]
    pub fn leading_to(self, link: Option<String>) -> Self {
        Span { link, ..self }
    }
}

/// Plain text as rich text.
pub fn plain(text: impl Into<String>) -> Rich {
    vec![Span::plain(text)]
}

/// Columns by title, weight and whether their cells stand to the right.
pub fn columns(of: &[(&str, f32, bool)]) -> Vec<Column> {
    of.iter()
        .map(|(title, weight, right)| Column {
            title: (*title).to_owned(),
            weight: *weight,
            right: *right,
        })
        .collect()
}

impl Row {
    pub fn new(cells: Vec<Rich>) -> Self {
        Row {
            cells,
            strong: false,
        }
    }
}

impl Block {
    pub fn heading(level: u16, text: impl Into<String>) -> Self {
        Block::Heading {
            level,
            text: text.into(),
        }
    }

    pub fn paragraph(text: impl Into<String>) -> Self {
        Block::Paragraph(plain(text))
    }
}
