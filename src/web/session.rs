//! Who looks at a page: the session cookie, read and written.

use super::refusal::Refusal;
use crate::service::access::SESSION_HOURS;
use crate::service::browser::{SESSION_COOKIE, session_in};
use crate::service::denials::{Known, Witness};
use crate::service::{Caller, Service, ServiceError};
use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use std::net::{IpAddr, SocketAddr};

/// Someone with a session; a request without one is sent to the sign-in page. Whoever has
/// yet to replace a first password is sent to do that.
pub(super) struct Visitor(pub Caller);

impl FromRequestParts<Service> for Visitor {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, Refusal> {
        let AnyVisitor(caller) = AnyVisitor::from_request_parts(parts, service).await?;
        if caller.first_password {
            return Err(Refusal::ChoosePassword);
        }
        Ok(Visitor(caller))
    }
}

/// The same, before the first password was replaced too: for the page that does so.
pub(super) struct AnyVisitor(pub Caller);

impl FromRequestParts<Service> for AnyVisitor {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, Refusal> {
        let session = session_of(&parts.headers).ok_or(ServiceError::Unauthenticated)?;
        let caller = service.caller_by_session(session).await?;
        if let Some(witness) = parts.extensions.get::<Witness>() {
            witness.saw(Known::caller(&caller));
        }
        Ok(AnyVisitor(caller))
    }
}

/// Where a request comes from, as far as it is known.
///
/// Where the peer is of this machine or of a private network, it is taken for a proxy, which
/// adds the address that it saw at the end of `X-Forwarded-For`.
pub(super) struct Address(pub Option<IpAddr>);

impl<S: Send + Sync> FromRequestParts<S> for Address {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Self::Rejection> {
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        let peer = peer.map(|ConnectInfo(address)| address.ip());
        Ok(Address(address_of(peer, &parts.headers)))
    }
}

fn address_of(peer: Option<IpAddr>, headers: &HeaderMap) -> Option<IpAddr> {
    let near = match peer? {
        IpAddr::V4(address) => address.is_loopback() || address.is_private(),
        IpAddr::V6(address) => address.is_loopback() || address.is_unique_local(),
    };
    let told = || {
        let last = headers.get_all("x-forwarded-for").iter().next_back()?;
        last.to_str().ok()?.rsplit(',').next()?.trim().parse().ok()
    };
    if near { told().or(peer) } else { peer }
}

/// The session that the request's cookie names.
pub(super) fn session_of(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .find_map(session_in)
}

/// A cookie that keeps the session: out of the reach of scripts and of other sites.
pub(super) fn cookie(session: &str, headers: &HeaderMap) -> String {
    written(session, SESSION_HOURS * 3_600, headers)
}

/// A cookie that makes the browser forget its session.
pub(super) fn forgotten(headers: &HeaderMap) -> String {
    written("", 0, headers)
}

fn written(session: &str, seconds: i64, headers: &HeaderMap) -> String {
    let secure = if came_by_https(headers) {
        "; Secure"
    } else {
        ""
    };
    format!(
        "{SESSION_COOKIE}={session}; HttpOnly; SameSite=Strict; Path=/; Max-Age={seconds}{secure}"
    )
}

/// A proxy in front says how the browser reached it.
pub(super) fn came_by_https(headers: &HeaderMap) -> bool {
    headers
        .get("x-forwarded-proto")
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split(',').next())
        .is_some_and(|first| first.trim().eq_ignore_ascii_case("https"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn headers(name: HeaderName, value: &'static str) -> HeaderMap {
        HeaderMap::from_iter([(name, HeaderValue::from_static(value))])
    }

    #[test]
    fn the_session_is_found_among_other_cookies() {
        let cookies = headers(header::COOKIE, "a=1; emberbook_session=p.s; z=2");
        assert_eq!(session_of(&cookies), Some("p.s"));
        let others = headers(header::COOKIE, "not_emberbook_session=p.s");
        assert_eq!(session_of(&others), None);
        assert_eq!(session_of(&HeaderMap::new()), None);
    }

    #[test]
    fn the_cookie_is_kept_from_scripts_and_other_sites_for_twelve_hours() {
        assert_eq!(
            cookie("p.s", &HeaderMap::new()),
            "emberbook_session=p.s; HttpOnly; SameSite=Strict; Path=/; Max-Age=43200"
        );
    }

    #[test]
    fn behind_https_the_cookie_never_travels_in_the_clear() {
        let proto = HeaderName::from_static("x-forwarded-proto");
        assert!(cookie("p.s", &headers(proto.clone(), "https, http")).ends_with("; Secure"));
        assert!(!cookie("p.s", &headers(proto, "http")).contains("Secure"));
    }

    #[test]
    fn only_a_near_peer_is_believed_about_where_a_request_comes_from() {
        let told = HeaderName::from_static("x-forwarded-for");
        let told = headers(told, "198.51.100.9, 192.0.2.7");
        let address = |text: &str| Some(text.parse::<IpAddr>().unwrap());
        assert_eq!(address_of(address("10.0.0.2"), &told), address("192.0.2.7"));
        assert_eq!(
            address_of(address("203.0.113.5"), &told),
            address("203.0.113.5")
        );
        assert_eq!(
            address_of(address("127.0.0.1"), &HeaderMap::new()),
            address("127.0.0.1")
        );
        assert_eq!(address_of(None, &told), None);
    }

    #[test]
    fn signing_out_makes_the_browser_forget() {
        assert!(forgotten(&HeaderMap::new()).contains("Max-Age=0"));
    }
}
