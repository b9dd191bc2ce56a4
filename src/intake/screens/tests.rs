//! Each screen on rows that it must flag and on rows that it must leave alone.

use super::*;
use crate::intake::CsvReader;

const PEOPLE: &str = "2,1,1,0";

fn rows(kind: BatchKind, columns: &str, lines: &[String]) -> Vec<Row> {
    let file = format!("{columns}\n{}\n", lines.join("\n"));
    let mut reader = CsvReader::open(kind.template(), file.as_bytes()).unwrap();
    let mut rows = Vec::new();
    while let Some(row) = reader.next_row() {
        rows.push(row.unwrap());
    }
    rows
}

fn usage(lines: &[String]) -> Vec<Row> {
    let columns = "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals,\
                   enumerator_code,started_at,ended_at";
    rows(BatchKind::UsageSurvey, columns, lines)
}

fn kitchen(lines: &[String]) -> Vec<Row> {
    let columns = "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                   stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,\
                   men_over_59,enumerator_code";
    rows(BatchKind::KitchenTest, columns, lines)
}

fn weighings(lines: &[String]) -> Vec<Row> {
    let columns = "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,fuel_moisture_wb,\
                   char_wet_kg,char_moisture_wb,fate";
    rows(BatchKind::CharWeighing, columns, lines)
}

/// Screen and places of every flag.
fn found(kind: BatchKind, rows: &[Row]) -> Vec<(Screen, Vec<usize>)> {
    let flags = screen(kind, rows, 0, None).unwrap();
    let place = |flag: Flag| (flag.screen, flag.lines);
    flags.into_iter().map(place).collect()
}

#[test]
fn a_household_asked_about_twice_is_flagged() {
    let visit =
        |household: &str, serial: &str| format!("{household},{serial},2025-09-10,in_use,7,0.5,,,");
    let asked = usage(&[
        visit("H-1", "S-1"),
        visit("H-2", "S-2"),
        visit("H-1", "S-3"),
    ]);
    let flags = found(BatchKind::UsageSurvey, &asked);
    assert_eq!(flags, [(Screen::DuplicateUnit, vec![0, 2])]);
    assert!(found(BatchKind::UsageSurvey, &asked[..2]).is_empty());
}

#[test]
fn a_day_of_one_answer_throughout_is_flagged() {
    let visits = |last: &str| -> Vec<Row> {
        let visit = |at: u32| {
            let share = if at == 6 { last } else { "0.5" };
            format!("H-{at},S-{at},2025-09-10,in_use,7,{share},EN-1,,")
        };
        usage(&(1..=6).map(visit).collect::<Vec<_>>())
    };
    let flags = screen(BatchKind::UsageSurvey, &visits("0.5"), 0, None).unwrap();
    assert_eq!(flags.len(), 1);
    assert_eq!(flags[0].screen, Screen::StraightLine);
    assert_eq!(flags[0].lines, [0, 1, 2, 3, 4, 5]);
    assert!(flags[0].sentence.contains("EN-1 on 2025-09-10"));
    assert!(found(BatchKind::UsageSurvey, &visits("0.6")).is_empty());
}

#[test]
fn visits_that_cannot_have_been_are_flagged() {
    let visit = |at: u32, start: &str, end: &str| {
        format!("H-{at},S-{at},2025-09-10,in_use,{at},0.{at},EN-1,2025-09-{start},2025-09-{end}")
    };
    let sound = [
        visit(1, "10T09:00", "10T09:30"),
        visit(2, "10T09:40", "10T09:45"),
    ];
    assert!(found(BatchKind::UsageSurvey, &usage(&sound)).is_empty());
    let hasty = usage(&[
        visit(1, "10T09:00", "10T09:30"),
        visit(2, "10T09:09", "10T09:13"),
        visit(3, "11T10:00", "11T10:30"),
    ]);
    let flags = screen(BatchKind::UsageSurvey, &hasty, 0, None).unwrap();
    let told: Vec<_> = flags.iter().map(|f| (f.screen, f.lines.clone())).collect();
    assert_eq!(
        told,
        [
            (Screen::Pace, vec![0, 1]),
            (Screen::BeyondLimits, vec![1]),
            (Screen::BeyondLimits, vec![2]),
        ]
    );
    assert!(
        flags[1].sentence.contains("length in minutes is 4"),
        "{flags:?}"
    );
    assert!(flags[2].sentence.contains("the number is 1"), "{flags:?}");
}

