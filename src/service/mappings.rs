//! Column names of a programme's own sheets, saved once and applied to each file that needs them.

use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::{MappingRecord, kind};
use crate::intake::{BatchKind, ColumnMapping, mapping_faults};
use crate::service::FieldProblem;
use crate::store;
use crate::store::mappings::MappingRow;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// The mapping that is used where none is asked for.
pub const DEFAULT_MAPPING: &str = "default";

/// Column names of a programme's own sheets of one kind.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MappingView {
    pub kind: String,
    /// `default` is used where a header does not fit the template and no mapping is asked for.
    pub name: String,
    /// From the programme's name of a column to the template's.
    pub columns: BTreeMap<String, String>,
    /// Trail entry that saved it.
    pub sequence: u64,
    pub saved_at: DateTime<Utc>,
}

fn view(row: MappingRow) -> MappingView {
    MappingView {
        kind: row.record.kind,
        name: row.record.name,
        columns: row.record.columns,
        sequence: row.sequence,
        saved_at: row.saved_at,
    }
}

impl Service {
    /// Saves a mapping in place of the earlier one of its name. Saving what holds already
    /// changes nothing.
    ///
    /// # Errors
    /// `Invalid`, naming each column of the programme that cannot be taken.
    pub async fn save_mapping(
        &self,
        caller: &Caller,
        batch_kind: BatchKind,
        name: Option<&str>,
        columns: ColumnMapping,
    ) -> Result<MappingView, ServiceError> {
        caller.must_manage()?;
        let name = name.unwrap_or(DEFAULT_MAPPING);
        check_name(name)?;
        let faults = mapping_faults(batch_kind.template(), &columns);
        if !faults.is_empty() {
            let problem = |(field, detail)| FieldProblem { field, detail };
            return Err(ServiceError::Invalid(
                faults.into_iter().map(problem).collect(),
            ));
        }
        let record = MappingRecord {
            kind: batch_kind.code().into(),
            name: name.into(),
            columns,
        };
        self.write(caller, &Once::unkeyed(), async |connection| {
            let id = caller.programme_id;
            let held = store::mappings::of_kind(connection, id, batch_kind.code()).await?;
            if let Some(same) = held.into_iter().find(|row| row.record == record) {
                return Ok(view(same));
            }
            let subject = format!("{batch_kind}/{name}");
            let sequence = self
                .log(connection, caller, kind::MAPPING_SAVED, &subject, &record)
                .await?;
            let row = MappingRow {
                record,
                sequence,
                saved_at: self.now(),
            };
            store::mappings::insert(connection, id, &row).await?;
            Ok(view(row))
        })
        .await
    }

    /// The mappings of a kind that hold now, by name.
    pub async fn mappings(
        &self,
        caller: &Caller,
        batch_kind: BatchKind,
    ) -> Result<Vec<MappingView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let id = caller.programme_id;
        let rows = store::mappings::of_kind(&mut connection, id, batch_kind.code()).await?;
        Ok(rows.into_iter().map(view).collect())
    }
}

/// The mapping of this name, which must be there; without a name the default, where there is one.
pub(super) async fn saved(
    connection: &mut PgConnection,
    caller: &Caller,
    batch_kind: BatchKind,
    name: Option<&str>,
) -> Result<Option<ColumnMapping>, ServiceError> {
    let wanted = name.unwrap_or(DEFAULT_MAPPING);
    let rows = store::mappings::of_kind(connection, caller.programme_id, batch_kind.code()).await?;
    let found = rows.into_iter().find(|row| row.record.name == wanted);
    match (found, name) {
        (Some(row), _) => Ok(Some(row.record.columns)),
        (None, None) => Ok(None),
        (None, Some(name)) => Err(ServiceError::invalid(
            "mapping",
            format!("{batch_kind} has no mapping of the name {name}"),
        )),
    }
}

fn check_name(name: &str) -> Result<(), ServiceError> {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if !name.is_empty() && name.len() <= 64 && name.chars().all(plain) {
        return Ok(());
    }
    let detail = "must be 1 to 64 letters, digits and - _ .";
    Err(ServiceError::invalid("name", detail))
}
