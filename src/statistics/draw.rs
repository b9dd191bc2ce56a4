//! The draw that anyone can repeat: each unit's place is the SHA-256 of the seed followed by its
//! id, and the smallest are drawn.
//!
//! With a shell, for a seed and one id on each line of a file:
//!
//! ```sh
//! while IFS= read -r id; do
//!     printf '%s  %s\n' "$(printf '%s%s' "$seed" "$id" | sha256sum | cut -d' ' -f1)" "$id"
//! done < frame.txt | LC_ALL=C sort | head -n "$wanted"
//! ```

use super::StatisticsError;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

/// One unit and its place in the order.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ranked {
    /// SHA-256 of seed and id, in lower-case hexadecimal.
    pub hash: String,
    pub unit: String,
}

/// A drawn sample, and who follows when one cannot be reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawn {
    /// The smallest hashes first.
    pub sample: Vec<Ranked>,
    /// All others, in the order in which they step in.
    pub reserve: Vec<Ranked>,
}

/// A stratum or a cluster, and the ids in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group<'a> {
    pub name: &'a str,
    pub units: Vec<&'a str>,
    /// Units to draw in it.
    pub wanted: usize,
}

/// The draw inside one stratum or cluster.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawnGroup {
    pub name: String,
    pub drawn: Drawn,
}

/// The draw of clusters, and of units in each drawn cluster, in the order of the draw.
///
/// A cluster that steps in from the reserve has its units drawn by the same rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawnClusters {
    pub clusters: Drawn,
    pub units: Vec<DrawnGroup>,
}

/// SHA-256 of the seed's bytes followed by the id's, in lower-case hexadecimal.
pub fn place(seed: &[u8], unit: &str) -> String {
    let mut hasher = Sha256::new();
    hasher.update(seed);
    hasher.update(unit.as_bytes());
    hex::encode(hasher.finalize())
}

/// Refuses ids that appear twice, that are empty, or that do not stand on one line.
fn check<'a>(units: impl IntoIterator<Item = &'a str>) -> Result<(), StatisticsError> {
    let mut seen = BTreeSet::new();
    for unit in units {
        if unit.is_empty() || unit.contains(['\n', '\r']) {
            return Err(StatisticsError::UnitId(unit.to_owned()));
        }
        if !seen.insert(unit) {
            return Err(StatisticsError::DuplicateUnit(unit.to_owned()));
        }
    }
    Ok(())
}

fn check_seed(seed: &[u8]) -> Result<(), StatisticsError> {
    if seed.is_empty() {
        return Err(StatisticsError::NoSeed);
    }
    Ok(())
}

fn ranked(seed: &[u8], units: &[&str], wanted: usize) -> Result<Drawn, StatisticsError> {
    if wanted > units.len() {
        return Err(StatisticsError::DrawTooLarge {
            wanted,
            found: units.len(),
        });
    }
    let mut sample: Vec<Ranked> = units
        .iter()
        .map(|unit| Ranked {
            hash: place(seed, unit),
            unit: (*unit).to_owned(),
        })
        .collect();
    sample.sort();
    let reserve = sample.split_off(wanted);
    Ok(Drawn { sample, reserve })
}

/// Draws `wanted` of `units`; the order in which they are given has no effect.
pub fn draw(seed: &[u8], units: &[&str], wanted: usize) -> Result<Drawn, StatisticsError> {
    check_seed(seed)?;
    check(units.iter().copied())?;
    ranked(seed, units, wanted)
}

fn check_groups(groups: &[Group]) -> Result<(), StatisticsError> {
    check(groups.iter().map(|group| group.name))?;
    check(groups.iter().flat_map(|group| group.units.iter().copied()))
}

fn draw_group(seed: &[u8], group: &Group) -> Result<DrawnGroup, StatisticsError> {
    Ok(DrawnGroup {
        name: group.name.to_owned(),
        drawn: ranked(seed, &group.units, group.wanted)?,
    })
}

/// Draws in each stratum what is wanted of it. A unit lies in one stratum only.
pub fn draw_strata(seed: &[u8], strata: &[Group]) -> Result<Vec<DrawnGroup>, StatisticsError> {
    check_seed(seed)?;
    check_groups(strata)?;
    strata
        .iter()
        .map(|stratum| draw_group(seed, stratum))
        .collect()
}

/// Draws `wanted` clusters by their names, then in each of them what is wanted of it.
pub fn draw_clusters(
    seed: &[u8],
    clusters: &[Group],
    wanted: usize,
) -> Result<DrawnClusters, StatisticsError> {
    check_seed(seed)?;
    check_groups(clusters)?;
    let names: Vec<&str> = clusters.iter().map(|cluster| cluster.name).collect();
    let drawn = ranked(seed, &names, wanted)?;
    let units = drawn
        .sample
        .iter()
        .filter_map(|first| clusters.iter().find(|cluster| cluster.name == first.unit))
        .map(|cluster| draw_group(seed, cluster))
        .collect::<Result<_, _>>()?;
    Ok(DrawnClusters {
        clusters: drawn,
        units,
    })
}

/// SHA-256 over the ids in the order of their bytes, each followed by a line feed, in
/// lower-case hexadecimal: what `LC_ALL=C sort frame.txt | sha256sum` prints.
pub fn frame_hash(units: &[&str]) -> Result<String, StatisticsError> {
    check(units.iter().copied())?;
    let sorted: BTreeSet<&str> = units.iter().copied().collect();
    let mut hasher = Sha256::new();
    for unit in sorted {
        hasher.update(unit.as_bytes());
        hasher.update(b"\n");
    }
    Ok(hex::encode(hasher.finalize()))
}

#[cfg(test)]
mod tests;
