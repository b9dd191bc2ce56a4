//! Archives made to do harm or broken on the way: each is refused by name.

use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;

use flate2::Compression;
use flate2::write::GzEncoder;
use proptest::prelude::*;
use tar::{Builder, EntryType, Header};
use tempfile::TempDir;

use super::{packed, sample};
use crate::trail::bag::unpack::{Limits, unpack};
use crate::trail::bag::{Bag, BagError};

/// An entry with its name written as it is, which the library would refuse to.
fn append(archive: &mut Builder<Vec<u8>>, kind: EntryType, name: &[u8], content: &[u8]) {
    let mut header = Header::new_ustar();
    header.as_ustar_mut().unwrap().name[..name.len()].copy_from_slice(name);
    header.set_entry_type(kind);
    header.set_size(content.len() as u64);
    header.set_mode(0o644);
    if matches!(kind, EntryType::Symlink | EntryType::Link) {
        header.set_link_name("/etc/hostname").unwrap();
    }
    header.set_cksum();
    archive.append(&header, Cursor::new(content)).unwrap();
}

fn archive(entries: &[(EntryType, &[u8])]) -> Vec<u8> {
    let mut archive = Builder::new(Vec::new());
    append(&mut archive, EntryType::Directory, b"bag/", b"");
    append(&mut archive, EntryType::Regular, b"bag/bagit.txt", b"x");
    for (kind, name) in entries {
        append(&mut archive, *kind, name, b"");
    }
    compress(&archive.into_inner().unwrap())
}

fn compress(bytes: &[u8]) -> Vec<u8> {
    let mut gzip = GzEncoder::new(Vec::new(), Compression::best());
    gzip.write_all(bytes).unwrap();
    gzip.finish().unwrap()
}

fn open(bytes: &[u8]) -> Result<Bag, BagError> {
    let home = TempDir::new().unwrap();
    let path = home.path().join("bag.tar.gz");
    fs::write(&path, bytes).unwrap();
    Bag::open(&path)
}

fn unpack_within(bytes: &[u8], limits: &Limits) -> Result<(), BagError> {
    let home = TempDir::new().unwrap();
    let path = home.path().join("bag.tar.gz");
    fs::write(&path, bytes).unwrap();
    let into = home.path().join("into");
    fs::create_dir(&into).unwrap();
    let answer = unpack(&path, &into, limits);
    let beside = fs::read_dir(home.path()).unwrap().count();
    assert_eq!(beside, 2, "something was written outside");
    answer.map(|root| assert_eq!(root.parent(), Some(into.as_path())))
}

#[test]
fn entries_that_would_do_harm_are_refused_by_name() {
    use EntryType as Kind;
    let cases: [(Kind, &[u8], &str); 21] = [
        (Kind::Regular, b"bag/../../evil", "leaves its folder"),
        (Kind::Regular, b"../evil", "leaves its folder"),
        (Kind::Regular, b"..", "leaves its folder"),
        (Kind::Directory, b"bag/../../evil/", "leaves its folder"),
        (Kind::Regular, b"/tmp/evil", "is absolute"),
        (Kind::Regular, b"C:/evil", "is absolute"),
        (Kind::Regular, b"~/evil", "home folder"),
        (Kind::Regular, b"bag\\..\\evil", "backslash"),
        (Kind::Regular, b"bag/a\nb", "control characters"),
        (Kind::Regular, b"bag//a", "empty part"),
        (Kind::Regular, b"bag/a/", "empty part"),
        (Kind::Regular, b"bag/\xff", "not UTF-8"),
        (Kind::Symlink, b"bag/link", "is a link"),
        (Kind::Link, b"bag/link", "is a link"),
        (Kind::Char, b"bag/device", "neither"),
        (Kind::Block, b"bag/device", "neither"),
        (Kind::Fifo, b"bag/pipe", "neither"),
        (Kind::GNUSparse, b"bag/holes", "neither"),
        (Kind::XHeader, b"bag/pax", "neither"),
        (Kind::Regular, b"bag/bagit.txt", "appears twice"),
        (Kind::Regular, b"bag/bagit.txt/x", "inside a file"),
    ];
    for (kind, name, words) in cases {
        let bytes = archive(&[(kind, name)]);
        let shown = String::from_utf8_lossy(name).into_owned();
        match open(&bytes) {
            Err(BagError::RefusedEntry { entry, problem }) => {
                assert_eq!(entry, shown);
                assert!(problem.contains(words), "{shown}: {problem}");
            }
            answer => panic!("{shown}: {answer:?}"),
        }
        assert!(unpack_within(&bytes, &Limits::STATED).is_err());
    }
    assert!(unpack_within(&archive(&[]), &Limits::STATED).is_ok());
}

