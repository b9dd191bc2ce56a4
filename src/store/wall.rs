//! The second wall: row-level security, and the transactions that stand behind it.
//!
//! Migrations and the operator's own commands run as the owner of the tables. All
//! that is done for a caller runs under the role [`SERVICE_ROLE`], which may not
//! change the schema, sees no table without a programme, and of every other table
//! sees the rows of the one programme that its transaction is set to.

use super::StoreError;
use crate::config::RowSecurity;
use sqlx::{AssertSqlSafe, PgPool, Postgres, Transaction};
use uuid::Uuid;

/// The role of the database that callers' work runs under. Nobody signs in as it.
pub const SERVICE_ROLE: &str = "emberbook_service";

/// How a transaction for one programme begins.
#[derive(Debug, Clone, Copy)]
enum Mode {
    Read,
    Change,
}

impl RowSecurity {
    /// A transaction that reads one programme. Begun in one round trip; let go by dropping it.
    pub async fn reading(
        self,
        pool: &PgPool,
        programme_id: Uuid,
    ) -> Result<Transaction<'static, Postgres>, StoreError> {
        self.begin(pool, programme_id, Mode::Read).await
    }

    /// A transaction that may change one programme; nothing happened until it is committed.
    pub async fn changing(
        self,
        pool: &PgPool,
        programme_id: Uuid,
    ) -> Result<Transaction<'static, Postgres>, StoreError> {
        self.begin(pool, programme_id, Mode::Change).await
    }

    async fn begin(
        self,
        pool: &PgPool,
        programme_id: Uuid,
        mode: Mode,
    ) -> Result<Transaction<'static, Postgres>, StoreError> {
        let begin = match mode {
            Mode::Read => "begin read only",
            Mode::Change => "begin",
        };
        // SET takes no snapshot, so that a transaction may still be frozen afterwards.
        let role = match self {
            RowSecurity::Service => format!("; set local role {SERVICE_ROLE}"),
            RowSecurity::Operator => String::new(),
        };
        let sql = format!("{begin}{role}; set local emberbook.programme = '{programme_id}'");
        Ok(pool.begin_with(AssertSqlSafe(sql)).await?)
    }

    /// Makes the service's role where it is missing, and gives it its rights on the tables
    /// as they stand. To be called after the migrations, at every start.
    ///
    /// # Errors
    /// `NoServiceRole` where the database's user may not do so.
    pub async fn raise(self, pool: &PgPool) -> Result<(), StoreError> {
        if self == RowSecurity::Operator {
            return Ok(());
        }
        let mut transaction = pool.begin().await?;
        // Two programs that start at once would trip over each other's grants.
        sqlx::query("select pg_advisory_xact_lock(hashtext('emberbook.wall'))")
            .execute(&mut *transaction)
            .await?;
        for step in [MAKE_ROLE, TAKE_ROLE, GRANT] {
            sqlx::raw_sql(step)
                .execute(&mut *transaction)
                .await
                .map_err(refused)?;
        }
        transaction.commit().await?;
        Ok(())
    }
}

/// What the database says to a user that may not do such a thing (SQL's insufficient_privilege).
const NOT_ALLOWED: &str = "42501";

fn refused(error: sqlx::Error) -> StoreError {
    match &error {
        sqlx::Error::Database(answer) if answer.code().as_deref() == Some(NOT_ALLOWED) => {
            StoreError::NoServiceRole(answer.message().to_owned())
        }
        _ => error.into(),
    }
}

/// A role is of the whole server, so another database of it may have made the role already,
/// or make it at this moment.
const MAKE_ROLE: &str = "do $$
begin
    if not exists (select from pg_roles where rolname = 'emberbook_service') then
        create role emberbook_service nologin nosuperuser nocreatedb nocreaterole nobypassrls;
    end if;
    if exists (select from pg_roles where rolname = 'emberbook_service' and (rolsuper or rolbypassrls)) then
        raise exception 'the role emberbook_service may pass by row-level security'
            using errcode = 'insufficient_privilege';
    end if;
exception when duplicate_object or unique_violation then null;
end
$$";

/// Only a member may work under a role.
const TAKE_ROLE: &str = "do $$
begin
    set local role emberbook_service;
    reset role;
exception when insufficient_privilege then
    execute format('grant emberbook_service to %I', current_user);
    set local role emberbook_service;
    reset role;
end
$$";

/// Rows may be read and added; changed only where a table is not append-only. Of programmes
/// there is nothing to add or change for a caller.
const GRANT: &str = "do $$
declare
    kept record;
begin
    execute format('grant usage on schema %I to emberbook_service', current_schema());
    for kept in
        select c.oid::regclass as name, c.relname,
               exists (select from pg_trigger t where t.tgrelid = c.oid and t.tgname = 'append_only')
               as append_only
        from pg_class c
        join pg_attribute a on a.attrelid = c.oid and a.attname = 'programme_id' and not a.attisdropped
        where c.relkind in ('r', 'p') and c.relnamespace = current_schema()::regnamespace
        order by c.relname
    loop
        execute format('grant %s on %s to emberbook_service',
                       case when kept.relname = 'programme' then 'select'
                            when kept.append_only then 'select, insert'
                            else 'select, insert, update, delete' end,
                       kept.name);
    end loop;
end
$$";
