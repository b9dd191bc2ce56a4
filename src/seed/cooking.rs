//! Controlled cooking tests: each of five cooks makes both dishes once on the open fire
//! and once in the gasifier, in the course of the round.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Dice, Purpose};
use super::kitchen::thousandths;
use super::programme::Round;
use std::io::{self, Write};

const COOKS: u64 = 5;

/// A device with its fuel, and what it leaves and takes.
struct Device {
    device: &'static str,
    fuel: &'static str,
    /// Dry char left per dry fuel, in thousandths: middle and spread.
    char_left: (u64, u64),
}

const FIRE: Device = Device {
    device: "three_stone_fire",
    fuel: "wood",
    char_left: (35, 8),
};
const GASIFIER: Device = Device {
    device: "gasifier",
    fuel: "coconut_husk",
    char_left: (195, 12),
};

/// A dish on a device: dry fuel in g per kg of food, minutes.
struct Task {
    dish: &'static str,
    /// Food as cooked, in g.
    food: u64,
    on: [(Device, u64, u64); 2],
}

const TASKS: [Task; 2] = [
    Task {
        dish: "bean_stew",
        food: 3200,
        on: [(FIRE, 640, 104), (GASIFIER, 300, 92)],
    },
    Task {
        dish: "boiled_rice",
        food: 2600,
        on: [(FIRE, 410, 41), (GASIFIER, 195, 37)],
    },
];

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "test_code,cook_code,tested_on,device,dish,fuel,fuel_wet_kg,moisture_wb,\
         char_left_dry_kg,food_kg,minutes"
    )?;
    let days = days_between(round.starts_on, round.ends_on).max(1);
    let mut test = 0;
    for cook in 1..=COOKS {
        let mut dice = seed.dice(Purpose::Cooking, cook);
        // A cook is a little more or less sparing, whatever the device.
        let sparing = dice.bell(1000, 60, 850, 1150);
        for task in &TASKS {
            for (device, fuel_per_kg, minutes) in &task.on {
                let day = days_after(round.starts_on, test % days);
                test += 1;
                let row = test_row(&mut dice, task, device, fuel_per_kg * sparing / 1000);
                writeln!(
                    out,
                    "CT-{test:03},COOK-{cook},{day},{},{},{},{row},{}",
                    device.device,
                    task.dish,
                    device.fuel,
                    dice.bell(*minutes, minutes / 12, minutes / 2, minutes * 2),
                )?;
            }
        }
    }
    Ok(())
}

/// Cells from the fuel's mass to the food's.
fn test_row(dice: &mut Dice, task: &Task, device: &Device, dry_per_kg: u64) -> String {
    let food = dice.bell(task.food, task.food / 25, task.food / 2, task.food * 2);
    let dry = dry_per_kg * dice.bell(1000, 70, 750, 1250) / 1000 * food / 1000;
    let moisture = dice.bell(132, 14, 100, 180);
    let (middle, spread) = device.char_left;
    let left = dry * dice.bell(middle, spread, middle / 2, middle * 3 / 2) / 1000;
    format!(
        "{},{},{},{}",
        thousandths(dry * 1000 / (1000 - moisture)),
        thousandths(moisture),
        thousandths(left),
        thousandths(food),
    )
}
