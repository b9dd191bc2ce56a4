//! Proofs as documents and as proof files: any bytes, and a document around entries that prove.
//! After a byte 1 come lines: `figure` or `row` with its JSON, or a kind of entry with a content.
#![no_main]

use emberbook_fuzz::seed_bag::{event, signer};
use emberbook_fuzz::told;
use emberbook_fuzz::trail::checkpoint::Checkpoint;
use emberbook_fuzz::trail::merkle::{Leaves, leaf_hash, prove_inclusion, root_of};
use emberbook_fuzz::verify::Options;
use emberbook_fuzz::verify::proof::{FORMAT, Proof, ProvedEntry, check, check_file};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| match bytes.split_first() {
    Some((1, lines)) => {
        let document = serde_json::to_vec(&document(lines)).expect("JSON");
        let _ = check(&document, &Options::default()).to_string();
    }
    Some((_, bytes)) => {
        let options = Options {
            key: Some(signer().verifier_key()),
            ..Options::default()
        };
        let _ = check(bytes, &options).to_string();
        assert!(!check_file(bytes, Some(b"x"), &options).is_sound());
    }
    None => {}
});

fn document(lines: &[u8]) -> Proof {
    let (mut row, mut figure, mut records) = (None, None, Vec::new());
    for (kind, content) in told(lines) {
        match kind.as_str() {
            "row" => row = serde_json::from_slice(&content).ok(),
            "figure" => figure = serde_json::from_slice(&content).ok(),
            _ => {
                if let Ok(text) = String::from_utf8(content.clone()) {
                    records.push((text, (kind, content)));
                }
            }
        }
    }
    let events = (0..)
        .zip(&records)
        .map(|(at, (_, record))| event(at, record));
    let leaves: Vec<Vec<u8>> = events
        .map(|event| event.leaf_bytes().expect("canonical"))
        .collect();
    let hashes: Vec<_> = leaves.iter().map(|leaf| leaf_hash(leaf)).collect();
    let size = hashes.len() as u64;
    let entries = (0..).zip(&leaves).zip(&hashes).zip(records);
    let entries = entries.map(|(((sequence, leaf), hash), (content, _))| ProvedEntry {
        sequence,
        leaf_hash: hash.to_string(),
        leaf: String::from_utf8(leaf.clone()).ok(),
        content: Some(content),
        path: prove_inclusion(sequence, size, &Leaves(&hashes))
            .expect("a path")
            .iter()
            .map(ToString::to_string)
            .collect(),
    });
    let head = Checkpoint {
        origin: signer().name().to_owned(),
        size,
        root: root_of(&hashes),
    };
    Proof {
        format: FORMAT.into(),
        record: "figure".into(),
        key: "seed".into(),
        first_key: signer().verifier_key().to_string(),
        key_changes: Vec::new(),
        checkpoint: head.sign(&signer()),
        entries: entries.collect(),
        row,
        figure,
    }
}
