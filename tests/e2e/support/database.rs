//! One PostgreSQL for the whole run and a fresh database for each test, cloned from
//! a migrated template.
//!
//! The server is a private one, unless `DATABASE_URL` names another: then databases
//! are made there, and dropped at the end of the run.

use emberbook::config::RowSecurity;
use emberbook::postgres::{PrivatePostgres, ServerOptions};
use emberbook::store::prepare;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, PgConnection, PgPool};
use std::str::FromStr;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{LazyLock, Mutex};
use std::time::Duration;
use tempfile::TempDir;

struct Server {
    /// How to reach its `postgres` database, or the one that `DATABASE_URL` names.
    options: PgConnectOptions,
    private: Mutex<Option<(PrivatePostgres, TempDir)>>,
    made: Mutex<Vec<String>>,
    next: AtomicU32,
}

static SERVER: LazyLock<Server> = LazyLock::new(start);

/// The migrated database that others are cloned from. Nobody may be connected to it.
static TEMPLATE: LazyLock<String> = LazyLock::new(|| {
    on_its_own_runtime(async {
        let name = new_name();
        admin(&format!("create database \"{name}\"")).await;
        let pool = pool(&name, 1).await;
        prepare(&pool, RowSecurity::Service)
            .await
            .expect("the migrations run and the wall stands");
        pool.close().await;
        name
    })
});

fn start() -> Server {
    // SAFETY: the function is valid for the whole life of the process and does not unwind.
    unsafe {
        libc::atexit(clear_away);
    }
    let (options, private) = match std::env::var("DATABASE_URL") {
        Ok(url) => (PgConnectOptions::from_str(&url), None),
        Err(_) => {
            let folder = tempfile::tempdir().expect("a temporary folder");
            let fast = ServerOptions { durable: false };
            let server = PrivatePostgres::start_with(folder.path(), fast).expect("a PostgreSQL");
            let options = PgConnectOptions::from_str(&server.url("postgres"));
            (options, Some((server, folder)))
        }
    };
    Server {
        options: options.expect("a connection URL"),
        private: Mutex::new(private),
        made: Mutex::default(),
        next: AtomicU32::new(0),
    }
}

/// Runs at the end of the process, when all tests are over: a static is never dropped.
extern "C" fn clear_away() {
    let cleared = std::panic::catch_unwind(|| {
        let Some(server) = LazyLock::get(&SERVER) else {
            return;
        };
        let private = server.private.lock().map(|mut held| held.take());
        if let Ok(Some((postgres, folder))) = private {
            drop(postgres);
            drop(folder);
            return;
        }
        let made = match server.made.lock() {
            Ok(made) => made.clone(),
            Err(poisoned) => poisoned.into_inner().clone(),
        };
        on_its_own_runtime(async {
            for name in made {
                admin(&format!("drop database if exists \"{name}\" with (force)")).await;
            }
        });
    });
    if cleared.is_err() {
        eprintln!("the databases of this run could not be cleared away");
    }
}

/// Runs async work from a place that may itself stand inside a runtime.
pub fn on_its_own_runtime<T: Send>(work: impl Future<Output = T> + Send) -> T {
    std::thread::scope(|scope| {
        scope
            .spawn(|| {
                tokio::runtime::Builder::new_current_thread()
                    .enable_all()
                    .build()
                    .expect("a runtime")
                    .block_on(work)
            })
            .join()
            .expect("the work is done")
    })
}

fn new_name() -> String {
    let count = SERVER.next.fetch_add(1, Ordering::Relaxed);
    let name = format!("emberbook_e2e_{}_{count}", std::process::id());
    SERVER
        .made
        .lock()
        .expect("no test panics while it holds the list")
        .push(name.clone());
    name
}

/// Runs one statement as the server's administrator.
pub async fn admin(sql: &str) {
    let mut connection = PgConnection::connect_with(&SERVER.options)
        .await
        .expect("the server answers");
    sqlx::query(AssertSqlSafe(sql.to_owned()))
        .execute(&mut connection)
        .await
        .expect(sql);
    connection.close().await.expect("a clean end");
}

/// How another process reaches a database.
pub fn url(database: &str) -> String {
    let options = SERVER.options.clone().database(database);
    options.to_url_lossy().to_string()
}

/// A new database with the schema and nothing in it.
pub async fn fresh() -> String {
    clone_of(&TEMPLATE).await
}

/// A new database with all that another one holds. Nobody may be connected to that one.
pub async fn clone_of(template: &str) -> String {
    let name = new_name();
    admin(&format!(
        "create database \"{name}\" template \"{template}\""
    ))
    .await;
    name
}

/// An empty database of a user who may do nothing but use it; its name is the user's too.
pub async fn of_a_plain_user() -> (String, PgPool) {
    // The server has the service's role already: the template was made.
    LazyLock::force(&TEMPLATE);
    let name = new_name();
    admin(&format!("create role \"{name}\" login password 'plain'")).await;
    admin(&format!("create database \"{name}\" owner \"{name}\"")).await;
    let options = SERVER.options.clone().database(&name);
    let pool = PgPoolOptions::new()
        .max_connections(2)
        .connect_with(options.username(&name).password("plain"))
        .await
        .expect("the database answers");
    (name, pool)
}

pub async fn drop_plain_user(name: &str) {
    admin(&format!("drop database \"{name}\" with (force)")).await;
    admin(&format!("drop role \"{name}\"")).await;
}

pub async fn pool(database: &str, connections: u32) -> PgPool {
    PgPoolOptions::new()
        .max_connections(connections)
        .acquire_timeout(Duration::from_secs(10))
        .connect_with(SERVER.options.clone().database(database))
        .await
        .expect("the database answers")
}
