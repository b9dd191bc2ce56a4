//! The rules of surveys, tests and samples that need the database.

use super::{Check, UNREGISTERED_HOUSEHOLD, check, outside_round};

/// A code that the programme gives to one test or sample, and never again.
macro_rules! one_row_a_code {
    ($column:literal, $what:literal, $table:literal) => {
        [
            check(
                $column,
                "duplicate_row",
                concat!(
                    "select line, format('",
                    $what,
                    " %s already stands on line %s', ",
                    $column,
                    ", first_line) as detail from (select line, ",
                    $column,
                    ", min(line) over (partition by ",
                    $column,
                    ") as first_line from staged) s where line > first_line"
                ),
            ),
            check(
                $column,
                "duplicate_row",
                concat!(
                    "select s.line, format('",
                    $what,
                    " %s is already recorded in round %s', s.",
                    $column,
                    ", t.round_code) as detail from staged s join standing_",
                    $table,
                    "($1) t on t.",
                    $column,
                    " = s.",
                    $column
                ),
            ),
        ]
    };
}

const TEST_OF_COOKING: [Check; 2] = one_row_a_code!("test_code", "test", "cooking_test");
const TEST_OF_STOVE: [Check; 2] = one_row_a_code!("test_code", "test", "stove_test");
const SAMPLE_OF_CHAR: [Check; 2] = one_row_a_code!("sample_code", "sample", "char_lab_result");

pub(super) const BASELINE_SURVEY: &[Check] = &[
    UNREGISTERED_HOUSEHOLD,
    outside_round!("surveyed_on"),
    check(
        "household_code",
        "duplicate_row",
        "select line, format('this household, day, device and fuel already stand on line %s', first_line) as detail
         from (select line, min(line) over (partition by household_code, surveyed_on, device, fuel)
                            as first_line from staged) s
         where line > first_line",
    ),
    check(
        "household_code",
        "duplicate_row",
        "select s.line, format('household %s already has this device and fuel on %s in round %s',
                               s.household_code, s.surveyed_on, b.round_code) as detail
         from staged s
         join standing_baseline_survey_answer($1) b
              on b.household_code = s.household_code and b.surveyed_on = s.surveyed_on
              and b.device = s.device and b.fuel = s.fuel",
    ),
    check(
        "household_code",
        "people_differ",
        "select max(line) as line,
                format('the rows of household %s on %s give different people; write the same people on each row of a day',
                       household_code, surveyed_on) as detail
         from staged group by household_code, surveyed_on
         having count(distinct (children_0_14, women_over_14, men_15_59, men_over_59)) > 1",
    ),
];

pub(super) const COOKING_TEST: &[Check] = &[
    outside_round!("tested_on"),
    TEST_OF_COOKING[0],
    TEST_OF_COOKING[1],
];

pub(super) const STOVE_TEST: &[Check] = &[
    outside_round!("tested_on"),
    TEST_OF_STOVE[0],
    TEST_OF_STOVE[1],
];

pub(super) const CHAR_LAB: &[Check] = &[
    outside_round!("sampled_on"),
    SAMPLE_OF_CHAR[0],
    SAMPLE_OF_CHAR[1],
];

pub(super) const MOISTURE_READING: &[Check] = &[
    UNREGISTERED_HOUSEHOLD,
    outside_round!("measured_on"),
    check(
        "household_code",
        "duplicate_row",
        "select line, format('this household, day and fuel already stand on line %s', first_line) as detail
         from (select line, min(line) over (partition by household_code, measured_on, fuel)
                            as first_line from staged) s
         where line > first_line",
    ),
    check(
        "household_code",
        "duplicate_row",
        "select s.line, format('household %s already has a reading of this fuel on %s in round %s',
                               s.household_code, s.measured_on, m.round_code) as detail
         from staged s
         join standing_moisture_reading($1) m on m.household_code = s.household_code
              and m.measured_on = s.measured_on and m.fuel = s.fuel",
    ),
];
