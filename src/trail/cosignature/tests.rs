//! Cosignatures against a second implementation and the published example, and every
//! way in which one is refused.

use super::*;
use crate::trail::checkpoint::Checkpoint;
use crate::trail::merkle::leaf_hash;
use crate::trail::note::NoteSigner;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// COMPUTED by `tests/reference/notes.py` on the Ed25519 of OpenSSL.
fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("../../../tests/reference/notes.json")).unwrap()
}

fn text(value: &serde_json::Value) -> &str {
    value.as_str().unwrap()
}

#[test]
fn keys_and_cosignatures_are_those_of_the_second_implementation() {
    let reference = reference();
    let seed: [u8; 32] = hex::decode(text(&reference["witness_seed"]))
        .unwrap()
        .try_into()
        .unwrap();
    let signer = WitnessSigner::from_seed("witness.example/one", &seed).unwrap();
    assert_eq!(signer.key().to_string(), text(&reference["witness"]));
    let note = text(&reference["checkpoint"]);
    let signed = signed_text(note).unwrap();
    let time = reference["time"].as_u64().unwrap();
    let line = signer.cosign(signed, time);
    assert_eq!(line, text(&reference["cosignature"]));
    assert_eq!(signer.key().check(signed, line.trim_end()), Ok(time));

    // Both witnesses under one checkpoint; the log's own line is passed over.
    let other: WitnessKey = text(&reference["other_witness"]).parse().unwrap();
    let both = format!("{note}{line}{}", text(&reference["other_cosignature"]));
    let witnesses = [other.clone(), signer.key()];
    let found = cosignatures(&both, &witnesses).unwrap();
    let told: Vec<(&str, u64)> = found.iter().map(|c| (c.witness.name(), c.time)).collect();
    assert_eq!(
        told,
        [
            ("witness.example/one", time),
            ("witness.example/two", time + 1)
        ]
    );
    let log = "programme.example/log";
    assert_eq!(strangers(&both, log, &witnesses), Ok(vec![]));
    assert_eq!(
        strangers(&both, log, &[other]),
        Ok(vec!["witness.example/one".to_owned()])
    );
}

/// The example of C2SP tlog-cosignature (SEEN; the witness's key is not published there, so
/// only the form can be read).
#[test]
fn the_published_line_has_the_form_that_is_read() {
    let value = "jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZ\
                 qhf5nNo0xUe+mbIUBkBIfZ+qnA==";
    let line = format!("\u{2014} witness.example.com/w1 {value}");
    let parsed = SignatureLine::parse(&line).unwrap();
    assert_eq!(parsed.name, "witness.example.com/w1");
    assert_eq!(hex::encode(parsed.key_id), "8d66cf3f");
    assert_eq!(parsed.bytes.len(), VALUE_BYTES);
    let (time, _) = parsed.bytes.split_first_chunk::<8>().unwrap();
    // 2023-03-20T12:25:47Z
    assert_eq!(u64::from_be_bytes(*time), 1_679_315_147);
}

fn witness(seed: u8) -> WitnessSigner {
    WitnessSigner::from_seed("witness.example/w", &[seed; 32]).unwrap()
}

fn head() -> String {
    Checkpoint {
        origin: "programme.example/log".into(),
        size: 3,
        root: leaf_hash(b"x"),
    }
    .to_text()
}

#[test]
fn a_line_that_does_not_fit_is_refused() {
    let signer = witness(1);
    let line = signer.cosign(&head(), 1_700_000_000);
    let line = line.trim_end();
    assert_eq!(signer.key().check(&head(), line), Ok(1_700_000_000));
    let larger = head().replace("\n3\n", "\n4\n");
    let wrong = Err(CosignatureError::Wrong("witness.example/w".into()));
    assert_eq!(signer.key().check(&larger, line), wrong);
    let another = Err(CosignatureError::AnotherKey);
    assert_eq!(witness(2).key().check(&head(), line), another);
    let renamed = line.replace("/w ", "/v ");
    assert_eq!(signer.key().check(&head(), &renamed), another);

    // Every bit of the value counts: key id, time and signature.
    let (start, value) = line.rsplit_once(' ').unwrap();
    let bytes = STANDARD.decode(value).unwrap();
    for place in 0..bytes.len() * 8 {
        let mut bent = bytes.clone();
        bent[place / 8] ^= 1 << (place % 8);
        let bent = format!("{start} {}", STANDARD.encode(bent));
        assert!(signer.key().check(&head(), &bent).is_err(), "bit {place}");
    }
    for short in ["", "x", "\u{2014} witness.example/w AAAA"] {
        assert!(signer.key().check(&head(), short).is_err(), "{short}");
    }
    let cut = format!("{start} {}", STANDARD.encode(&bytes[..bytes.len() - 1]));
    assert!(matches!(
        signer.key().check(&head(), &cut),
        Err(CosignatureError::Line(_))
    ));
}

#[test]
fn the_log_s_own_signature_is_no_cosignature() {
    // The same secret under the same name: the type byte alone keeps the two apart.
    let log = NoteSigner::from_seed("witness.example/w", &[1; 32]).unwrap();
    let note = log.sign(&head()).unwrap();
    assert_eq!(cosignatures(&note, &[witness(1).key()]), Ok(vec![]));
    assert!(
        log.verifier_key()
            .to_string()
            .parse::<WitnessKey>()
            .is_err()
    );
}

#[test]
fn one_wrong_line_of_a_known_witness_spoils_the_note() {
    let log = NoteSigner::from_seed("programme.example/log", &[9; 32]).unwrap();
    let note = log.sign(&head()).unwrap();
    let elsewhere = witness(1).cosign("another text\n", 5);
    let refused = cosignatures(&format!("{note}{elsewhere}"), &[witness(1).key()]);
    assert!(matches!(refused, Err(CosignatureError::Wrong(_))));
}
