//! The rows of a round as the accounting reads them.

use crate::accounting::evidence::*;
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::answers::RoundRows;
use crate::intake::{BatchKind, Row, row_from_texts};
use crate::service::ServiceError;
use crate::store::rows::StoredRow;

/// Stored rows of a round of this kind, typed.
pub(super) fn round_rows(kind: RoundKind, stored: &[StoredRow]) -> Result<RoundRows, ServiceError> {
    Ok(match BatchKind::of_round(kind) {
        BatchKind::UsageSurvey => RoundRows::Usage(typed::<UsageAnswer>(kind, stored)?),
        BatchKind::KitchenTest => RoundRows::Kitchens(typed::<KitchenDay>(kind, stored)?),
        BatchKind::CharWeighing => RoundRows::Weighings(typed::<CharWeighing>(kind, stored)?),
        BatchKind::BaselineSurvey => {
            RoundRows::Baseline(typed::<BaselineSurveyAnswer>(kind, stored)?)
        }
        BatchKind::CookingTest => RoundRows::Cooking(typed::<CookingTest>(kind, stored)?),
        BatchKind::StoveTest => RoundRows::StoveTests(typed::<StoveTest>(kind, stored)?),
        BatchKind::CharLab => RoundRows::CharLab(typed::<CharLabTest>(kind, stored)?),
        BatchKind::MoistureReading => RoundRows::Moisture(typed::<MoistureReading>(kind, stored)?),
        other => {
            let problem = format!("{other} rows belong to no round");
            return Err(ServiceError::Internal(problem));
        }
    })
}

fn typed<T>(kind: RoundKind, stored: &[StoredRow]) -> Result<Vec<T>, ServiceError>
where
    T: for<'a> TryFrom<&'a Row>,
{
    let template = BatchKind::of_round(kind).template();
    let broken = || ServiceError::Internal("a stored row breaks its template".into());
    stored
        .iter()
        .map(|row| {
            let texts = row.texts.iter().map(|text| text.as_deref().unwrap_or(""));
            let row = row_from_texts(template, row.line, texts).map_err(|_| broken())?;
            T::try_from(&row).map_err(|_| broken())
        })
        .collect()
}