#[test]
fn an_archive_holds_exactly_one_top_folder() {
    let two = archive(&[(EntryType::Regular, b"other/file")]);
    assert!(matches!(open(&two), Err(BagError::TopFolder)));
    let mut bare = Builder::new(Vec::new());
    append(&mut bare, EntryType::Regular, b"bagit.txt", b"x");
    let bare = compress(&bare.into_inner().unwrap());
    assert!(matches!(open(&bare), Err(BagError::TopFolder)));
    let empty = compress(&Builder::new(Vec::new()).into_inner().unwrap());
    assert!(matches!(open(&empty), Err(BagError::TopFolder)));
}

#[test]
fn broken_archives_are_refused() {
    let (_home, folder) = sample();
    let whole = packed(&folder);
    assert!(open(&whole).is_ok());
    for length in [
        0,
        1,
        5,
        10,
        100,
        whole.len() / 2,
        whole.len() - 8,
        whole.len() - 1,
    ] {
        let answer = open(&whole[..length]);
        assert!(
            matches!(answer, Err(BagError::BrokenArchive(_))),
            "cut at {length}: {answer:?}"
        );
    }
    let mut checksum = whole.clone();
    let place = checksum.len() - 6;
    checksum[place] ^= 1;
    assert!(matches!(open(&checksum), Err(BagError::BrokenArchive(_))));
    let more = [&whole[..], b"more"].concat();
    assert!(matches!(open(&more), Err(BagError::BrokenArchive(_))));
    let member = [&whole[..], &compress(b"second")].concat();
    assert!(matches!(open(&member), Err(BagError::BrokenArchive(_))));
    assert!(matches!(
        open(b"PK\x03\x04 not gzip"),
        Err(BagError::BrokenArchive(_))
    ));
    assert!(open(&compress(b"not tar, but long enough to be read")).is_err());
}

#[test]
fn data_hidden_after_the_end_and_sizes_that_lie_are_refused() {
    let tar = |entries: &[(&[u8], &[u8])]| {
        let mut archive = Builder::new(Vec::new());
        for (name, content) in entries {
            append(&mut archive, EntryType::Regular, name, content);
        }
        archive.into_inner().unwrap()
    };
    let honest = tar(&[(b"bag/bagit.txt", b"content")]);
    let hidden = [&honest[..], &tar(&[(b"bag/hidden", b"x")])].concat();
    assert!(matches!(
        open(&compress(&hidden)),
        Err(BagError::BrokenArchive(_))
    ));
    for claimed in [8_000, 1 << 33, 1 << 62, u64::MAX] {
        let mut header = Header::new_ustar();
        header.set_path("bag/bagit.txt").unwrap();
        header.set_size(claimed);
        header.set_cksum();
        let lying = [&header.as_bytes()[..], &honest[512..]].concat();
        match open(&compress(&lying)) {
            Err(BagError::BrokenArchive(problem)) => {
                assert!(
                    claimed > 1 << 62 || problem.contains("shorter than it says"),
                    "{problem}"
                );
            }
            answer => panic!("{claimed}: {answer:?}"),
        }
    }
}

