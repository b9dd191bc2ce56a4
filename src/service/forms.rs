//! Phone forms: which there are, and what a filled-in one becomes.

use super::batches::{BatchView, OTHER_SITE, Upload};
use super::upload::Spooled;
use super::{Caller, Role, Service, ServiceError, id_of};
use crate::accounting::records::RoundRecord;
use crate::intake::xform::{
    FormId, Submission, XForm, question_label, read_submission, write_form,
};
use crate::intake::{BatchKind, Rejection, Rejections, Template, code};
use crate::store;
use crate::trail::merkle::sha256;
use uuid::Uuid;

impl Service {
    /// The forms that the caller may fill in today: one for each kind of the register and one
    /// for each round that has not ended.
    pub async fn forms(&self, caller: &Caller) -> Result<Vec<XForm>, ServiceError> {
        let today = self.now().date_naive();
        // The day of the end is one day more than the round has: where the programme is, it
        // may still be the day before.
        let rounds = self.rounds_for_forms(caller).await?;
        let open = rounds.into_iter().filter(|round| today <= round.ends_on);
        let register = BatchKind::ALL
            .into_iter()
            .filter(|kind| !kind.needs_round());
        let register = register.map(|kind| FormId { kind, round: None });
        let of_rounds = open.map(|round| FormId {
            kind: BatchKind::of_round(round.kind),
            round: Some(round.code),
        });
        Ok(register
            .chain(of_rounds)
            .filter(|id| may_fill_in(caller, id.kind))
            .map(write_form)
            .collect())
    }

    /// One form by its name, whether its round has ended or not: rows may arrive late.
    pub async fn form(&self, caller: &Caller, name: &str) -> Result<XForm, ServiceError> {
        let missing = || ServiceError::not_found("form", name);
        let id: FormId = name.parse().map_err(|_| missing())?;
        if !may_fill_in(caller, id.kind) {
            return Err(missing());
        }
        if let Some(code) = &id.round {
            let rounds = self.rounds_for_forms(caller).await?;
            let takes = |round: &RoundRecord| {
                round.code == *code && BatchKind::of_round(round.kind) == id.kind
            };
            if !rounds.iter().any(takes) {
                return Err(missing());
            }
        }
        Ok(write_form(id))
    }

    /// Whether the caller may send filled-in forms at all.
    pub fn may_submit(&self, caller: &Caller) -> Result<(), ServiceError> {
        caller.must_be(&[Role::Manager, Role::Monitor])?;
        caller.must_write()
    }

    /// Takes a filled-in form as a batch of one row. The hash of the file is that of `xml`,
    /// its name the instance's id; the same instance sent again is answered with the batch
    /// that it became, marked as repeated.
    ///
    /// # Errors
    /// `Rejected` with the questions in the words of the form; `Forbidden` where the row is
    /// of a site that the caller is not bound to; `Conflict` where the instance was taken
    /// with other answers.
    pub async fn accept_form(
        &self,
        caller: &Caller,
        xml: &[u8],
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        self.may_submit(caller)?;
        let submission = read_submission(xml).map_err(|list| {
            let mut rejections = Rejections::new();
            rejections.extend(list);
            ServiceError::Rejected(rejections)
        })?;
        let kind = submission.form.kind;
        let template = kind.template();
        let file_sha256 = sha256(xml);
        // What was sent is the XML: its hash can be compared with what the phone keeps.
        let file = Spooled::from_bytes(&csv_of(template, &submission)?)?.made_of(xml)?;
        let upload = Upload {
            kind,
            round: submission.form.round.clone(),
            file_name: Some(submission.instance_id.clone()),
            file,
        };
        let id = instance_batch_id(caller, &submission);
        let batch = self
            .accept_batch_as(caller, id, upload, key)
            .await
            .map_err(|error| in_the_forms_words(template, error))?;
        if batch.file_sha256 != file_sha256.to_string() {
            return Err(ServiceError::conflict(
                "instance_changed",
                "a form with this instanceID was taken with other answers; rows are not \
                 edited, ask the office for a correction",
            ));
        }
        Ok(batch)
    }

    async fn rounds_for_forms(&self, caller: &Caller) -> Result<Vec<RoundRecord>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let rounds = store::rounds::all(&mut connection, caller.programme_id, position).await?;
        Ok(rounds.into_iter().map(|row| row.record).collect())
    }
}

/// A kind whose rows cannot be told apart by site is not for those who are bound to some.
fn may_fill_in(caller: &Caller, kind: BatchKind) -> bool {
    caller.sites.is_none() || store::sites::tell_apart(kind)
}

/// However often an instance is sent, by whomever, it is one batch of its form.
fn instance_batch_id(caller: &Caller, submission: &Submission) -> Uuid {
    id_of(&[
        "form",
        &caller.programme_id.to_string(),
        &submission.form.to_string(),
        &submission.instance_id,
    ])
}

/// The answers as a file of one row, the form in which every check takes them.
fn csv_of(template: &Template, submission: &Submission) -> Result<Vec<u8>, ServiceError> {
    let broken = |e: csv::Error| ServiceError::Internal(format!("filled-in form: {e}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = template.columns.iter().map(|column| column.name);
    writer.write_record(header).map_err(broken)?;
    writer.write_record(&submission.texts).map_err(broken)?;
    writer
        .into_inner()
        .map_err(|e| ServiceError::Internal(format!("filled-in form: {e}")))
}

/// Names the question instead of the column, and says nothing of lines and cells.
fn in_the_forms_words(template: &Template, error: ServiceError) -> ServiceError {
    let ServiceError::Rejected(mut rejections) = error else {
        return error;
    };
    if let Some(foreign) = rejections.list.iter().find(|each| each.code == OTHER_SITE) {
        return ServiceError::Forbidden(foreign.detail.clone());
    }
    for rejection in &mut rejections.list {
        *rejection = asked_on_the_form(template, rejection);
    }
    ServiceError::Rejected(rejections)
}

fn asked_on_the_form(template: &Template, rejection: &Rejection) -> Rejection {
    let label = rejection.column.as_deref().map(|name| {
        let found = template.columns.iter().find(|column| column.name == name);
        found.map_or_else(|| name.to_owned(), question_label)
    });
    let detail = match rejection.code {
        code::MISSING_VALUE => "this question must be answered".to_owned(),
        code::NO_ROWS => "no question is answered".to_owned(),
        _ => rejection.detail.clone(),
    };
    Rejection {
        line: None,
        column: label,
        code: rejection.code,
        detail,
    }
}
