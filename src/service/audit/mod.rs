//! The audit of a live database, for an auditor who trusts neither the database nor the program
//! that wrote it: the tables are held against the trail, and the trail against its signed heads.
//!
//! The trail is the measure. [`walk`] hashes every entry again, builds the tree again beside the
//! stored one, and holds every row of every table that an entry wrote against that entry, column
//! by column; a column that it does not know is a fault. [`evidence`] makes each row of the
//! register and of the field canonical again from its columns, and each batch's root from its
//! rows; [`files`] hashes the kept files. [`draws`], [`closes`] and [`figures`] work out again
//! what was worked out, and [`keys`] follows the keys that sign and cosign. Nothing is written,
//! one snapshot is read throughout, and memory grows with batches, rounds and statements, not
//! with rows or bytes of files.
//!
//! Not in the trail, and so not held against it: hashes of tokens and passwords, the id of a
//! programme's first token, who sent a cosignature and when, sessions, denials, kept answers, jobs
//! and uploads, refused files; and whether a head or a cosignature was once here that is gone.

mod closes;
mod compare;
mod draws;
mod evidence;
mod expected;
mod figures;
mod files;
mod keys;
mod report;
mod walk;

pub use report::{AuditCheck, AuditFault, AuditLevel, AuditReport};

use super::ServiceError;
use crate::store;
use crate::trail::note::VerifierKey;
use sqlx::{Connection, PgConnection};
use uuid::Uuid;

/// What the auditor brings along.
#[derive(Debug, Default)]
pub struct AuditOptions {
    /// The key that the heads must be signed with, or one that it was handed over from by
    /// entries of the trail; without it the one that the first entry names.
    pub key: Option<VerifierKey>,
    /// A checkpoint kept from an earlier visit: the trail must still begin with it.
    pub kept_checkpoint: Option<String>,
    /// For a look that is repeated often: statements are not computed again. Their level then
    /// stays unreached, so that nothing is called in order that was not looked at.
    pub without_figures: bool,
}

/// Audits the programme of this code, or every programme without one, and says of rows that
/// belong to none.
///
/// # Errors
/// The database cannot be read. A code that nothing knows is `NotFound`.
pub async fn audit(
    connection: &mut PgConnection,
    code: Option<&str>,
    options: &AuditOptions,
) -> Result<Vec<AuditReport>, ServiceError> {
    let mut transaction = connection.begin().await?;
    store::audit::settle(&mut transaction).await?;
    let found = store::audit::programmes(&mut transaction, code).await?;
    if let (Some(code), true) = (code, found.is_empty()) {
        return Err(ServiceError::not_found("programme", code));
    }
    let mut reports = Vec::new();
    for programme in &found {
        reports.push(audit_programme(&mut transaction, *programme, options).await?);
    }
    if code.is_none() {
        for (table, programme, rows) in store::audit::strays(&mut transaction, &found).await? {
            let mut report = AuditReport::of(programme);
            let problem = format!("{rows} row(s) of a programme that there is not");
            report.fault(AuditLevel::Records, &table, "", problem);
            reports.push(report);
        }
    }
    transaction.rollback().await?;
    Ok(reports)
}

async fn audit_programme(
    connection: &mut PgConnection,
    programme: Uuid,
    options: &AuditOptions,
) -> Result<AuditReport, ServiceError> {
    let mut report = AuditReport::of(programme);
    let known = walk::walk(connection, programme, options, &mut report).await?;
    evidence::check(connection, programme, &known, &mut report).await?;
    draws::check(connection, programme, &known, &mut report).await?;
    if !options.without_figures {
        figures::check(connection, programme, &known, &mut report).await?;
    }
    if let (None, Some(programme)) = (&options.key, &known.programme) {
        report.remarks.push(format!(
            "the key was taken from the trail itself; compare it with a copy you trust: {}",
            programme.checkpoint_key
        ));
    }
    Ok(report)
}
