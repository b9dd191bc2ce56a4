//! Every finding with its dialogue, put together from the entries of the trail.

use super::{
    Act, Attachment, FindingClass, FindingLineRecord, FindingOpenedRecord, FindingState, Subject,
    finding_id,
};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// A finding with all that was said about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// As people name it, e.g. `F-001`.
    pub id: String,
    pub number: u64,
    pub class: FindingClass,
    pub subject: Subject,
    pub period: Option<String>,
    pub requirement: Option<String>,
    pub state: FindingState,
    /// In trail order; the first one opened it.
    pub dialogue: Vec<Line>,
}

/// One line of a dialogue, as one entry of the trail told it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    pub sequence: u64,
    pub act: Act,
    pub actor: String,
    /// RFC 3339 in UTC, as in the entry.
    pub time: String,
    pub text: String,
    pub attachments: Vec<Attachment>,
}

/// What an entry of the trail says beside its content.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    pub sequence: u64,
    pub subject: &'a str,
    pub actor: &'a str,
    pub time: &'a str,
}

/// The findings of a programme, in their order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FindingBook {
    findings: Vec<Finding>,
}

impl FindingBook {
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// Takes in one entry about a finding.
    ///
    /// # Errors
    /// A sentence where the entry could not have happened: a number out of turn, an act that
    /// the finding's state or the actor's role does not allow, a content of another shape.
    pub fn take(&mut self, act: Act, told: Told<'_>, content: &[u8]) -> Result<(), String> {
        let role = told.actor.split(':').next().unwrap_or_default();
        if !act.actors().contains(&role) {
            return Err(format!(
                "{:?} may not have {} a finding",
                told.actor,
                act.code()
            ));
        }
        let number = match act {
            Act::Opened => self.open(told, read(content)?)?,
            _ => self.add(act, told, read(content)?)?,
        };
        let id = finding_id(number);
        if told.subject != id {
            return Err(format!(
                "its subject is {:?}, its content is of {id}",
                told.subject
            ));
        }
        Ok(())
    }

    fn open(&mut self, told: Told<'_>, record: FindingOpenedRecord) -> Result<u64, String> {
        let due = self.findings.len() as u64 + 1;
        if record.number != due {
            return Err(format!(
                "finding {} is opened where {due} is due",
                record.number
            ));
        }
        self.findings.push(Finding {
            id: finding_id(record.number),
            number: record.number,
            class: record.class,
            subject: record.subject,
            period: record.period,
            requirement: record.requirement,
            state: FindingState::Open,
            dialogue: vec![line(Act::Opened, told, record.text, record.attachments)],
        });
        Ok(record.number)
    }

    fn add(&mut self, act: Act, told: Told<'_>, record: FindingLineRecord) -> Result<u64, String> {
        let id = finding_id(record.number);
        let finding = self
            .findings
            .iter_mut()
            .find(|finding| finding.number == record.number)
            .ok_or_else(|| format!("finding {id} was never opened"))?;
        if !finding.state.allows(act) {
            let state = finding.state.code();
            return Err(format!(
                "finding {id} is {} while it is {state}",
                act.code()
            ));
        }
        finding.state = finding.state.after(act);
        finding
            .dialogue
            .push(line(act, told, record.text, record.attachments));
        Ok(record.number)
    }
}

fn line(act: Act, told: Told<'_>, text: String, attachments: Vec<Attachment>) -> Line {
    Line {
        sequence: told.sequence,
        act,
        actor: told.actor.to_owned(),
        time: told.time.to_owned(),
        text,
        attachments,
    }
}

fn read<T: DeserializeOwned>(content: &[u8]) -> Result<T, String> {
    serde_json::from_slice(content).map_err(|e| format!("its content cannot be read: {e}"))
}

#[cfg(test)]
mod tests {
    use super::super::{SubjectKind, number_of_finding};
    use super::*;

    const OPENED: &str = r#"{"number":1,"class":"corrective_action_request","subject":{"kind":"period","key":"2025"},"period":"2025","requirement":null,"text":"why","attachments":[]}"#;
    const LINE: &str = r#"{"number":1,"text":"so","attachments":[]}"#;

    fn told(sequence: u64, actor: &str) -> Told<'_> {
        Told {
            sequence,
            subject: "F-001",
            actor,
            time: "2026-03-01T09:30:00Z",
        }
    }

    fn opened() -> FindingBook {
        let mut book = FindingBook::default();
        book.take(Act::Opened, told(4, "verifier: v"), OPENED.as_bytes())
            .unwrap();
        book
    }

    #[test]
    fn a_dialogue_is_told_in_order_and_its_last_act_decides_the_state() {
        let mut book = opened();
        assert_eq!(book.findings()[0].subject.kind, SubjectKind::Period);
        for (act, actor, state) in [
            (Act::Commented, "verifier: v", FindingState::Open),
            (Act::Answered, "manager: m", FindingState::Answered),
            (Act::Commented, "manager: m", FindingState::Answered),
            (Act::Closed, "verifier: v", FindingState::Closed),
            (Act::Reopened, "verifier: v", FindingState::Open),
            (Act::Closed, "verifier: v", FindingState::Closed),
        ] {
            book.take(act, told(5, actor), LINE.as_bytes()).unwrap();
            assert_eq!(book.findings()[0].state, state, "{act:?}");
        }
        assert_eq!(book.findings()[0].dialogue.len(), 7);
    }

    #[test]
    fn what_could_not_have_happened_is_refused() {
        let refused = |book: &FindingBook, act, told: Told<'_>, content: &str| {
            let mut next = book.clone();
            next.take(act, told, content.as_bytes()).unwrap_err()
        };
        let none = FindingBook::default();
        let verifier = told(5, "verifier: v");
        assert!(refused(&none, Act::Closed, verifier, LINE).contains("never opened"));
        let second = OPENED.replace("\"number\":1", "\"number\":2");
        assert!(refused(&none, Act::Opened, verifier, &second).contains("1 is due"));
        assert!(refused(&none, Act::Opened, told(5, "manager: m"), OPENED).contains("may not"));
        let open = opened();
        assert!(refused(&open, Act::Opened, verifier, OPENED).contains("2 is due"));
        assert!(refused(&open, Act::Reopened, verifier, LINE).contains("while it is open"));
        assert!(refused(&open, Act::Answered, verifier, LINE).contains("may not"));
        assert!(refused(&open, Act::Closed, told(5, "manager: m"), LINE).contains("may not"));
        assert!(refused(&open, Act::Closed, verifier, OPENED).contains("cannot be read"));
        let elsewhere = Told {
            subject: "F-002",
            ..verifier
        };
        assert!(refused(&open, Act::Closed, elsewhere, LINE).contains("F-002"));
        let mut closed = open;
        closed.take(Act::Closed, verifier, LINE.as_bytes()).unwrap();
        for act in [Act::Closed, Act::Commented] {
            assert!(refused(&closed, act, verifier, LINE).contains("while it is closed"));
        }
    }

    #[test]
    fn an_id_is_read_as_people_write_it() {
        for id in ["F-001", "f-1", "1", "F-0001"] {
            assert_eq!(number_of_finding(id), Some(1), "{id}");
        }
        for id in [
            "",
            "F-",
            "F-0",
            "F-+1",
            "G-1",
            "F-1x",
            "99999999999999999999",
        ] {
            assert_eq!(number_of_finding(id), None, "{id}");
        }
        assert_eq!(finding_id(7), "F-007");
        assert_eq!(finding_id(1234), "F-1234");
    }
}
