//! Pictures of each page at both widths, light and dark, for `./dev shots`: for people to look at.

use super::{addresses, story};
use crate::browser::{Driver, sign_in, text_of};
use crate::support::seeded::seeded_programme;
use std::path::PathBuf;

/// Pixels that a picture is high at the most.
const HEIGHT_MAX: i64 = 9_000;

#[tokio::test(flavor = "multi_thread")]
#[ignore = "writes pictures; ./dev shots runs it"]
async fn each_page_is_pictured() {
    let folder = std::env::var_os("EMBERBOOK_SHOTS").expect("EMBERBOOK_SHOTS names a folder");
    let folder = PathBuf::from(folder);
    std::fs::create_dir_all(&folder).expect("the folder");
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    let mut asked = addresses();
    asked.push(story(&programme).await);
    for scheme in ["light", "dark"] {
        let driver = Driver::start_with(&[&format!(
            "--blink-settings=preferredColorScheme={}",
            u8::from(scheme == "light")
        )]);
        let browser = driver.browser().await;
        sign_in(&browser, &address, &programme.manager_secret).await;
        text_of(&browser, ".who").await;
        for (width, name) in [(1280_u32, "wide"), (390, "phone")] {
            for (place, path) in asked.iter().enumerate() {
                browser.set_window_size(width, 900).await.expect("a size");
                browser.goto(&format!("{address}{path}")).await.expect(path);
                let script = "return document.documentElement.scrollHeight";
                let high = browser.execute(script, Vec::new()).await.expect("a height");
                let high = high.as_i64().unwrap_or(900).clamp(900, HEIGHT_MAX);
                let high = u32::try_from(high).expect("a height");
                browser.set_window_size(width, high).await.expect("a size");
                let picture = browser.screenshot().await.expect("a picture");
                let told: String = path
                    .chars()
                    .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
                    .take(40)
                    .collect();
                let file = folder.join(format!("{name}-{scheme}-{place:02}{told}.png"));
                std::fs::write(&file, picture).expect("a file");
            }
        }
        browser.close().await.expect("it closes");
    }
    println!("{} pictures in {}", asked.len() * 4, folder.display());
}
