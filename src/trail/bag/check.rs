//! Checks a bag: complete (all that is listed is there, all that is there is
//! listed) and valid (every checksum fits), and tells all faults at once.

use std::io::{self, Read};

use sha2::{Digest, Sha256};

use super::manifest::{Manifest, Scope};
use super::reader::{Bag, unreadable};
use super::{
    BagError, BagReport, DECLARATION, DECLARATION_FILE, Fault, INFO_FILE, MANIFEST_FILE,
    OXUM_LABEL, PAYLOAD_FOLDER, TAG_MANIFEST_FILE,
};
use crate::trail::merkle::Hash;

impl Bag {
    /// Reads every file of the bag and compares it with the manifests.
    ///
    /// # Errors
    /// A file cannot be read. What is wrong with the bag is no error but a
    /// fault in the report.
    pub fn check(&self) -> Result<BagReport, BagError> {
        let mut faults = self.faults.clone();
        self.check_declaration(&mut faults)?;
        self.check_foreign(&mut faults);
        let payload_bytes = self.check_payload(&mut faults)?;
        let payload_files = self.payload_paths().count() as u64;
        self.check_oxum(payload_bytes, payload_files, &mut faults);
        self.check_tags(&mut faults)?;
        Ok(BagReport {
            faults,
            payload_files,
            payload_bytes,
        })
    }

    fn payload_paths(&self) -> impl Iterator<Item = &str> {
        self.files
            .keys()
            .map(String::as_str)
            .filter(|path| path.starts_with(PAYLOAD_FOLDER))
    }

    fn tag_paths(&self) -> impl Iterator<Item = &str> {
        self.files
            .keys()
            .map(String::as_str)
            .filter(|path| !path.starts_with(PAYLOAD_FOLDER))
    }

    fn check_declaration(&self, faults: &mut Vec<Fault>) -> Result<(), BagError> {
        match self.tag_file(DECLARATION_FILE)? {
            None => faults.push(missing(DECLARATION_FILE)),
            Some(bytes) if bytes != DECLARATION => {
                let problem = "it does not declare BagIt 1.0 and UTF-8 in the exact form";
                faults.push(Fault::new(DECLARATION_FILE, None, problem));
            }
            Some(_) => {}
        }
        Ok(())
    }

    /// Lists that would have to be honoured but are not known here.
    fn check_foreign(&self, faults: &mut Vec<Fault>) {
        for path in self.tag_paths() {
            let manifest = path.starts_with("manifest-") || path.starts_with("tagmanifest-");
            if path == "fetch.txt" {
                let problem = "the bag must carry its payload, not tell where to fetch it";
                faults.push(Fault::new(path, None, problem));
            } else if manifest && path != MANIFEST_FILE && path != TAG_MANIFEST_FILE {
                let problem = "only SHA-256 is read, so this list stays unchecked";
                faults.push(Fault::new(path, None, problem));
            }
        }
    }

    /// Returns how many bytes the payload has.
    fn check_payload(&self, faults: &mut Vec<Fault>) -> Result<u64, BagError> {
        if !self.files.contains_key(MANIFEST_FILE) {
            faults.push(missing(MANIFEST_FILE));
        }
        if !self.root.join(PAYLOAD_FOLDER).is_dir() {
            faults.push(missing(PAYLOAD_FOLDER));
        }
        faults.extend_from_slice(&self.manifest.faults);
        let mut bytes = self.check_entries(&self.manifest, MANIFEST_FILE, faults)?;
        let listed = self.manifest.paths();
        for path in self.payload_paths().filter(|path| !listed.contains(path)) {
            bytes += self.files.get(path).copied().unwrap_or_default();
            faults.push(Fault::new(
                path,
                None,
                format!("{MANIFEST_FILE} does not list it"),
            ));
        }
        Ok(bytes)
    }

    /// Compares the files that a manifest lists. Returns how many bytes they have.
    fn check_entries(
        &self,
        manifest: &Manifest,
        name: &str,
        faults: &mut Vec<Fault>,
    ) -> Result<u64, BagError> {
        let mut sum = 0;
        for entry in &manifest.entries {
            if !self.files.contains_key(&entry.path) {
                let problem = format!("{name} lists it but the bag does not hold it");
                faults.push(Fault::new(&entry.path, Some(entry.line), problem));
                continue;
            }
            let (hash, bytes) = self.hash_file(&entry.path)?;
            sum += bytes;
            if hash != entry.hash {
                let problem = format!("its SHA-256 is not the one in {name}");
                faults.push(Fault::new(&entry.path, Some(entry.line), problem));
            }
        }
        Ok(sum)
    }

    fn hash_file(&self, path: &str) -> Result<(Hash, u64), BagError> {
        let mut file = self.file(path)?;
        let mut hasher = Sha256::new();
        let mut buffer = vec![0; 1 << 16];
        let mut bytes = 0;
        loop {
            match file.read(&mut buffer) {
                Ok(0) => return Ok((Hash(hasher.finalize().into()), bytes)),
                Ok(read) => {
                    hasher.update(&buffer[..read]);
                    bytes += read as u64;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(unreadable(&self.root.join(path))(error)),
            }
        }
    }

    fn check_oxum(&self, bytes: u64, files: u64, faults: &mut Vec<Fault>) {
        if !self.files.contains_key(INFO_FILE) {
            faults.push(missing(INFO_FILE));
            return;
        }
        let mut values = self
            .info
            .iter()
            .filter(|(label, _)| label.eq_ignore_ascii_case(OXUM_LABEL));
        let problem = match (values.next(), values.next()) {
            (None, _) => format!("it has no {OXUM_LABEL}"),
            (Some(_), Some(_)) => format!("it has more than one {OXUM_LABEL}"),
            (Some((_, value)), None) => {
                let counted = format!("{bytes}.{files}");
                if *value == counted {
                    return;
                }
                format!("its {OXUM_LABEL} is {value:?}, but the payload counts {counted}")
            }
        };
        faults.push(Fault::new(INFO_FILE, None, problem));
    }

    fn check_tags(&self, faults: &mut Vec<Fault>) -> Result<(), BagError> {
        let Some(bytes) = self.tag_file(TAG_MANIFEST_FILE)? else {
            faults.push(missing(TAG_MANIFEST_FILE));
            return Ok(());
        };
        let manifest = Manifest::read(TAG_MANIFEST_FILE, &bytes, Scope::Tags);
        faults.extend_from_slice(&manifest.faults);
        self.check_entries(&manifest, TAG_MANIFEST_FILE, faults)?;
        let listed = manifest.paths();
        for path in self
            .tag_paths()
            .filter(|path| !path.starts_with("tagmanifest-"))
        {
            if !listed.contains(path) {
                let problem = format!("{TAG_MANIFEST_FILE} does not list it");
                faults.push(Fault::new(path, None, problem));
            }
        }
        Ok(())
    }
}

fn missing(file: &str) -> Fault {
    Fault::new(file, None, "the bag does not hold it")
}
