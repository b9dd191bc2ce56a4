//! The style sheet, the icon and the scripts, each under a name that changes with its content.

use super::refusal::Refusal;
use crate::trail::merkle::sha256;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::sync::LazyLock;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("upload.js");
const PROOF_SCRIPT: &str = include_str!("proof.js");
const ICON: &str = include_str!("icon.svg");

static STYLE_NAME: LazyLock<String> = LazyLock::new(|| name(STYLE, "css"));
static SCRIPT_NAME: LazyLock<String> = LazyLock::new(|| name(SCRIPT, "js"));
static PROOF_SCRIPT_NAME: LazyLock<String> = LazyLock::new(|| name(PROOF_SCRIPT, "js"));
static ICON_NAME: LazyLock<String> = LazyLock::new(|| name(ICON, "svg"));

fn name(content: &str, ending: &str) -> String {
    let digest = sha256(content.as_bytes()).to_string();
    format!("{}.{ending}", &digest[..16])
}

/// Where the style sheet is served.
pub(super) fn style_path() -> String {
    format!("/assets/{}", *STYLE_NAME)
}

/// Where the script of the upload form is served.
pub(super) fn script_path() -> String {
    format!("/assets/{}", *SCRIPT_NAME)
}

/// Where the script that checks a proof is served.
pub(super) fn proof_script_path() -> String {
    format!("/assets/{}", *PROOF_SCRIPT_NAME)
}

/// Where the icon is served.
pub(super) fn icon_path() -> String {
    format!("/assets/{}", *ICON_NAME)
}

pub(super) async fn serve(Path(name): Path<String>) -> Result<Response, Refusal> {
    let (kind, content) = if name == *STYLE_NAME {
        ("text/css; charset=utf-8", STYLE)
    } else if name == *SCRIPT_NAME {
        ("text/javascript; charset=utf-8", SCRIPT)
    } else if name == *PROOF_SCRIPT_NAME {
        ("text/javascript; charset=utf-8", PROOF_SCRIPT)
    } else if name == *ICON_NAME {
        ("image/svg+xml", ICON)
    } else {
        return Err(Refusal::not_found("This file is not here."));
    };
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    Ok((headers, content).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_follows_the_content() {
        assert_ne!(name("a", "css"), name("b", "css"));
        // SHA-256 of "abc", FIPS 180-4, appendix B.1 of its first edition.
        assert_eq!(name("abc", "css"), "ba7816bf8f01cfea.css");
    }

    #[test]
    fn the_scripts_ask_nothing_of_other_hosts_and_runs_no_text() {
        for unwelcome in [
            "http:",
            "https:",
            "import ",
            "import(",
            "eval(",
            "innerHTML",
            "Function(",
        ] {
            for script in [SCRIPT, PROOF_SCRIPT] {
                assert!(!script.contains(unwelcome), "{unwelcome}");
            }
        }
    }

    #[test]
    fn the_style_asks_nothing_of_other_hosts() {
        assert!(!STYLE.contains("http") && !STYLE.contains("@import"));
    }
}
