//! What each entry of the trail must have written into which table: every column of the row.

mod rows;

pub(super) use rows::read;
use rows::{
    bytes, correction, factor, finding, flags, mapping, methodology, person, round, round_step,
    stove_model, token,
};

use crate::accounting::inputs::Period;
use crate::accounting::records::access::{
    PasswordRecord, PersonRecord, TokenRecord, TokenRevokedRecord,
};
use crate::accounting::records::corrections::{
    BatchWithdrawnRecord, RowExcludedRecord, RowSupersededRecord,
};
use crate::accounting::records::findings::Act;
use crate::accounting::records::flags::FlagAnswerRecord;
use crate::accounting::records::opinions::{OPINION_RECORDED, OpinionRecord};
use crate::accounting::records::{
    BatchRecord, FactorsRecord, PeriodClosedRecord, ProgrammeRecord, RoundKind, RoundRecord,
    SiteRecord, kind,
};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord, kind as step,
};
use crate::accounting::statement::Statement;
use crate::service::id_of;
use crate::service::tokens::TOKEN_DAYS;
use crate::trail::merkle::{Hash, sha256};
use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a column must hold.
#[derive(Debug, Clone)]
pub(super) enum Cell {
    Is(Value),
    /// A time, to the millisecond.
    At(DateTime<Utc>),
    /// A time that the program noted beside its entry: within an hour of the entry's.
    Near(DateTime<Utc>),
    /// Not in the trail.
    Open,
}

/// A row that must be there.
#[derive(Debug, Clone)]
pub(super) struct Due {
    pub table: &'static str,
    pub cells: Vec<(&'static str, Cell)>,
}

impl Due {
    fn new<const N: usize>(table: &'static str, cells: [(&'static str, Value); N]) -> Self {
        let cells = cells.map(|(name, value)| (name, Cell::Is(value))).to_vec();
        Due { table, cells }
    }

    fn with(mut self, name: &'static str, cell: Cell) -> Self {
        self.cells.push((name, cell));
        self
    }
}

/// An entry as its leaf has it, with the content that it commits to.
pub(super) struct Told<'a> {
    pub sequence: u64,
    pub kind: &'a str,
    pub subject: &'a str,
    pub actor: &'a str,
    pub at: DateTime<Utc>,
    pub content: &'a [u8],
    /// Root of the tree just after it.
    pub root: Hash,
}

/// A batch as the trail took it.
#[derive(Debug, Clone)]
pub(super) struct TakenBatch {
    pub sequence: u64,
    pub kind: String,
    pub round: Option<String>,
    pub rows: u64,
    pub root: String,
    /// SHA-256 of the file that was kept of it, lower-case hex.
    pub kept_file: Option<String>,
}

/// A frame as the trail took it, with size and root of the tree just after it.
#[derive(Debug)]
pub(super) struct Framed {
    pub record: FrameRecord,
    pub size: u64,
    pub root: Hash,
}

#[derive(Debug)]
struct Token {
    record: TokenRecord,
    issued: DateTime<Utc>,
    revoked: Option<DateTime<Utc>>,
}

#[derive(Debug)]
struct Person {
    record: PersonRecord,
    first_password: bool,
    added: DateTime<Utc>,
    disabled: Option<DateTime<Utc>>,
}

/// What later checks need of the trail; a line for each batch, round, person and statement.
#[derive(Debug, Default)]
pub(super) struct Known {
    pub programme: Option<ProgrammeRecord>,
    /// When and by whom.
    created: Option<(DateTime<Utc>, String)>,
    pub batches: BTreeMap<Uuid, TakenBatch>,
    pub plans: Vec<PlanRecord>,
    pub frames: BTreeMap<String, Framed>,
    pub seeds: BTreeMap<String, SeedRecord>,
    pub draws: BTreeMap<String, DrawRecord>,
    pub rounds: BTreeMap<String, RoundKind>,
    /// Each with its entry.
    pub closes: Vec<(u64, CloseRecord)>,
    /// Entries of the statements.
    pub statements: Vec<u64>,
    /// Statements by their ids, with SHA-256 in lower-case hex.
    stated: BTreeMap<Uuid, String>,
    closed: BTreeMap<String, u64>,
    tokens: BTreeMap<Uuid, Token>,
    /// Tokens that were revoked and of whose issue no entry tells: the programme's first, at the most.
    revoked_before_known: BTreeMap<Uuid, DateTime<Utc>>,
    persons: BTreeMap<Uuid, Person>,
}

