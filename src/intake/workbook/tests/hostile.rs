//! Archives that ask for too much, or say two things at once.

use super::{ENDS, an_end, codes, read, workbook};
use std::io::{Cursor, Read, Write};
use zip::ZipArchive;
use zip::write::{SimpleFileOptions, ZipWriter};

/// An archive of these parts.
pub(super) fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// A sound workbook with one part replaced or added.
fn with_part(name: &str, change: impl Fn(String) -> String) -> Vec<u8> {
    let sound = workbook(ENDS, "rows", |sheet| an_end(sheet, 1));
    let mut from = ZipArchive::new(Cursor::new(&sound)).unwrap();
    let mut parts = Vec::new();
    for at in 0..from.len() {
        let mut part = from.by_index(at).unwrap();
        let own = part.name().unwrap().into_owned();
        let mut text = String::new();
        part.read_to_string(&mut text).unwrap();
        parts.push((own.clone(), if own == name { change(text) } else { text }));
    }
    let parts: Vec<(&str, &[u8])> = parts
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_bytes()))
        .collect();
    archive(&parts)
}

#[test]
fn what_would_take_too_much_memory_is_refused_before_it_is_opened() {
    let sheet = "xl/worksheets/sheet1.xml";
    let texts = "xl/sharedStrings.xml";
    let cases: [(&str, Vec<u8>, &str, &str); 9] = [
        (
            "a bomb: 100 MiB of tags in a few kilobytes",
            with_part("docProps/app.xml", |text| {
                text + &"<a/>".repeat(25 * 1024 * 1024)
            }),
            "workbook_too_large",
            "unpacks to more than 16 MiB",
        ),
        (
            "one text of 2 MiB",
            with_part(sheet, |text| {
                text.replace(
                    "<sheetData>",
                    &format!("<x>{}</x><sheetData>", "a".repeat(2 << 20)),
                )
            }),
            "workbook_too_large",
            "a text of more than 1 MiB",
        ),
        (
            "a table of texts that claims to be huge",
            with_part(texts, |text| {
                text.replacen("uniqueCount=\"", "uniqueCount = \"99999999999", 1)
            }),
            "workbook_too_large",
            "claims to hold",
        ),
        (
            "the same claim behind blanks",
            with_part(texts, |text| {
                text.replacen(
                    "uniqueCount=\"",
                    &format!("uniqueCount{}=\"9", " ".repeat(70)),
                    1,
                )
            }),
            "not_a_workbook",
            "padded",
        ),
        (
            "entities that grow",
            with_part(sheet, |text| {
                text.replacen(
                    "<worksheet",
                    "<!DOCTYPE x [<!ENTITY a \"aaaaaaaa\"><!ENTITY b \"&a;&a;&a;\">]><worksheet",
                    1,
                )
            }),
            "not_a_workbook",
            "document type",
        ),
        (
            "an entity that reads a file",
            with_part(texts, |text| {
                text.replacen(
                    "<sst",
                    "<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/hostname\">]><sst",
                    1,
                )
            }),
            "not_a_workbook",
            "document type",
        ),
        (
            "XML that is not UTF-8",
            with_part(sheet, |text| {
                text.chars().flat_map(|each| [each, '\0']).collect()
            }),
            "not_a_workbook",
            "not UTF-8",
        ),
        (
            "too many parts",
            {
                let names: Vec<String> = (0..1_200).map(|at| format!("xl/p{at}.xml")).collect();
                let parts: Vec<(&str, &[u8])> = names
                    .iter()
                    .map(|name| (name.as_str(), &b"<a/>"[..]))
                    .collect();
                archive(&parts)
            },
            "workbook_too_large",
            "more than 1000 parts",
        ),
        (
            "rows that go backwards",
            with_part(sheet, |text| {
                let (before, rest) = text.split_once("</sheetData>").unwrap();
                format!("{before}<row r=\"1\"><c r=\"A1\"><v>1</v></c></row></sheetData>{rest}")
            }),
            "not_a_workbook",
            "out of order",
        ),
    ];
    for (name, bytes, code, sentence) in cases {
        assert!(bytes.len() < 2 << 20, "{name}: {} bytes", bytes.len());
        let (_, rejections, _) = read(ENDS, &bytes);
        let found = rejections
            .last()
            .unwrap_or_else(|| panic!("{name} is taken"));
        assert_eq!(found.code, code, "{name}: {found}");
        assert!(found.detail.contains(sentence), "{name}: {found}");
    }
}

#[test]
fn a_claim_of_a_million_rows_and_columns_takes_no_room() {
    let claim = with_part("xl/worksheets/sheet1.xml", |text| {
        let (before, rest) = text.split_once("<dimension ref=\"").unwrap();
        let (_, rest) = rest.split_once('"').unwrap();
        format!("{before}<dimension ref=\"A1:XFD1048576\"{rest}")
    });
    let (rows, rejections, _) = read(ENDS, &claim);
    assert_eq!((rows.len(), rejections.len()), (1, 0), "{rejections:?}");
    let absurd = with_part("xl/worksheets/sheet1.xml", |text| {
        let (before, rest) = text.split_once("<dimension ref=\"").unwrap();
        let (_, rest) = rest.split_once('"').unwrap();
        format!("{before}<dimension ref=\"Z9:A1\"{rest}")
    });
    let (rows, rejections, _) = read(ENDS, &absurd);
    assert!(
        rows.len() == 1 || codes(&rejections) == ["- - not_a_workbook"],
        "{rejections:?}"
    );
}
