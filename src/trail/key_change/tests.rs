//! Changes of key against a second implementation, and every way in which one is refused.

use super::*;
use crate::trail::merkle::leaf_hash;

/// COMPUTED by `tests/reference/notes.py` on the Ed25519 of OpenSSL.
fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("../../../tests/reference/notes.json")).unwrap()
}

fn text(value: &serde_json::Value) -> &str {
    value.as_str().unwrap()
}

const LOG: &str = "programme.example/log";

fn signer(seed: u8) -> NoteSigner {
    NoteSigner::from_seed(LOG, &[seed; 32]).unwrap()
}

fn root(size: u64) -> Hash {
    leaf_hash(&size.to_be_bytes())
}

fn signed(size: u64, seed: u8) -> String {
    Checkpoint {
        origin: LOG.into(),
        size,
        root: root(size),
    }
    .sign(&signer(seed))
}

fn change(size: u64, old: u8, new: u8) -> String {
    KeyChange::sign(size, root(size), &signer(old), &signer(new)).unwrap()
}

#[test]
fn a_change_is_the_note_that_the_second_implementation_makes() {
    let reference = reference();
    let at = reference["change_at"].as_u64().unwrap();
    let root = Hash::from_hex(text(&reference["roots"][at as usize])).unwrap();
    let made = KeyChange::sign(at, root, &signer(3), &signer(4)).unwrap();
    assert_eq!(made, text(&reference["change"]));

    let mut chain = KeyChain::new(text(&reference["old_key"]).parse().unwrap());
    let before = chain.open(text(&reference["checkpoint"])).unwrap();
    assert_eq!(before.0.size, at);
    let early = chain.open(text(&reference["after"]));
    assert_eq!(early, Err(NoteError::NoKnownSignature.into()));
    chain.take(text(&reference["change"]), at, root).unwrap();
    assert_eq!(chain.current().to_string(), text(&reference["new_key"]));
    let (after, key) = chain.open(text(&reference["after"])).unwrap();
    assert_eq!((after.size, &key), (11, chain.current()));
    // What the old key signed stays checkable.
    assert_eq!(chain.open(text(&reference["checkpoint"])), Ok(before));
}

#[test]
fn a_retired_key_signs_nothing_above_its_change() {
    let mut chain = KeyChain::new(signer(1).verifier_key());
    chain.take(&change(5, 1, 2), 5, root(5)).unwrap();
    chain.take(&change(9, 2, 3), 9, root(9)).unwrap();
    for (size, seed, holds) in [
        (5, 1, true),
        (6, 1, false),
        (9, 2, true),
        (10, 2, false),
        (10, 3, true),
        // A newer key stands for the whole trail, which it took over.
        (4, 3, true),
        (2, 2, true),
    ] {
        let opened = chain.open(&signed(size, seed));
        assert_eq!(opened.is_ok(), holds, "size {size}, key {seed}");
        if !holds {
            assert_eq!(opened, Err(CheckpointError::RetiredKey { size }));
        }
    }
    assert_eq!(chain.keys().count(), 3);
    assert_eq!(chain.retired_at(&signer(1).verifier_key()), Some(5));
    assert_eq!(chain.retired_at(&signer(3).verifier_key()), None);
}

#[test]
fn a_change_that_does_not_fit_its_place_is_refused() {
    let chain = KeyChain::new(signer(1).verifier_key());
    let take = |note: &str, sequence: u64, root: Hash| {
        let mut chain = chain.clone();
        chain.take(note, sequence, root)
    };
    let note = change(5, 1, 2);
    assert_eq!(take(&note, 5, root(5)), Ok(()));
    assert_eq!(take(&note, 6, root(5)), Err(KeyChangeError::Elsewhere));
    assert_eq!(take(&note, 5, root(6)), Err(KeyChangeError::Elsewhere));
    let of_another = take(&change(5, 7, 2), 5, root(5));
    assert!(matches!(of_another, Err(KeyChangeError::NotInForce(_))));

    // One of the two signatures is missing, or is of another text.
    let lines: Vec<&str> = note.lines().collect();
    for missing in [7, 8] {
        let mut kept = lines.clone();
        kept.remove(missing);
        let half = kept.join("\n") + "\n";
        let refused = take(&half, 5, root(5));
        assert!(
            matches!(refused, Err(KeyChangeError::Unsigned(_))),
            "{missing}"
        );
    }
    let bent = note.replacen("\n5\n", "\n6\n", 1);
    let refused = take(&bent, 6, root(5));
    assert!(matches!(
        refused,
        Err(KeyChangeError::Note(NoteError::WrongSignature(_)))
    ));

    let mut back = chain.clone();
    back.take(&note, 5, root(5)).unwrap();
    let again = back.take(&change(8, 2, 1), 8, root(8));
    assert!(matches!(again, Err(KeyChangeError::Malformed(_))));
}

#[test]
fn keys_of_two_logs_or_the_same_key_make_no_change() {
    let elsewhere = NoteSigner::from_seed("another.example/log", &[2; 32]).unwrap();
    assert!(KeyChange::sign(1, root(1), &signer(1), &elsewhere).is_err());
    assert!(KeyChange::sign(1, root(1), &signer(1), &signer(1)).is_err());
}

#[test]
fn a_checkpoint_is_no_change_and_a_change_no_checkpoint() {
    assert!(KeyChange::open(&signed(5, 1)).is_err());
    let keys = [signer(1).verifier_key()];
    assert!(Checkpoint::open(&change(5, 1, 2), &keys).is_err());
    let chain = KeyChain::new(
        NoteSigner::from_seed("b.example", &[1; 32])
            .unwrap()
            .verifier_key(),
    );
    assert!(chain.open(&signed(5, 1)).is_err());
}
