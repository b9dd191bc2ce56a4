//! What can be refused or go wrong, in the user's words. `api` and `web` turn it
//! into answers; nothing internal is in the texts.

use super::batches::Refused;
use crate::accounting::methodology::Shortcoming;
use crate::accounting::statement::Gap;
use crate::intake::Rejections;
use crate::store::StoreError;

/// One field of a request that cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, utoipa::ToSchema)]
pub struct FieldProblem {
    pub field: String,
    pub detail: String,
}

#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    #[error("the token or session is missing, unknown or expired")]
    Unauthenticated,
    #[error("{0}")]
    Forbidden(String),
    #[error("too many wrong tries; wait {seconds} seconds")]
    Braked { seconds: u64 },
    #[error("there is no {what} {name}")]
    NotFound { what: &'static str, name: String },
    #[error("some fields cannot be taken: {}", joined(.0.iter().map(|p| format!("{} {}", p.field, p.detail))))]
    Invalid(Vec<FieldProblem>),
    /// `code` is stable, `detail` is for people.
    #[error("{detail}")]
    Conflict { code: &'static str, detail: String },
    #[error("the file was refused and nothing of it was kept; first of {} fault(s): {}", .0.count, joined(.0.list.iter().take(3).map(ToString::to_string)))]
    Rejected(Rejections),
    #[error("the file was refused and nothing of it was kept; first of {} fault(s): {}", .0.rejections.count, joined(.0.rejections.list.iter().take(3).map(ToString::to_string)))]
    RejectedFile(Box<Refused>),
    #[error("the statement cannot be made yet: {}", joined(.0.iter().map(|gap| gap.sentence.clone())))]
    Gaps(Vec<Gap>),
    #[error("the methodology cannot be added: {}", joined(.0.iter().map(|each| each.sentence.clone())))]
    Shortcomings(Vec<Shortcoming>),
    #[error("the upload is larger than {limit_bytes} bytes")]
    TooLarge { limit_bytes: u64 },
    #[error("the upload broke off: {0}")]
    BrokenUpload(String),
    #[error("the database cannot be reached")]
    Outage(#[source] StoreError),
    #[error("stored data is damaged")]
    Damaged(#[source] StoreError),
    #[error("internal error: {0}")]
    Internal(String),
}

impl ServiceError {
    pub(super) fn not_found(what: &'static str, name: impl ToString) -> Self {
        ServiceError::NotFound {
            what,
            name: name.to_string(),
        }
    }

    pub(super) fn invalid(field: &str, detail: impl Into<String>) -> Self {
        ServiceError::Invalid(vec![FieldProblem {
            field: field.into(),
            detail: detail.into(),
        }])
    }

    pub(super) fn conflict(code: &'static str, detail: impl Into<String>) -> Self {
        ServiceError::Conflict {
            code,
            detail: detail.into(),
        }
    }
}

impl From<sqlx::Error> for ServiceError {
    fn from(error: sqlx::Error) -> Self {
        StoreError::from(error).into()
    }
}

/// The parts of a refusal in one line.
fn joined(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join("; ")
}

/// Named constraints are refusals that a user can act on; everything else is ours.
impl From<StoreError> for ServiceError {
    fn from(error: StoreError) -> Self {
        if error.is_outage() {
            return ServiceError::Outage(error);
        }
        if matches!(error, StoreError::Damaged { .. }) {
            return ServiceError::Damaged(error);
        }
        let (code, detail) = match error.constraint() {
            // A programme's id follows from its code, so either may be met first.
            Some("programme_code_taken" | "programme_pkey") => {
                ("code_taken", "a programme with this code exists")
            }
            Some("person_name_taken") => {
                ("name_taken", "the programme has a person with this name")
            }
            Some("site_code_taken") => ("code_taken", "the programme has a site with this code"),
            Some("stove_model_taken") => (
                "code_taken",
                "the programme has this version of the stove model",
            ),
            Some("batch_pkey") => (
                "batch_known",
                "a batch of this id was accepted before, with rows of other sites",
            ),
            Some("round_code_taken") => ("code_taken", "the programme has a round with this code"),
            Some("round_step_taken") => (
                "step_taken",
                "this step of the round has been taken; each is taken once",
            ),
            Some("period_code_taken") => {
                ("code_taken", "the programme has a period with this code")
            }
            Some("factor_version_taken") => (
                "version_taken",
                "this version of the factor exists; factors are never edited, add the next version",
            ),
            Some("methodology_version_taken") => (
                "version_taken",
                "this version of the methodology exists; add the next version",
            ),
            Some("periods_apart") => (
                "overlapping_period",
                "the period shares days with another one; a stove-day belongs to one period",
            ),
            Some("period_closed_already") => ("period_closed", "the period is already closed"),
            Some("correction_taken") => (
                "corrected_already",
                "the row or batch was corrected already",
            ),
            Some("deployment_end_of_deployment") => (
                "unknown_deployment",
                "an end would be recorded of a deployment that does not stand",
            ),
            Some("one_household_at_a_time") => (
                "overlapping_deployment",
                "a stove would be in two households at a time",
            ),
            Some("one_unmarked_stove_at_a_time") => (
                "second_stove_not_marked",
                "a household would have two stoves at a time, neither marked as a second one",
            ),
            Some(
                "household_code_taken"
                | "deployment_taken"
                | "deployment_end_taken"
                | "usage_answer_taken"
                | "kitchen_day_taken"
                | "char_weighing_taken"
                | "baseline_survey_answer_taken"
                | "cooking_test_taken"
                | "stove_test_taken"
                | "char_lab_result_taken"
                | "moisture_reading_taken",
            ) => ("duplicate_row", "a row of the batch is already recorded"),
            _ => return ServiceError::Internal(error.to_string()),
        };
        ServiceError::conflict(code, detail)
    }
}
