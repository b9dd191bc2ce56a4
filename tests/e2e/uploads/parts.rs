//! The protocol itself: parts, breaks, offsets, checksums, limits, and who may see what.
//!
//! What is expected follows tus 1.0.0 (tus.io/protocols/resumable-upload): core, creation,
//! expiration, termination, checksum.

use super::{begin, ended, head, id_of, offset, part, programme, programme_with, tus, usage};
use super::{send, workers};
use crate::support::programme::create_programme;
use crate::support::{Answer, Setup, census};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use reqwest::Method;
use serde_json::json;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

#[tokio::test]
async fn a_client_that_breaks_off_asks_for_the_offset_and_goes_on_there() {
    let programme = programme().await;
    let _workers = workers(&programme, 1);
    let manager = &programme.manager;
    let file = usage();
    let id = id_of(&begin(manager, "usage_survey", Some("usage"), file.len() as u64).await);
    // Announces the whole file, sends a third of it, and is gone.
    let cut = file.len() / 3;
    let mut line = TcpStream::connect(programme.app.address)
        .await
        .expect("a line");
    let request = format!(
        "PATCH /api/v1/programmes/{}/uploads/{id} HTTP/1.1\r\nHost: x\r\n\
         Authorization: Bearer {}\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 0\r\n\
         Content-Type: application/offset+octet-stream\r\nContent-Length: {}\r\n\r\n",
        programme.code,
        programme.manager_secret,
        file.len()
    );
    line.write_all(request.as_bytes()).await.expect("sent");
    line.write_all(&file[..cut]).await.expect("sent");
    line.flush().await.expect("sent");
    tokio::time::sleep(Duration::from_millis(300)).await;
    drop(line);
    let told = head(manager, &id).await;
    assert_eq!(told.status, 200);
    assert_eq!(offset(&told), cut as u64);
    assert_eq!(told.header("upload-length"), file.len().to_string());
    assert_eq!(told.header("cache-control"), "no-store");
    assert!(told.header("upload-expires").ends_with(" GMT"));
    let rest = Answer::of(part(manager, &id, cut as u64, &file[cut..])).await;
    assert_eq!(rest.status, 204, "{}", rest.text());
    assert_eq!(offset(&rest), file.len() as u64);
    assert!(rest.header("link").contains(&format!("/jobs/{id}>")));
    let job = ended(manager, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["result"]["rows"], 2);
    assert_eq!(job["result"]["file_name"], "field.csv");
    assert_eq!(job["progress"]["percent"], 100);
    // The same bytes in one piece are the same batch.
    let again = manager.upload("usage_survey", Some("usage"), file).await;
    assert_eq!(again.ok(200)["id"], job["result"]["id"]);
}

#[tokio::test]
async fn the_newest_request_takes_over_from_a_line_that_hangs() {
    let programme = programme().await;
    let manager = &programme.manager;
    let file = usage();
    let id = id_of(&begin(manager, "usage_survey", Some("usage"), file.len() as u64).await);
    let mut hanging = TcpStream::connect(programme.app.address)
        .await
        .expect("a line");
    let request = format!(
        "PATCH /api/v1/programmes/{}/uploads/{id} HTTP/1.1\r\nHost: x\r\n\
         Authorization: Bearer {}\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 0\r\n\
         Content-Type: application/offset+octet-stream\r\nContent-Length: {}\r\n\r\nhouse",
        programme.code,
        programme.manager_secret,
        file.len()
    );
    hanging.write_all(request.as_bytes()).await.expect("sent");
    tokio::time::sleep(Duration::from_millis(300)).await;
    // The line is still open, and what came over it is counted.
    assert_eq!(offset(&head(manager, &id).await), 5);
    let mut answer = vec![0; 12];
    hanging.read_exact(&mut answer).await.expect("an answer");
    assert_eq!(answer, b"HTTP/1.1 400");
    let rest = Answer::of(part(manager, &id, 5, &file[5..])).await;
    assert_eq!(rest.status, 204, "{}", rest.text());
}

