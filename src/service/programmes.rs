//! Creating a programme: its log, its key, its factor library and its first token.

use super::caller::Holder;
use super::register::check_name;
use super::tokens::{NewToken, TokenRequest};
use super::trail::key_chain;
use super::{Caller, Role, Service, ServiceError, id_of};
use crate::accounting::library;
use crate::accounting::records::{FactorsRecord, ProgrammeRecord, kind};
use crate::store;
use crate::store::programmes::ProgrammeRow;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewProgramme {
    /// Lower-case letters, digits and hyphens; part of every URL, never changed.
    #[schema(example = "spice-islands")]
    pub code: String,
    pub name: String,
    /// What the first manager token is for, e.g. `office`.
    pub manager_label: String,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ProgrammeView {
    pub id: Uuid,
    pub code: String,
    pub name: String,
    pub created_at: DateTime<Utc>,
    /// C2SP verifier key of its checkpoints; keep a copy outside this server.
    pub checkpoint_key: String,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct CreatedProgramme {
    pub programme: ProgrammeView,
    pub manager_token: NewToken,
}

impl Service {
    /// Creates a programme on the word of an operator token.
    pub async fn create_programme(
        &self,
        operator_token: &str,
        new: &NewProgramme,
    ) -> Result<CreatedProgramme, ServiceError> {
        self.must_be_operator(operator_token).await?;
        self.found_programme(new).await
    }

    /// Creates a programme with the published factors and the supplied
    /// methodologies in its library. For the operator's own commands.
    pub async fn found_programme(
        &self,
        new: &NewProgramme,
    ) -> Result<CreatedProgramme, ServiceError> {
        check_programme(new)?;
        let programme_id = id_of(&["programme", self.log_keys.origin(), &new.code]);
        let row = ProgrammeRow {
            programme_id,
            code: new.code.clone(),
            name: new.name.trim().to_owned(),
            created_at: self.now(),
        };
        let mut transaction = self.pool.begin().await?;
        store::programmes::insert(&mut transaction, &row).await?;
        store::trail::open(&mut transaction, programme_id, row.created_at).await?;
        let manager_token = self
            .insert_token(
                &mut transaction,
                programme_id,
                &TokenRequest::of(Role::Manager, &new.manager_label),
            )
            .await?;
        let caller = Caller {
            programme_id,
            programme_code: row.code.clone(),
            programme_name: row.name.clone(),
            holder: Holder::Token(manager_token.token.id),
            role: Role::Manager,
            label: manager_token.token.label.clone(),
            sites: None,
            read_only: false,
            first_password: false,
        };
        let checkpoint_key = self.log_keys.newest(&row.code)?.verifier_key().to_string();
        let record = ProgrammeRecord {
            id: programme_id,
            code: row.code.clone(),
            name: row.name.clone(),
            checkpoint_key: checkpoint_key.clone(),
        };
        self.log(
            &mut transaction,
            &caller,
            kind::PROGRAMME_CREATED,
            &row.code,
            &record,
        )
        .await?;
        let factors = library::published_factors()
            .map_err(|e| ServiceError::Internal(format!("factor library: {e}")))?;
        self.record_factors(&mut transaction, &caller, &FactorsRecord { factors })
            .await?;
        let methodologies = library::supplied_methodologies()
            .map_err(|e| ServiceError::Internal(format!("supplied methodologies: {e}")))?;
        for methodology in &methodologies {
            self.record_methodology(&mut transaction, &caller, methodology)
                .await?;
        }
        transaction.commit().await?;
        Ok(CreatedProgramme {
            programme: view(row, checkpoint_key),
            manager_token,
        })
    }

    /// The caller's own programme.
    pub async fn programme(&self, caller: &Caller) -> Result<ProgrammeView, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let row = store::programmes::by_id(&mut connection, caller.programme_id)
            .await?
            .ok_or_else(|| ServiceError::not_found("programme", &caller.programme_code))?;
        let chain = key_chain(&mut connection, caller.programme_id).await?;
        Ok(view(row, chain.current().to_string()))
    }

    /// Whether a programme of this code exists, for the operator's own commands.
    pub async fn programme_exists(&self, code: &str) -> Result<bool, ServiceError> {
        let mut connection = self.pool.acquire().await?;
        Ok(store::programmes::by_code(&mut connection, code)
            .await?
            .is_some())
    }
}

fn view(row: ProgrammeRow, checkpoint_key: String) -> ProgrammeView {
    ProgrammeView {
        id: row.programme_id,
        code: row.code,
        name: row.name,
        created_at: row.created_at,
        checkpoint_key,
    }
}

fn check_programme(new: &NewProgramme) -> Result<(), ServiceError> {
    let sound = (2..=63).contains(&new.code.len())
        && !new.code.starts_with('-')
        && new
            .code
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    if !sound {
        return Err(ServiceError::invalid(
            "code",
            "use 2 to 63 lower-case letters, digits and hyphens, not beginning with a hyphen",
        ));
    }
    check_name("name", &new.name)
}
