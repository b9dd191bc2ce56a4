//! Who comes in: by a token, by a browser's session, by name and password.
//!
//! A token's text is `<programme id>.<secret>`; the secret is 256 random bits,
//! shown once and stored as its SHA-256. A session cookie has the same form.
//! Looking a credential up runs as the owner of the tables, for the caller is what
//! is asked for; everything after it runs behind the second wall.

use super::brake::Try;
use super::caller::Holder;
use super::{Caller, Role, Service, ServiceError, random_secret};
use crate::store;
use crate::store::access::HolderRow;
use crate::store::sessions::SessionHolderRow;
use crate::trail::merkle::sha256;
use chrono::Duration;
use std::net::IpAddr;
use uuid::Uuid;

/// How long a browser stays signed in.
pub const SESSION_HOURS: i64 = 12;

pub(super) struct Credential {
    pub programme_id: Uuid,
    pub hash: [u8; 32],
}

pub(super) fn read_credential(text: &str) -> Option<Credential> {
    let (programme, secret) = text.split_once('.')?;
    let programme_id = Uuid::try_parse(programme).ok()?;
    let secret = hex::decode(secret).ok()?;
    (secret.len() == 32).then(|| Credential {
        programme_id,
        hash: sha256(&secret).0,
    })
}

pub(super) fn write_credential(programme_id: Uuid, secret: &[u8; 32]) -> String {
    format!("{}.{}", programme_id.simple(), hex::encode(secret))
}

/// What somebody types to sign in.
#[derive(Clone, Copy)]
pub struct SignIn<'a> {
    pub programme: &'a str,
    pub name: &'a str,
    pub password: &'a str,
}

impl Service {
    /// Who a bearer token belongs to.
    ///
    /// # Errors
    /// `Unauthenticated` where it is malformed, unknown, expired or revoked.
    pub async fn caller_by_token(&self, token: &str) -> Result<Caller, ServiceError> {
        let credential = read_credential(token).ok_or(ServiceError::Unauthenticated)?;
        let now = self.now();
        let mut connection = self.pool.acquire().await?;
        let holder = store::access::holder_by_token(
            &mut connection,
            credential.programme_id,
            &credential.hash,
            now,
        )
        .await?
        .ok_or(ServiceError::Unauthenticated)?;
        let today = now.date_naive();
        if holder.used_on.is_none_or(|day| day < today) {
            // Once a day, so that reading does not become writing.
            let id = credential.programme_id;
            store::access::note_use(&mut connection, id, holder.token_id, today).await?;
        }
        token_caller(credential.programme_id, holder)
    }

    /// Who a session cookie belongs to.
    pub async fn caller_by_session(&self, session: &str) -> Result<Caller, ServiceError> {
        let credential = read_credential(session).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        let holder = store::sessions::holder(
            &mut connection,
            credential.programme_id,
            &credential.hash,
            self.now(),
        )
        .await?
        .ok_or(ServiceError::Unauthenticated)?;
        session_caller(credential.programme_id, holder)
    }

    /// Starts a browser session from a token; returns the cookie's value.
    ///
    /// # Errors
    /// `Unauthenticated`; `Braked` after too many wrong tries from `address`.
    pub async fn sign_in(
        &self,
        token: &str,
        address: Option<IpAddr>,
    ) -> Result<(Caller, String), ServiceError> {
        let tried = Try::new(None, address);
        self.count_try(&tried)?;
        let caller = self.caller_by_token(token.trim()).await?;
        self.brake.right(&tried);
        let session = self.open_session(&caller).await?;
        Ok((caller, session))
    }

