//! Each way to spoil a bag, and the faults that must come of it: all of them and
//! no others.

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

use super::sample;
use crate::trail::bag::{Bag, Fault};
use crate::trail::merkle::sha256;

/// The file at fault, the line that tells so, and words of the problem.
type Expected = (&'static str, Option<u64>, &'static str);

const MANIFEST: &str = "manifest-sha256.txt";
const TAGS: &str = "tagmanifest-sha256.txt";
/// What a changed manifest always brings along.
const MANIFEST_CHANGED: Expected = (MANIFEST, Some(3), "not the one in tagmanifest");
const INFO_CHANGED: Expected = ("bag-info.txt", Some(1), "not the one in tagmanifest");

fn edit(folder: &Path, file: &str, change: impl FnOnce(String) -> String) {
    let path = folder.join(file);
    let text = fs::read_to_string(&path).unwrap();
    let changed = change(text.clone());
    assert_ne!(changed, text, "nothing was changed in {file}");
    fs::write(path, changed).unwrap();
}

fn replace(folder: &Path, file: &str, from: &str, to: &str) {
    edit(folder, file, |text| text.replace(from, to));
}

fn append(folder: &Path, file: &str, line: &str) {
    edit(folder, file, |text| text + line);
}

fn remove(folder: &Path, file: &str) {
    fs::remove_file(folder.join(file)).unwrap();
}

fn line_for(path: &str) -> String {
    format!("{}  {path}\n", sha256(b"x"))
}

/// Makes the tag manifest fit again, as a careful forger would.
fn mend_tags(folder: &Path) {
    let lines = ["bag-info.txt", "bagit.txt", MANIFEST].map(|name| {
        format!(
            "{}  {name}\n",
            sha256(&fs::read(folder.join(name)).unwrap())
        )
    });
    fs::write(folder.join(TAGS), lines.concat()).unwrap();
}

fn check(name: &str, spoil: impl FnOnce(&Path), expected: &[Expected]) {
    let (_home, folder) = sample();
    assert_eq!(Bag::open(&folder).unwrap().check().unwrap().faults, []);
    spoil(&folder);
    let faults = Bag::open(&folder).unwrap().check().unwrap().faults;
    let fits = |fault: &Fault, (file, line, words): &Expected| {
        fault.file == *file && fault.line == *line && fault.problem.contains(words)
    };
    for one in expected {
        assert!(
            faults.iter().any(|fault| fits(fault, one)),
            "{name}: {one:?} not in {faults:?}"
        );
    }
    assert_eq!(faults.len(), expected.len(), "{name}: {faults:?}");
}

#[test]
fn changes_of_the_payload_are_found() {
    check(
        "flipped byte",
        |bag| replace(bag, "data/rows/usage.csv", "30", "31"),
        &[(
            "data/rows/usage.csv",
            Some(2),
            "SHA-256 is not the one in manifest",
        )],
    );
    check(
        "missing file",
        |bag| remove(bag, "data/rows/usage.csv"),
        &[
            ("data/rows/usage.csv", Some(2), "does not hold it"),
            ("bag-info.txt", None, "the payload counts 17.2"),
        ],
    );
    check(
        "extra file",
        |bag| fs::write(bag.join("data/more.csv"), "12345").unwrap(),
        &[
            (
                "data/more.csv",
                None,
                "manifest-sha256.txt does not list it",
            ),
            ("bag-info.txt", None, "the payload counts 47.4"),
        ],
    );
    check(
        "renamed file",
        |bag| {
            fs::rename(
                bag.join("data/statement.json"),
                bag.join("data/Statement.json"),
            )
            .unwrap()
        },
        &[
            ("data/statement.json", Some(3), "does not hold it"),
            ("data/Statement.json", None, "does not list it"),
        ],
    );
    check(
        "link in the place of a file",
        |bag| {
            let copy = bag.parent().unwrap().join("copy.csv");
            fs::rename(bag.join("data/rows/usage.csv"), &copy).unwrap();
            symlink(copy, bag.join("data/rows/usage.csv")).unwrap();
        },
        &[
            ("data/rows/usage.csv", None, "it is a link"),
            ("data/rows/usage.csv", Some(2), "does not hold it"),
            ("bag-info.txt", None, "the payload counts 17.2"),
        ],
    );
    check(
        "link to a folder",
        |bag| symlink("/", bag.join("data/all")).unwrap(),
        &[("data/all", None, "it is a link")],
    );
    check(
        "name with a control character",
        |bag| fs::write(bag.join("data/a\tb"), "").unwrap(),
        &[("data/a\tb", None, "control characters")],
    );
    check(
        "payload folder gone",
        |bag| fs::remove_dir_all(bag.join("data")).unwrap(),
        &[
            ("data/", None, "does not hold it"),
            ("data/100% of rows.txt", Some(1), "does not hold it"),
            ("data/rows/usage.csv", Some(2), "does not hold it"),
            ("data/statement.json", Some(3), "does not hold it"),
            ("bag-info.txt", None, "the payload counts 0.0"),
        ],
    );
}

