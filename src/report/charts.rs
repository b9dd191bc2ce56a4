//! Charts as SVG text that stands inside a page: no script, no style of their own.
//!
//! Shapes carry class names; the style sheet of the page gives them colours, so one
//! drawing serves light, dark and paper. Pure functions of numbers.

mod columns;
pub mod drawing;
pub mod figures;
mod histogram;
mod interval;
mod spans;

pub use columns::{Series, StackedColumns};
pub use histogram::{Group, Histogram};
pub use interval::{Interval, interval_bar, share_bar, step_bar};
pub use spans::{Span, Spans};

/// Text made safe to stand between tags or in a quoted attribute.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

/// A coordinate with at most one decimal.
fn coordinate(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_leave_its_place() {
        assert_eq!(
            escaped("<a href='x'>\"&"),
            "&lt;a href=&#39;x&#39;&gt;&quot;&amp;"
        );
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!(coordinate(12.0), "12");
        assert_eq!(coordinate(12.25), "12.2");
    }
}
