//! People: who signs in with a name and a password, added and changed by a manager.
//!
//! The name is a code; nobody's real name is asked for. Each change is an entry of the
//! trail, without the password.

use super::access::{account, known_role};
use super::brake::Try;
use super::caller::Holder;
use super::register::check_code;
use super::write::Begun;
use super::{Caller, Once, Role, Service, ServiceError, passwords};
use crate::accounting::records::access::{PasswordRecord, PersonRecord};
use crate::accounting::records::kind;
use crate::store;
use crate::store::people::PersonRow;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::net::IpAddr;
use utoipa::ToSchema;
use uuid::Uuid;

/// Someone who is to sign in.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPerson {
    /// A code to sign in with, e.g. `north-2`; no real name is needed.
    #[schema(example = "north-2")]
    pub name: String,
    pub role: Role,
    /// The sites of a monitor, at least one; absent for the other roles.
    #[serde(default)]
    pub sites: Option<Vec<String>>,
}

/// What a person is from now on.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PersonChange {
    pub role: Role,
    /// The sites of a monitor, at least one; absent for the other roles.
    #[serde(default)]
    pub sites: Option<Vec<String>>,
    /// True = cannot come in any more, and every session ends.
    pub disabled: bool,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PersonView {
    pub id: Uuid,
    pub name: String,
    pub role: Role,
    pub sites: Option<Vec<String>>,
    /// True until the person has replaced the password that the program made.
    pub first_password: bool,
    pub created_at: DateTime<Utc>,
    pub disabled_at: Option<DateTime<Utc>>,
}

/// A person with a new password; `password` is shown this once.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PersonWithPassword {
    #[serde(flatten)]
    pub person: PersonView,
    /// Made by the program; the person replaces it at the first sign-in.
    pub password: String,
}

impl Service {
    /// Everyone who signs in with a password, disabled ones too.
    pub async fn people(&self, caller: &Caller) -> Result<Vec<PersonView>, ServiceError> {
        caller.must_manage()?;
        let mut connection = self.reading(caller).await?;
        store::people::all(&mut connection, caller.programme_id)
            .await?
            .into_iter()
            .map(view)
            .collect()
    }

    /// Adds a person with a first password.
    ///
    /// # Errors
    /// A repeat under the same `Idempotency-Key` is a conflict: the password is kept
    /// nowhere, so it cannot be shown again.
    pub async fn add_person(
        &self,
        caller: &Caller,
        new: &NewPerson,
        once: &Once,
    ) -> Result<PersonWithPassword, ServiceError> {
        caller.must_manage()?;
        check_code("name", &new.name)?;
        let password = passwords::first_password()?;
        let hash = self.passwords.hash(&password).await?;
        let mut writing = match self.begin::<PersonView>(caller, once).await? {
            Begun::Go(writing) => writing,
            Begun::Answered(person) => return Err(shown_once(&person)),
        };
        let connection = &mut writing.transaction;
        let id = caller.programme_id;
        check_sites(connection, id, new.role, new.sites.as_deref()).await?;
        let row = PersonRow {
            person_id: Uuid::new_v4(),
            name: new.name.clone(),
            role: new.role.code().into(),
            sites: new.sites.clone(),
            first_password: true,
            created_at: self.now(),
            disabled_at: None,
        };
        store::people::insert(connection, id, &row, &hash).await?;
        let subject = row.person_id.to_string();
        let record = record(&row);
        self.log(connection, caller, kind::PERSON_ADDED, &subject, &record)
            .await?;
        let person = writing.finish(caller, view(row)?).await?;
        Ok(PersonWithPassword { person, password })
    }

