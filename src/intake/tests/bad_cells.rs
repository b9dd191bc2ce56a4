//! Cells and rows that are refused: one per kind of fault, with the answer.

use super::{file_of, places, read_all};
use crate::intake::{BatchKind, row_from_texts};

/// The example row of a kind with some cells changed.
pub(super) fn texts(kind: BatchKind, changes: &[(&str, &'static str)]) -> Vec<&'static str> {
    let template = kind.template();
    let mut texts: Vec<&str> = template
        .columns
        .iter()
        .map(|column| column.example)
        .collect();
    for (name, text) in changes {
        let index = template.column(name).unwrap();
        texts[index] = text;
    }
    texts
}

pub(super) fn refused(kind: BatchKind, changes: &[(&str, &'static str)]) -> Vec<(String, String)> {
    let texts = texts(kind, changes);
    let list = row_from_texts(kind.template(), 9, texts.into_iter())
        .err()
        .unwrap_or_default();
    let place = |at: usize| places(&list[at..=at]).remove(0);
    (0..list.len())
        .map(|at| (place(at), list[at].detail.clone()))
        .collect()
}

/// Kind, column, its text, the code, and a part of the sentence.
#[rustfmt::skip] // one case a line reads as the table it is
const CELLS: &[(BatchKind, &str, &str, &str, &str)] = &[
    (HOUSEHOLDS, "household_code", "", "missing_value", "must be filled"),
    (HOUSEHOLDS, "household_code", " H1", "stray_space", "white space before or after it; write `H1`"),
    (HOUSEHOLDS, "household_code", "H1\u{a0}", "stray_space", "write `H1`"),
    (HOUSEHOLDS, "household_code", "  ", "stray_space", "nothing but white space"),
    (HOUSEHOLDS, "household_code", "H 1", "not_a_code", "`H 1` holds a space"),
    (HOUSEHOLDS, "household_code", "Hé", "not_a_code", "holds `é`"),
    (HOUSEHOLDS, "household_code", "H,1", "not_a_code", "holds `,`"),
    (HOUSEHOLDS, "household_code", "=1+1", "formula_start", "spreadsheet formula"),
    (HOUSEHOLDS, "household_code", "+2557", "formula_start", "may not start with"),
    (HOUSEHOLDS, "household_code", "@x", "formula_start", "may not start with"),
    (HOUSEHOLDS, "household_code", "-1", "formula_start", "may not start with"),
    (HOUSEHOLDS, "household_code", "H\n1", "control_character", "`H\\n1` holds a line break"),
    (HOUSEHOLDS, "household_code", "H\u{0}1", "control_character", "U+0000"),
    (HOUSEHOLDS, "household_code", LONG, "too_long", "has 65 characters; a code has at most 64"),
    (HOUSEHOLDS, "children_0_14", "51", "out_of_range", "`51` is outside 0 to 50"),
    (HOUSEHOLDS, "children_0_14", "-1", "out_of_range", "outside 0 to 50"),
    (HOUSEHOLDS, "children_0_14", "99999999999999999999", "out_of_range", "outside 0 to 50"),
    (HOUSEHOLDS, "children_0_14", "2.5", "not_whole", "without decimals"),
    (HOUSEHOLDS, "children_0_14", "two", "not_a_number", "`two` is not a number"),
    (HOUSEHOLDS, "children_0_14", "1e1", "exponent", "write all its digits"),
    (DEPLOYMENTS, "model_version", "0", "out_of_range", "outside 1 to 9999"),
    (DEPLOYMENTS, "installed_on", "03/04/2025", "date_format", "write dates as YYYY-MM-DD"),
    (DEPLOYMENTS, "installed_on", "2025/03/04", "date_format", "write dates as YYYY-MM-DD"),
    (DEPLOYMENTS, "installed_on", "2025-3-4", "date_format", "write dates as YYYY-MM-DD"),
    (DEPLOYMENTS, "installed_on", "2025-03-04T10:00", "date_format", "YYYY-MM-DD"),
    (DEPLOYMENTS, "installed_on", "45720", "date_format", "spreadsheet's day number"),
    (DEPLOYMENTS, "installed_on", "２０２５-03-04", "date_format", "YYYY-MM-DD"),
    (DEPLOYMENTS, "installed_on", "2025-02-29", "not_a_date", "not a day of the calendar"),
    (DEPLOYMENTS, "installed_on", "2025-13-01", "not_a_date", "not a day of the calendar"),
    (DEPLOYMENTS, "installed_on", "1999-12-31", "out_of_range", "2000-01-01 to 2100-12-31"),
    (DEPLOYMENTS, "installed_on", "2101-01-01", "out_of_range", "2000-01-01 to 2100-12-31"),
    (DEPLOYMENTS, "second_stove", "Yes", "not_yes_no", "yes or no in small letters"),
    (DEPLOYMENTS, "second_stove", "1", "not_yes_no", "neither yes nor no"),
    (ENDS, "end_reason", "Dropped out", "not_in_list", "write `dropped_out`"),
    (ENDS, "end_reason", "stolen", "not_in_list", "dropped_out, replaced, broken, moved, returned"),
    (USAGE, "outcome", "used", "not_in_list", "in_use, not_in_use, not_found, refused"),
    (USAGE, "days_used_last_week", "8", "out_of_range", "outside 0 to 7"),
    (USAGE, "share_of_meals", "75", "out_of_range", "outside 0 to 1 (fraction); 75 percent is 0.75"),
    (USAGE, "share_of_meals", "75%", "not_a_number", "without the percent sign"),
    (KITCHEN, "device", "microwave", "not_in_list", "three_stone_fire"),
    (KITCHEN, "fuel", "biogas", "not_in_list", "coconut_husk"),
    (KITCHEN, "added_wet_kg", "1,5", "decimal_comma", "decimals with a point, as in 0.14"),
    (KITCHEN, "added_wet_kg", "1.250,5", "decimal_comma", "thousands without a mark"),
    (KITCHEN, "added_wet_kg", "1.5E+00", "exponent", "exponent"),
    (KITCHEN, "added_wet_kg", "1.5 kg", "not_a_number", "the number alone, it is taken in kg wet"),
    (KITCHEN, "added_wet_kg", "5.", "not_a_number", "is not a number"),
    (KITCHEN, "added_wet_kg", ".", "not_a_number", "is not a number"),
    (KITCHEN, "added_wet_kg", "NaN", "not_a_number", "is not a number"),
    (KITCHEN, "added_wet_kg", "٣", "not_a_number", "is not a number"),
    (KITCHEN, "added_wet_kg", "-0.1", "out_of_range", "outside 0 to 500 (kg wet)"),
    (KITCHEN, "added_wet_kg", "500.01", "out_of_range", "outside 0 to 500 (kg wet)"),
    (KITCHEN, "added_wet_kg", "1.1234567", "too_many_decimals", "has 7 decimals; at most 6"),
    (KITCHEN, "moisture_wb", "", "missing_value", "must be filled"),
    (KITCHEN, "moisture_wb", "1", "moisture_basis", "so that 1 means 0.01"),
    (KITCHEN, "moisture_wb", "80", "moisture_basis", "so that 80 means 0.8"),
    (KITCHEN, "moisture_wb", "0.81", "moisture_basis", "M_wb = M_db / (1 + M_db)"),
    (KITCHEN, "moisture_wb", "81", "moisture_basis", "M_wb = M_db / (1 + M_db)"),
    (KITCHEN, "moisture_wb", "-0.1", "out_of_range", "outside 0 to 0.8"),
    (KITCHEN, "moisture_wb", "14%", "not_a_number", "as in 0.14 for 14 %"),
    (WEIGHING, "char_moisture_wb", "6", "moisture_basis", "so that 6 means 0.06"),
    (WEIGHING, "feedstock", "kerosene", "not_in_list", "pigeon_pea_stalk"),
    (WEIGHING, "fate", "garden", "not_in_list", "soil, burnt, sold_as_fuel, discarded, unknown"),
];

const HOUSEHOLDS: BatchKind = BatchKind::Households;
const DEPLOYMENTS: BatchKind = BatchKind::Deployments;
const ENDS: BatchKind = BatchKind::DeploymentEnds;
const USAGE: BatchKind = BatchKind::UsageSurvey;
const KITCHEN: BatchKind = BatchKind::KitchenTest;
const WEIGHING: BatchKind = BatchKind::CharWeighing;
const LONGEST: &str = "H000000000000000000000000000000000000000000000000000000000000000";
const LONG: &str = "H0000000000000000000000000000000000000000000000000000000000000001";

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

/// Kind, changed cells, and the place and sentence of the only rejection.
type RowCase = (
    BatchKind,
    &'static [(&'static str, &'static str)],
    &'static str,
    &'static str,
);

const ROWS: &[RowCase] = &[
    (
        HOUSEHOLDS,
        &[
            ("children_0_14", "0"),
            ("women_over_14", "0"),
            ("men_15_59", "0"),
            ("men_over_59", "0"),
        ],
        "9 children_0_14 no_people",
        "the household has no people: at least one of the four counts must be over 0",
    ),
    (
        DEPLOYMENTS,
        &[("ended_on", "2025-03-01")],
        "9 end_reason end_incomplete",
        "ended_on is given without the reason of the end",
    ),
    (
        DEPLOYMENTS,
        &[("end_reason", "moved")],
        "9 ended_on end_incomplete",
        "end_reason is given without the day of the end",
    ),
    (
        DEPLOYMENTS,
        &[
            ("installed_on", "2025-03-01"),
            ("ended_on", "2025-03-01"),
            ("end_reason", "moved"),
        ],
        "9 ended_on end_not_after_start",
        "the end 2025-03-01 is not after the installation 2025-03-01; \
         ended_on is the first day without the stove",
    ),
    (
        ENDS,
        &[("installed_on", "2025-03-02"), ("ended_on", "2025-03-01")],
        "9 ended_on end_not_after_start",
        "the end 2025-03-01 is not after the installation 2025-03-02; \
         ended_on is the first day without the stove",
    ),
    (
        KITCHEN,
        &[
            ("stock_start_wet_kg", "6.20"),
            ("added_wet_kg", "1.5"),
            ("stock_end_wet_kg", "7.71"),
        ],
        "9 stock_end_wet_kg stock_grew",
        "7.71 kg are left of 7.70 kg (6.20 at the start and 1.5 added): more fuel than there was",
    ),
    (
        KITCHEN,
        &[("moisture_wb", "14")],
        "9 moisture_wb moisture_basis",
        "`14` is over 0.8: moisture is on the wet basis, water / wet mass, from 0 to 0.8; \
         it is a fraction, so that 14 means 0.14",
    ),
    (
        WEIGHING,
        &[("fuel_moisture_wb", "")],
        "9 fuel_moisture_wb fuel_incomplete",
        "fuel_burnt_wet_kg is given without its moisture: without it the dry mass is unknown",
    ),
    (
        WEIGHING,
        &[("fuel_burnt_wet_kg", "")],
        "9 fuel_burnt_wet_kg fuel_incomplete",
        "fuel_moisture_wb is given without the fuel's mass",
    ),
];

#[test]
fn each_contradiction_between_cells_is_answered_with_its_sentence() {
    for (kind, changes, place, sentence) in ROWS {
        let found = refused(*kind, changes);
        assert_eq!(
            found,
            [((*place).to_owned(), (*sentence).to_owned())],
            "{kind}"
        );
    }
}

#[test]
fn what_stands_on_a_bound_is_taken() {
    const TAKEN: &[(BatchKind, &[(&str, &str)])] = &[
        (
            HOUSEHOLDS,
            &[("children_0_14", "50"), ("household_code", LONGEST)],
        ),
        (DEPLOYMENTS, &[("installed_on", "2000-01-01")]),
        (
            DEPLOYMENTS,
            &[("installed_on", "2100-12-30"), ("second_stove", "")],
        ),
        (
            DEPLOYMENTS,
            &[("ended_on", "2025-01-16"), ("end_reason", "broken")],
        ),
        (DEPLOYMENTS, &[("installed_on", "2024-02-29")]),
        (
            USAGE,
            &[("days_used_last_week", ""), ("share_of_meals", "")],
        ),
        (
            USAGE,
            &[("days_used_last_week", "7"), ("share_of_meals", "1.000000")],
        ),
        (
            KITCHEN,
            &[
                ("stock_start_wet_kg", "500"),
                ("added_wet_kg", "500"),
                ("stock_end_wet_kg", "500"),
            ],
        ),
        (
            KITCHEN,
            &[
                ("stock_start_wet_kg", "1"),
                ("added_wet_kg", "2"),
                ("stock_end_wet_kg", "3.000"),
            ],
        ),
        (KITCHEN, &[("moisture_wb", "0.8")]),
        (KITCHEN, &[("moisture_wb", "0")]),
        (
            WEIGHING,
            &[("fuel_burnt_wet_kg", ""), ("fuel_moisture_wb", "")],
        ),
    ];
    for (kind, changes) in TAKEN {
        assert_eq!(refused(*kind, changes), [], "{kind} {changes:?}");
    }
}

#[test]
fn every_wrong_cell_of_a_row_is_reported_at_once() {
    let bytes = file_of(
        KITCHEN,
        &[
            "H 1,03/04/2025,oven,coconut_husk,1,-2,0,14,0,0,,99",
            "H2,2025-01-01,gasifier,wood,1,1,3,0.1,1,1,1,1",
        ],
    );
    let (rows, rejections) = read_all(KITCHEN, &bytes);
    assert_eq!(rows, []);
    assert_eq!(
        places(&rejections),
        [
            "2 household_code not_a_code",
            "2 measured_on date_format",
            "2 device not_in_list",
            "2 added_wet_kg out_of_range",
            "2 moisture_wb moisture_basis",
            "2 men_15_59 missing_value",
            "2 men_over_59 out_of_range",
            "3 stock_end_wet_kg stock_grew",
        ]
    );
}

#[test]
fn a_row_with_a_cell_too_few_or_too_many_says_so_and_the_next_is_read() {
    let bytes = file_of(
        ENDS,
        &[
            "S-1,2025-01-01,2025-02-01",
            "S-1,2025-01-01,2025-02-01,moved,",
            "S-1,2025-01-01,2025-02-01,moved",
        ],
    );
    let (rows, rejections) = read_all(ENDS, &bytes);
    assert_eq!(rows.len(), 1);
    assert_eq!(
        places(&rejections),
        ["2 - too_few_cells", "3 - too_many_cells"]
    );
    assert_eq!(
        rejections[0].detail,
        "the row has 3 cells, the header has 4 columns; an empty cell still needs its comma"
    );
    let posted = row_from_texts(ENDS.template(), 1, ["S-1", "x"].into_iter()).unwrap_err();
    assert_eq!(places(&posted), ["1 - too_few_cells"]);
    let posted = row_from_texts(ENDS.template(), 1, ["S"; 5].into_iter()).unwrap_err();
    assert_eq!(places(&posted), ["1 - too_many_cells"]);
}
