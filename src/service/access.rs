//! Tokens and browser sessions: who may ask, and in which programme.
//!
//! A token's text is `<programme id>.<secret>`; the secret is 256 random bits,
//! shown once and stored as its SHA-256. A session cookie has the same form.

use super::register::check_name;
use super::write::Begun;
use super::{Caller, Once, Role, Service, ServiceError, random_secret};
use crate::store;
use crate::store::access::{HolderRow, TokenRow};
use crate::trail::merkle::sha256;
use chrono::{DateTime, Duration, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// How long a browser stays signed in.
pub const SESSION_HOURS: i64 = 12;

/// A token as it is listed: never its secret.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct TokenView {
    pub id: Uuid,
    pub role: Role,
    pub label: String,
    pub created_at: DateTime<Utc>,
}

/// A new token; `secret` is shown this once.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct NewToken {
    #[serde(flatten)]
    pub token: TokenView,
    /// Send as `Authorization: Bearer <secret>`.
    pub secret: String,
}

struct Credential {
    programme_id: Uuid,
    hash: [u8; 32],
}

fn read_credential(text: &str) -> Option<Credential> {
    let (programme, secret) = text.split_once('.')?;
    let programme_id = Uuid::try_parse(programme).ok()?;
    let secret = hex::decode(secret).ok()?;
    (secret.len() == 32).then(|| Credential {
        programme_id,
        hash: sha256(&secret).0,
    })
}

fn write_credential(programme_id: Uuid, secret: &[u8; 32]) -> String {
    format!("{}.{}", programme_id.simple(), hex::encode(secret))
}

impl Service {
    /// Who a bearer token belongs to.
    ///
    /// # Errors
    /// `Unauthenticated` where it is malformed or unknown.
    pub async fn caller_by_token(&self, token: &str) -> Result<Caller, ServiceError> {
        let credential = read_credential(token).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        let holder = store::access::holder_by_token(
            &mut connection,
            credential.programme_id,
            &credential.hash,
        )
        .await?
        .ok_or(ServiceError::Unauthenticated)?;
        caller(credential.programme_id, holder)
    }

    /// Who a session cookie belongs to.
    pub async fn caller_by_session(&self, session: &str) -> Result<Caller, ServiceError> {
        let credential = read_credential(session).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        let holder = store::access::holder_by_session(
            &mut connection,
            credential.programme_id,
            &credential.hash,
            self.now(),
        )
        .await?
        .ok_or(ServiceError::Unauthenticated)?;
        caller(credential.programme_id, holder)
    }

    /// Starts a browser session from a token; returns the cookie's value.
    pub async fn sign_in(&self, token: &str) -> Result<(Caller, String), ServiceError> {
        let caller = self.caller_by_token(token.trim()).await?;
        let secret = random_secret()?;
        let mut connection = self.pool.acquire().await?;
        store::access::insert_session(
            &mut connection,
            caller.programme_id,
            &sha256(&secret).0,
            caller.token_id,
            self.now() + Duration::hours(SESSION_HOURS),
        )
        .await?;
        let session = write_credential(caller.programme_id, &secret);
        Ok((caller, session))
    }

    pub async fn sign_out(&self, session: &str) -> Result<(), ServiceError> {
        if let Some(credential) = read_credential(session) {
            let mut connection = self.pool.acquire().await?;
            store::access::delete_session(
                &mut connection,
                credential.programme_id,
                &credential.hash,
                self.now(),
            )
            .await?;
        }
        Ok(())
    }

    /// Issues a further token for the caller's programme.
    ///
    /// # Errors
    /// A repeat under the same `Idempotency-Key` is a conflict: the secret is
    /// kept nowhere, so it cannot be shown again.
    pub async fn issue_token(
        &self,
        caller: &Caller,
        role: Role,
        label: &str,
        once: &Once,
    ) -> Result<NewToken, ServiceError> {
        caller.must_manage()?;
        let mut writing = match self.begin::<TokenView>(caller, once).await? {
            Begun::Go(writing) => writing,
            Begun::Answered(token) => {
                return Err(ServiceError::conflict(
                    "shown_once",
                    format!(
                        "token {} was issued by this request; its secret is shown once",
                        token.id
                    ),
                ));
            }
        };
        let new = self
            .insert_token(&mut writing.transaction, caller.programme_id, role, label)
            .await?;
        writing.finish(caller, new.token.clone()).await?;
        Ok(new)
    }

    /// Issues a token on the operator's word, where a programme has lost its own.
    pub async fn operator_issues_token(
        &self,
        programme_code: &str,
        role: Role,
        label: &str,
    ) -> Result<String, ServiceError> {
        let mut transaction = self.pool.begin().await?;
        let programme = store::programmes::by_code(&mut transaction, programme_code)
            .await?
            .ok_or_else(|| ServiceError::not_found("programme", programme_code))?;
        let token = self
            .insert_token(&mut transaction, programme.programme_id, role, label)
            .await?;
        transaction.commit().await?;
        Ok(token.secret)
    }

    pub async fn tokens(&self, caller: &Caller) -> Result<Vec<TokenView>, ServiceError> {
        caller.must_manage()?;
        let mut connection = self.pool.acquire().await?;
        store::access::tokens(&mut connection, caller.programme_id)
            .await?
            .into_iter()
            .map(token_view)
            .collect()
    }

    /// Makes a token that may create programmes; returns its secret.
    pub async fn issue_operator_token(&self, label: &str) -> Result<String, ServiceError> {
        let secret = random_secret()?;
        let mut connection = self.pool.acquire().await?;
        store::access::insert_operator_token(
            &mut connection,
            &sha256(&secret).0,
            label,
            self.now(),
        )
        .await?;
        Ok(write_credential(Uuid::nil(), &secret))
    }

    /// The label of an operator's token.
    pub async fn must_be_operator(&self, token: &str) -> Result<String, ServiceError> {
        let credential = read_credential(token).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        store::access::operator_label(&mut connection, &credential.hash)
            .await?
            .ok_or(ServiceError::Unauthenticated)
    }

    pub(super) async fn insert_token(
        &self,
        connection: &mut PgConnection,
        programme_id: Uuid,
        role: Role,
        label: &str,
    ) -> Result<NewToken, ServiceError> {
        let label = label.trim();
        check_name("label", label)?;
        let secret = random_secret()?;
        let row = TokenRow {
            token_id: Uuid::new_v4(),
            role: role.code().into(),
            label: label.into(),
            created_at: self.now(),
        };
        store::access::insert_token(connection, programme_id, &row, &sha256(&secret).0).await?;
        Ok(NewToken {
            token: token_view(row)?,
            secret: write_credential(programme_id, &secret),
        })
    }
}

fn token_view(row: TokenRow) -> Result<TokenView, ServiceError> {
    Ok(TokenView {
        id: row.token_id,
        role: known_role(&row.role)?,
        label: row.label,
        created_at: row.created_at,
    })
}

fn known_role(code: &str) -> Result<Role, ServiceError> {
    Role::from_code(code).ok_or_else(|| ServiceError::Internal(format!("unknown role {code}")))
}

fn caller(programme_id: Uuid, holder: HolderRow) -> Result<Caller, ServiceError> {
    Ok(Caller {
        programme_id,
        programme_code: holder.programme_code,
        programme_name: holder.programme_name,
        token_id: holder.token_id,
        role: known_role(&holder.role)?,
        label: holder.label,
    })
}
