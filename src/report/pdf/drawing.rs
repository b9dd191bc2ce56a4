//! Charts set into the text: one figure of the reading order, with its words for those who
//! cannot see it.

use super::canvas::{BLACK, Canvas, Drawn, Ink, LEFT};
use super::fonts::{Cut, Fonts};
use super::layout::small;
use super::tags::{Role, Tags};
use crate::report::charts::drawing::{Anchor, Drawing, Shape};

const SIZE: f32 = 8.0;
const TITLE_LEADING: f32 = 13.0;
const POINT: f32 = 3.4;
/// Around the shapes.
const ABOVE: f32 = 6.0;
const BELOW: f32 = 14.0;

pub(super) fn height(fonts: &Fonts, drawing: &Drawing) -> f32 {
    small(fonts, &drawing.title).len() as f32 * TITLE_LEADING + ABOVE + drawing.height + BELOW
}

pub(super) fn set(canvas: &mut Canvas, fonts: &Fonts, drawing: &Drawing) {
    canvas.need(height(fonts, drawing));
    let caption = canvas.tags.part(Tags::ROOT, Role::Paragraph);
    for line in small(fonts, &drawing.title) {
        let y = canvas.y + 9.0;
        line.draw(canvas, caption, LEFT, y);
        canvas.y += TITLE_LEADING;
    }
    let figure = Role::Figure(drawing.description.clone());
    let figure = canvas.tags.part(Tags::ROOT, figure);
    let mark = canvas.tags.mark(figure);
    let top = canvas.y + ABOVE;
    let drawn = drawing
        .shapes
        .iter()
        .map(|shape| drawn(fonts, shape, top))
        .collect();
    canvas.draw(Some(mark), drawn);
    canvas.y = top + drawing.height + BELOW;
}

fn drawn(fonts: &Fonts, shape: &Shape, top: f32) -> Drawn {
    let place = |(x, y): (f32, f32)| (LEFT + x, top + y);
    let corners = |[x, y, wide, tall]: [f32; 4]| {
        [
            (x, y),
            (x + wide, y),
            (x + wide, y + tall),
            (x, y + tall),
            (x, y),
        ]
        .map(place)
        .to_vec()
    };
    match shape {
        Shape::Bar { area, grey } => Drawn::Shape {
            corners: corners(*area),
            fill: Some(Ink(*grey)),
            stroke: None,
        },
        Shape::Frame { area } => Drawn::Shape {
            corners: corners(*area),
            fill: None,
            stroke: Some((0.8, BLACK)),
        },
        Shape::Line {
            from,
            to,
            width,
            grey,
        } => Drawn::Shape {
            corners: vec![place(*from), place(*to)],
            fill: None,
            stroke: Some((*width, Ink(*grey))),
        },
        Shape::Point { at: (x, y) } => Drawn::Shape {
            corners: [
                (*x, y - POINT),
                (x + POINT, *y),
                (*x, y + POINT),
                (x - POINT, *y),
                (*x, y - POINT),
            ]
            .map(place)
            .to_vec(),
            fill: Some(BLACK),
            stroke: None,
        },
        Shape::Words {
            at,
            text,
            anchor,
            strong,
        } => {
            let cut = if *strong { Cut::Semibold } else { Cut::Regular };
            let shaped = fonts.shape(cut, &format!("{text} "));
            let wide = fonts.width(cut, text) * SIZE;
            let (x, y) = place(*at);
            let x = match anchor {
                Anchor::Start => x,
                Anchor::Middle => x - wide / 2.0,
                Anchor::End => x - wide,
            };
            Drawn::Text {
                x,
                y,
                size: SIZE,
                ink: BLACK,
                shaped,
            }
        }
    }
}
