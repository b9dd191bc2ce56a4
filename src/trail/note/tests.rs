//! The vectors of RFC 8032 and of the signed-note specification, and every way
//! in which a note is refused.

use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use proptest::prelude::*;

use super::*;

/// RFC 8032 section 7.1, tests 1 to 3: secret, public, message, signature.
/// SEEN-2ND.
const RFC_8032: [[&str; 4]; 3] = [
    [
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ],
    [
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ],
    [
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ],
];

/// A key and a note in the form of C2SP signed-note v1.0.0. SEEN-2ND.
const KEY: &str = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k";
const NOTE: &str = "This is an example message.\n\n\
    — example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n";

fn bytes<const N: usize>(text: &str) -> [u8; N] {
    hex::decode(text).unwrap().try_into().unwrap()
}

fn signer(name: &str, seed: u8) -> NoteSigner {
    NoteSigner::from_seed(name, &[seed; 32]).unwrap()
}

/// The signature lines of a note.
fn lines(note: &str) -> &str {
    &note[note.rfind("\n\n").unwrap() + 2..]
}

#[test]
fn ed25519_signs_and_verifies_the_published_vectors() {
    for [secret, public, message, signature] in RFC_8032 {
        let message = hex::decode(message).unwrap();
        let key = SigningKey::from_bytes(&bytes(secret));
        assert_eq!(
            key.verifying_key(),
            VerifyingKey::from_bytes(&bytes(public)).unwrap()
        );
        assert_eq!(key.sign(&message).to_bytes(), bytes::<64>(signature));
        let verifier = NoteSigner::from_seed("rfc.example", &bytes(secret))
            .unwrap()
            .verifier_key();
        assert!(verifier.verifies(&message, &bytes::<64>(signature)));
        assert!(!verifier.verifies(b"other", &bytes::<64>(signature)));
    }
}

#[test]
fn the_published_note_opens_under_the_published_key() {
    let key: VerifierKey = KEY.parse().unwrap();
    assert_eq!(key.to_string(), KEY);
    assert_eq!(key.name(), "example.com/foo");
    assert_eq!(hex::encode(key.key_id()), "530d903a");
    let opened = open(NOTE, std::slice::from_ref(&key)).unwrap();
    assert_eq!(opened.text, "This is an example message.\n");
    assert_eq!(opened.signed_by, [key]);
}

#[test]
fn a_signed_text_comes_back_even_with_blank_lines_in_it() {
    let signer = signer("programme.example/log", 7);
    let key = signer.verifier_key();
    assert_eq!(key.to_string().parse::<VerifierKey>().unwrap(), key);
    for text in [
        "one line\n",
        "\n",
        "a\n\nb\n",
        "ends blank\n\n\n",
        "ö — 😀\n",
        "— x y\n",
    ] {
        let note = signer.sign(text).unwrap();
        assert_eq!(note, signer.sign(text).unwrap(), "not deterministic");
        let opened = open(&note, std::slice::from_ref(&key)).unwrap();
        assert_eq!(opened.text, text);
    }
    for text in ["", "no end", "tab\t\n", "return\r\n", "nul\0\n"] {
        assert!(signer.sign(text).is_err(), "{text:?}");
    }
    assert!(!format!("{signer:?}").contains("07"), "the secret shows");
}

#[test]
fn unknown_keys_are_passed_over_and_known_ones_must_hold() {
    let (log, witness, stranger) = (signer("log", 1), signer("witness", 2), signer("other", 3));
    let text = "text\n";
    let note = log.sign(text).unwrap();
    let both = note.clone() + lines(&witness.sign(text).unwrap());
    let keys = [log.verifier_key(), witness.verifier_key()];

    assert_eq!(open(&both, &keys).unwrap().signed_by, keys);
    assert_eq!(open(&both, &keys[1..]).unwrap().signed_by, keys[1..]);
    assert_eq!(open(&note, &keys[1..]), Err(NoteError::NoKnownSignature));
    assert_eq!(open(&note, &[]), Err(NoteError::NoKnownSignature));
    assert_eq!(
        open(&both, &[stranger.verifier_key()]),
        Err(NoteError::NoKnownSignature)
    );

    // The same name with another key is another, unknown key.
    let namesake = note.clone() + lines(&signer("log", 9).sign("else\n").unwrap());
    assert_eq!(open(&namesake, &keys).unwrap().signed_by, keys[..1]);
    // A line twice counts once; a wrong line of a known key spoils all.
    let twice = note.clone() + lines(&note);
    assert_eq!(open(&twice, &keys).unwrap().signed_by, keys[..1]);
    for wrong in [
        lines(&witness.sign("else\n").unwrap()),
        lines(&log.sign("else\n").unwrap()),
    ] {
        let spoilt = note.clone() + wrong;
        assert!(matches!(
            open(&spoilt, &keys),
            Err(NoteError::WrongSignature(_))
        ));
    }
    // An unknown signature of any length is passed over, a known one is not.
    let id = STANDARD.encode([&keys[0].key_id()[..], &[1, 2, 3]].concat());
    assert!(open(&format!("{note}— someone {id}\n"), &keys).is_ok());
    assert!(matches!(
        open(&format!("{note}— log {id}\n"), &keys),
        Err(NoteError::WrongSignature(name)) if name == "log"
    ));
}

