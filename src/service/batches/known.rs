//! What is asked of a batch before its rows are: whether it is known, and whether its round fits.

use super::{BatchView, Upload, view_of_row};
use crate::intake::BatchKind;
use crate::service::evidence::touches_own_sites;
use crate::service::{Caller, ServiceError, id_of};
use crate::store;
use sqlx::PgConnection;
use uuid::Uuid;

/// The same rows in the same round are the same batch, whoever sends them.
pub(super) fn batch_id(caller: &Caller, upload: &Upload) -> Uuid {
    id_of(&[
        "batch",
        &caller.programme_id.to_string(),
        upload.kind.code(),
        upload.round.as_deref().unwrap_or(""),
        &upload.file.sha256.to_string(),
    ])
}

pub(super) async fn known_batch(
    connection: &mut PgConnection,
    caller: &Caller,
    id: Uuid,
) -> Result<Option<BatchView>, ServiceError> {
    let Some(row) = store::batches::by_id(connection, caller.programme_id, id).await? else {
        return Ok(None);
    };
    let known = BatchView {
        repeated: true,
        ..view_of_row(row)
    };
    // To someone of other sites it is not known: the rows are checked, and refused as theirs.
    let may_know = touches_own_sites(connection, caller, &known).await?;
    Ok(may_know.then_some(known))
}

/// Evidence belongs to a round of its kind; the register to none.
pub(super) async fn check_round(
    connection: &mut PgConnection,
    caller: &Caller,
    batch_kind: BatchKind,
    round: Option<&str>,
) -> Result<(), ServiceError> {
    if !batch_kind.needs_round() {
        return match round {
            None => Ok(()),
            Some(_) => Err(ServiceError::invalid(
                "round",
                format!("{batch_kind} belong to the register, not to a round"),
            )),
        };
    }
    let Some(code) = round else {
        return Err(ServiceError::invalid(
            "round",
            "name the round that these rows belong to",
        ));
    };
    let position = store::trail::size(connection, caller.programme_id).await?;
    let rounds = store::rounds::all(connection, caller.programme_id, position).await?;
    let found = rounds
        .iter()
        .find(|row| row.record.code == code)
        .ok_or_else(|| ServiceError::not_found("round", code))?;
    if batch_kind.round_kinds().contains(&found.record.kind) {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            "round",
            format!(
                "round {code} is for {}, not for {batch_kind}",
                found.record.kind.code()
            ),
        ))
    }
}
