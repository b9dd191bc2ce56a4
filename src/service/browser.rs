//! What a browser says of itself in its headers, read as plain texts: its session, and
//! whether another site made it ask.

/// Name of the cookie that holds the session.
pub const SESSION_COOKIE: &str = "emberbook_session";

/// The session among the cookies of one `Cookie` line.
pub fn session_in(line: &str) -> Option<&str> {
    line.split(';')
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == SESSION_COOKIE)
        .map(|(_, value)| value)
}

/// Whether a browser says that another site sent the request.
///
/// `Sec-Fetch-Site` is believed where it is given: a page cannot set it. Older browsers
/// send `Origin`, which must then name this host. A client that sends neither is no
/// browser, and carries no cookie that it was not given on purpose.
pub fn is_foreign(sec_fetch_site: Option<&str>, origin: Option<&str>, host: Option<&str>) -> bool {
    if let Some(site) = sec_fetch_site {
        return !matches!(site, "same-origin" | "none");
    }
    match (origin, host) {
        (None, _) => false,
        (Some(origin), Some(host)) => origin
            .split_once("://")
            .is_none_or(|(_, named)| !named.eq_ignore_ascii_case(host)),
        (Some(_), None) => true,
    }
}
