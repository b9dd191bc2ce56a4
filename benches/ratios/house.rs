//! The set-up that all measurements share: a private durable PostgreSQL, an
//! invented programme of some size in it, and the service listening on loopback.

use anyhow::{Context, Result, ensure};
use axum::Router;
use emberbook::config::RowSecurity;
use emberbook::postgres::PrivatePostgres;
use emberbook::seed::programme::{ProgrammeFile, Round};
use emberbook::seed::{COMMITTED_SEED, Scale, write_folder};
use emberbook::service::trail::LogKeys;
use emberbook::service::{Caller, Service};
use emberbook::{accounting::records::RoundKind, server, store};
use sqlx::PgPool;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::net::TcpListener;

/// Connections of each pool: the service's default.
pub const POOL_CONNECTIONS: u32 = 16;

/// Longest that anything may take that another program does.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// How large the measurements are.
#[derive(Debug, Clone)]
pub struct Sizes {
    pub deployments: u64,
    pub intake_repeats: usize,
    pub statement_repeats: usize,
    pub reading_repeats: usize,
    pub reading_time: Duration,
    pub draws: u64,
    pub draw_repeats: usize,
    pub upload_rows: u64,
    /// Visits of each page.
    pub page_repeats: usize,
    /// Deployments of the two programmes whose bags are checked.
    pub verify_deployments: [u64; 2],
    pub verify_repeats: usize,
}

impl Sizes {
    /// About 100,000 answers in the survey of the last year.
    pub fn full() -> Self {
        Sizes {
            deployments: 140_000,
            intake_repeats: 5,
            statement_repeats: 5,
            reading_repeats: 3,
            reading_time: Duration::from_secs(3),
            draws: 100_000,
            draw_repeats: 15,
            upload_rows: crate::upload::ROWS,
            page_repeats: 20,
            // Bags of about 100,000 and a million rows.
            verify_deployments: [32_000, 330_000],
            verify_repeats: 3,
        }
    }

    /// Says only whether everything runs.
    pub fn quick() -> Self {
        Sizes {
            deployments: 1_200,
            intake_repeats: 2,
            statement_repeats: 2,
            reading_repeats: 1,
            reading_time: Duration::from_millis(500),
            draws: 10_000,
            draw_repeats: 2,
            upload_rows: crate::upload::ROWS_QUICK,
            page_repeats: 2,
            verify_deployments: [600, 1_200],
            verify_repeats: 2,
        }
    }
}

/// What is measured, and what it stands on.
pub struct House {
    pub service: Service,
    pub caller: Caller,
    pub token: String,
    /// Where the service listens.
    pub address: SocketAddr,
    /// A pool beside the service's own, made by the same function.
    pub pool: PgPool,
    pub programme: ProgrammeFile,
    /// The files of the invented programme.
    pub seed: PathBuf,
    pub folder: TempDir,
    psql: PathBuf,
    url: String,
    server: PrivatePostgres,
}

impl House {
    /// Starts everything and loads the programme.
    pub async fn open(sizes: &Sizes) -> Result<Self> {
        let began = Instant::now();
        let folder = tempfile::tempdir()?;
        let seed = folder.path().join("seed");
        let scale = Scale {
            deployments: sizes.deployments,
            // More than there are: every stove is looked for.
            answers_per_age_band: sizes.deployments,
            ..Scale::default()
        };
        write_folder(&seed, &scale, COMMITTED_SEED)?;
        let programme = serde_json::from_slice(&std::fs::read(seed.join("programme.json"))?)?;

        let data = folder.path().join("postgres");
        let server = tokio::task::spawn_blocking(move || PrivatePostgres::start(&data)).await??;
        server.create_database("bench").await?;
        let url = server.url("bench");
        let psql = find_psql(server.process_id())?;
        let own_pool = store::connect(&url, POOL_CONNECTIONS, RowSecurity::Service).await?;
        let service = Service::new(own_pool, keys(), Arc::new(chrono::Utc::now));
        let loaded = service.load_seed(&seed).await?;
        let pool = store::connect(&url, POOL_CONNECTIONS, RowSecurity::Service).await?;
        sqlx::query("vacuum analyze").execute(&pool).await?;
        let address = serve(server::router(service.clone())).await?;
        println!(
            "Set up in {:.0} s: an invented programme of {} deployments on a private durable PostgreSQL {}.\n",
            began.elapsed().as_secs_f64(),
            sizes.deployments,
            sqlx::query_scalar::<_, String>("select current_setting('server_version')")
                .fetch_one(&pool)
                .await?
        );
        Ok(House {
            service,
            caller: loaded.caller,
            token: loaded.token,
            address,
            pool,
            programme,
            seed,
            folder,
            psql,
            url,
            server,
        })
    }

    /// The address of a resource of the programme.
    pub fn resource(&self, path: &str) -> String {
        let programme = &self.caller.programme_code;
        format!(
            "http://{}/api/v1/programmes/{programme}{path}",
            self.address
        )
    }

    /// The survey of the last year, the largest file.
    pub fn last_survey(&self) -> Result<&Round> {
        self.programme
            .rounds
            .iter()
            .filter(|round| round.kind == RoundKind::UsageSurvey)
            .max_by_key(|round| round.starts_on)
            .context("the programme has no usage survey")
    }

    /// Runs one psql command to its end; returns the time it took, its start included.
    pub async fn psql(&self, command: &str) -> Result<Duration> {
        let began = Instant::now();
        let running = tokio::process::Command::new(&self.psql)
            .args([
                "-X",
                "-q",
                "-v",
                "ON_ERROR_STOP=1",
                "-d",
                &self.url,
                "-c",
                command,
            ])
            .stdin(Stdio::null())
            .kill_on_drop(true)
            .output();
        let done = tokio::time::timeout(PATIENCE, running).await??;
        let took = began.elapsed();
        let told = String::from_utf8_lossy(&done.stderr);
        ensure!(done.status.success(), "psql: {told}");
        Ok(took)
    }

    /// The address of the database.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Writes everything out, so that no measurement pays for an earlier one.
    pub async fn settle(&self) -> Result<()> {
        sqlx::query("checkpoint").execute(&self.pool).await?;
        Ok(())
    }

    pub async fn close(self) -> Result<()> {
        self.service.close().await;
        self.pool.close().await;
        tokio::task::spawn_blocking(move || self.server.stop()).await??;
        Ok(())
    }
}

/// The key of the logs.
pub fn keys() -> LogKeys {
    LogKeys::new("localhost/bench", [7; 32])
}

/// Serves on a free loopback port until the process ends.
pub async fn serve(router: Router) -> Result<SocketAddr> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    tokio::spawn(async move { axum::serve(listener, router).await });
    Ok(address)
}

/// The client that came with the running server, else the one on the search path.
fn find_psql(server_process: u32) -> Result<PathBuf> {
    let beside = std::fs::read_link(format!("/proc/{server_process}/exe"))
        .ok()
        .map(|server| server.with_file_name("psql"))
        .filter(|psql| psql.is_file());
    let psql = beside.unwrap_or_else(|| Path::new("psql").to_owned());
    let answer = Command::new(&psql).arg("--version").output();
    answer.with_context(|| format!("{} is needed for the reference", psql.display()))?;
    Ok(psql)
}
