//! One file per template: its columns, where each stands, and its row rules.

pub(in crate::intake) mod baseline_survey;
pub(in crate::intake) mod char_lab;
pub(in crate::intake) mod char_weighing;
pub(in crate::intake) mod cooking_test;
pub(in crate::intake) mod deployment_ends;
pub(in crate::intake) mod deployments;
pub(in crate::intake) mod households;
pub(in crate::intake) mod kitchen_test;
pub(in crate::intake) mod moisture_reading;
mod shared;
pub(in crate::intake) mod stove_test;
pub(in crate::intake) mod usage_survey;

pub(in crate::intake) use shared::{DRY_FRACTION, FRACTION, MOISTURE_WB};

#[cfg(test)]
mod tests {
    use crate::intake::kinds::BatchKind;
    use crate::intake::row_from_texts;

    #[test]
    fn the_columns_stand_as_agreed_with_the_field() {
        // Without the columns that a file may leave out, and with them.
        const LATER: &str = ",enumerator_code,started_at,ended_at";
        let header = |kind: BatchKind| kind.template().header().replace(LATER, "");
        let later = BatchKind::ALL.map(|kind| kind.template().header().ends_with(LATER));
        assert_eq!(later.into_iter().filter(|ends| *ends).count(), 6);
        assert_eq!(
            header(BatchKind::Households),
            "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59"
        );
        assert_eq!(
            header(BatchKind::Deployments),
            "serial,model_code,model_version,household_code,installed_on,ended_on,end_reason,\
             second_stove"
        );
        assert_eq!(
            header(BatchKind::DeploymentEnds),
            "serial,installed_on,ended_on,end_reason"
        );
        assert_eq!(
            header(BatchKind::UsageSurvey),
            "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals"
        );
        assert_eq!(
            header(BatchKind::KitchenTest),
            "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
             stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,men_over_59"
        );
        assert_eq!(
            header(BatchKind::CharWeighing),
            "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,fuel_moisture_wb,char_wet_kg,\
             char_moisture_wb,fate"
        );
        assert_eq!(
            header(BatchKind::BaselineSurvey),
            "household_code,surveyed_on,device,fuel,fuel_wet_kg_per_day,moisture_wb,\
             children_0_14,women_over_14,men_15_59,men_over_59"
        );
        assert_eq!(
            header(BatchKind::CookingTest),
            "test_code,cook_code,tested_on,device,dish,fuel,fuel_wet_kg,moisture_wb,\
             char_left_dry_kg,food_kg,minutes"
        );
        assert_eq!(
            header(BatchKind::StoveTest),
            "test_code,laboratory,tested_on,device,stove_age_years,fuel,fuel_wet_kg,moisture_wb,\
             fuel_ncv_dry_mj_per_kg,char_left_dry_kg,char_ncv_mj_per_kg,water_start_kg,\
             water_end_kg,water_start_c,water_end_c,minutes,co_g,pm25_mg,\
             safety_score,durability_score"
        );
        assert_eq!(
            header(BatchKind::CharLab),
            "sample_code,laboratory,sampled_on,feedstock,carbon_total,carbon_inorganic,hydrogen,ash"
        );
        assert_eq!(
            header(BatchKind::MoistureReading),
            "household_code,measured_on,fuel,moisture_wb"
        );
    }

    #[test]
    fn every_example_row_passes_its_own_template() {
        for kind in BatchKind::ALL {
            let template = kind.template();
            let examples = template.columns.iter().map(|column| column.example);
            let row = row_from_texts(template, 2, examples);
            assert!(row.is_ok(), "{kind}: {row:?}");
        }
    }

    #[test]
    fn a_template_serialises_as_a_table_of_its_columns() {
        let json = serde_json::to_value(BatchKind::CharWeighing.template()).unwrap();
        assert_eq!(json["kind"], "char_weighing");
        assert_eq!(json["columns"].as_array().map(Vec::len), Some(11));
        assert_eq!(
            json["columns"][6],
            serde_json::json!({
                "name": "char_moisture_wb",
                "value": {
                    "type": "decimal",
                    "allowed": { "min": "0", "max": "0.8", "scale_max": 6 },
                },
                "required": true,
                "unit": "fraction of wet mass",
                "description": "Moisture of the char as weighed, wet basis: water / wet mass",
                "example": "0.06",
            })
        );
        assert_eq!(
            json["rules"][1]["says"],
            "fuel_burnt_wet_kg and fuel_moisture_wb are given together or not at all"
        );
    }
}
