//! One round as it stands: its steps, its progress, and its drawn units a page at a time.

use super::reading::round_rows;
use super::{Steps, steps_of};
use crate::accounting::rounds::frame::FrameUnit;
use crate::accounting::rounds::progress::{Counts, UnitState, Visit, progress};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord,
};
use crate::intake::BatchKind;
use crate::service::rounds::{RoundView, round_by_code};
use crate::service::{Caller, Service, ServiceError};
use crate::store;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A step and the trail entry that holds it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StepAt<R> {
    pub sequence: u64,
    pub record: R,
}

/// One drawn unit and how it stands.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DrawnUnitView {
    pub group: String,
    pub place: u64,
    pub reserve: bool,
    pub hash: String,
    pub unit: String,
    pub site_code: String,
    pub household_code: String,
    pub serial: String,
    pub visit: Visit,
    /// Visited before the reserve units ahead of it were used: it does not count.
    pub out_of_turn: bool,
}

/// A round with all that is recorded of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RoundDetail {
    pub round: RoundView,
    pub plan: Option<StepAt<PlanRecord>>,
    pub frame: Option<StepAt<FrameRecord>>,
    pub seed: Option<StepAt<SeedRecord>>,
    pub draw: Option<StepAt<DrawRecord>>,
    /// Figures of every site: left out for callers who are bound to some.
    pub close: Option<StepAt<CloseRecord>>,
    pub closed: bool,
    /// Over every site: left out for callers who are bound to some.
    pub progress: Option<Counts>,
    /// A page of the drawn units of the caller's own sites, in the order of the draw.
    pub units: Vec<DrawnUnitView>,
    /// Drawn units of the caller's own sites, on all pages.
    pub unit_count: u64,
    /// What `after` is for the next page; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<u64>,
}

/// Which of the drawn units are wanted.
#[derive(Debug, Clone, Copy)]
pub struct UnitsWanted {
    /// How many of them are passed over.
    pub after: u64,
    pub limit: u32,
}

impl UnitsWanted {
    /// The page of these units, and what the next one comes after.
    fn page(self, units: Vec<DrawnUnitView>) -> (Vec<DrawnUnitView>, Option<u64>) {
        let until = self.after.saturating_add(u64::from(self.limit));
        let next = (until < units.len() as u64).then_some(until);
        let skipped = usize::try_from(self.after).unwrap_or(usize::MAX);
        let limit = usize::try_from(self.limit).unwrap_or(usize::MAX);
        let page = units.into_iter().skip(skipped).take(limit);
        (page.collect(), next)
    }
}

fn unit_view(state: &UnitState<'_>, known: &FrameUnit) -> DrawnUnitView {
    DrawnUnitView {
        group: state.drawn.group.clone(),
        place: state.drawn.place,
        reserve: state.drawn.reserve,
        hash: state.drawn.hash.clone(),
        unit: state.drawn.unit.clone(),
        site_code: known.site_code.clone(),
        household_code: known.household_code.clone(),
        serial: known.serial.clone(),
        visit: state.visit,
        out_of_turn: state.out_of_turn,
    }
}

fn at<R>(step: Option<(u64, R)>) -> Option<StepAt<R>> {
    step.map(|(sequence, record)| StepAt { sequence, record })
}

impl Service {
    /// The last step of each round that has any, by the round's code.
    pub async fn last_steps(
        &self,
        caller: &Caller,
    ) -> Result<BTreeMap<String, String>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let last = store::drawn_rounds::last_steps(&mut connection, caller.programme_id).await?;
        Ok(last.into_iter().collect())
    }

    /// One round with a page of its drawn units.
    pub async fn round(
        &self,
        caller: &Caller,
        code: &str,
        wanted: UnitsWanted,
    ) -> Result<RoundDetail, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let programme = caller.programme_id;
        let row = round_by_code(&mut connection, caller, code).await?;
        let steps = steps_of(&mut connection, caller, code).await?;
        let (mut counts, mut units) = (None, Vec::new());
        if let (Some((_, planned)), Some(_)) = (&steps.plan, &steps.draw) {
            let known =
                store::drawn_rounds::drawn_of_frame(&mut connection, programme, code).await?;
            let drawn = store::drawn_rounds::draw(&mut connection, programme, code).await?;
            let position = store::trail::size(&mut connection, programme).await?;
            let (kind, unit) = (BatchKind::of_round(row.record.kind), planned.plan.unit);
            let rows = store::drawn_rounds::rows_of_drawn(
                &mut connection,
                programme,
                code,
                kind,
                unit,
                position,
            )
            .await?;
            let answers = round_rows(row.record.kind, &rows)?.answers(unit);
            let (states, mut all) = progress(&drawn, &answers);
            if caller.sites.is_none() {
                all.outside = store::drawn_rounds::outside(
                    &mut connection,
                    programme,
                    code,
                    kind,
                    unit,
                    position,
                )
                .await?;
                counts = Some(all);
            }
            units = states
                .iter()
                .filter_map(|state| Some((state, known.get(&state.drawn.unit)?)))
                .filter(|(_, known)| caller.sees(&known.site_code))
                .map(|(state, known)| unit_view(state, known))
                .collect();
        }
        let Steps {
            plan,
            frame,
            seed,
            draw,
            close,
        } = steps;
        let unit_count = units.len() as u64;
        let (units, next) = wanted.page(units);
        Ok(RoundDetail {
            round: crate::service::rounds::view(row),
            plan: at(plan),
            frame: at(frame),
            seed: at(seed),
            draw: at(draw),
            closed: close.is_some(),
            close: at(close).filter(|_| caller.sites.is_none()),
            progress: counts,
            units,
            unit_count,
            next,
        })
    }
}
