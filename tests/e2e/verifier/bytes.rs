//! One flipped bit anywhere in a bag is found, its file named, and its row where it has one.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use emberbook::verify::Fault;

/// Flips the lowest bit of one byte, verifies, and puts the byte back.
fn faults_of_flip(bag: &SpoiltBag, file: &str, at: usize) -> Vec<Fault> {
    let sound = bag.read(file);
    let mut spoilt = sound.clone();
    spoilt[at] ^= 1;
    bag.write(file, &spoilt);
    let faults = bag.faults();
    bag.write(file, &sound);
    faults
}

fn line_of(bytes: &[u8], at: usize) -> u64 {
    1 + bytes[..at].iter().filter(|byte| **byte == b'\n').count() as u64
}

/// Column of a byte in its CSV line; the rows of a bag hold no quotes.
fn column_of(bytes: &[u8], at: usize) -> usize {
    let start = bytes[..at]
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |end| end + 1);
    bytes[start..at]
        .iter()
        .filter(|byte| **byte == b',')
        .count()
}

fn assert_file_named(file: &str, at: usize, faults: &[Fault]) {
    // A list that is wrong shows in the files that it lists.
    let named = |fault: &Fault| {
        fault.file == file || file.contains("manifest-") && fault.problem.contains(file)
    };
    assert!(faults.iter().any(named), "byte {at} of {file}: {faults:?}");
}

/// Files whose lines are each committed to by themselves. An entry of the log is not: only
/// the signed head tells that one was changed.
fn has_rows(file: &str) -> bool {
    file.ends_with(".csv") || file == "data/trail/contents.jsonl"
}

/// Flips three bytes of each of these files.
fn flip_three_bytes_of(wanted: impl Fn(&str) -> bool) -> usize {
    let bag = SpoiltBag::of(&seeded().bag);
    let files: Vec<String> = bag
        .files()
        .into_iter()
        .filter(|file| wanted(file))
        .collect();
    for file in &files {
        let bytes = bag.read(file);
        for at in [0, bytes.len() / 2, bytes.len() - 1] {
            let faults = faults_of_flip(&bag, file, at);
            assert_file_named(file, at, &faults);
            if has_rows(file) && at > 0 {
                assert_line_named(file, &bytes, at, &faults);
            }
        }
    }
    assert!(bag.verify().is_sound(), "every byte was put back");
    files.len()
}

fn assert_line_named(file: &str, bytes: &[u8], at: usize, faults: &[Fault]) {
    let line = line_of(bytes, at);
    let named = |fault: &Fault| fault.file == file && fault.line == Some(line);
    assert!(
        faults.iter().any(named),
        "byte {at} of {file}, on line {line}: {faults:?}"
    );
}

#[test]
fn a_flipped_byte_of_a_row_file_is_found_in_its_file() {
    // One file for each kind of batch; frames, seeds and draws of rounds; what retells the trail.
    assert_eq!(flip_three_bytes_of(|file| file.ends_with(".csv")), 20);
}

#[test]
fn a_flipped_byte_of_the_trail_or_a_statement_is_found_in_its_file() {
    let trail =
        |file: &str| file.starts_with("data/trail/") || file.starts_with("data/statements/");
    assert_eq!(flip_three_bytes_of(trail), 6);
}

#[test]
fn a_flipped_byte_of_any_other_file_is_found_in_its_file() {
    let other = |file: &str| {
        !file.ends_with(".csv")
            && !file.starts_with("data/files/")
            && !file.starts_with("data/trail/")
            && !file.starts_with("data/statements/")
    };
    // Library, findings, description and page of the payload; the four files of the bag itself.
    assert_eq!(flip_three_bytes_of(other), 9);
}

#[test]
fn every_997th_byte_of_a_survey_leads_to_its_line() {
    const FILE: &str = "data/evidence/usage-survey.csv";
    /// Where the row stood in the uploaded file; known by its order, not by its hash.
    const LINE_COLUMN: usize = 1;
    let bag = SpoiltBag::of(&seeded().bag);
    let bytes = bag.read(FILE);
    let mut flipped = 0;
    for at in (0..bytes.len()).step_by(997) {
        let faults = faults_of_flip(&bag, FILE, at);
        assert_file_named(FILE, at, &faults);
        if column_of(&bytes, at) != LINE_COLUMN {
            assert_line_named(FILE, &bytes, at, &faults);
        }
        flipped += 1;
    }
    assert!(flipped > 30, "{flipped}");
}
