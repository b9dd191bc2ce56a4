//! The verdict: what was checked, and every fault with its file and line.

use serde::Serialize;
use std::fmt;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    Bag,
    Trail,
    Evidence,
    Files,
    Draws,
    Figures,
}

impl Level {
    const ALL: [Level; 6] = [
        Level::Bag,
        Level::Trail,
        Level::Evidence,
        Level::Files,
        Level::Draws,
        Level::Figures,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Level::Bag => "bag",
            Level::Trail => "trail",
            Level::Evidence => "evidence",
            Level::Files => "files",
            Level::Draws => "draws",
            Level::Figures => "figures",
        }
    }
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    pub file: String,
    pub line: Option<u64>,
    pub problem: String,
}

impl Fault {
    pub(super) fn new(file: impl Into<String>, problem: impl Into<String>) -> Self {
        Fault {
            file: file.into(),
            line: None,
            problem: problem.into(),
        }
    }

    /// A fault of a payload file, named by its path below `data/`.
    pub(super) fn of_payload(path: &str, problem: impl Into<String>) -> Self {
        Fault::new(format!("data/{path}"), problem)
    }

    pub(super) fn at_line(self, line: u64) -> Self {
        Fault {
            line: Some(line),
            ..self
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{} line {line}: {}", self.file, self.problem),
            None => write!(f, "{}: {}", self.file, self.problem),
        }
    }
}

/// One level of checking.
#[derive(Debug, Clone, Serialize)]
pub struct Check {
    pub level: Level,
    /// What was done, in words; absent where the level could not be reached.
    pub done: Option<String>,
    pub faults: Vec<Fault>,
    /// Faults beyond those kept.
    pub further_faults: u64,
}

/// Faults kept for each level; a thoroughly broken bag repeats itself.
const FAULTS_KEPT: usize = 200;

/// Faults of a level that a person is shown.
const FAULTS_PRINTED: usize = 20;

/// The verdict over a bag.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    pub checks: Vec<Check>,
    /// What a reader should know though it is no fault.
    pub remarks: Vec<String>,
}

impl Default for Report {
    fn default() -> Self {
        let checks = Level::ALL
            .into_iter()
            .map(|level| Check {
                level,
                done: None,
                faults: Vec::new(),
                further_faults: 0,
            })
            .collect();
        Report {
            checks,
            remarks: Vec::new(),
        }
    }
}

impl Report {
    /// True where every level was reached and none has a fault.
    pub fn is_sound(&self) -> bool {
        self.checks
            .iter()
            .all(|check| check.done.is_some() && check.faults.is_empty())
    }

    pub fn faults(&self) -> impl Iterator<Item = &Fault> {
        self.checks.iter().flat_map(|check| &check.faults)
    }

    pub(super) fn fault(&mut self, level: Level, fault: Fault) {
        if let Some(check) = self.check(level) {
            if check.faults.len() < FAULTS_KEPT {
                check.faults.push(fault);
            } else {
                check.further_faults += 1;
            }
        }
    }

    pub(super) fn done(&mut self, level: Level, sentence: String) {
        if let Some(check) = self.check(level) {
            check.done = Some(sentence);
        }
    }

    pub(super) fn remark(&mut self, sentence: String) {
        self.remarks.push(sentence);
    }

    /// Adds what another part of the checking found.
    pub(super) fn take_in(&mut self, other: Report) {
        for found in other.checks {
            for fault in found.faults {
                self.fault(found.level, fault);
            }
            if let Some(check) = self.check(found.level) {
                check.further_faults += found.further_faults;
                check.done = check.done.take().or(found.done);
            }
        }
        self.remarks.extend(other.remarks);
    }

    fn check(&mut self, level: Level) -> Option<&mut Check> {
        self.checks.iter_mut().find(|check| check.level == level)
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for check in &self.checks {
            let name = check.level.name();
            match (
                &check.done,
                check.faults.len() as u64 + check.further_faults,
            ) {
                (Some(done), 0) => writeln!(f, "{name:<9} ok      {done}")?,
                (None, 0) => writeln!(f, "{name:<9} not reached")?,
                (_, count) => writeln!(f, "{name:<9} FAILED  {count} fault(s)")?,
            }
            for fault in check.faults.iter().take(FAULTS_PRINTED) {
                writeln!(f, "          {fault}")?;
            }
            let unprinted = check.faults.len().saturating_sub(FAULTS_PRINTED) as u64;
            if unprinted + check.further_faults > 0 {
                let rest = unprinted + check.further_faults;
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
                "verified: every hash, proof and signature holds, and every figure was computed again"
            )
        } else {
            write!(f, "NOT verified: see the faults above")
        }
    }
}
