//! Migrations that a database somewhere may have run must stay as they were: the
//! list holds the SHA-256 of each, in the form that `sha256sum` writes.

use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// How to write the list again. Only honest while no release holds the migration.
const REFRESH: &str = "(cd migrations && sha256sum *.sql) > tests/migrations.sha256";

/// What differs between the migration files (name and bytes) and the list.
pub fn changed(files: &[(String, Vec<u8>)], list: &str) -> Vec<String> {
    let mut listed: BTreeMap<&str, &str> = list
        .lines()
        .filter_map(|line| line.split_once("  "))
        .map(|(hash, name)| (name, hash))
        .collect();
    let mut broken = Vec::new();
    for (name, bytes) in files {
        match listed.remove(name.as_str()) {
            None => broken.push(format!(
                "migrations/{name} is not listed; list it: {REFRESH}"
            )),
            Some(hash) if hash != hex::encode(Sha256::digest(bytes)) => broken.push(format!(
                "migrations/{name} was edited: put it back and write a new migration \
                 (before its first release, list it anew: {REFRESH})"
            )),
            Some(_) => {}
        }
    }
    let gone = listed.keys();
    broken.extend(gone.map(|name| format!("migrations/{name} is listed but gone")));
    broken
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SHA-256 of `abc`: FIPS 180-2, appendix B.1 (MEMORY).
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    fn file(name: &str, text: &str) -> (String, Vec<u8>) {
        (name.to_owned(), text.as_bytes().to_vec())
    }

    #[test]
    fn an_untouched_migration_passes() {
        assert!(changed(&[file("1.sql", "abc")], &format!("{ABC}  1.sql\n")).is_empty());
    }

    #[test]
    fn an_edited_unlisted_or_missing_migration_fails() {
        let list = format!("{ABC}  1.sql\n");
        let edited = changed(&[file("1.sql", "abd")], &list);
        assert!(edited[0].contains("was edited"), "{edited:?}");
        let unlisted = changed(&[file("1.sql", "abc"), file("2.sql", "x")], &list);
        assert!(unlisted[0].contains("2.sql is not listed"), "{unlisted:?}");
        let gone = changed(&[], &list);
        assert!(gone[0].contains("listed but gone"), "{gone:?}");
    }
}
