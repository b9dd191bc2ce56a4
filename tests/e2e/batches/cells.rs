//! Cells that cannot be taken, and cells that contradict each other.

use super::{Case, case, refuses_each, rows};
use crate::support::TestProgramme;

fn kitchen(name: &'static str, row: &'static str, faults: &'static [&'static str]) -> Case {
    Case {
        round: Some("project"),
        ..case(name, "kitchen_test", rows("kitchen_test", &[row]), faults)
    }
}

#[tokio::test]
async fn moisture_off_the_wet_basis_and_impossible_masses_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let cases = vec![
        kitchen(
            "moisture over 0.8",
            "HH-1,2025-05-10,gasifier,wood,5,0,3,0.81,2,1,1,0",
            &["2 moisture_wb moisture_basis"],
        ),
        kitchen(
            "14 for 14 percent",
            "HH-1,2025-05-10,gasifier,wood,5,0,3,14,2,1,1,0",
            &["2 moisture_wb moisture_basis"],
        ),
        kitchen(
            "a percent sign",
            "HH-1,2025-05-10,gasifier,wood,5,0,3,14%,2,1,1,0",
            &["2 moisture_wb not_a_number"],
        ),
        kitchen(
            "more left than there was",
            "HH-1,2025-05-10,gasifier,wood,5,1,6.01,0.1,2,1,1,0",
            &["2 stock_end_wet_kg stock_grew"],
        ),
        kitchen(
            "a decimal comma",
            "HH-1,2025-05-10,gasifier,wood,\"5,5\",1,3,0.1,2,1,1,0",
            &["2 stock_start_wet_kg decimal_comma"],
        ),
        kitchen(
            "an unknown device and an unknown fuel",
            "HH-1,2025-05-10,oven,coal,5,1,3,0.1,2,1,1,0",
            &["2 device not_in_list", "2 fuel not_in_list"],
        ),
        kitchen(
            "an empty cell and a negative mass",
            "HH-1,2025-05-10,gasifier,wood,,-1,3,0.1,2,1,1,0",
            &[
                "2 stock_start_wet_kg missing_value",
                "2 added_wet_kg out_of_range",
            ],
        ),
    ];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn dates_out_of_order_or_in_another_form_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let deployment = |name: &'static str, row: &'static str, faults: &'static [&'static str]| {
        case(name, "deployments", rows("deployments", &[row]), faults)
    };
    let cases = vec![
        deployment(
            "an end before its start",
            "S-9,G1,1,HH-4,2025-02-01,2025-01-31,moved,no",
            &["2 ended_on end_not_after_start"],
        ),
        deployment(
            "an end on the first day",
            "S-9,G1,1,HH-4,2025-02-01,2025-02-01,moved,no",
            &["2 ended_on end_not_after_start"],
        ),
        deployment(
            "an end without a reason",
            "S-9,G1,1,HH-4,2025-02-01,2025-03-01,,no",
            &["2 end_reason end_incomplete"],
        ),
        deployment(
            "a reason without an end",
            "S-9,G1,1,HH-4,2025-02-01,,moved,no",
            &["2 ended_on end_incomplete"],
        ),
        deployment(
            "day and month first",
            "S-9,G1,1,HH-4,03/04/2025,,,no",
            &["2 installed_on date_format"],
        ),
        deployment(
            "a spreadsheet's day number",
            "S-9,G1,1,HH-4,45720,,,no",
            &["2 installed_on date_format"],
        ),
        deployment(
            "29 February of a common year",
            "S-9,G1,1,HH-4,2025-02-29,,,no",
            &["2 installed_on not_a_date"],
        ),
        deployment(
            "a formula, a space, a wrong yes",
            "=S-9,G 1,1,HH-4,2025-02-01,,,Yes",
            &[
                "2 serial formula_start",
                "2 model_code not_a_code",
                "2 second_stove not_yes_no",
            ],
        ),
        case(
            "an end of a deployment before its start",
            "deployment_ends",
            rows("deployment_ends", &["S-1,2024-02-29,2024-02-28,moved"]),
            &["2 ended_on end_not_after_start"],
        ),
        case(
            "a household without people",
            "households",
            rows("households", &["HH-9,NORTH,0,0,0,0"]),
            &["2 children_0_14 no_people"],
        ),
    ];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn every_wrong_cell_of_a_file_is_named_in_the_order_of_its_lines() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let file = rows(
        "households",
        &[
            "HH-11,NORTH,1,1,1,0",
            "HH-12,NORTH,x,1,1,0",
            "HH-1,NORTH,1,1,1,0",
            "HH-13,SOUTH,1,1,1,0",
            "HH-14,NORTH,1,1,1,51",
        ],
    );
    let faults = &[
        "3 children_0_14 not_a_number",
        "4 household_code duplicate_row",
        "5 site_code unknown_site",
        "6 men_over_59 out_of_range",
    ];
    refuses_each(&programme, vec![case("mixed", "households", file, faults)]).await;
}
