//! What a page costs on a poor line: its weight as it is sent, with style, script and all.

use super::{addresses, story};
use crate::support::seeded::seeded_programme;

/// Bytes of a page with all that it loads, compressed.
const WEIGHT_MAX: usize = 150_000;

#[tokio::test]
async fn each_page_is_light_enough_for_a_poor_line() {
    let programme = seeded_programme().await;
    let mut browser = crate::people::Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let mut asked = addresses();
    asked.push(story(&programme).await);
    for path in asked {
        let request = browser.request(reqwest::Method::GET, &path);
        let page = request
            .header("accept-encoding", "gzip")
            .send()
            .await
            .expect("an answer");
        assert_eq!(page.status(), 200, "{path}");
        assert_eq!(page.headers()["content-encoding"], "gzip", "{path}");
        let mut weight = page.bytes().await.expect("the page").len();
        let text = browser.get(&path).await.text();
        let loaded = text.split('"').filter(|part| part.starts_with("/assets/"));
        let loaded: std::collections::BTreeSet<&str> = loaded.collect();
        assert!(!loaded.is_empty(), "{path} loads no style");
        for asset in loaded {
            let request = browser.request(reqwest::Method::GET, asset);
            let sent = request
                .header("accept-encoding", "gzip")
                .send()
                .await
                .expect(asset);
            assert_eq!(sent.status(), 200, "{asset}");
            weight += sent.bytes().await.expect("the asset").len();
        }
        assert!(weight < WEIGHT_MAX, "{path} weighs {weight} bytes");
    }
}
