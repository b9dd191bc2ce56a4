//! Bags written, packed and read back. What is wrong with a bag or an archive
//! has its own tables: `mutations` and `archives`.

mod archives;
mod mutations;

use std::fs;
use std::io::{BufRead, Read, Write};
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use super::reader::survey;
use super::*;
use crate::trail::merkle::sha256;

/// The payload file of the valid SHA-256 bag in the BagIt conformance suite
/// (LibraryOfCongress/bagit-conformance-suite, v0.97/valid/basic-bag-sha256),
/// and the line of its manifest. SEEN.
const SUITE_FILE: &str = "Tue, Jul 24, 2018  9:45:38 AM\n";
const SUITE_LINE: &str =
    "1dd056f18456057df5e333e0dc894ff8e9d600817ae26ec89c49e37ad2d555d4  data/text-file.txt\n";

fn info() -> Vec<(String, String)> {
    [
        ("External-Identifier", "programme 6f2c"),
        ("Bagging-Date", "2026-03-01"),
    ]
    .map(|(label, value)| (label.to_owned(), value.to_owned()))
    .to_vec()
}

/// A folder that goes away, and in it a sound bag of three files.
fn sample() -> (TempDir, PathBuf) {
    let home = TempDir::new().unwrap();
    let folder = home.path().join("bag");
    let mut bag = BagWriter::create(&folder).unwrap();
    // Not in the order of their names: the manifest must not depend on it.
    for (path, content) in [
        ("statement.json", "{\"net\":\"1.25\"}"),
        ("rows/usage.csv", "stove,days\ns-1,30\ns-2,31\n"),
        ("100% of rows.txt", "all"),
    ] {
        write_payload(&mut bag, path, content);
    }
    bag.finish(&info()).unwrap();
    (home, folder)
}

fn write_payload(bag: &mut BagWriter, path: &str, content: &str) {
    let mut file = bag.payload(path).unwrap();
    for piece in content.as_bytes().chunks(3) {
        file.write_all(piece).unwrap();
    }
    assert_eq!(file.finish().unwrap(), sha256(content.as_bytes()));
}

fn packed(folder: &Path) -> Vec<u8> {
    let mut bytes = Vec::new();
    pack(folder, "bag-6f2c", &mut bytes).unwrap();
    bytes
}

#[test]
fn a_written_bag_has_the_files_of_the_standard() {
    let home = TempDir::new().unwrap();
    let folder = home.path().join("new");
    let mut bag = BagWriter::create(&folder).unwrap();
    write_payload(&mut bag, "text-file.txt", SUITE_FILE);
    bag.finish(&info()).unwrap();
    let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
    assert_eq!(read("data/text-file.txt"), SUITE_FILE);
    assert_eq!(read("manifest-sha256.txt"), SUITE_LINE);
    // RFC 8493 section 2.1.1, from memory.
    assert_eq!(
        read("bagit.txt"),
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    );
    let info = "External-Identifier: programme 6f2c\nBagging-Date: 2026-03-01\n\
                Payload-Oxum: 30.1\n";
    assert_eq!(read("bag-info.txt"), info);
    let line = |name: &str| format!("{}  {name}\n", sha256(read(name).as_bytes()));
    let tags = line("bag-info.txt") + &line("bagit.txt") + &line("manifest-sha256.txt");
    assert_eq!(read("tagmanifest-sha256.txt"), tags);
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 5);
}

#[test]
fn a_bag_comes_back_from_its_folder_and_from_its_archive() {
    let (home, folder) = sample();
    let archive = home.path().join("bag.tar.gz");
    fs::write(&archive, packed(&folder)).unwrap();
    for place in [&folder, &archive] {
        let bag = Bag::open(place).unwrap();
        let report = bag.check().unwrap();
        assert_eq!(report.faults, []);
        assert!(report.is_sound());
        assert_eq!(
            (report.payload_files, report.payload_bytes),
            (3, 14 + 25 + 3)
        );
        let files = ["100% of rows.txt", "rows/usage.csv", "statement.json"];
        assert_eq!(bag.payload_files(), files);
        assert_eq!(bag.info()[..2], info());
        let mut lines = bag.payload("rows/usage.csv").unwrap().lines();
        assert_eq!(lines.next().unwrap().unwrap(), "stove,days");
        let mut text = String::new();
        bag.payload("100% of rows.txt")
            .unwrap()
            .read_to_string(&mut text)
            .unwrap();
        assert_eq!(text, "all");
        for outside in ["none.csv", "../bagit.txt", "rows", "", "/etc/hostname"] {
            assert!(
                matches!(bag.payload(outside), Err(BagError::NotInBag(_))),
                "{outside:?}"
            );
        }
    }
}

#[test]
fn an_unpacked_archive_goes_away_with_its_bag() {
    let (home, folder) = sample();
    let archive = home.path().join("bag.tar.gz");
    fs::write(&archive, packed(&folder)).unwrap();
    let bag = Bag::open(&archive).unwrap();
    let root = bag.root.clone();
    assert!(root.join("bagit.txt").is_file());
    drop(bag);
    assert!(!root.exists());
}

