//! Every column of every recorded table is changed in turn, rows are deleted, swapped, copied,
//! tables emptied: by a superuser with the triggers off and every constraint gone. The columns
//! come from the catalogue, so that a new one is tried by itself.

use super::catalogue::{DROP_CONSTRAINTS, Table, changed, key_text, tables};
use super::outside::{is_live_only, stands_outside};
use super::programme::small_programme;
use super::report::Count;
use crate::support::{TestProgramme, census};
use emberbook::service::Caller;
use emberbook::service::audit::{AuditFault, AuditOptions, audit};
use emberbook::verify::{Options, verify};
use sqlx::{AssertSqlSafe, PgPool};

/// One change: what was done, the statements, and the keys that a fault may name.
struct Cell {
    what: String,
    sql: String,
    keys: Vec<String>,
}

struct Bench {
    programme: TestProgramme,
    caller: Caller,
    pool: PgPool,
}

impl Bench {
    async fn set_up() -> Self {
        let programme = small_programme().await;
        let pool = programme.app.pool.clone();
        let secret = &programme.manager_secret;
        let caller = programme.app.service.caller_by_token(secret).await;
        let bench = Bench {
            caller: caller.expect("a caller"),
            programme,
            pool,
        };
        bench.run(DROP_CONSTRAINTS).await;
        bench.run("create schema kept").await;
        for table in tables(&bench.pool).await {
            let name = &table.name;
            bench
                .run(&format!("create table kept.{name} as select * from {name}"))
                .await;
        }
        bench
    }

    /// Runs statements as the superuser with the triggers off.
    async fn run(&self, sql: &str) {
        let sql = format!("begin; set local session_replication_role = replica; {sql}; commit");
        sqlx::raw_sql(AssertSqlSafe(sql.clone()))
            .execute(&self.pool)
            .await
            .unwrap_or_else(|error| panic!("{error}: {sql}"));
    }

    async fn put_back(&self, table: &str) {
        let again =
            |name: &str| format!("truncate {name}; insert into {name} select * from kept.{name}");
        let sql = [again(table), again("checkpoint")].join("; ");
        self.run(&sql).await;
    }

    async fn texts(&self, sql: String) -> Vec<String> {
        sqlx::query_scalar(AssertSqlSafe(sql.clone()))
            .fetch_all(&self.pool)
            .await
            .unwrap_or_else(|error| panic!("{error}: {sql}"))
    }

    /// What the audit finds; the statements are computed again only where nothing else was found.
    async fn audit(&self) -> Vec<AuditFault> {
        let quick = self.audit_with(true).await;
        if quick.is_empty() {
            return self.audit_with(false).await;
        }
        quick
    }

    async fn audit_with(&self, without_figures: bool) -> Vec<AuditFault> {
        let mut connection = self.pool.acquire().await.expect("a connection");
        let options = AuditOptions {
            without_figures,
            ..AuditOptions::default()
        };
        let reports = audit(&mut connection, None, &options).await;
        let reports = reports.expect("the audit can be made");
        reports
            .iter()
            .flat_map(|report| report.faults().cloned())
            .collect()
    }

    /// Whether the export refuses, or its bag does not check out.
    async fn found_in_bag(&self) -> bool {
        let folder = tempfile::tempdir().expect("a folder");
        let service = &self.programme.app.service;
        match service.write_bag(&self.caller, folder.path()).await {
            Err(_) => true,
            Ok(_) => {
                let path = folder.path().to_owned();
                let report =
                    tokio::task::spawn_blocking(move || verify(&path, &Options::default()));
                !report.await.expect("a report").is_sound()
            }
        }
    }

    /// Rows of a table as they came, with the texts of their keys: `ctid`, key.
    async fn rows(&self, table: &Table) -> Vec<(String, String)> {
        let key = key_text(table, "t");
        let sql = format!(
            "select ctid::text, {key} from {} t order by t.ctid",
            table.name
        );
        sqlx::query_as(AssertSqlSafe(sql))
            .fetch_all(&self.pool)
            .await
            .expect("rows")
    }

