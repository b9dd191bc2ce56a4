//! An exported bag under programs that are not ours: BagIt's own checker, a checker of Data
//! Packages, a reader of PROV, and the figures computed anew in another language from the
//! bag's tables alone. Their scripts stand in `tests/independent`.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Python with what the scripts import: `./dev test` sees to it.
fn python() -> PathBuf {
    if let Some(given) = std::env::var_os("EMBERBOOK_TEST_PYTHON") {
        return given.into();
    }
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("target"),
        PathBuf::from,
    );
    target.join("independent/bin/python3")
}

fn run(script: &str, arguments: &[&Path]) -> Output {
    let place = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/independent");
    let python = python();
    Command::new(&python)
        .arg("-B")
        .arg(place.join(script))
        .args(arguments)
        .output()
        .unwrap_or_else(|error| {
            panic!(
                "{}: {error}\nThe independent checks need Python with the packages of \
                 tests/independent/requirements.txt: run ./dev test, which installs them, or\n  \
                 python3 -m venv target/independent && \
                 target/independent/bin/pip install -r tests/independent/requirements.txt",
                python.display()
            )
        })
}

fn told(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&output.stdout) + &text(&output.stderr)
}

#[track_caller]
pub fn passes(script: &str, bag: &SpoiltBag) -> String {
    let output = run(script, &[&bag.root]);
    assert!(output.status.success(), "{script}: {}", told(&output));
    told(&output)
}

#[track_caller]
fn fails(script: &str, bag: &SpoiltBag, words: &str) {
    let output = run(script, &[&bag.root]);
    assert_eq!(output.status.code(), Some(1), "{}", told(&output));
    assert!(told(&output).contains(words), "{}", told(&output));
}

#[test]
fn the_bag_is_valid_to_the_bagit_checker_of_another_house() {
    let bag = SpoiltBag::of(&seeded().bag);
    passes("check_bagit.py", &bag);
    bag.edit("data/README.md", |text| text.replacen('#', "*", 1));
    fails("check_bagit.py", &bag, "data/README.md");
}

#[test]
fn tables_and_keys_are_valid_to_a_checker_of_data_packages() {
    let bag = SpoiltBag::of(&seeded().bag);
    passes("check_tables.py", &bag);
    // One cell each that breaks a bound, a list of words, a reference and a key.
    for (file, from, to, words) in [
        (
            "data/evidence/usage-survey.csv",
            ",in_use,",
            ",in_bed,",
            "constraint-error",
        ),
        ("data/register/deployments.csv", ",H-", ",X-", "foreign-key"),
        (
            "data/batches.csv",
            ",households,",
            ",howseholds,",
            "constraint-error",
        ),
    ] {
        let sound = bag.read(file);
        bag.edit(file, |text| text.replacen(from, to, 1));
        fails("check_tables.py", &bag, words);
        bag.write(file, sound);
    }
}

#[test]
fn every_trace_reads_as_provenance() {
    let bag = SpoiltBag::of(&seeded().bag);
    let told = passes("check_provenance.py", &bag);
    assert!(told.contains("nodes"), "{told}");
}

#[test]
fn figures_computed_in_another_language_from_the_tables_alone_are_the_stated_ones() {
    let bag = SpoiltBag::of(&seeded().bag);
    let told = passes("recompute.py", &bag);
    assert!(told.contains("agree"), "{told}");
    // A row changed, nothing else: the figures part.
    bag.edit_lines("data/evidence/kitchen-test.csv", |lines| {
        let cells: Vec<&str> = lines[2].split(',').collect();
        let mut cells: Vec<String> = cells.into_iter().map(str::to_owned).collect();
        let header: Vec<&str> = lines[0].split(',').collect();
        let added = header.iter().position(|name| *name == "added_wet_kg");
        cells[added.expect("the column")] = "77".into();
        lines[2] = cells.join(",");
    });
    fails("recompute.py", &bag, "differs");
}

#[test]
#[ignore = "writes the bag for a look by hand: EMBERBOOK_KEEP_BAG=FILE"]
fn keep_the_bag() {
    let file = std::env::var_os("EMBERBOOK_KEEP_BAG").expect("a file");
    std::fs::write(file, &seeded().bag).expect("written");
}
