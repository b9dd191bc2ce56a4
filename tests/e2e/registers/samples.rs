//! Invented baseline surveys, tests and char samples: sent in two batches each, and what SQL
//! and the rows make of them.

use super::invented::{Taken, known, taken, upload};
use super::people::{kg, moisture, people, people_cells};
use super::timeline::Chance;
use crate::support::TestProgramme;
use emberbook::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CookingTest, Household, StoveTest,
};
use emberbook::accounting::gather;
use emberbook::store::cohorts::Scope;
use emberbook::store::samples;
use rust_decimal::Decimal;
use sqlx::PgConnection;

const DEVICES: [&str; 2] = ["three_stone_fire", "gasifier"];
const FUELS: [&str; 3] = ["wood", "coconut_husk", "pigeon_pea_stalk"];
/// Codes that sort one way by bytes and another by a dictionary.
const CODES: [&str; 4] = ["t-", "T.", "t_", "T"];

#[derive(Default)]
pub struct Samples {
    /// With their rounds.
    pub(super) answers: Taken<(String, BaselineSurveyAnswer)>,
    pub(super) cooking: Taken<CookingTest>,
    pub(super) stoves: Taken<StoveTest>,
    pub(super) lab: Taken<CharLabTest>,
}

/// What was known at a position of the trail.
pub struct KnownSamples {
    answers: Vec<(String, BaselineSurveyAnswer)>,
    cooking: Vec<CookingTest>,
    stoves: Vec<StoveTest>,
    lab: Vec<CharLabTest>,
}

impl Samples {
    pub fn known_at(&self, position: u64) -> KnownSamples {
        KnownSamples {
            answers: known(&self.answers, position),
            cooking: known(&self.cooking, position),
            stoves: known(&self.stoves, position),
            lab: known(&self.lab, position),
        }
    }

    pub async fn send(programme: &TestProgramme, chance: &mut Chance, codes: &[String]) -> Self {
        let mut samples = Samples::default();
        let (first, second) = answers(chance, codes);
        for (round, answers) in [("asked", first), ("asked-again", second)] {
            let texts = answers.iter().map(answer_row).collect();
            let at = upload(programme, "baseline_survey", Some(round), texts).await;
            let of_round = answers.into_iter().map(|a| (round.to_owned(), a)).collect();
            samples.answers.extend(taken(at, of_round));
        }
        for half in [0..7, 7..15] {
            let tests: Vec<CookingTest> = half.clone().map(|n| cooking(chance, n)).collect();
            let texts = tests.iter().map(cooking_row).collect();
            let at = upload(programme, "cooking_test", Some("cooked"), texts).await;
            samples.cooking.extend(taken(at, tests));

            let tests: Vec<StoveTest> = half.clone().map(|n| stove(chance, n)).collect();
            let texts = tests.iter().map(stove_row).collect();
            let at = upload(programme, "stove_test", Some("burnt"), texts).await;
            samples.stoves.extend(taken(at, tests));

            let tests: Vec<CharLabTest> = half.map(|n| sample(chance, n)).collect();
            let texts = tests.iter().map(sample_row).collect();
            let at = upload(programme, "char_lab", Some("sampled"), texts).await;
            samples.lab.extend(taken(at, tests));
        }
        let reading = |(code, place): (&String, usize)| {
            let fuel = FUELS[place % FUELS.len()];
            format!("{code},{},{fuel},{}", chance.day(), moisture(chance))
        };
        let texts = codes.iter().zip(0..).map(reading).collect();
        upload(programme, "moisture_reading", Some("read"), texts).await;
        samples
    }
}

/// Answers of two rounds; some households are asked in both, some on two days of one, and
/// some days are those of both rounds, with other people present.
fn answers(
    chance: &mut Chance,
    codes: &[String],
) -> (Vec<BaselineSurveyAnswer>, Vec<BaselineSurveyAnswer>) {
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for code in codes {
        let day = chance.day();
        let mut answer = |day, fuel: &str, present| BaselineSurveyAnswer {
            household_code: code.clone(),
            surveyed_on: day,
            device: (*chance.pick(&DEVICES)).to_owned(),
            fuel: fuel.to_owned(),
            fuel_wet_kg_per_day: kg(chance, 0, 900),
            moisture_wb: moisture(chance),
            people: present,
        };
        let mut others = Chance::new(code.len() as u64 + u64::from(code.as_bytes()[0]));
        let here = people(&mut others);
        first.push(answer(day, FUELS[0], here));
        first.push(answer(day, FUELS[1], here));
        if others.percent(40) {
            let later = day.succ_opt().expect("a day");
            first.push(answer(later, FUELS[0], people(&mut others)));
        }
        if others.percent(60) {
            second.push(answer(day, FUELS[2], people(&mut others)));
        }
    }
    (first, second)
}

fn answer_row(row: &BaselineSurveyAnswer) -> String {
    format!(
        "{},{},{},{},{},{},{}",
        row.household_code,
        row.surveyed_on,
        row.device,
        row.fuel,
        row.fuel_wet_kg_per_day,
        row.moisture_wb,
        people_cells(&row.people)
    )
}

/// A code that no other number gets.
fn code(chance: &mut Chance, n: u64) -> String {
    format!("{}{n}", chance.pick(&CODES))
}