    async fn cells(&self, table: &Table) -> Vec<Cell> {
        let name = &table.name;
        let rows = self.rows(table).await;
        assert!(
            !rows.is_empty(),
            "{name} is empty, so nothing is shown of it"
        );
        // The latest: of the first token of a programme the trail does not know the id.
        let (_, key) = &rows[rows.len() - 1];
        let mut cells = Vec::new();
        let here = format!(
            "where {} = '{}'",
            key_text(table, "t"),
            key.replace('\'', "''")
        );
        for column in &table.columns {
            let value = changed(column);
            let mut keys = vec![key.clone()];
            // With another key the row has another name.
            let renamed = format!(
                "select {} from (select {} from {name} t {here}) t",
                key_text(table, "t"),
                table
                    .columns
                    .iter()
                    .map(
                        |each| match each.name == column.name && column.sql_type != "uuid" {
                            true => format!("{value} as {}", each.name),
                            false => each.name.clone(),
                        }
                    )
                    .collect::<Vec<_>>()
                    .join(", ")
            );
            keys.extend(self.texts(renamed).await);
            cells.push(Cell {
                what: column.name.clone(),
                sql: format!("update {name} t set {} = {value} {here}", column.name),
                keys,
            });
        }
        cells.push(Cell {
            what: "delete".into(),
            sql: format!("delete from {name} t {here}"),
            keys: vec![key.clone()],
        });
        cells.push(Cell {
            what: "truncate".into(),
            sql: format!("truncate {name}"),
            keys: rows.iter().map(|(_, key)| key.clone()).collect(),
        });
        cells.extend(self.swap(table, &rows).await);
        cells.extend(copy(table, key, &here));
        cells
    }

    /// Two rows change all that is not their key; where it is the same already, nothing.
    async fn swap(&self, table: &Table, rows: &[(String, String)]) -> Option<Cell> {
        let name = &table.name;
        let (a, b) = (rows.first()?, rows.get(1)?);
        let values: Vec<&str> = table
            .columns
            .iter()
            .map(|column| column.name.as_str())
            .filter(|column| {
                *column != "programme_id" && !table.key.iter().any(|key| key == column)
            })
            .collect();
        if values.is_empty() {
            return None;
        }
        let values = values.join(", ");
        let sql = format!(
            "select (select row({values})::text from {name} where ctid = '{}')
                  = (select row({values})::text from {name} where ctid = '{}')",
            a.0, b.0
        );
        let same: bool = sqlx::query_scalar(AssertSqlSafe(sql))
            .fetch_one(&self.pool)
            .await
            .expect("compared");
        if same {
            return None;
        }
        let other = format!(
            "case t.ctid when '{}'::tid then '{}'::tid else '{}'::tid end",
            a.0, b.0, a.0
        );
        Some(Cell {
            what: "swap".into(),
            sql: format!(
                "update {name} t set ({values}) = (select {values} from {name} o where o.ctid = {other})
                 where t.ctid in ('{}', '{}')",
                a.0, b.0
            ),
            keys: vec![a.1.clone(), b.1.clone()],
        })
    }
}

/// A copy of a row under another key.
fn copy(table: &Table, key: &str, here: &str) -> Option<Cell> {
    let last = table.key.last()?;
    let name = &table.name;
    let values: Vec<String> = table
        .columns
        .iter()
        .map(|column| match column.name == *last {
            true => changed(column),
            false => column.name.clone(),
        })
        .collect();
    let prefix = key.rsplit_once('/').map_or("", |(prefix, _)| prefix);
    Some(Cell {
        what: "copy".into(),
        sql: format!(
            "insert into {name} select {} from {name} t {here}",
            values.join(", ")
        ),
        // Its own key is new; it is told by the part that it shares.
        keys: vec![format!("{prefix}*")],
    })
}

fn names(fault: &AuditFault, table: &str, what: &str, keys: &[String]) -> bool {
    // What went to a programme that there is not is told by its table.
    if what == "programme_id" && fault.table == table && fault.key.is_empty() {
        return true;
    }
    let fits = |key: &String| match key.strip_suffix('*') {
        Some(prefix) => fault.key.starts_with(prefix),
        // Of rows that changed places the batch is named: each still hashes to its own hash.
        None => {
            fault.key == *key
                || key
                    .strip_prefix(&fault.key)
                    .is_some_and(|rest| rest.starts_with('/'))
        }
    };
    fault.table == table && keys.iter().any(fits)
}

