//! Proof files (C2SP tlog-proof, `.tlog-proof`): all that proves one leaf, to be
//! checked without a network: its index, its path and the signed checkpoint.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use thiserror::Error;

use super::checkpoint::parse_decimal;
use super::merkle::{Hash, LONGEST_PROOF};
use super::note::LARGEST_NOTE_BYTES;

const HEADER: &str = "c2sp.org/tlog-proof@v1";

/// A larger file is refused unread: a note of the largest size, and as much
/// again for the path and the extra data.
pub const LARGEST_PROOF_FILE_BYTES: usize = 2 * LARGEST_NOTE_BYTES;

/// The parts of a proof file. Nothing in it is checked yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProofFile {
    /// Data that came along. No signature covers it.
    pub extra: Option<Vec<u8>>,
    /// Which leaf of the tree is proved.
    pub index: u64,
    /// The inclusion path, the leaf's sibling first.
    pub path: Vec<Hash>,
    /// The signed checkpoint, as it was found.
    pub checkpoint: String,
}

/// Why a text is not a proof file.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ProofFileError {
    #[error("this is not a proof file: its first line is not {HEADER}")]
    Header,
    #[error("the proof file has {0} bytes, more than a proof can need")]
    TooLarge(usize),
    #[error("line {line} of the proof file should be {expected}")]
    Line { line: usize, expected: &'static str },
    #[error("the path of the proof file is longer than any tree is deep")]
    PathTooLong,
}

/// The text of a proof file for one leaf; `extra` is data of the reader's own.
pub fn write(index: u64, extra: Option<&[u8]>, path: &[Hash], checkpoint_note: &str) -> String {
    let mut text = format!("{HEADER}\n");
    if let Some(extra) = extra {
        text += &format!("extra {}\n", STANDARD.encode(extra));
    }
    text += &format!("index {index}\n");
    for hash in path {
        text += &hash.to_base64();
        text.push('\n');
    }
    text.push('\n');
    text + checkpoint_note
}

/// Whether bytes begin as a proof file does.
pub fn is_proof_file(bytes: &[u8]) -> bool {
    bytes.starts_with(HEADER.as_bytes())
}

/// Takes a proof file apart. Its checkpoint is still a note to be opened, and
/// its path still to be verified against the root in it.
///
/// # Errors
/// The text is not in the form of a proof file.
pub fn parse(text: &str) -> Result<ProofFile, ProofFileError> {
    if text.len() > LARGEST_PROOF_FILE_BYTES {
        return Err(ProofFileError::TooLarge(text.len()));
    }
    let mut lines = Lines {
        rest: text,
        number: 0,
    };
    if lines.next() != Some(HEADER) {
        return Err(ProofFileError::Header);
    }
    let mut line = lines.next();
    let mut extra = None;
    if let Some(base64) = line.and_then(|line| line.strip_prefix("extra ")) {
        let data = STANDARD.decode(base64);
        extra = Some(data.map_err(|_| lines.fault("extra data in base64"))?);
        line = lines.next();
    }
    let index = line
        .and_then(|line| line.strip_prefix("index "))
        .and_then(parse_decimal)
        .ok_or_else(|| lines.fault("\"index\" and a decimal number"))?;
    let mut path = Vec::new();
    loop {
        match lines.next() {
            Some("") => break,
            _ if path.len() == LONGEST_PROOF => return Err(ProofFileError::PathTooLong),
            line => path.push(
                line.and_then(|line| Hash::from_base64(line).ok())
                    .ok_or_else(|| {
                        lines.fault("a hash in base64, or blank before the checkpoint")
                    })?,
            ),
        }
    }
    if lines.rest.is_empty() {
        lines.number += 1;
        return Err(lines.fault("the first line of the checkpoint"));
    }
    Ok(ProofFile {
        extra,
        index,
        path,
        checkpoint: lines.rest.to_owned(),
    })
}

/// Lines that end with a newline, counted from 1.
struct Lines<'a> {
    rest: &'a str,
    number: usize,
}