#[test]
fn bad_lines_of_the_manifest_are_found() {
    let cases = [
        (
            "path that leaves the bag",
            line_for("data/../../secret"),
            MANIFEST,
            "leaves its folder",
        ),
        (
            "path that leaves data",
            line_for("../secret"),
            MANIFEST,
            "leaves its folder",
        ),
        (
            "absolute path",
            line_for("/etc/hostname"),
            MANIFEST,
            "is absolute",
        ),
        ("home folder", line_for("~/x"), MANIFEST, "home folder"),
        ("empty part", line_for("data//x"), MANIFEST, "empty part"),
        ("backslash", line_for("data\\x"), MANIFEST, "backslash"),
        (
            "line end in a path",
            line_for("data/a%0Ab"),
            MANIFEST,
            "control characters",
        ),
        (
            "tag file",
            line_for("bagit.txt"),
            MANIFEST,
            "not under data/",
        ),
        (
            "loose percent sign",
            line_for("data/50%"),
            MANIFEST,
            "percent sign",
        ),
        (
            "no path",
            "00\n".into(),
            MANIFEST,
            "not a checksum, a space and a path",
        ),
        (
            "blank line",
            "\n".into(),
            MANIFEST,
            "not a checksum, a space and a path",
        ),
        (
            "short checksum",
            "00  data/x\n".into(),
            MANIFEST,
            "SHA-256 checksum",
        ),
        (
            "line twice",
            line_for("data/statement.json"),
            "data/statement.json",
            "a second time",
        ),
        (
            "unknown file",
            line_for("data/none"),
            "data/none",
            "does not hold it",
        ),
    ];
    for (name, line, file, words) in cases {
        let expected = [(file, Some(4), words), MANIFEST_CHANGED];
        check(name, |bag| append(bag, MANIFEST, &line), &expected);
    }
    check(
        "checksum changed and the tags mended",
        |bag| {
            replace(
                bag,
                MANIFEST,
                &sha256(b"all").to_string(),
                &sha256(b"x").to_string(),
            );
            mend_tags(bag);
        },
        &[("data/100% of rows.txt", Some(1), "not the one in manifest")],
    );
    check(
        "not UTF-8",
        |bag| fs::write(bag.join(MANIFEST), b"\xff\n").unwrap(),
        &[
            (MANIFEST, None, "not UTF-8"),
            MANIFEST_CHANGED,
            ("data/100% of rows.txt", None, "does not list it"),
            ("data/rows/usage.csv", None, "does not list it"),
            ("data/statement.json", None, "does not list it"),
        ],
    );
    check(
        "manifest gone",
        |bag| remove(bag, MANIFEST),
        &[
            (MANIFEST, None, "does not hold it"),
            (MANIFEST, Some(3), "does not hold it"),
            ("data/100% of rows.txt", None, "does not list it"),
            ("data/rows/usage.csv", None, "does not list it"),
            ("data/statement.json", None, "does not list it"),
        ],
    );
}

