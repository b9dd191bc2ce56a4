//! A round whose sample the program draws, from plan to close over HTTP; drawn again by hand in
//! a shell and by the command; and found out in a bag where frame, seed or draw was changed.

use crate::support::bag::SpoiltBag;
use crate::support::seeded::seeded_programme;
use crate::support::{Client, TestProgramme};
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

const ROUND: &str = "usage-2026";
const WORDS: &str = "lottery of 5 January 2026: 07 14 22 31 40 45 (invented)";

fn plan() -> Value {
    json!({
        "purpose": "Share of stoves in use in 2026.", "unit": "stove", "frame_on": "2026-01-01",
        "design": "simple_random", "confidence": "0.90", "precision": "0.10",
        "precision_is": "relative", "expected_share": "0.85", "expected_response": "0.9",
        "reserve": 2,
    })
}

pub fn round_of(code: &str, plan: &Value) -> Value {
    json!({"code": code, "kind": "usage_survey", "starts_on": "2026-09-01",
           "ends_on": "2026-10-13", "design": "Drawn by the program.", "plan": plan})
}

/// Opens and draws a round, for tests that need one.
pub async fn draw_a_round(programme: &TestProgramme, code: &str) {
    let manager = &programme.manager;
    manager
        .post("/rounds", &round_of(code, &plan()))
        .await
        .ok(201);
    let path = format!("/rounds/{code}");
    manager
        .post(&format!("{path}/frame"), &json!({}))
        .await
        .ok(201);
    seed(manager, &path).await;
}

pub async fn seed(manager: &Client, path: &str) -> Value {
    let request = json!({"words": WORDS, "source": "invented for the tests"});
    let seeded = manager.post(&format!("{path}/seed"), &request).await;
    seeded.ok(201)
}

/// What a shell prints for a script with this standard input and these variables.
fn shell(script: &str, input: &str, variables: &[(&str, &str)]) -> String {
    let mut child = Command::new("sh")
        .args(["-c", script])
        .envs(variables.iter().copied())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a shell");
    let mut stdin = child.stdin.take().expect("its input");
    let input = input.to_owned();
    // The script may read slower than it prints.
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().expect("it ends");
    let _ = writer.join().expect("written");
    assert!(output.status.success());
    String::from_utf8(output.stdout).expect("text")
}

/// The two lines of the README that redo a draw.
fn recipe() -> String {
    let readme = include_str!("../../README.md");
    let lines: Vec<&str> = readme
        .lines()
        .filter(|line| line.starts_with("rank() {") || line.starts_with("while IFS= read"))
        .collect();
    assert_eq!(lines.len(), 2);
    // Given on standard input here, as a file there.
    lines.join("\n").replace("< frame.txt ", "")
}

fn cells(line: &str) -> Vec<&str> {
    line.split(',').collect()
}

fn answers<'a>(units: impl IntoIterator<Item = (&'a str, &'a str)>) -> String {
    let mut csv =
        "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals\n".to_owned();
    for (unit, outcome) in units {
        let used = if outcome == "in_use" { "7,0.60" } else { "," };
        csv.push_str(&format!("{unit},2026-09-10,{outcome},{used}\n"));
    }
    csv
}

