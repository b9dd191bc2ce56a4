//! The statements that were made, the latest first.

use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::cautions;
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;

struct StatementLine {
    href: String,
    period: String,
    methodology: String,
    restatement: bool,
    position: u64,
    sequence: u64,
    reductions: String,
    removals: String,
    short_sha256: String,
    sha256: String,
}

#[derive(Template)]
#[template(path = "statements.html")]
struct StatementsPage {
    shell: Shell,
    statements: Vec<StatementLine>,
    cautions: &'static [&'static str],
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    let mut statements = Vec::new();
    for view in service.statements(&caller).await? {
        let (_, statement) = service.statement(&caller, view.id).await?;
        let claims = &statement.claims;
        statements.push(StatementLine {
            href: links::statement(view.id),
            reductions: format!(
                "{} {}",
                words::count(claims.reductions.tonnes.tonnes()),
                claims.reductions.unit
            ),
            removals: format!(
                "{} {}",
                words::count(claims.removals.tonnes.tonnes()),
                claims.removals.unit
            ),
            short_sha256: words::short_hash(&view.sha256),
            sha256: view.sha256,
            period: view.period,
            methodology: view.methodology,
            restatement: view.restatement,
            position: view.position,
            sequence: view.sequence,
        });
    }
    draw(&StatementsPage {
        shell: Shell::of(&caller, Section::Statements, "Statements"),
        statements,
        cautions: cautions::statement(),
    })
}
