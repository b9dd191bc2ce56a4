//! Backup and restore: PostgreSQL's own `pg_dump` and `pg_restore`, run on the program's database
//! whether the service is running or not.

use super::database::{NAME, Opened, open, private_folder};
use anyhow::{Context, Result, bail, ensure};
use emberbook::config::Config;
use emberbook::postgres::PrivatePostgres;
use sqlx::{Connection, PgConnection};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

/// Prints how other programs reach the database, and keeps a private one running until Ctrl-C.
pub fn database_url(config: &Config) -> Result<ExitCode> {
    runtime()?.block_on(async {
        let database = open(config, NAME).await?;
        println!("{}", for_postgres(&database.url));
        if database.is_own() {
            eprintln!("the private PostgreSQL runs until Ctrl-C");
            tokio::signal::ctrl_c().await?;
        }
        database.close()?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Dumps the database into a new file.
pub fn backup(config: &Config, file: &Path) -> Result<ExitCode> {
    ensure!(!file.exists(), "{} is there already", file.display());
    let part = beside(file);
    runtime()?.block_on(async {
        let database = open(config, NAME).await?;
        let mut dump = program(config, "pg_dump")?;
        dump.args(["--format=custom", "--no-owner", "--no-privileges", "--file"])
            .arg(&part)
            .arg("--dbname")
            .arg(for_postgres(&database.url));
        let done = run(dump, "pg_dump");
        database.close()?;
        if let Err(error) = done {
            // What is half there is no backup; that it cannot be removed changes nothing.
            let _ = std::fs::remove_file(&part);
            return Err(error);
        }
        std::fs::File::open(&part)?.sync_all()?;
        std::fs::rename(&part, file).with_context(|| format!("cannot write {}", file.display()))?;
        println!("wrote {}", file.display());
        println!(
            "the key that signs checkpoints is not in it: keep a copy of {} elsewhere",
            config.data.join("log-key.hex").display()
        );
        Ok(ExitCode::SUCCESS)
    })
}

/// Fills an empty database from a dump.
pub fn restore(config: &Config, file: &Path) -> Result<ExitCode> {
    ensure!(file.is_file(), "there is no file {}", file.display());
    runtime()?.block_on(async {
        let database = match &config.database_url {
            Some(_) => open(config, NAME).await?,
            None => made(config).await?,
        };
        let outcome = fill(config, &database, file).await;
        database.close()?;
        outcome?;
        println!(
            "restored {}; look at it with `emberbook audit`",
            file.display()
        );
        Ok(ExitCode::SUCCESS)
    })
}

/// The private PostgreSQL with an empty database, made where there is none.
async fn made(config: &Config) -> Result<Opened> {
    let folder = private_folder(config);
    let private = tokio::task::spawn_blocking(move || PrivatePostgres::start(&folder))
        .await?
        .context("starting the private PostgreSQL (stop the service first)")?;
    private.create_database(NAME).await?;
    Ok(Opened::of(private, NAME))
}

async fn fill(config: &Config, database: &Opened, file: &Path) -> Result<()> {
    let mut connection = PgConnection::connect(&database.url)
        .await
        .context("opening the database")?;
    let tables = emberbook::store::tables(&mut connection).await?;
    connection.close().await?;
    if let Some(table) = tables.first() {
        bail!("the database is not empty (it has the table {table}): restore into a new one");
    }
    let mut fill = program(config, "pg_restore")?;
    fill.args([
        "--no-owner",
        "--no-privileges",
        "--exit-on-error",
        "--single-transaction",
        "--dbname",
    ])
    .arg(for_postgres(&database.url))
    .arg(file);
    run(fill, "pg_restore")
}

fn runtime() -> Result<tokio::runtime::Runtime> {
    Ok(tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?)
}

/// A program of the PostgreSQL that is installed here; else the one on the search path.
fn program(config: &Config, name: &str) -> Result<Command> {
    let installed = PrivatePostgres::programs(&private_folder(config)).ok();
    let found = installed
        .map(|folder| folder.join(name))
        .filter(|path| path.is_file());
    let mut command = Command::new(found.unwrap_or_else(|| PathBuf::from(name)));
    // The address is whole; what the environment says is of another server.
    for variable in [
        "PGHOST",
        "PGPORT",
        "PGUSER",
        "PGDATABASE",
        "PGSERVICE",
        "PGOPTIONS",
    ] {
        command.env_remove(variable);
    }
    Ok(command)
}

fn run(mut command: Command, name: &str) -> Result<()> {
    let status = command
        .status()
        .with_context(|| format!("cannot run {name}: install PostgreSQL's client programs"))?;
    ensure!(status.success(), "{name} ended with {status}");
    Ok(())
}

/// The address without what only this program's client library reads, which PostgreSQL's own
/// programs refuse.
fn for_postgres(url: &str) -> String {
    const KNOWN: [&str; 12] = [
        "host",
        "hostaddr",
        "port",
        "user",
        "password",
        "dbname",
        "sslmode",
        "sslrootcert",
        "sslcert",
        "sslkey",
        "options",
        "application_name",
    ];
    let Some((base, query)) = url.split_once('?') else {
        return url.to_owned();
    };
    let mut kept = Vec::new();
    for pair in query.split('&') {
        let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
        // Both spellings are taken by our library: ssl-mode is sslmode.
        let name = name.replace("ssl-", "ssl").replace('-', "");
        let name = if name == "sslca" {
            "sslrootcert"
        } else {
            &name
        };
        if KNOWN.contains(&name) {
            kept.push(format!("{name}={value}"));
        }
    }
    match kept.is_empty() {
        true => base.to_owned(),
        false => format!("{base}?{}", kept.join("&")),
    }
}

fn beside(file: &Path) -> PathBuf {
    let mut name = file.file_name().unwrap_or(OsStr::new("backup")).to_owned();
    name.push(".part");
    file.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_only_our_client_reads_is_left_out_of_the_address() {
        for (url, told) in [
            ("postgres://u:p@h/d", "postgres://u:p@h/d"),
            (
                "postgres://u@h/d?ssl-mode=require&statement-cache-capacity=100&host=%2Frun",
                "postgres://u@h/d?sslmode=require&host=%2Frun",
            ),
            (
                "postgres://u@h/d?statement-cache-capacity=1",
                "postgres://u@h/d",
            ),
            (
                "postgres://u@h/d?ssl-ca=%2Fca.pem",
                "postgres://u@h/d?sslrootcert=%2Fca.pem",
            ),
        ] {
            assert_eq!(for_postgres(url), told);
        }
    }
}