/// RFC 8493 lets checksums be written in capitals; our writer never does, and a
/// bag with one spelling only is a bag in which no changed bit goes unseen.
#[test]
fn a_checksum_in_capitals_is_a_change() {
    check(
        "capitals",
        |bag| {
            let hash = sha256(b"all").to_string();
            replace(bag, MANIFEST, &hash, &hash.to_uppercase());
            mend_tags(bag);
        },
        &[
            (MANIFEST, Some(1), "in lower-case hexadecimal"),
            ("data/100% of rows.txt", None, "does not list it"),
        ],
    );
}

#[test]
fn changes_of_the_tag_files_are_found() {
    check(
        "wrong count",
        |bag| replace(bag, "bag-info.txt", "42.3", "43.3"),
        &[
            INFO_CHANGED,
            (
                "bag-info.txt",
                None,
                "is \"43.3\", but the payload counts 42.3",
            ),
        ],
    );
    check(
        "wrong count and the tags mended",
        |bag| {
            replace(bag, "bag-info.txt", "42.3", "042.3");
            mend_tags(bag);
        },
        &[("bag-info.txt", None, "but the payload counts 42.3")],
    );
    check(
        "no count",
        |bag| replace(bag, "bag-info.txt", "Payload-Oxum", "Payload-Sum"),
        &[INFO_CHANGED, ("bag-info.txt", None, "has no Payload-Oxum")],
    );
    check(
        "count twice",
        |bag| append(bag, "bag-info.txt", "payload-oxum: 42.3\n"),
        &[INFO_CHANGED, ("bag-info.txt", None, "more than one")],
    );
    check(
        "line without a label",
        |bag| append(bag, "bag-info.txt", "words\n"),
        &[INFO_CHANGED, ("bag-info.txt", Some(4), "not a label")],
    );
    check(
        "no bag-info.txt",
        |bag| remove(bag, "bag-info.txt"),
        &[
            ("bag-info.txt", None, "does not hold it"),
            ("bag-info.txt", Some(1), "does not hold it"),
        ],
    );
    check(
        "declaration with a space more",
        |bag| replace(bag, "bagit.txt", "UTF-8\n", "UTF-8 \n"),
        &[
            ("bagit.txt", Some(2), "not the one in tagmanifest"),
            ("bagit.txt", None, "exact form"),
        ],
    );
    check(
        "no declaration",
        |bag| remove(bag, "bagit.txt"),
        &[
            ("bagit.txt", None, "does not hold it"),
            ("bagit.txt", Some(2), "does not hold it"),
        ],
    );
    check(
        "changed label",
        |bag| replace(bag, "bag-info.txt", "6f2c", "6f2d"),
        &[INFO_CHANGED],
    );
    check(
        "tag manifest gone",
        |bag| remove(bag, TAGS),
        &[(TAGS, None, "does not hold it")],
    );
    check(
        "bad tag manifest",
        |bag| {
            edit(bag, TAGS, |text| {
                text.lines().take(2).collect::<Vec<_>>().join("\n") + "\n"
            });
            append(bag, TAGS, &line_for("data/statement.json"));
        },
        &[
            (TAGS, Some(3), "a payload file has no place here"),
            (MANIFEST, None, "tagmanifest-sha256.txt does not list it"),
        ],
    );
    check(
        "file beside the payload",
        |bag| fs::write(bag.join("notes.txt"), "").unwrap(),
        &[("notes.txt", None, "tagmanifest-sha256.txt does not list it")],
    );
    check(
        "list with another checksum",
        |bag| fs::write(bag.join("manifest-md5.txt"), "").unwrap(),
        &[
            ("manifest-md5.txt", None, "only SHA-256"),
            ("manifest-md5.txt", None, "does not list it"),
        ],
    );
    check(
        "list of files to fetch",
        |bag| fs::write(bag.join("fetch.txt"), "").unwrap(),
        &[
            ("fetch.txt", None, "where to fetch it"),
            ("fetch.txt", None, "does not list it"),
        ],
    );
}
