//! HTML pages over the same services as the API: drawn on the server, no script.
//!
//! Each page is a handler, a typed context and a template of the same name beside it.
//! `page` holds what all share, `session` who looks, `guard` what every answer carries,
//! `refusal` what is said when a page cannot be shown.

mod assets;
mod batch;
mod batches;
mod evidence;
mod export;
mod factors;
mod figures;
mod formula;
mod guard;
mod links;
mod overview;
mod page;
mod proof;
mod refusal;
mod register;
mod row;
mod rows_table;
mod session;
mod sign_in;
mod simulated;
mod statement;
mod statements;
mod stoves_chart;
mod trace;
mod trail;
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
        .route("/register", get(register::show))
        .route("/batches", get(batches::list))
        .route("/batches/{id}", get(batch::show))
        .route("/rows/{batch}/{line}", get(row::show))
        .route("/factors", get(factors::list))
        .route("/statements", get(statements::list))
        .route("/statements/{id}", get(statement::show))
        .route("/statements/{id}/trace", get(trace::show))
        .route("/trail", get(trail::show))
        .route("/export", get(export::download))
        .route("/assets/{name}", get(assets::serve))
        .fallback(refusal::unknown_path)
        .layer(from_fn(guard::guard))
        .with_state(service)
}
