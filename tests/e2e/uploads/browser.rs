//! The form's script in a real browser: a file is picked, cut off in its middle and sent to its
//! end, and another one is dropped.

use super::{ended, programme, workers};
use crate::browser::{Driver, follow, sign_in, text_of};
use crate::support::TestProgramme;
use fantoccini::{Client, Locator};
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// Bytes towards the server after which the line is cut: in the middle of the second part.
const CUT_AFTER: u64 = 1_500_000;

/// A line between browser and server that can be cut.
#[derive(Default)]
struct Line {
    /// Bytes that went towards the server.
    sent: AtomicU64,
    /// Whether it cuts itself after [`CUT_AFTER`] bytes.
    will_cut: AtomicBool,
    is_cut: AtomicBool,
}

impl Line {
    /// Listens on a port of its own and passes everything on to `server`.
    async fn lay(server: SocketAddr) -> (Arc<Self>, SocketAddr) {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let line = Arc::new(Line::default());
        let own = Arc::clone(&line);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                tokio::spawn(Arc::clone(&own).carry(near, server));
            }
        });
        (line, address)
    }

    async fn carry(self: Arc<Self>, near: TcpStream, server: SocketAddr) {
        if self.is_cut.load(Ordering::SeqCst) {
            return;
        }
        let far = TcpStream::connect(server).await.expect("the server");
        let (from_browser, to_browser) = near.into_split();
        let (from_server, to_server) = far.into_split();
        // Either way ending ends both, and with them the connections.
        tokio::select! {
            () = self.pass(from_browser, to_server, true) => {}
            () = self.pass(from_server, to_browser, false) => {}
        }
    }

    async fn pass(
        &self,
        mut from: impl AsyncRead + Unpin,
        mut to: impl AsyncWrite + Unpin,
        counts: bool,
    ) {
        let mut buffer = vec![0; 16 * 1024];
        while let Ok(read @ 1..) = from.read(&mut buffer).await {
            if self.is_cut.load(Ordering::SeqCst) || to.write_all(&buffer[..read]).await.is_err() {
                return;
            }
            if !counts {
                continue;
            }
            let sent = self.sent.fetch_add(read as u64, Ordering::SeqCst) + read as u64;
            if sent > CUT_AFTER && self.will_cut.swap(false, Ordering::SeqCst) {
                self.is_cut.store(true, Ordering::SeqCst);
                return;
            }
        }
    }
}

/// Invented households: about 2.5 million bytes, so that there are three parts.
fn long_file() -> Vec<u8> {
    let rows: Vec<String> = (0..90_000)
        .map(|n| format!("HH-B{n:08},NORTH,2,1,1,0"))
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    crate::batches::rows("households", &rows)
}

async fn ask(browser: &Client, script: &str, arguments: Vec<Value>) -> Value {
    browser.execute(script, arguments).await.expect(script)
}

/// Waits until the browser answers a question with yes.
async fn until(browser: &Client, script: &str) {
    let began = Instant::now();
    while ask(browser, script, Vec::new()).await != json!(true) {
        if began.elapsed() > Duration::from_secs(90) {
            panic!("{script}: {}", text_of(browser, "main").await);
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

fn says(words: &str) -> String {
    format!("return document.querySelector('main').textContent.includes('{words}')")
}

/// The id of the job whose page the browser has come to.
async fn job_shown(browser: &Client) -> String {
    until(browser, "return location.pathname.startsWith('/jobs/')").await;
    let address = browser.current_url().await.expect("an address");
    address.path().rsplit('/').next().expect("an id").to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_picked_file_whose_line_is_cut_goes_on_where_it_was_and_a_dropped_one_is_taken() {
    let programme = programme().await;
    let _workers = workers(&programme, 1);
    let (line, address) = Line::lay(programme.app.address).await;
    let file = long_file();
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("long.csv");
    std::fs::write(&path, &file).expect("the file");
    let driver = Driver::start();
    let browser = driver.browser().await;
    let address = format!("http://{address}");
    sign_in(&browser, &address, &programme.manager_secret).await;
    text_of(&browser, "h1").await;

    browser
        .goto(&format!("{address}/batches"))
        .await
        .expect("the page");
    let field = browser
        .find(Locator::Css("#file"))
        .await
        .expect("the field");
    let name = path.to_str().expect("a plain path");
    field.send_keys(name).await.expect("picked");
    let before = line.sent.load(Ordering::SeqCst);
    line.sent.store(0, Ordering::SeqCst);
    line.will_cut.store(true, Ordering::SeqCst);
    assert!(before < CUT_AFTER);
    follow(&browser, Locator::Css("#send button")).await;
    // While the line is cut the form says so, and shows how much is safely there.
    let waits =
        "return document.querySelector('#send output').textContent.includes('Trying again')";
    until(&browser, waits).await;
    assert!(line.is_cut.load(Ordering::SeqCst));
    let progress = "const bar = document.querySelector('#send progress');
                    return [bar.hidden, bar.value, bar.max]";
    let shown = ask(&browser, progress, Vec::new()).await;
    assert_eq!(shown[0], false);
    assert_eq!(shown[1], 1024 * 1024, "the first part is there");
    assert_eq!(shown[2], file.len());
    line.sent.store(0, Ordering::SeqCst);
    line.is_cut.store(false, Ordering::SeqCst);
    let id = job_shown(&browser).await;
    let again = line.sent.load(Ordering::SeqCst);
    assert!(
        again < file.len() as u64 - 1024 * 1024 + 50_000,
        "{again} bytes were sent again"
    );
    let job = ended(&programme.manager, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["work"]["file_name"], "long.csv");
    assert_eq!(job["result"]["rows"], 90_000);
    let sha256 = emberbook::trail::merkle::sha256(&file).to_string();
    assert_eq!(job["result"]["file_sha256"], sha256);
    until(&browser, &says("rows were added")).await;

    drop_a_file(&browser, &address, &programme).await;
    browser.close().await.expect("it closes");
}

/// A dropped file is chosen, and is sent with what is chosen beside it.
async fn drop_a_file(browser: &Client, address: &str, programme: &TestProgramme) {
    browser
        .goto(&format!("{address}/batches?kind=usage_survey&round=usage"))
        .await
        .expect("the page");
    let drop = "const form = document.querySelector('#send');
                const carried = new DataTransfer();
                carried.items.add(new File([arguments[0]], 'dropped.csv', {type: 'text/csv'}));
                const event = (name) => new DragEvent(name,
                    {dataTransfer: carried, bubbles: true, cancelable: true});
                const taken = !form.dispatchEvent(event('dragover'));
                const marked = form.classList.contains('over');
                form.querySelector('h2').dispatchEvent(event('drop'));
                return [taken, marked, form.classList.contains('over'),
                        form.elements.file.files[0].name, form.elements.tried.click()]";
    let text = String::from_utf8(super::usage()).expect("text");
    let seen = ask(browser, drop, vec![json!(text)]).await;
    assert_eq!(seen, json!([true, true, false, "dropped.csv", null]));
    assert_eq!(
        text_of(browser, "#send output").await,
        "dropped.csv is chosen."
    );
    follow(browser, Locator::Css("#send button")).await;
    let id = job_shown(browser).await;
    let job = ended(&programme.manager, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["work"]["dry_run"], true);
    assert_eq!(
        (&job["result"]["rows"], &job["result"]["dry_run"]),
        (&json!(2), &json!(true))
    );
    until(browser, &says("2 rows would be accepted")).await;
}