#[test]
fn the_same_content_gives_the_same_bytes() {
    let ((_first, one), (_second, two)) = (sample(), sample());
    let bytes = packed(&one);
    assert_eq!(bytes, packed(&one));
    assert_eq!(bytes, packed(&two), "another folder with the same content");
    // RFC 1952: no flags (so no name), no time, unknown system.
    assert_eq!(bytes[..4], [0x1f, 0x8b, 8, 0]);
    assert_eq!(bytes[4..8], [0; 4]);
    assert_eq!(bytes[9], 255);
    let mut names = Vec::new();
    let mut archive = tar::Archive::new(flate2::read::GzDecoder::new(&bytes[..]));
    for entry in archive.entries().unwrap() {
        let entry = entry.unwrap();
        let header = entry.header();
        assert_eq!((header.uid().unwrap(), header.gid().unwrap()), (0, 0));
        assert_eq!(header.mtime().unwrap(), 315_532_800);
        names.push(String::from_utf8(entry.path_bytes().into_owned()).unwrap());
    }
    let expected = [
        "bag-6f2c/",
        "bag-6f2c/bag-info.txt",
        "bag-6f2c/bagit.txt",
        "bag-6f2c/data/",
        "bag-6f2c/data/100% of rows.txt",
        "bag-6f2c/data/rows/",
        "bag-6f2c/data/rows/usage.csv",
        "bag-6f2c/data/statement.json",
        "bag-6f2c/manifest-sha256.txt",
        "bag-6f2c/tagmanifest-sha256.txt",
    ];
    assert_eq!(names, expected);
}

#[test]
fn a_bag_without_payload_is_sound() {
    let home = TempDir::new().unwrap();
    let folder = home.path().join("empty");
    BagWriter::create(&folder).unwrap().finish(&[]).unwrap();
    let archive = home.path().join("empty.tar.gz");
    fs::write(&archive, packed(&folder)).unwrap();
    for place in [&folder, &archive] {
        let bag = Bag::open(place).unwrap();
        assert_eq!(bag.check().unwrap().faults, []);
        assert!(bag.payload_files().is_empty());
    }
}

#[test]
fn the_writer_refuses_what_would_not_make_a_bag() {
    let home = TempDir::new().unwrap();
    fs::write(home.path().join("other"), "").unwrap();
    assert!(
        BagWriter::create(home.path()).is_err(),
        "a folder that is not empty"
    );

    let mut bag = BagWriter::create(&home.path().join("bag")).unwrap();
    for path in [
        "", "/a", "../a", "a/../b", "a//b", "a/", "./a", "~/a", "a\\b", "a\nb", "C:/a",
    ] {
        assert!(bag.payload(path).is_err(), "{path:?}");
    }
    write_payload(&mut bag, "a.csv", "1");
    assert!(bag.payload("a.csv").is_err(), "the same file again");
    assert!(bag.payload("A.CSV").is_err(), "the same file in capitals");
    drop(bag.payload("b.csv").unwrap());
    assert!(
        bag.payload("c.csv").is_err(),
        "the file before is not finished"
    );
    assert!(bag.finish(&[]).is_err(), "a file is not finished");

    for (label, value) in [
        ("", "x"),
        ("a:b", "x"),
        (" a", "x"),
        ("payload-oxum", "0.0"),
        ("a", "x\ny"),
        ("a\n", "x"),
    ] {
        let folder = TempDir::new().unwrap();
        let bag = BagWriter::create(folder.path()).unwrap();
        assert!(
            bag.finish(&[(label.into(), value.into())]).is_err(),
            "{label:?} {value:?}"
        );
    }
}

#[test]
fn packing_refuses_what_an_archive_should_not_hold() {
    let (_home, folder) = sample();
    for top in ["", "a/b", "..", ".", "/"] {
        assert!(pack(&folder, top, std::io::sink()).is_err(), "{top:?}");
    }
    let long = folder.join("data").join("x".repeat(200));
    fs::write(&long, "").unwrap();
    let error = pack(&folder, "bag", std::io::sink()).unwrap_err();
    assert!(error.to_string().contains("too long"), "{error}");
    fs::remove_file(long).unwrap();
    std::os::unix::fs::symlink("/etc/hostname", folder.join("data/link")).unwrap();
    let error = pack(&folder, "bag", std::io::sink()).unwrap_err();
    assert!(error.to_string().contains("data/link"), "{error}");
}

#[test]
fn values_folded_over_lines_are_joined() {
    // RFC 8493 section 2.2.2, from memory: a value may go on in lines that begin with white space.
    let text =
        b"Source-Organization: A\nExternal-Description: one\n  two\n\tthree\nEmpty:\n: x\nno\n";
    let (info, faults) = manifest::read_info("bag-info.txt", text);
    let expected = [
        ("Source-Organization", "A"),
        ("External-Description", "one two three"),
        ("Empty", ""),
    ];
    assert_eq!(
        info,
        expected.map(|(label, value)| (label.to_owned(), value.to_owned()))
    );
    assert_eq!(
        faults.iter().map(|fault| fault.line).collect::<Vec<_>>(),
        [Some(6), Some(7)]
    );
}

#[test]
fn a_folder_that_is_no_bag_is_refused() {
    let (home, folder) = sample();
    assert!(matches!(Bag::open(home.path()), Err(BagError::NotABag(_))));
    assert!(matches!(
        Bag::open(&folder.join("none")),
        Err(BagError::Unreadable { .. })
    ));
    let list = fs::File::create(folder.join("bag-info.txt")).unwrap();
    list.set_len(LARGEST_TAG_FILE_BYTES + 1).unwrap();
    assert!(matches!(
        Bag::open(&folder),
        Err(BagError::TagFileTooLarge(_))
    ));
}

#[test]
fn a_folder_with_too_many_files_is_refused() {
    let (_home, folder) = sample();
    let files = survey(&folder, MOST_ENTRIES).unwrap().0;
    let stands = files.len() as u64;
    for index in 0..20 {
        fs::File::create(folder.join(format!("data/{index}"))).unwrap();
    }
    assert!(survey(&folder, stands + 30).is_ok());
    assert!(matches!(
        survey(&folder, stands + 10),
        Err(BagError::TooManyEntries(_))
    ));
}
