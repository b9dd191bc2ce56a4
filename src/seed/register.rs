//! The register's files: households, deployments, and ends recorded later.

use super::Seed;
use super::household::household_of;
use crate::accounting::evidence::People;
use chrono::NaiveDate;
use std::io::{self, Write};

pub(super) fn write_households(seed: &Seed, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59"
    )?;
    for index in 0..seed.household_count() {
        let household = seed.plan(index).household;
        let people = people_cells(household.people);
        writeln!(
            out,
            "{},{},{people}",
            household.household_code, household.site_code
        )?;
    }
    Ok(())
}

pub(super) fn write_deployments(seed: &Seed, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "serial,model_code,model_version,household_code,installed_on,ended_on,end_reason,second_stove"
    )?;
    for stove in 0..seed.scale.deployments {
        let plan = seed.plan(household_of(stove));
        let Some(stay) = plan.stays.iter().find(|stay| stay.stove == stove) else {
            continue;
        };
        let deployment = &stay.deployment;
        let (ended_on, reason) = if stay.end_recorded_later {
            (String::new(), "")
        } else {
            let ended_on = deployment.ended_on.as_ref().map(NaiveDate::to_string);
            (
                ended_on.unwrap_or_default(),
                deployment.end_reason.as_deref().unwrap_or_default(),
            )
        };
        writeln!(
            out,
            "{},{},{},{},{},{ended_on},{reason},{}",
            deployment.serial,
            deployment.model_code,
            deployment.model_version,
            deployment.household_code,
            deployment.installed_on,
            if deployment.second_stove { "yes" } else { "no" },
        )?;
    }
    Ok(())
}

pub(super) fn write_deployment_ends(seed: &Seed, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "serial,installed_on,ended_on,end_reason")?;
    for index in 0..seed.household_count() {
        for stay in seed
            .plan(index)
            .stays
            .iter()
            .filter(|stay| stay.end_recorded_later)
        {
            let deployment = &stay.deployment;
            if let (Some(ended_on), Some(reason)) = (deployment.ended_on, &deployment.end_reason) {
                let (serial, installed_on) = (&deployment.serial, deployment.installed_on);
                writeln!(out, "{serial},{installed_on},{ended_on},{reason}")?;
            }
        }
    }
    Ok(())
}

/// The four counts of people as cells.
pub(super) fn people_cells(people: People) -> String {
    format!(
        "{},{},{},{}",
        people.children_0_14, people.women_over_14, people.men_15_59, people.men_over_59
    )
}
