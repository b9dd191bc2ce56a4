//! Days that stoves were in service, and the years since installation they fall in.

use crate::accounting::evidence::Deployment;
use crate::accounting::inputs::Period;
use chrono::{Days, Months, NaiveDate};

/// `max(0, min(b, ended_on or b) - max(a, installed_on + grace))` for the period `a..b`.
///
/// A second stove of a household gives none: its household's days count once.
pub fn stove_days(deployment: &Deployment, period: &Period, grace_days: u32) -> u64 {
    service_in(deployment, period, grace_days).map_or(0, |(from, to)| days_between(from, to))
}

/// The same days, split by whole years since installation; bands without a day are left out.
///
/// A birthday is `installed_on` plus k times twelve months, cut to the length of the
/// month: a stove installed on 29 February turns on 28 February of a common year.
pub fn stove_days_by_age(
    deployment: &Deployment,
    period: &Period,
    grace_days: u32,
) -> Vec<(u32, u64)> {
    let Some((from, to)) = service_in(deployment, period, grace_days) else {
        return Vec::new();
    };
    let first = age_band(deployment.installed_on, from).unwrap_or(0);
    let mut bands = Vec::new();
    let mut at = from;
    // A calendar has fewer years than this loop has steps: it ends by itself.
    for band in first.. {
        let birthday = birthday(deployment.installed_on, band.saturating_add(1)).unwrap_or(to);
        let until = birthday.min(to);
        if at < until {
            bands.push((band, days_between(at, until)));
            at = until;
        }
        if until == to {
            break;
        }
    }
    bands
}

/// Whole years from `installed_on` to `on`; none before the installation.
pub fn age_band(installed_on: NaiveDate, on: NaiveDate) -> Option<u32> {
    if on < installed_on {
        return None;
    }
    let calendar_years = on.years_since(installed_on).unwrap_or(0);
    // `years_since` may let a 29 February turn a day later than `birthday` does.
    let turned = birthday(installed_on, calendar_years.saturating_add(1)).is_some_and(|b| b <= on);
    Some(calendar_years + u32::from(turned))
}

fn birthday(installed_on: NaiveDate, years: u32) -> Option<NaiveDate> {
    installed_on.checked_add_months(Months::new(years.checked_mul(12)?))
}

/// First day in service and the day after the last one, when there is any inside the period.
fn service_in(
    deployment: &Deployment,
    period: &Period,
    grace_days: u32,
) -> Option<(NaiveDate, NaiveDate)> {
    if deployment.second_stove {
        return None;
    }
    let ready = deployment
        .installed_on
        .checked_add_days(Days::new(u64::from(grace_days)))?;
    let from = period.starts_on.max(ready);
    let to = deployment
        .ended_on
        .map_or(period.ends_on, |end| end.min(period.ends_on));
    (from < to).then_some((from, to))
}

fn days_between(from: NaiveDate, to: NaiveDate) -> u64 {
    u64::try_from((to - from).num_days()).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn period(starts_on: &str, ends_on: &str) -> Period {
        Period {
            code: "p".into(),
            starts_on: day(starts_on),
            ends_on: day(ends_on),
        }
    }

    fn deployment(installed_on: &str, ended_on: Option<&str>) -> Deployment {
        Deployment {
            serial: "s1".into(),
            model_code: "m".into(),
            model_version: 1,
            household_code: "h1".into(),
            installed_on: day(installed_on),
            ended_on: ended_on.map(day),
            end_reason: None,
            second_stove: false,
        }
    }

    #[test]
    fn grace_and_end_cut_the_period() {
        let year = period("2025-01-01", "2026-01-01");
        assert_eq!(stove_days(&deployment("2024-06-01", None), &year, 7), 365);
        assert_eq!(stove_days(&deployment("2025-12-20", None), &year, 7), 5);
        assert_eq!(
            stove_days(&deployment("2024-06-01", Some("2025-02-01")), &year, 7),
            31
        );
        assert_eq!(stove_days(&deployment("2026-02-01", None), &year, 7), 0);
        assert_eq!(
            stove_days(&deployment("2024-06-01", Some("2024-07-01")), &year, 7),
            0
        );
    }

    #[test]
    fn a_second_stove_gives_no_days() {
        let mut second = deployment("2024-06-01", None);
        second.second_stove = true;
        let year = period("2025-01-01", "2026-01-01");
        assert_eq!(stove_days(&second, &year, 0), 0);
        assert!(stove_days_by_age(&second, &year, 0).is_empty());
    }

    #[test]
    fn a_birthday_inside_the_period_splits_the_days() {
        let year = period("2025-01-01", "2026-01-01");
        let bands = stove_days_by_age(&deployment("2024-03-01", None), &year, 0);
        assert_eq!(bands, [(0, 59), (1, 306)]);
    }

    /// PostgreSQL: `date '2024-02-29' + interval '1 year'` is 2025-02-28 (its documented
    /// clamping to the end of the month; MEMORY).
    #[test]
    fn a_leap_day_stove_turns_on_the_last_of_february() {
        let month = period("2025-02-01", "2025-03-11");
        let bands = stove_days_by_age(&deployment("2024-02-29", None), &month, 0);
        assert_eq!(bands, [(0, 27), (1, 11)]);
        assert_eq!(age_band(day("2024-02-29"), day("2025-02-27")), Some(0));
        assert_eq!(age_band(day("2024-02-29"), day("2025-02-28")), Some(1));
        assert_eq!(age_band(day("2024-02-29"), day("2028-02-28")), Some(3));
        assert_eq!(age_band(day("2024-02-29"), day("2028-02-29")), Some(4));
        assert_eq!(age_band(day("2024-02-29"), day("2024-02-28")), None);
    }

    #[test]
    fn the_ends_of_the_calendar_do_not_panic() {
        let mut last = deployment("2024-02-29", None);
        last.installed_on = NaiveDate::MAX;
        let year = period("2025-01-01", "2026-01-01");
        assert_eq!(stove_days(&last, &year, u32::MAX), 0);
        assert!(stove_days_by_age(&last, &year, 3).is_empty());
    }

    fn any_day() -> impl Strategy<Value = NaiveDate> {
        (0u64..5000).prop_map(|days| day("2015-01-01") + Days::new(days))
    }

    proptest! {
        #[test]
        fn splitting_a_period_in_two_sums_the_stove_days(
            installed in any_day(),
            lasts in proptest::option::of(0u64..3000),
            cuts in proptest::array::uniform3(any_day()),
            grace in 0u32..60,
        ) {
            let mut cuts = cuts;
            cuts.sort();
            let mut stove = deployment("2015-01-01", None);
            stove.installed_on = installed;
            stove.ended_on = lasts.map(|days| installed + Days::new(days));
            let part = |a: NaiveDate, b: NaiveDate| {
                Period { code: String::new(), starts_on: a, ends_on: b }
            };
            let whole = stove_days(&stove, &part(cuts[0], cuts[2]), grace);
            let first = stove_days(&stove, &part(cuts[0], cuts[1]), grace);
            let second = stove_days(&stove, &part(cuts[1], cuts[2]), grace);
            prop_assert_eq!(whole, first + second);
            let bands = stove_days_by_age(&stove, &part(cuts[0], cuts[2]), grace);
            prop_assert_eq!(whole, bands.iter().map(|(_, days)| days).sum::<u64>());
            prop_assert!(bands.windows(2).all(|pair| pair[0].0 + 1 == pair[1].0));
        }
    }
}
