//! Auditing the live database.

use super::database::{NAME, open};
use super::serve::block_on;
use super::verdict;
use anyhow::{Context, Result};
use emberbook::config::Config;
use emberbook::service::audit::{AuditOptions, AuditReport, audit};
use sqlx::{Connection, PgConnection};
use std::path::Path;
use std::process::ExitCode;

/// What is asked for.
pub struct Asked<'a> {
    /// Code of the programme; absent = all of them.
    pub programme: Option<&'a str>,
    pub key: Option<&'a str>,
    pub kept: Option<&'a Path>,
    pub json: bool,
}

/// Audits the database and prints a verdict for each programme. Exit code 0 = in order, 1 = not.
pub fn run(config: &Config, asked: &Asked<'_>) -> Result<ExitCode> {
    let key = asked.key.map(str::parse).transpose();
    let read = |file: &Path| {
        std::fs::read_to_string(file).with_context(|| format!("cannot read {}", file.display()))
    };
    let options = AuditOptions {
        key: key.context("--key is not a verifier key")?,
        kept_checkpoint: asked.kept.map(read).transpose()?,
        without_figures: false,
    };
    block_on(async {
        let database = open(config, NAME).await?;
        let mut connection = PgConnection::connect(&database.url)
            .await
            .context("opening the database")?;
        let reports = audit(&mut connection, asked.programme, &options).await;
        connection.close().await?;
        database.close()?;
        print(&reports.context("the audit")?, asked.json)
    })
}

fn print(reports: &[AuditReport], json: bool) -> Result<ExitCode> {
    if json {
        println!("{}", serde_json::to_string_pretty(reports)?);
    } else {
        for report in reports {
            verdict::print(&report.to_string());
        }
        if reports.is_empty() {
            println!("there is no programme in this database");
        }
    }
    Ok(match reports.iter().all(AuditReport::is_sound) {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}
