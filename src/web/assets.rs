//! The style sheet, the icon and the scripts, each under a name that changes with its content.

use super::refusal::Refusal;
use crate::trail::merkle::sha256;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::sync::LazyLock;

/// A file that pages load.
struct Asset {
    media_type: &'static str,
    content: &'static str,
    name: LazyLock<String>,
}

const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! asset {
    ($media_type:expr, $file:literal) => {
        Asset {
            media_type: $media_type,
            content: include_str!($file),
            name: LazyLock::new(|| name($file, include_str!($file))),
        }
    };
}

static STYLE: Asset = asset!(CSS, "style.css");
static ICON: Asset = asset!("image/svg+xml", "icon.svg");
static UPLOAD_SCRIPT: Asset = asset!(SCRIPT, "upload.js");
static PLAN_SCRIPT: Asset = asset!(SCRIPT, "plan.js");
static PROOF_SCRIPT: Asset = asset!(SCRIPT, "proof.js");

static ASSETS: [&Asset; 5] = [&STYLE, &ICON, &UPLOAD_SCRIPT, &PLAN_SCRIPT, &PROOF_SCRIPT];

/// A name that follows the content, with the ending of its file.
fn name(file: &str, content: &str) -> String {
    let digest = sha256(content.as_bytes()).to_string();
    let ending = file.rsplit('.').next().unwrap_or_default();
    format!("{}.{ending}", &digest[..16])
}

fn path(asset: &Asset) -> String {
    format!("/assets/{}", *asset.name)
}

/// Where the style sheet is served.
pub(super) fn style_path() -> String {
    path(&STYLE)
}

/// Where the script of the upload form is served.
pub(super) fn script_path() -> String {
    path(&UPLOAD_SCRIPT)
}

/// Where the script of the form that plans a round is served.
pub(super) fn plan_script_path() -> String {
    path(&PLAN_SCRIPT)
}

/// Where the script that checks a proof is served.
pub(super) fn proof_script_path() -> String {
    path(&PROOF_SCRIPT)
}

/// Where the icon is served.
pub(super) fn icon_path() -> String {
    path(&ICON)
}

pub(super) async fn serve(Path(name): Path<String>) -> Result<Response, Refusal> {
    let asset = ASSETS.into_iter().find(|asset| *asset.name == name);
    let asset = asset.ok_or_else(|| Refusal::not_found("This file is not here."))?;
    let headers = [
        (header::CONTENT_TYPE, asset.media_type),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    Ok((headers, asset.content).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_follows_the_content() {
        assert_ne!(name("x.css", "a"), name("x.css", "b"));
        // SHA-256 of "abc", FIPS 180-4, appendix B.1 of its first edition.
        assert_eq!(name("x.css", "abc"), "ba7816bf8f01cfea.css");
    }

    #[test]
    fn the_scripts_ask_nothing_of_other_hosts_and_run_no_text() {
        let scripts = ASSETS
            .into_iter()
            .filter(|asset| asset.media_type == SCRIPT);
        for script in scripts.map(|asset| asset.content) {
            for unwelcome in [
                "http:",
                "https:",
                "import ",
                "import(",
                "eval(",
                "innerHTML",
                "Function(",
            ] {
                assert!(!script.contains(unwelcome), "{unwelcome}");
            }
        }
    }

    #[test]
    fn the_style_asks_nothing_of_other_hosts() {
        assert!(!STYLE.content.contains("http") && !STYLE.content.contains("@import"));
    }
}
