//! The file itself: pages, reading order, outline and the words about the document.

use super::PdfError;
use super::canvas::{
    Canvas, Drawn, GREY, HEIGHT, Ink, LEFT, Link, PALE, Page, Piece, PlacedHeading, RIGHT, Target,
    WIDTH,
};
use super::fonts::{Cut, Fonts};
use crate::report::block::Document as Report;
use chrono::{DateTime as Moment, Datelike, Timelike, Utc};
use krilla::action::{Action, LinkAction};
use krilla::annotation::{Annotation, LinkAnnotation, Target as PdfTarget};
use krilla::color::luma;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla::{Document, SerializeSettings};

/// Of the foot, below the text.
const FOOT: f32 = HEIGHT - 44.0;
const FOOT_SIZE: f32 = 7.6;

pub(super) fn write(report: &Report, fonts: &Fonts, canvas: Canvas) -> Result<Vec<u8>, PdfError> {
    let unwritten = |what: &dyn std::fmt::Debug| PdfError::Unwritten(format!("{what:?}"));
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|e| unwritten(&e))?;
    let mut document = Document::new_with(SerializeSettings {
        configuration,
        enable_tagging: true,
        ..SerializeSettings::default()
    });
    let Canvas {
        pages,
        mut tags,
        headings,
        ..
    } = canvas;
    let count = pages.len();
    for (index, page) in pages.into_iter().enumerate() {
        let Page { mut pieces, links } = page;
        pieces.push(foot(report, fonts, index, count));
        let size = PageSettings::from_wh(WIDTH, HEIGHT).ok_or_else(|| unwritten(&"page size"))?;
        let mut sheet = document.start_page_with(size);
        let mut surface = sheet.surface();
        let last = pieces.len().saturating_sub(1);
        for (place, piece) in pieces.into_iter().enumerate() {
            let kind = if place == last {
                ArtifactType::Footer
            } else {
                ArtifactType::Other
            };
            draw_piece(&mut surface, fonts, piece, kind, &mut tags);
        }
        surface.finish();
        for link in links {
            let mark = link.mark;
            if let Some(annotation) = annotation(link) {
                tags.called(mark, sheet.add_tagged_annotation(annotation));
            }
        }
        sheet.finish();
    }
    document.set_outline(outline(&headings));
    document.set_metadata(metadata(report));
    document.set_tag_tree(tags.tree());
    document.finish().map_err(|e| unwritten(&e))
}

fn draw_piece(
    surface: &mut Surface<'_>,
    fonts: &Fonts,
    piece: Piece,
    kind: ArtifactType,
    tags: &mut super::tags::Tags,
) {
    let meant: Option<String> = match piece.drawn.as_slice() {
        [Drawn::Text { shaped, .. }] => shaped.meant.clone(),
        _ => None,
    };
    let tag = match piece.mark {
        Some(_) => ContentTag::Span(SpanTag::empty().with_actual_text(meant.as_deref())),
        None => ContentTag::Artifact(Artifact::with_kind(kind)),
    };
    let identifier = surface.start_tagged(tag);
    for drawn in &piece.drawn {
        draw(surface, fonts, drawn);
    }
    surface.end_tagged();
    if let Some(mark) = piece.mark {
        tags.called(mark, identifier);
    }
}

fn fill(ink: Ink) -> Fill {
    Fill {
        paint: luma::Color::new(ink.0).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::NonZero,
    }
}

fn draw(surface: &mut Surface<'_>, fonts: &Fonts, drawn: &Drawn) {
    match drawn {
        Drawn::Text {
            x,
            y,
            size,
            ink,
            shaped,
        } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            surface.draw_glyphs(
                Point::from_xy(*x, *y),
                &shaped.glyphs,
                fonts.font(shaped.cut),
                &shaped.text,
                *size,
                false,
            );
        }
        Drawn::Shape {
            corners,
            fill: filled,
            stroke,
        } => {
            let mut path = PathBuilder::new();
            for (index, (x, y)) in corners.iter().enumerate() {
                if index == 0 {
                    path.move_to(*x, *y);
                } else {
                    path.line_to(*x, *y);
                }
            }
            if let Some(path) = path.finish() {
                surface.set_fill(filled.map(fill));
                surface.set_stroke(stroke.map(|(width, ink)| Stroke {
                    paint: luma::Color::new(ink.0).into(),
                    width,
                    ..Stroke::default()
                }));
                surface.draw_path(&path);
            }
        }
    }
}

/// What the document is, and which page of how many: no part of the reading order.
fn foot(report: &Report, fonts: &Fonts, index: usize, count: usize) -> Piece {
    let text = |x: f32, shaped| Drawn::Text {
        x,
        y: FOOT,
        size: FOOT_SIZE,
        ink: GREY,
        shaped,
    };
    let page = fonts.shape(
        Cut::Regular,
        &format!("Page {} of {count}", index.saturating_add(1)),
    );
    let at = RIGHT - page.width * FOOT_SIZE;
    Piece {
        mark: None,
        drawn: vec![
            Drawn::Shape {
                corners: vec![(LEFT, FOOT - 12.0), (RIGHT, FOOT - 12.0)],
                fill: None,
                stroke: Some((0.4, PALE)),
            },
            text(
                LEFT,
                fonts.shape(Cut::Regular, &format!("{} ", report.footer)),
            ),
            text(at, page),
        ],
    }
}

fn annotation(link: Link) -> Option<Annotation> {
    let [left, top, right, bottom] = link.area;
    let area = Rect::from_ltrb(left, top, right, bottom)?;
    let target = match link.target {
        Target::Address(address) => PdfTarget::Action(Action::Link(LinkAction::new(address))),
        Target::Place { page, y } => {
            PdfTarget::Destination(XyzDestination::new(page, Point::from_xy(LEFT, y)).into())
        }
    };
    let words = Some(link.words);
    Some(Annotation::new_link(
        LinkAnnotation::new(area, target),
        words,
    ))
}

/// Headings below the title, those of level 3 under the one before them.
fn outline(headings: &[PlacedHeading]) -> Outline {
    let node = |heading: &PlacedHeading| {
        let place = XyzDestination::new(heading.page, Point::from_xy(LEFT, heading.y));
        OutlineNode::new(heading.text.clone(), place)
    };
    let mut outline = Outline::new();
    let mut open: Option<OutlineNode> = None;
    for heading in headings {
        match (&mut open, heading.level) {
            (Some(parent), level) if level > 2 => parent.push_child(node(heading)),
            (_, 1) => {}
            _ => {
                if let Some(done) = open.replace(node(heading)) {
                    outline.push_child(done);
                }
            }
        }
    }
    if let Some(done) = open {
        outline.push_child(done);
    }
    outline
}

fn metadata(report: &Report) -> Metadata {
    let program = format!("emberbook {}", env!("CARGO_PKG_VERSION"));
    let metadata = Metadata::new()
        .title(report.title.clone())
        .language("en-GB".to_owned())
        .creator(program.clone())
        .producer(program)
        .document_id(report.id.clone());
    match Moment::parse_from_rfc3339(&report.made_at) {
        Ok(at) => metadata.creation_date(date(at.with_timezone(&Utc))),
        Err(_) => metadata,
    }
}

fn date(at: Moment<Utc>) -> DateTime {
    let small = |number: u32| u8::try_from(number).unwrap_or(0);
    DateTime::new(u16::try_from(at.year()).unwrap_or(0))
        .month(small(at.month()))
        .day(small(at.day()))
        .hour(small(at.hour()))
        .minute(small(at.minute()))
        .second(small(at.second()))
        .utc_offset_hour(0)
        .utc_offset_minute(0)
}
