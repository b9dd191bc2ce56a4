//! The rules themselves, as functions of one file's path and text.

use crate::scan;

/// What each room may name. A room stands on the rooms below it and on nothing else.
const ROOMS: &[(&str, &[&str])] = &[
    ("statistics", &[]),
    ("trail", &[]),
    ("config", &[]),
    ("postgres", &[]),
    ("accounting", &["statistics"]),
    ("intake", &["accounting", "statistics"]),
    ("report", &["accounting", "statistics"]),
    (
        "store",
        &["accounting", "statistics", "trail", "intake", "config"],
    ),
    ("seed", PURE),
    ("verify", PURE),
    ("service", BELOW_SERVICE),
    ("api", BELOW_PAGES),
    ("web", BELOW_PAGES),
    ("server", &["service", "api", "web"]),
    ("commands", EVERYTHING),
    ("main", EVERYTHING),
];

/// Rooms of pure functions.
const PURE: &[&str] = &[
    "statistics",
    "accounting",
    "trail",
    "intake",
    "verify",
    "seed",
];
const BELOW_SERVICE: &[&str] = &[
    "statistics",
    "accounting",
    "trail",
    "intake",
    "verify",
    "seed",
    "config",
    "report",
    "store",
];
const BELOW_PAGES: &[&str] = &[
    "statistics",
    "accounting",
    "trail",
    "intake",
    "verify",
    "config",
    "report",
    "service",
];
const EVERYTHING: &[&str] = &[
    "statistics",
    "accounting",
    "trail",
    "intake",
    "verify",
    "seed",
    "config",
    "report",
    "store",
    "service",
    "api",
    "web",
    "server",
    "postgres",
    "commands",
];

const SQL: &[&str] = &["sqlx"];
const HTTP: &[&str] = &["axum", "hyper", "reqwest", "tower", "tower_http"];
const RUNTIME: &[&str] = &["tokio", "tokio_util"];
/// Types that read the time of day or measure it.
const CLOCKS: &[&str] = &["SystemTime", "Instant", "Local"];

/// Every wall that the file breaks: a room or crate it must not name, or a clock.
pub fn broken_walls(path: &str, source: &str) -> Vec<String> {
    let module = module(path);
    let room = module.first().map_or("main", String::as_str);
    if room == "lib" {
        return Vec::new();
    }
    let Some((_, below)) = ROOMS.iter().find(|(name, _)| *name == room) else {
        return vec![format!(
            "{path}: `{room}` is not a room; give it a place in ROOMS"
        )];
    };
    let mut broken: Vec<String> = scan::paths(source, &module)
        .iter()
        .filter_map(|named| offence(room, below, named))
        .map(|offence| format!("{path}: {offence}"))
        .collect();
    broken.dedup();
    broken
}

fn offence(room: &str, below: &[&str], named: &[String]) -> Option<String> {
    let shown = named.join("::");
    let mut words = named.iter().map(String::as_str);
    let first = words.next()?;
    if first == "crate" {
        let target = words.next()?;
        let is_room = ROOMS.iter().any(|(name, _)| *name == target);
        let allowed = target == room || below.contains(&target);
        return match (target, is_room) {
            ("*", _) => Some(format!("`{shown}` hides which rooms `{room}` stands on")),
            (_, true) if !allowed => Some(format!("`{room}` must not stand on `{shown}`")),
            _ => None,
        };
    }
    let pure = PURE.contains(&room);
    let ask = |crates: &[&str]| crates.contains(&first);
    let unwelcome = match room {
        _ if pure => ask(SQL) || ask(HTTP) || ask(RUNTIME),
        "report" => ask(SQL) || ask(HTTP),
        "store" | "service" => ask(HTTP),
        "api" | "web" => ask(SQL),
        _ => false,
    };
    let tells_time = pure
        && named.iter().enumerate().any(|(place, word)| {
            CLOCKS.contains(&word.as_str()) || (place > 0 && word.starts_with("now"))
        });
    if unwelcome {
        Some(format!("`{room}` must not know `{shown}`"))
    } else if tells_time {
        Some(format!(
            "`{room}` is pure and must not ask the clock: `{shown}`"
        ))
    } else {
        None
    }
}

/// Every place outside of the store and the private PostgreSQL that could hold SQL.
pub fn stray_sql(path: &str, source: &str) -> Vec<String> {
    let module = module(path);
    if module
        .first()
        .is_some_and(|room| room == "store" || room == "postgres")
    {
        return Vec::new();
    }
    let speaks_sql = |word: &str| {
        word.starts_with("query") || ["raw_sql", "QueryBuilder", "Executor", "*"].contains(&word)
    };
    scan::paths(source, &module)
        .iter()
        .filter(|named| named[0] == "sqlx" && named.get(1).is_some_and(|word| speaks_sql(word)))
        .map(|named| format!("{path}: `{}` belongs into the store", named.join("::")))
        .collect()
}

