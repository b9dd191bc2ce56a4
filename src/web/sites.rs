//! Sites and stove models: what there is, and the forms by which a manager adds to it.

use super::form_faults::FormFaults;
use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::accounting::cautions;
use crate::service::register::{Site, StoveModel, known_devices};
use crate::service::{Caller, FieldProblem, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

struct ModelLine {
    code: String,
    version: u32,
    name: String,
    device: String,
    char_making: bool,
}

#[derive(Deserialize, Default)]
pub(super) struct SiteForm {
    code: String,
    name: String,
}

#[derive(Deserialize, Default)]
pub(super) struct ModelForm {
    code: String,
    version: String,
    name: String,
    device: String,
    /// `yes` or nothing.
    #[serde(default)]
    char_making: String,
}

#[derive(Template)]
#[template(path = "sites.html")]
struct SitesPage {
    shell: Shell,
    /// Whether the reader may add.
    manages: bool,
    sites: Vec<Site>,
    models: Vec<ModelLine>,
    devices: Vec<(&'static str, String)>,
    site: SiteForm,
    site_faults: FormFaults,
    model: ModelForm,
    model_faults: FormFaults,
    cautions: &'static [&'static str],
}

/// What the forms show: what was typed, and what was wrong with it.
#[derive(Default)]
struct Typed {
    site: SiteForm,
    site_faults: FormFaults,
    model: ModelForm,
    model_faults: FormFaults,
}

async fn page(service: &Service, caller: &Caller, typed: Typed) -> Result<Response, Refusal> {
    let models = service.stove_models(caller).await?;
    draw(&SitesPage {
        shell: Shell::of(caller, Section::Register, "Sites and stove models"),
        manages: caller.role == Role::Manager && !caller.read_only,
        sites: service.sites(caller).await?,
        models: models
            .into_iter()
            .map(|model| ModelLine {
                device: words::spaced(&model.device),
                code: model.code,
                version: model.version,
                name: model.name,
                char_making: model.char_making,
            })
            .collect(),
        devices: known_devices()
            .iter()
            .map(|code| (*code, words::spaced(code)))
            .collect(),
        site: typed.site,
        site_faults: typed.site_faults,
        model: typed.model,
        model_faults: typed.model_faults,
        cautions: cautions::stove(),
    })
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, Typed::default()).await
}

pub(super) async fn add_site(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<SiteForm>,
) -> Result<Response, Refusal> {
    let site = Site {
        code: form.code.trim().to_owned(),
        name: form.name.trim().to_owned(),
    };
    match service.add_site(&caller, &site, &Once::unkeyed()).await {
        Ok(_) => Ok(Redirect::to("/sites").into_response()),
        Err(error) => {
            let (status, site_faults) = FormFaults::of(error)?;
            let typed = Typed {
                site: form,
                site_faults,
                ..Typed::default()
            };
            Ok((status, page(&service, &caller, typed).await?).into_response())
        }
    }
}

fn read_model(form: &ModelForm) -> Result<StoveModel, ServiceError> {
    let version = form.version.trim().parse().map_err(|_| {
        ServiceError::Invalid(vec![FieldProblem {
            field: "version".into(),
            detail: "give a whole number; versions are counted from 1".into(),
        }])
    })?;
    Ok(StoveModel {
        code: form.code.trim().to_owned(),
        version,
        name: form.name.trim().to_owned(),
        device: form.device.clone(),
        char_making: form.char_making == "yes",
    })
}

pub(super) async fn add_model(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<ModelForm>,
) -> Result<Response, Refusal> {
    let outcome = match read_model(&form) {
        Ok(model) => {
            service
                .add_stove_model(&caller, &model, &Once::unkeyed())
                .await
        }
        Err(error) => Err(error),
    };
    match outcome {
        Ok(_) => Ok(Redirect::to("/sites").into_response()),
        Err(error) => {
            let (status, model_faults) = FormFaults::of(error)?;
            let typed = Typed {
                model: form,
                model_faults,
                ..Typed::default()
            };
            Ok((status, page(&service, &caller, typed).await?).into_response())
        }
    }
}
