//! Findings: a verifier asks, the programme answers, the verifier closes.
//!
//! Every line of a dialogue is an entry of the trail. `subject` finds what a finding is
//! raised on, `periods` which findings keep a period open, `files` what is attached.

mod files;
mod periods;
mod subject;

pub use files::{ATTACHMENT_BYTES_MAX, AttachmentFile};
pub use periods::PeriodFindings;
pub(super) use periods::must_not_be_held_open;
pub use subject::FigureNow;

use super::{Caller, Once, Role, Service, ServiceError};
use crate::accounting::records::findings::{
    Act, Attachment, FindingClass, FindingLineRecord, FindingOpenedRecord, FindingState, Subject,
    SubjectKind, finding_id, number_of_finding,
};
use crate::store;
use crate::store::findings::{FindingRow, NewFinding as NewRow, Wanted};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;

/// Characters that one line of a dialogue may have.
const TEXT_MAX: usize = 10_000;

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFinding {
    pub class: FindingClass,
    pub subject: Subject,
    /// The period that it matters for, where the subject does not belong to one by itself.
    pub period: Option<String>,
    /// What it is held against, e.g. a clause of the methodology.
    pub requirement: Option<String>,
    /// What was found.
    pub text: String,
    #[serde(default)]
    pub attachments: Vec<Attachment>,
}

/// An answer, a comment, a resolution or the reason of a reopening.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLine {
    pub text: String,
    #[serde(default)]
    pub attachments: Vec<Attachment>,
}

/// A finding as it is listed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FindingView {
    /// As people name it, e.g. `F-001`.
    pub id: String,
    pub number: u64,
    pub class: FindingClass,
    pub subject: Subject,
    /// The period of the subject, else the one that was named.
    pub period: Option<String>,
    pub requirement: Option<String>,
    pub state: FindingState,
    /// What was found.
    pub text: String,
    pub opened_by: String,
    pub opened_at: DateTime<Utc>,
    /// The trail entry that opened it.
    pub sequence: u64,
}

