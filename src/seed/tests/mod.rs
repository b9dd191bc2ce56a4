//! The seed: it can be made again to the byte, it keeps the rules of the register
//! and of the evidence, and it has the sizes that its read-me promises.

mod evidence;
mod register;
mod samples;

use super::{COMMITTED_SEED, Scale, Seed, SeedError, write_folder};
use crate::accounting::factor::FactorId;
use crate::accounting::library::supplied_methodologies;
use crate::seed::programme::ProgrammeFile;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::path::Path;

/// A row of a CSV file by column name.
type Row = BTreeMap<String, String>;

fn committed() -> Seed {
    Seed::new(Scale::default(), COMMITTED_SEED).expect("the default scale is usable")
}

fn content(seed: &Seed, name: &str) -> Vec<u8> {
    let files = seed.files();
    let file = files
        .iter()
        .find(|file| file.name == name)
        .expect("a file of the seed");
    let mut bytes = Vec::new();
    seed.write(file, &mut bytes).expect("memory takes it");
    bytes
}

fn rows(seed: &Seed, name: &str) -> Vec<Row> {
    csv::Reader::from_reader(content(seed, name).as_slice())
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("sound CSV")
}

fn date(row: &Row, column: &str) -> NaiveDate {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("{column} of {row:?}"))
}

fn number(row: &Row, column: &str) -> Decimal {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("{column} of {row:?}"))
}

fn programme(seed: &Seed) -> ProgrammeFile {
    serde_json::from_slice(&content(seed, "programme.json")).expect("a programme")
}

#[test]
fn making_the_seed_again_gives_the_committed_bytes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed");
    let seed = committed();
    for file in seed.files() {
        let kept = std::fs::read(folder.join(&file.name)).expect("a committed file");
        assert!(kept == content(&seed, &file.name), "{} differs", file.name);
    }
    let kept = std::fs::read_dir(&folder).expect("the folder").count();
    assert_eq!(
        kept,
        seed.files().len() + 1,
        "the files and the read-me, nothing else"
    );
}

#[test]
fn a_written_folder_holds_every_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let scale = Scale {
        deployments: 130,
        ..Scale::default()
    };
    let target = folder.path().join("fresh");
    write_folder(&target, &scale, 5).expect("a usable scale");
    let seed = Seed::new(scale, 5).expect("a usable scale");
    for file in seed.files() {
        let kept = std::fs::read(target.join(&file.name)).expect("a written file");
        assert!(kept == content(&seed, &file.name), "{}", file.name);
    }
}

#[test]
fn another_number_gives_another_programme_and_the_same_frame() {
    let other = Seed::new(Scale::default(), COMMITTED_SEED + 1).expect("a usable scale");
    let seed = committed();
    assert_ne!(
        content(&seed, "deployments.csv"),
        content(&other, "deployments.csv")
    );
    assert_eq!(
        content(&seed, "programme.json"),
        content(&other, "programme.json")
    );
}

