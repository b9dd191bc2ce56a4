//! Uploads that survive bad connections: begun, continued after a break, given up.
//!
//! The bytes of an upload are a file of the data folder, the rest is a row. The offset in the
//! row is what counts: it is moved only after the bytes below it were synced to disk, and what
//! the file has beyond it is cut off when the upload goes on. So a killed program, and a lost
//! machine, go on where the last answer left off.

mod writer;

pub use writer::{Checksum, Part};

use super::batches::{Taking, check_round};
use super::caller::Holder;
use super::{Caller, Once, Role, Service, ServiceError, mappings};
use crate::intake::BatchKind;
use crate::service::jobs::Work;
use crate::service::write::Begun;
use crate::store;
use crate::store::uploads::{Beginner, UploadRow};
use chrono::{DateTime, Duration, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::path::PathBuf;
use utoipa::ToSchema;
use uuid::Uuid;
use writer::AtWork;

/// Where uploads are kept on their way, how much, and for how long.
#[derive(Debug, Clone)]
pub struct UploadSettings {
    pub folder: PathBuf,
    /// Bytes that all uploads of one programme may hold at a time.
    pub quota_bytes: u64,
    /// Hours from an upload's beginning until it is cleared away.
    pub hours: u32,
}

impl UploadSettings {
    pub const QUOTA_BYTES: u64 = 2 * 1024 * 1024 * 1024;
    pub const HOURS: u32 = 48;

    pub fn in_folder(folder: PathBuf) -> Self {
        UploadSettings {
            folder,
            quota_bytes: Self::QUOTA_BYTES,
            hours: Self::HOURS,
        }
    }
}

/// The settings, and who writes to which upload at this moment.
#[derive(Debug)]
pub(super) struct Desk {
    settings: UploadSettings,
    at_work: AtWork,
}

impl Desk {
    pub fn new(settings: UploadSettings) -> Self {
        Desk {
            settings,
            at_work: AtWork::default(),
        }
    }

    fn path(&self, upload_id: Uuid) -> PathBuf {
        self.settings.folder.join(upload_id.to_string())
    }
}

/// What is to be uploaded.
#[derive(Debug, Clone)]
pub struct NewUpload {
    pub kind: BatchKind,
    pub round: Option<String>,
    pub file_name: Option<String>,
    /// Bytes of the whole file.
    pub bytes: u64,
    pub taking: Taking,
}

/// An upload on its way.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadView {
    /// The id of its job too, once it is whole.
    pub id: Uuid,
    pub kind: String,
    pub round: Option<String>,
    pub file_name: Option<String>,
    pub bytes: u64,
    /// Bytes that are durably on disk.
    pub offset: u64,
    /// Only checked, and nothing of it kept.
    pub dry_run: bool,
    pub mapping: Option<String>,
    pub expires_at: DateTime<Utc>,
}

impl UploadView {
    /// All bytes are there, and the job has begun.
    pub fn is_whole(&self) -> bool {
        self.offset == self.bytes
    }
}

