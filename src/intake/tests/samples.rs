//! Baseline surveys, cooking tests, stove tests, char samples, moisture readings: what their
//! rows become, and what is refused.

use super::bad_cells::refused;
use super::{places, read_all};
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CookingTest, MoistureReading, People, StoveTest,
};
use crate::intake::{BatchKind, Row, row_from_texts};
use chrono::NaiveDate;
use rust_decimal::Decimal;

const SURVEY: BatchKind = BatchKind::BaselineSurvey;
const COOKING: BatchKind = BatchKind::CookingTest;
const STOVE: BatchKind = BatchKind::StoveTest;
const LAB: BatchKind = BatchKind::CharLab;
const READING: BatchKind = BatchKind::MoistureReading;

fn example(kind: BatchKind) -> Row {
    let template = kind.template();
    let examples = template.columns.iter().map(|column| column.example);
    row_from_texts(template, 2, examples).unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

#[test]
fn rows_of_households_become_their_types_field_by_field() {
    assert_eq!(
        BaselineSurveyAnswer::try_from(&example(SURVEY)),
        Ok(BaselineSurveyAnswer {
            household_code: "HH-0001".into(),
            surveyed_on: day("2022-09-14"),
            device: "three_stone_fire".into(),
            fuel: "wood".into(),
            fuel_wet_kg_per_day: decimal("4.5"),
            moisture_wb: decimal("0.14"),
            people: People {
                children_0_14: 3,
                women_over_14: 2,
                men_15_59: 1,
                men_over_59: 0,
            },
        })
    );
    assert_eq!(
        MoistureReading::try_from(&example(READING)),
        Ok(MoistureReading {
            household_code: "HH-0001".into(),
            measured_on: day("2025-06-17"),
            fuel: "coconut_husk".into(),
            moisture_wb: decimal("0.14"),
        })
    );
}

#[test]
fn rows_of_tests_and_samples_become_their_types_field_by_field() {
    assert_eq!(
        CookingTest::try_from(&example(COOKING)),
        Ok(CookingTest {
            test_code: "CT-001".into(),
            cook_code: "COOK-1".into(),
            tested_on: day("2025-02-11"),
            device: "gasifier".into(),
            dish: "bean_stew".into(),
            fuel: "coconut_husk".into(),
            fuel_wet_kg: decimal("1.24"),
            moisture_wb: decimal("0.14"),
            char_left_kg: decimal("0.21"),
            food_kg: decimal("3.05"),
            minutes: Some(decimal("72")),
        })
    );
    assert_eq!(
        StoveTest::try_from(&example(STOVE)),
        Ok(StoveTest {
            test_code: "ST-001".into(),
            laboratory: "LAB-1".into(),
            tested_on: day("2025-03-04"),
            device: "gasifier".into(),
            stove_age_years: 1,
            fuel: "coconut_husk".into(),
            fuel_wet_kg: decimal("1.24"),
            moisture_wb: decimal("0.14"),
            fuel_ncv_dry_mj_per_kg: decimal("17.1"),
            char_left_kg: decimal("0.21"),
            char_ncv_mj_per_kg: decimal("28.5"),
            water_start_kg: decimal("5.000"),
            water_end_kg: decimal("3.412"),
            water_start_c: decimal("25.4"),
            water_end_c: decimal("98.6"),
            minutes: decimal("61"),
            co_g: Some(decimal("18.4")),
            pm25_mg: Some(decimal("612")),
            safety_score: Some(decimal("88")),
            durability_score: Some(decimal("12")),
        })
    );
    assert_eq!(
        CharLabTest::try_from(&example(LAB)),
        Ok(CharLabTest {
            sample_code: "CS-001".into(),
            laboratory: "LAB-1".into(),
            sampled_on: day("2025-04-08"),
            feedstock: "coconut_husk".into(),
            carbon_total: decimal("0.784"),
            carbon_inorganic: decimal("0.006"),
            hydrogen: decimal("0.021"),
            ash: Some(decimal("0.075")),
        })
    );
}

/// Kind, column, its text, the code, and a part of the sentence.
#[rustfmt::skip] // one case a line reads as the table it is
const CELLS: &[(BatchKind, &str, &str, &str, &str)] = &[
    (SURVEY, "moisture_wb", "0.81", "moisture_basis", "M_wb = M_db / (1 + M_db)"),
    (SURVEY, "fuel_wet_kg_per_day", "501", "out_of_range", "0 to 500 (kg wet per day)"),
    (SURVEY, "surveyed_on", "14.09.2022", "date_format", "YYYY-MM-DD"),
    (COOKING, "cook_code", "Mama Asha", "not_a_code", "holds a space"),
    (COOKING, "cook_code", "", "missing_value", "must be filled"),
    (COOKING, "food_kg", "0", "out_of_range", "outside 0.001 to 100 (kg as cooked)"),
    (COOKING, "fuel_wet_kg", "0", "out_of_range", "outside 0.001 to 100 (kg wet)"),
    (COOKING, "fuel_wet_kg", "1240", "out_of_range", "outside 0.001 to 100 (kg wet)"),
    (COOKING, "minutes", "0", "out_of_range", "outside 0.1 to 1440 (minutes)"),
    (COOKING, "minutes", "-5", "out_of_range", "outside 0.1 to 1440 (minutes)"),
    (STOVE, "minutes", "", "missing_value", "must be filled"),
    (STOVE, "minutes", "0", "out_of_range", "outside 0.1 to 1440 (minutes)"),
    (STOVE, "stove_age_years", "1.5", "not_whole", "without decimals"),
    (STOVE, "stove_age_years", "-1", "out_of_range", "outside 0 to 50"),
    (STOVE, "moisture_wb", "14", "moisture_basis", "so that 14 means 0.14"),
    (STOVE, "fuel_ncv_dry_mj_per_kg", "17100", "out_of_range", "outside 5 to 50 (MJ/kg dry)"),
    (STOVE, "char_ncv_mj_per_kg", "41", "out_of_range", "outside 0 to 40 (MJ/kg dry)"),
    (STOVE, "water_start_kg", "5000", "out_of_range", "outside 0.001 to 100 (kg)"),
    (STOVE, "water_start_c", "-1", "out_of_range", "outside 0 to 101 (degree Celsius)"),
    (STOVE, "water_end_c", "210", "out_of_range", "outside 0 to 101 (degree Celsius)"),
    (STOVE, "co_g", "5001", "out_of_range", "outside 0 to 5000 (g)"),
    (STOVE, "safety_score", "100.01", "out_of_range", "outside 0 to 100 (points of 100)"),
    (STOVE, "durability_score", "-1", "out_of_range", "outside 0 to 100 (points of 100)"),
    (STOVE, "pm25_mg", "-0.1", "out_of_range", "outside 0 to 1000000 (mg)"),
    (LAB, "carbon_total", "78.4", "out_of_range", "78.4 percent is 0.784"),
    (LAB, "carbon_inorganic", "0.6", "out_of_range", "outside 0 to 0.15 (fraction of dry mass)"),
    (LAB, "hydrogen", "2.1", "out_of_range", "2.1 percent is 0.021"),
    (LAB, "hydrogen", "0.9", "out_of_range", "outside 0 to 0.1"),
    (LAB, "hydrogen", "", "missing_value", "must be filled"),
    (LAB, "ash", "1.01", "out_of_range", "1.01 percent is 0.0101"),
    (LAB, "feedstock", "lpg", "not_in_list", "pigeon_pea_stalk"),
    (READING, "moisture_wb", "0.800001", "moisture_basis", "from 0 to 0.8"),
    (READING, "moisture_wb", "-0.01", "out_of_range", "outside 0 to 0.8"),
    (READING, "fuel", "straw", "not_in_list", "crop_residue"),
];

#[test]
fn each_wrong_cell_is_answered_with_its_own_code_and_sentence() {
    for (kind, column, text, code, sentence) in CELLS {
        let found = refused(*kind, &[(column, text)]);
        let [(place, detail)] = found.as_slice() else {
            panic!("{kind} {column} {text:?}: {found:?}");
        };
        assert_eq!(*place, format!("9 {column} {code}"), "{text:?}");
        assert!(detail.contains(sentence), "{text:?}: {detail}");
    }
}

#[test]
fn cells_that_contradict_each_other_are_answered_with_a_sentence() {
    let one = |kind, changes: &[(&str, &'static str)], place: &str, sentence: &str| {
        assert_eq!(
            refused(kind, changes),
            [(place.to_owned(), sentence.to_owned())],
            "{kind}"
        );
    };
    let too_much_char = [
        ("fuel_wet_kg", "1.0"),
        ("moisture_wb", "0.2"),
        ("char_left_dry_kg", "0.81"),
    ];
    for kind in [COOKING, STOVE] {
        one(
            kind,
            &too_much_char,
            "9 char_left_dry_kg char_over_fuel",
            "0.81 kg of char are left of 0.8 kg of dry fuel: more than was burnt",
        );
    }
    one(
        STOVE,
        &[("char_ncv_mj_per_kg", "0")],
        "9 char_ncv_mj_per_kg char_heat_missing",
        "0.21 kg of char are left, so its calorific value is not 0",
    );
    one(
        STOVE,
        &[("water_end_kg", "5.001")],
        "9 water_end_kg water_grew",
        "5.001 kg are left of 5.000 kg: more water than there was",
    );
    one(
        STOVE,
        &[("water_end_c", "25.3")],
        "9 water_end_c water_cooled",
        "the water ends at 25.3 degrees, below the 25.4 it began with",
    );
    one(
        LAB,
        &[("carbon_total", "0.1"), ("carbon_inorganic", "0.11")],
        "9 carbon_inorganic parts_over_whole",
        "0.11 of the char is inorganic carbon, but all carbon is 0.1",
    );
    one(
        LAB,
        &[("carbon_total", "0.95"), ("hydrogen", "0.051")],
        "9 hydrogen parts_over_whole",
        "carbon 0.95 and hydrogen 0.051 are 1.001 of the char",
    );
    one(
        LAB,
        &[("carbon_total", "0.9"), ("ash", "0.2")],
        "9 carbon_total parts_over_whole",
        "organic carbon, hydrogen and ash add up to 1.115 of the dry char, which cannot be more than 1",
    );
}

#[test]
fn what_stands_on_a_bound_is_taken() {
    const TAKEN: &[(BatchKind, &[(&str, &str)])] = &[
        (SURVEY, &[("moisture_wb", "0.8")]),
        (SURVEY, &[("fuel_wet_kg_per_day", "0")]),
        (COOKING, &[("minutes", "")]),
        (COOKING, &[("minutes", "0.1"), ("char_left_dry_kg", "0")]),
        (
            COOKING,
            &[
                ("fuel_wet_kg", "1"),
                ("moisture_wb", "0.2"),
                ("char_left_dry_kg", "0.8"),
            ],
        ),
        (STOVE, &[("water_end_kg", "5.0")]),
        (STOVE, &[("water_end_c", "25.4"), ("stove_age_years", "0")]),
        (
            STOVE,
            &[("char_left_dry_kg", "0"), ("char_ncv_mj_per_kg", "0")],
        ),
        (STOVE, &[("co_g", ""), ("pm25_mg", "")]),
        (STOVE, &[("safety_score", "100"), ("durability_score", "0")]),
        (STOVE, &[("safety_score", ""), ("durability_score", "")]),
        (
            LAB,
            &[("carbon_total", "0.9"), ("carbon_inorganic", "0.15")],
        ),
        (
            LAB,
            &[("carbon_total", "0.9"), ("hydrogen", "0.1"), ("ash", "")],
        ),
        (READING, &[("moisture_wb", "0")]),
    ];
    for (kind, changes) in TAKEN {
        assert_eq!(refused(*kind, changes), [], "{kind} {changes:?}");
    }
}

/// The refusal of a header with one name in place of another.
fn renamed(kind: BatchKind, column: &str, name: &str) -> (String, String) {
    let names: Vec<&str> = kind
        .template()
        .columns
        .iter()
        .map(|own| if own.name == column { name } else { own.name })
        .collect();
    let (_, list) = read_all(kind, format!("{}\n", names.join(",")).as_bytes());
    assert!(!list.is_empty(), "{name} was taken");
    (places(&list).remove(0), list[0].detail.clone())
}

#[test]
fn names_without_their_unit_or_with_another_are_answered_with_the_right_one() {
    #[rustfmt::skip] // one case a line reads as the table it is
    const NAMES: &[(BatchKind, &str, &str, &str, &str)] = &[
        (SURVEY, "fuel_wet_kg_per_day", "fuel_kg_per_day", "unit_missing", "write `fuel_wet_kg_per_day`"),
        (COOKING, "char_left_dry_kg", "char_left", "unit_missing", "write `char_left_dry_kg` (kg dry)"),
        (COOKING, "food_kg", "food_g", "wrong_unit", "write `food_kg` (kg as cooked)"),
        (STOVE, "water_start_c", "water_start_f", "wrong_unit", "write `water_start_c` (degree Celsius)"),
        (STOVE, "fuel_ncv_dry_mj_per_kg", "fuel_ncv_kj_per_kg", "wrong_unit", "write `fuel_ncv_dry_mj_per_kg`"),
        (STOVE, "pm25_mg", "pm25", "unit_missing", "write `pm25_mg` (mg)"),
        (STOVE, "co_g", "co_mg", "wrong_unit", "write `co_g` (g)"),
        (READING, "moisture_wb", "moisture_db", "wrong_unit", "write `moisture_wb`"),
    ];
    for (kind, column, name, code, sentence) in NAMES {
        let (place, detail) = renamed(*kind, column, name);
        assert_eq!(place, format!("1 {name} {code}"), "{detail}");
        assert!(detail.contains(sentence), "{name}: {detail}");
    }
}

#[test]
fn a_cook_is_a_code_and_a_laboratory_may_have_a_name() {
    let (place, detail) = renamed(COOKING, "cook_code", "cook_name");
    assert_eq!(place, "1 cook_name personal_data", "{detail}");
    let (place, detail) = renamed(LAB, "laboratory", "laboratory_name");
    assert_eq!(place, "1 laboratory_name unknown_column", "{detail}");
}
