//! The verdict of an audit: what was checked, and every fault with its table and row.

use serde::Serialize;
use std::fmt;
use uuid::Uuid;

/// What an audit looks at, one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AuditLevel {
    /// Entries, stored tree, signed heads.
    Trail,
    /// Tables whose rows follow from the entries.
    Records,
    /// Rows of the register and of the field, and what the database derives from them.
    Evidence,
    /// Frames and draws of rounds.
    Draws,
    /// Statements.
    Figures,
}

impl AuditLevel {
    const ALL: [AuditLevel; 5] = [
        AuditLevel::Trail,
        AuditLevel::Records,
        AuditLevel::Evidence,
        AuditLevel::Draws,
        AuditLevel::Figures,
    ];

    fn name(self) -> &'static str {
        match self {
            AuditLevel::Trail => "trail",
            AuditLevel::Records => "records",
            AuditLevel::Evidence => "evidence",
            AuditLevel::Draws => "draws",
            AuditLevel::Figures => "figures",
        }
    }
}

/// One thing that does not fit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AuditFault {
    pub table: String,
    /// The columns of the table's key below the programme, joined by `/`; empty where the table
    /// has one row a programme, or the fault is of the table as a whole.
    pub key: String,
    pub problem: String,
}

impl fmt::Display for AuditFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let AuditFault {
            table,
            key,
            problem,
        } = self;
        match key.as_str() {
            "" => write!(f, "{table}: {problem}"),
            key => write!(f, "{table} {key}: {problem}"),
        }
    }
}

/// One level of an audit.
#[derive(Debug, Clone, Serialize)]
pub struct AuditCheck {
    pub level: AuditLevel,
    /// What was done, in words; absent where the level could not be reached.
    pub done: Option<String>,
    pub faults: Vec<AuditFault>,
    /// Faults beyond those kept.
    pub further_faults: u64,
}

/// Faults kept for each level.
const FAULTS_KEPT: usize = 200;

/// Faults of a level that a person is shown.
const FAULTS_PRINTED: usize = 20;

/// The verdict over one programme of the database.
#[derive(Debug, Clone, Serialize)]
pub struct AuditReport {
    pub programme: Uuid,
    /// As the trail has it; absent where the trail does not say.
    pub code: Option<String>,
    /// Entries of the trail.
    pub entries: u64,
    /// Root of the tree over the entries as they stand, lower-case hex.
    pub root: String,
    pub checks: Vec<AuditCheck>,
    /// What a reader should know though it is no fault.
    pub remarks: Vec<String>,
}

impl AuditReport {
    pub(super) fn of(programme: Uuid) -> Self {
        let checks = AuditLevel::ALL
            .into_iter()
            .map(|level| AuditCheck {
                level,
                done: None,
                faults: Vec::new(),
                further_faults: 0,
            })
            .collect();
        AuditReport {
            programme,
            code: None,
            entries: 0,
            root: String::new(),
            checks,
            remarks: Vec::new(),
        }
    }

    /// True where every level was reached and none has a fault.
    pub fn is_sound(&self) -> bool {
        self.checks
            .iter()
            .all(|check| check.done.is_some() && check.faults.is_empty())
    }

    pub fn faults(&self) -> impl Iterator<Item = &AuditFault> {
        self.checks.iter().flat_map(|check| &check.faults)
    }

    pub(super) fn fault(
        &mut self,
        level: AuditLevel,
        table: &str,
        key: impl Into<String>,
        problem: impl Into<String>,
    ) {
        let Some(check) = self.checks.iter_mut().find(|check| check.level == level) else {
            return;
        };
        if check.faults.len() == FAULTS_KEPT {
            check.further_faults += 1;
            return;
        }
        check.faults.push(AuditFault {
            table: table.to_owned(),
            key: key.into(),
            problem: problem.into(),
        });
    }

    pub(super) fn done(&mut self, level: AuditLevel, sentence: String) {
        if let Some(check) = self.checks.iter_mut().find(|check| check.level == level) {
            check.done = Some(sentence);
        }
    }
}

impl fmt::Display for AuditReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let code = self.code.as_deref().unwrap_or("without a first entry");
        writeln!(f, "programme {code} ({})", self.programme)?;
        for check in &self.checks {
            let name = check.level.name();
            match (&check.done, check.faults.is_empty()) {
                (Some(done), true) => writeln!(f, "{name:<9} ok      {done}")?,
                (_, false) => {
                    let count = check.faults.len() as u64 + check.further_faults;
                    writeln!(f, "{name:<9} FAILED  {count} fault(s)")?;
                }
                (None, true) => writeln!(f, "{name:<9} --      not reached")?,
            }
            for fault in check.faults.iter().take(FAULTS_PRINTED) {
                writeln!(f, "          {fault}")?;
            }
            let rest =
                check.faults.len().saturating_sub(FAULTS_PRINTED) as u64 + check.further_faults;
            if rest > 0 {
                writeln!(
                    f,
                    "          and {rest} more; --json lists the first {FAULTS_KEPT}"
                )?;
            }
        }
        for remark in &self.remarks {
            writeln!(f, "note      {remark}")?;
        }
        if self.is_sound() {
            write!(
                f,
                "in order: the tables are what the trail says, and every statement was computed again"
            )
        } else {
            write!(f, "NOT in order: see the faults above")
        }
    }
}