/// A finding with all that was said about it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FindingDialogue {
    #[serde(flatten)]
    pub finding: FindingView,
    /// For a figure or a node: what it was, and what it is in the latest statement.
    pub figure: Option<FigureNow>,
    /// In trail order; the first line opened it.
    pub dialogue: Vec<LineView>,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct LineView {
    pub act: Act,
    pub text: String,
    pub actor: String,
    pub at: DateTime<Utc>,
    /// Its trail entry.
    pub sequence: u64,
    pub attachments: Vec<AttachmentView>,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct AttachmentView {
    #[serde(flatten)]
    pub attachment: Attachment,
    /// Whether its bytes are kept here, so that they can be fetched.
    pub kept: bool,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FindingPage {
    pub items: Vec<FindingView>,
    /// To be given as `after` for the next page; absent on the last one.
    pub next: Option<u64>,
}

/// Which findings are asked for.
#[derive(Debug, Clone, Default)]
pub struct FindingFilter {
    /// Absent = in any state.
    pub states: Option<Vec<FindingState>>,
    pub class: Option<FindingClass>,
    pub subject_kind: Option<SubjectKind>,
    pub subject_key: Option<String>,
}

impl Service {
    /// Raises a finding. For verifiers.
    ///
    /// # Errors
    /// `NotFound` where the subject is not recorded, `Invalid` where a field cannot be taken.
    pub async fn open_finding(
        &self,
        caller: &Caller,
        new: &NewFinding,
        once: &Once,
    ) -> Result<FindingDialogue, ServiceError> {
        must_act(caller, Act::Opened)?;
        let text = check_words("text", &new.text)?;
        let requirement = match &new.requirement {
            Some(requirement) => Some(check_words("requirement", requirement)?),
            None => None,
        };
        let attachments = files::check(&new.attachments)?;
        let found = self
            .find_subject(caller, &new.subject, new.period.as_deref())
            .await?;
        self.write(caller, once, async |connection| {
            let number = store::findings::next_number(connection, caller.programme_id).await?;
            let record = FindingOpenedRecord {
                number,
                class: new.class,
                subject: found.subject.clone(),
                period: found.period.clone(),
                requirement: requirement.clone(),
                text: text.clone(),
                attachments: attachments.clone(),
            };
            let id = finding_id(number);
            let kind = Act::Opened.entry_kind();
            let sequence = self.log(connection, caller, kind, &id, &record).await?;
            let row = NewRow {
                number,
                class: new.class,
                subject: &found.subject,
                statement_id: found.statement,
                batch_id: found.batch,
                period: found.period.as_deref(),
                requirement: requirement.as_deref(),
                sequence,
            };
            store::findings::insert(connection, caller.programme_id, &row).await?;
            keep_line(
                connection,
                caller,
                number,
                (sequence, Act::Opened, &text),
                &attachments,
            )
            .await?;
            whole(connection, caller, number).await
        })
        .await
    }

    /// Adds a line to a dialogue: an answer, a comment, the closing, a reopening.
    ///
    /// # Errors
    /// `Forbidden` where the caller's role may not act so, `Conflict` where the finding
    /// stands so that it cannot be done.
    pub async fn act_on_finding(
        &self,
        caller: &Caller,
        id: &str,
        act: Act,
        new: &NewLine,
        once: &Once,
    ) -> Result<FindingDialogue, ServiceError> {
        must_act(caller, act)?;
        let text = check_words("text", &new.text)?;
        let attachments = files::check(&new.attachments)?;
        self.write(caller, once, async |connection| {
            let row = row_of(connection, caller, id).await?;
            if !row.state.allows(act) {
                return Err(conflict(&row));
            }
            let number = row.number;
            let record = FindingLineRecord {
                number,
                text: text.clone(),
                attachments: attachments.clone(),
            };
            let id = finding_id(number);
            let kind = act.entry_kind();
            let sequence = self.log(connection, caller, kind, &id, &record).await?;
            keep_line(
                connection,
                caller,
                number,
                (sequence, act, &text),
                &attachments,
            )
            .await?;
            whole(connection, caller, number).await
        })
        .await
    }

    /// Findings after a number, in the order of their numbers.
    pub async fn findings(
        &self,
        caller: &Caller,
        filter: &FindingFilter,
        after: Option<u64>,
        limit: u32,
    ) -> Result<FindingPage, ServiceError> {
        must_read(caller)?;
        let wanted = Wanted {
            number: None,
            states: filter.states.clone(),
            class: filter.class,
            subject_kind: filter.subject_kind,
            subject_key: filter.subject_key.clone(),
            after,
            limit: Some(limit.saturating_add(1)),
        };
        let mut connection = self.reading(caller).await?;
        let rows = store::findings::list(&mut connection, caller.programme_id, &wanted).await?;
        let limit = usize::try_from(limit).unwrap_or(usize::MAX);
        let more = rows.len() > limit;
        let items: Vec<FindingView> = rows.into_iter().take(limit).map(view).collect();
        Ok(FindingPage {
            next: items.last().map(|last| last.number).filter(|_| more),
            items,
        })
    }

    /// One finding with its dialogue.
    pub async fn finding(
        &self,
        caller: &Caller,
        id: &str,
    ) -> Result<FindingDialogue, ServiceError> {
        must_read(caller)?;
        let mut connection = self.reading(caller).await?;
        let number = row_of(&mut connection, caller, id).await?.number;
        whole(&mut connection, caller, number).await
    }

    /// How many findings are not closed.
    pub async fn unclosed_findings(&self, caller: &Caller) -> Result<u64, ServiceError> {
        must_read(caller)?;
        let mut connection = self.reading(caller).await?;
        Ok(store::findings::count_unclosed(&mut connection, caller.programme_id).await?)
    }
}

fn must_read(caller: &Caller) -> Result<(), ServiceError> {
    caller.must_be(&[Role::Manager, Role::Verifier])
}

fn must_act(caller: &Caller, act: Act) -> Result<(), ServiceError> {
    let roles: Vec<Role> = act
        .actors()
        .iter()
        .filter_map(|code| Role::from_code(code))
        .collect();
    caller.must_be(&roles)
}

fn conflict(row: &FindingRow) -> ServiceError {
    let id = finding_id(row.number);
    match row.state {
        FindingState::Closed => ServiceError::conflict(
            "finding_closed",
            format!("{id} is closed; a verifier may reopen it"),
        ),
        FindingState::Open | FindingState::Answered => {
            ServiceError::conflict("finding_not_closed", format!("{id} is not closed"))
        }
    }
}

/// Words of several lines; what else controls a terminal is refused.
fn check_words(field: &str, text: &str) -> Result<String, ServiceError> {
    let text = text.replace("\r\n", "\n").trim().to_owned();
    let length = text.chars().count();
    let odd = |c: char| c.is_control() && c != '\n' && c != '\t';
    if !(1..=TEXT_MAX).contains(&length) || text.chars().any(odd) {
        let detail = format!("give 1 to {TEXT_MAX} characters without control characters");
        return Err(ServiceError::invalid(field, detail));
    }
    Ok(text)
}

async fn keep_line(
    connection: &mut PgConnection,
    caller: &Caller,
    number: u64,
    line: (u64, Act, &str),
    attachments: &[Attachment],
) -> Result<(), ServiceError> {
    let programme = caller.programme_id;
    Ok(store::findings::insert_line(connection, programme, number, line, attachments).await?)
}

async fn row_of(
    connection: &mut PgConnection,
    caller: &Caller,
    id: &str,
) -> Result<FindingRow, ServiceError> {
    let unknown = || ServiceError::not_found("finding", id);
    let number = number_of_finding(id).ok_or_else(unknown)?;
    let wanted = Wanted {
        number: Some(number),
        ..Wanted::default()
    };
    store::findings::list(connection, caller.programme_id, &wanted)
        .await?
        .pop()
        .ok_or_else(unknown)
}

/// A finding with its dialogue, as it stands in this transaction.
async fn whole(
    connection: &mut PgConnection,
    caller: &Caller,
    number: u64,
) -> Result<FindingDialogue, ServiceError> {
    let programme = caller.programme_id;
    let row = row_of(connection, caller, &finding_id(number)).await?;
    let lines = store::findings::dialogue(connection, programme, number).await?;
    let attached = store::findings::attachments(connection, programme, number).await?;
    let figure = subject::figure_now(connection, caller, &row).await?;
    let dialogue = lines.into_iter().map(|line| LineView {
        attachments: attached
            .iter()
            .filter(|each| each.sequence == line.sequence)
            .map(|each| AttachmentView {
                attachment: each.attachment.clone(),
                kept: each.kept,
            })
            .collect(),
        act: line.act,
        text: line.text,
        actor: line.actor,
        at: line.at,
        sequence: line.sequence,
    });
    Ok(FindingDialogue {
        figure,
        dialogue: dialogue.collect(),
        finding: view(row),
    })
}

fn view(row: FindingRow) -> FindingView {
    FindingView {
        id: finding_id(row.number),
        number: row.number,
        class: row.class,
        subject: row.subject,
        period: row.period,
        requirement: row.requirement,
        state: row.state,
        text: row.text,
        opened_by: row.opened_by,
        opened_at: row.opened_at,
        sequence: row.sequence,
    }
}
