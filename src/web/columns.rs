//! A programme's own names for the columns of its sheets, to be seen and edited.

use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::words;
use crate::intake::{BatchKind, ColumnMapping};
use crate::service::mappings::DEFAULT_MAPPING;
use crate::service::{Caller, Role, Service};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

struct KindLink {
    code: &'static str,
    title: String,
    current: bool,
}

/// One column of the template with the programme's name for it.
struct ColumnRow {
    name: &'static str,
    description: &'static str,
    own: String,
}

struct Saved {
    name: String,
    href: String,
    columns: usize,
    saved: String,
    sequence: u64,
}

#[derive(Template)]
#[template(path = "columns.html")]
struct ColumnsPage {
    shell: Shell,
    kind: &'static str,
    title: String,
    kinds: Vec<KindLink>,
    name: String,
    columns: Vec<ColumnRow>,
    saved: Vec<Saved>,
    may_save: bool,
    fault: Option<String>,
    done: bool,
}

#[derive(Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    kind: String,
    #[serde(default)]
    name: String,
}

impl Asked {
    fn kind(&self) -> Result<BatchKind, Refusal> {
        if self.kind.is_empty() {
            return Ok(BatchKind::Households);
        }
        let unknown = |_| Refusal::not_found("There is no such kind of batch.");
        self.kind.parse().map_err(unknown)
    }

    fn name(&self) -> &str {
        match self.name.trim() {
            "" => DEFAULT_MAPPING,
            name => name,
        }
    }
}

async fn page(
    service: &Service,
    caller: &Caller,
    asked: &Asked,
    tried: Option<&ColumnMapping>,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let kind = asked.kind()?;
    let held = service.mappings(caller, kind).await?;
    let shown = held.iter().find(|view| view.name == asked.name());
    let mapping = tried.or(shown.map(|view| &view.columns));
    let own = |column: &str| {
        let pair = mapping?.iter().find(|(_, meant)| *meant == column);
        pair.map(|(own, _)| own.clone())
    };
    let done = tried.is_some() && fault.is_none();
    draw(&ColumnsPage {
        shell: Shell::of(caller, Section::Evidence, "Column names"),
        kind: kind.code(),
        title: kind_title(kind.code()),
        kinds: BatchKind::ALL
            .into_iter()
            .map(|each| KindLink {
                code: each.code(),
                title: kind_title(each.code()),
                current: each == kind,
            })
            .collect(),
        name: asked.name().to_owned(),
        columns: kind
            .template()
            .columns
            .iter()
            .map(|column| ColumnRow {
                name: column.name,
                description: column.description,
                own: own(column.name).unwrap_or_default(),
            })
            .collect(),
        saved: held
            .iter()
            .map(|view| Saved {
                name: view.name.clone(),
                href: format!("/batches/columns?kind={}&name={}", view.kind, view.name),
                columns: view.columns.len(),
                saved: words::instant(view.saved_at),
                sequence: view.sequence,
            })
            .collect(),
        may_save: caller.role == Role::Manager && !caller.read_only,
        fault,
        done,
    })
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(asked): QueryParts<Asked>,
) -> Result<Response, Refusal> {
    page(&service, &caller, &asked, None, None).await
}

/// The form has a field for each column of the template, with the programme's name in it.
pub(super) async fn save(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, Refusal> {
    let field = |wanted: &str| {
        let found = fields.iter().find(|(name, _)| name == wanted);
        found.map(|(_, value)| value.clone()).unwrap_or_default()
    };
    let asked = Asked {
        kind: field("kind"),
        name: field("name"),
    };
    let kind = asked.kind()?;
    let mut columns = ColumnMapping::new();
    let mut twice = None;
    for column in kind.template().columns {
        let own = field(&format!("column:{}", column.name)).trim().to_owned();
        if !own.is_empty()
            && columns
                .insert(own.clone(), column.name.to_owned())
                .is_some()
        {
            twice = Some(own);
        }
    }
    if let Some(own) = twice {
        let fault = format!("{own} stands for two columns.");
        let page = page(&service, &caller, &asked, Some(&columns), Some(fault)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let name = Some(asked.name());
    match service
        .save_mapping(&caller, kind, name, columns.clone())
        .await
    {
        Ok(_) => page(&service, &caller, &asked, Some(&columns), None).await,
        Err(error) => {
            let (status, fault) = words::fault(error)?;
            let page = page(&service, &caller, &asked, Some(&columns), Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}
