//! Which rows belong to which site: what a caller who is bound to sites may see and send.
//!
//! Read off the columns of the kind's template, so that a new kind needs no word here: a row
//! that names a site belongs to it, one that names a household to the household's, one that
//! names a stove and the day it was installed to the household that the stove went to.

use super::staging::table;
use super::{StoreError, unsigned};
use crate::intake::{BatchKind, Rejection};
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use std::collections::BTreeSet;
use uuid::Uuid;

/// How rows of a kind lead to a site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lead {
    Site,
    Household,
    Deployment,
}

fn lead(kind: BatchKind) -> Option<Lead> {
    let has = |name: &str| {
        kind.template()
            .columns
            .iter()
            .any(|column| column.name == name)
    };
    if has("site_code") {
        Some(Lead::Site)
    } else if has("household_code") {
        Some(Lead::Household)
    } else if has("serial") && has("installed_on") {
        Some(Lead::Deployment)
    } else {
        None
    }
}

/// Whether rows of a kind can be told apart by site at all.
pub fn tell_apart(kind: BatchKind) -> bool {
    lead(kind).is_some()
}

/// The condition that a row of the kind's own table lies in one of the sites of parameter
/// `sites`, which is null for every site. `$1` is the programme.
pub(super) fn condition(kind: BatchKind, sites: &str) -> String {
    let own = table(kind);
    let inside = match lead(kind) {
        Some(Lead::Site) => format!("{own}.site_code = any({sites}::text[])"),
        Some(Lead::Household) => format!(
            "exists (select from standing_household($1) o
                     where o.household_code = {own}.household_code
                     and o.site_code = any({sites}::text[]))"
        ),
        Some(Lead::Deployment) => format!(
            "exists (select from standing_deployment($1) d
                     join standing_household($1) o using (household_code)
                     where d.serial = {own}.serial
                     and d.installed_on = {own}.installed_on
                     and o.site_code = any({sites}::text[]))"
        ),
        None => "false".to_owned(),
    };
    format!("({sites}::text[] is null or {inside})")
}

/// Staged rows that touch a site other than `own`: the first of them, and how many.
pub async fn foreign_rows(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    own: &[String],
) -> Result<(Vec<Rejection>, u64), StoreError> {
    let (column, joined) = match lead(kind) {
        Some(Lead::Site) => ("site_code", ""),
        Some(Lead::Household) => (
            "household_code",
            "join standing_household($1) o on o.household_code = s.household_code",
        ),
        Some(Lead::Deployment) => (
            "serial",
            "join standing_deployment($1) d on d.serial = s.serial
                                        and d.installed_on = s.installed_on
             join standing_household($1) o on o.household_code = d.household_code",
        ),
        None => return Ok((Vec::new(), 0)),
    };
    let site = if joined.is_empty() { "s" } else { "o" };
    let sql = format!(
        "with asked as (select $1::uuid)
         select s.line, s.{column}::text as named, {site}.site_code as site,
                count(*) over () as total
         from staged s {joined}
         where {site}.site_code <> all($2::text[]) order by s.line limit 1000"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(own)
        .fetch_all(connection)
        .await?;
    let mut count = 0;
    let mut rejections = Vec::with_capacity(rows.len());
    for row in &rows {
        count = unsigned(row.try_get("total")?, "count")?;
        let (named, site): (String, String) = (row.try_get("named")?, row.try_get("site")?);
        let detail = if lead(kind) == Some(Lead::Site) {
            format!("site {site} is not one of yours ({})", own.join(", "))
        } else {
            let mine = own.join(", ");
            format!("{named} belongs to site {site}, which is not one of yours ({mine})")
        };
        rejections.push(Rejection {
            line: Some(unsigned(row.try_get("line")?, "line")?),
            column: Some(column.to_owned()),
            code: OTHER_SITE,
            detail,
        });
    }
    Ok((rejections, count))
}

/// Code of a row that touches a site which the sender is not bound to.
pub const OTHER_SITE: &str = "other_site";

/// Batches with at least one row in one of `own`.
pub async fn batches_touching(
    connection: &mut PgConnection,
    programme_id: Uuid,
    own: &[String],
) -> Result<BTreeSet<Uuid>, StoreError> {
    let mut found = BTreeSet::new();
    for kind in BatchKind::ALL.into_iter().filter(|kind| tell_apart(*kind)) {
        let sql = format!(
            "select distinct batch_id from {} where programme_id = $1 and {}",
            table(kind),
            condition(kind, "$2")
        );
        let ids: Vec<Uuid> = sqlx::query_scalar(AssertSqlSafe(sql))
            .bind(programme_id)
            .bind(own)
            .fetch_all(&mut *connection)
            .await?;
        found.extend(ids);
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_the_field_leads_to_a_site() {
        let leads = [
            (BatchKind::Households, Lead::Site),
            (BatchKind::Deployments, Lead::Household),
            (BatchKind::DeploymentEnds, Lead::Deployment),
            (BatchKind::UsageSurvey, Lead::Household),
            (BatchKind::KitchenTest, Lead::Household),
            (BatchKind::CharWeighing, Lead::Household),
        ];
        for (kind, expected) in leads {
            assert_eq!(lead(kind), Some(expected), "{kind}");
        }
    }
}