#[tokio::test]
async fn a_plan_is_worked_out_and_nothing_is_written() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let before = crate::support::census(&programme.app.pool).await;
    let request = json!({"kind": "usage_survey", "plan": plan()});
    let sizes = manager.post("/rounds/plan", &request).await.ok(200);
    // By hand: 970 stoves stand in the seed's CSV files on that day that are no second stove;
    // 1.644854^2 N p q / ((N - 1) (0.1 p)^2 + 1.644854^2 p q) = 45.5498, and 46 / 0.9 = 51.1.
    assert_eq!(sizes["groups"][0]["units"], 970);
    assert_eq!(
        (&sizes["needed"], &sizes["to_visit"]),
        (&json!(46), &json!(52))
    );
    let steps = sizes["steps"].as_array().expect("steps");
    assert!(
        steps.iter().any(|step| step["value"] == "45.5498"),
        "{steps:?}"
    );
    assert_eq!(sizes["groups"][0]["sample"], 46);
    assert_eq!(sizes["groups"][0]["reserve"], 6 + 2);
    for (field, value, named) in [
        ("expected_share", Value::Null, "expected_share"),
        ("design", json!("stratified"), "strata_by"),
        ("design", json!("cluster"), "units_in_each"),
        ("frame_on", json!("2001-01-01"), "frame_on"),
        ("confidence", json!("1"), "plan"),
    ] {
        let mut request = request.clone();
        request["plan"][field] = value;
        let problem = manager.post("/rounds/plan", &request).await;
        let problem = problem.problem(422, "invalid-fields");
        assert!(problem.to_string().contains(named), "{field}: {problem}");
    }
    assert_eq!(crate::support::census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn strata_and_sites_share_out_the_sample() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let mut request = json!({"kind": "usage_survey", "plan": plan()});
    request["plan"]["design"] = json!("stratified");
    request["plan"]["strata_by"] = json!(["site"]);
    let sizes = manager.post("/rounds/plan", &request).await.ok(200);
    let names: Vec<&str> = sizes["groups"]
        .as_array()
        .expect("groups")
        .iter()
        .map(|group| group["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(names, ["HILL", "LAGOON", "NORTH"]);
    // 46 shared out by 245, 350 and 375 of 970, each rounded up.
    let sample = |at: usize| sizes["groups"][at]["sample"].as_u64();
    assert_eq!(
        [sample(0), sample(1), sample(2)],
        [Some(12), Some(17), Some(18)]
    );

    let mut clusters = plan();
    clusters["design"] = json!("cluster");
    clusters["units_in_each"] = json!(23);
    manager
        .post("/rounds", &round_of("by-site", &clusters))
        .await
        .ok(201);
    manager
        .post("/rounds/by-site/frame", &json!({}))
        .await
        .ok(201);
    seed(manager, "/rounds/by-site").await;
    let detail = manager.get("/rounds/by-site").await.ok(200);
    let drawn = &detail["draw"]["record"];
    assert_eq!(drawn["clusters"].as_array().map(Vec::len), Some(2));
    assert_eq!(drawn["sample"], 46);
}

#[tokio::test]
async fn a_round_goes_from_plan_to_close() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let path = format!("/rounds/{ROUND}");
    manager
        .post("/rounds", &round_of(ROUND, &plan()))
        .await
        .ok(201);
    let none = json!({"words": WORDS, "source": "too early"});
    let early = manager.post(&format!("{path}/seed"), &none).await;
    early.problem(409, "frame-missing");
    let frame = manager
        .post(&format!("{path}/frame"), &json!({}))
        .await
        .ok(201);
    let again = manager.post(&format!("{path}/frame"), &json!({})).await;
    again.problem(409, "step-taken");
    // Found from the seed's CSV files outside the program, with Python's hashlib.
    let by_hand = "2c3341693383a8a88ba37b2ec2259250d8c4db881f40bdfbc7e1b0bbe461c597";
    assert_eq!(
        (&frame["units"], &frame["sha256"]),
        (&json!(970), &json!(by_hand))
    );
    let ids = manager.get(&format!("{path}/frame")).await.text();
    assert!(shell("LC_ALL=C sort | sha256sum", &ids, &[]).starts_with(by_hand));
    let one = answers([("H-0005,HB1-000005", "in_use")]);
    let rows = manager
        .upload("usage_survey", Some(ROUND), one.clone())
        .await;
    rows.problem(409, "draw-missing");

    let seeded = seed(manager, &path).await;
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let (root, seed_hex) = (text(&seeded["root"]), text(&seeded["seed"]));
    let made = shell(
        "printf '%s\\n%s\\n' \"$ROOT\" \"$WORDS\" | sha256sum | cut -c 1-64",
        "",
        &[("ROOT", root.as_str()), ("WORDS", WORDS)],
    );
    assert_eq!(made.trim_end(), seed_hex);
    seed_twice(manager, &path).await;

    let list = manager.get(&format!("{path}/field-list")).await.text();
    let lines: Vec<Vec<&str>> = list.lines().skip(1).map(cells).collect();
    assert_eq!(lines.len(), 46 + 8);
    by_hand_and_by_command(manager, &path, &ids, &seed_hex, &lines).await;
    let unit: Vec<String> = lines.iter().map(|l| format!("{},{}", l[0], l[1])).collect();
    let (sample, reserve) = unit.split_at(46);

    work_in_the_field(&programme, &path, sample, reserve, &ids).await;
    let closed = manager
        .post(&format!("{path}/close"), &json!({}))
        .await
        .ok(200);
    assert_eq!(closed["response"], "0.93617"); // 44 of 47
    let achieved = &closed["achieved"];
    let figure = |name: &str| -> f64 { text(&achieved[name]).parse().expect("a number") };
    // 38 of 44 in use among 970: sqrt((1 - 44/970) p q / 43) = 0.051133, by hand; Student's t
    // for 43 degrees of freedom at 90 % is 1.6811 (any table of t; MEMORY).
    assert_eq!(achieved["answered"], 44);
    assert!((figure("value") - 38.0 / 44.0).abs() < 1e-6);
    assert!(
        (figure("standard_error") - 0.051133).abs() < 5e-7,
        "{achieved}"
    );
    assert!((figure("half_width") / figure("standard_error") - 1.6811).abs() < 5e-5);
    assert_eq!(achieved["meets_the_plan"], true);
    let late = manager.upload("usage_survey", Some(ROUND), one).await;
    late.problem(409, "round-closed");

    let export = manager.get("/export").await.bytes;
    spoil(&export);
}

async fn seed_twice(manager: &Client, path: &str) {
    let other = json!({"words": "others", "source": "a second try"});
    let again = manager.post(&format!("{path}/seed"), &other).await;
    again.problem(409, "step-taken");
}

/// The draw of the program, of the README's recipe in `sh`, and of the command are one.
async fn by_hand_and_by_command(
    manager: &Client,
    path: &str,
    ids: &str,
    seed: &str,
    list: &[Vec<&str>],
) {
    let drawn = shell(&recipe(), ids, &[("SEED", seed), ("WANTED", "54")]);
    let units: Vec<&str> = drawn
        .lines()
        .filter_map(|line| line.split("  ").nth(1))
        .collect();
    let listed: Vec<&str> = list.iter().map(|line| line[1]).collect();
    assert_eq!(units, listed);
    let detail = manager.get(path).await.ok(200);
    let hash = shell("sha256sum | cut -c 1-64", &drawn, &[]);
    assert_eq!(detail["draw"]["record"]["sha256"], hash.trim_end());
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("frame.txt");
    std::fs::write(&file, ids).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_emberbook"))
        .args([
            "redraw",
            "--seed",
            seed,
            "--wanted",
            "46",
            "--reserve",
            "8",
            "--frame",
        ])
        .arg(&file)
        .output()
        .expect("it runs");
    assert_eq!(String::from_utf8_lossy(&output.stdout), drawn);
}

/// Refusals, an open unit, a reserve unit out of turn, and one that was never drawn.
async fn work_in_the_field(
    programme: &TestProgramme,
    path: &str,
    sample: &[String],
    reserve: &[String],
    ids: &str,
) {
    let manager = &programme.manager;
    let outcome = |at: usize| match at {
        0 => "refused",
        1 => "not_found",
        at if at % 7 == 0 => "not_in_use",
        _ => "in_use",
    };
    let drawn = sample.iter().chain(reserve);
    let outside = ids
        .lines()
        .find(|id| !drawn.clone().any(|unit| unit.ends_with(&format!(",{id}"))))
        .expect("a unit that was not drawn");
    let deployments = manager.get(&format!("/deployments/{outside}")).await.text();
    let start = deployments.find("\"H-").expect("its household") + 1;
    let outside = format!("{},{outside}", &deployments[start..start + 6]);
    let visited = sample
        .iter()
        .take(44)
        .enumerate()
        .map(|(at, unit)| (unit.as_str(), outcome(at)))
        .chain([
            (reserve[0].as_str(), "in_use"),
            (reserve[2].as_str(), "in_use"),
            (outside.as_str(), "in_use"),
        ]);
    let csv = answers(visited);
    manager
        .upload("usage_survey", Some(ROUND), csv)
        .await
        .ok(201);
    let detail = manager.get(path).await.ok(200);
    assert_eq!(
        detail["progress"],
        json!({"sample": 46, "done": 43, "refused": 1, "not_found": 1, "open": 3,
               "reserve_called": 2, "reserve_waiting": 5, "out_of_turn": 1, "outside": 1})
    );
    let unit = &detail["units"][46 + 2];
    assert_eq!(
        (&unit["reserve"], &unit["out_of_turn"]),
        (&json!(true), &json!(true))
    );

    let csv = answers([(reserve[1].as_str(), "refused")]);
    manager
        .upload("usage_survey", Some(ROUND), csv)
        .await
        .ok(201);
    let detail = manager.get(path).await.ok(200);
    assert_eq!(
        detail["progress"],
        json!({"sample": 46, "done": 44, "refused": 2, "not_found": 1, "open": 2,
               "reserve_called": 3, "reserve_waiting": 5, "out_of_turn": 0, "outside": 1})
    );
}

/// The bag is sound; a changed line of frame, seed or draw is found under fitting manifests.
fn spoil(export: &[u8]) {
    let bag = SpoiltBag::of(export);
    let report = bag.verify();
    assert!(report.is_sound(), "{report}");
    assert!(
        report
            .to_string()
            .contains("970 frame units read again from the register, 1 draw(s)")
    );
    for (file, from, to) in [
        ("data/rounds/frames.csv", ",0", ",1"),
        ("data/rounds/seeds.csv", "07 14", "07 15"),
        ("data/rounds/draws.csv", ",sample,", ",reserve,"),
    ] {
        let sound = bag.read(file);
        let mut changed = None;
        bag.edit_lines(file, |lines| {
            let at = (1..lines.len()).find(|at| lines[*at].contains(from));
            let at = at.expect("a line to change");
            lines[at] = lines[at].replacen(from, to, 1);
            changed = Some(at as u64 + 1);
        });
        bag.seal();
        let faults = bag.faults();
        let found = faults.iter().any(|fault| {
            fault.file == file && fault.line == changed && fault.problem.contains("was changed")
        });
        assert!(found, "{file}: {faults:?}");
        bag.write(file, sound);
    }
}

#[tokio::test]
async fn a_plain_round_has_no_frame_and_can_be_closed() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let frame = manager.post("/rounds/usage/frame", &json!({})).await;
    frame.problem(409, "round-not-planned");
    let closed = manager
        .post("/rounds/usage/close", &json!({}))
        .await
        .ok(200);
    assert_eq!(closed["achieved"], Value::Null);
    manager
        .get("/rounds/usage/field-list")
        .await
        .problem(404, "not-found");
    let again = manager.post("/rounds/usage/close", &json!({})).await;
    again.problem(409, "step-taken");
    let detail = manager.get("/rounds/usage").await.ok(200);
    assert_eq!(detail["closed"], true);
    let nowhere = manager.post("/rounds/nowhere/close", &json!({})).await;
    nowhere.problem(404, "not-found");
}

/// Household rounds measure; every kind's answers are read by a query of its own.
#[tokio::test]
async fn rounds_of_households_that_measure_are_drawn_and_closed() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    for kind in ["kitchen_project", "char_weighing", "moisture"] {
        let mut plan = plan();
        plan["unit"] = json!("household");
        plan["expected_share"] = Value::Null;
        plan["expected_mean"] = json!("4");
        plan["expected_standard_deviation"] = json!("1.5");
        let mut request = round_of(kind, &plan);
        request["kind"] = json!(kind);
        manager.post("/rounds", &request).await.ok(201);
        manager
            .post(&format!("/rounds/{kind}/frame"), &json!({}))
            .await
            .ok(201);
        seed(manager, &format!("/rounds/{kind}")).await;
        let closed = manager
            .post(&format!("/rounds/{kind}/close"), &json!({}))
            .await;
        let closed = closed.ok(200);
        assert_eq!(closed["counts"]["open"], closed["counts"]["sample"]);
        assert!(closed["not_achieved_because"].is_string(), "{closed}");
    }
}
