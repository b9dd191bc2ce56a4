//! The smallest sound bag: an invented programme with one site and one household.

use crate::accounting::records::{BatchRecord, ProgrammeRecord, SiteRecord, kind};
use crate::in_folder;
use crate::intake::{BatchKind, row_from_texts};
use crate::trail::bag::BagWriter;
use crate::trail::canonical::{canonical_json, canonical_of};
use crate::trail::checkpoint::Checkpoint;
use crate::trail::event::Event;
use crate::trail::merkle::{Hash, leaf_hash, root_of, sha256};
use crate::trail::note::NoteSigner;
use crate::verify::layout;
use crate::verify::tables::{Table, Tables};
use std::io::Write;
use std::path::Path;
use std::sync::LazyLock;
use uuid::Uuid;

/// The files that are replaced in turn.
pub const FILES: [&str; 14] = [
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
    "data/batches.csv",
    "data/trail/cosigned.jsonl",
    "bag-info.txt",
    "manifest-sha256.txt",
];

const CODE: &str = "seed-isles";
const NAME: &str = "Seed Isles (invented)";

pub fn signer() -> NoteSigner {
    NoteSigner::from_seed(&format!("fuzz.example/{CODE}"), &[5; 32]).expect("a key")
}

/// Paths below `data/` and contents.
type Payload = Vec<(String, Vec<u8>)>;

static PAYLOAD: LazyLock<Payload> = LazyLock::new(|| payload(&records()));

/// The kind and the content of a trail's entry.
pub type Told = (String, Vec<u8>);

/// Calls `work` with the sound bag.
pub fn with_bag(work: impl FnOnce(&Path)) {
    in_folder(|folder| {
        let bag = folder.join("bag");
        write(&bag);
        work(&bag);
    });
}

/// Calls `work` with the bag of which `file` holds `content`; true where that changes nothing.
pub fn with_file(file: &str, content: &[u8], work: impl FnOnce(&Path, bool)) {
    with_bag(|bag| {
        let path = bag.join(file);
        let unchanged = std::fs::read(&path).is_ok_and(|sound| sound == content);
        std::fs::write(&path, content).expect("written");
        work(bag, unchanged);
    });
}

/// Calls `work` with a bag whose trail, sound in itself, says this after its first entry.
pub fn with_trail(told: impl IntoIterator<Item = Told>, work: impl FnOnce(&Path)) {
    let created = records().into_iter().take(1);
    let payload = payload(&created.chain(told).collect::<Vec<_>>());
    in_folder(|folder| {
        let bag = folder.join("bag");
        write_files(&bag, &payload);
        work(&bag);
    });
}

fn write(folder: &Path) {
    write_files(folder, &PAYLOAD);
}

fn write_files(folder: &Path, payload: &Payload) {
    let mut bag = BagWriter::create(folder).expect("a bag");
    for (path, bytes) in payload {
        let mut file = bag.payload(path).expect("a file");
        file.write_all(bytes).expect("written");
        file.finish().expect("finished");
    }
    bag.finish(&[("External-Identifier".to_owned(), CODE.to_owned())])
        .expect("a bag");
}

const PROGRAMME: Uuid = Uuid::from_u128(7);
const BATCH: Uuid = Uuid::from_u128(8);
const CELLS: [&str; 6] = ["H-1", "NORTH", "2", "1", "1", "0"];

/// The hash of the one row.
fn row_hash() -> Hash {
    let template = BatchKind::Households.template();
    let row = row_from_texts(template, 2, CELLS.into_iter()).expect("a row");
    leaf_hash(&canonical_json(&row.to_json(template)).expect("canonical"))
}

fn records() -> Vec<Told> {
    let created = ProgrammeRecord {
        id: PROGRAMME,
        code: CODE.into(),
        name: NAME.into(),
        checkpoint_key: signer().verifier_key().to_string(),
    };
    let site = SiteRecord {
        code: "NORTH".into(),
        name: "North".into(),
    };
    let accepted = BatchRecord {
        id: BATCH,
        kind: BatchKind::Households.code().into(),
        round: None,
        file_name: None,
        file_sha256: sha256(b"").to_string(),
        file_kept: false,
        rows: 1,
        root: row_hash().to_string(),
    };
    [
        (kind::PROGRAMME_CREATED, canonical_of(&created)),
        (kind::SITE_ADDED, canonical_of(&site)),
        (kind::BATCH_ACCEPTED, canonical_of(&accepted)),
    ]
    .map(|(kind, content)| (kind.to_owned(), content.expect("canonical")))
    .to_vec()
}

/// The entry that commits to a content. Its subject is the content's `id`, where it has one.
pub fn event(sequence: u64, (kind, content): &Told) -> Event {
    let read = serde_json::from_slice::<serde_json::Value>(content).unwrap_or_default();
    Event {
        programme: PROGRAMME.to_string(),
        sequence,
        kind: kind.clone(),
        subject: read["id"].as_str().unwrap_or("seed").to_owned(),
        content: sha256(content),
        actor: "manager: office".into(),
        time: "2026-01-02T03:04:05.678Z".into(),
        reason: kind::CORRECTIONS
            .contains(&kind.as_str())
            .then(|| "seed".into()),
    }
}

fn payload(records: &[Told]) -> Payload {
    let (mut entries, mut lines, mut leaves) = (Vec::new(), Vec::new(), Vec::new());
    let mut told = Tables::default();
    for (sequence, record) in (0..).zip(records) {
        // What cannot be told in the tables is for the verifier to refuse.
        let _ = told.take(sequence, &record.0, &record.1);
        let leaf = event(sequence, record).leaf_bytes().expect("canonical");
        leaves.push(leaf_hash(&leaf));
        entries.extend(leaf.into_iter().chain(*b"\n"));
        lines.extend(record.1.iter().chain(b"\n"));
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
            format!("{}\n", signer().verifier_key()).into_bytes(),
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
            table += &format!("{BATCH},2,{},{}\n", row_hash(), CELLS.join(","));
        }
        files.push((layout::row_file(kind), table.into_bytes()));
    }
    for table in Table::ALL {
        let mut bytes = Vec::new();
        told.write(table, &mut bytes).expect("written");
        files.push((table.file().into(), bytes));
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