#[test]
fn many_signatures_are_accepted_up_to_a_stated_bound() {
    let log = signer("log", 1);
    let key = [log.verifier_key()];
    let note_of = |count: usize| {
        let mut note = log.sign("text\n").unwrap();
        for index in 1..count {
            note += lines(
                &signer(&format!("witness-{index}"), 5)
                    .sign("text\n")
                    .unwrap(),
            );
        }
        note
    };
    assert!(open(&note_of(17), &key).is_ok());
    assert!(open(&note_of(MOST_SIGNATURES), &key).is_ok());
    assert!(open(&note_of(MOST_SIGNATURES + 1), &key).is_err());
    let large = log.sign(&("x".repeat(LARGEST_NOTE_BYTES) + "\n")).unwrap();
    assert_eq!(open(&large, &key), Err(NoteError::TooLarge(large.len())));
}

#[test]
fn malformed_notes_are_refused() {
    let log = signer("log", 1);
    let key = [log.verifier_key()];
    let note = log.sign("text\n").unwrap();
    let line = lines(&note).trim_end();
    let cases = [
        ("nothing", String::new()),
        ("text alone", "text\n".into()),
        ("no signatures", "text\n\n".into()),
        ("no blank line", format!("text\n{line}\n")),
        ("no last newline", note.trim_end().into()),
        ("carriage returns", note.replace('\n', "\r\n")),
        ("hyphen for a dash", note.replace('—', "-")),
        ("no name", format!("text\n\n—  {}\n", &line[8..])),
        ("space in the base64", note.replace("— log ", "— log  ")),
        (
            "loose base64",
            format!("{}\n", note.trim_end().trim_end_matches('=')),
        ),
        ("key id alone", "text\n\n— log AAAAAA==\n".into()),
        ("plus in a name", format!("{note}— a+b AAAAAAA=\n")),
        ("broken foreign line", format!("{note}— someone !!!\n")),
        ("text after the signatures", format!("{note}more\n")),
    ];
    for (what, case) in cases {
        let answer = open(&case, &key);
        assert!(answer.is_err(), "{what}: {answer:?}");
    }
}

#[test]
fn keys_that_are_not_exact_are_refused() {
    let base64 = KEY.rsplit('+').next().unwrap();
    let weak = {
        // The neutral element: it would accept one signature for every text.
        let mut point = [0; 33];
        (point[0], point[1]) = (1, 1);
        let id = &sha256_prefix("weak", &point);
        format!("weak+{id}+{}", STANDARD.encode(point))
    };
    let cases = [
        String::new(),
        "name".into(),
        "name+530d903a".into(),
        format!("+530d903a+{base64}"),
        format!("exa mple.com/foo+530d903a+{base64}"),
        format!("example.com/bar+530d903a+{base64}"),
        format!("example.com/foo+530D903A+{base64}"),
        format!("example.com/foo+530d903+{base64}"),
        format!("example.com/foo+530d903a+{}", base64.replacen('A', "B", 1)),
        format!("{KEY}A"),
        weak,
    ];
    for case in cases {
        assert!(case.parse::<VerifierKey>().is_err(), "{case}");
    }
    for name in ["", "a b", "a+b", "a\nb", "a\u{3000}b"] {
        assert!(NoteSigner::from_seed(name, &[1; 32]).is_err(), "{name:?}");
    }
}

fn sha256_prefix(name: &str, encoded: &[u8]) -> String {
    let hash = crate::trail::merkle::sha256(&[name.as_bytes(), b"\n", encoded].concat());
    hash.to_string()[..8].to_owned()
}

proptest! {
    #[test]
    fn a_note_with_any_byte_changed_never_opens_to_another_text(
        place in any::<usize>(), bit in 0..7_u8,
    ) {
        let mut changed = NOTE.as_bytes().to_vec();
        let place = place % changed.len();
        changed[place] ^= 1 << bit;
        let key: VerifierKey = KEY.parse().unwrap();
        if let Ok(text) = String::from_utf8(changed) {
            prop_assert!(open(&text, &[key]).is_err(), "{}", text);
        }
    }

    #[test]
    fn any_text_is_answered_without_panic(text in any::<String>(), lines in any::<String>()) {
        let key: VerifierKey = KEY.parse().unwrap();
        let note = format!("{text}\n\n— {lines}\n");
        prop_assert!(open(&note, &[key]).is_err());
        let _ = text.parse::<VerifierKey>();
    }
}