/// What is tried of each table.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Extent {
    /// Every cell, the audit and the bag.
    All,
    /// One column that is not of the key, and the audit alone.
    OneOfEach,
}

impl Extent {
    fn of(self, table: &Table, mut cells: Vec<Cell>) -> Vec<Cell> {
        if self == Extent::OneOfEach {
            let fits = |cell: &Cell| {
                cell.what != "programme_id"
                    && !table.key.contains(&cell.what)
                    && !stands_outside(&table.name, &cell.what)
            };
            cells.retain(fits);
            cells.truncate(1);
        }
        cells
    }
}

/// Tries cells of these tables; returns the count and what went wrong.
async fn try_tables(part: usize, parts: usize, extent: Extent) -> (Count, Vec<String>) {
    let bench = Bench::set_up().await;
    let before = census(&bench.pool).await;
    let faults = bench.audit().await;
    assert!(faults.is_empty(), "the sound database: {faults:#?}");
    if extent == Extent::All {
        let found = bench.found_in_bag().await;
        assert!(!found, "the bag of the sound database");
    }
    let (mut count, mut wrong, mut all_wrong) = (Count::default(), Vec::new(), Vec::new());
    let all = tables(&bench.pool).await;
    let own = all
        .iter()
        .enumerate()
        .filter(|(index, _)| index % parts == part);
    for (_, table) in own {
        println!("{} {count}", table.name);
        let cells = extent.of(table, bench.cells(table).await);
        assert!(!cells.is_empty(), "nothing is tried of {}", table.name);
        for cell in cells {
            let name = format!("{} {}", table.name, cell.what);
            bench.run(&cell.sql).await;
            let faults = bench.audit().await;
            // Of what a bag does not carry it can tell nothing.
            let carried = extent == Extent::All && !is_live_only(&table.name, &cell.what);
            let in_bag = carried && bench.found_in_bag().await;
            bench.put_back(&table.name).await;
            let named = faults
                .iter()
                .any(|fault| names(fault, &table.name, &cell.what, &cell.keys));
            let outside = stands_outside(&table.name, &cell.what);
            count.add(Count {
                tried: 1,
                audit: usize::from(!faults.is_empty()),
                named: usize::from(named),
                verify: usize::from(in_bag),
                carried: usize::from(carried),
                outside: usize::from(outside),
            });
            if outside != faults.is_empty() {
                wrong.push(format!("{name}: audit {faults:?}, outside {outside}"));
            } else if !outside && !named {
                wrong.push(format!("{name}: {:?} not named in {faults:#?}", cell.keys));
            }
            if carried && !in_bag {
                wrong.push(format!("{name}: the bag checks out"));
            }
            for told in wrong.drain(..) {
                println!("{told}");
                all_wrong.push(told);
            }
        }
    }
    assert_eq!(census(&bench.pool).await, before, "everything was put back");
    assert!(bench.audit().await.is_empty());
    (count, all_wrong)
}

async fn try_all(extent: Extent) -> Count {
    let started = std::time::Instant::now();
    let parts = 2;
    let benches: Vec<_> = (0..parts)
        .map(|part| tokio::spawn(try_tables(part, parts, extent)))
        .collect();
    let (mut count, mut wrong) = (Count::default(), Vec::new());
    for bench in benches {
        let (counted, told) = bench.await.expect("a bench");
        count.add(counted);
        wrong.extend(told);
    }
    println!("{count}, in {:.1} s", started.elapsed().as_secs_f64());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(count.audit + count.outside, count.tried, "{count}");
    count
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_column_of_each_recorded_table_is_watched() {
    let count = try_all(Extent::OneOfEach).await;
    assert!(count.tried > 40, "{count}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "takes minutes unoptimised; run it by name with --ignored"]
async fn every_column_of_every_recorded_table_is_watched() {
    let count = try_all(Extent::All).await;
    assert!(count.tried > 350, "{count}");
}