#[test]
fn rows_of_one_visit_are_one_visit() {
    let columns = "household_code,surveyed_on,device,fuel,fuel_wet_kg_per_day,moisture_wb,\
                   children_0_14,women_over_14,men_15_59,men_over_59,enumerator_code,started_at";
    let told = |fuel: &str, kg: &str| {
        format!("H-1,2022-09-14,three_stone_fire,{fuel},{kg},0.1,{PEOPLE},EN-1,2022-09-14T08:00")
    };
    let lines = [told("wood", "3.1"), told("prunings", "1.2")];
    let rows = rows(BatchKind::BaselineSurvey, columns, &lines);
    assert!(found(BatchKind::BaselineSurvey, &rows).is_empty());
}

#[test]
fn wet_fuel_is_flagged_in_a_gasifier_alone() {
    let day = |at: u32, device: &str, moisture: &str| {
        format!("H-{at},2025-05-10,{device},wood,5.{at},0,3,{moisture},{PEOPLE},")
    };
    let rows = kitchen(&[
        day(1, "gasifier", "0.20"),
        day(2, "gasifier", "0.21"),
        day(3, "three_stone_fire", "0.35"),
    ]);
    let flags = found(BatchKind::KitchenTest, &rows);
    assert_eq!(flags, [(Screen::BeyondLimits, vec![1])]);
}

/// 2 * 0.5 + 0.8 + 1.0 = 2.8 standard adults. Dry kg per adult and day 1.0 to 1.8 and 9.0: median
/// 1.45, median deviation 0.25, so that 3.5 * 1.4826 * 0.25 = 1.297 on both sides, by hand.
#[test]
fn fuel_far_from_that_of_other_kitchens_is_flagged_with_all_its_rows() {
    let day = |at: u32, fuel: &str, kg: &str| {
        format!("H-{at},2025-05-10,gasifier,{fuel},{kg},0,0,0,{PEOPLE},")
    };
    let mut lines: Vec<String> = (0..9)
        .map(|at| day(at, "wood", &format!("{:.2}", 2.8 + 0.28 * f64::from(at))))
        .collect();
    lines.push(day(9, "wood", "20.0"));
    lines.push(day(9, "coconut_husk", "5.2"));
    let flags = screen(BatchKind::KitchenTest, &kitchen(&lines), 0, None).unwrap();
    assert_eq!(flags.len(), 1);
    assert_eq!(flags[0].screen, Screen::ExtremeValue);
    assert_eq!(flags[0].lines, [9, 10]);
    assert!(
        flags[0]
            .sentence
            .contains("day is 9, outside of 0.1527 to 2.7473"),
        "{flags:?}"
    );
    assert!(found(BatchKind::KitchenTest, &kitchen(&lines[..9])).is_empty());
}

#[test]
fn weighings_that_one_enumerator_copied_are_flagged() {
    let day = |household: &str, start: &str, enumerator: &str| {
        format!("{household},2025-05-10,gasifier,wood,{start},1.30,3.25,0.14,{PEOPLE},{enumerator}")
    };
    let rows = kitchen(&[
        day("H-1", "5.41", "EN-1"),
        day("H-2", "5.41", "EN-2"),
        day("H-3", "5.17", "EN-1"),
        day("H-4", "5.41", ""),
        day("H-5", "5.41", ""),
    ]);
    // Seven of eight answers, 0.875, are above 0.85; rows of nobody named are not compared.
    let flags = found(BatchKind::KitchenTest, &rows);
    assert_eq!(flags, [(Screen::NearTwins, vec![0, 2])]);
}

#[test]
fn three_like_masses_are_flagged_unless_there_was_nothing() {
    let day = |at: u32, mass: &str| {
        format!("H-{at},2025-05-10,three_stone_fire,wood,{mass},{mass},{mass},0.1,{PEOPLE},")
    };
    let rows = kitchen(&[day(1, "5"), day(2, "0")]);
    let flags = found(BatchKind::KitchenTest, &rows);
    assert_eq!(flags, [(Screen::StraightLine, vec![0])]);
}

#[test]
fn char_beyond_its_bound_and_char_weighed_twice_are_flagged() {
    let weighing =
        |day: u32, char_kg: &str| format!("H-1,2025-05-{day},wood,10,0,{char_kg},0,soil");
    let rows = weighings(&[
        weighing(10, "3.0"),
        weighing(11, "3.1"),
        weighing(11, "2.2"),
    ]);
    let flags = found(BatchKind::CharWeighing, &rows);
    assert_eq!(
        flags,
        [
            (Screen::DuplicateUnit, vec![1, 2]),
            (Screen::BeyondLimits, vec![1]),
        ]
    );
    assert!(found(BatchKind::CharWeighing, &rows[..1]).is_empty());
}

