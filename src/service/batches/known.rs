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

/// The id that a file goes by, and the batch that stands under it. A file whose batch was
/// withdrawn may be sent again; it then goes by an id that follows from the withdrawn one's.
pub(super) async fn known_batch(
    connection: &mut PgConnection,
    caller: &Caller,
    first_id: Uuid,
) -> Result<(Uuid, Option<BatchView>), ServiceError> {
    let mut id = first_id;
    let row = loop {
        match store::batches::by_id(connection, caller.programme_id, id).await? {
            None => return Ok((id, None)),
            Some(row) if row.withdrawn.is_none() => break row,
            Some(_) => id = id_of(&["batch sent again", &id.to_string()]),
        }
    };
    let known = BatchView {
        repeated: true,
        ..view_of_row(row)
    };
    // To someone of other sites it is not known: the rows are checked, and refused as theirs.
    let may_know = touches_own_sites(connection, caller, &known).await?;
    Ok((id, may_know.then_some(known)))
}

/// Evidence belongs to a round of its kind; the register to none.
pub(in crate::service) async fn check_round(
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
    let found = crate::service::rounds::round_by_code(connection, caller, code).await?;
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
