//! Counts over time as stacked columns, one for each day given.

use super::{coordinate, escaped};
use crate::report::summary::number;
use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;

/// One layer of the stack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series {
    pub name: String,
    /// As long as the days of the chart; a missing end counts as 0.
    pub counts: Vec<u64>,
}

/// A chart with its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StackedColumns {
    /// Begins the ids inside the drawing: unique on its page.
    pub id: String,
    pub title: String,
    pub description: String,
    /// What is counted, e.g. `stoves in service`.
    pub unit: String,
    /// What the days are, e.g. `first of each month`.
    pub time: String,
    pub days: Vec<NaiveDate>,
    pub series: Vec<Series>,
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 290.0;
/// Leaves room for the labels at the large letters of a phone.
const LEFT: f64 = 72.0;
const RIGHT: f64 = 636.0;
const TOP: f64 = 44.0;
const BOTTOM: f64 = 238.0;
/// Colours that the style sheet names, `s0` onwards.
const COLOURS: usize = 6;
/// Months that are all labelled; above this only the first of each year is.
const FEW: usize = 6;

impl StackedColumns {
    /// The drawing; nothing where there is no day to draw.
    pub fn svg(&self) -> String {
        if self.days.is_empty() {
            return String::new();
        }
        let (step, most) = scale(self.highest());
        let height_of = |count: u64| count as f64 / most as f64 * (BOTTOM - TOP);
        format!(
            concat!(
                r#"<svg class="chart" viewBox="0 0 {width} {height}" role="img" "#,
                r#"aria-labelledby="{id}-title {id}-description">"#,
                r#"<title id="{id}-title">{title}</title>"#,
                r#"<desc id="{id}-description">{description}</desc>"#,
                r#"{grid}{layers}<path class="axis" d="M{left} {bottom}H{right}"/>{labels}"#,
                r#"<text class="unit" x="0" y="18">{unit}</text>"#,
                r#"<text class="unit" x="{right}" y="285" text-anchor="end">{time}</text></svg>"#
            ),
            width = coordinate(WIDTH),
            height = coordinate(HEIGHT),
            id = escaped(&self.id),
            title = escaped(&self.title),
            description = escaped(&self.description),
            grid = grid(step, most, &height_of),
            layers = self.layers(&height_of),
            left = coordinate(LEFT),
            right = coordinate(RIGHT),
            bottom = coordinate(BOTTOM),
            labels = self.labels(),
            unit = escaped(&self.unit),
            time = escaped(&self.time),
        )
    }

    /// The class that colours a series, for its legend.
    pub fn colour(index: usize) -> String {
        format!("s{}", index % COLOURS)
    }

    fn total(&self, day: usize) -> u64 {
        self.series
            .iter()
            .map(|series| series.counts.get(day).copied().unwrap_or(0))
            .fold(0, u64::saturating_add)
    }

    fn highest(&self) -> u64 {
        (0..self.days.len())
            .map(|day| self.total(day))
            .max()
            .unwrap_or(0)
    }

    fn left_of(&self, day: usize) -> f64 {
        LEFT + day as f64 * self.pitch()
    }

    fn pitch(&self) -> f64 {
        (RIGHT - LEFT) / self.days.len() as f64
    }

    /// One path for each series: its part of every column.
    fn layers(&self, height_of: &dyn Fn(u64) -> f64) -> String {
        let mut below = vec![0_u64; self.days.len()];
        let gap = (self.pitch() * 0.18).min(8.0);
        let width = coordinate(self.pitch() - gap);
        let mut layers = String::new();
        for (index, series) in self.series.iter().enumerate() {
            let mut path = String::new();
            for (day, base) in below.iter_mut().enumerate() {
                let count = series.counts.get(day).copied().unwrap_or(0);
                if count == 0 {
                    continue;
                }
                *base = base.saturating_add(count);
                path.push_str(&format!(
                    "M{} {}h{width}v{}h-{width}z",
                    coordinate(self.left_of(day) + gap / 2.0),
                    coordinate(BOTTOM - height_of(*base)),
                    coordinate(height_of(count)),
                ));
            }
            layers.push_str(&format!(
                r#"<path class="{}" d="{path}"/>"#,
                Self::colour(index)
            ));
        }
        layers
    }

