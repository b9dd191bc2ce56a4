//! Pages under way: what is drawn where, and to which part of the reading order it belongs.

use super::fonts::Shaped;
use super::tags::{Mark, Tags};

/// A4 in points.
pub(super) const WIDTH: f32 = 595.28;
pub(super) const HEIGHT: f32 = 841.89;
pub(super) const LEFT: f32 = 62.0;
pub(super) const RIGHT: f32 = WIDTH - 62.0;
pub(super) const TOP: f32 = 62.0;
/// Below this stands the foot of the page.
pub(super) const BOTTOM: f32 = HEIGHT - 68.0;

/// Lightness from 0, black, to 255, white: every page must read without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ink(pub u8);

pub(super) const BLACK: Ink = Ink(20);
pub(super) const GREY: Ink = Ink(92);
pub(super) const PALE: Ink = Ink(190);

#[derive(Debug, Clone)]
pub(super) enum Drawn {
    Text {
        x: f32,
        /// Of the line that the letters stand on.
        y: f32,
        size: f32,
        ink: Ink,
        shaped: Shaped,
    },
    /// Corners of a shape, filled or as a line of some width.
    Shape {
        corners: Vec<(f32, f32)>,
        fill: Option<Ink>,
        stroke: Option<(f32, Ink)>,
    },
}

/// Where a link leads.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Target {
    Address(String),
    /// A height on a page of this document.
    Place {
        page: usize,
        y: f32,
    },
}

#[derive(Debug, Clone)]
pub(super) struct Link {
    pub mark: Mark,
    /// Left, top, right, bottom.
    pub area: [f32; 4],
    pub target: Target,
    pub words: String,
}

/// One piece of a page; without a mark it is no part of the reading order.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub mark: Option<Mark>,
    pub drawn: Vec<Drawn>,
}

#[derive(Debug, Default)]
pub(super) struct Page {
    pub pieces: Vec<Piece>,
    pub links: Vec<Link>,
}

/// A heading and where it came to stand.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PlacedHeading {
    pub level: u16,
    pub text: String,
    pub page: usize,
    pub y: f32,
}

/// Every page, as far as it is set.
#[derive(Debug)]
pub(super) struct Canvas {
    pub pages: Vec<Page>,
    pub tags: Tags,
    pub headings: Vec<PlacedHeading>,
    /// Where the next thing begins.
    pub y: f32,
}

impl Canvas {
    pub fn new() -> Self {
        Canvas {
            pages: vec![Page::default()],
            tags: Tags::default(),
            headings: Vec::new(),
            y: TOP,
        }
    }

    /// Index of the page under way.
    pub fn page(&self) -> usize {
        self.pages.len().saturating_sub(1)
    }

    pub fn turn(&mut self) {
        self.pages.push(Page::default());
        self.y = TOP;
    }

    /// Turns the page where less than `height` is left of it.
    pub fn need(&mut self, height: f32) {
        if self.y + height > BOTTOM && self.y > TOP {
            self.turn();
        }
    }

    pub fn draw(&mut self, mark: Option<Mark>, drawn: Vec<Drawn>) {
        if let Some(page) = self.pages.last_mut() {
            page.pieces.push(Piece { mark, drawn });
        }
    }

    pub fn link(&mut self, link: Link) {
        if let Some(page) = self.pages.last_mut() {
            page.links.push(link);
        }
    }

    /// A level line across the text, no part of the reading order.
    pub fn rule(&mut self, y: f32, width: f32, ink: Ink) {
        self.draw(
            None,
            vec![Drawn::Shape {
                corners: vec![(LEFT, y), (RIGHT, y)],
                fill: None,
                stroke: Some((width, ink)),
            }],
        );
    }
}
