//! Rich text broken into lines of a given width.

use super::canvas::{BLACK, Canvas, Drawn, GREY, Ink, Link, Target};
use super::fonts::{Cut, Fonts, Shaped};
use super::tags::{Part, Role};
use crate::report::block::{Manner, Rich, Span};

/// How text of a block is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Setting {
    pub size: f32,
    /// From line to line.
    pub leading: f32,
    /// Makes plain text strong.
    pub strong: bool,
}

pub(super) const TEXT: Setting = Setting {
    size: 9.5,
    leading: 13.5,
    strong: false,
};
pub(super) const CELL: Setting = Setting {
    size: 8.2,
    leading: 11.0,
    strong: false,
};

/// A run of one line.
#[derive(Debug, Clone)]
struct Run {
    shaped: Shaped,
    size: f32,
    ink: Ink,
    link: Option<String>,
}

/// One line, ready to be drawn.
#[derive(Debug, Clone)]
pub(super) struct Line {
    runs: Vec<Run>,
    pub width: f32,
}

/// A piece of text that is not broken, and the span it is of.
struct Word<'s> {
    span: usize,
    text: &'s str,
}

/// Breaks `rich` into lines no wider than `width`.
pub(super) fn lines(fonts: &Fonts, rich: &Rich, setting: Setting, width: f32) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    let mut taken: Vec<Word<'_>> = Vec::new();
    let mut reached = 0.0;
    for (index, span) in rich.iter().enumerate() {
        let (cut, size) = look(span, setting);
        for piece in span.text.split_inclusive(' ') {
            for part in fitting(fonts, cut, size, piece, width) {
                let wide = fonts.width(cut, part.trim_end_matches(' ')) * size;
                if reached + wide > width + 0.01 && !taken.is_empty() {
                    lines.push(line(fonts, rich, setting, &taken));
                    taken.clear();
                    reached = 0.0;
                }
                reached += fonts.width(cut, part) * size;
                taken.push(Word {
                    span: index,
                    text: part,
                });
            }
        }
    }
    if !taken.is_empty() {
        lines.push(line(fonts, rich, setting, &taken));
    }
    lines
}

fn look(span: &Span, setting: Setting) -> (Cut, f32) {
    let cut = match span.manner {
        Manner::Plain if setting.strong => Cut::Semibold,
        manner => Cut::from(manner),
    };
    let size = match span.manner {
        Manner::Quiet => setting.size * 0.84,
        _ => setting.size,
    };
    (cut, size)
}

/// The word in parts that each fit the width: ids and hashes are longer than some columns.
fn fitting<'w>(fonts: &Fonts, cut: Cut, size: f32, word: &'w str, width: f32) -> Vec<&'w str> {
    let mut parts = Vec::new();
    let mut rest = word;
    while !rest.is_empty() && fonts.width(cut, rest.trim_end_matches(' ')) * size > width {
        let mut last = None;
        let mut soft = None;
        for (at, letter) in rest.char_indices() {
            let end = at + letter.len_utf8();
            let Some(begun) = rest.get(..end) else { break };
            if last.is_some() && fonts.width(cut, begun) * size > width {
                break;
            }
            last = Some(end);
            if matches!(letter, '/' | '_' | '-' | '.' | ',' | '=' | '+') {
                soft = Some(end);
            }
        }
        let Some(end) = soft.or(last).filter(|end| *end < rest.len()) else {
            break;
        };
        let (begun, left) = rest.split_at(end);
        parts.push(begun);
        rest = left;
    }
    if !rest.is_empty() {
        parts.push(rest);
    }
    parts
}