#[test]
fn files_are_plain_text_with_the_agreed_header_rows() {
    let seed = committed();
    let weighing = "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,fuel_moisture_wb,\
                    char_wet_kg,char_moisture_wb,fate";
    let usage = "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals";
    let kitchen = "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                   stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,men_over_59";
    let headers = [
        (
            "households.csv",
            "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59",
        ),
        (
            "deployments.csv",
            "serial,model_code,model_version,household_code,installed_on,ended_on,end_reason,\
             second_stove",
        ),
        (
            "deployment-ends.csv",
            "serial,installed_on,ended_on,end_reason",
        ),
        ("usage-2024.csv", usage),
        ("usage-2025.csv", usage),
        ("kitchen-baseline.csv", kitchen),
        ("kitchen-project.csv", kitchen),
        ("char-weighings-2024.csv", weighing),
        ("char-weighings-2025.csv", weighing),
        (
            "baseline-survey.csv",
            "household_code,surveyed_on,device,fuel,fuel_wet_kg_per_day,moisture_wb,children_0_14,\
             women_over_14,men_15_59,men_over_59",
        ),
        (
            "cooking-tests.csv",
            "test_code,cook_code,tested_on,device,dish,fuel,fuel_wet_kg,moisture_wb,\
             char_left_dry_kg,food_kg,minutes",
        ),
        (
            "stove-tests.csv",
            "test_code,laboratory,tested_on,device,stove_age_years,fuel,fuel_wet_kg,moisture_wb,\
             fuel_ncv_dry_mj_per_kg,char_left_dry_kg,char_ncv_mj_per_kg,water_start_kg,\
             water_end_kg,water_start_c,water_end_c,minutes,co_g,pm25_mg",
        ),
        (
            "char-lab.csv",
            "sample_code,laboratory,sampled_on,feedstock,carbon_total,carbon_inorganic,hydrogen,ash",
        ),
        (
            "moisture-2025.csv",
            "household_code,measured_on,fuel,moisture_wb",
        ),
    ];
    assert_eq!(seed.files().len(), headers.len() + 1);
    for (name, header) in headers {
        let text = String::from_utf8(content(&seed, name)).expect("UTF-8");
        assert_eq!(text.lines().next(), Some(header), "{name}");
        assert!(
            text.is_ascii() && !text.contains(['\r', '"', ' ']),
            "{name}"
        );
        assert!(text.ends_with('\n') && !text.contains("\n\n"), "{name}");
    }
}

#[test]
fn the_programme_says_that_it_is_invented_and_names_its_rounds() {
    let seed = committed();
    let programme = programme(&seed);
    assert!(programme.note.contains("invented") && programme.name.contains("invented"));
    assert_eq!(programme.sites.len(), 3);
    let versions: Vec<u32> = programme
        .stove_models
        .iter()
        .map(|model| model.version)
        .collect();
    assert_eq!(versions, [1, 2]);
    assert!(programme.stove_models.iter().all(|model| model.char_making));
    assert_eq!(programme.period.starts_on.to_string(), "2025-01-01");
    assert_eq!(programme.period.ends_on.to_string(), "2026-01-01");
    let files: Vec<String> = seed.files().into_iter().map(|file| file.name).collect();
    for round in &programme.rounds {
        assert!(files.contains(&round.file), "{}", round.file);
        assert!(round.starts_on < round.ends_on && !round.design.is_empty());
    }
    let supplied = supplied_methodologies().expect("the files are sound");
    let known = |id: &FactorId| {
        supplied
            .iter()
            .any(|known| known.code == id.code && known.version == id.version)
    };
    assert!(known(&programme.methodology));
}

#[test]
fn a_scale_that_cannot_be_is_refused() {
    for scale in [
        Scale {
            deployments: 0,
            ..Scale::default()
        },
        Scale {
            years: 1,
            ..Scale::default()
        },
        Scale {
            years: 21,
            ..Scale::default()
        },
        Scale {
            first_year: 2089,
            ..Scale::default()
        },
        Scale {
            first_year: i32::MAX,
            ..Scale::default()
        },
    ] {
        assert!(
            matches!(Seed::new(scale.clone(), 1), Err(SeedError::Scale(_))),
            "{scale:?}"
        );
    }
}

#[test]
fn every_scale_keeps_the_rules() {
    for (deployments, first_year, years) in [(1, 2023, 3), (59, 2020, 2), (1501, 2019, 5)] {
        let scale = Scale {
            deployments,
            first_year,
            years,
            ..Scale::default()
        };
        let seed = Seed::new(scale, 99).expect("a usable scale");
        register::assert_rules(&seed);
        evidence::assert_rules(&seed);
        samples::assert_rules(&seed);
        let count = u64::try_from(rows(&seed, "deployments.csv").len()).expect("a count");
        assert_eq!(count, deployments);
    }
}
