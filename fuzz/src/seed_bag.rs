//! The smallest sound bag: an invented programme with one site and one household.

use crate::accounting::records::{BatchRecord, ProgrammeRecord, SiteRecord, kind};
use crate::in_folder;
use crate::intake::{BatchKind, row_from_texts};
use crate::trail::bag::BagWriter;
use crate::trail::canonical::{canonical_json, canonical_of};
use crate::trail::checkpoint::Checkpoint;
use crate::trail::event::Event;
use crate::trail::merkle::{leaf_hash, root_of, sha256};
use crate::trail::note::NoteSigner;
use crate::verify::layout;
use std::io::Write;
use std::path::Path;
use std::sync::LazyLock;
use uuid::Uuid;

/// The files that are replaced in turn.
pub const FILES: [&str; 12] = [
    "data/trail/entries.jsonl",
    "data/trail/contents.jsonl",
    "data/trail/checkpoint.txt",
    "data/trail/checkpoint-key.txt",
    "data/register/households.csv",
    "data/evidence/stove-test.csv",
    "data/rounds/frames.csv",
    "data/factors.json",
    "data/findings.json",
    "data/datapackage.json",
    "bag-info.txt",
    "manifest-sha256.txt",
];

const CODE: &str = "seed-isles";
const NAME: &str = "Seed Isles (invented)";

pub fn signer() -> NoteSigner {
    NoteSigner::from_seed(&format!("fuzz.example/{CODE}"), &[5; 32]).expect("a key")
}

/// Paths below `data/` and contents.
static PAYLOAD: LazyLock<Vec<(String, Vec<u8>)>> = LazyLock::new(payload);

/// Calls `work` with the bag of which `file` holds `content`; true where that changes nothing.
pub fn with_file(file: &str, content: &[u8], work: impl FnOnce(&Path, bool)) {
    in_folder(|folder| {
        let bag = folder.join("bag");
        write(&bag);
        let path = bag.join(file);
        let unchanged = std::fs::read(&path).is_ok_and(|sound| sound == content);
        std::fs::write(&path, content).expect("written");
        work(&bag, unchanged);
    });
}

fn write(folder: &Path) {
    let mut bag = BagWriter::create(folder).expect("a bag");
    for (path, bytes) in PAYLOAD.iter() {
        let mut file = bag.payload(path).expect("a file");
        file.write_all(bytes).expect("written");
        file.finish().expect("finished");
    }
    bag.finish(&[("External-Identifier".to_owned(), CODE.to_owned())])
        .expect("a bag");
}

fn payload() -> Vec<(String, Vec<u8>)> {
    let programme = Uuid::from_u128(7);
    let batch = Uuid::from_u128(8);
    let template = BatchKind::Households.template();
    let cells = ["H-1", "NORTH", "2", "1", "1", "0"];
    let row = row_from_texts(template, 2, cells.into_iter()).expect("a row");
    let hash = leaf_hash(&canonical_json(&row.to_json(template)).expect("canonical"));
    let created = ProgrammeRecord {
        id: programme,
        code: CODE.into(),
        name: NAME.into(),
        checkpoint_key: signer().verifier_key().to_string(),
    };
    let site = SiteRecord {
        code: "NORTH".into(),
        name: "North".into(),
    };
    let accepted = BatchRecord {
        id: batch,
        kind: BatchKind::Households.code().into(),
        round: None,
        file_name: None,
        file_sha256: sha256(b"").to_string(),
        rows: 1,
        root: hash.to_string(),
    };
    let contents = [
        (kind::PROGRAMME_CREATED, canonical_of(&created)),
        (kind::SITE_ADDED, canonical_of(&site)),
        (kind::BATCH_ACCEPTED, canonical_of(&accepted)),
    ];
    let (mut entries, mut lines, mut leaves) = (Vec::new(), Vec::new(), Vec::new());
    for (sequence, (kind, content)) in (0..).zip(contents) {
        let content = content.expect("canonical");
        let event = Event {
            programme: programme.to_string(),
            sequence,
            kind: kind.into(),
            subject: "seed".into(),
            content: sha256(&content),
            actor: "manager: office".into(),
            time: "2026-01-02T03:04:05.678Z".into(),
            reason: None,
        };
        let leaf = event.leaf_bytes().expect("canonical");
        leaves.push(leaf_hash(&leaf));
        entries.extend(leaf.into_iter().chain(*b"\n"));
        lines.extend(content.into_iter().chain(*b"\n"));
    }
    let head = Checkpoint {
        origin: signer().name().to_owned(),
        size: leaves.len() as u64,
        root: root_of(&leaves),
    };
    let mut files = vec![
        (layout::ENTRIES.into(), entries),
        (layout::CONTENTS.into(), lines),
        (layout::CHECKPOINT.into(), head.sign(&signer()).into_bytes()),
        (
            layout::CHECKPOINT_KEY.into(),
            format!("{}\n", created.checkpoint_key).into_bytes(),
        ),
        (layout::FACTORS.into(), b"[\n]\n".to_vec()),
        (layout::METHODOLOGIES.into(), b"[\n]\n".to_vec()),
        (layout::FINDINGS.into(), findings()),
        (
            layout::README.into(),
            layout::readme(CODE, NAME, head.size).into_bytes(),
        ),
        (
            layout::DATAPACKAGE.into(),
            serde_json::to_vec_pretty(&layout::datapackage(CODE)).expect("JSON"),
        ),
    ];
    for kind in BatchKind::ALL {
        let mut table = layout::row_header(kind).join(",") + "\n";
        if kind == BatchKind::Households {
            table += &format!("{batch},2,{hash},{}\n", cells.join(","));
        }
        files.push((layout::row_file(kind), table.into_bytes()));
    }
    for (file, header) in [
        (layout::ROUND_FRAMES, layout::frame_header()),
        (layout::ROUND_SEEDS, layout::seed_header()),
        (layout::ROUND_DRAWS, layout::draw_header()),
    ] {
        files.push((file.into(), (header.join(",") + "\n").into_bytes()));
    }
    files
}

fn findings() -> Vec<u8> {
    let book = crate::accounting::records::findings::FindingBook::default();
    crate::verify::findings::table(&book).expect("a table")
}
