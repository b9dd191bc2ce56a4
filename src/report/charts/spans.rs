//! Spans of days on one axis of years: what stood from when to when.

use super::{coordinate, escaped};
use chrono::{Datelike, NaiveDate};

/// One line of the drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Span {
    pub name: String,
    pub from: NaiveDate,
    /// The first day after it; none while it goes on.
    pub to: Option<NaiveDate>,
}

/// A drawing with its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spans {
    /// Begins the ids inside the drawing: unique on its page.
    pub id: String,
    pub title: String,
    pub description: String,
    /// Where spans that go on are cut off.
    pub today: NaiveDate,
    pub spans: Vec<Span>,
}

const WIDTH: f64 = 640.0;
const LEFT: f64 = 8.0;
const RIGHT: f64 = 632.0;
const PITCH: f64 = 56.0;
const BAR: f64 = 16.0;
/// Years that are named, at the most.
const YEARS_MAX: i32 = 8;

impl Spans {
    /// The drawing; nothing where there is no span.
    pub fn svg(&self) -> String {
        let Some(first) = self.spans.iter().map(|span| span.from).min() else {
            return String::new();
        };
        let ends = self.spans.iter().map(|span| span.to.unwrap_or(self.today));
        let last = ends.max().unwrap_or(first).max(self.today).max(first);
        let days = (last - first).num_days().max(1) as f64;
        let x = |day: NaiveDate| LEFT + (day - first).num_days() as f64 / days * (RIGHT - LEFT);
        let bottom = PITCH * self.spans.len() as f64 + 8.0;
        let bars: String = self
            .spans
            .iter()
            .enumerate()
            .map(|(place, span)| self.bar(place, span, &x))
            .collect();
        format!(
            concat!(
                r#"<svg class="chart" viewBox="0 0 {width} {height}" role="img" "#,
                r#"aria-labelledby="{id}-title {id}-description">"#,
                r#"<title id="{id}-title">{title}</title>"#,
                r#"<desc id="{id}-description">{description}</desc>"#,
                r#"{years}<path class="axis" d="M{left} {bottom}H{right}"/>{bars}</svg>"#
            ),
            width = coordinate(WIDTH),
            height = coordinate(bottom + 32.0),
            id = escaped(&self.id),
            title = escaped(&self.title),
            description = escaped(&self.description),
            years = years(first, last, bottom, &x),
            left = coordinate(LEFT),
            right = coordinate(RIGHT),
            bottom = coordinate(bottom),
            bars = bars,
        )
    }

    /// A name above its bar; one that goes on has an open end.
    fn bar(&self, place: usize, span: &Span, x: &dyn Fn(NaiveDate) -> f64) -> String {
        let top = PITCH * place as f64 + 30.0;
        let from = x(span.from);
        let to = x(span.to.unwrap_or(self.today)).max(from + 2.0);
        let open = if span.to.is_none() {
            let tip = coordinate((to - 1.0).min(WIDTH - 8.0));
            format!(
                r#"<path class="s0" d="M{tip} {}l8 8l-8 8z"/>"#,
                coordinate(top)
            )
        } else {
            String::new()
        };
        // A name near the right edge ends there instead of running out of the drawing.
        let (at, anchor) = if from > WIDTH * 0.6 {
            (RIGHT, "end")
        } else {
            (from, "start")
        };
        format!(
            concat!(
                r#"<text x="{at}" y="{name}" text-anchor="{anchor}">{words}</text>"#,
                r#"<rect class="s{colour}" x="{from}" y="{top}" width="{long}" height="{bar}"/>{open}"#
            ),
            at = coordinate(at),
            name = coordinate(top - 6.0),
            anchor = anchor,
            words = escaped(&span.name),
            colour = if span.to.is_none() { 0 } else { 1 },
            from = coordinate(from),
            top = coordinate(top),
            long = coordinate(to - from),
            bar = coordinate(BAR),
            open = open,
        )
    }
}

/// A line at the first day of each year.
fn years(first: NaiveDate, last: NaiveDate, bottom: f64, x: &dyn Fn(NaiveDate) -> f64) -> String {
    let every = ((last.year() - first.year()) / YEARS_MAX + 1).max(1);
    (first.year() + 1..=last.year())
        .step_by(usize::try_from(every).unwrap_or(1))
        .filter_map(|year| NaiveDate::from_ymd_opt(year, 1, 1))
        .map(|day| {
            format!(
                concat!(
                    r#"<path class="grid" d="M{x} 0V{bottom}"/>"#,
                    r#"<text x="{x}" y="{y}" text-anchor="middle">{year}</text>"#
                ),
                x = coordinate(x(day)),
                bottom = coordinate(bottom),
                y = coordinate(bottom + 22.0),
                year = day.year(),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn drawing(spans: &[(&str, Option<&str>)]) -> Spans {
        Spans {
            id: "stoves".into(),
            title: "Stoves".into(),
            description: "Of a household".into(),
            today: day("2026-01-01"),
            spans: spans
                .iter()
                .map(|(from, to)| Span {
                    name: "Stove <1>".into(),
                    from: day(from),
                    to: to.map(day),
                })
                .collect(),
        }
    }

    #[test]
    fn spans_share_one_axis_from_the_first_day_to_today() {
        // 2024 has 366 days and 2025 has 365: the year begins at 366/731 of 624 units.
        let svg = drawing(&[("2024-01-01", Some("2025-01-01")), ("2025-01-01", None)]).svg();
        assert!(
            svg.contains(r#"class="s1" x="8" y="30" width="312.4""#),
            "{svg}"
        );
        assert!(
            svg.contains(r#"class="s0" x="320.4" y="86" width="311.6""#),
            "{svg}"
        );
        assert!(svg.contains(">2025<") && svg.contains(">2026<"));
        assert!(svg.contains("Stove &lt;1&gt;"));
    }

    #[test]
    fn what_goes_on_has_an_open_end() {
        assert_eq!(
            drawing(&[("2024-01-01", None)])
                .svg()
                .matches("l8 8l-8 8z")
                .count(),
            1
        );
        let ended = drawing(&[("2024-01-01", Some("2025-01-01"))]).svg();
        assert!(!ended.contains("l8 8l-8 8z"));
    }

    #[test]
    fn one_day_is_a_drawing_and_none_is_nothing() {
        let svg = drawing(&[("2026-01-01", Some("2026-01-01"))]).svg();
        assert!(svg.contains("<rect") && !svg.contains("NaN"), "{svg}");
        assert_eq!(drawing(&[]).svg(), "");
    }
}