#[tokio::test]
async fn a_part_at_another_offset_is_refused_and_changes_nothing() {
    let programme = programme().await;
    let manager = &programme.manager;
    let id = id_of(&begin(manager, "usage_survey", Some("usage"), 10).await);
    Answer::of(part(manager, &id, 3, "abc"))
        .await
        .problem(409, "wrong-offset");
    assert_eq!(Answer::of(part(manager, &id, 0, "abc")).await.status, 204);
    for wrong in [0, 2, 4, 10, 11] {
        Answer::of(part(manager, &id, wrong, "abc"))
            .await
            .problem(409, "wrong-offset");
    }
    Answer::of(part(manager, &id, 3, "12345678"))
        .await
        .problem(413, "too-large");
    assert_eq!(offset(&head(manager, &id).await), 3);
    let typed = tus(manager.request(Method::PATCH, &format!("/uploads/{id}")))
        .header("Upload-Offset", 3)
        .header("Content-Type", "text/csv")
        .body("abc");
    Answer::of(typed)
        .await
        .problem(415, "unsupported-media-type");
    let silent = manager.request(Method::HEAD, &format!("/uploads/{id}"));
    let refused = Answer::of(silent).await;
    assert_eq!(refused.status, 412);
    assert_eq!(refused.header("tus-version"), "1.0.0");
}

#[tokio::test]
async fn a_part_with_a_checksum_is_kept_whole_or_not_at_all() {
    let programme = programme().await;
    let manager = &programme.manager;
    let id = id_of(&begin(manager, "usage_survey", Some("usage"), 10).await);
    // SHA-1 of "abc": FIPS 180-1, appendix A (MEMORY; the same by `printf abc | sha1sum`).
    let sha1 = hex::decode("a9993e364706816aba3e25717850c26c9cd0d89d").expect("hex");
    let good = format!("sha1 {}", STANDARD.encode(&sha1));
    let spoilt = part(manager, &id, 0, "abd").header("Upload-Checksum", &good);
    Answer::of(spoilt).await.problem(460, "checksum-mismatch");
    assert_eq!(offset(&head(manager, &id).await), 0);
    let whole = part(manager, &id, 0, "abc").header("Upload-Checksum", &good);
    assert_eq!(Answer::of(whole).await.status, 204);
    let unknown = part(manager, &id, 3, "abc").header("Upload-Checksum", "md5 YQ==");
    Answer::of(unknown).await.problem(400, "invalid-fields");
    assert_eq!(offset(&head(manager, &id).await), 3);
}

#[tokio::test]
async fn an_upload_can_be_given_up_and_one_that_expires_is_cleared_away() {
    let programme = programme().await;
    let manager = &programme.manager;
    let before = census(&programme.app.pool).await;
    let ids = [
        id_of(&begin(manager, "usage_survey", Some("usage"), 10).await),
        id_of(&begin(manager, "usage_survey", Some("usage"), 10).await),
    ];
    for id in &ids {
        assert_eq!(Answer::of(part(manager, id, 0, "abc")).await.status, 204);
    }
    let delete = tus(manager.request(Method::DELETE, &format!("/uploads/{}", ids[0])));
    assert_eq!(Answer::of(delete).await.status, 204);
    assert_eq!(head(manager, &ids[0]).await.status, 404);
    assert_eq!(head(manager, &ids[1]).await.status, 200);
    programme.app.clock.advance_seconds(48 * 3_600);
    assert_eq!(head(manager, &ids[1]).await.status, 404);
    let cleared = programme.app.service.clear_expired_uploads().await;
    assert_eq!(cleared.expect("cleared"), 1);
    assert_eq!(census(&programme.app.pool).await, before);
    for id in &ids {
        assert!(!programme.app.uploads.path().join(id).exists());
    }
}