#[test]
fn readings_that_end_in_one_digit_are_flagged() {
    let readings = |end: fn(u32) -> u32| -> Vec<Row> {
        let reading = |at: u32| format!("H-{at},2025-05-10,wood,0.1{}{}", at % 8, end(at));
        let columns = "household_code,measured_on,fuel,moisture_wb";
        let lines: Vec<String> = (0..60).map(reading).collect();
        rows(BatchKind::MoistureReading, columns, &lines)
    };
    let flags = found(BatchKind::MoistureReading, &readings(|_| 5));
    assert_eq!(flags, [(Screen::DigitHeaping, (0..60).collect())]);
    assert!(found(BatchKind::MoistureReading, &readings(|at| at % 10)).is_empty());
}

#[test]
fn a_dish_that_took_far_more_fuel_than_its_like_is_flagged() {
    let columns = "test_code,cook_code,tested_on,device,dish,fuel,fuel_wet_kg,moisture_wb,\
                   char_left_dry_kg,food_kg,minutes";
    let test = |at: u32, fuel: u32| {
        format!("CT-{at},C-1,2025-02-1{at},three_stone_fire,rice,wood,2.{fuel:02},0.1,0,4,")
    };
    let mut lines: Vec<String> = (0..8).map(|at| test(at, 10 * at)).collect();
    let clean = rows(BatchKind::CookingTest, columns, &lines);
    assert!(found(BatchKind::CookingTest, &clean).is_empty());
    lines.push("CT-9,C-1,2025-02-19,three_stone_fire,rice,wood,12,0.1,0,4,".into());
    let planted = rows(BatchKind::CookingTest, columns, &lines);
    let flags = found(BatchKind::CookingTest, &planted);
    assert_eq!(flags, [(Screen::ExtremeValue, vec![8])]);
}

#[test]
fn a_draw_knows_stoves_or_households_and_without_one_nobody_is_outside() {
    let visit = |at: u32| format!("H-{at},S-{at},2025-09-10,in_use,{at},0.{at},,,");
    let rows = usage(&[visit(1), visit(2), visit(3)]);
    let drawn: BTreeSet<&str> = ["S-1", "H-2"].into();
    let flags = screen(BatchKind::UsageSurvey, &rows, 0, Some(&drawn)).unwrap();
    assert_eq!(flags.len(), 1);
    assert_eq!(
        (flags[0].screen, flags[0].lines.as_slice()),
        (Screen::OutsideDraw, &[2][..])
    );
    assert!(found(BatchKind::UsageSurvey, &rows).is_empty());
}

#[test]
fn rows_that_came_before_are_company_and_many_flags_are_gathered() {
    let day = |at: u32| format!("H-{at},2025-05-10,gasifier,wood,5,1.{at},3,0.3,{PEOPLE},");
    let rows = kitchen(&(0..60).map(day).collect::<Vec<_>>());
    let flags = |new_from| -> Vec<Vec<usize>> {
        let flags = screen(BatchKind::KitchenTest, &rows, new_from, None).unwrap();
        let wet = flags
            .into_iter()
            .filter(|flag| flag.screen == Screen::BeyondLimits);
        wet.map(|flag| flag.lines).collect()
    };
    assert_eq!(flags(58), [[58], [59]]);
    let all = flags(0);
    assert_eq!(all.len(), FLAGS_A_SCREEN + 1);
    assert_eq!(all[FLAGS_A_SCREEN], (50..60).collect::<Vec<_>>());
}

#[test]
fn a_row_without_the_later_columns_hashes_as_it_did_before_them() {
    let first = "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals";
    let line = "H-1,S-1,2025-09-10,in_use,7,".to_owned();
    let short = rows(BatchKind::UsageSurvey, first, std::slice::from_ref(&line));
    let empty = usage(&[format!("{line},,,")]);
    let filled = usage(&[format!("{line},EN-1,2025-09-10T09:00,")]);
    let text = |row: &Row| row.to_json(BatchKind::UsageSurvey.template()).to_string();
    assert_eq!(
        text(&short[0]),
        r#"{"days_used_last_week":"7","household_code":"H-1","outcome":"in_use","serial":"S-1","share_of_meals":null,"surveyed_on":"2025-09-10"}"#
    );
    assert_eq!(text(&empty[0]), text(&short[0]));
    assert!(text(&filled[0]).contains(r#""started_at":"2025-09-10T09:00""#));
    assert!(!text(&filled[0]).contains("ended_at"));
}
