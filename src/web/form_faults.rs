//! What was wrong with a form: beside its fields where a field is to blame, above it otherwise.

use super::refusal::Refusal;
use super::words;
use crate::service::ServiceError;
use axum::http::StatusCode;
use std::collections::BTreeMap;

/// Nothing, until a form was refused.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct FormFaults {
    /// Said above the form.
    pub general: Vec<String>,
    fields: BTreeMap<String, String>,
}

impl FormFaults {
    /// Faults that the sender can mend; every other error has a page of its own.
    pub fn of(error: ServiceError) -> Result<(StatusCode, FormFaults), Refusal> {
        let mut faults = FormFaults::default();
        let status = match error {
            ServiceError::Invalid(problems) => {
                for problem in problems {
                    let said = format!("{}.", words::capital(&problem.detail));
                    faults.fields.entry(problem.field).or_insert(said);
                }
                faults
                    .general
                    .push("Nothing was written: look at the fields below.".into());
                StatusCode::UNPROCESSABLE_ENTITY
            }
            ServiceError::Gaps(gaps) => {
                let sentences = gaps.into_iter().map(|gap| words::label(&gap.sentence));
                faults.general.extend(sentences);
                StatusCode::UNPROCESSABLE_ENTITY
            }
            other => {
                let (status, sentence) = words::fault(other)?;
                faults.general.push(sentence);
                status
            }
        };
        Ok((status, faults))
    }

    /// What is wrong with a field.
    pub fn at(&self, field: &str) -> Option<&str> {
        self.fields.get(field).map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::FieldProblem;

    #[test]
    fn a_field_keeps_its_own_fault_and_the_form_says_that_there_is_one() {
        let problem = |field: &str, detail: &str| FieldProblem {
            field: field.into(),
            detail: detail.into(),
        };
        let error = ServiceError::Invalid(vec![problem("ends_on", "lies before starts_on")]);
        let (status, faults) = FormFaults::of(error).unwrap();
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(faults.at("ends_on"), Some("Lies before starts_on."));
        assert_eq!(faults.at("code"), None);
        assert_eq!(faults.general.len(), 1);
    }
}
