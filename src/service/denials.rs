//! What was refused: every time in the log of the server, and in the programme's own list
//! where someone known was refused.

use super::caller::Holder;
use super::{Caller, Role, Service, ServiceError};
use crate::store;
use crate::store::denials::DenialRow;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::sync::atomic::Ordering;
use std::sync::{Arc, OnceLock};
use utoipa::ToSchema;
use uuid::Uuid;

/// Characters of a text that is kept; what a client sends may be longer.
const TEXT_MAX: usize = 300;

/// Someone who has shown who they are.
#[derive(Debug, Clone)]
pub struct Known {
    programme: Programme,
    kind: &'static str,
    id: Option<Uuid>,
    who: String,
}

/// The programme whose list a denial belongs to.
#[derive(Debug, Clone)]
enum Programme {
    Of(Uuid),
    /// That the address names; an operator has none of its own.
    Named(Option<String>),
}

impl Known {
    pub fn caller(caller: &Caller) -> Self {
        let (kind, id) = match caller.holder {
            Holder::Token(id) => ("token", id),
            Holder::Person(id) => ("person", id),
        };
        Known {
            programme: Programme::Of(caller.programme_id),
            kind,
            id: Some(id),
            who: caller.actor(),
        }
    }

    /// An operator at an address of the programme of this code.
    pub fn operator(label: &str, programme_code: Option<&str>) -> Self {
        Known {
            programme: Programme::Named(programme_code.map(str::to_owned)),
            kind: "operator",
            id: None,
            who: format!("operator: {label}"),
        }
    }
}

/// Travels with a request; remembers who was known once the credentials were looked at.
#[derive(Debug, Clone, Default)]
pub struct Witness(Arc<OnceLock<Known>>);

impl Witness {
    pub fn saw(&self, known: Known) {
        // The first to be known is the one who asked.
        let _ = self.0.set(known);
    }

    pub fn known(&self) -> Option<&Known> {
        self.0.get()
    }
}

/// Travels with an answer that is a denial: why, in words.
#[derive(Debug, Clone)]
pub struct Denied(pub String);

/// A request that was refused.
#[derive(Debug)]
pub struct Refused<'a> {
    pub request_id: &'a str,
    pub method: &'a str,
    /// The path alone, without its query.
    pub path: &'a str,
    pub status: u16,
    pub why: &'a str,
}

/// One entry of a programme's list of denials.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct DenialView {
    pub id: u64,
    pub at: DateTime<Utc>,
    /// As in the answer's `x-request-id` and in the server's log.
    pub request_id: String,
    /// `token`, `person` or `operator`.
    pub holder_kind: String,
    pub holder_id: Option<Uuid>,
    pub who: String,
    pub method: String,
    pub path: String,
    pub status: u16,
    pub why: String,
}

/// A page of denials, the latest first.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct DenialPage {
    pub items: Vec<DenialView>,
    /// Give as `before` for the next page; absent = this was the last.
    pub next: Option<u64>,
}

impl Service {
    /// Denials since this server started, of known and unknown callers.
    pub fn denials_counted(&self) -> u64 {
        self.denied.load(Ordering::Relaxed)
    }

    /// Logs and counts a denial, and keeps it where it is known who was refused.
    pub async fn note_denial(&self, known: Option<&Known>, refused: &Refused<'_>) {
        let count = self.denied.fetch_add(1, Ordering::Relaxed) + 1;
        let who = known.map_or("unknown", |known| known.who.as_str());
        tracing::warn!(
            request_id = refused.request_id,
            who,
            id = ?known.and_then(|known| known.id),
            method = refused.method,
            path = refused.path,
            status = refused.status,
            why = refused.why,
            count,
            "denied"
        );
        if let Some(known) = known
            && let Err(error) = self.keep_denial(known, refused).await
        {
            tracing::error!(%error, request_id = refused.request_id, "a denial could not be kept");
        }
    }

    async fn keep_denial(&self, known: &Known, refused: &Refused<'_>) -> Result<(), ServiceError> {
        let programme_id = match &known.programme {
            Programme::Of(id) => *id,
            Programme::Named(None) => return Ok(()),
            Programme::Named(Some(code)) => {
                let mut connection = self.pool.acquire().await?;
                match store::programmes::by_code(&mut connection, &plain(code)).await? {
                    Some(row) => row.programme_id,
                    None => return Ok(()),
                }
            }
        };
        let row = DenialRow {
            denial_id: 0,
            at: self.now(),
            request_id: plain(refused.request_id),
            holder_kind: known.kind.to_owned(),
            holder_id: known.id,
            who: plain(&known.who),
            method: plain(refused.method),
            path: plain(refused.path),
            status: refused.status,
            why: plain(refused.why),
        };
        let mut transaction = self.row_security.changing(&self.pool, programme_id).await?;
        store::denials::insert(&mut transaction, programme_id, &row).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// A page of the programme's denials before `before`, the latest first.
    pub async fn denials(
        &self,
        caller: &Caller,
        before: Option<u64>,
        limit: u32,
    ) -> Result<DenialPage, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Verifier])?;
        let mut connection = self.reading(caller).await?;
        let rows = store::denials::page(
            &mut connection,
            caller.programme_id,
            before.unwrap_or(u64::MAX),
            limit,
        )
        .await?;
        let full = rows.len() as u64 == u64::from(limit);
        Ok(DenialPage {
            next: rows.last().filter(|_| full).map(|row| row.denial_id),
            items: rows.into_iter().map(view).collect(),
        })
    }
}

/// What the database can keep: no control characters, and not without end.
fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control())
        .take(TEXT_MAX)
        .collect()
}

fn view(row: DenialRow) -> DenialView {
    DenialView {
        id: row.denial_id,
        at: row.at,
        request_id: row.request_id,
        holder_kind: row.holder_kind,
        holder_id: row.holder_id,
        who: row.who,
        method: row.method,
        path: row.path,
        status: row.status,
        why: row.why,
    }
}