    /// Starts a browser session from a name and a password; returns the cookie's value.
    ///
    /// # Errors
    /// `Unauthenticated`, which tells not what of it was wrong; `Braked` after too many
    /// wrong tries for this name or from `address`.
    pub async fn sign_in_with_password(
        &self,
        sign_in: SignIn<'_>,
        address: Option<IpAddr>,
    ) -> Result<(Caller, String), ServiceError> {
        let tried = Try::new(Some(account(sign_in.programme, sign_in.name)), address);
        self.count_try(&tried)?;
        // What holds a zero byte is no text to the database, and no name either.
        let sayable = !sign_in.programme.contains('\0') && !sign_in.name.contains('\0');
        let known = if sayable {
            let mut connection = self.pool.acquire().await?;
            store::people::for_sign_in(&mut connection, sign_in.programme, sign_in.name).await?
        } else {
            None
        };
        let hash = known.as_ref().map(|row| row.password_hash.clone());
        let holds = self.passwords.holds(sign_in.password, hash).await?;
        let known = known
            .filter(|_| holds)
            .ok_or(ServiceError::Unauthenticated)?;
        self.brake.right(&tried);
        let secret = random_secret()?;
        let mut connection = self.pool.acquire().await?;
        store::sessions::insert(
            &mut connection,
            known.programme_id,
            &sha256(&secret).0,
            None,
            Some(known.person_id),
            self.now() + Duration::hours(SESSION_HOURS),
        )
        .await?;
        drop(connection);
        let session = write_credential(known.programme_id, &secret);
        let caller = self.caller_by_session(&session).await?;
        Ok((caller, session))
    }

    /// A session of whoever `caller` is.
    pub(super) async fn open_session(&self, caller: &Caller) -> Result<String, ServiceError> {
        let secret = random_secret()?;
        let (token_id, person_id) = match caller.holder {
            Holder::Token(id) => (Some(id), None),
            Holder::Person(id) => (None, Some(id)),
        };
        let mut transaction = self.changing(caller).await?;
        store::sessions::insert(
            &mut transaction,
            caller.programme_id,
            &sha256(&secret).0,
            token_id,
            person_id,
            self.now() + Duration::hours(SESSION_HOURS),
        )
        .await?;
        transaction.commit().await?;
        Ok(write_credential(caller.programme_id, &secret))
    }

    pub async fn sign_out(&self, session: &str) -> Result<(), ServiceError> {
        if let Some(credential) = read_credential(session) {
            let id = credential.programme_id;
            let mut transaction = self.row_security.changing(&self.pool, id).await?;
            store::sessions::delete(&mut transaction, id, &credential.hash, self.now()).await?;
            transaction.commit().await?;
        }
        Ok(())
    }

    pub(super) fn count_try(&self, tried: &Try) -> Result<(), ServiceError> {
        self.brake
            .count(tried, self.now())
            .map_err(|seconds| ServiceError::Braked { seconds })
    }

    /// The label of an operator's token.
    pub async fn must_be_operator(&self, token: &str) -> Result<String, ServiceError> {
        let credential = read_credential(token).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        store::access::operator_label(&mut connection, &credential.hash, self.now())
            .await?
            .ok_or(ServiceError::Unauthenticated)
    }
}

/// How the brake names an account, known or not.
pub(super) fn account(programme_code: &str, name: &str) -> String {
    let short = |text: &str| text.chars().take(64).collect::<String>();
    format!("{}/{}", short(programme_code), short(name))
}

pub(super) fn known_role(code: &str) -> Result<Role, ServiceError> {
    Role::from_code(code).ok_or_else(|| ServiceError::Internal(format!("unknown role {code}")))
}

fn token_caller(programme_id: Uuid, holder: HolderRow) -> Result<Caller, ServiceError> {
    Ok(Caller {
        programme_id,
        programme_code: holder.programme_code,
        programme_name: holder.programme_name,
        holder: Holder::Token(holder.token_id),
        role: known_role(&holder.role)?,
        label: holder.label,
        sites: holder.sites,
        read_only: holder.read_only,
        first_password: false,
    })
}

fn session_caller(programme_id: Uuid, row: SessionHolderRow) -> Result<Caller, ServiceError> {
    let holder = row
        .token_id
        .map(Holder::Token)
        .or_else(|| row.person_id.map(Holder::Person))
        .ok_or(ServiceError::Unauthenticated)?;
    Ok(Caller {
        programme_id,
        programme_code: row.programme_code,
        programme_name: row.programme_name,
        holder,
        role: known_role(&row.role)?,
        label: row.label,
        sites: row.sites,
        read_only: row.read_only,
        first_password: row.first_password,
    })
}
