//! All SQL of the program, one file per subject. Nothing else knows a table.
//!
//! Functions take a connection, so that a use case decides what one transaction
//! holds. Rows known at trail position `p` are those with `sequence < p`.

pub mod access;
pub mod audit;
pub mod batches;
pub mod cohorts;
pub mod corrections;
pub mod cosignatures;
pub mod denials;
pub mod drawn_rounds;
pub mod files;
pub mod findings;
pub mod flags;
pub mod idempotency;
pub mod jobs;
pub mod library;
pub mod mappings;
pub mod measured;
pub mod people;
pub mod periods;
pub mod populations;
pub mod programmes;
pub mod register;
pub mod rejected;
pub mod rounds;
pub mod rows;
pub mod samples;
pub mod sessions;
pub mod sites;
pub mod staging;
pub mod statements;
pub mod trail;
pub mod uploads;
pub mod wall;

use crate::config::RowSecurity;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{Connection, PgPool, migrate::Migrator};
use std::str::FromStr;
use std::time::Duration;

/// The schema, embedded; forward only.
pub static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// How long an idle connection is taken to live on without being asked.
const TRUSTED_IDLE: Duration = Duration::from_secs(1);

/// What can go wrong between the program and its database.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error(transparent)]
    Database(#[from] sqlx::Error),
    #[error("migration failed: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// Something stored is not what the program writes: the database was changed behind its back.
    #[error("stored {what} cannot be read: {reason}")]
    Damaged { what: String, reason: String },
    #[error(
        "row-level security cannot be set up: {0}. Let an administrator of the database run \
         `create role emberbook_service nologin; grant emberbook_service to USER;` for the user \
         of DATABASE_URL, or set EMBERBOOK_ROW_SECURITY=operator to say that you see to it \
         yourself: the service then works with all the rights of that user"
    )]
    NoServiceRole(String),
}

impl StoreError {
    /// Name of the database constraint that refused a write.
    pub fn constraint(&self) -> Option<&str> {
        match self {
            StoreError::Database(sqlx::Error::Database(error)) => error.constraint(),
            _ => None,
        }
    }

    /// True where the database could not be reached, so that a later try may succeed.
    pub fn is_outage(&self) -> bool {
        match self {
            StoreError::Database(error) => match error {
                sqlx::Error::Io(_) | sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed => true,
                // Class 57 is operator intervention (shutdown), 53 is out of resources, 08 is connection loss.
                sqlx::Error::Database(error) => error.code().is_some_and(|code| {
                    ["57P", "53", "08"]
                        .iter()
                        .any(|class| code.starts_with(class))
                }),
                _ => false,
            },
            _ => false,
        }
    }

    fn damaged(what: impl Into<String>, reason: impl ToString) -> Self {
        StoreError::Damaged {
            what: what.into(),
            reason: reason.to_string(),
        }
    }
}

/// Opens the pool, brings the schema up to date and raises the second wall.
///
/// # Errors
/// The database cannot be reached, it holds a schema this program does not know, or its
/// user may not make the service's role.
pub async fn connect(
    url: &str,
    connections_max: u32,
    row_security: RowSecurity,
) -> Result<PgPool, StoreError> {
    let options = PgConnectOptions::from_str(url)?.application_name("emberbook");
    let pool = PgPoolOptions::new()
        .max_connections(connections_max)
        .acquire_timeout(Duration::from_secs(10))
        // A connection was asked whether it lives when it came back to the pool: one that
        // came back a moment ago need not be asked again, which saves each read a round trip.
        .test_before_acquire(false)
        .before_acquire(|connection, state| {
            Box::pin(async move {
                if state.idle_for > TRUSTED_IDLE {
                    connection.ping().await?;
                }
                Ok(true)
            })
        })
        .connect_with(options)
        .await?;
    prepare(&pool, row_security).await?;
    Ok(pool)
}

/// Brings the schema up to date and raises the second wall.
pub async fn prepare(pool: &PgPool, row_security: RowSecurity) -> Result<(), StoreError> {
    MIGRATIONS.run(pool).await?;
    row_security.raise(pool).await
}

/// Names of the tables of a database; a new one has none.
pub async fn tables(connection: &mut sqlx::PgConnection) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar(
        "select relname::text from pg_class
         where relkind in ('r', 'p') and relnamespace = current_schema()::regnamespace order by 1",
    )
    .fetch_all(connection)
    .await?)
}

/// Unsigned on our side, `bigint` in PostgreSQL; a negative one was never written by us.
fn unsigned(value: i64, what: &str) -> Result<u64, StoreError> {
    u64::try_from(value).map_err(|_| StoreError::damaged(what, "it is negative"))
}

/// For the query parameters: positions and counts stay far below 2^63.
fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}
