//! Repeats of a measurement in one figure: median and spread.

use std::fmt;
use std::time::Duration;

/// Values of the repeats of one measurement.
#[derive(Debug, Clone)]
pub struct Repeats(Vec<f64>);

impl Repeats {
    pub fn of(values: impl IntoIterator<Item = f64>) -> Self {
        let mut values: Vec<f64> = values.into_iter().collect();
        values.sort_by(f64::total_cmp);
        Repeats(values)
    }

    pub fn count(&self) -> usize {
        self.0.len()
    }

    pub fn median(&self) -> f64 {
        let middle = self.0.len() / 2;
        match self.0.get(middle) {
            None => f64::NAN,
            Some(upper) if self.0.len() % 2 == 1 => *upper,
            Some(upper) => (self.0[middle - 1] + upper) / 2.0,
        }
    }

    /// Median and spread with a unit, `decimals` after the point.
    pub fn show(&self, unit: &str, decimals: usize) -> String {
        let part = |value: f64| grouped(value, decimals);
        let (Some(low), Some(high)) = (self.0.first(), self.0.last()) else {
            return "nothing measured".to_owned();
        };
        format!(
            "{:>9} {unit}  ({} to {})",
            part(self.median()),
            part(*low),
            part(*high)
        )
    }
}

/// One measured pair: the service and its reference in the same repeat.
#[derive(Debug, Clone, Copy)]
pub struct Pair {
    pub service: f64,
    pub reference: f64,
}

/// Service over reference, repeat by repeat.
pub fn ratios(pairs: &[Pair]) -> Repeats {
    Repeats::of(pairs.iter().map(|pair| pair.service / pair.reference))
}

/// Requests answered in one run of the load, with the time each one took.
#[derive(Debug)]
pub struct Answers {
    /// Sorted.
    latencies: Vec<Duration>,
    took: Duration,
}

impl Answers {
    pub fn new(mut latencies: Vec<Duration>, took: Duration) -> Self {
        latencies.sort_unstable();
        Answers { latencies, took }
    }

    pub fn per_second(&self) -> f64 {
        self.latencies.len() as f64 / self.took.as_secs_f64()
    }

    /// The latency that `percent` of the requests did not exceed, in milliseconds.
    pub fn percentile_ms(&self, percent: usize) -> f64 {
        let place = (self.latencies.len() * percent).div_ceil(100);
        self.latencies
            .get(place.saturating_sub(1))
            .map_or(f64::NAN, |latency| latency.as_secs_f64() * 1e3)
    }
}

/// A number with a space between its thousands.
pub fn grouped(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let (whole, rest) = text
        .find('.')
        .map_or((text.as_str(), ""), |point| text.split_at(point));
    let mut grouped = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place) % 3 == 0 {
            grouped.push(' ');
        }
        grouped.push(digit);
    }
    grouped + rest
}

/// A heading with what follows below it, line by line.
pub struct Section<'a> {
    pub title: &'a str,
    pub lines: Vec<(&'a str, String)>,
}

impl fmt::Display for Section<'_> {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(formatter, "{}", self.title)?;
        for (name, text) in &self.lines {
            writeln!(formatter, "  {name:<24} {text}")?;
        }
        Ok(())
    }
}
