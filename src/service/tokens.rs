//! Tokens: issued for a role and a time, listed without their secrets, revoked at once.

use super::access::{known_role, read_credential, write_credential};
use super::caller::Holder;
use super::people::check_sites;
use super::register::check_name;
use super::write::Begun;
use super::{Caller, Once, Role, Service, ServiceError, random_secret};
use crate::accounting::records::access::{TokenRecord, TokenRevokedRecord};
use crate::accounting::records::kind;
use crate::store;
use crate::store::access::TokenRow;
use crate::store::trail::NewEntry;
use crate::trail::canonical::canonical_of;
use crate::trail::merkle::sha256;
use chrono::{DateTime, Duration, NaiveDate, SecondsFormat, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// Days that a token lives where nothing else is asked for.
pub const TOKEN_DAYS: u32 = 90;
/// Days that a token lives at the most.
pub const TOKEN_DAYS_MAX: u32 = 366;

/// A token that is asked for.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenRequest {
    pub role: Role,
    /// What the token is for; a device or a desk, not a person.
    pub label: String,
    /// For a monitor: the sites that it is bound to; absent = every site.
    #[serde(default)]
    pub sites: Option<Vec<String>>,
    /// Refuses every write, whatever the role.
    #[serde(default)]
    pub read_only: bool,
    /// 1 to 366; 90 where it is absent.
    #[serde(default)]
    pub expires_in_days: Option<u32>,
}

impl TokenRequest {
    /// For every site and the usual time.
    pub fn of(role: Role, label: &str) -> Self {
        TokenRequest {
            role,
            label: label.to_owned(),
            sites: None,
            read_only: false,
            expires_in_days: None,
        }
    }
}

/// A token as it is listed: never its secret.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct TokenView {
    pub id: Uuid,
    pub role: Role,
    pub label: String,
    /// Sites that a monitor's token is bound to; absent = every site.
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    pub created_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
    pub revoked_at: Option<DateTime<Utc>>,
    /// The last day of use, in UTC; absent = never used.
    pub last_used_on: Option<NaiveDate>,
}

/// A new token; `secret` is shown this once.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct NewToken {
    #[serde(flatten)]
    pub token: TokenView,
    /// Send as `Authorization: Bearer <secret>`.
    pub secret: String,
}

impl Service {
    /// Issues a further token for the caller's programme.
    ///
    /// # Errors
    /// A repeat under the same `Idempotency-Key` is a conflict: the secret is
    /// kept nowhere, so it cannot be shown again.
    pub async fn issue_token(
        &self,
        caller: &Caller,
        request: &TokenRequest,
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
        let connection = &mut writing.transaction;
        let new = self
            .insert_token(connection, caller.programme_id, request)
            .await?;
        let subject = new.token.id.to_string();
        let record = token_record(&new.token);
        self.log(connection, caller, kind::TOKEN_ISSUED, &subject, &record)
            .await?;
        writing.finish(caller, new.token.clone()).await?;
        Ok(new)
    }

    /// Issues a token on the operator's word, where a programme has lost its own.
    pub async fn operator_issues_token(
        &self,
        programme_code: &str,
        request: &TokenRequest,
    ) -> Result<String, ServiceError> {
        let mut transaction = self.pool.begin().await?;
        let programme = store::programmes::by_code(&mut transaction, programme_code)
            .await?
            .ok_or_else(|| ServiceError::not_found("programme", programme_code))?;
        let id = programme.programme_id;
        let new = self.insert_token(&mut transaction, id, request).await?;
        let content = canonical_of(&token_record(&new.token))
            .map_err(|e| ServiceError::Internal(format!("record of a token: {e}")))?;
        let entry = NewEntry {
            kind: kind::TOKEN_ISSUED,
            subject: &new.token.id.to_string(),
            content: &content,
            actor: "operator",
            reason: None,
            now: self.now(),
        };
        store::trail::append(&mut transaction, id, &entry).await?;
        transaction.commit().await?;
        Ok(new.secret)
    }

    pub async fn tokens(&self, caller: &Caller) -> Result<Vec<TokenView>, ServiceError> {
        caller.must_manage()?;
        let mut connection = self.reading(caller).await?;
        store::access::tokens(&mut connection, caller.programme_id)
            .await?
            .into_iter()
            .map(token_view)
            .collect()
    }