/// What makes the file hard to read: no word on its purpose, or too many lines.
pub fn unreadable(
    path: &str,
    source: &str,
    longest: usize,
    ratchet: &[(&str, usize)],
) -> Vec<String> {
    let mut broken = Vec::new();
    if !source.starts_with("//! ") {
        broken.push(format!(
            "{path}: begins without a `//!` comment that says what it is for"
        ));
    }
    let lines = source.lines().count();
    match ratchet.iter().find(|(name, _)| *name == path) {
        Some((_, most)) if lines > *most => {
            broken.push(format!(
                "{path}: grew from {most} to {lines} lines; split it"
            ));
        }
        Some(_) if lines <= longest => {
            broken.push(format!(
                "{path}: is short enough now; take it off the ratchet"
            ));
        }
        None if lines > longest => {
            broken.push(format!(
                "{path}: has {lines} lines, more than {longest}; split it"
            ));
        }
        _ => {}
    }
    broken
}

/// `src/api/rounds.rs` is `["api", "rounds"]`, and `src/main.rs` nothing: the crate's root.
fn module(path: &str) -> Vec<String> {
    let path = path.strip_prefix("src/").unwrap_or(path);
    let path = path.strip_suffix(".rs").unwrap_or(path);
    let mut words: Vec<String> = path.split('/').map(str::to_owned).collect();
    if words
        .last()
        .is_some_and(|last| last == "mod" || last == "main")
    {
        words.pop();
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_upward_import_breaks_a_wall_in_every_form() {
        for source in [
            "use crate::service::open;",
            "use crate::{accounting::fuel, service::open};",
            "use super::super::service;",
            "fn f() { crate::service::open() }",
        ] {
            let broken = broken_walls("src/store/rounds.rs", source);
            assert_eq!(broken.len(), 1, "{source}: {broken:?}");
            assert!(
                broken[0].contains("`store` must not stand on"),
                "{broken:?}"
            );
        }
        assert_eq!(
            broken_walls("src/trail/merkle.rs", "use crate::statistics::x;").len(),
            1
        );
        assert_eq!(
            broken_walls("src/verify/mod.rs", "use crate::store::x;").len(),
            1
        );
        assert_eq!(
            broken_walls("src/seed/mod.rs", "use crate::service::x;").len(),
            1
        );
        assert_eq!(broken_walls("src/api/mod.rs", "use crate::*;").len(), 1);
    }

    #[test]
    fn a_downward_import_is_free() {
        assert!(broken_walls("src/main.rs", "use emberbook::api::router;").is_empty());
        assert!(broken_walls("src/api/mod.rs", "use crate::service::x;").is_empty());
        assert!(broken_walls("src/verify/mod.rs", "use crate::{trail, intake::y};").is_empty());
        assert!(broken_walls("src/store/a.rs", "use super::b; use crate::trail::c;").is_empty());
    }

    #[test]
    fn a_pure_room_must_not_know_database_network_or_clock() {
        for source in [
            "use sqlx::PgPool;",
            "#[derive(sqlx::FromRow)] struct S;",
            "async fn f() { tokio::spawn(g()) }",
            "use axum::Json;",
            "use reqwest::Client;",
            "fn f() { chrono::Utc::now(); }",
            "use chrono::Utc; fn f() { Utc::now(); }",
            "use std::time::{Duration, Instant};",
        ] {
            for room in PURE {
                let broken = broken_walls(&format!("src/{room}/x.rs"), source);
                assert_eq!(broken.len(), 1, "{room}: {source}: {broken:?}");
            }
        }
        assert!(broken_walls("src/service/x.rs", "fn f() { chrono::Utc::now(); }").is_empty());
    }

    #[test]
    fn pages_know_no_database_and_services_no_http() {
        assert_eq!(broken_walls("src/api/x.rs", "use sqlx::PgPool;").len(), 1);
        assert_eq!(
            broken_walls("src/web/x.rs", "use crate::store::x;").len(),
            1
        );
        assert_eq!(broken_walls("src/service/x.rs", "use axum::Json;").len(), 1);
        assert_eq!(
            broken_walls("src/report/x.rs", "use sqlx::PgPool;").len(),
            1
        );
    }

    #[test]
    fn a_room_without_a_place_is_named() {
        let broken = broken_walls("src/attic/mod.rs", "//! Things.");
        assert!(broken[0].contains("`attic` is not a room"), "{broken:?}");
    }

    #[test]
    fn sql_outside_of_the_store_is_named() {
        for source in [
            "fn f() { sqlx::query!(\"select 1\"); }",
            "use sqlx::{PgPool, query_as};",
            "use sqlx::Executor as _;",
            "use sqlx::*;",
        ] {
            assert_eq!(stray_sql("src/service/x.rs", source).len(), 1, "{source}");
            assert!(stray_sql("src/store/x.rs", source).is_empty(), "{source}");
            assert!(stray_sql("src/postgres.rs", source).is_empty(), "{source}");
        }
        assert!(stray_sql("src/service/x.rs", "use sqlx::PgPool;").is_empty());
    }

    #[test]
    fn a_file_without_a_purpose_or_with_too_many_lines_is_named() {
        let long = format!("//! Long.\n{}", "\n".repeat(9));
        assert_eq!(unreadable("a.rs", "fn f() {}", 10, &[]).len(), 1);
        assert!(unreadable("a.rs", &long, 10, &[]).is_empty());
        assert_eq!(unreadable("a.rs", &long, 9, &[]).len(), 1);
        assert!(unreadable("a.rs", &long, 9, &[("a.rs", 10)]).is_empty());
        assert_eq!(unreadable("a.rs", &long, 8, &[("a.rs", 9)]).len(), 1);
        assert_eq!(unreadable("a.rs", &long, 10, &[("a.rs", 10)]).len(), 1);
    }
}
