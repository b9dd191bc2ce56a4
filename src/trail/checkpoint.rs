//! Checkpoints (C2SP tlog-checkpoint): the size and the root of the tree, signed
//! as a note. Extension lines are refused, since nothing could check them.

use thiserror::Error;

use super::merkle::Hash;
use super::note::{self, NoteError, NoteSigner, VerifierKey};

/// The head of a tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// Names the log; one line, not empty.
    pub origin: String,
    /// How many leaves the tree has.
    pub size: u64,
    /// Its root.
    pub root: Hash,
}

/// Why a text is not a checkpoint that can be relied on.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CheckpointError {
    #[error("this is not a checkpoint: {0}")]
    Malformed(&'static str),
    #[error(transparent)]
    Note(#[from] NoteError),
    #[error("it is a checkpoint of another log, {0}")]
    AnotherLog(String),
    #[error("it is over {size} entries, signed by a key that had been put out of force before")]
    RetiredKey { size: u64 },
}

impl Checkpoint {
    /// The text that is signed: origin, size in decimal, root in base64.
    ///
    /// An origin is one line. Control characters in it become U+FFFD, so that a
    /// broken origin can never be signed as lines of another meaning.
    pub fn to_text(&self) -> String {
        let origin = self.origin.replace(|c: char| c < ' ', "\u{fffd}");
        format!("{origin}\n{}\n{}\n", self.size, self.root.to_base64())
    }

    /// Reads the text of a checkpoint in its one spelling.
    ///
    /// # Errors
    /// Anything but exactly three lines of origin, size and root.
    pub fn parse(text: &str) -> Result<Checkpoint, CheckpointError> {
        let lines: Vec<&str> = text.splitn(5, '\n').collect();
        let [origin, size, root, ""] = lines[..] else {
            return Err(CheckpointError::Malformed(
                "it does not have exactly three lines",
            ));
        };
        if origin.is_empty() || origin.contains(|c: char| c < ' ') {
            return Err(CheckpointError::Malformed(
                "its origin is empty or not plain text",
            ));
        }
        let size = parse_decimal(size).ok_or(CheckpointError::Malformed(
            "its size is not a plain decimal number",
        ))?;
        let root = Hash::from_base64(root)
            .map_err(|_| CheckpointError::Malformed("its root is not 32 bytes in base64"))?;
        Ok(Checkpoint {
            origin: origin.to_owned(),
            size,
            root,
        })
    }

    /// The signed note. Signing the same checkpoint again gives the same note.
    pub fn sign(&self, signer: &NoteSigner) -> String {
        signer.sign_checked(&self.to_text())
    }

    /// Checks a note and reads the checkpoint in it. Which log it may come from
    /// is the caller's question: compare the origin.
    ///
    /// # Errors
    /// The note does not open under these keys, or its text is not a checkpoint.
    pub fn open(note: &str, keys: &[VerifierKey]) -> Result<Checkpoint, CheckpointError> {
        Checkpoint::parse(&note::open(note, keys)?.text)
    }
}

/// A number without sign or leading zeros.
pub(super) fn parse_decimal(text: &str) -> Option<u64> {
    let plain = text == "0" || text.starts_with(|c: char| matches!(c, '1'..='9'));
    if plain { text.parse().ok() } else { None }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::trail::merkle::{empty_root, leaf_hash};

    fn checkpoint() -> Checkpoint {
        Checkpoint {
            origin: "programme.example/log".into(),
            size: 20_852_163,
            root: leaf_hash(b"x"),
        }
    }

    /// The example of C2SP tlog-checkpoint (SEEN; its signature's key is not
    /// published there).
    #[test]
    fn the_published_text_is_read_and_written_back() {
        let text = "example.com/behind-the-sofa\n20852163\n\
                    CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n";
        let checkpoint = Checkpoint::parse(text).unwrap();
        assert_eq!(checkpoint.origin, "example.com/behind-the-sofa");
        assert_eq!(checkpoint.size, 20_852_163);
        assert_eq!(checkpoint.to_text(), text);
    }

    #[test]
    fn a_signed_checkpoint_opens_again_and_a_changed_one_does_not() {
        let signer = NoteSigner::from_seed("programme.example/log", &[3; 32]).unwrap();
        let keys = [signer.verifier_key()];
        let note = checkpoint().sign(&signer);
        assert_eq!(note, checkpoint().sign(&signer));
        assert_eq!(Checkpoint::open(&note, &keys), Ok(checkpoint()));
        let larger = note.replace("20852163", "20852164");
        let refused = Checkpoint::open(&larger, &keys);
        assert!(matches!(
            refused,
            Err(CheckpointError::Note(NoteError::WrongSignature(_)))
        ));
        let not_one = signer.sign("a text\n").unwrap();
        let refused = Checkpoint::open(&not_one, &keys);
        assert!(matches!(refused, Err(CheckpointError::Malformed(_))));
    }

    #[test]
    fn texts_in_another_spelling_are_refused() {
        let root = empty_root().to_base64();
        let cases = [
            ("nothing", String::new()),
            ("no origin", format!("\n0\n{root}\n")),
            ("leading zero", format!("o\n00\n{root}\n")),
            ("plus sign", format!("o\n+1\n{root}\n")),
            ("negative", format!("o\n-1\n{root}\n")),
            ("space", format!("o\n 1\n{root}\n")),
            ("other digits", format!("o\n1\u{0661}\n{root}\n")),
            ("no size", format!("o\n\n{root}\n")),
            (
                "beyond 64 bits",
                format!("o\n18446744073709551616\n{root}\n"),
            ),
            ("root in hex", format!("o\n1\n{}\n", empty_root())),
            ("no last newline", format!("o\n1\n{root}")),
            ("extension line", format!("o\n1\n{root}\nmore\n")),
            ("blank line", format!("o\n1\n{root}\n\n")),
            ("carriage return", format!("o\r\n1\r\n{root}\r\n")),
        ];
        for (what, text) in cases {
            assert!(Checkpoint::parse(&text).is_err(), "{what}");
        }
        assert_eq!(
            Checkpoint::parse(&format!("o\n{}\n{root}\n", u64::MAX))
                .unwrap()
                .size,
            u64::MAX
        );
    }

    #[test]
    fn a_broken_origin_is_never_signed_as_other_lines() {
        let signer = NoteSigner::from_seed("log", &[3; 32]).unwrap();
        let root = empty_root().to_base64();
        let forged = Checkpoint {
            origin: format!("o\n99\n{root}"),
            ..checkpoint()
        };
        let opened = Checkpoint::open(&forged.sign(&signer), &[signer.verifier_key()]).unwrap();
        assert_eq!(opened.size, checkpoint().size);
        assert_ne!(opened.origin, forged.origin);
        let nameless = Checkpoint {
            origin: String::new(),
            ..checkpoint()
        };
        assert!(Checkpoint::open(&nameless.sign(&signer), &[signer.verifier_key()]).is_err());
    }

    proptest! {
        #[test]
        fn whatever_parses_is_written_back_the_same(text in "(a|\n|0|1|[a-z]{1,3}){0,6}\n[0-9]{1,21}\n.{0,60}\n") {
            if let Ok(checkpoint) = Checkpoint::parse(&text) {
                prop_assert_eq!(checkpoint.to_text(), text);
            }
        }

        #[test]
        fn every_checkpoint_comes_back(origin in "[!-~]{1,20}", size: u64, root: [u8; 32]) {
            let checkpoint = Checkpoint { origin, size, root: Hash(root) };
            prop_assert_eq!(Checkpoint::parse(&checkpoint.to_text()), Ok(checkpoint));
        }
    }
}