impl Known {
    /// Rows that the entry must have written.
    ///
    /// # Errors
    /// A sentence where the content is not what its kind says.
    pub fn take(&mut self, told: &Told<'_>) -> Result<Vec<Due>, String> {
        if let Some(act) = Act::from_entry_kind(told.kind) {
            return finding(act, told);
        }
        let at = told.sequence;
        let content = told.content;
        Ok(match told.kind {
            kind::PROGRAMME_CREATED => {
                self.programme = Some(read(content)?);
                self.created = Some((told.at, told.actor.to_owned()));
                Vec::new()
            }
            kind::PERSON_ADDED | kind::PERSON_CHANGED => {
                self.take_person(told.at, read(content)?);
                Vec::new()
            }
            kind::PASSWORD_SET => {
                let record: PasswordRecord = read(content)?;
                if let Some(person) = self.persons.get_mut(&record.id) {
                    person.first_password = record.first;
                }
                Vec::new()
            }
            kind::TOKEN_ISSUED => {
                let record: TokenRecord = read(content)?;
                let token = Token {
                    issued: told.at,
                    revoked: None,
                    record,
                };
                self.tokens.insert(token.record.id, token);
                Vec::new()
            }
            kind::TOKEN_REVOKED => {
                let record: TokenRevokedRecord = read(content)?;
                match self.tokens.get_mut(&record.id) {
                    Some(token) => token.revoked = Some(told.at),
                    None => {
                        self.revoked_before_known.insert(record.id, told.at);
                    }
                }
                Vec::new()
            }
            kind::SITE_ADDED => {
                let r: SiteRecord = read(content)?;
                vec![Due::new(
                    "site",
                    [
                        ("site_code", json!(r.code)),
                        ("name", json!(r.name)),
                        ("sequence", json!(at)),
                    ],
                )]
            }
            kind::STOVE_MODEL_ADDED => vec![stove_model(at, read(content)?)],
            kind::FACTORS_ADDED => {
                let record: FactorsRecord = read(content)?;
                let rows = record.factors.iter().map(|each| factor(at, each));
                rows.collect::<Result<_, _>>()?
            }
            kind::METHODOLOGY_ADDED => vec![methodology(at, content)?],
            kind::ROUND_OPENED => {
                let r: RoundRecord = read(content)?;
                self.rounds.insert(r.code.clone(), r.kind);
                vec![round(at, r)]
            }
            step::ROUND_PLANNED => {
                self.plans.push(read(content)?);
                vec![round_step("plan", told)?]
            }
            step::ROUND_FRAMED => {
                let record: FrameRecord = read(content)?;
                let framed = Framed {
                    size: at + 1,
                    root: told.root,
                    record,
                };
                self.frames.insert(framed.record.round.clone(), framed);
                vec![round_step("frame", told)?]
            }
            step::ROUND_SEEDED => {
                let record: SeedRecord = read(content)?;
                self.seeds.insert(record.round.clone(), record);
                vec![round_step("seed", told)?]
            }
            step::ROUND_DRAWN => {
                let record: DrawRecord = read(content)?;
                self.draws.insert(record.round.clone(), record);
                vec![round_step("draw", told)?]
            }
            step::ROUND_CLOSED => {
                self.closes.push((at, read(content)?));
                vec![round_step("close", told)?]
            }
            kind::BATCH_ACCEPTED => vec![self.take_batch(at, read(content)?)],
            kind::ROW_SUPERSEDED => {
                let r: RowSupersededRecord = read(content)?;
                let new = r.replacement.id;
                let (row, replaced) = (Some(r.line), Some(new));
                let correction = correction(at, "superseded", r.batch, row, replaced);
                vec![correction, self.take_batch(at, r.replacement)]
            }
            kind::ROW_EXCLUDED => {
                let r: RowExcludedRecord = read(content)?;
                vec![correction(at, "excluded", r.batch, Some(r.line), None)]
            }
            kind::BATCH_WITHDRAWN => {
                let r: BatchWithdrawnRecord = read(content)?;
                vec![correction(at, "withdrawn", r.batch, None, None)]
            }
            kind::FLAGS_RAISED => flags(at, &read(content)?),
            kind::FLAG_ANSWERED => {
                let r: FlagAnswerRecord = read(content)?;
                vec![Due::new(
                    "flag_disposition",
                    [
                        ("flag_id", json!(r.flag)),
                        ("sequence", json!(at)),
                        ("word", json!(r.disposition.code())),
                        ("reason", json!(r.reason)),
                    ],
                )]
            }
            kind::MAPPING_SAVED => vec![mapping(told, &read(content)?)?],
            kind::PERIOD_OPENED => {
                let r: Period = read(content)?;
                vec![Due::new(
                    "monitoring_period",
                    [
                        ("period_code", json!(r.code)),
                        ("starts_on", json!(r.starts_on)),
                        ("ends_on", json!(r.ends_on)),
                        ("sequence", json!(at)),
                    ],
                )]
            }
            kind::PERIOD_CLOSED => {
                let r: PeriodClosedRecord = read(content)?;
                self.closed.insert(r.code.clone(), at);
                vec![Due::new(
                    "period_close",
                    [("period_code", json!(r.code)), ("sequence", json!(at))],
                )]
            }
            kind::STATEMENT_MADE => vec![self.take_statement(told)?],
            OPINION_RECORDED => self.take_opinion(told.subject, &read(content)?)?,
            other => {
                return Err(format!(
                    "entries of kind {other:?} are unknown to this program"
                ));
            }
        })
    }

