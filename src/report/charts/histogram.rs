//! Values sorted into classes, one row of bars for each group, all on one axis.

use super::{coordinate, escaped};

/// The values of one group.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    pub name: String,
    /// How many lie in each class, from zero up.
    pub classes: Vec<u64>,
    pub median: f64,
}

/// A chart with its words.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Begins the ids inside the drawing: unique on its page.
    pub id: String,
    pub title: String,
    pub description: String,
    /// What the axis measures.
    pub unit: String,
    pub class_width: f64,
    /// A value that the eye should compare with, drawn as a line.
    pub bound: Option<f64>,
    pub groups: Vec<Group>,
}

const WIDTH: f64 = 640.0;
const LEFT: f64 = 8.0;
const RIGHT: f64 = 632.0;
/// Height of one group: its name above its bars.
const PITCH: f64 = 112.0;
const BARS: f64 = 72.0;
const COLOURS: usize = 6;
/// Marks on the axis, at the most.
const MARKS_MAX: usize = 6;

impl Histogram {
    /// The drawing; nothing where there is no group.
    pub fn svg(&self) -> String {
        let classes = self.groups.iter().map(|group| group.classes.len()).max();
        let Some(classes) = classes.filter(|classes| *classes > 0) else {
            return String::new();
        };
        let bottom = PITCH * self.groups.len() as f64;
        let end = self.class_width * classes as f64;
        let x = |value: f64| LEFT + (value / end).clamp(0.0, 1.0) * (RIGHT - LEFT);
        let groups: String = self
            .groups
            .iter()
            .enumerate()
            .map(|(place, group)| self.row(place, group, &x))
            .collect();
        let bound = self.bound.map_or_else(String::new, |bound| {
            let x = coordinate(x(bound));
            format!(r#"<path class="bound" d="M{x} 8V{}"/>"#, coordinate(bottom))
        });
        format!(
            concat!(
                r#"<svg class="chart" viewBox="0 0 {width} {height}" role="img" "#,
                r#"aria-labelledby="{id}-title {id}-description">"#,
                r#"<title id="{id}-title">{title}</title>"#,
                r#"<desc id="{id}-description">{description}</desc>"#,
                r#"{groups}{bound}{marks}"#,
                r#"<text class="unit" x="{right}" y="{last}" text-anchor="end">{unit}</text></svg>"#
            ),
            width = coordinate(WIDTH),
            height = coordinate(bottom + 56.0),
            id = escaped(&self.id),
            title = escaped(&self.title),
            description = escaped(&self.description),
            groups = groups,
            bound = bound,
            marks = marks(classes, self.class_width, bottom, &x),
            right = coordinate(RIGHT),
            last = coordinate(bottom + 48.0),
            unit = escaped(&self.unit),
        )
    }

    /// A group's name, its bars as one path, and its median.
    fn row(&self, place: usize, group: &Group, x: &dyn Fn(f64) -> f64) -> String {
        let base = PITCH * (place as f64 + 1.0);
        let most = group.classes.iter().copied().max().unwrap_or(0).max(1);
        let mut path = String::new();
        for (class, count) in group
            .classes
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
        {
            let left = x(self.class_width * class as f64) + 0.5;
            let right = x(self.class_width * (class as f64 + 1.0)) - 0.5;
            let height = *count as f64 / most as f64 * BARS;
            path.push_str(&format!(
                "M{} {}h{}v{}h-{}z",
                coordinate(left),
                coordinate(base - height),
                coordinate(right - left),
                coordinate(height),
                coordinate(right - left),
            ));
        }
        let median = coordinate(x(group.median));
        format!(
            concat!(
                r#"<text x="{left}" y="{name}">{words}</text>"#,
                r#"<path class="s{colour}" d="{path}"/>"#,
                r#"<path class="axis" d="M{left} {base}H{right}"/>"#,
                r#"<path class="median" d="M{median} {top}V{base}"/>"#
            ),
            left = coordinate(LEFT),
            right = coordinate(RIGHT),
            name = coordinate(base - BARS - 12.0),
            words = escaped(&group.name),
            colour = place % COLOURS,
            path = path,
            base = coordinate(base),
            top = coordinate(base - BARS - 4.0),
            median = median,
        )
    }
}

/// Numbers under the last group, at ends of classes.
fn marks(classes: usize, class_width: f64, bottom: f64, x: &dyn Fn(f64) -> f64) -> String {
    let every = classes.div_ceil(MARKS_MAX).max(1);
    (0..=classes)
        .step_by(every)
        .map(|class| {
            let value = class_width * class as f64;
            // The outermost ones would run out of the drawing.
            let anchor = match class {
                0 => "start",
                last if last == classes => "end",
                _ => "middle",
            };
            format!(
                concat!(
                    r#"<path class="tick" d="M{x} {bottom}v6"/>"#,
                    r#"<text x="{x}" y="{y}" text-anchor="{anchor}">{value}</text>"#
                ),
                x = coordinate(x(value)),
                bottom = coordinate(bottom),
                y = coordinate(bottom + 24.0),
                anchor = anchor,
                value = (value * 1000.0).round() / 1000.0,
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(classes: &[u64]) -> Histogram {
        Histogram {
            id: "fuel".into(),
            title: "Fuel".into(),
            description: "Before & after".into(),
            unit: "kg dry fuel a household-day".into(),
            class_width: 0.5,
            bound: None,
            groups: vec![Group {
                name: "before <b>".into(),
                classes: classes.to_vec(),
                median: 0.75,
            }],
        }
    }

    #[test]
    fn the_fullest_class_is_as_high_as_the_row_and_the_others_in_proportion() {
        // Four classes share 624 units of width; 1 unit is left between two bars.
        let svg = chart(&[10, 5, 0, 0]).svg();
        assert!(svg.contains("M8.5 40h155v72h-155z"), "{svg}");
        assert!(svg.contains("M164.5 76h155v36h-155z"), "{svg}");
        assert_eq!(
            svg.matches("h-155z").count(),
            2,
            "an empty class has no bar"
        );
    }

    #[test]
    fn the_median_stands_where_its_value_is() {
        // 0.75 of an axis of 2 that is 624 wide and begins at 8.
        let svg = chart(&[10, 5, 0, 0]).svg();
        assert!(svg.contains(r#"class="median" d="M242 36V112""#), "{svg}");
    }

    #[test]
    fn words_are_escaped_and_a_bound_is_drawn_where_there_is_one() {
        let mut chart = chart(&[1, 1]);
        assert!(!chart.svg().contains("bound"));
        chart.bound = Some(0.5);
        let svg = chart.svg();
        assert!(svg.contains(r#"class="bound" d="M320 8V112""#), "{svg}");
        assert!(svg.contains("before &lt;b&gt;") && svg.contains("Before &amp; after"));
    }

    #[test]
    fn nothing_to_draw_is_nothing() {
        assert_eq!(chart(&[]).svg(), "");
    }
}
