//! A refused file: its faults, and the copy that comes back with the faults beside the rows.

use super::known::batch_id;
use super::{BatchView, Taking, Upload, plain_file_name};
use crate::intake::{BatchKind, FileFormat, Layout, Rejections, mark};
use crate::service::caller::Holder;
use crate::service::{Caller, Role, Service, ServiceError, apart};
use crate::store;
use crate::store::rejected::RejectedFile;
use chrono::TimeDelta;
use std::io::BufReader;
use uuid::Uuid;

/// Days for which a marked file can be fetched.
pub const KEPT_DAYS: i64 = 7;
/// Marked files that a programme may have waiting.
const KEPT_FILES: i64 = 50;
/// Bytes of a file that is given back marked, as it was sent and as it is given back.
const MARKED_BYTES_MAX: u64 = 64 * 1024 * 1024;

/// Why a file was refused.
#[derive(Debug)]
pub struct Refused {
    /// Columns are named as the file names them.
    pub rejections: Rejections,
    /// Sheet of the workbook that was read.
    pub sheet: Option<String>,
    /// Copy of the file with its faults marked, where one was made.
    pub marked: Option<Uuid>,
}

impl Refused {
    pub(super) fn new(batch_kind: BatchKind, mut rejections: Rejections, layout: &Layout) -> Self {
        let template = batch_kind.template();
        for rejection in &mut rejections.list {
            layout.name_own_column(template, rejection);
        }
        Refused {
            rejections,
            sheet: layout.sheet.clone(),
            marked: None,
        }
    }
}

/// A refused file with its faults beside the rows.
pub struct MarkedFile {
    pub file_name: String,
    pub media_type: String,
    pub bytes: Vec<u8>,
}

impl Service {
    /// Accepts or checks a file; a refused one is marked and kept for [`KEPT_DAYS`] days.
    ///
    /// # Errors
    /// `RejectedFile` with the located errors and the marked copy, which a dry run makes
    /// where it is asked to.
    pub async fn take_file(
        &self,
        caller: &Caller,
        upload: Upload,
        taking: &Taking,
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        let (id, batch_kind) = (batch_id(caller, &upload), upload.kind);
        let may_mark =
            (!taking.dry_run || taking.marks_dry_run) && upload.file.bytes <= MARKED_BYTES_MAX;
        let copy = if may_mark {
            Some(upload.file.again()?)
        } else {
            None
        };
        let name = upload.file_name.as_deref().map(plain_file_name);
        let outcome = self.take(caller, id, upload, taking, key).await;
        let (mut refused, copy) = match (outcome, copy) {
            (Err(ServiceError::RejectedFile(refused)), Some(copy)) => (refused, copy),
            (outcome, _) => return outcome,
        };
        match self
            .keep_marked(caller, batch_kind, name, &refused, copy)
            .await
        {
            Ok(marked) => refused.marked = marked,
            // The refusal and its faults are the answer, with the copy or without.
            Err(problem) => tracing::warn!(%problem, "a refused file was not marked"),
        }
        Err(ServiceError::RejectedFile(refused))
    }

    async fn keep_marked(
        &self,
        caller: &Caller,
        batch_kind: BatchKind,
        name: Option<String>,
        refused: &Refused,
        copy: std::fs::File,
    ) -> Result<Option<Uuid>, ServiceError> {
        let rejections = refused.rejections.clone();
        let marking = move || mark(batch_kind.template(), BufReader::new(copy), &rejections);
        let marked = apart("the marking stopped", marking).await?;
        let Some(marked) = marked.filter(|made| made.bytes.len() as u64 <= MARKED_BYTES_MAX) else {
            return Ok(None);
        };
        let file = RejectedFile {
            id: Uuid::new_v4(),
            holder_id: holder_id(caller),
            media_type: marked.format.media_type().to_owned(),
            file_name: marked_name(name.as_deref(), batch_kind, marked.format),
            body: marked.bytes,
        };
        let now = self.now();
        let until = now + TimeDelta::days(KEPT_DAYS);
        let mut transaction = self.changing(caller).await?;
        let programme = caller.programme_id;
        store::rejected::keep(&mut transaction, programme, &file, (now, until), KEPT_FILES).await?;
        transaction.commit().await?;
        Ok(Some(file.id))
    }

    /// A refused file with its faults marked: for managers, monitors of every site, and whoever
    /// sent it.
    ///
    /// # Errors
    /// `NotFound` too where it has expired or is not the caller's to see.
    pub async fn marked_file(&self, caller: &Caller, id: Uuid) -> Result<MarkedFile, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Monitor])?;
        let mut connection = self.reading(caller).await?;
        let now = self.now();
        let found = store::rejected::by_id(&mut connection, caller.programme_id, id, now).await?;
        found
            .filter(|file| caller.sites.is_none() || file.holder_id == holder_id(caller))
            .map(|file| MarkedFile {
                file_name: file.file_name,
                media_type: file.media_type,
                bytes: file.body,
            })
            .ok_or_else(|| ServiceError::not_found("refused file", id))
    }
}

fn holder_id(caller: &Caller) -> Uuid {
    match caller.holder {
        Holder::Token(id) | Holder::Person(id) => id,
    }
}

/// What the marked file is called: plain letters, digits and `-` `_` `.` alone.
fn marked_name(name: Option<&str>, batch_kind: BatchKind, format: FileFormat) -> String {
    let stem = name.map_or(batch_kind.file_stem(), |name| {
        name.rsplit_once('.').map_or(name, |(stem, _)| stem)
    });
    let plain: String = stem
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || "-_.".contains(c) {
                c
            } else {
                '-'
            }
        })
        .collect();
    format!("{plain}-marked.{}", format.ending())
}
