//! Paths inside a bag: which are safe, and how a manifest writes them.

/// Longer paths, in bytes, are refused.
const LONGEST_PATH_BYTES: usize = 1000;

/// Why a path must not be followed, if it must not. A path is relative, uses
/// `/`, and stays where it is.
pub(super) fn problem_of(path: &str) -> Option<&'static str> {
    if path.is_empty() {
        Some("the path is empty")
    } else if path.len() > LONGEST_PATH_BYTES {
        Some("the path is too long")
    } else if path.chars().any(char::is_control) {
        Some("the path holds control characters")
    } else if path.contains('\\') {
        Some("the path holds a backslash")
    } else if path.starts_with('/') || path.as_bytes().get(1) == Some(&b':') {
        Some("the path is absolute")
    } else if path.starts_with('~') {
        Some("the path starts in a home folder")
    } else if path.split('/').any(|part| part == "..") {
        Some("the path leaves its folder")
    } else if path.split('/').any(|part| part.is_empty() || part == ".") {
        Some("the path has an empty part")
    } else {
        None
    }
}

/// As a manifest writes a path: RFC 8493 section 2.1.3 encodes the percent sign
/// and line ends, and nothing else.
pub(super) fn encode(path: &str) -> String {
    path.replace('%', "%25")
        .replace('\n', "%0A")
        .replace('\r', "%0D")
}

/// Reads a path from a manifest. `None` if it holds a percent sign that encodes
/// nothing.
pub(super) fn decode(text: &str) -> Option<String> {
    let mut parts = text.split('%');
    let mut path = parts.next()?.to_owned();
    for part in parts {
        let (code, rest) = part.split_at_checked(2)?;
        path.push(match code {
            "25" => '%',
            "0A" | "0a" => '\n',
            "0D" | "0d" => '\r',
            _ => return None,
        });
        path.push_str(rest);
    }
    Some(path)
}