fn cooking(chance: &mut Chance, n: u64) -> CookingTest {
    CookingTest {
        test_code: code(chance, n),
        cook_code: code(chance, n % 3),
        tested_on: chance.day(),
        device: (*chance.pick(&DEVICES)).to_owned(),
        dish: (*chance.pick(&["beans", "rice"])).to_owned(),
        fuel: (*chance.pick(&FUELS)).to_owned(),
        fuel_wet_kg: kg(chance, 100, 400),
        moisture_wb: moisture(chance),
        char_left_kg: kg(chance, 0, 20),
        food_kg: kg(chance, 100, 500),
        minutes: chance.percent(60).then(|| kg(chance, 1000, 9000)),
    }
}

fn optional(value: Option<Decimal>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}

pub(super) fn cooking_row(row: &CookingTest) -> String {
    format!(
        "{},{},{},{},{},{},{},{},{},{},{}",
        row.test_code,
        row.cook_code,
        row.tested_on,
        row.device,
        row.dish,
        row.fuel,
        row.fuel_wet_kg,
        row.moisture_wb,
        row.char_left_kg,
        row.food_kg,
        optional(row.minutes)
    )
}

fn stove(chance: &mut Chance, n: u64) -> StoveTest {
    StoveTest {
        test_code: code(chance, n),
        laboratory: code(chance, n % 2),
        tested_on: chance.day(),
        device: (*chance.pick(&DEVICES)).to_owned(),
        stove_age_years: u32::try_from(chance.between(0, 4)).expect("small"),
        fuel: (*chance.pick(&FUELS)).to_owned(),
        fuel_wet_kg: kg(chance, 100, 400),
        moisture_wb: moisture(chance),
        fuel_ncv_dry_mj_per_kg: kg(chance, 1500, 2000),
        char_left_kg: kg(chance, 0, 20),
        char_ncv_mj_per_kg: kg(chance, 2500, 3200),
        water_start_kg: kg(chance, 450, 550),
        water_end_kg: kg(chance, 0, 450),
        water_start_c: kg(chance, 1500, 3000),
        water_end_c: kg(chance, 9000, 10000),
        minutes: kg(chance, 1000, 9000),
        co_g: chance.percent(60).then(|| kg(chance, 0, 9000)),
        pm25_mg: chance.percent(60).then(|| kg(chance, 0, 900_000)),
        safety_score: chance.percent(40).then(|| kg(chance, 0, 10_000)),
        durability_score: chance.percent(40).then(|| kg(chance, 0, 10_000)),
    }
}

fn stove_row(row: &StoveTest) -> String {
    format!(
        "{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}",
        row.test_code,
        row.laboratory,
        row.tested_on,
        row.device,
        row.stove_age_years,
        row.fuel,
        row.fuel_wet_kg,
        row.moisture_wb,
        row.fuel_ncv_dry_mj_per_kg,
        row.char_left_kg,
        row.char_ncv_mj_per_kg,
        row.water_start_kg,
        row.water_end_kg,
        row.water_start_c,
        row.water_end_c,
        row.minutes,
        optional(row.co_g),
        optional(row.pm25_mg),
        optional(row.safety_score),
        optional(row.durability_score)
    )
}

fn sample(chance: &mut Chance, n: u64) -> CharLabTest {
    CharLabTest {
        sample_code: code(chance, n),
        laboratory: code(chance, n % 2),
        sampled_on: chance.day(),
        feedstock: (*chance.pick(&FUELS)).to_owned(),
        carbon_total: kg(chance, 60, 75),
        carbon_inorganic: kg(chance, 0, 10),
        hydrogen: kg(chance, 1, 6),
        ash: chance.percent(60).then(|| kg(chance, 2, 20)),
    }
}

fn sample_row(row: &CharLabTest) -> String {
    format!(
        "{},{},{},{},{},{},{},{}",
        row.sample_code,
        row.laboratory,
        row.sampled_on,
        row.feedstock,
        row.carbon_total,
        row.carbon_inorganic,
        row.hydrogen,
        optional(row.ash)
    )
}

/// Asks both ways and compares; returns how many entries there were to compare. Their texts
/// are compared too, since `1.50` equals `1.5` and is not written like it.
pub async fn compare(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    known: &KnownSamples,
    households: &[Household],
) -> usize {
    let mut compared = 0;
    for rounds in [
        vec!["asked".to_owned()],
        vec!["asked".into(), "asked-again".into()],
        vec![],
    ] {
        let by_sql = samples::survey_households(connection, scope, &rounds)
            .await
            .expect("surveys");
        let of_rounds: Vec<_> = known
            .answers
            .iter()
            .filter(|(round, _)| rounds.contains(round))
            .map(|(_, answer)| answer.clone())
            .collect();
        let by_rows = gather::survey_households(&of_rounds, households).expect("surveys");
        compared += same(&by_sql, &by_rows, scope.position);
    }
    let rounds = |code: &str| [code.to_owned()];
    let by_sql = samples::cooking_tests(connection, scope, &rounds("cooked"))
        .await
        .expect("cooking tests");
    compared += same(
        &by_sql,
        &gather::cooking_tests(&known.cooking),
        scope.position,
    );
    let by_sql = samples::stove_tests(connection, scope, &rounds("burnt"))
        .await
        .expect("stove tests");
    compared += same(&by_sql, &gather::stove_tests(&known.stoves), scope.position);
    let by_sql = samples::char_lab(connection, scope, &rounds("sampled"))
        .await
        .expect("samples");
    compared + same(&by_sql, &gather::char_lab(&known.lab), scope.position)
}

fn same<T: PartialEq + std::fmt::Debug>(by_sql: &[T], by_rows: &[T], position: u64) -> usize {
    assert_eq!(by_sql, by_rows, "position {position}");
    assert_eq!(format!("{by_sql:?}"), format!("{by_rows:?}"));
    by_sql.len()
}
