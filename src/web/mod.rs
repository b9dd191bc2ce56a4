//! HTML pages over the same services as the API.

use crate::service::Service;
use axum::Router;

/// Every page.
pub fn router(service: Service) -> Router {
    Router::new().with_state(service)
}
