//! The HTTP face: the routes of `api` and `web` under one set of layers.

use crate::service::Service;
use crate::service::denials::{Denied, Refused, Witness};
use crate::{api, web};
use axum::Router;
use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use std::time::Duration;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::request_id::{MakeRequestUuid, PropagateRequestIdLayer, SetRequestIdLayer};
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

/// A request that takes longer is given up; the largest upload takes minutes on a poor line.
const REQUEST_TIME_MAX: Duration = Duration::from_secs(900);

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Everything the server answers.
pub fn router(service: Service) -> Router {
    let watching = service.clone();
    api::router(service.clone())
        .merge(web::router(service))
        .method_not_allowed_fallback(async || api::Problem::wrong_method())
        .layer(from_fn_with_state(watching, watch))
        .layer(CompressionLayer::new())
        .layer(CatchPanicLayer::custom(|_| {
            api::Problem::from(crate::service::ServiceError::Internal("a handler panicked".into()))
                .into_response()
        }))
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, REQUEST_TIME_MAX))
        .layer(set_header("x-content-type-options", "nosniff"))
        .layer(set_header("referrer-policy", "same-origin"))
        .layer(PropagateRequestIdLayer::new(REQUEST_ID))
        .layer(TraceLayer::new_for_http().make_span_with(|request: &Request| {
            let id = request.headers().get(&REQUEST_ID).and_then(|id| id.to_str().ok());
            // The path alone: a query may hold a code of the field.
            tracing::info_span!("request", method = %request.method(), path = request.uri().path(), id)
        }))
        .layer(SetRequestIdLayer::new(REQUEST_ID, MakeRequestUuid))
}

/// Sees every answer that is a denial: it is logged and counted, and kept where it is known
/// who was refused.
async fn watch(State(service): State<Service>, mut request: Request, next: Next) -> Response {
    let witness = Witness::default();
    request.extensions_mut().insert(witness.clone());
    let method = request.method().clone();
    let path = request.uri().path().to_owned();
    let id = request.headers().get(&REQUEST_ID).cloned();
    let response = next.run(request).await;
    if let Some(Denied(why)) = response.extensions().get() {
        let refused = Refused {
            request_id: id
                .as_ref()
                .and_then(|id| id.to_str().ok())
                .unwrap_or_default(),
            method: method.as_str(),
            path: &path,
            status: response.status().as_u16(),
            why,
        };
        service.note_denial(witness.known(), &refused).await;
    }
    response
}

fn set_header(name: &'static str, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::if_not_present(
        HeaderName::from_static(name),
        HeaderValue::from_static(value),
    )
}
