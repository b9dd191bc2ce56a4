//! Every file of a bag flipped, cut, emptied, deleted, and files added: under the manifests as
//! they were, and under manifests that the forger made fit again.

use super::programme::small;
use super::report::Count;
use crate::support::bag::SpoiltBag;
use emberbook::verify::Fault;

/// What is said of the bag and read by people alone: its manifests vouch for these words, and a
/// forger who makes the manifests may write others.
const ONLY_FOR_PEOPLE: [&str; 1] = ["bag-info.txt"];

/// Files that a sealing makes anew, so that no change of them is left.
const SEALED_ANEW: [&str; 2] = ["manifest-sha256.txt", "tagmanifest-sha256.txt"];

/// Ways to spoil a file: a name, and what becomes of its bytes; nothing = it is deleted.
type Way = (&'static str, fn(&[u8]) -> Option<Vec<u8>>);

fn flipped(bytes: &[u8], at: usize) -> Option<Vec<u8>> {
    let mut spoilt = bytes.to_vec();
    spoilt[at] ^= 1;
    Some(spoilt)
}

const WAYS: [Way; 7] = [
    ("first byte flipped", |bytes| flipped(bytes, 0)),
    ("middle byte flipped", |bytes| {
        flipped(bytes, bytes.len() / 2)
    }),
    ("last byte flipped", |bytes| flipped(bytes, bytes.len() - 1)),
    ("cut in its middle", |bytes| {
        Some(bytes[..bytes.len() / 2].to_vec())
    }),
    ("a byte more", |bytes| Some([bytes, b"\n"].concat())),
    ("emptied", |_| Some(Vec::new())),
    ("deleted", |_| None),
];

fn is_named(file: &str, faults: &[Fault]) -> bool {
    let named = |fault: &Fault| fault.file == file || fault.problem.contains(file);
    // Manifests are lists: what is wrong with one shows in the files that it lists.
    faults.iter().any(named) || SEALED_ANEW.contains(&file) && !faults.is_empty()
}

/// Spoils every file in every way; returns the count, and what was not found or not named.
fn spoil_all(sealed: bool) -> (Count, Vec<String>) {
    let bag = SpoiltBag::of(&small().bag);
    assert!(bag.verify().is_sound(), "{}", bag.verify());
    let manifests: Vec<_> = ["bag-info.txt", SEALED_ANEW[0], SEALED_ANEW[1]]
        .map(|file| (file, bag.read(file)))
        .into();
    let (mut count, mut wrong) = (Count::default(), Vec::new());
    for file in bag.files() {
        if sealed && SEALED_ANEW.contains(&file.as_str()) {
            continue;
        }
        let sound = bag.read(&file);
        for (way, spoil) in WAYS {
            let spoilt = spoil(&sound);
            if spoilt.as_ref() == Some(&sound) {
                continue;
            }
            match &spoilt {
                Some(bytes) => bag.write(&file, bytes),
                None => std::fs::remove_file(bag.root.join(&file)).expect("removed"),
            }
            // Nothing can be counted into it where it is gone or no text.
            let info = std::fs::read(bag.root.join("bag-info.txt"));
            let countable = info.is_ok_and(|bytes| String::from_utf8(bytes).is_ok());
            if sealed && countable && (spoilt.is_some() || file != "bagit.txt") {
                bag.seal();
            }
            let report = bag.verify();
            let faults: Vec<Fault> = report.faults().cloned().collect();
            let outside = sealed && ONLY_FOR_PEOPLE.contains(&file.as_str());
            count.add(Count {
                tried: 1,
                verify: usize::from(!report.is_sound()),
                named: usize::from(is_named(&file, &faults)),
                outside: usize::from(outside && report.is_sound()),
                ..Count::default()
            });
            if report.is_sound() && !outside {
                wrong.push(format!("{file}, {way}: it checks out"));
            } else if !report.is_sound() && !is_named(&file, &faults) {
                wrong.push(format!("{file}, {way}: not named in {faults:?}"));
            }
            bag.write(&file, &sound);
            for (file, bytes) in &manifests {
                bag.write(file, bytes);
            }
        }
    }
    assert!(bag.verify().is_sound(), "every file was put back");
    (count, wrong)
}

fn assert_found((count, wrong): (Count, Vec<String>), what: &str) {
    println!(
        "{what}: {} spoilt files, {} found, {} named, {} outside",
        count.tried, count.verify, count.named, count.outside
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(count.tried > 150, "{count}");
    assert_eq!(count.verify + count.outside, count.tried, "{count}");
}

#[test]
#[ignore = "takes minutes unoptimised; run it by name with --ignored"]
fn every_file_spoilt_under_the_manifests_as_they_were_is_found_and_named() {
    assert_found(spoil_all(false), "manifests as they were");
}

#[test]
#[ignore = "takes minutes unoptimised; run it by name with --ignored"]
fn every_file_spoilt_under_manifests_made_to_fit_is_found_and_named() {
    assert_found(spoil_all(true), "manifests made to fit");
}

#[test]
fn a_file_that_no_check_reads_is_found_listed_or_not() {
    for sealed in [false, true] {
        for file in [
            "data/notes.txt",
            "data/evidence/more.csv",
            "data/statements/x.json",
            "data/trail/entries.jsonl.bak",
            "data/README.txt",
        ] {
            let bag = SpoiltBag::of(&small().bag);
            bag.write(file, "something");
            if sealed {
                bag.seal();
            }
            assert!(is_named(file, &bag.faults()), "{file}, sealed: {sealed}");
        }
    }
}