fn line(fonts: &Fonts, rich: &Rich, setting: Setting, words: &[Word<'_>]) -> Line {
    let mut joined: Vec<(usize, String)> = Vec::new();
    for word in words {
        match joined.last_mut() {
            Some((span, text)) if *span == word.span => text.push_str(word.text),
            _ => joined.push((word.span, word.text.to_owned())),
        }
    }
    let mut runs = Vec::new();
    let mut width = 0.0;
    for (index, text) in joined {
        let Some(span) = rich.get(index) else {
            continue;
        };
        let (cut, size) = look(span, setting);
        let shaped = fonts.shape(cut, &text);
        width += shaped.width * size;
        let ink = match span.manner {
            Manner::Quiet => GREY,
            _ => BLACK,
        };
        runs.push(Run {
            shaped,
            size,
            ink,
            link: span.link.clone(),
        });
    }
    // The space that ends a line is there to be read, not to be seen.
    let trailing = runs.last().map_or(0.0, |run| {
        let ends = run.shaped.text.ends_with(' ');
        if ends {
            fonts.width(run.shaped.cut, " ") * run.size
        } else {
            0.0
        }
    });
    Line {
        runs,
        width: width - trailing,
    }
}

impl Line {
    /// Draws the line with its letters standing on `y`, as a part of `part`.
    pub fn draw(self, canvas: &mut Canvas, part: Part, x: f32, y: f32) {
        let mut at = x;
        let mut plain: Vec<Drawn> = Vec::new();
        for run in self.runs {
            let wide = run.shaped.width * run.size;
            let drawn = Drawn::Text {
                x: at,
                y,
                size: run.size,
                ink: run.ink,
                shaped: run.shaped.clone(),
            };
            match run.link {
                None => plain.push(drawn),
                Some(address) => {
                    flush(canvas, part, &mut plain);
                    let link = canvas.tags.part(part, Role::Link);
                    let mark = canvas.tags.mark(link);
                    canvas.draw(Some(mark), vec![drawn]);
                    let mark = canvas.tags.mark(link);
                    canvas.link(Link {
                        mark,
                        area: [at, y - run.size, at + wide, y + run.size * 0.3],
                        target: Target::Address(address),
                        words: format!("Trace of {}", run.shaped.text.trim()),
                    });
                }
            }
            at += wide;
        }
        flush(canvas, part, &mut plain);
    }
}

impl Line {
    /// Draws the line as what only repeats, outside the reading order.
    pub fn draw_apart(self, canvas: &mut Canvas, x: f32, y: f32) {
        let mut at = x;
        let mut drawn = Vec::new();
        for run in self.runs {
            let wide = run.shaped.width * run.size;
            drawn.push(Drawn::Text {
                x: at,
                y,
                size: run.size,
                ink: run.ink,
                shaped: run.shaped,
            });
            at += wide;
        }
        canvas.draw(None, drawn);
    }
}

fn flush(canvas: &mut Canvas, part: Part, plain: &mut Vec<Drawn>) {
    if !plain.is_empty() {
        let mark = canvas.tags.mark(part);
        canvas.draw(Some(mark), std::mem::take(plain));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::block::plain;

    fn text(lines: &[Line]) -> Vec<String> {
        let of = |line: &Line| {
            line.runs
                .iter()
                .map(|run| run.shaped.text.clone())
                .collect()
        };
        lines.iter().map(of).collect()
    }

    #[test]
    fn no_letter_is_lost_and_no_line_is_too_wide() {
        let fonts = Fonts::load().unwrap();
        let words = "Every figure carries a number by which its trace opens, and \
            co2e/baseline/three_stone_fire/wood_0123456789abcdef0123456789abcdef goes over it.";
        for width in [40.0, 90.0, 200.0, 471.0] {
            let set = lines(&fonts, &plain(words), TEXT, width);
            assert_eq!(text(&set).concat(), words);
            for line in &set {
                assert!(line.width <= width + 0.5, "{} in {width}", line.width);
            }
        }
    }

    #[test]
    fn a_thin_space_does_not_break_a_number() {
        let fonts = Fonts::load().unwrap();
        let set = lines(&fonts, &plain("is 263\u{2009}266 days"), TEXT, 42.0);
        assert!(
            text(&set)
                .iter()
                .any(|line| line.contains("263\u{2009}266"))
        );
    }
}