impl<'a> Lines<'a> {
    fn next(&mut self) -> Option<&'a str> {
        self.number += 1;
        let (line, rest) = self.rest.split_once('\n')?;
        self.rest = rest;
        Some(line)
    }

    fn fault(&self, expected: &'static str) -> ProofFileError {
        ProofFileError::Line {
            line: self.number,
            expected,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::trail::checkpoint::Checkpoint;
    use crate::trail::merkle::{Leaves, leaf_hash, prove_inclusion, root_of, verify_inclusion};
    use crate::trail::note::NoteSigner;

    #[test]
    fn a_written_proof_is_read_back_and_holds() {
        let leaves: Vec<Hash> = (0..100_u8).map(|index| leaf_hash(&[index])).collect();
        let signer = NoteSigner::from_seed("programme.example", &[5; 32]).unwrap();
        let root = root_of(&leaves);
        let head = Checkpoint {
            origin: "programme.example".into(),
            size: 100,
            root,
        };
        let path = prove_inclusion(42, 100, &Leaves(&leaves)).unwrap();
        let text = write(42, None, &path, &head.sign(&signer));

        let proof = parse(&text).unwrap();
        assert_eq!((proof.index, &proof.path, &proof.extra), (42, &path, &None));
        let opened = Checkpoint::open(&proof.checkpoint, &[signer.verifier_key()]).unwrap();
        assert_eq!(opened, head);
        verify_inclusion(
            &leaf_hash(&[42]),
            proof.index,
            opened.size,
            &proof.path,
            &opened.root,
        )
        .unwrap();
        assert_eq!(
            write(
                proof.index,
                proof.extra.as_deref(),
                &proof.path,
                &proof.checkpoint
            ),
            text
        );
    }

    /// The example of C2SP tlog-proof (SEEN), with its shortened signature lines
    /// and its shortened extra data completed.
    #[test]
    fn the_published_example_is_read() {
        let text = "c2sp.org/tlog-proof@v1\n\
            extra YWdlLXYxLjIuMS1kYXJ3aW4tYXJtNjQudGFyLmd6\n\
            index 73894\n\
            gSKyXoYZUgZ6jduWYrkDOARinOMGJveXjgMkBTcdPlQ=\n\
            B95lDa8R83lS8n0eG+o0buTxRKQTYFi//1U8anccXmA=\n\
            EKNzoDWG8LGC0Yp9o+sv3qllpMP9uHQ9B20KNL+Q1zs=\n\
            RoopEkOdqkYqMB4MJXrbt/hMjOxsVn0IrWjpz1ZMMes=\n\
            AHCioX9nLjsrse6YhjRRmk1WUEirVOLLRoOQ6vfO5vk=\n\
            \n\
            example.com/fancylog\n\
            109482\n\
            sFodV/vSp5O8n9a8QpW6PRY97tfOSW5bsc2Xl/EQi08=\n\
            \n\
            — example.com/fancylog hI2DJw==\n";
        let proof = parse(text).unwrap();
        assert_eq!(
            proof.extra.as_deref(),
            Some(&b"age-v1.2.1-darwin-arm64.tar.gz"[..])
        );
        assert_eq!((proof.index, proof.path.len()), (73_894, 5));
        assert!(
            proof
                .checkpoint
                .starts_with("example.com/fancylog\n109482\n")
        );
        assert!(proof.checkpoint.ends_with("hI2DJw==\n"));
    }

    #[test]
    fn broken_proof_files_are_refused_with_their_line() {
        let hash = leaf_hash(b"x").to_base64();
        let long = format!("{hash}\n").repeat(LONGEST_PROOF + 1);
        let line = |line| Some(line);
        let cases: [(&str, String, Option<usize>); 11] = [
            ("nothing", String::new(), None),
            (
                "another header",
                "c2sp.org/tlog-proof@v2\nindex 0\n\nnote\n".into(),
                None,
            ),
            ("no index", format!("{HEADER}\n{hash}\n\nnote\n"), line(2)),
            (
                "leading zero",
                format!("{HEADER}\nindex 01\n\nnote\n"),
                line(2),
            ),
            (
                "too large",
                format!("{HEADER}\nindex 18446744073709551616\n\nnote\n"),
                line(2),
            ),
            (
                "broken extra",
                format!("{HEADER}\nextra !\nindex 0\n\nnote\n"),
                line(2),
            ),
            (
                "extra twice",
                format!("{HEADER}\nextra AA==\nextra AA==\nindex 0\n\nn\n"),
                line(3),
            ),
            (
                "short hash",
                format!("{HEADER}\nindex 0\n{hash}\nAAAA\n\nnote\n"),
                line(4),
            ),
            (
                "carriage return",
                format!("{HEADER}\nindex 0\n{hash}\r\n\nnote\n"),
                line(3),
            ),
            ("no checkpoint", format!("{HEADER}\nindex 0\n\n"), line(4)),
            (
                "endless path",
                format!("{HEADER}\nindex 0\n{long}\nnote\n"),
                None,
            ),
        ];
        for (what, text, line) in cases {
            match (parse(&text), line) {
                (Err(ProofFileError::Line { line: found, .. }), Some(line)) => {
                    assert_eq!(found, line, "{what}");
                }
                (Err(ProofFileError::Header | ProofFileError::PathTooLong), None) => {}
                (answer, _) => panic!("{what}: {answer:?}"),
            }
        }
        let huge = format!("{HEADER}\n") + &"x".repeat(LARGEST_PROOF_FILE_BYTES);
        assert_eq!(parse(&huge), Err(ProofFileError::TooLarge(huge.len())));
    }

    proptest! {
        #[test]
        fn every_proof_comes_back(
            index: u64, path in prop::collection::vec(any::<[u8; 32]>(), 0..=LONGEST_PROOF),
            note in "[a-z\n]{1,40}",
        ) {
            let path: Vec<Hash> = path.into_iter().map(Hash).collect();
            let proof = parse(&write(index, None, &path, &note)).unwrap();
            prop_assert_eq!(proof, ProofFile { extra: None, index, path, checkpoint: note });
        }

        #[test]
        fn any_text_is_answered_without_panic(text in any::<String>()) {
            prop_assert!(parse(&text).is_err());
            let _ = parse(&format!("{HEADER}\nindex 1\n{text}"));
        }
    }
}
