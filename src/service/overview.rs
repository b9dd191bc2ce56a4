//! What the first page answers: what was avoided and stored, how sure, and what
//! must be done before the period can be stated.

mod next_steps;

pub use next_steps::{NextStep, Place};

use super::batches::BatchView;
use super::findings::PeriodFindings;
use super::periods::PeriodView;
use super::rounds::RoundView;
use super::statements::StatementView;
use super::{Caller, Role, Service, ServiceError};
use crate::accounting::statement::{Gap, Statement};
use crate::store;
use chrono::{Datelike, Months, NaiveDate};
use next_steps::{Known, next_steps};
use std::collections::BTreeMap;

/// Stoves in service on one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InService {
    pub on: NaiveDate,
    /// `code version` of the model.
    pub model: String,
    pub site: String,
    pub stoves: u64,
}

#[derive(Debug, Clone)]
pub struct Overview {
    /// False for a caller who is bound to sites: then the counts are of those sites, and
    /// figures of the whole programme are left out.
    pub whole: bool,
    pub households: u64,
    pub deployments: u64,
    pub ended: u64,
    /// At the first of each month, by model and site.
    pub in_service: Vec<InService>,
    pub rounds: Vec<RoundView>,
    pub batches: Vec<BatchView>,
    pub periods: Vec<PeriodView>,
    /// The latest statement and its figures.
    pub statement: Option<(StatementView, Statement)>,
    pub findings: Option<OpenFindings>,
    /// What is to be done next; none for a caller who is bound to sites.
    pub steps: Vec<NextStep>,
}

/// Findings that are not closed, for those who read findings.
#[derive(Debug, Clone)]
pub struct OpenFindings {
    pub count: u64,
    /// What they mean for each period that is not closed.
    pub periods: Vec<PeriodFindings>,
}

/// What stands between a period and its statement.
#[derive(Debug, Clone)]
struct Missing {
    period: String,
    methodology: String,
    /// Empty = it can be stated now.
    gaps: Vec<Gap>,
}

/// Months shown at the most; a longer programme shows its last ones.
const MONTHS_MAX: u32 = 72;

impl Service {
    pub async fn overview(&self, caller: &Caller) -> Result<Overview, ServiceError> {
        let whole = caller.sites.is_none();
        let statements = if whole {
            self.statements(caller).await?
        } else {
            Vec::new()
        };
        let statement = match statements.first() {
            Some(latest) => Some(self.statement(caller, latest.id).await?),
            None => None,
        };
        let periods = self.periods(caller).await?;
        let (counts, in_service) = self.register_over_time(caller).await?;
        let rounds = self.rounds(caller).await?;
        let batches = self.batches(caller, None).await?;
        let findings = self.open_findings(caller, &periods).await?;
        let blocking: BTreeMap<String, Vec<String>> = findings
            .iter()
            .flat_map(|found| &found.periods)
            .map(|found| {
                let ids = found.blocking.iter().map(|finding| finding.id.clone());
                (found.period.clone(), ids.collect())
            })
            .collect();
        let steps = if whole {
            let sequences: Vec<u64> = batches.iter().map(|batch| batch.sequence).collect();
            next_steps(&Known {
                today: self.now().date_naive(),
                sites: self.sites(caller).await?.len(),
                models: self.stove_models(caller).await?.len(),
                households: counts.households,
                deployments: counts.deployments,
                rounds: &rounds,
                last_steps: &self.last_steps(caller).await?,
                open_flags: self.open_flags(caller).await?,
                open_findings: findings.as_ref().map_or(0, |found| found.count),
                periods: &periods,
                blocking: &blocking,
                statements: &statements,
                batch_sequences: &sequences,
                missing: &self.missing(caller, &periods, &statements).await?,
            })
        } else {
            Vec::new()
        };
        Ok(Overview {
            whole,
            households: counts.households,
            deployments: counts.deployments,
            ended: counts.ended,
            in_service,
            rounds,
            batches,
            periods,
            statement,
            findings,
            steps,
        })
    }

    /// Asked once: the steps and the page both tell of them. None for those who do not read
    /// findings.
    async fn open_findings(
        &self,
        caller: &Caller,
        periods: &[PeriodView],
    ) -> Result<Option<OpenFindings>, ServiceError> {
        if !matches!(caller.role, Role::Manager | Role::Verifier) {
            return Ok(None);
        }
        let mut found = OpenFindings {
            count: self.unclosed_findings(caller).await?,
            periods: Vec::new(),
        };
        for view in periods.iter().filter(|view| view.closed_by.is_none()) {
            let of_period = self.period_findings(caller, &view.period.code).await?;
            found.periods.push(of_period);
        }
        Ok(Some(found))
    }

    async fn register_over_time(
        &self,
        caller: &Caller,
    ) -> Result<(store::register::RegisterCounts, Vec<InService>), ServiceError> {
        let mut connection = self.reading(caller).await?;
        let counts = store::register::counts(
            &mut connection,
            caller.programme_id,
            caller.sites.as_deref(),
        )
        .await?;
        let span =
            store::register::first_installation(&mut connection, caller.programme_id).await?;
        let days = span
            .map(|(first, last)| months_between(first, last))
            .unwrap_or_default();
        let in_service = store::register::in_service(&mut connection, caller.programme_id, &days)
            .await?
            .into_iter()
            .filter(|row| caller.sees(&row.site_code))
            .map(|row| InService {
                on: row.on,
                model: format!("{} {}", row.model_code, row.model_version),
                site: row.site_code,
                stoves: row.stoves,
            })
            .collect();
        Ok((counts, in_service))
    }

    async fn missing(
        &self,
        caller: &Caller,
        periods: &[PeriodView],
        statements: &[StatementView],
    ) -> Result<Vec<Missing>, ServiceError> {
        let methodologies = self.methodologies(caller).await?;
        let Some(first) = methodologies.first() else {
            return Ok(Vec::new());
        };
        let methodology = first.id();
        let mut missing = Vec::new();
        for view in periods {
            let code = &view.period.code;
            if view.closed_by.is_some()
                || statements.iter().any(|statement| statement.period == *code)
            {
                continue;
            }
            let gaps = self.gaps(caller, code, &methodology).await?;
            missing.push(Missing {
                period: code.clone(),
                methodology: methodology.clone(),
                gaps,
            });
        }
        Ok(missing)
    }
}

/// The first of every month from the one after `first` to the one of `last`.
fn months_between(first: NaiveDate, last: NaiveDate) -> Vec<NaiveDate> {
    let start = |day: NaiveDate| day.with_day(1).unwrap_or(day);
    let end = start(last);
    let earliest = end
        .checked_sub_months(Months::new(MONTHS_MAX))
        .unwrap_or(end);
    let mut months = Vec::new();
    let mut month = start(first).max(earliest);
    while let Some(next) = month.checked_add_months(Months::new(1)) {
        if next > end {
            break;
        }
        months.push(next);
        month = next;
    }
    months
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_run_from_the_first_full_one_to_the_last() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let months = months_between(day("2023-01-17"), day("2023-04-02"));
        assert_eq!(
            months,
            [day("2023-02-01"), day("2023-03-01"), day("2023-04-01")]
        );
        assert_eq!(
            months_between(day("2000-01-01"), day("2023-04-02")).len(),
            72
        );
    }
}
