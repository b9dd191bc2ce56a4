//! Codes and times as the pages show them; numbers are those of `report::words`.

use super::refusal::Refusal;
use crate::accounting::records::kind;
use crate::accounting::records::opinions::OPINION_RECORDED;
use crate::accounting::rounds::records::kind as step;
pub(super) use crate::report::words::{
    basis, capital, count, drawn, evidence_role, figure, figure_bounds, label, mark, percent,
    precise, precise_bounds, spaced, spread, unit, whole,
};
use crate::service::{Role, ServiceError};
use axum::http::StatusCode;
use chrono::{DateTime, Utc};

/// What is said on the page where a form could not be taken; everything else has a page of
/// its own.
pub(super) fn fault(error: ServiceError) -> Result<(StatusCode, String), Refusal> {
    let status = match &error {
        ServiceError::Invalid(_) => StatusCode::UNPROCESSABLE_ENTITY,
        ServiceError::Conflict { .. } => StatusCode::CONFLICT,
        ServiceError::NotFound { .. } => StatusCode::NOT_FOUND,
        ServiceError::Braked { .. } => StatusCode::TOO_MANY_REQUESTS,
        ServiceError::TooLarge { .. } => StatusCode::PAYLOAD_TOO_LARGE,
        _ => return Err(error.into()),
    };
    let text = match &error {
        ServiceError::Invalid(problems) => problems
            .iter()
            .map(|problem| format!("{} {}", spaced(&problem.field), problem.detail))
            .collect::<Vec<_>>()
            .join("; "),
        ServiceError::TooLarge { limit_bytes } => format!(
            "the file is larger than {}, the most that is taken; send its rows in several files, \
             each with the header",
            bytes(*limit_bytes)
        ),
        other => other.to_string(),
    };
    Ok((status, format!("{}.", capital(&text))))
}

/// A size of files.
pub(super) fn bytes(bytes: u64) -> String {
    const MIB: u64 = 1024 * 1024;
    match bytes {
        0..MIB => format!("{} bytes", count(bytes)),
        _ => format!("{} MiB", count(bytes / MIB)),
    }
}

pub(super) fn instant(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}

/// Enough of a hash to tell it from its neighbours.
pub(super) fn short_hash(hash: &str) -> String {
    hash.chars().take(12).collect()
}

pub(super) fn role(role: Role) -> &'static str {
    match role {
        Role::Manager => "manager",
        Role::Monitor => "monitor",
        Role::Verifier => "verifier",
    }
}

/// What an entry of the trail tells.
pub(super) fn event(code: &str) -> String {
    match code {
        kind::PROGRAMME_CREATED => "Programme founded".into(),
        kind::SITE_ADDED => "Site added".into(),
        kind::STOVE_MODEL_ADDED => "Stove model added".into(),
        kind::FACTORS_ADDED => "Factors added".into(),
        kind::METHODOLOGY_ADDED => "Methodology added".into(),
        kind::ROUND_OPENED => "Round opened".into(),
        step::ROUND_PLANNED => "Round planned".into(),
        step::ROUND_FRAMED => "Frame of a round taken".into(),
        step::ROUND_SEEDED => "Seed of a round fixed".into(),
        step::ROUND_DRAWN => "Sample of a round drawn".into(),
        step::ROUND_CLOSED => "Round closed".into(),
        kind::BATCH_ACCEPTED => "Batch accepted".into(),
        kind::ROW_SUPERSEDED => "Row superseded".into(),
        kind::ROW_EXCLUDED => "Row excluded".into(),
        kind::BATCH_WITHDRAWN => "Batch withdrawn".into(),
        kind::PERIOD_OPENED => "Monitoring period opened".into(),
        kind::PERIOD_CLOSED => "Monitoring period closed".into(),
        kind::STATEMENT_MADE => "Statement made".into(),
        kind::PERSON_ADDED => "Person added".into(),
        kind::PERSON_CHANGED => "Person changed".into(),
        kind::PASSWORD_SET => "Password set".into(),
        kind::TOKEN_ISSUED => "Token issued".into(),
        kind::TOKEN_REVOKED => "Token revoked".into(),
        kind::FLAGS_RAISED => "Flags raised".into(),
        kind::FLAG_ANSWERED => "Flag answered".into(),
        OPINION_RECORDED => "Opinion of a verification body recorded".into(),
        kind::MAPPING_SAVED => "Column names saved".into(),
        other => capital(&spaced(other)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_of_the_trail_are_told_in_words() {
        assert_eq!(event("batch-accepted"), "Batch accepted");
        assert_eq!(event("finding-raised"), "Finding raised");
    }
}
