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

/// Where the client reached this server, e.g. `https://books.example.org`: the host that it
/// named, and the scheme that a proxy in front says it used. None where the host is no host.
pub fn address(host: Option<&str>, forwarded_proto: Option<&str>) -> Option<String> {
    let host = host?;
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b".-:[]_".contains(&byte);
    if host.is_empty() || !host.bytes().all(plain) {
        return None;
    }
    let proto = forwarded_proto.and_then(|told| told.split(',').next());
    let by_https = proto.is_some_and(|first| first.trim().eq_ignore_ascii_case("https"));
    let scheme = if by_https { "https" } else { "http" };
    Some(format!("{scheme}://{host}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_the_one_by_which_the_client_came_or_none() {
        let of = |host, proto| address(Some(host), proto);
        assert_eq!(
            of("books.example:8443", None).as_deref(),
            Some("http://books.example:8443")
        );
        assert_eq!(
            of("books.example", Some("https, http")).as_deref(),
            Some("https://books.example")
        );
        assert_eq!(of("a b", None), None);
        assert_eq!(of("x\"><", None), None);
        assert_eq!(address(None, None), None);
    }
}
