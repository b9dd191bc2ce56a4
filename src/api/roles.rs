//! Who may use which operation: read from the API description itself.
//!
//! Each handler names its roles beside it, as `security(("token" = ["manager", ..]))`; an
//! operation that names none is open to nobody. The services ask again, in their own words.

use crate::service::{Caller, Role, ServiceError};
use axum::http::Method;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A monitor who is bound to no sites.
const MONITOR_OF_EVERY_SITE: &str = "monitor-of-every-site";
/// Whoever holds the token, one that may only read too.
const HOLDER: &str = "holder";

/// What the description says of these words.
pub(super) const DESCRIPTION: &str = "A token in `Authorization: Bearer`. The roles beside an \
    operation may use it: `manager`; `monitor`, bound to sites or not, who sees what belongs to \
    the own sites; `monitor-of-every-site`, a monitor who is bound to none; `verifier`; `holder`, \
    whoever holds the token; `operator`, who belongs to no programme. A token that may only read \
    is refused every operation that is not a GET, but for those of the holder.";

type Roles = BTreeMap<(String, String), Vec<String>>;

static ROLES: OnceLock<Roles> = OnceLock::new();

/// The roles beside each operation, by method and path.
fn declared() -> Roles {
    let document = serde_json::to_value(super::routes_and_document().1).unwrap_or_default();
    let mut declared = Roles::new();
    for (path, methods) in document["paths"].as_object().into_iter().flatten() {
        for (method, operation) in methods.as_object().into_iter().flatten() {
            let named = operation["security"][0]["token"].as_array();
            let named = named.into_iter().flatten().filter_map(|role| role.as_str());
            declared.insert(
                (method.to_ascii_uppercase(), path.clone()),
                named.map(str::to_owned).collect(),
            );
        }
    }
    declared
}

/// Whether the caller's role stands beside the operation.
pub(super) fn permit(caller: &Caller, method: &Method, path: &str) -> Result<(), ServiceError> {
    let operation = (method.as_str().to_owned(), path.to_owned());
    let roles = ROLES.get_or_init(declared).get(&operation);
    let roles = roles.map(Vec::as_slice).unwrap_or_default();
    let named = |role: &str| roles.iter().any(|each| each == role);
    if named(HOLDER) {
        return Ok(());
    }
    let everywhere = caller.role == Role::Monitor && named(MONITOR_OF_EVERY_SITE);
    let open = named(caller.role.code()) || (everywhere && caller.sites.is_none());
    if !open {
        return Err(ServiceError::Forbidden(match roles {
            [] => "this operation is open to nobody: no role is named beside it".into(),
            _ if everywhere => {
                "this holds what belongs to every site; you are bound to some".into()
            }
            _ => format!(
                "this needs the role {}; yours is {}",
                roles.join(" or "),
                caller.role.code()
            ),
        }));
    }
    if caller.read_only && *method != Method::GET && *method != Method::HEAD {
        return Err(ServiceError::Forbidden("the token may only read".into()));
    }
    Ok(())
}