    /// Revokes a token of the programme: the next request with it is refused, and so is
    /// every session that was made from it.
    pub async fn revoke_token(
        &self,
        caller: &Caller,
        id: Uuid,
        once: &Once,
    ) -> Result<TokenView, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            self.revoke(connection, caller, id).await
        })
        .await
    }

    /// Revokes the very token that the caller came in with; read-only ones too.
    pub async fn revoke_own_token(&self, caller: &Caller) -> Result<TokenView, ServiceError> {
        let Holder::Token(id) = caller.holder else {
            return Err(ServiceError::conflict(
                "no_token",
                "you came in with a password; there is no token to revoke",
            ));
        };
        let mut transaction = self.changing(caller).await?;
        let view = self.revoke(&mut transaction, caller, id).await?;
        transaction.commit().await?;
        Ok(view)
    }

    async fn revoke(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        id: Uuid,
    ) -> Result<TokenView, ServiceError> {
        let programme_id = caller.programme_id;
        if store::access::revoke_token(connection, programme_id, id, self.now()).await? {
            let record = TokenRevokedRecord { id };
            let subject = id.to_string();
            self.log(connection, caller, kind::TOKEN_REVOKED, &subject, &record)
                .await?;
        }
        // One that was revoked before stays as it was.
        store::access::tokens(connection, programme_id)
            .await?
            .into_iter()
            .find(|row| row.token_id == id)
            .ok_or_else(|| ServiceError::not_found("token", id))
            .and_then(token_view)
    }

    /// Makes a token that may create programmes, for the usual time; returns its secret.
    pub async fn issue_operator_token(&self, label: &str) -> Result<String, ServiceError> {
        self.issue_operator_token_for(label, TOKEN_DAYS).await
    }

    /// The same for another time.
    pub async fn issue_operator_token_for(
        &self,
        label: &str,
        days: u32,
    ) -> Result<String, ServiceError> {
        check_name("label", label)?;
        let expires_at = self.expiry(Some(days))?;
        let secret = random_secret()?;
        let mut connection = self.pool.acquire().await?;
        store::access::insert_operator_token(
            &mut connection,
            &sha256(&secret).0,
            label,
            self.now(),
            expires_at,
        )
        .await?;
        Ok(write_credential(Uuid::nil(), &secret))
    }

    /// Revokes the operator's token that is shown.
    pub async fn revoke_operator_token(&self, token: &str) -> Result<(), ServiceError> {
        self.must_be_operator(token).await?;
        let credential = read_credential(token).ok_or(ServiceError::Unauthenticated)?;
        let mut connection = self.pool.acquire().await?;
        store::access::revoke_operator_token(&mut connection, &credential.hash, self.now()).await?;
        Ok(())
    }

    pub(super) async fn insert_token(
        &self,
        connection: &mut PgConnection,
        programme_id: Uuid,
        request: &TokenRequest,
    ) -> Result<NewToken, ServiceError> {
        let label = request.label.trim();
        check_name("label", label)?;
        if request.sites.is_some() {
            check_sites(
                connection,
                programme_id,
                request.role,
                request.sites.as_deref(),
            )
            .await?;
        }
        let expires_at = self.expiry(request.expires_in_days)?;
        let secret = random_secret()?;
        let row = TokenRow {
            token_id: Uuid::new_v4(),
            role: request.role.code().into(),
            label: label.into(),
            sites: request.sites.clone(),
            read_only: request.read_only,
            created_at: self.now(),
            expires_at,
            revoked_at: None,
            used_on: None,
        };
        store::access::insert_token(connection, programme_id, &row, &sha256(&secret).0).await?;
        Ok(NewToken {
            token: token_view(row)?,
            secret: write_credential(programme_id, &secret),
        })
    }

    fn expiry(&self, days: Option<u32>) -> Result<DateTime<Utc>, ServiceError> {
        let days = days.unwrap_or(TOKEN_DAYS);
        if !(1..=TOKEN_DAYS_MAX).contains(&days) {
            return Err(ServiceError::invalid(
                "expires_in_days",
                format!("must be 1 to {TOKEN_DAYS_MAX}"),
            ));
        }
        Ok(self.now() + Duration::days(i64::from(days)))
    }
}

fn token_view(row: TokenRow) -> Result<TokenView, ServiceError> {
    Ok(TokenView {
        id: row.token_id,
        role: known_role(&row.role)?,
        label: row.label,
        sites: row.sites,
        read_only: row.read_only,
        created_at: row.created_at,
        expires_at: row.expires_at,
        revoked_at: row.revoked_at,
        last_used_on: row.used_on,
    })
}

fn token_record(view: &TokenView) -> TokenRecord {
    TokenRecord {
        id: view.id,
        role: view.role.code().into(),
        label: view.label.clone(),
        sites: view.sites.clone(),
        read_only: view.read_only,
        expires_at: view.expires_at.to_rfc3339_opts(SecondsFormat::Millis, true),
    }
}
