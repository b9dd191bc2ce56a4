//! Stove tests of an invented laboratory: three burns of the open fire, and three of the
//! gasifier new, a year old and two years old.
//!
//! Efficiencies are drawn first, then the water that such a stove boils away. They are those
//! without the char's energy: the fuel counts in full, char left or not. Around 0.13 for the
//! fire and 0.30 for a gasifier that loses a little each year (usual ranges of such tests are
//! 0.10 to 0.18 and 0.25 to 0.40, MEMORY; a published pair is 0.126 and 0.35, SEEN as abstract).

use super::Seed;
use super::calendar::days_after;
use super::dice::{Dice, Purpose};
use super::kitchen::thousandths;
use super::programme::Round;
use rust_decimal::Decimal;
use std::io::{self, Write};

const REPLICATES: u64 = 3;
/// Heat that warms 1 kg of water by 1 K, J.
const WATER_HEAT: u64 = 4186;
/// Heat that boils 1 g of water away, J.
const BOILING_HEAT: u64 = 2260;
/// Heat that dries 1 g of water out of the fuel, J.
const DRYING_HEAT: u64 = 2443;

/// A stove on the bench.
struct Bench {
    device: &'static str,
    age: u64,
    fuel: &'static str,
    /// Net calorific value of the dry fuel, kJ/kg.
    fuel_heat: u64,
    /// Wet fuel of one burn, g.
    fuel_wet: u64,
    /// Efficiency without the char's energy, in ten-thousandths.
    efficiency: u64,
    /// Dry char left per dry fuel, in thousandths.
    char_left: u64,
    /// Net calorific value of the char, kJ/kg.
    char_heat: u64,
    minutes: u64,
    /// mg CO and mg PM2.5 per g of dry fuel, the second in hundredths.
    carbon_monoxide: u64,
    particulate: u64,
}

const FIRE: Bench = Bench {
    device: "three_stone_fire",
    age: 0,
    fuel: "wood",
    fuel_heat: 18_500,
    fuel_wet: 1_900,
    efficiency: 1_300,
    char_left: 35,
    char_heat: 28_000,
    minutes: 58,
    carbon_monoxide: 38,
    particulate: 260,
};

const fn gasifier(age: u64, efficiency: u64, particulate: u64) -> Bench {
    Bench {
        device: "gasifier",
        age,
        fuel: "coconut_husk",
        fuel_heat: 17_100,
        fuel_wet: 1_250,
        efficiency,
        char_left: 195,
        char_heat: 28_500,
        minutes: 63,
        carbon_monoxide: 17,
        particulate,
    }
}

const BENCHES: [Bench; 4] = [
    FIRE,
    gasifier(0, 3_150, 55),
    gasifier(1, 3_040, 60),
    gasifier(2, 2_930, 68),
];

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "test_code,laboratory,tested_on,device,stove_age_years,fuel,fuel_wet_kg,moisture_wb,\
         fuel_ncv_dry_mj_per_kg,char_left_dry_kg,char_ncv_mj_per_kg,water_start_kg,water_end_kg,\
         water_start_c,water_end_c,minutes,co_g,pm25_mg"
    )?;
    let mut dice = seed.dice(Purpose::StoveBench, 0);
    for (place, bench) in (0..).zip(&BENCHES) {
        for replicate in 0..REPLICATES {
            let test = place * REPLICATES + replicate + 1;
            writeln!(
                out,
                "ST-{test:03},LAB-A,{},{},{},{},{}",
                days_after(round.starts_on, test),
                bench.device,
                bench.age,
                bench.fuel,
                burn(&mut dice, bench),
            )?;
        }
    }
    Ok(())
}

/// Cells from the fuel's mass on.
fn burn(dice: &mut Dice, bench: &Bench) -> String {
    let fuel_wet = dice.between(bench.fuel_wet - 40, bench.fuel_wet + 40);
    let moisture = dice.bell(110, 6, 95, 125);
    let dry = fuel_wet * (1000 - moisture) / 1000;
    let char_left = dry * dice.bell(bench.char_left, 6, 20, 230) / 1000;
    let efficiency = dice.bell(bench.efficiency, 35, 1_220, 3_280);
    // Joules: g times kJ/kg; the water of the fuel leaves as steam.
    let fuel_heat = dry * bench.fuel_heat - (fuel_wet - dry) * DRYING_HEAT;
    let useful = fuel_heat * efficiency / 10_000;
    let water_start = dice.between(4_980, 5_020);
    let (start, end) = (dice.between(240, 268), dice.between(985, 993));
    let warming = water_start * WATER_HEAT / 1000 * (end - start) / 10;
    let boiled_away = useful.saturating_sub(warming) / BOILING_HEAT;
    let spread = dice.bell(1000, 70, 800, 1200);
    let cells = [
        thousandths(fuel_wet),
        thousandths(moisture),
        tenths(bench.fuel_heat / 100),
        thousandths(char_left),
        tenths(bench.char_heat / 100),
        thousandths(water_start),
        thousandths(water_start.saturating_sub(boiled_away)),
        tenths(start),
        tenths(end),
        Decimal::from(dice.bell(bench.minutes, 3, 40, 80)),
        tenths(dry * bench.carbon_monoxide * spread / 100_000),
        Decimal::from(dry * bench.particulate * dice.bell(1000, 90, 750, 1250) / 100_000),
    ];
    cells.map(|cell| cell.to_string()).join(",")
}

fn tenths(count: u64) -> Decimal {
    Decimal::new(i64::try_from(count).unwrap_or(i64::MAX), 1)
}
