//! Files that are too long, too wrong, or never arrive whole.

use super::{faults, rows};
use crate::support::census::staging_tables;
use crate::support::{Setup, TestProgramme, census};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

#[tokio::test]
async fn a_thousand_faults_are_listed_and_all_are_counted() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let before = census(&programme.app.pool).await;
    // Odd lines fail in the file, even lines against the register.
    let lines: Vec<String> = (0..1_501)
        .map(|n| match n % 2 {
            0 => format!("HH-{n},SOUTH,1,1,1,0"),
            _ => format!("HH-{n},NORTH,1,1,1,99"),
        })
        .collect();
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let file = rows("households", &lines);
    let answer = programme.manager.upload("households", None, file).await;
    let problem = answer.problem(422, "rejected-batch");
    assert_eq!(problem["rejection_count"], 1_501);
    let told = faults(&problem);
    assert_eq!(told.len(), 1_000);
    assert_eq!(told[0], "2 site_code unknown_site");
    assert_eq!(told[1], "3 men_over_59 out_of_range");
    assert_eq!(told[999], "1001 men_over_59 out_of_range");
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn more_than_a_thousand_faults_of_one_rule_are_counted_too() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let lines: Vec<String> = (0..2_345)
        .map(|n| format!("HH-{n},SOUTH,1,1,1,0"))
        .collect();
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let file = rows("households", &lines);
    let answer = programme.manager.upload("households", None, file).await;
    let problem = answer.problem(422, "rejected-batch");
    assert_eq!(problem["rejection_count"], 2_345);
    assert_eq!(faults(&problem).len(), 1_000);
}

#[tokio::test]
async fn a_file_over_the_size_limit_is_refused_and_one_at_the_limit_is_taken() {
    let file = rows("households", &["HH-9,NORTH,1,1,1,0"]);
    let setup = Setup {
        upload_bytes_max: Some(file.len() as u64),
        ..Setup::default()
    };
    let programme = TestProgramme::start_with(setup).await;
    programme.frame().await;
    let before = census(&programme.app.pool).await;
    let longer = [&file[..], b"\n"].concat();
    let refused = programme.manager.upload("households", None, longer).await;
    refused.problem(413, "too-large");
    assert_eq!(census(&programme.app.pool).await, before);
    programme
        .manager
        .upload("households", None, file)
        .await
        .ok(201);
}

/// The head of an upload that promises more bytes than will come.
fn head_of(programme: &TestProgramme, framing: &str) -> String {
    format!(
        "POST /api/v1/programmes/{}/batches?kind=households HTTP/1.1\r\n\
         Host: localhost\r\nAuthorization: Bearer {}\r\n\
         Content-Type: text/csv\r\n{framing}\r\n\r\n",
        programme.code, programme.manager_secret
    )
}

#[tokio::test]
async fn an_upload_that_is_cut_off_leaves_nothing_behind() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let before = census(&programme.app.pool).await;
    let file = rows("households", &["HH-8,NORTH,1,1,1,0", "HH-9,NORTH,1,1,1,0"]);
    // Cut after a whole row: what arrived would be a sound file.
    let arrived = &file[..file.len() - "HH-9,NORTH,1,1,1,0\n".len()];
    let counted = format!("Content-Length: {}", file.len());
    let chunk = [
        format!("{:x}\r\n", arrived.len()).as_bytes(),
        arrived,
        b"\r\n",
    ]
    .concat();
    for (framing, body) in [
        (counted.as_str(), arrived.to_vec()),
        ("Transfer-Encoding: chunked", chunk),
    ] {
        let mut stream = TcpStream::connect(programme.app.address)
            .await
            .expect("a connection");
        let head = head_of(&programme, framing);
        stream.write_all(head.as_bytes()).await.expect("written");
        stream.write_all(&body).await.expect("written");
        stream.shutdown().await.expect("cut off");
        let mut said = Vec::new();
        let closed = tokio::time::timeout(Duration::from_secs(5), stream.read_to_end(&mut said));
        closed.await.expect("the server lets go").expect("read");
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(
            said.is_empty() || said.starts_with("HTTP/1.1 400 "),
            "{said}"
        );
        assert_eq!(census(&programme.app.pool).await, before, "{framing}");
    }
    // Dropped without a word, in the midst of a row.
    let mut stream = TcpStream::connect(programme.app.address)
        .await
        .expect("a connection");
    let head = head_of(&programme, &counted);
    stream.write_all(head.as_bytes()).await.expect("written");
    stream
        .write_all(&file[..file.len() - 30])
        .await
        .expect("written");
    drop(stream);
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(census(&programme.app.pool).await, before);
    assert_eq!(staging_tables(&programme.app.pool).await, 0);
    // The same file, whole, is new to the server.
    let batch = programme
        .manager
        .upload("households", None, file)
        .await
        .ok(201);
    assert_eq!(
        (&batch["rows"], &batch["repeated"]),
        (&2.into(), &false.into())
    );
}
