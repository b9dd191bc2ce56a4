//! Serving, and the tokens that an operator hands out.

use anyhow::{Context, Result};
use emberbook::config::Config;
use emberbook::postgres::PrivatePostgres;
use emberbook::service::tokens::TokenRequest;
use emberbook::service::trail::LogKeys;
use emberbook::service::uploads::UploadSettings;
use emberbook::service::workers::WorkerSettings;
use emberbook::service::{Role, Service};
use emberbook::{api, server, store};
use std::future::Future;
use std::net::SocketAddr;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tracing_subscriber::EnvFilter;

/// The program's database, and the service on it.
pub struct Running {
    pub service: Service,
    /// What the database is, for people.
    pub database: String,
    private: Option<PrivatePostgres>,
}

impl Running {
    /// Stops what was started.
    pub async fn stop(self) -> Result<()> {
        self.service.close().await;
        if let Some(private) = self.private {
            private.stop().context("stopping the private PostgreSQL")?;
        }
        Ok(())
    }
}

/// Runs `work` on a runtime with logging set up.
pub fn block_on<F: Future<Output = Result<ExitCode>>>(work: F) -> Result<ExitCode> {
    let filter =
        EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,emberbook=info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .init();
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?
        .block_on(work)
}

/// Opens the database of the configuration: the named one, or a private one that is
/// started here and ends with this process.
pub async fn start(config: &Config) -> Result<Running> {
    let keys = LogKeys::in_folder(config.origin.clone(), config.data.clone())?;
    let (private, url, database) = match &config.database_url {
        Some(url) => (
            None,
            url.clone(),
            "the PostgreSQL named by DATABASE_URL".to_owned(),
        ),
        None => {
            let folder = config.data.join("postgres");
            let private = tokio::task::spawn_blocking(move || PrivatePostgres::start(&folder))
                .await?
                .context("starting the private PostgreSQL")?;
            private.create_database("emberbook").await?;
            let url = private.url("emberbook");
            let database = format!(
                "a private PostgreSQL in {}",
                private.data_folder().display()
            );
            (Some(private), url, database)
        }
    };
    let pool = store::connect(&url, config.connections, config.row_security)
        .await
        .context("opening the database")?;
    let service = Service::new(pool, keys, Arc::new(chrono::Utc::now))
        .with_row_security(config.row_security)
        .with_upload_limit(config.upload_bytes)
        .with_uploads(UploadSettings {
            folder: config.data.join("uploads"),
            quota_bytes: config.upload_quota_bytes,
            hours: config.upload_hours,
        });
    Ok(Running {
        service,
        database,
        private,
    })
}

pub fn run(config: &Config) -> Result<ExitCode> {
    block_on(async {
        let running = start(config).await?;
        println!("emberbook uses {}", running.database);
        serve(config, running).await
    })
}

/// Serves until told to stop, then lets requests under way finish.
pub async fn serve(config: &Config, running: Running) -> Result<ExitCode> {
    let listener = TcpListener::bind(config.addr)
        .await
        .with_context(|| format!("cannot listen on {}", config.addr))?;
    println!("serving on http://{}", listener.local_addr()?);
    let workers = running.service.start_workers(WorkerSettings {
        workers: config.job_workers,
        lease: Duration::from_secs(config.job_lease_seconds),
        describe: api::describe,
    });
    let router = server::router(running.service.clone());
    axum::serve(
        listener,
        router.into_make_service_with_connect_info::<SocketAddr>(),
    )
    .with_graceful_shutdown(stop_signal(running.service.clone()))
    .await?;
    workers.stop().await;
    running.stop().await?;
    Ok(ExitCode::SUCCESS)
}

async fn stop_signal(service: Service) {
    let interrupt = tokio::signal::ctrl_c();
    let terminate = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate());
    match terminate {
        Ok(mut terminate) => {
            tokio::select! {
                _ = interrupt => {}
                _ = terminate.recv() => {}
            }
        }
        Err(_) => {
            let _ = interrupt.await;
        }
    }
    service.announce_stop();
}

pub fn operator_token(config: &Config, label: &str, days: u32) -> Result<ExitCode> {
    block_on(async {
        let running = start(config).await?;
        let service = &running.service;
        println!("{}", service.issue_operator_token_for(label, days).await?);
        running.stop().await?;
        Ok(ExitCode::SUCCESS)
    })
}

pub fn manager_token(config: &Config, programme: &str, label: &str, days: u32) -> Result<ExitCode> {
    block_on(async {
        let running = start(config).await?;
        let token = running
            .service
            .operator_issues_token(
                programme,
                &TokenRequest {
                    expires_in_days: Some(days),
                    ..TokenRequest::of(Role::Manager, label)
                },
            )
            .await?;
        println!("{token}");
        running.stop().await?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Changes the log's key, and says what to hand to verifiers.
pub fn rotate_log_key(config: &Config) -> Result<ExitCode> {
    block_on(async {
        let running = start(config).await?;
        let changed = running.service.rotate_log_key().await?;
        running.stop().await?;
        for change in &changed {
            println!(
                "{}: entry {} hands over\n  from {}\n  to   {}",
                change.programme, change.sequence, change.old_key, change.new_key
            );
        }
        println!(
            "{} programme(s) changed. Tell verifiers the new keys; those who pinned an old one follow the entries.",
            changed.len()
        );
        Ok(ExitCode::SUCCESS)
    })
}
