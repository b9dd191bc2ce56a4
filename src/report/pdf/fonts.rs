//! The letters: three cuts of one embedded face, shaped and measured.

use super::PdfError;
use crate::report::block::Manner;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Face, UnicodeBuffer};
use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;

const REGULAR: &[u8] = include_bytes!("../fonts/OpenSans-Regular.ttf");
const SEMIBOLD: &[u8] = include_bytes!("../fonts/OpenSans-Semibold.ttf");
const ITALIC: &[u8] = include_bytes!("../fonts/OpenSans-Italic.ttf");

/// Shown in place of a character that the face has no letter for.
const MISSING: char = '\u{25CA}';

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Cut {
    Regular,
    Semibold,
    Italic,
}

impl From<Manner> for Cut {
    fn from(manner: Manner) -> Self {
        match manner {
            Manner::Plain | Manner::Quiet => Cut::Regular,
            Manner::Strong => Cut::Semibold,
            Manner::Emphasis => Cut::Italic,
        }
    }
}

struct Loaded {
    font: Font,
    face: Face<'static>,
}

pub(super) struct Fonts {
    regular: Loaded,
    semibold: Loaded,
    italic: Loaded,
    /// Widths of the words that were measured before: most come again.
    measured: RefCell<HashMap<(Cut, String), f32>>,
}

/// Text as glyphs of one cut.
#[derive(Debug, Clone)]
pub(super) struct Shaped {
    pub cut: Cut,
    pub text: String,
    /// What was meant, where the face lacks some of it.
    pub meant: Option<String>,
    pub glyphs: Vec<KrillaGlyph>,
    /// In ems.
    pub width: f32,
}

impl Fonts {
    pub fn load() -> Result<Self, PdfError> {
        let load = |bytes: &'static [u8]| {
            let font = Font::new(bytes.into(), 0).ok_or(PdfError::Font)?;
            let face = Face::from_slice(bytes, 0).ok_or(PdfError::Font)?;
            Ok::<_, PdfError>(Loaded { font, face })
        };
        Ok(Fonts {
            regular: load(REGULAR)?,
            semibold: load(SEMIBOLD)?,
            italic: load(ITALIC)?,
            measured: RefCell::default(),
        })
    }

    fn loaded(&self, cut: Cut) -> &Loaded {
        match cut {
            Cut::Regular => &self.regular,
            Cut::Semibold => &self.semibold,
            Cut::Italic => &self.italic,
        }
    }

    pub fn font(&self, cut: Cut) -> Font {
        self.loaded(cut).font.clone()
    }

    /// Width of the text in ems.
    pub fn width(&self, cut: Cut, text: &str) -> f32 {
        let key = (cut, text.to_owned());
        if let Some(width) = self.measured.borrow().get(&key) {
            return *width;
        }
        let width = self.shape(cut, text).width;
        self.measured.borrow_mut().insert(key, width);
        width
    }

    pub fn shape(&self, cut: Cut, meant: &str) -> Shaped {
        let face = &self.loaded(cut).face;
        let shown = showable(face, meant);
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(&shown);
        buffer.guess_segment_properties();
        buffer.set_direction(Direction::LeftToRight);
        let output = rustybuzz::shape(face, &[], buffer);
        let em = face.units_per_em() as f32;
        let infos = output.glyph_infos();
        let mut width = 0.0;
        let mut glyphs = Vec::with_capacity(infos.len());
        for (place, (info, position)) in infos.iter().zip(output.glyph_positions()).enumerate() {
            let start = info.cluster as usize;
            let end = infos
                .iter()
                .skip(place + 1)
                .map(|next| next.cluster as usize)
                .find(|next| *next > start)
                .unwrap_or(shown.len());
            let advance = position.x_advance as f32 / em;
            width += advance;
            glyphs.push(KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                advance,
                position.x_offset as f32 / em,
                position.y_offset as f32 / em,
                0.0,
                start..end,
                None,
            ));
        }
        Shaped {
            cut,
            meant: (shown != meant).then(|| meant.to_owned()),
            text: shown.into_owned(),
            glyphs,
            width,
        }
    }
}

/// The text with [`MISSING`] for what the face has no letter for.
fn showable<'t>(face: &Face<'_>, text: &'t str) -> Cow<'t, str> {
    let has = |letter: char| face.glyph_index(letter).is_some_and(|glyph| glyph.0 != 0);
    if text.chars().all(has) {
        return Cow::Borrowed(text);
    }
    let shown = text.chars().map(|letter| match letter {
        '\n' | '\t' | '\r' | '\u{202F}' => ' ',
        letter if has(letter) => letter,
        _ => MISSING,
    });
    Cow::Owned(shown.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_as_wide_as_each_other_so_that_columns_line_up() {
        let fonts = Fonts::load().unwrap();
        for cut in [Cut::Regular, Cut::Semibold] {
            let widths: Vec<f32> = ('0'..='9')
                .map(|digit| fonts.width(cut, &digit.to_string()))
                .collect();
            assert!(widths.iter().all(|width| *width == widths[0]), "{widths:?}");
        }
    }

    #[test]
    fn what_a_report_needs_has_letters_and_the_rest_is_kept_as_it_was_meant() {
        let fonts = Fonts::load().unwrap();
        let needed =
            "0123456789 \u{2212}1\u{2009}234.5 \u{2013} CO2e \u{2265} \u{b7} \u{d7} é ł ş ğ Ж λ";
        let shaped = fonts.shape(Cut::Regular, needed);
        assert_eq!(shaped.meant, None, "{}", shaped.text);
        let foreign = fonts.shape(Cut::Regular, "\u{915}");
        assert_eq!(foreign.text, MISSING.to_string());
        assert_eq!(foreign.meant.as_deref(), Some("\u{915}"));
    }
}