    /// Changes a person's role and sites, or disables or enables them.
    pub async fn change_person(
        &self,
        caller: &Caller,
        name: &str,
        change: &PersonChange,
        once: &Once,
    ) -> Result<PersonView, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            let programme_id = caller.programme_id;
            let known = person_by_name(connection, caller, name).await?;
            if caller.holder == Holder::Person(known.person_id) {
                return Err(ServiceError::conflict(
                    "own_account",
                    "another manager must change this: nobody may shut themselves out",
                ));
            }
            check_sites(
                connection,
                programme_id,
                change.role,
                change.sites.as_deref(),
            )
            .await?;
            let disabled_at = match (change.disabled, known.disabled_at) {
                (true, None) => Some(self.now()),
                (true, since) => since,
                (false, _) => None,
            };
            let row = PersonRow {
                role: change.role.code().into(),
                sites: change.sites.clone(),
                disabled_at,
                ..known
            };
            store::people::change(connection, programme_id, &row).await?;
            if change.disabled {
                store::sessions::delete_of_person(connection, programme_id, row.person_id).await?;
            }
            let subject = row.person_id.to_string();
            let record = record(&row);
            self.log(connection, caller, kind::PERSON_CHANGED, &subject, &record)
                .await?;
            view(row)
        })
        .await
    }

    /// Makes a new first password where a person has lost theirs; every session ends.
    pub async fn renew_password(
        &self,
        caller: &Caller,
        name: &str,
        once: &Once,
    ) -> Result<PersonWithPassword, ServiceError> {
        caller.must_manage()?;
        let password = passwords::first_password()?;
        let hash = self.passwords.hash(&password).await?;
        let mut writing = match self.begin::<PersonView>(caller, once).await? {
            Begun::Go(writing) => writing,
            Begun::Answered(person) => return Err(shown_once(&person)),
        };
        let connection = &mut writing.transaction;
        let known = person_by_name(connection, caller, name).await?;
        let row = PersonRow {
            first_password: true,
            ..known
        };
        self.set_password(connection, caller, &row, &hash).await?;
        let person = writing.finish(caller, view(row)?).await?;
        Ok(PersonWithPassword { person, password })
    }

    /// The person's own choice of a password. Every session ends; the new one's cookie is
    /// returned.
    ///
    /// # Errors
    /// `Invalid` names the field; `Braked` after too many wrong current passwords.
    pub async fn change_own_password(
        &self,
        caller: &Caller,
        current: &str,
        new: &str,
        address: Option<IpAddr>,
    ) -> Result<String, ServiceError> {
        let Holder::Person(person_id) = caller.holder else {
            return Err(ServiceError::conflict(
                "no_password",
                "you came in with a token, which has no password",
            ));
        };
        let tried = Try::new(
            Some(account(&caller.programme_code, &caller.label)),
            address,
        );
        self.count_try(&tried)?;
        let mut connection = self.reading(caller).await?;
        let hash =
            store::people::password_hash(&mut connection, caller.programme_id, person_id).await?;
        // The connection is not held while the password is computed.
        drop(connection);
        if !self.passwords.holds(current, hash).await? {
            return Err(ServiceError::invalid("current", "is not your password"));
        }
        self.brake.right(&tried);
        passwords::check("new", new, &caller.label)?;
        if new == current {
            return Err(ServiceError::invalid("new", "is the one that you have"));
        }
        let hash = self.passwords.hash(new).await?;
        let mut transaction = self.changing(caller).await?;
        let known = person_by_name(&mut transaction, caller, &caller.label).await?;
        let row = PersonRow {
            first_password: false,
            ..known
        };
        self.set_password(&mut transaction, caller, &row, &hash)
            .await?;
        transaction.commit().await?;
        self.open_session(caller).await
    }

    async fn set_password(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        row: &PersonRow,
        hash: &str,
    ) -> Result<(), ServiceError> {
        let (programme_id, id) = (caller.programme_id, row.person_id);
        store::people::set_password(connection, programme_id, id, hash, row.first_password).await?;
        store::sessions::delete_of_person(connection, programme_id, id).await?;
        let record = PasswordRecord {
            id,
            name: row.name.clone(),
            first: row.first_password,
        };
        let subject = id.to_string();
        self.log(connection, caller, kind::PASSWORD_SET, &subject, &record)
            .await?;
        Ok(())
    }
}

async fn person_by_name(
    connection: &mut PgConnection,
    caller: &Caller,
    name: &str,
) -> Result<PersonRow, ServiceError> {
    // What cannot be a name may not even be text to the database.
    let known = match check_code("name", name) {
        Ok(()) => store::people::by_name(connection, caller.programme_id, name).await?,
        Err(_) => None,
    };
    known.ok_or_else(|| ServiceError::not_found("person", name))
}

/// A monitor is bound to sites that there are; nobody else is bound to any.
pub(super) async fn check_sites(
    connection: &mut PgConnection,
    programme_id: Uuid,
    role: Role,
    sites: Option<&[String]>,
) -> Result<(), ServiceError> {
    let refused = |detail: String| Err(ServiceError::invalid("sites", detail));
    let asked = match (role, sites) {
        (Role::Monitor, Some(asked)) if !asked.is_empty() => asked,
        (Role::Monitor, _) => return refused("name at least one site of a monitor".into()),
        (_, None) => return Ok(()),
        (_, Some(_)) => return refused("only a monitor is bound to sites".into()),
    };
    let known = store::register::sites(connection, programme_id).await?;
    match asked
        .iter()
        .find(|code| known.iter().all(|site| site.code != **code))
    {
        Some(unknown) => refused(format!("the programme has no site {unknown}")),
        None => Ok(()),
    }
}

fn shown_once(person: &PersonView) -> ServiceError {
    ServiceError::conflict(
        "shown_once",
        format!(
            "the password of {} was made by this request and is shown once",
            person.name
        ),
    )
}

fn record(row: &PersonRow) -> PersonRecord {
    PersonRecord {
        id: row.person_id,
        name: row.name.clone(),
        role: row.role.clone(),
        sites: row.sites.clone(),
        disabled: row.disabled_at.is_some(),
    }
}

fn view(row: PersonRow) -> Result<PersonView, ServiceError> {
    Ok(PersonView {
        id: row.person_id,
        name: row.name,
        role: known_role(&row.role)?,
        sites: row.sites,
        first_password: row.first_password,
        created_at: row.created_at,
        disabled_at: row.disabled_at,
    })
}
