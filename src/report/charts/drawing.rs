//! Charts for paper: shapes and words in points, in greys that tell apart without colour.

/// A drawing with what it shows in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    pub title: String,
    /// For those who cannot see it: every number that it shows.
    pub description: String,
    /// In points; the width is that of the page's text.
    pub height: f32,
    pub shapes: Vec<Shape>,
}

/// Width of every drawing, in points.
pub const DRAWING_WIDTH: f32 = 471.0;

#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Left, top, width, height, and lightness from 0 to 255.
    Bar { area: [f32; 4], grey: u8 },
    /// An outlined bar, for what is taken off.
    Frame { area: [f32; 4] },
    Line {
        from: (f32, f32),
        to: (f32, f32),
        width: f32,
        grey: u8,
    },
    /// A point, drawn as a lozenge.
    Point { at: (f32, f32) },
    Words {
        at: (f32, f32),
        text: String,
        anchor: Anchor,
        strong: bool,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

impl Shape {
    pub fn words(at: (f32, f32), text: impl Into<String>, anchor: Anchor) -> Self {
        Shape::Words {
            at,
            text: text.into(),
            anchor,
            strong: false,
        }
    }

    pub fn line(from: (f32, f32), to: (f32, f32), width: f32, grey: u8) -> Self {
        Shape::Line {
            from,
            to,
            width,
            grey,
        }
    }
}

/// From a value to its place on a line.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    least: f64,
    span: f64,
    from: f32,
    to: f32,
}

impl Scale {
    /// Holds zero and every value given.
    pub fn of(values: impl IntoIterator<Item = f64>, from: f32, to: f32) -> Self {
        let (mut least, mut most) = (0.0_f64, 0.0_f64);
        for value in values.into_iter().filter(|value| value.is_finite()) {
            least = least.min(value);
            most = most.max(value);
        }
        let span = if most > least { most - least } else { 1.0 };
        Scale {
            least,
            span,
            from,
            to,
        }
    }

    pub fn at(&self, value: f64) -> f32 {
        let part = (value - self.least) / self.span;
        self.from + (self.to - self.from) * part as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_zero_and_all_its_values() {
        let scale = Scale::of([50.0, 100.0], 0.0, 200.0);
        assert_eq!((scale.at(0.0), scale.at(50.0)), (0.0, 100.0));
        let below = Scale::of([-100.0, 100.0], 0.0, 200.0);
        assert_eq!((below.at(-100.0), below.at(0.0)), (0.0, 100.0));
        assert_eq!(Scale::of([], 10.0, 20.0).at(0.0), 10.0);
    }
}
