//! An unpacked bag that can be spoilt, by a careless hand, by a careful one who makes the
//! manifests fit again, and by one who also holds the key of the log.

use super::app::{LOG_KEY_SEED, ORIGIN};
use emberbook::trail::checkpoint::Checkpoint;
use emberbook::trail::event::Event;
use emberbook::trail::merkle::{leaf_hash, root_of, sha256};
use emberbook::trail::note::NoteSigner;
use emberbook::verify::{Fault, Options, Report, verify};
use std::collections::BTreeMap;
use std::path::PathBuf;
use tempfile::TempDir;

pub struct SpoiltBag {
    _home: TempDir,
    pub root: PathBuf,
}

impl SpoiltBag {
    /// Unpacks an export.
    pub fn of(archive: &[u8]) -> Self {
        let home = tempfile::tempdir().expect("a folder");
        let mut tar = tar::Archive::new(flate2::read::GzDecoder::new(archive));
        tar.unpack(home.path()).expect("an archive");
        let mut tops = std::fs::read_dir(home.path()).expect("a folder");
        let root = tops.next().expect("a top folder").expect("read").path();
        assert!(tops.next().is_none(), "one top folder");
        SpoiltBag { _home: home, root }
    }

    /// Every file, by its path in the bag.
    pub fn files(&self) -> Vec<String> {
        let mut waiting = vec![self.root.clone()];
        let mut found = Vec::new();
        while let Some(folder) = waiting.pop() {
            for entry in std::fs::read_dir(folder).expect("a folder") {
                let path = entry.expect("read").path();
                if path.is_dir() {
                    waiting.push(path);
                } else {
                    let path = path.strip_prefix(&self.root).expect("inside");
                    found.push(path.to_str().expect("plain").to_owned());
                }
            }
        }
        found.sort();
        found
    }

    pub fn read(&self, file: &str) -> Vec<u8> {
        std::fs::read(self.root.join(file)).expect(file)
    }

    pub fn write(&self, file: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.root.join(file), bytes).expect(file);
    }

    /// Changes a text file; the change must be one.
    pub fn edit(&self, file: &str, change: impl FnOnce(&str) -> String) {
        let text = String::from_utf8(self.read(file)).expect("text");
        let changed = change(&text);
        assert_ne!(changed, text, "nothing was changed in {file}");
        self.write(file, changed);
    }

    /// Changes the lines of a text file that ends in a line end.
    pub fn edit_lines(&self, file: &str, change: impl FnOnce(&mut Vec<String>)) {
        self.edit(file, |text| {
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            change(&mut lines);
            lines.join("\n") + "\n"
        });
    }

    /// Makes the manifests and the count of bytes fit what the bag now holds.
    pub fn seal(&self) {
        let mut payload = BTreeMap::new();
        let mut bytes = 0;
        for file in self.files() {
            if file.starts_with("data/") {
                let content = self.read(&file);
                bytes += content.len();
                payload.insert(file, sha256(&content));
            }
        }
        let list = |files: &BTreeMap<String, _>| -> String {
            let line = |(path, hash): (&String, &_)| format!("{hash}  {path}\n");
            files.iter().map(line).collect()
        };
        self.write("manifest-sha256.txt", list(&payload));
        let info = String::from_utf8(self.read("bag-info.txt")).expect("text");
        let counted = format!("Payload-Oxum: {bytes}.{}", payload.len());
        let fit = |line: &str| match line.starts_with("Payload-Oxum:") {
            true => counted.clone() + "\n",
            false => line.to_owned() + "\n",
        };
        self.write("bag-info.txt", info.lines().map(fit).collect::<String>());
        let tags = ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]
            .map(|file| (file.to_owned(), sha256(&self.read(file))));
        self.write("tagmanifest-sha256.txt", list(&BTreeMap::from(tags)));
    }

    /// Writes the whole log anew over the contents that `change` has been at, signs it
    /// with the log's own key, and seals the bag: what only the holder of the key can do.
    pub fn forge_log(&self, code: &str, change: impl Fn(&Event, &mut String)) {
        let lines = |file: &str| -> Vec<String> {
            let text = String::from_utf8(self.read(file)).expect("text");
            text.lines().map(str::to_owned).collect()
        };
        let mut leaves = Vec::new();
        let (mut entries, mut contents) = (String::new(), String::new());
        for (entry, mut content) in lines("data/trail/entries.jsonl")
            .into_iter()
            .zip(lines("data/trail/contents.jsonl"))
        {
            let mut event = Event::parse(entry.as_bytes()).expect("an event");
            change(&event, &mut content);
            event.content = sha256(content.as_bytes());
            let leaf = event.leaf_bytes().expect("canonical");
            leaves.push(leaf_hash(&leaf));
            entries += &String::from_utf8(leaf).expect("text");
            entries.push('\n');
            contents += &content;
            contents.push('\n');
        }
        self.write("data/trail/entries.jsonl", entries);
        self.write("data/trail/contents.jsonl", contents);
        self.write("data/trail/checkpoint.txt", signed_head(code, &leaves));
        self.seal();
    }

    pub fn verify(&self) -> Report {
        verify(&self.root, &Options::default())
    }

    /// Faults of the spoilt bag, which must have some.
    #[track_caller]
    pub fn faults(&self) -> Vec<Fault> {
        let report = self.verify();
        assert!(!report.is_sound(), "{report}");
        let faults: Vec<Fault> = report.faults().cloned().collect();
        assert!(!faults.is_empty(), "{report}");
        faults
    }
}

/// A checkpoint over these leaves, signed with the key of the tests' logs.
pub fn signed_head(code: &str, leaves: &[emberbook::trail::merkle::Hash]) -> String {
    let signer = NoteSigner::from_seed(&format!("{ORIGIN}/{code}"), &LOG_KEY_SEED).expect("a key");
    let head = Checkpoint {
        origin: signer.name().to_owned(),
        size: leaves.len() as u64,
        root: root_of(leaves),
    };
    head.sign(&signer)
}
