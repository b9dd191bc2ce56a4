//! Blocks onto pages: nothing clipped, no heading left alone at the foot of a page.

use super::canvas::{
    BLACK, Canvas, Drawn, GREY, LEFT, Link, PALE, PlacedHeading, RIGHT, TOP, Target,
};
use super::fonts::{Cut, Fonts};
use super::tags::{Role, Tags};
use super::text::{CELL, Line, Setting, TEXT, lines};
use super::{drawing, table};
use crate::report::block::{Block, Document, Rich, plain};

const PARAGRAPH_GAP: f32 = 6.0;
/// Lines of a paragraph that stay together at either end.
const TOGETHER: usize = 2;
const CODE: Setting = Setting {
    size: 7.6,
    leading: 10.5,
    strong: false,
};
const BULLET: f32 = 12.0;
const PAD: f32 = 8.0;

struct HeadingLook {
    setting: Setting,
    above: f32,
    below: f32,
}

fn heading_look(level: u16) -> HeadingLook {
    let (size, leading, above, below) = match level {
        1 => (21.0, 26.0, 0.0, 8.0),
        2 => (13.5, 17.5, 18.0, 5.0),
        _ => (10.5, 14.0, 10.0, 3.0),
    };
    HeadingLook {
        setting: Setting {
            size,
            leading,
            strong: true,
        },
        above,
        below,
    }
}

/// Sets the document; `known` are the headings as an earlier setting placed them.
pub(super) fn set(document: &Document, fonts: &Fonts, known: &[PlacedHeading]) -> Canvas {
    let mut canvas = Canvas::new();
    for (index, block) in document.blocks.iter().enumerate() {
        let rest = document.blocks.get(index + 1..).unwrap_or_default();
        match block {
            Block::Heading { level, text } => heading(&mut canvas, fonts, (*level, text), rest),
            Block::Paragraph(rich) => paragraph(&mut canvas, fonts, rich),
            Block::Notice(rich) => notice(&mut canvas, fonts, rich),
            Block::Items(items) => list(&mut canvas, fonts, items),
            Block::Contents => contents(&mut canvas, fonts, document, known),
            Block::Table(table) => table::set(&mut canvas, fonts, table),
            Block::Chart(chart) => drawing::set(&mut canvas, fonts, chart),
            Block::Lines(text) => code(&mut canvas, fonts, text),
        }
    }
    canvas
}

fn width() -> f32 {
    RIGHT - LEFT
}

fn heading(canvas: &mut Canvas, fonts: &Fonts, (level, text): (u16, &str), rest: &[Block]) {
    let look = heading_look(level);
    let set = lines(fonts, &plain(text), look.setting, width());
    let tall = set.len() as f32 * look.setting.leading;
    let follows = rest.first().map_or(0.0, |next| least(fonts, next, rest));
    canvas.need(look.above + tall + look.below + follows);
    if canvas.y > TOP {
        canvas.y += look.above;
    }
    canvas.headings.push(PlacedHeading {
        level,
        text: text.to_owned(),
        page: canvas.page(),
        y: canvas.y - 4.0,
    });
    let part = canvas
        .tags
        .part(Tags::ROOT, Role::Heading(level, text.to_owned()));
    for line in set {
        let y = canvas.y + look.setting.size;
        line.draw(canvas, part, LEFT, y);
        canvas.y += look.setting.leading;
    }
    canvas.y += look.below;
}

/// Height of the beginning of a block that must not be parted from the heading above it.
fn least(fonts: &Fonts, block: &Block, rest: &[Block]) -> f32 {
    match block {
        Block::Heading { level, .. } => {
            let look = heading_look(*level);
            let after = rest.get(1..).unwrap_or_default();
            let follows = after.first().map_or(0.0, |next| least(fonts, next, after));
            look.above + look.setting.leading + look.below + follows
        }
        Block::Paragraph(rich) => {
            let count = lines(fonts, rich, TEXT, width()).len();
            let whole = if count <= TOGETHER + 1 {
                count
            } else {
                TOGETHER
            };
            whole as f32 * TEXT.leading
        }
        Block::Notice(rich) => {
            let count = lines(fonts, rich, TEXT, width() - 2.0 * PAD).len();
            count as f32 * TEXT.leading + 2.0 * PAD
        }
        Block::Items(_) | Block::Contents => 2.0 * TEXT.leading,
        Block::Table(table) => table::least(fonts, table),
        Block::Chart(chart) => drawing::height(fonts, chart),
        Block::Lines(text) => text.len().min(3) as f32 * CODE.leading + 2.0 * PAD,
    }
}

fn paragraph(canvas: &mut Canvas, fonts: &Fonts, rich: &Rich) {
    let set = lines(fonts, rich, TEXT, width());
    let part = canvas.tags.part(Tags::ROOT, Role::Paragraph);
    flow(canvas, set, part, LEFT);
    canvas.y += PARAGRAPH_GAP;
}

/// Lines over as many pages as they need, never one alone.
fn flow(canvas: &mut Canvas, set: Vec<Line>, part: super::tags::Part, x: f32) {
    let count = set.len();
    for (index, line) in set.into_iter().enumerate() {
        let left = count - index;
        let ahead = if index == 0 && count <= TOGETHER + 1 {
            count
        } else if index == 0 || left == TOGETHER {
            TOGETHER
        } else {
            1
        };
        canvas.need(ahead as f32 * TEXT.leading);
        let y = canvas.y + TEXT.size;
        line.draw(canvas, part, x, y);
        canvas.y += TEXT.leading;
    }
}