    fn take_person(&mut self, at: DateTime<Utc>, record: PersonRecord) {
        let known = self.persons.remove(&record.id);
        let disabled = match (record.disabled, &known) {
            (false, _) => None,
            (
                true,
                Some(Person {
                    disabled: Some(since),
                    ..
                }),
            ) => Some(*since),
            (true, _) => Some(at),
        };
        let person = Person {
            first_password: known.as_ref().is_none_or(|known| known.first_password),
            added: known.map_or(at, |known| known.added),
            disabled,
            record,
        };
        self.persons.insert(person.record.id, person);
    }

    fn take_batch(&mut self, at: u64, r: BatchRecord) -> Due {
        let due = Due::new(
            "batch",
            [
                ("batch_id", json!(r.id)),
                ("kind", json!(r.kind)),
                ("round_code", json!(r.round)),
                ("file_name", json!(r.file_name)),
                ("file_sha256", bytes(&r.file_sha256)),
                ("file_kept", json!(r.file_kept)),
                ("row_count", json!(r.rows)),
                ("root", bytes(&r.root)),
                ("sequence", json!(at)),
            ],
        );
        let taken = TakenBatch {
            sequence: at,
            kind: r.kind,
            round: r.round,
            rows: r.rows,
            root: r.root,
            kept_file: r.file_kept.then_some(r.file_sha256),
        };
        self.batches.insert(r.id, taken);
        due
    }

    fn take_statement(&mut self, told: &Told<'_>) -> Result<Due, String> {
        let statement: Statement = read(told.content)?;
        let programme = self.programme.as_ref().map(|p| p.id.to_string());
        let digest = sha256(told.content).to_string();
        let id = id_of(&["statement", &programme.unwrap_or_default(), &digest]).to_string();
        if id != told.subject {
            return Err("its subject is not the id that follows from its content".into());
        }
        self.statements.push(told.sequence);
        if let Ok(id) = id.parse() {
            self.stated.insert(id, digest.clone());
        }
        let closed = self.closed.get(&statement.period.code);
        let restatement = closed.is_some_and(|closed| statement.position > *closed);
        Ok(Due::new(
            "statement",
            [
                ("statement_id", json!(id)),
                ("period_code", json!(statement.period.code)),
                ("methodology_code", json!(statement.methodology.code)),
                ("methodology_version", json!(statement.methodology.version)),
                ("position", json!(statement.position)),
                ("restatement", json!(restatement)),
                ("content_hash", bytes(&digest)),
                ("sequence", json!(told.sequence)),
            ],
        ))
    }

    /// An opinion writes no row: it is on a statement that was made before it.
    fn take_opinion(&self, subject: &str, r: &OpinionRecord) -> Result<Vec<Due>, String> {
        let stated = self.stated.get(&r.statement);
        if stated == Some(&r.statement_sha256) && subject == r.statement.to_string() {
            return Ok(Vec::new());
        }
        Err("the opinion is on no statement that was made before it".into())
    }

    /// Rows that change with later entries, as they must be after the last one. Of the token
    /// that the programme was created with the trail knows the label, not the id: it is the
    /// first of `token_ids` that no entry issued.
    pub fn as_of_now(
        &self,
        entries: u64,
        last_at: Option<DateTime<Utc>>,
        token_ids: &[Uuid],
    ) -> Vec<Due> {
        let mut due = Vec::new();
        if let (Some(programme), Some(created)) = (&self.programme, &self.created) {
            let row = Due::new(
                "programme",
                [
                    ("code", json!(programme.code)),
                    ("name", json!(programme.name)),
                ],
            );
            due.push(row.with("created_at", Cell::Near(created.0)));
            due.push(self.first_token(created, token_ids));
        }
        let head = Due::new("trail_head", [("size", json!(entries))]);
        due.push(head.with("last_at", last_at.map_or(Cell::Open, Cell::At)));
        due.extend(self.tokens.values().map(token));
        due.extend(self.persons.values().map(person));
        due
    }

    fn first_token(&self, (at, actor): &(DateTime<Utc>, String), token_ids: &[Uuid]) -> Due {
        let id = token_ids.iter().find(|id| !self.tokens.contains_key(id));
        let expires = *at + chrono::TimeDelta::days(i64::from(TOKEN_DAYS));
        let mut due = token(&Token {
            record: TokenRecord {
                id: id.copied().unwrap_or_default(),
                role: "manager".into(),
                label: actor.strip_prefix("manager: ").unwrap_or(actor).to_owned(),
                sites: None,
                read_only: false,
                expires_at: expires.to_rfc3339(),
            },
            issued: *at,
            revoked: id.and_then(|id| self.revoked_before_known.get(id)).copied(),
        });
        // No entry has its end to the millisecond.
        for (_, cell) in due
            .cells
            .iter_mut()
            .filter(|(name, _)| *name == "expires_at")
        {
            *cell = Cell::Near(expires);
        }
        due
    }
}