    fn labels(&self) -> String {
        let few = self.days.len() <= FEW;
        self.days
            .iter()
            .enumerate()
            .filter(|(_, day)| few || day.month() == 1)
            .map(|(index, day)| {
                let words = if few {
                    day.format("%Y-%m").to_string()
                } else {
                    day.year().to_string()
                };
                let x = self.left_of(index) + if few { self.pitch() / 2.0 } else { 0.0 };
                let anchor = if few { "middle" } else { "start" };
                format!(
                    concat!(
                        r#"<path class="tick" d="M{x} {bottom}v6"/>"#,
                        r#"<text x="{x}" y="262" text-anchor="{anchor}">{words}</text>"#
                    ),
                    x = coordinate(x),
                    bottom = coordinate(BOTTOM),
                    anchor = anchor,
                    words = words
                )
            })
            .collect()
    }
}

fn grid(step: u64, most: u64, height_of: &dyn Fn(u64) -> f64) -> String {
    (0..=most / step)
        .map(|line| {
            let count = line * step;
            let y = BOTTOM - height_of(count);
            format!(
                concat!(
                    r#"<path class="grid" d="M{left} {y}H{right}"/>"#,
                    r#"<text x="64" y="{base}" text-anchor="end">{count}</text>"#
                ),
                left = coordinate(LEFT),
                right = coordinate(RIGHT),
                y = coordinate(y),
                base = coordinate(y + 4.0),
                count = number(Decimal::from(count), 0)
            )
        })
        .collect()
}

/// Distance of the grid lines (1, 2 or 5 times a power of ten, at most five lines above
/// zero) and the end of the axis: the line at or above `highest`.
fn scale(highest: u64) -> (u64, u64) {
    let highest = highest.clamp(1, u64::MAX / 100);
    let mut power = 1_u64;
    loop {
        for factor in [1, 2, 5] {
            let step = power * factor;
            if highest.div_ceil(step) <= 5 {
                return (step, highest.div_ceil(step) * step);
            }
        }
        power *= 10;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(counts: &[&[u64]]) -> StackedColumns {
        let months = counts.first().map_or(0, |series| series.len());
        StackedColumns {
            id: "stoves".into(),
            title: "Stoves".into(),
            description: "By <model>".into(),
            unit: "stoves in service".into(),
            time: "first of each month".into(),
            days: (0..months)
                .map(|month| {
                    NaiveDate::from_ymd_opt(2023 + month as i32 / 12, month as u32 % 12 + 1, 1)
                        .unwrap()
                })
                .collect(),
            series: counts
                .iter()
                .map(|counts| Series {
                    name: "model".into(),
                    counts: counts.to_vec(),
                })
                .collect(),
        }
    }

    #[test]
    fn the_axis_ends_on_a_round_number_at_or_above_the_highest() {
        assert_eq!(scale(0), (1, 1));
        assert_eq!(scale(5), (1, 5));
        assert_eq!(scale(6), (2, 6));
        assert_eq!(scale(990), (200, 1000));
        assert_eq!(scale(1001), (500, 1500));
        let (step, most) = scale(u64::MAX);
        assert!(most / step <= 5);
    }

    #[test]
    fn columns_stand_on_each_other_and_fill_the_axis() {
        // 40 + 60 of an axis that ends at 100: the plot is 194 high.
        let svg = chart(&[&[40], &[60]]).svg();
        assert!(
            svg.contains(r#"<path class="s0" d="M76 160.4h556v77.6h-556z"/>"#),
            "{svg}"
        );
        assert!(
            svg.contains(r#"<path class="s1" d="M76 44h556v116.4h-556z"/>"#),
            "{svg}"
        );
    }

    #[test]
    fn an_empty_month_draws_no_column() {
        let svg = chart(&[&[0, 3]]).svg();
        assert_eq!(svg.matches("h-").count(), 1, "{svg}");
    }

    #[test]
    fn few_months_are_named_and_many_only_by_their_year() {
        assert!(chart(&[&[1, 2]]).svg().contains("2023-02"));
        let long = chart(&[&[1; 30]]).svg();
        assert!(long.contains(">2024<") && long.contains(">2025<"));
        assert!(!long.contains("2023-02"));
    }

    #[test]
    fn words_are_escaped_and_tied_to_the_drawing() {
        let svg = chart(&[&[1]]).svg();
        assert!(svg.contains("By &lt;model&gt;"));
        assert!(svg.contains(r#"aria-labelledby="stoves-title stoves-description""#));
        assert!(svg.contains("stoves in service") && svg.contains("first of each month"));
    }

    #[test]
    fn nothing_to_draw_is_nothing() {
        assert_eq!(chart(&[]).svg(), "");
    }
}
