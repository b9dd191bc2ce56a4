//! One round as it stands: its steps, its drawn units, its progress.

use super::{Steps, steps_of};
use crate::accounting::rounds::progress::{Counts, Visit, progress};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord,
};
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
    /// The drawn units of the caller's own sites, in the order of the draw.
    pub units: Vec<DrawnUnitView>,
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

    pub async fn round(&self, caller: &Caller, code: &str) -> Result<RoundDetail, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let programme = caller.programme_id;
        let row = round_by_code(&mut connection, caller, code).await?;
        let kind = row.record.kind;
        let steps = steps_of(&mut connection, caller, code).await?;
        let (mut counts, mut units) = (None, Vec::new());
        if let (Some((_, planned)), Some(_)) = (&steps.plan, &steps.draw) {
            let frame = store::drawn_rounds::frame(&mut connection, programme, code).await?;
            let known: BTreeMap<&str, _> = frame
                .iter()
                .map(|unit| (unit.unit.as_str(), unit))
                .collect();
            let own = |unit: &str| known.get(unit).is_some_and(|u| caller.sees(&u.site_code));
            let drawn = store::drawn_rounds::draw(&mut connection, programme, code).await?;
            let position = store::trail::size(&mut connection, programme).await?;
            let unit = planned.plan.unit;
            let answers = store::drawn_rounds::answers(
                &mut connection,
                programme,
                code,
                kind,
                unit,
                position,
            )
            .await?;
            let (states, all) = progress(&drawn, &answers);
            counts = caller.sites.is_none().then_some(all);
            units = states
                .into_iter()
                .filter(|state| own(&state.drawn.unit))
                .filter_map(|state| {
                    let unit = known.get(state.drawn.unit.as_str())?;
                    Some(DrawnUnitView {
                        group: state.drawn.group.clone(),
                        place: state.drawn.place,
                        reserve: state.drawn.reserve,
                        hash: state.drawn.hash.clone(),
                        unit: state.drawn.unit.clone(),
                        site_code: unit.site_code.clone(),
                        household_code: unit.household_code.clone(),
                        serial: unit.serial.clone(),
                        visit: state.visit,
                        out_of_turn: state.out_of_turn,
                    })
                })
                .collect();
        }
        let Steps {
            plan,
            frame,
            seed,
            draw,
            close,
        } = steps;
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
        })
    }
}
