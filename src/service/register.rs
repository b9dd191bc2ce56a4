//! Sites and stove models, and the single additions to the register.

use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::{SiteRecord, StoveModelRecord, kind};
use crate::intake::{BatchKind, ValueRule};
use crate::store;
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A stratum: a village, cooperative or zone whose households resemble each other.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Site {
    #[schema(example = "north-shore")]
    pub code: String,
    pub name: String,
}

/// A stove design with a version.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StoveModel {
    pub code: String,
    pub version: u32,
    pub name: String,
    /// Device code of the factors, e.g. `gasifier`.
    pub device: String,
    /// Whether char is left over when it has burnt.
    pub char_making: bool,
}

impl Service {
    pub async fn add_site(
        &self,
        caller: &Caller,
        site: &Site,
        once: &Once,
    ) -> Result<Site, ServiceError> {
        caller.must_manage()?;
        check_code("code", &site.code)?;
        check_name("name", &site.name)?;
        let record = SiteRecord {
            code: site.code.clone(),
            name: site.name.trim().into(),
        };
        self.write(caller, once, async |connection| {
            let sequence = self
                .log(connection, caller, kind::SITE_ADDED, &record.code, &record)
                .await?;
            store::register::insert_site(connection, caller.programme_id, &record, sequence)
                .await?;
            Ok(Site {
                code: record.code.clone(),
                name: record.name.clone(),
            })
        })
        .await
    }

    /// The sites of the programme, or those of them that the caller is bound to.
    pub async fn sites(&self, caller: &Caller) -> Result<Vec<Site>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let sites = store::register::sites(&mut connection, caller.programme_id).await?;
        Ok(sites
            .into_iter()
            .filter(|site| caller.sees(&site.code))
            .map(|site| Site {
                code: site.code,
                name: site.name,
            })
            .collect())
    }

    pub async fn add_stove_model(
        &self,
        caller: &Caller,
        model: &StoveModel,
        once: &Once,
    ) -> Result<StoveModel, ServiceError> {
        caller.must_manage()?;
        check_code("code", &model.code)?;
        check_name("name", &model.name)?;
        check_device("device", &model.device)?;
        if !(1..=1_000).contains(&model.version) {
            return Err(ServiceError::invalid("version", "count versions from 1"));
        }
        let record = StoveModelRecord {
            code: model.code.clone(),
            version: model.version,
            name: model.name.trim().into(),
            device: model.device.clone(),
            char_making: model.char_making,
        };
        let subject = format!("{}@{}", record.code, record.version);
        self.write(caller, once, async |connection| {
            let sequence = self
                .log(
                    connection,
                    caller,
                    kind::STOVE_MODEL_ADDED,
                    &subject,
                    &record,
                )
                .await?;
            store::register::insert_stove_model(connection, caller.programme_id, &record, sequence)
                .await?;
            Ok(stove_model(record.clone()))
        })
        .await
    }

    pub async fn stove_models(&self, caller: &Caller) -> Result<Vec<StoveModel>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let models = store::register::stove_models(&mut connection, caller.programme_id).await?;
        Ok(models.into_iter().map(stove_model).collect())
    }
}

fn stove_model(record: StoveModelRecord) -> StoveModel {
    StoveModel {
        code: record.code,
        version: record.version,
        name: record.name,
        device: record.device,
        char_making: record.char_making,
    }
}

/// Codes of the programme's own making have the form that batches accept.
pub(super) fn check_code(field: &str, code: &str) -> Result<(), ServiceError> {
    let sound = (1..=64).contains(&code.len())
        && code
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.'));
    if sound {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            field,
            "use 1 to 64 letters, digits, - _ and .",
        ))
    }
}

pub(super) fn check_name(field: &str, name: &str) -> Result<(), ServiceError> {
    check_text(field, name, 200)
}

pub(super) fn check_text(field: &str, text: &str, length_max: usize) -> Result<(), ServiceError> {
    let length = text.trim().chars().count();
    if (1..=length_max).contains(&length) && !text.chars().any(char::is_control) {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            field,
            format!("give 1 to {length_max} characters on one line"),
        ))
    }
}

/// A span of days, half-open, within the years that rows may have.
pub(super) fn check_days(
    starts_on: NaiveDate,
    ends_on: NaiveDate,
    span: &str,
) -> Result<(), ServiceError> {
    for (field, day) in [("starts_on", starts_on), ("ends_on", ends_on)] {
        if !(2000..=2101).contains(&day.year()) {
            return Err(ServiceError::invalid(
                field,
                "must lie in the years 2000 to 2101",
            ));
        }
    }
    if starts_on < ends_on {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            "ends_on",
            format!("is the first day after the {span}, so later than starts_on"),
        ))
    }
}

/// Devices are those of the kitchen-test template: one vocabulary for both.
pub fn known_devices() -> &'static [&'static str] {
    let template = BatchKind::KitchenTest.template();
    template
        .columns
        .iter()
        .find(|column| column.name == "device")
        .and_then(|column| match column.value {
            ValueRule::OneOf(values) => Some(values),
            _ => None,
        })
        .unwrap_or_default()
}

fn check_device(field: &str, device: &str) -> Result<(), ServiceError> {
    let known = known_devices();
    if known.contains(&device) {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            field,
            format!("must be one of {}", known.join(", ")),
        ))
    }
}
