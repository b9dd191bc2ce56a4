//! Seed and draw: the same for the service and for whoever redoes them.

use super::RoundError;
use super::frame::FrameUnit;
use super::plan::{SampleDesign, Sizes};
use crate::statistics::draw::{self, DrawnGroup, Group};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// One drawn unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawnUnit {
    pub group: String,
    /// From 1 in each group: the sample, then the reserve in the order of stepping in.
    pub place: u64,
    pub reserve: bool,
    /// SHA-256 of the seed's text followed by the unit's id, lower-case hex.
    pub hash: String,
    pub unit: String,
}

/// Columns of a draw's lines.
pub const DRAW_COLUMNS: [&str; 5] = ["group", "place", "standing", "hash", "unit"];

impl DrawnUnit {
    pub fn standing(&self) -> &'static str {
        if self.reserve { "reserve" } else { "sample" }
    }

    pub fn cells(&self) -> [String; 5] {
        [
            self.group.clone(),
            self.place.to_string(),
            self.standing().to_owned(),
            self.hash.clone(),
            self.unit.clone(),
        ]
    }
}

/// A whole draw: group after group, by the bytes of their names.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Draw {
    /// The drawn sites of a cluster design, in the order of the draw.
    pub clusters: Vec<String>,
    pub units: Vec<DrawnUnit>,
}

/// The seed: SHA-256 over root, line feed, words, line feed, in lower-case hex.
///
/// What `printf '%s\n%s\n' "$root" "$words" | sha256sum` prints.
pub fn seed(root: &str, words: &str) -> String {
    hex::encode(Sha256::digest(format!("{root}\n{words}\n").as_bytes()))
}

/// Draws by the text of `seed` what the frame's record promised.
pub fn draw(
    seed: &str,
    design: SampleDesign,
    sizes: &Sizes,
    frame: &[FrameUnit],
) -> Result<Draw, RoundError> {
    let mut groups: Vec<Group> = Vec::with_capacity(sizes.groups.len());
    for size in &sizes.groups {
        groups.push(Group {
            name: &size.name,
            units: Vec::new(),
            wanted: usize::try_from(size.sample).unwrap_or(usize::MAX),
        });
    }
    let places: BTreeMap<&str, usize> = groups
        .iter()
        .enumerate()
        .map(|(place, group)| (group.name, place))
        .collect();
    for unit in frame {
        let place = places.get(unit.group.as_str());
        let group = place.and_then(|place| groups.get_mut(*place));
        let group = group.ok_or_else(|| {
            RoundError::field("frame", format!("has the unknown group {:?}", unit.group))
        })?;
        group.units.push(&unit.unit);
    }
    let (clusters, drawn) = match (design, sizes.clusters) {
        (SampleDesign::Cluster, Some(wanted)) => {
            let wanted = usize::try_from(wanted).unwrap_or(usize::MAX);
            let drawn = draw::draw_clusters(seed.as_bytes(), &groups, wanted)?;
            let names = drawn.clusters.sample.into_iter().map(|ranked| ranked.unit);
            (names.collect(), drawn.units)
        }
        _ => (Vec::new(), draw::draw_strata(seed.as_bytes(), &groups)?),
    };
    let mut units: Vec<DrawnUnit> = drawn
        .into_iter()
        .flat_map(|group| {
            let reserve = sizes
                .groups
                .iter()
                .find(|size| size.name == group.name)
                .map_or(0, |size| size.reserve);
            units_of(group, reserve)
        })
        .collect();
    units.sort_by(|one, other| (&one.group, one.place).cmp(&(&other.group, other.place)));
    Ok(Draw { clusters, units })
}

fn units_of(group: DrawnGroup, reserve: u64) -> Vec<DrawnUnit> {
    let sample = group.drawn.sample.into_iter().map(|ranked| (ranked, false));
    let reserve = group
        .drawn
        .reserve
        .into_iter()
        .take(usize::try_from(reserve).unwrap_or(usize::MAX))
        .map(|ranked| (ranked, true));
    sample
        .chain(reserve)
        .zip(1..)
        .map(|((ranked, reserve), place)| DrawnUnit {
            group: group.name.clone(),
            place,
            reserve,
            hash: ranked.hash,
            unit: ranked.unit,
        })
        .collect()
}

/// The lines `hash  unit`, as `sha256sum` and `sort` leave them.
pub fn lines(units: &[DrawnUnit]) -> String {
    units
        .iter()
        .map(|unit| format!("{}  {}\n", unit.hash, unit.unit))
        .collect()
}

/// SHA-256 over [`lines`].
pub fn draw_hash(units: &[DrawnUnit]) -> String {
    hex::encode(Sha256::digest(lines(units).as_bytes()))
}
