//! Files of a bag that were exchanged, taken out, put in or forged.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use emberbook::accounting::records::kind;
use emberbook::trail::merkle::sha256;
use emberbook::verify::Fault;

fn bag() -> SpoiltBag {
    SpoiltBag::of(&seeded().bag)
}

/// Where the bag holds the file of this upload.
fn place(name: &str) -> String {
    let batch = seeded().batches.iter().find(|(file, _)| file == name);
    let hash = batch.expect(name).1["file_sha256"]
        .as_str()
        .expect("a hash");
    format!("data/files/{hash}")
}

#[track_caller]
fn assert_named(faults: &[Fault], file: &str, words: &str) {
    let named = |fault: &Fault| fault.file == file && fault.problem.contains(words);
    assert!(faults.iter().any(named), "{file} {words:?}: {faults:#?}");
}

#[test]
fn another_file_under_the_hash_of_an_upload_is_found() {
    let bag = bag();
    let file = place("usage-2025.csv");
    bag.edit(&file, |text| text.replacen(",not_in_use,", ",in_use,", 1));
    bag.seal();
    assert_named(&bag.faults(), &file, "the hash differs");
}

#[test]
fn a_file_that_was_taken_out_and_one_that_was_put_in_are_found() {
    let bag = bag();
    let file = place("char-lab.csv");
    std::fs::remove_file(bag.root.join(&file)).expect("removed");
    bag.write("data/files/more.csv", "a\n1\n");
    bag.write("data/note.txt", "trust me");
    bag.seal();
    let faults = bag.faults();
    assert_named(&faults, &file, "not in the bag");
    assert_named(&faults, "data/files/more.csv", "knows of no such file");
    assert_named(&faults, "data/note.txt", "knows of no such file");
}

#[test]
fn a_file_that_gives_other_rows_is_found_even_where_the_log_was_forged_for_it() {
    let bag = bag();
    let old = place("usage-2025.csv");
    let text = String::from_utf8(bag.read(&old)).expect("text");
    let other = text.replacen(",not_in_use,", ",not_found,", 1);
    assert_ne!(other, text);
    let (old_hash, new_hash) = (sha256(text.as_bytes()), sha256(other.as_bytes()));
    let file = format!("data/files/{new_hash}");
    std::fs::remove_file(bag.root.join(&old)).expect("removed");
    bag.write(&file, other);
    bag.forge_log(&seeded().code, |event, content| {
        if event.kind == kind::BATCH_ACCEPTED {
            *content = content.replace(&old_hash.to_string(), &new_hash.to_string());
        }
    });
    assert_named(&bag.faults(), &file, "does not give the rows");
}

#[test]
fn tables_and_traces_that_retell_the_trail_are_held_against_it() {
    let id = seeded().statement["id"].as_str().expect("an id");
    let bag = bag();
    for (file, from, to, words) in [
        ("data/register/sites.csv", "North", "South", "differs"),
        ("data/batches.csv", ",1060,", ",1061,", "differs"),
        ("data/rounds/rounds.csv", "2022", "2021", "differs"),
        ("data/datapackage.json", "uuid", "guid", "differs"),
        (
            &format!("data/statements/{id}.prov.json"),
            "Organization",
            "Person",
            "not the trace",
        ),
    ] {
        let sound = bag.read(file);
        bag.edit(file, |text| text.replacen(from, to, 1));
        bag.seal();
        assert_named(&bag.faults(), file, words);
        bag.write(file, sound);
    }
    bag.seal();
    let report = bag.verify();
    assert!(report.is_sound(), "{report}");
}
