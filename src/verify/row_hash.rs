//! The hash of a row, made again and again for rows of one kind.

use crate::intake::{BatchKind, CellTexts, Column, Row};
use crate::trail::canonical::FlatObject;
use crate::trail::merkle::{Hash, leaf_hash};

/// Hashes rows of one kind; what it needs for one row serves for the next.
#[derive(Debug)]
pub(super) struct RowHasher {
    shape: FlatObject,
    texts: CellTexts,
    canonical: Vec<u8>,
}

impl RowHasher {
    /// # Errors
    /// A sentence where the template's names make no object.
    pub fn new(kind: BatchKind) -> Result<Self, String> {
        let template = kind.template();
        let names: Vec<&str> = template.columns.iter().map(|column| column.name).collect();
        let may_be_left_out = |name: &str| {
            let column = template
                .column(name)
                .and_then(|at| template.columns.get(at));
            column.is_some_and(Column::may_be_left_out)
        };
        let shape = FlatObject::with_optional(&names, may_be_left_out)
            .map_err(|e| format!("template of {kind}: {e}"))?;
        Ok(RowHasher {
            shape,
            texts: CellTexts::default(),
            canonical: Vec::new(),
        })
    }

    /// The leaf hash of the row's canonical JSON.
    pub fn hash(&mut self, row: &Row) -> Hash {
        self.texts.fill(row);
        self.canonical.clear();
        let texts = &self.texts;
        self.shape
            .write(|place| texts.get(place), &mut self.canonical);
        leaf_hash(&self.canonical)
    }

    /// The same of texts that are canonical already, in the order of the template; nothing
    /// stands for an empty cell. Other texts give another hash than their row has.
    pub fn hash_texts<'a>(&mut self, texts: impl Fn(usize) -> Option<&'a str>) -> Hash {
        self.canonical.clear();
        self.shape.write(texts, &mut self.canonical);
        leaf_hash(&self.canonical)
    }
}