impl Service {
    /// Begins an upload; its bytes follow.
    ///
    /// # Errors
    /// `TooLarge`; `Conflict` with the code `upload_quota` where the programme's uploads would
    /// hold too much.
    pub async fn begin_upload(
        &self,
        caller: &Caller,
        new: &NewUpload,
        once: &Once,
    ) -> Result<UploadView, ServiceError> {
        may_upload(caller)?;
        if !store::sites::tell_apart(new.kind) {
            caller.must_see_every_site()?;
        }
        let limit_bytes = self.upload_bytes_max();
        if new.bytes > limit_bytes {
            return Err(ServiceError::TooLarge { limit_bytes });
        }
        if new.bytes == 0 {
            return Err(ServiceError::invalid("Upload-Length", "the file is empty"));
        }
        let mut writing = match self.begin(caller, once).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::Go(writing) => writing,
        };
        let now = self.now();
        let row = UploadRow {
            upload_id: Uuid::new_v4(),
            batch_kind: new.kind.code().to_owned(),
            round_code: new.round.as_deref().map(plain),
            file_name: new.file_name.as_deref().map(plain),
            length_bytes: new.bytes,
            offset_bytes: 0,
            dry_run: new.taking.dry_run,
            mapping: new.taking.mapping.as_deref().map(plain),
            expires_at: now + Duration::hours(i64::from(self.desk.settings.hours)),
        };
        let connection = &mut *writing.transaction;
        // What can be refused now is not refused after the last of many bytes.
        check_round(connection, caller, new.kind, row.round_code.as_deref()).await?;
        mappings::saved(connection, caller, new.kind, row.mapping.as_deref()).await?;
        let held = store::uploads::bytes_held(connection, caller.programme_id).await?;
        if held.saturating_add(new.bytes) > self.desk.settings.quota_bytes {
            return Err(ServiceError::conflict(
                "upload_quota",
                format!(
                    "the programme's uploads hold {held} bytes already and may hold {} in all; \
                     wait for their jobs, or give one up",
                    self.desk.settings.quota_bytes
                ),
            ));
        }
        store::uploads::insert(
            connection,
            caller.programme_id,
            &row,
            &beginner(caller),
            now,
        )
        .await?;
        writing.finish(caller, view(row)).await
    }

    /// How far an upload has come. Whoever still writes to it is stopped first, so that the
    /// answer is the place to go on from.
    pub async fn upload(&self, caller: &Caller, id: Uuid) -> Result<UploadView, ServiceError> {
        may_upload(caller)?;
        self.visible_upload(caller, id).await?;
        let _turn = self.desk.at_work.turn(id).await;
        Ok(view(self.durable_upload(caller, id).await?))
    }

    /// Gives an upload up. One whose job has begun is the job's to read.
    pub async fn give_up_upload(&self, caller: &Caller, id: Uuid) -> Result<(), ServiceError> {
        may_upload(caller)?;
        caller.must_write()?;
        self.visible_upload(caller, id).await?;
        let _turn = self.desk.at_work.turn(id).await;
        let row = self.visible_upload(caller, id).await?;
        if row.offset_bytes == row.length_bytes {
            return Err(ServiceError::conflict(
                "upload_whole",
                "the upload is whole and its job has begun; cancel the job instead",
            ));
        }
        remove(self.desk.path(id)).await?;
        let mut transaction = self.changing(caller).await?;
        store::uploads::delete(&mut transaction, caller.programme_id, id).await?;
        transaction.commit().await?;
        Ok(())
    }

    async fn visible_upload(&self, caller: &Caller, id: Uuid) -> Result<UploadRow, ServiceError> {
        let mut connection = self.reading(caller).await?;
        store::uploads::visible(
            &mut connection,
            caller.programme_id,
            id,
            caller.role.code(),
            caller.sites.as_deref(),
            self.now(),
        )
        .await?
        .ok_or_else(|| ServiceError::not_found("upload", id))
    }

    /// The same for the one whose turn it is. Where the data folder has lost bytes, the offset
    /// goes back to what is there.
    async fn durable_upload(&self, caller: &Caller, id: Uuid) -> Result<UploadRow, ServiceError> {
        let row = self.visible_upload(caller, id).await?;
        if row.offset_bytes == row.length_bytes {
            return Ok(row);
        }
        let there = tokio::fs::metadata(self.desk.path(id)).await;
        let there = there.map_or(0, |found| found.len()).min(row.offset_bytes);
        if there < row.offset_bytes {
            tracing::warn!(upload = %id, "the data folder has lost bytes of an upload");
            let mut transaction = self.changing(caller).await?;
            let programme = caller.programme_id;
            store::uploads::advance(&mut transaction, programme, id, row.offset_bytes, there)
                .await?;
            transaction.commit().await?;
        }
        Ok(UploadRow {
            offset_bytes: there,
            ..row
        })
    }

    /// Where the bytes of an upload are, for its job.
    pub(super) fn upload_path(&self, id: Uuid) -> PathBuf {
        self.desk.path(id)
    }

    /// Gives up the bytes of an upload whose job has ended. Its row stays until it expires, for
    /// a client that lost the last answer.
    pub(super) async fn release_upload(
        &self,
        programme_id: Uuid,
        id: Uuid,
    ) -> Result<(), ServiceError> {
        remove(self.desk.path(id)).await?;
        let mut transaction = self.row_security.changing(&self.pool, programme_id).await?;
        store::uploads::release(&mut transaction, programme_id, id, self.now()).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Clears away the uploads that have expired; answers how many there were.
    pub async fn clear_expired_uploads(&self) -> Result<usize, ServiceError> {
        let expired = store::uploads::expired(&self.pool, self.now()).await?;
        for (programme_id, id) in &expired {
            let _turn = self.desk.at_work.turn(*id).await;
            remove(self.desk.path(*id)).await?;
            let mut transaction = self
                .row_security
                .changing(&self.pool, *programme_id)
                .await?;
            store::uploads::delete(&mut transaction, *programme_id, *id).await?;
            transaction.commit().await?;
        }
        Ok(expired.len())
    }
}

/// The row of a job that the whole upload begins, in the transaction that makes it whole.
async fn begin_job(
    connection: &mut PgConnection,
    caller: &Caller,
    row: &UploadRow,
    now: DateTime<Utc>,
) -> Result<(), ServiceError> {
    let work = Work::AcceptBatch {
        batch_kind: row.batch_kind.clone(),
        round: row.round_code.clone(),
        file_name: row.file_name.clone(),
        bytes: row.length_bytes,
        dry_run: row.dry_run,
        mapping: row.mapping.clone(),
    };
    let request = serde_json::to_string(&work)
        .map_err(|e| ServiceError::Internal(format!("request of a job: {e}")))?;
    store::jobs::insert(
        connection,
        caller.programme_id,
        row.upload_id,
        work.kind(),
        &request,
        &beginner(caller),
        now,
    )
    .await?;
    Ok(())
}

fn may_upload(caller: &Caller) -> Result<(), ServiceError> {
    caller.must_be(&[Role::Manager, Role::Monitor])
}

fn beginner(caller: &Caller) -> Beginner {
    let (holder_kind, holder_id) = match caller.holder {
        Holder::Token(id) => ("token", id),
        Holder::Person(id) => ("person", id),
    };
    Beginner {
        holder_kind: holder_kind.to_owned(),
        holder_id,
        label: caller.label.clone(),
        role: caller.role.code().to_owned(),
        sites: caller.sites.clone(),
    }
}

/// What the database can keep of a text.
fn plain(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(120).collect()
}

fn view(row: UploadRow) -> UploadView {
    UploadView {
        id: row.upload_id,
        kind: row.batch_kind,
        round: row.round_code,
        file_name: row.file_name,
        bytes: row.length_bytes,
        offset: row.offset_bytes,
        dry_run: row.dry_run,
        mapping: row.mapping,
        expires_at: row.expires_at,
    }
}

/// Removes a file that may be gone already.
async fn remove(path: PathBuf) -> Result<(), ServiceError> {
    match tokio::fs::remove_file(&path).await {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(disk(&error)),
        _ => Ok(()),
    }
}

fn disk(error: &std::io::Error) -> ServiceError {
    ServiceError::Internal(format!("the data folder's uploads: {error}"))
}