#[test]
fn unpacking_stops_at_its_limits() {
    let mut large = Builder::new(Vec::new());
    append(&mut large, EntryType::Directory, b"bag/", b"");
    append(
        &mut large,
        EntryType::Regular,
        b"bag/zeros",
        &vec![0; 1 << 20],
    );
    let large = compress(&large.into_inner().unwrap());
    let wide = Limits {
        entries: 2,
        bytes: 2 << 20,
        ratio: 1_000_000,
        ratio_free_bytes: 0,
    };
    assert!(unpack_within(&large, &wide).is_ok());

    let few = Limits { entries: 1, ..wide };
    assert!(matches!(
        unpack_within(&large, &few),
        Err(BagError::TooManyEntries(1))
    ));
    let small = Limits {
        bytes: 1 << 19,
        ..wide
    };
    let answer = unpack_within(&large, &small);
    assert!(
        matches!(answer, Err(BagError::UnpacksTooLarge(524_288))),
        "{answer:?}"
    );
    // A megabyte of zeros shrinks about a thousand times.
    let ratio = Limits { ratio: 100, ..wide };
    assert!(matches!(
        unpack_within(&large, &ratio),
        Err(BagError::UnpacksTooLarge(_))
    ));
    let free = Limits {
        ratio: 100,
        ratio_free_bytes: 2 << 20,
        ..wide
    };
    assert!(unpack_within(&large, &free).is_ok());
    // Zeros after the end are padding, but they count as well.
    let mut padded = Builder::new(Vec::new());
    append(&mut padded, EntryType::Regular, b"bag/bagit.txt", b"x");
    let mut padded = padded.into_inner().unwrap();
    padded.resize(1 << 20, 0);
    let padded = compress(&padded);
    assert!(unpack_within(&padded, &wide).is_ok());
    assert!(matches!(
        unpack_within(&padded, &small),
        Err(BagError::UnpacksTooLarge(_))
    ));
}

#[test]
fn many_folders_count_as_entries() {
    let mut archive = Builder::new(Vec::new());
    for index in 0..=100 {
        append(
            &mut archive,
            EntryType::Directory,
            format!("bag/{index}/").as_bytes(),
            b"",
        );
    }
    let bytes = compress(&archive.into_inner().unwrap());
    let few = Limits {
        entries: 100,
        ..Limits::STATED
    };
    assert!(matches!(
        unpack_within(&bytes, &few),
        Err(BagError::TooManyEntries(100))
    ));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_changed_byte_of_the_tar_goes_unseen(place in any::<usize>(), bit in 0..8_u8) {
        let (_home, folder) = sample();
        let sound = {
            let mut tar = Vec::new();
            let bytes = packed(&folder);
            std::io::copy(&mut flate2::read::GzDecoder::new(&bytes[..]), &mut tar).unwrap();
            tar
        };
        let mut changed = sound.clone();
        let place = place % changed.len();
        changed[place] ^= 1 << bit;
        if let Ok(bag) = open(&compress(&changed)) {
            // What is left are the content and bytes that nobody reads.
            let report = bag.check().unwrap();
            prop_assert!(!report.is_sound() || is_unread(&sound, place), "byte {}", place);
        }
    }

    #[test]
    fn any_bytes_are_answered_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        prop_assert!(open(&bytes).is_err());
        prop_assert!(open(&compress(&bytes)).is_err());
    }
}

/// Whether a byte of a tar lies behind the content of its entry, or in the
/// checksum of a header (bytes 148 to 155), whose padding may be a space or a
/// zero.
fn is_unread(tar: &[u8], place: usize) -> bool {
    let mut archive = tar::Archive::new(tar);
    !archive.entries().unwrap().raw(true).any(|entry| {
        let entry = entry.unwrap();
        let start = entry.raw_file_position() as usize;
        let header = entry.raw_header_position() as usize;
        (header..header + 148).contains(&place)
            || (header + 156..header + 512).contains(&place)
            || (start..start + entry.size() as usize).contains(&place)
    })
}

#[test]
fn a_path_that_is_neither_folder_nor_file_is_refused() {
    assert!(Bag::open(Path::new("/dev/null")).is_err());
    assert!(Bag::open(Path::new("/no/such/place")).is_err());
}
