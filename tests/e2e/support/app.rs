//! The program, served on a port of its own over a database of its own.

use super::client::Client;
use super::database;
use chrono::{DateTime, Utc};
use emberbook::server;
use emberbook::service::Service;
use emberbook::service::trail::LogKeys;
use emberbook::service::uploads::UploadSettings;
use sqlx::PgPool;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

/// Names the logs of the tests' servers; part of every id.
pub const ORIGIN: &str = "tests.example/emberbook";

/// Seed of the key that signs the tests' checkpoints.
pub const LOG_KEY_SEED: [u8; 32] = [7; 32];

/// Bytes that the uploads of a programme may hold at a time.
pub const UPLOAD_QUOTA_BYTES: u64 = 3_000_000;

/// How a server is set up where it matters.
pub struct Setup {
    /// What the clock shows at first.
    pub now: &'static str,
    pub upload_bytes_max: Option<u64>,
    pub connections: u32,
}

impl Default for Setup {
    fn default() -> Self {
        Setup {
            now: "2026-02-03T04:05:06.789Z",
            upload_bytes_max: None,
            connections: 8,
        }
    }
}

/// A clock that stands still until it is moved.
#[derive(Clone)]
pub struct TestClock(Arc<AtomicI64>);

impl TestClock {
    fn showing(time: &str) -> Self {
        let time: DateTime<Utc> = time.parse().expect("a time");
        TestClock(Arc::new(AtomicI64::new(time.timestamp_millis())))
    }

    pub fn advance_seconds(&self, seconds: i64) {
        self.0.fetch_add(seconds * 1000, Ordering::Relaxed);
    }

    fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0.load(Ordering::Relaxed)).expect("a time")
    }
}

/// A running server. It ends with this value.
pub struct App {
    pub address: SocketAddr,
    pub database: String,
    /// For looking behind the program's back.
    pub pool: PgPool,
    pub service: Service,
    pub clock: TestClock,
    /// Where the server keeps uploads on their way.
    pub uploads: TempDir,
    task: JoinHandle<()>,
}

impl App {
    /// On an empty database.
    pub async fn start() -> Self {
        Self::start_with(Setup::default()).await
    }

    pub async fn start_with(setup: Setup) -> Self {
        Self::start_on(database::fresh().await, setup).await
    }

    pub async fn start_on(database: String, setup: Setup) -> Self {
        let clock = TestClock::showing(setup.now);
        let told = clock.clone();
        let service = Service::new(
            database::pool(&database, setup.connections).await,
            LogKeys::new(ORIGIN, LOG_KEY_SEED),
            Arc::new(move || told.now()),
        );
        let service = match setup.upload_bytes_max {
            Some(bytes) => service.with_upload_limit(bytes),
            None => service,
        };
        let uploads = tempfile::tempdir().expect("a folder");
        let service = service.with_uploads(UploadSettings {
            quota_bytes: UPLOAD_QUOTA_BYTES,
            ..UploadSettings::in_folder(uploads.path().to_owned())
        });
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let router = server::router(service.clone());
        let task = tokio::spawn(async move {
            let router = router.into_make_service_with_connect_info::<SocketAddr>();
            axum::serve(listener, router).await.expect("it serves");
        });
        App {
            address,
            pool: database::pool(&database, 2).await,
            database,
            service,
            clock,
            uploads,
            task,
        }
    }

    /// A client without a token.
    pub fn client(&self) -> Client {
        Client::new(format!("http://{}", self.address))
    }

    /// Lets go of the database, so that it can be cloned.
    pub async fn close(self) -> String {
        self.service.close().await;
        self.pool.close().await;
        self.database.clone()
    }
}

impl Drop for App {
    fn drop(&mut self) {
        self.task.abort();
    }
}
