//! The rows that single records give, column by column.

use super::{Cell, Due, Person, Token, Told};
use crate::accounting::factor::Factor;
use crate::accounting::methodology::Methodology;
use crate::accounting::records::findings::{
    Act, Attachment, FindingLineRecord, FindingOpenedRecord, Subject, SubjectKind,
};
use crate::accounting::records::flags::FlagsRaisedRecord;
use crate::accounting::records::{MappingRecord, RoundRecord, StoveModelRecord};
use crate::trail::canonical::canonical_of;
use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

pub(super) fn token(token: &Token) -> Due {
    let r = &token.record;
    let expires: Option<DateTime<Utc>> = r.expires_at.parse().ok();
    Due::new(
        "access_token",
        [
            ("token_id", json!(r.id)),
            ("role", json!(r.role)),
            ("label", json!(r.label)),
            ("sites", json!(r.sites)),
            ("read_only", json!(r.read_only)),
        ],
    )
    .with("token_hash", Cell::Open)
    .with("created_at", Cell::Near(token.issued))
    .with("expires_at", expires.map_or(Cell::Open, Cell::At))
    .with("revoked_at", time_or_null(token.revoked))
}

pub(super) fn person(person: &Person) -> Due {
    let r = &person.record;
    Due::new(
        "person",
        [
            ("person_id", json!(r.id)),
            ("name", json!(r.name)),
            ("role", json!(r.role)),
            ("sites", json!(r.sites)),
            ("first_password", json!(person.first_password)),
        ],
    )
    .with("password_hash", Cell::Open)
    .with("created_at", Cell::Near(person.added))
    .with("disabled_at", time_or_null(person.disabled))
}

pub(super) fn time_or_null(time: Option<DateTime<Utc>>) -> Cell {
    time.map_or(Cell::Is(Value::Null), Cell::Near)
}

pub(super) fn stove_model(at: u64, r: StoveModelRecord) -> Due {
    Due::new(
        "stove_model",
        [
            ("model_code", json!(r.code)),
            ("model_version", json!(r.version)),
            ("name", json!(r.name)),
            ("device", json!(r.device)),
            ("char_making", json!(r.char_making)),
            ("sequence", json!(at)),
        ],
    )
}

pub(super) fn factor(at: u64, factor: &Factor) -> Result<Due, String> {
    let body = canonical_of(factor).map_err(|e| e.to_string())?;
    Ok(Due::new(
        "factor",
        [
            ("code", json!(factor.code)),
            ("version", json!(factor.version)),
            ("quantity", json!(factor.quantity)),
            ("body", text(&body)?),
            ("sequence", json!(at)),
        ],
    ))
}

pub(super) fn methodology(at: u64, content: &[u8]) -> Result<Due, String> {
    let r: Methodology = read(content)?;
    Ok(Due::new(
        "methodology",
        [
            ("code", json!(r.code)),
            ("version", json!(r.version)),
            ("body", text(content)?),
            ("sequence", json!(at)),
        ],
    ))
}

pub(super) fn round(at: u64, r: RoundRecord) -> Due {
    Due::new(
        "round",
        [
            ("round_code", json!(r.code)),
            ("kind", json!(r.kind.code())),
            ("starts_on", json!(r.starts_on)),
            ("ends_on", json!(r.ends_on)),
            ("design", json!(r.design)),
            ("sequence", json!(at)),
        ],
    )
}

pub(super) fn round_step(name: &str, told: &Told<'_>) -> Result<Due, String> {
    Ok(Due::new(
        "round_step",
        [
            ("round_code", json!(told.subject)),
            ("step", json!(name)),
            ("body", text(told.content)?),
            ("sequence", json!(told.sequence)),
        ],
    ))
}

pub(super) fn correction(
    at: u64,
    kind: &str,
    batch: Uuid,
    line: Option<u64>,
    replaced_by: Option<Uuid>,
) -> Due {
    Due::new(
        "correction",
        [
            ("sequence", json!(at)),
            ("kind", json!(kind)),
            ("batch_id", json!(batch)),
            ("line", json!(line)),
            ("replaced_by", json!(replaced_by)),
        ],
    )
}

