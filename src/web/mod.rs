//! HTML pages over the same services as the API: drawn on the server. One script makes the
//! upload form survive breaks, one works a plan out as it is typed, one checks a proof on its
//! page; all works without them.
//!
//! Each page is a handler, a typed context and a template of the same name beside it.
//! `page` holds what all share, `session` who looks and from where, `guard` what every answer carries,
//! `refusal` what is said when a page cannot be shown.

mod account;
mod assets;
mod batch;
mod batches;
mod columns;
mod corrections;
mod denials;
mod difference;
mod evidence;
mod export;
mod factor;
mod factors;
mod figures;
mod finding;
mod findings;
mod flags;
mod form_faults;
mod form_field;
mod form_token;
mod forms;
mod formula;
mod guard;
mod job;
mod links;
mod measured;
mod methods;
mod overview;
mod page;
mod people;
mod proof;
mod proof_page;
mod refusal;
mod register;
mod report;
mod round;
mod round_plan;
mod rounds;
mod row;
mod rows_table;
mod session;
mod sheets;
mod sign_in;
mod simulated;
mod sites;
mod statement;
mod statements;
mod stoves_chart;
mod trace;
mod trail;
mod trail_words;
mod tree;
mod upload;
mod waterfall;
mod words;

use crate::service::Service;
use axum::Router;
use axum::middleware::from_fn;
use axum::routing::{get, post};

/// Every page, and the answer to paths that nothing else answers.
pub fn router(service: Service) -> Router {
    Router::new()
        .route("/", get(overview::show))
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route(
            "/account",
            get(account::show).post(account::change_password),
        )
        .route("/account/revoke", post(account::revoke_token))
        .route("/people", get(people::show).post(people::add))
        .route("/people/{name}/change", post(people::change))
        .route("/people/{name}/password", post(people::renew))
        .route("/tokens", post(people::issue))
        .route("/tokens/{id}/revoke", post(people::revoke))
        .route("/denials", get(denials::list))
        .route("/register", get(register::show))
        .route("/sites", get(sites::show).post(sites::add_site))
        .route("/stove-models", post(sites::add_model))
        .route("/rounds", get(rounds::list).post(rounds::open))
        .route("/rounds/plan", post(rounds::work_out))
        .route("/rounds/{code}", get(round::show))
        .route("/rounds/{code}/frame", post(round::take_frame))
        .route("/rounds/{code}/seed", post(round::fix_seed))
        .route("/rounds/{code}/close", post(round::close))
        .route("/rounds/{code}/field-list", get(round::field_list))
        .route("/rounds/{code}/field-list.xlsx", get(round::field_workbook))
        .route(
            "/batches",
            get(batches::list).post(upload::send).layer(upload::limit()),
        )
        .route("/measured", get(measured::show))
        .route("/batches/columns", get(columns::show).post(columns::save))
        .route("/batches/rejected/{id}", get(sheets::marked))
        .route("/templates/{name}", get(sheets::template))
        .route("/jobs/{id}", get(job::show))
        .route("/jobs/{id}/cancel", post(job::cancel))
        .route("/batches/{id}", get(batch::show))
        .route("/flags", get(flags::list))
        .route("/flags/{id}", get(flags::show))
        .route("/flags/{id}/disposition", post(flags::answer))
        .route("/batches/{id}/withdraw", post(corrections::withdraw))
        .route("/rows/{batch}/{line}", get(row::show))
        .route(
            "/rows/{batch}/{line}/supersede",
            post(corrections::supersede),
        )
        .route("/rows/{batch}/{line}/exclude", post(corrections::exclude))
        .route("/corrections", get(corrections::list))
        .route("/forms", get(forms::list))
        .route("/factors", get(factors::list))
        .route("/factors/{id}", get(factor::show))
        .route("/statements", get(statements::list).post(statements::make))
        .route("/periods", post(statements::open_period))
        .route("/periods/{code}/close", post(statements::close_period))
        .route("/statements/{id}", get(statement::show))
        .route(
            "/statements/{id}/trace.prov.json",
            get(statement::provenance),
        )
        .route("/statements/{id}/trace", get(trace::show))
        .route("/statements/{id}/report.pdf", get(report::pdf))
        .route("/statements/{id}/report.xlsx", get(report::workbook))
        .route("/statements/{id}/opinion", post(report::record_opinion))
        .route("/statements/{id}/tree", get(tree::show))
        .route("/statements/{id}/difference", get(difference::show))
        .route("/methods/{period}", get(methods::show))
        .route("/findings", get(findings::list).post(findings::open))
        .route("/findings/new", get(findings::form))
        .route("/findings/{id}", get(finding::show))
        .route("/findings/{id}/{act}", post(finding::act))
        .route(
            "/findings/{id}/attachments/{sha256}",
            get(finding::attachment),
        )
        .route("/trail", get(trail::show))
        .route("/trail/checkpoint.txt", get(trail::checkpoint))
        .route("/proof", get(proof_page::show))
        .route("/proof/document", get(proof_page::document))
        .route("/proof/file", get(proof_page::file))
        .route("/export", get(export::download))
        .route("/assets/{name}", get(assets::serve))
        .fallback(refusal::unknown_path)
        .layer(from_fn(form_token::guard))
        .layer(from_fn(guard::guard))
        .with_state(service)
}
