//! A checkpoint that was kept from an earlier visit holds the later history to account.

use crate::support::app::{LOG_KEY_SEED, ORIGIN};
use crate::support::bag::{SpoiltBag, signed_head};
use crate::support::seeded;
use emberbook::trail::merkle::{Hash, leaf_hash};
use emberbook::trail::note::NoteSigner;
use emberbook::verify::{Options, Report, verify};

fn leaves(bag: &SpoiltBag) -> Vec<Hash> {
    let entries = bag.read("data/trail/entries.jsonl");
    let lines = entries
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty());
    lines.map(leaf_hash).collect()
}

fn with_kept(bag: &SpoiltBag, kept: String) -> Report {
    let options = Options {
        key: None,
        kept_checkpoint: Some(kept),
        witnesses: Vec::new(),
    };
    verify(&bag.root, &options)
}

#[track_caller]
fn assert_refused(report: &Report, words: &str) {
    assert!(!report.is_sound(), "{report}");
    let faults: Vec<_> = report.faults().collect();
    assert_eq!(faults.len(), 1, "{report}");
    assert_eq!(faults[0].file, "the kept checkpoint");
    assert!(faults[0].problem.contains(words), "{report}");
}

#[test]
fn every_earlier_head_of_the_same_history_is_accepted() {
    let bag = SpoiltBag::of(&seeded().bag);
    let leaves = leaves(&bag);
    let code = &seeded().code;
    assert!(with_kept(&bag, seeded().early_checkpoint.clone()).is_sound());
    for size in [1, leaves.len() / 2, leaves.len()] {
        let report = with_kept(&bag, signed_head(code, &leaves[..size]));
        assert!(report.is_sound(), "{size}: {report}");
    }
}

#[test]
fn a_head_of_another_history_is_refused() {
    let bag = SpoiltBag::of(&seeded().bag);
    let code = &seeded().code;
    let mut forked = leaves(&bag);
    forked[3] = leaf_hash(b"what was told before");
    assert_refused(
        &with_kept(&bag, signed_head(code, &forked)),
        "history was changed",
    );
    assert_refused(
        &with_kept(&bag, signed_head(code, &forked[..4])),
        "history was changed",
    );
    let mut longer = leaves(&bag);
    longer.push(leaf_hash(b"what is kept back"));
    assert_refused(
        &with_kept(&bag, signed_head(code, &longer)),
        "history was cut off",
    );
}

#[test]
fn a_head_that_another_key_signed_is_refused() {
    let bag = SpoiltBag::of(&seeded().bag);
    let name = format!("{ORIGIN}/{}", seeded().code);
    let own = NoteSigner::from_seed(&name, &LOG_KEY_SEED).expect("a key");
    let other = NoteSigner::from_seed(&name, &[9; 32]).expect("a key");
    let text = seeded().early_checkpoint.clone();
    let body = text.split_once("\n\n").expect("a note").0.to_owned() + "\n";
    assert_eq!(own.sign(&body).expect("a note"), text);
    let forged = other.sign(&body).expect("a note");
    assert_refused(&with_kept(&bag, forged), "none of the given keys");
    assert_refused(&with_kept(&bag, "garbage".to_owned()), "not a signed note");
}