pub(super) fn flags(at: u64, record: &FlagsRaisedRecord) -> Vec<Due> {
    let mut due = Vec::new();
    for (place, flag) in (1_u64..).zip(&record.flags) {
        due.push(Due::new(
            "flag",
            [
                ("flag_id", json!(flag.id)),
                ("sequence", json!(at)),
                ("place", json!(place)),
                ("round_code", json!(record.round)),
                ("batch_id", json!(record.batch)),
                ("screen", json!(flag.screen)),
                ("sentence", json!(flag.sentence)),
                ("row_count", json!(flag.row_count)),
            ],
        ));
        due.extend(flag.rows.iter().map(|row| {
            Due::new(
                "flag_row",
                [
                    ("flag_id", json!(flag.id)),
                    ("batch_id", json!(row.batch)),
                    ("line", json!(row.line)),
                ],
            )
        }));
    }
    due
}

pub(super) fn mapping(told: &Told<'_>, r: &MappingRecord) -> Result<Due, String> {
    let columns = serde_json::to_string(&r.columns).map_err(|e| e.to_string())?;
    Ok(Due::new(
        "column_mapping",
        [
            ("kind", json!(r.kind)),
            ("name", json!(r.name)),
            ("columns", json!(columns)),
            ("sequence", json!(told.sequence)),
        ],
    )
    .with("saved_at", Cell::Near(told.at)))
}

pub(super) fn finding(act: Act, told: &Told<'_>) -> Result<Vec<Due>, String> {
    let mut due = Vec::new();
    let (number, text, attachments) = if act == Act::Opened {
        let r: FindingOpenedRecord = read(told.content)?;
        due.push(opened_finding(told.sequence, &r));
        (r.number, r.text, r.attachments)
    } else {
        let r: FindingLineRecord = read(told.content)?;
        (r.number, r.text, r.attachments)
    };
    due.push(Due::new(
        "finding_entry",
        [
            ("sequence", json!(told.sequence)),
            ("number", json!(number)),
            ("act", json!(act.code())),
            ("body", json!(text)),
        ],
    ));
    let attached = |(place, each): (u64, &Attachment)| {
        Due::new(
            "finding_attachment",
            [
                ("sequence", json!(told.sequence)),
                ("place", json!(place)),
                ("sha256", bytes(&each.sha256)),
                ("file_name", json!(each.file_name)),
                ("media_type", json!(each.media_type)),
                ("size_bytes", json!(each.size_bytes)),
            ],
        )
    };
    due.extend((0_u64..).zip(&attachments).map(attached));
    Ok(due)
}

pub(super) fn opened_finding(at: u64, r: &FindingOpenedRecord) -> Due {
    let Subject { kind, key } = &r.subject;
    let first = key.split('/').next().unwrap_or_default();
    let stated = matches!(
        kind,
        SubjectKind::Statement | SubjectKind::Figure | SubjectKind::Node
    );
    let batch = match kind {
        SubjectKind::Batch | SubjectKind::Row => Cell::Is(json!(first)),
        // Which batch brought it is asked of the evidence.
        SubjectKind::Household | SubjectKind::Deployment => Cell::Open,
        _ => Cell::Is(Value::Null),
    };
    Due::new(
        "finding",
        [
            ("number", json!(r.number)),
            ("class", json!(r.class.code())),
            ("subject_kind", json!(kind.code())),
            ("subject_key", json!(key)),
            ("statement_id", json!(stated.then_some(first))),
            ("period_code", json!(r.period)),
            ("requirement", json!(r.requirement)),
            ("sequence", json!(at)),
        ],
    )
    .with("batch_id", batch)
}

pub(in crate::service::audit) fn read<T: serde::de::DeserializeOwned>(
    content: &[u8],
) -> Result<T, String> {
    serde_json::from_slice(content).map_err(|e| format!("its content cannot be read: {e}"))
}

/// Bytes as PostgreSQL writes them.
pub(super) fn bytes(hex: &str) -> Value {
    json!(format!("\\x{hex}"))
}

pub(super) fn text(bytes: &[u8]) -> Result<Value, String> {
    let text = std::str::from_utf8(bytes).map_err(|e| e.to_string())?;
    Ok(json!(text))
}