fn notice(canvas: &mut Canvas, fonts: &Fonts, rich: &Rich) {
    let set = lines(fonts, rich, TEXT, width() - 2.0 * PAD);
    let tall = set.len() as f32 * TEXT.leading + 2.0 * PAD - 3.0;
    canvas.need(tall);
    let (top, bottom) = (canvas.y, canvas.y + tall);
    canvas.draw(
        None,
        vec![Drawn::Shape {
            corners: vec![
                (LEFT, top),
                (RIGHT, top),
                (RIGHT, bottom),
                (LEFT, bottom),
                (LEFT, top),
            ],
            fill: None,
            stroke: Some((1.0, BLACK)),
        }],
    );
    canvas.y += PAD - 1.5;
    let part = canvas.tags.part(Tags::ROOT, Role::Paragraph);
    for line in set {
        let y = canvas.y + TEXT.size;
        line.draw(canvas, part, LEFT + PAD, y);
        canvas.y += TEXT.leading;
    }
    canvas.y = bottom + PARAGRAPH_GAP + 2.0;
}

fn list(canvas: &mut Canvas, fonts: &Fonts, items: &[Rich]) {
    let list = canvas.tags.part(Tags::ROOT, Role::List);
    for item in items {
        let set = lines(fonts, item, TEXT, width() - BULLET);
        canvas.need(set.len().min(TOGETHER + 1) as f32 * TEXT.leading);
        let part = canvas.tags.part(list, Role::Item);
        let label = canvas.tags.part(part, Role::Label);
        let mark = canvas.tags.mark(label);
        let y = canvas.y + TEXT.size;
        canvas.draw(
            Some(mark),
            vec![Drawn::Text {
                x: LEFT + 2.0,
                y,
                size: TEXT.size,
                ink: GREY,
                shaped: fonts.shape(Cut::Regular, "\u{2022} "),
            }],
        );
        let body = canvas.tags.part(part, Role::ItemBody);
        flow(canvas, set, body, LEFT + BULLET);
        canvas.y += 2.0;
    }
    canvas.y += PARAGRAPH_GAP - 2.0;
}

/// Headings of level 2 with their pages; without the pages while they are not known yet.
fn contents(canvas: &mut Canvas, fonts: &Fonts, document: &Document, known: &[PlacedHeading]) {
    let part = canvas.tags.part(Tags::ROOT, Role::Contents);
    let titles = document.blocks.iter().filter_map(|block| match block {
        Block::Heading { level: 2, text } => Some(text),
        _ => None,
    });
    let mut places = known.iter().filter(|heading| heading.level == 2);
    for title in titles {
        let place = places.next();
        let page = place.map_or(0, |place| place.page + 1).to_string();
        let (size, leading) = (TEXT.size, TEXT.leading);
        canvas.need(leading);
        let y = canvas.y + size;
        let line = canvas.tags.part(part, Role::ContentsLine);
        let link = canvas.tags.part(line, Role::Link);
        let mark = canvas.tags.mark(link);
        let number = fonts.shape(Cut::Regular, &page);
        let shaped = fonts.shape(Cut::Regular, &format!("{title} "));
        let (from, to) = (
            LEFT + shaped.width * size + 4.0,
            RIGHT - number.width * size - 6.0,
        );
        let text = |x: f32, shaped| Drawn::Text {
            x,
            y,
            size,
            ink: BLACK,
            shaped,
        };
        let at = RIGHT - number.width * size;
        canvas.draw(Some(mark), vec![text(LEFT, shaped), text(at, number)]);
        canvas.draw(
            None,
            vec![Drawn::Shape {
                corners: vec![(from, y), (to.max(from), y)],
                fill: None,
                stroke: Some((0.4, PALE)),
            }],
        );
        if let Some(place) = place {
            let mark = canvas.tags.mark(link);
            canvas.link(Link {
                mark,
                area: [LEFT, y - size, RIGHT, y + size * 0.3],
                target: Target::Place {
                    page: place.page,
                    y: place.y,
                },
                words: format!("{title}, page {page}"),
            });
        }
        canvas.y += leading;
    }
    canvas.y += PARAGRAPH_GAP;
}

fn code(canvas: &mut Canvas, fonts: &Fonts, text: &[String]) {
    let part = canvas.tags.part(Tags::ROOT, Role::Code);
    let set: Vec<Line> = text
        .iter()
        .flat_map(|line| lines(fonts, &plain(line), CODE, width() - 2.0 * PAD))
        .collect();
    canvas.need(set.len().min(4) as f32 * CODE.leading + PAD);
    canvas.y += 2.0;
    for line in set {
        canvas.need(CODE.leading);
        let y = canvas.y + CODE.size;
        canvas.draw(
            None,
            vec![Drawn::Shape {
                corners: vec![
                    (LEFT + 1.0, canvas.y - 1.0),
                    (LEFT + 1.0, canvas.y + CODE.leading - 1.0),
                ],
                fill: None,
                stroke: Some((1.2, PALE)),
            }],
        );
        line.draw(canvas, part, LEFT + PAD, y);
        canvas.y += CODE.leading;
    }
    canvas.y += PARAGRAPH_GAP + 2.0;
}

/// Set as the cells of tables are.
pub(super) fn small(fonts: &Fonts, text: &str) -> Vec<Line> {
    let setting = Setting {
        size: 8.6,
        strong: true,
        ..CELL
    };
    lines(fonts, &plain(text), setting, width())
}
