//! Char samples of an invented laboratory: three of each feedstock.
//!
//! Carbon and ash are those of char from a small gasifier (carbon 0.75 to 0.90 and ash 0.02
//! to 0.10 of wood char, MEMORY; husk and stalk are drawn at the lower edge); hydrogen
//! follows from a molar ratio to organic carbon between 0.2 and 0.5.

use super::Seed;
use super::calendar::days_after;
use super::dice::Purpose;
use super::programme::Round;
use rust_decimal::Decimal;
use std::io::{self, Write};

const SAMPLES: u64 = 3;
/// Feedstock, total carbon and ash, in ten-thousandths of the dry char.
const FEEDSTOCKS: [(&str, u64, u64); 2] = [
    ("coconut_husk", 7_850, 760),
    ("pigeon_pea_stalk", 8_020, 560),
];
/// Mass of a mole of hydrogen and of carbon atoms, mg.
const HYDROGEN_MOLE: u64 = 1_008;
const CARBON_MOLE: u64 = 12_011;

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "sample_code,laboratory,sampled_on,feedstock,carbon_total,carbon_inorganic,hydrogen,ash"
    )?;
    let mut dice = seed.dice(Purpose::CharSample, 0);
    for (place, (feedstock, carbon, ash)) in (0..).zip(FEEDSTOCKS) {
        for replicate in 0..SAMPLES {
            let sample = place * SAMPLES + replicate + 1;
            let total = dice.bell(carbon, 130, 7_000, 8_900);
            let inorganic = dice.between(35, 95);
            let ratio = dice.bell(330, 45, 220, 480);
            let hydrogen = (total - inorganic) * ratio * HYDROGEN_MOLE / CARBON_MOLE / 1000;
            let ash = dice.bell(ash, 60, 300, 1_000);
            let parts = [total, inorganic, hydrogen, ash]
                .map(|part| Decimal::new(i64::try_from(part).unwrap_or(i64::MAX), 4).to_string());
            writeln!(
                out,
                "CS-{sample:03},LAB-B,{},{feedstock},{}",
                days_after(round.starts_on, dice.below(20)),
                parts.join(","),
            )?;
        }
    }
    Ok(())
}
