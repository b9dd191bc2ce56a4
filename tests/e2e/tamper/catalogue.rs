//! The recorded tables as the catalogue has them, and another value of each type.

use sqlx::{PgPool, Row as _};

/// Tables that record nothing of the account.
const NOT_RECORDED: [(&str, &str); 9] = [
    ("operator_token", "of the server, of no programme"),
    ("browser_session", "a sign-in that lasts hours"),
    ("token_use", "a day of last use, for people to see"),
    ("idempotent_answer", "what a repeated request is answered"),
    ("denial", "what was refused; it is no part of the account"),
    ("rejected_file", "a refused file that waits seven days"),
    ("upload", "an upload on its way"),
    ("job", "work on its way; what it came to is in the trail"),
    ("_sqlx_migrations", "the schema's own"),
];

pub struct Column {
    pub name: String,
    pub sql_type: String,
}

pub struct Table {
    pub name: String,
    pub columns: Vec<Column>,
    /// The primary key below the programme.
    pub key: Vec<String>,
}

/// The recorded tables, from the catalogue.
pub async fn tables(pool: &PgPool) -> Vec<Table> {
    let rows = sqlx::query(
        "select c.relname::text as name, a.attname::text as column, format_type(a.atttypid, null) as type
         from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attnum > 0 and not a.attisdropped
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
         order by c.relname, a.attnum",
    )
    .fetch_all(pool)
    .await
    .expect("the catalogue");
    let mut tables: Vec<Table> = Vec::new();
    for row in rows {
        let name: String = row.get("name");
        if NOT_RECORDED.iter().any(|(outside, _)| *outside == name) {
            continue;
        }
        if tables.last().is_none_or(|table| table.name != name) {
            tables.push(Table {
                key: key_of(pool, &name).await,
                name,
                columns: Vec::new(),
            });
        }
        tables.last_mut().expect("a table").columns.push(Column {
            name: row.get("column"),
            sql_type: row.get("type"),
        });
    }
    tables
}

async fn key_of(pool: &PgPool, table: &str) -> Vec<String> {
    sqlx::query_scalar(
        "select a.attname::text from pg_index i
         cross join lateral unnest(i.indkey::smallint[]) with ordinality as k (attnum, place)
         join pg_attribute a on a.attrelid = i.indrelid and a.attnum = k.attnum
         where i.indrelid = $1::text::regclass and i.indisprimary and a.attname <> 'programme_id'
         order by k.place",
    )
    .bind(table)
    .fetch_all(pool)
    .await
    .expect("a key")
}

/// Another value of a column's type.
pub fn changed(column: &Column) -> String {
    let Column { name, sql_type } = column;
    match sql_type.as_str() {
        "text" => format!("coalesce({name}, '') || 'x'"),
        "uuid" => "gen_random_uuid()".to_owned(),
        "date" => format!("coalesce({name}, date '2025-05-05') + 1"),
        "timestamp without time zone" => {
            format!("coalesce({name}, timestamp '2025-05-05 10:00') + interval '1 hour'")
        }
        "timestamp with time zone" => {
            format!("coalesce({name}, timestamptz '2025-05-05 10:00Z') + interval '1 day'")
        }
        "boolean" => format!("not coalesce({name}, false)"),
        // Far enough to meet no other row's key.
        "smallint" => format!("coalesce({name}, 0) + 101"),
        "integer" | "bigint" => format!("coalesce({name}, 0) + 1000001"),
        "numeric" => format!("coalesce({name}, 0) + 1"),
        "bytea" => format!("set_byte({name}, 0, get_byte({name}, 0) # 1)"),
        "text[]" => format!("array_append(coalesce({name}, '{{}}'), 'x')"),
        "daterange" => format!("daterange(lower({name}) - 1, upper({name}))"),
        other => panic!("no other value is known of type {other} (column {name}): add one"),
    }
}

/// The key of a row as a fault names it.
pub fn key_text(table: &Table, alias: &str) -> String {
    // The directory of programmes is told by its codes.
    let own = ["code".to_owned()];
    let columns = match table.name.as_str() {
        "programme" => &own[..],
        _ => &table.key,
    };
    let part = |name: &String| {
        let column = table.columns.iter().find(|column| column.name == *name);
        match column.map(|column| column.sql_type.as_str()) {
            Some("bytea") => format!("encode({alias}.{name}, 'hex')"),
            _ => format!("{alias}.{name}::text"),
        }
    };
    match columns {
        [] => "''::text".to_owned(),
        columns => columns
            .iter()
            .map(part)
            .collect::<Vec<_>>()
            .join(" || '/' || "),
    }
}

/// What a forger drops first: every constraint but the primary keys, every further unique index.
pub const DROP_CONSTRAINTS: &str = "do $$
declare
    kept record;
begin
    for kept in select conrelid::regclass as name, conname from pg_constraint
                where connamespace = 'public'::regnamespace and conrelid <> 0 and contype = 'f' loop
        execute format('alter table %s drop constraint %I', kept.name, kept.conname);
    end loop;
    for kept in select conrelid::regclass as name, conname from pg_constraint
                where connamespace = 'public'::regnamespace and conrelid <> 0 and contype in ('c', 'u', 'x') loop
        execute format('alter table %s drop constraint %I', kept.name, kept.conname);
    end loop;
    for kept in select indexrelid::regclass as name from pg_index i
                join pg_class c on c.oid = i.indrelid and c.relnamespace = 'public'::regnamespace
                where i.indisunique and not i.indisprimary loop
        execute format('drop index %s', kept.name);
    end loop;
end
$$";
