//! The program's database for commands beside the service: the one that `DATABASE_URL` names, or
//! the private one, whether the service has it running at this moment or not.

use anyhow::{Context, Result};
use emberbook::config::Config;
use emberbook::postgres::PrivatePostgres;
use sqlx::{Connection, PgConnection};
use std::path::PathBuf;

/// Name of the database in the private PostgreSQL.
pub const NAME: &str = "emberbook";

/// A database that can be reached for as long as this value lives.
pub struct Opened {
    pub url: String,
    private: Option<PrivatePostgres>,
}

impl Opened {
    /// The database of a server that was started for this command.
    pub fn of(private: PrivatePostgres, name: &str) -> Self {
        Opened {
            url: private.url(name),
            private: Some(private),
        }
    }

    /// Whether the server was started for this command.
    pub fn is_own(&self) -> bool {
        self.private.is_some()
    }

    /// Stops what was started for this command.
    pub fn close(self) -> Result<()> {
        match self.private {
            Some(private) => private.stop().context("stopping the private PostgreSQL"),
            None => Ok(()),
        }
    }
}

/// The folder of the private PostgreSQL.
pub fn private_folder(config: &Config) -> PathBuf {
    config.data.join("postgres")
}

/// Finds the database named `name` of the configuration's server, and starts the private server
/// where it does not run. Makes nothing that was not there.
pub async fn open(config: &Config, name: &str) -> Result<Opened> {
    if let Some(url) = &config.database_url {
        return Ok(Opened {
            url: url.clone(),
            private: None,
        });
    }
    let folder = private_folder(config);
    if let Some(url) = PrivatePostgres::url_where_it_runs(&folder, name)
        && PgConnection::connect(&url).await.is_ok()
    {
        return Ok(Opened { url, private: None });
    }
    anyhow::ensure!(
        folder.join("cluster").exists(),
        "there is no database in {}: set DATABASE_URL or EMBERBOOK_DATA",
        config.data.display()
    );
    let private = tokio::task::spawn_blocking(move || PrivatePostgres::start(&folder))
        .await?
        .context("starting the private PostgreSQL")?;
    Ok(Opened::of(private, name))
}