#[tokio::test]
async fn length_quota_and_kind_are_asked_at_the_beginning() {
    let programme = programme_with(Setup {
        upload_bytes_max: Some(1_000_000),
        ..Setup::default()
    })
    .await;
    let manager = &programme.manager;
    let asked = tus(manager.request(Method::OPTIONS, "/uploads"));
    let spoken = Answer::of(asked).await;
    assert_eq!(spoken.status, 204);
    assert_eq!(spoken.header("tus-max-size"), "1000000");
    assert_eq!(spoken.header("tus-version"), "1.0.0");
    assert_eq!(
        spoken.header("tus-extension"),
        "creation,expiration,termination,checksum"
    );
    let round = Some("usage");
    let large = begin(manager, "usage_survey", round, 1_000_001).await;
    large.problem(413, "too-large");
    for (kind, bytes) in [("usage_survey", 0), ("no_such_kind", 10)] {
        let refused = begin(manager, kind, round, bytes).await;
        refused.problem(422, "invalid-fields");
    }
    // The tests' quota is three million bytes.
    for _ in 0..3 {
        id_of(&begin(manager, "usage_survey", round, 1_000_000).await);
    }
    let more = begin(manager, "usage_survey", round, 1).await;
    more.problem(409, "upload-quota");
}

#[tokio::test]
async fn only_the_role_and_the_sites_of_the_beginner_see_an_upload() {
    let programme = programme().await;
    let second = create_programme(&programme.app, "second-isles").await;
    let foreign = second["manager_token"]["secret"]
        .as_str()
        .expect("a secret");
    let north = json!({"role": "monitor", "label": "north", "sites": ["NORTH"]});
    let token = programme.manager.post("/tokens", &north).await.ok(201);
    let bound = programme
        .stranger()
        .with_token(token["secret"].as_str().expect("a secret"));
    let monitor = programme.client_of("monitor").await;
    let same = programme.client_of("monitor").await;
    let id = id_of(&begin(&monitor, "usage_survey", Some("usage"), 10).await);
    assert_eq!(head(&same, &id).await.status, 200);
    for other in [&programme.manager, &bound] {
        assert_eq!(head(other, &id).await.status, 404);
        Answer::of(part(other, &id, 0, "abc"))
            .await
            .problem(404, "not-found");
        let delete = tus(other.request(Method::DELETE, &format!("/uploads/{id}")));
        Answer::of(delete).await.problem(404, "not-found");
    }
    let verifier = programme.client_of("verifier").await;
    assert_eq!(head(&verifier, &id).await.status, 403);
    let guest = programme.stranger().with_token(foreign);
    assert_eq!(head(&guest, &id).await.status, 403);
    let at_home = programme
        .app
        .client()
        .under("/api/v1/programmes/second-isles")
        .with_token(foreign);
    assert_eq!(head(&at_home, &id).await.status, 404);
    assert_eq!(offset(&head(&monitor, &id).await), 0);
}

#[tokio::test]
async fn an_upload_begun_twice_under_one_key_is_one_upload() {
    let programme = programme().await;
    let begin = |bytes: u64| {
        tus(programme.manager.request(Method::POST, "/uploads"))
            .header("Upload-Length", bytes)
            .header("Upload-Metadata", "kind aG91c2Vob2xkcw==")
            .header("Idempotency-Key", "k-1")
    };
    let first = id_of(&Answer::of(begin(10)).await);
    assert_eq!(id_of(&Answer::of(begin(10)).await), first);
    let other = Answer::of(begin(11)).await;
    other.problem(409, "key-reused");
}

#[tokio::test]
async fn a_repeated_last_part_finds_the_upload_whole() {
    let programme = programme().await;
    let file = usage();
    let id = send(&programme.manager, "usage_survey", Some("usage"), &file).await;
    let told = head(&programme.manager, &id).await;
    assert_eq!(offset(&told), file.len() as u64);
    let nothing = Answer::of(part(&programme.manager, &id, file.len() as u64, "")).await;
    assert_eq!(nothing.status, 204);
    let delete = tus(programme
        .manager
        .request(Method::DELETE, &format!("/uploads/{id}")));
    Answer::of(delete).await.problem(409, "upload-whole");
}
