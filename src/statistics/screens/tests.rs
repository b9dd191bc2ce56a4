//! Each screen on rows that it must flag and rows that it must leave alone; statistics against R.

use super::values::{bounds, ordered_quantile};
use super::*;
use crate::statistics::tests::{
    agrees,
    survey::{expected, schools},
};
use std::collections::BTreeSet;

fn number(written: &str) -> Cell {
    Cell::Number {
        value: written.parse().unwrap(),
        written: written.to_owned(),
    }
}

fn row(line: usize, unit: &str, enumerator: &str, answers: &[(&str, Cell)]) -> Observation {
    Observation {
        line,
        unit: unit.to_owned(),
        enumerator: Some(enumerator.to_owned()),
        at: None,
        answers: answers
            .iter()
            .map(|(question, cell)| ((*question).to_owned(), cell.clone()))
            .collect(),
    }
}

fn lines(flags: &[Flag]) -> Vec<&[usize]> {
    flags.iter().map(|flag| flag.lines.as_slice()).collect()
}

/// The pupils of R's data set `apisrs`, one row for each school.
fn enrolment() -> Vec<Observation> {
    schools()
        .iter()
        .enumerate()
        .map(|(at, school)| {
            let pupils = number(&school[2].to_string());
            row(at + 2, &format!("S{at}"), "Ana", &[("pupils", pupils)])
        })
        .collect()
}

#[test]
fn a_unit_with_two_rows_is_flagged_once_with_both_lines() {
    let rows = [
        row(2, "A", "Ana", &[]),
        row(3, "B", "Ana", &[]),
        row(4, "A", "Ben", &[]),
    ];
    let flags = duplicate_units(&rows);
    assert_eq!(lines(&flags), [[2, 4]]);
    assert_eq!(
        flags[0].sentence,
        "Unit A has 2 rows, where one is expected."
    );
}

#[test]
fn nearly_the_same_rows_of_one_enumerator_are_flagged() {
    let answers = |last: &str| -> Vec<(&'static str, Cell)> {
        vec![
            ("people", number("5")),
            ("fuel", Cell::Text("husk".to_owned())),
            ("meals", number("2")),
            ("weight", number(last)),
        ]
    };
    let rule = NearTwins {
        share: 0.75,
        at_least: 4,
    };
    let rows = [
        row(2, "A", "Ana", &answers("4.1")),
        row(3, "B", "Ben", &answers("4.1")),
        row(4, "C", "Ana", &answers("3.9")),
        row(5, "D", "Ana", &answers("3.90")),
        row(6, "E", "Ana", &answers("1")[..3]),
    ];
    let flags = near_twins(&rows, rule);
    assert_eq!(lines(&flags), [[2, 4], [4, 5]]);
    assert!(flags[0].sentence.contains("3 of 4 questions"));
    assert!(flags[1].sentence.contains("4 of 4 questions"));
    let strict = NearTwins {
        share: 0.76,
        ..rule
    };
    assert_eq!(lines(&near_twins(&rows, strict)), [[4, 5]]);
}

#[test]
fn one_answer_to_a_whole_list_is_flagged() {
    let list = ["a", "b", "c"];
    let of = |cells: [&str; 3]| list.into_iter().zip(cells.map(number)).collect::<Vec<_>>();
    let rows = [
        row(2, "A", "Ana", &of(["3", "3", "3"])),
        row(3, "B", "Ana", &of(["3", "3", "4"])),
        row(4, "C", "Ana", &of(["3", "3", "3"])[..2]),
    ];
    let flags = straight_lines(&rows, &list, 3);
    assert_eq!(lines(&flags), [[2]]);
    assert!(flags[0].sentence.contains("All 3 questions"));
}

/// Chi-squared of R (`chisq.test`, `tests/reference/survey.R`): 10.6, p 0.304 on `apisrs`.
#[test]
fn last_digits_are_judged_as_by_r() {
    let rows = enrolment();
    let probability = expected("apisrs", "enroll.digit_p");
    let rule = |probability| Heaping {
        at_least: 50,
        probability,
    };
    let judged = |limit| digit_heaping(&rows, &["pupils"], rule(limit)).unwrap();
    assert!(judged(probability - 1e-9).is_empty());
    let flags = judged(probability + 1e-9);
    assert_eq!(flags.len(), 1);
    let statistic = expected("apisrs", "enroll.digit_chi_squared");
    let told = format!("chi-squared {statistic:.1}, probability 3.0e-1");
    assert!(flags[0].sentence.contains(&told), "{}", flags[0].sentence);
}

