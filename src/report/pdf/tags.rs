//! The reading order: a tree of what each part is, with the marks of what is drawn for it.

use krilla::tagging::{
    Identifier, ListNumbering, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use std::num::NonZeroU16;

/// Something drawn that a part of the tree is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark(usize);

/// A part of the tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Part(usize);

/// What a part is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    Root,
    Heading(u16, String),
    Paragraph,
    List,
    Item,
    Label,
    ItemBody,
    Contents,
    ContentsLine,
    Table,
    Caption,
    Head,
    Body,
    Row,
    ColumnHeading,
    RowHeading,
    Cell,
    /// With its text for those who cannot see it.
    Figure(String),
    Link,
    Code,
}

#[derive(Debug)]
enum Kid {
    Part(usize),
    Mark(usize),
}

#[derive(Debug)]
struct Node {
    role: Role,
    kids: Vec<Kid>,
}

#[derive(Debug)]
pub(super) struct Tags {
    nodes: Vec<Node>,
    /// What each mark came to be called in the file.
    marks: Vec<Vec<Identifier>>,
}

impl Default for Tags {
    fn default() -> Self {
        let root = Node {
            role: Role::Root,
            kids: Vec::new(),
        };
        Tags {
            nodes: vec![root],
            marks: Vec::new(),
        }
    }
}

impl Tags {
    pub const ROOT: Part = Part(0);

    pub fn part(&mut self, of: Part, role: Role) -> Part {
        let index = self.nodes.len();
        self.nodes.push(Node {
            role,
            kids: Vec::new(),
        });
        if let Some(parent) = self.nodes.get_mut(of.0) {
            parent.kids.push(Kid::Part(index));
        }
        Part(index)
    }

    pub fn mark(&mut self, of: Part) -> Mark {
        let index = self.marks.len();
        self.marks.push(Vec::new());
        if let Some(parent) = self.nodes.get_mut(of.0) {
            parent.kids.push(Kid::Mark(index));
        }
        Mark(index)
    }

    pub fn called(&mut self, mark: Mark, identifier: Identifier) {
        if let Some(names) = self.marks.get_mut(mark.0) {
            names.push(identifier);
        }
    }

    /// The finished tree.
    pub fn tree(mut self) -> TagTree {
        let mut tree = TagTree::new().with_lang(Some("en-GB".to_owned()));
        for kid in self.kids(0) {
            match kid {
                Kid::Part(index) => {
                    let group = self.group(index);
                    tree.push(group);
                }
                Kid::Mark(index) => {
                    for identifier in self.identifiers(index) {
                        tree.push(identifier);
                    }
                }
            }
        }
        tree
    }

    fn group(&mut self, index: usize) -> TagGroup {
        let kind = self
            .nodes
            .get(index)
            .map_or(TagKind::from(Tag::P), |node| kind(&node.role));
        let mut group = TagGroup::new(kind);
        for kid in self.kids(index) {
            match kid {
                Kid::Part(inner) => {
                    let inner = self.group(inner);
                    group.push(inner);
                }
                Kid::Mark(mark) => {
                    for identifier in self.identifiers(mark) {
                        group.push(identifier);
                    }
                }
            }
        }
        group
    }

    fn kids(&mut self, index: usize) -> Vec<Kid> {
        self.nodes
            .get_mut(index)
            .map(|node| std::mem::take(&mut node.kids))
            .unwrap_or_default()
    }

    fn identifiers(&mut self, mark: usize) -> Vec<Identifier> {
        self.marks
            .get_mut(mark)
            .map(std::mem::take)
            .unwrap_or_default()
    }
}

fn kind(role: &Role) -> TagKind {
    match role {
        Role::Heading(level, text) => {
            let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
            Tag::Hn(level, Some(text.clone())).into()
        }
        Role::Root | Role::Paragraph => Tag::P.into(),
        Role::List => Tag::L(ListNumbering::Disc).into(),
        Role::Item => Tag::LI.into(),
        Role::Label => Tag::Lbl.into(),
        Role::ItemBody => Tag::LBody.into(),
        Role::Contents => Tag::TOC.into(),
        Role::ContentsLine => Tag::TOCI.into(),
        Role::Table => Tag::Table.into(),
        Role::Caption => Tag::Caption.into(),
        Role::Head => Tag::THead.into(),
        Role::Body => Tag::TBody.into(),
        Role::Row => Tag::TR.into(),
        Role::ColumnHeading => Tag::TH(TableHeaderScope::Column).into(),
        Role::RowHeading => Tag::TH(TableHeaderScope::Row).into(),
        Role::Cell => Tag::TD.into(),
        Role::Figure(words) => Tag::Figure(Some(words.clone())).into(),
        Role::Link => Tag::Link.into(),
        Role::Code => Tag::Code.into(),
    }
}
