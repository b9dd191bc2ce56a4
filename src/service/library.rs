//! Factors and methodologies: read, and added as new versions.

use super::register::{check_code, check_name};
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::factor::Factor;
use crate::accounting::methodology::{Methodology, Shortcoming, validate};
use crate::accounting::records::{FactorsRecord, kind};
use crate::store;
use crate::trail::canonical::canonical_of;
use sqlx::PgConnection;

/// What was found in a methodology; it can be added when the list is empty.
#[derive(Debug, Clone, serde::Serialize, utoipa::ToSchema)]
pub struct MethodologyCheck {
    pub shortcomings: Vec<Shortcoming>,
}

impl Service {
    pub async fn factors(&self, caller: &Caller) -> Result<Vec<Factor>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        Ok(store::library::factors(&mut connection, caller.programme_id, position).await?)
    }

    /// Adds one factor version. An existing version is never changed.
    pub async fn add_factor(
        &self,
        caller: &Caller,
        factor: &Factor,
        once: &Once,
    ) -> Result<Factor, ServiceError> {
        caller.must_manage()?;
        check_code("code", &factor.code)?;
        check_version(factor.version)?;
        check_name("unit", &factor.unit)?;
        if factor.source.trim().is_empty() {
            return Err(ServiceError::invalid("source", "a factor needs a citation"));
        }
        let record = FactorsRecord {
            factors: vec![factor.clone()],
        };
        self.write(caller, once, async |connection| {
            self.record_factors(connection, caller, &record).await?;
            Ok(factor.clone())
        })
        .await
    }

    pub(super) async fn record_factors(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        record: &FactorsRecord,
    ) -> Result<(), ServiceError> {
        let subject = match record.factors.as_slice() {
            [only] => only.id().to_string(),
            several => format!("{} factors", several.len()),
        };
        let sequence = self
            .log(connection, caller, kind::FACTORS_ADDED, &subject, record)
            .await?;
        let bodies = record
            .factors
            .iter()
            .map(canonical_text)
            .collect::<Result<Vec<String>, _>>()?;
        Ok(store::library::insert_factors(
            connection,
            caller.programme_id,
            &record.factors,
            &bodies,
            sequence,
        )
        .await?)
    }

    pub async fn methodologies(&self, caller: &Caller) -> Result<Vec<Methodology>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        Ok(store::library::methodologies(&mut connection, caller.programme_id, position).await?)
    }

    /// What keeps a methodology from being added, place by place. Nothing is written.
    pub async fn check_methodology(
        &self,
        caller: &Caller,
        methodology: &Methodology,
    ) -> Result<MethodologyCheck, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let known = store::library::factors(&mut connection, caller.programme_id, position).await?;
        Ok(MethodologyCheck {
            shortcomings: validate(methodology, &known),
        })
    }

    /// Adds one methodology version; one that lacks or contradicts something is refused.
    pub async fn add_methodology(
        &self,
        caller: &Caller,
        methodology: &Methodology,
        once: &Once,
    ) -> Result<Methodology, ServiceError> {
        caller.must_manage()?;
        check_code("code", &methodology.code)?;
        check_version(methodology.version)?;
        check_name("title", &methodology.title)?;
        self.write(caller, once, async |connection| {
            let position = store::trail::size(connection, caller.programme_id).await?;
            let known = store::library::factors(connection, caller.programme_id, position).await?;
            let shortcomings = validate(methodology, &known);
            if !shortcomings.is_empty() {
                return Err(ServiceError::Shortcomings(shortcomings));
            }
            self.record_methodology(connection, caller, methodology)
                .await?;
            Ok(methodology.clone())
        })
        .await
    }

    pub(super) async fn record_methodology(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        methodology: &Methodology,
    ) -> Result<(), ServiceError> {
        let subject = methodology.id();
        let sequence = self
            .log(
                connection,
                caller,
                kind::METHODOLOGY_ADDED,
                &subject,
                methodology,
            )
            .await?;
        let body = canonical_text(methodology)?;
        Ok(store::library::insert_methodology(
            connection,
            caller.programme_id,
            methodology,
            &body,
            sequence,
        )
        .await?)
    }
}

fn canonical_text<T: serde::Serialize>(value: &T) -> Result<String, ServiceError> {
    let bytes = canonical_of(value).map_err(|e| ServiceError::Internal(e.to_string()))?;
    String::from_utf8(bytes).map_err(|e| ServiceError::Internal(e.to_string()))
}

fn check_version(version: u32) -> Result<(), ServiceError> {
    if (1..=1_000_000).contains(&version) {
        Ok(())
    } else {
        Err(ServiceError::invalid("version", "count versions from 1"))
    }
}
