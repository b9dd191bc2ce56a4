//! Headers: any order is taken, every wrong name is answered.

use super::{places, read_all};
use crate::intake::BatchKind;

/// The rejections of a file with this header and no rows.
fn refused(kind: BatchKind, header: &str) -> Vec<(String, String)> {
    let (_, list) = read_all(kind, format!("{header}\n").as_bytes());
    let texts = list.iter().map(|rejection| rejection.detail.clone());
    places(&list).into_iter().zip(texts).collect()
}

#[test]
fn the_columns_of_a_file_may_stand_in_any_order() {
    let (rows, rejections) = read_all(
        BatchKind::DeploymentEnds,
        b"end_reason,ended_on,\"serial\",installed_on\nmoved,2025-02-01,S-1,2025-01-01\n",
    );
    assert_eq!(rejections, []);
    let texts: Vec<_> = (0..4).map(|index| rows[0].text(index)).collect();
    assert_eq!(texts, ["S-1", "2025-01-01", "2025-02-01", "moved"]);
}

/// A name in place of a column, or beside all of them; the code; a part of the sentence.
#[rustfmt::skip] // one case a line reads as the table it is
const NAMES: &[(BatchKind, &str, &str, &str, &str)] = &[
    (KITCHEN, "moisture_wb", "moisture", "unit_missing", "write `moisture_wb` (fraction of wet mass)"),
    (KITCHEN, "moisture_wb", "moisture_%", "unit_missing", "write `moisture_wb`"),
    (KITCHEN, "moisture_wb", "moisture_db", "wrong_unit", "another unit or basis: write `moisture_wb`"),
    (KITCHEN, "added_wet_kg", "added", "unit_missing", "write `added_wet_kg` (kg wet)"),
    (KITCHEN, "added_wet_kg", "added_wet_g", "wrong_unit", "write `added_wet_kg`"),
    (WEIGHING, "char_wet_kg", "char_kg", "unit_missing", "write `char_wet_kg` (kg wet)"),
    (WEIGHING, "char_wet_kg", "char_dry_kg", "wrong_unit", "write `char_wet_kg`"),
    (WEIGHING, "char_wet_kg", "Char_Wet_KG", "unknown_column", "write `char_wet_kg`"),
    (ENDS, "end_reason", "reason", "unknown_column", "write `end_reason`"),
    (ENDS, "end_reason", "End Reason", "unknown_column", "not written as in the template: write `end_reason`"),
    (ENDS, "end_reason", "endReason", "unknown_column", "write `end_reason`"),
    (ENDS, "end_reason", " end_reason", "stray_space", "write `end_reason`"),
];

#[test]
fn a_name_that_is_almost_a_column_is_answered_with_the_right_one_alone() {
    for (kind, column, name, code, sentence) in NAMES {
        let names = kind.template().columns.iter().map(|own| own.name);
        let names: Vec<_> = names
            .map(|own| if own == *column { name } else { own })
            .collect();
        let found = refused(*kind, &names.join(","));
        let [(place, detail)] = found.as_slice() else {
            panic!("{name}: {found:?}");
        };
        assert_eq!(*place, format!("1 {name} {code}"));
        assert!(detail.contains(sentence), "{name}: {detail}");
    }
}

#[test]
fn a_name_that_may_be_two_columns_leaves_both_missing() {
    let header = "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,moisture,char_wet_kg,fate";
    let found = refused(WEIGHING, header);
    let places: Vec<_> = found.iter().map(|(place, _)| place.as_str()).collect();
    assert_eq!(
        places,
        [
            "1 moisture unit_missing",
            "1 fuel_moisture_wb missing_column",
            "1 char_moisture_wb missing_column"
        ]
    );
    assert_eq!(
        found[0].1,
        "`moisture` lacks its unit or the basis of it: write `fuel_moisture_wb` (fraction of wet \
         mass) or `char_moisture_wb` (fraction of wet mass)"
    );
}

#[test]
fn a_surplus_column_is_named_with_its_reason() {
    const SURPLUS: &[(&str, &str, &str)] = &[
        (
            "remarks",
            "1 remarks unknown_column",
            "its columns are serial,installed_on,ended_on",
        ),
        ("", "1 - unnamed_column", "has no name"),
        ("serial", "1 serial duplicate_column", "more than once"),
        ("name", "1 name personal_data", "a person's name"),
        (
            "household_head",
            "1 household_head personal_data",
            "a person's name",
        ),
        (
            "HouseholdName",
            "1 HouseholdName personal_data",
            "a person's name",
        ),
        ("phone", "1 phone personal_data", "a telephone number"),
        (
            "Mobile No",
            "1 Mobile No personal_data",
            "a telephone number",
        ),
        ("tel", "1 tel personal_data", "a telephone number"),
        (
            "respondentphonenumber",
            "1 respondentphonenumber personal_data",
            "telephone",
        ),
        ("address", "1 address personal_data", "an address"),
        ("gps", "1 gps personal_data", "an exact position"),
        (
            "_gps_latitude",
            "1 _gps_latitude personal_data",
            "an exact position",
        ),
        (
            "longitude",
            "1 longitude personal_data",
            "an exact position",
        ),
        (
            "date_of_birth",
            "1 date_of_birth personal_data",
            "a mark of one person",
        ),
        ("site_name", "1 site_name unknown_column", "not a column"),
    ];
    let own = ENDS.template().header();
    for (name, place, sentence) in SURPLUS {
        let found = refused(ENDS, &format!("{own},{name}"));
        assert_eq!(found.len(), 1, "{name}: {found:?}");
        assert_eq!(found[0].0, *place);
        assert!(found[0].1.contains(sentence), "{name}: {}", found[0].1);
    }
}

#[test]
fn personal_data_is_refused_with_the_reason_in_full() {
    let found = refused(ENDS, "serial,installed_on,ended_on,end_reason,phone");
    assert_eq!(
        found[0].1,
        "`phone` looks like a telephone number: data that points to a person is never taken; \
         use the programme's own codes and delete the column"
    );
}

#[test]
fn every_missing_column_is_named_with_the_template() {
    let found = refused(ENDS, "serial,ended_on");
    let wanted = |column: &str| {
        (
            format!("1 {column} missing_column"),
            format!(
                "column `{column}` is missing; the columns of this template are \
                 serial,installed_on,ended_on,end_reason"
            ),
        )
    };
    assert_eq!(found, [wanted("installed_on"), wanted("end_reason")]);
}

#[test]
fn a_header_of_another_table_is_answered_once() {
    let found = refused(ENDS, &vec!["x"; 300].join(","));
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, "1 - unknown_column");
    assert!(
        found[0].1.starts_with("the header has 300 columns"),
        "{}",
        found[0].1
    );
}

const KITCHEN: BatchKind = BatchKind::KitchenTest;
const WEIGHING: BatchKind = BatchKind::CharWeighing;
const ENDS: BatchKind = BatchKind::DeploymentEnds;