/// 25 each of 0 and 5 where 5 of each digit are even: chi-squared 2 * 20^2 / 5 + 8 * 5 = 200 by hand.
#[test]
fn weights_read_to_the_nearest_half_kilogram_are_heaped() {
    let rows: Vec<Observation> = (0..50)
        .map(|at| {
            let written = format!("{}.{}", at, if at % 2 == 0 { "0" } else { "5" });
            row(
                at + 2,
                &format!("U{at}"),
                "Ben",
                &[("kg", number(&written))],
            )
        })
        .collect();
    let rule = Heaping {
        at_least: 50,
        probability: 0.001,
    };
    let flags = digit_heaping(&rows, &["kg"], rule).unwrap();
    assert_eq!(flags.len(), 1);
    assert_eq!(flags[0].lines.len(), 25);
    assert_eq!(flags[0].lines[..2], [2, 4]);
    assert!(flags[0].sentence.contains("chi-squared 200.0"));
    assert!(digit_heaping(&rows[1..], &["kg"], rule).unwrap().is_empty());
}

#[test]
fn visits_too_soon_and_too_many_are_flagged() {
    let at = |line, minutes| Observation {
        at: Some(minutes),
        ..row(line, &format!("U{line}"), "Ana", &[])
    };
    let nobody = Observation {
        enumerator: None,
        ..at(9, 601)
    };
    let rows = [at(2, 600), at(4, 700), at(3, 605), at(5, 1440), nobody];
    let rule = Pace {
        fewest_minutes_between: 10,
        most_a_day: 2,
    };
    let flags = pace(&rows, rule);
    assert_eq!(lines(&flags), [&[2, 3][..], &[2, 3, 4]]);
    assert!(flags[0].sentence.contains("5 minutes apart"));
    assert!(flags[1].sentence.contains("3 visits on one day"));
}

#[test]
fn values_on_a_limit_are_within_it() {
    let limit = Limit {
        question: "kg".to_owned(),
        lower: 0.0,
        upper: 60.0,
    };
    let of = |line, written| row(line, "U", "Ana", &[("kg", number(written))]);
    let rows = [of(2, "0"), of(3, "60"), of(4, "60.1"), of(5, "-1")];
    let flags = beyond_limits(&rows, &[limit]);
    assert_eq!(lines(&flags), [[4], [5]]);
    assert_eq!(flags[0].sentence, "kg is 60.1, outside of 0 to 60.");
}

/// Medians, deviations and quartiles of R (`mad`, `quantile`; `tests/reference/survey.R`).
#[test]
fn extreme_values_are_those_of_r() {
    let rows = enrolment();
    let found = |quantity: &str| expected("apisrs", &format!("enroll.{quantity}"));
    let mut pupils: Vec<f64> = schools().iter().map(|school| school[2]).collect();
    pupils.sort_by(f64::total_cmp);
    for (name, probability) in [
        ("median", 0.5),
        ("lower_quartile", 0.25),
        ("upper_quartile", 0.75),
    ] {
        let quantile = ordered_quantile(&pupils, probability).unwrap();
        agrees(name, quantile, found(name), 1e-12);
    }
    let (lower, upper, _) = bounds(&pupils, ExtremeRule::MedianDeviations(1.0)).unwrap();
    agrees("mad", (upper - lower) / 2.0, found("mad"), 1e-12);
    let deviations = extreme_values(&rows, "pupils", ExtremeRule::MedianDeviations(3.5));
    assert_eq!(deviations.len() as f64, found("beyond_3.5_mad"));
    let quartiles = extreme_values(&rows, "pupils", ExtremeRule::Quartiles(1.5));
    assert_eq!(quartiles.len() as f64, found("beyond_quartiles"));
    assert!(quartiles[0].sentence.contains("339 and 668.5"));
}

#[test]
fn values_without_spread_or_company_are_not_judged() {
    let of = |line, written| row(line, "U", "Ana", &[("kg", number(written))]);
    let mut rows: Vec<Observation> = (2..12).map(|line| of(line, "3")).collect();
    rows.push(of(12, "900"));
    let rule = ExtremeRule::MedianDeviations(3.5);
    assert!(extreme_values(&rows, "kg", rule).is_empty());
    let few = [of(2, "1"), of(3, "2"), of(4, "3"), of(5, "900")];
    assert!(extreme_values(&few, "kg", rule).is_empty());
}

#[test]
fn units_that_were_not_drawn_are_flagged() {
    let drawn: BTreeSet<&str> = ["A", "B"].into();
    let rows = [row(2, "A", "Ana", &[]), row(3, "X", "Ana", &[])];
    let flags = outside_draw(&rows, &drawn);
    assert_eq!(lines(&flags), [[3]]);
    assert_eq!(flags[0].screen, Screen::OutsideDraw);
}
