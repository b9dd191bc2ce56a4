//! A value with its interval, and a share, each as one small bar.

use super::coordinate;

/// A value and the bounds of its interval, all in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub lower: f64,
    pub value: f64,
    pub upper: f64,
}

const WIDTH: f64 = 160.0;
const HEIGHT: f64 = 18.0;
const MARGIN: f64 = 5.0;

/// Draws the interval as a band and the value as a point, on a line that holds zero.
///
/// `claim` sets a mark where the claim was taken. The numbers stand beside the bar in
/// words, so it is hidden from readers that speak the page.
pub fn interval_bar(interval: Interval, claim: Option<f64>) -> String {
    let ends = [
        0.0,
        interval.lower,
        interval.value,
        interval.upper,
        claim.unwrap_or(0.0),
    ];
    let least = ends.iter().copied().fold(f64::INFINITY, f64::min);
    let most = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let span = if most > least { most - least } else { 1.0 };
    let at = |value: f64| MARGIN + (value - least) / span * (WIDTH - 2.0 * MARGIN);
    let (from, to) = (at(interval.lower), at(interval.upper));
    let mark = claim.map_or_else(String::new, |claim| {
        let x = at(claim);
        format!(
            r#"<path class="mark" d="M{} 0h6l-3 5z"/>"#,
            coordinate(x - 3.0)
        )
    });
    format!(
        concat!(
            r#"<svg class="interval" viewBox="0 0 {width} {height}" aria-hidden="true" "#,
            r#"focusable="false"><path class="axis" d="M{start} 10H{end}M{zero} 4v12"/>"#,
            r#"<rect class="band" x="{x}" y="7" width="{band}" height="6"/>"#,
            r#"<circle class="point" cx="{point}" cy="10" r="3.5"/>{mark}</svg>"#
        ),
        width = coordinate(WIDTH),
        height = coordinate(HEIGHT),
        start = coordinate(MARGIN),
        end = coordinate(WIDTH - MARGIN),
        zero = coordinate(at(0.0)),
        x = coordinate(from),
        band = coordinate((to - from).max(0.0)),
        point = coordinate(at(interval.value)),
        mark = mark,
    )
}

/// Draws a share between 0 and 1 as the filled part of a bar.
pub fn share_bar(share: f64) -> String {
    let share = if share.is_finite() {
        share.clamp(0.0, 1.0)
    } else {
        0.0
    };
    format!(
        concat!(
            r#"<svg class="share" viewBox="0 0 100 8" preserveAspectRatio="none" "#,
            r#"aria-hidden="true" focusable="false"><rect class="track" width="100" height="8"/>"#,
            r#"<rect class="part" width="{}" height="8"/></svg>"#
        ),
        coordinate(share * 100.0)
    )
}

/// Draws one step of a waterfall: a bar from one running total to the next, on a line from
/// `least` to `most`. A bar that stands on zero is a total.
pub fn step_bar(from: f64, to: f64, least: f64, most: f64) -> String {
    let least = least.min(0.0);
    let span = if most > least { most - least } else { 1.0 };
    let at = |value: f64| MARGIN + (value - least) / span * (WIDTH - 2.0 * MARGIN);
    let (left, right) = (at(from.min(to)), at(from.max(to)));
    let class = if from == 0.0 { "whole" } else { "taken" };
    format!(
        concat!(
            r#"<svg class="interval" viewBox="0 0 {width} {height}" aria-hidden="true" "#,
            r#"focusable="false"><path class="axis" d="M{zero} 1v16"/>"#,
            r#"<rect class="{class}" x="{x}" y="4" width="{bar}" height="10"/></svg>"#
        ),
        width = coordinate(WIDTH),
        height = coordinate(HEIGHT),
        zero = coordinate(at(0.0)),
        class = class,
        x = coordinate(left),
        bar = coordinate((right - left).max(1.0)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(lower: f64, value: f64, upper: f64, claim: Option<f64>) -> String {
        interval_bar(
            Interval {
                lower,
                value,
                upper,
            },
            claim,
        )
    }

    #[test]
    fn a_positive_interval_is_drawn_from_zero_to_its_upper_bound() {
        let svg = bar(50.0, 75.0, 100.0, None);
        assert!(svg.contains("M5 10H155M5 4v12"), "{svg}");
        assert!(svg.contains(r#"x="80" y="7" width="75""#), "{svg}");
        assert!(svg.contains(r#"cx="117.5""#), "{svg}");
        assert!(!svg.contains("mark"), "{svg}");
    }

    #[test]
    fn an_interval_across_zero_shows_zero_inside() {
        let svg = bar(-100.0, 0.0, 100.0, None);
        assert!(svg.contains("M80 4v12"), "{svg}");
        assert!(svg.contains(r#"x="5" y="7" width="150""#), "{svg}");
    }

    #[test]
    fn the_claim_is_marked_where_it_was_taken() {
        let svg = bar(50.0, 75.0, 100.0, Some(50.0));
        assert!(svg.contains("M77 0h6l-3 5z"), "{svg}");
    }

    #[test]
    fn all_zero_is_still_a_drawing() {
        let svg = bar(0.0, 0.0, 0.0, None);
        assert!(svg.contains(r#"cx="5""#) && !svg.contains("NaN"), "{svg}");
    }

    #[test]
    fn a_step_hangs_between_two_running_totals_and_a_total_stands_on_zero() {
        let step = step_bar(100.0, 75.0, 0.0, 100.0);
        assert!(
            step.contains(r#"class="taken" x="117.5" y="4" width="37.5""#),
            "{step}"
        );
        let total = step_bar(0.0, 75.0, 0.0, 100.0);
        assert!(
            total.contains(r#"class="whole" x="5" y="4" width="112.5""#),
            "{total}"
        );
        assert!(!step_bar(0.0, 0.0, 0.0, 0.0).contains("NaN"));
    }

    #[test]
    fn shares_stay_inside_their_bar() {
        assert!(share_bar(0.542).contains(r#"class="part" width="54.2""#));
        assert!(share_bar(1.7).contains(r#"class="part" width="100""#));
        assert!(share_bar(f64::NAN).contains(r#"class="part" width="0""#));
    }
}
