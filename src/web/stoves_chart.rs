//! Stoves in service over time: the chart, its legend and the numbers behind it.

use super::words;
use crate::report::charts::{Series, StackedColumns};
use crate::service::overview::InService;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// What the columns are stacked by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    Model,
    Site,
}

impl By {
    pub fn word(self) -> &'static str {
        match self {
            By::Model => "model",
            By::Site => "site",
        }
    }

    fn key(self, row: &InService) -> &str {
        match self {
            By::Model => &row.model,
            By::Site => &row.site,
        }
    }
}

pub(super) struct LegendLine {
    pub colour: String,
    pub name: String,
}

pub(super) struct MonthLine {
    pub month: NaiveDate,
    /// In the order of the legend.
    pub counts: Vec<String>,
    pub total: String,
}

pub(super) struct StovesChart {
    pub svg: String,
    pub legend: Vec<LegendLine>,
    pub months: Vec<MonthLine>,
    /// `model` or `site`.
    pub by: &'static str,
}

/// Lays out the counts; `names` gives sites their names.
pub(super) fn chart(
    rows: &[InService],
    by: By,
    names: &BTreeMap<String, String>,
) -> Option<StovesChart> {
    let days: Vec<NaiveDate> = rows
        .iter()
        .map(|row| row.on)
        .collect::<BTreeSet<_>>()
        .into_iter()
        .collect();
    let (first, last) = (days.first()?, days.last()?);
    let mut counts: BTreeMap<&str, BTreeMap<NaiveDate, u64>> = BTreeMap::new();
    for row in rows {
        let sum = counts
            .entry(by.key(row))
            .or_default()
            .entry(row.on)
            .or_default();
        *sum = sum.saturating_add(row.stoves);
    }
    let at = |of: &BTreeMap<NaiveDate, u64>, day| of.get(day).copied().unwrap_or(0);
    let name = |key: &str| names.get(key).cloned().unwrap_or_else(|| key.to_owned());
    let total = |day| {
        counts
            .values()
            .map(|of| at(of, day))
            .fold(0, u64::saturating_add)
    };
    let drawing = StackedColumns {
        id: "stoves".into(),
        title: format!("Stoves in service by {}", by.word()),
        description: format!(
            "Columns at the first of each month from {first} to {last}; the last one stands at {} \
             stoves.",
            words::count(total(last))
        ),
        unit: "stoves in service".into(),
        time: "first of each month".into(),
        series: counts
            .iter()
            .map(|(key, of)| Series {
                name: name(key),
                counts: days.iter().map(|day| at(of, day)).collect(),
            })
            .collect(),
        days: days.clone(),
    };
    Some(StovesChart {
        svg: drawing.svg(),
        legend: counts
            .keys()
            .enumerate()
            .map(|(index, key)| LegendLine {
                colour: StackedColumns::colour(index),
                name: name(key),
            })
            .collect(),
        months: days
            .iter()
            .rev()
            .map(|day| MonthLine {
                month: *day,
                counts: counts
                    .values()
                    .map(|of| words::count(at(of, day)))
                    .collect(),
                total: words::count(total(day)),
            })
            .collect(),
        by: by.word(),
    })
}

/// Stoves in service on the last day of the chart: sites down, models across.
pub(super) struct Standing {
    pub on: NaiveDate,
    pub models: Vec<String>,
    pub sites: Vec<SiteLine>,
    pub totals: Vec<String>,
    pub total: String,
}

pub(super) struct SiteLine {
    pub site: String,
    pub counts: Vec<String>,
    pub total: String,
}

pub(super) fn standing(rows: &[InService], names: &BTreeMap<String, String>) -> Option<Standing> {
    let on = rows.iter().map(|row| row.on).max()?;
    let now: Vec<&InService> = rows.iter().filter(|row| row.on == on).collect();
    let models: BTreeSet<&str> = now.iter().map(|row| row.model.as_str()).collect();
    let sites: BTreeSet<&str> = now.iter().map(|row| row.site.as_str()).collect();
    let sum = |model: Option<&str>, site: Option<&str>| {
        words::count(
            now.iter()
                .filter(|row| model.is_none_or(|model| row.model == model))
                .filter(|row| site.is_none_or(|site| row.site == site))
                .map(|row| row.stoves)
                .fold(0, u64::saturating_add),
        )
    };
    Some(Standing {
        on,
        sites: sites
            .iter()
            .map(|site| SiteLine {
                site: names
                    .get(*site)
                    .cloned()
                    .unwrap_or_else(|| (*site).to_owned()),
                counts: models
                    .iter()
                    .map(|model| sum(Some(model), Some(site)))
                    .collect(),
                total: sum(None, Some(site)),
            })
            .collect(),
        totals: models.iter().map(|model| sum(Some(model), None)).collect(),
        total: sum(None, None),
        models: models.into_iter().map(str::to_owned).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> Vec<InService> {
        let row = |on: &str, model: &str, site: &str, stoves| InService {
            on: on.parse().unwrap(),
            model: model.into(),
            site: site.into(),
            stoves,
        };
        vec![
            row("2025-01-01", "HB 1", "NORTH", 4),
            row("2025-02-01", "HB 1", "NORTH", 3),
            row("2025-02-01", "HB 1", "HILL", 2),
            row("2025-02-01", "HB 2", "HILL", 1_000),
        ]
    }

    #[test]
    fn months_run_backwards_with_a_count_for_every_part_of_the_legend() {
        let chart = chart(&rows(), By::Model, &BTreeMap::new()).unwrap();
        assert_eq!(chart.legend.len(), 2);
        assert_eq!(chart.months[0].counts, ["5", "1\u{2009}000"]);
        assert_eq!(chart.months[0].total, "1\u{2009}005");
        assert_eq!(chart.months[1].counts, ["4", "0"]);
    }

    #[test]
    fn sites_are_shown_by_name() {
        let names = BTreeMap::from([("HILL".to_owned(), "Hill Gardens".to_owned())]);
        let chart = chart(&rows(), By::Site, &names).unwrap();
        assert_eq!(chart.legend[0].name, "Hill Gardens");
        assert_eq!(chart.legend[1].name, "NORTH");
    }

    #[test]
    fn the_standing_adds_up_both_ways() {
        let standing = standing(&rows(), &BTreeMap::new()).unwrap();
        assert_eq!(standing.on.to_string(), "2025-02-01");
        assert_eq!(standing.sites[0].counts, ["2", "1\u{2009}000"]);
        assert_eq!(standing.totals, ["5", "1\u{2009}000"]);
        assert_eq!(standing.total, "1\u{2009}005");
    }

    #[test]
    fn an_empty_register_has_no_chart() {
        assert!(chart(&[], By::Model, &BTreeMap::new()).is_none());
        assert!(standing(&[], &BTreeMap::new()).is_none());
    }
}
