//! Files that are refused as files: one per kind of damage, with the answer.

use super::{file_of, places, read_all};
use crate::intake::{BatchKind, CsvReader, code};
use std::io::{self, Read};

const HEADER: &str = "serial,installed_on,ended_on,end_reason";
const GOOD: &str = "S-1,2025-01-01,2025-02-01,moved";

fn utf16(text: &str, to_bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
    text.encode_utf16().flat_map(to_bytes).collect()
}

/// Bytes, the only rejection's place, and a part of its sentence.
type Case = (&'static str, Vec<u8>, &'static str, &'static str);

fn after_header(bytes: &[u8]) -> Vec<u8> {
    [HEADER.as_bytes(), b"\n", bytes].concat()
}

fn case(name: &'static str, bytes: Vec<u8>, place: &'static str, sentence: &'static str) -> Case {
    (name, bytes, place, sentence)
}

fn empty_files() -> Vec<Case> {
    vec![
        case(
            "nothing",
            vec![],
            "- - empty_file",
            "its first line must be serial,installed_on",
        ),
        case(
            "a mark alone",
            b"\xEF\xBB\xBF".to_vec(),
            "- - empty_file",
            "empty",
        ),
        case(
            "blank lines alone",
            b"\r\n\n  \n".to_vec(),
            "- - empty_file",
            "empty",
        ),
        case(
            "header alone",
            after_header(b""),
            "- - no_rows",
            "a header and no rows",
        ),
        case(
            "header and blanks",
            after_header(b"\n,,,\n\n"),
            "- - no_rows",
            "no rows",
        ),
    ]
}

fn other_encodings() -> Vec<Case> {
    let text = format!("{HEADER}\n{GOOD}\n");
    vec![
        case(
            "UTF-16 with mark",
            [b"\xFF\xFE".to_vec(), utf16(&text, u16::to_le_bytes)].concat(),
            "- - not_utf8",
            "UTF-16 (little endian), not UTF-8",
        ),
        case(
            "UTF-16 with the other mark",
            [b"\xFE\xFF".to_vec(), utf16(&text, u16::to_be_bytes)].concat(),
            "- - not_utf8",
            "UTF-16 (big endian), not UTF-8",
        ),
        case(
            "UTF-16 without mark",
            utf16(&text, u16::to_le_bytes),
            "- - not_utf8",
            "UTF-16 (little endian, without a mark)",
        ),
        case(
            "Windows-1252 in a row",
            after_header(b"M\xE9nage,2025-01-01,2025-02-01,moved\n"),
            "2 serial not_utf8",
            "byte 0xE9 after `M` is not UTF-8; in Windows-1252 it would be `é`: \
             the file seems to be Windows-1252, save it as \"CSV UTF-8\"",
        ),
        case(
            "Windows-1252 in the header",
            b"num\xE9ro,installed_on\n".to_vec(),
            "1 - not_utf8",
            "Windows-1252",
        ),
        case(
            "a byte of neither",
            after_header(b"S,2025-01-01,2025-02-01,\x81\n"),
            "2 end_reason not_utf8",
            "byte 0x81 after `` is not UTF-8; save it",
        ),
        case(
            "workbook",
            b"PK\x03\x04\x14\0\x06\0".to_vec(),
            "- - not_csv",
            "workbook",
        ),
        case(
            "a document by the name of a sheet",
            b"%PDF-1.7\n%\xE2\xE3\xCF\xD3\n1 0 obj\n".to_vec(),
            "- - not_csv",
            "a PDF document, not CSV: save the sheet as",
        ),
        case(
            "a web page by the name of a sheet",
            b"\xEF\xBB\xBF <html><table><tr><td>".to_vec(),
            "- - not_csv",
            "HTML or XML, not CSV",
        ),
        case(
            "compressed",
            b"\x1F\x8B\x08\0\0\0\0\0\0\x03".to_vec(),
            "- - not_csv",
            "compressed by gzip",
        ),
        case(
            "a picture",
            b"\x89PNG\r\n\x1A\n".to_vec(),
            "- - not_csv",
            "a picture",
        ),
        case(
            "titles above the header",
            format!("Ends of the north\n\n,,,\nBy hand,,,\n{HEADER}\n{GOOD}\n").into_bytes(),
            "5 - header_place",
            "the header stands on row 5, below other rows; delete the rows above it",
        ),
        case(
            "old workbook",
            b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1\0\0".to_vec(),
            "- - not_csv",
            "old binary workbook",
        ),
    ]
}

fn broken_structures() -> Vec<Case> {
    let text = format!("{HEADER}\n{GOOD}\n");
    vec![
        case(
            "NUL",
            after_header(b"S\0,2025-01-01,,\n"),
            "2 - nul_byte",
            "NUL byte",
        ),
        case(
            "semicolons",
            text.replace(',', ";").into_bytes(),
            "1 - delimiter",
            "parted by semicolons: save it with commas",
        ),
        case(
            "semicolons and quotes",
            b"\"serial\";\"installed_on\"\n".to_vec(),
            "1 - delimiter",
            "semicolons",
        ),
        case(
            "tabs",
            text.replace(',', "\t").into_bytes(),
            "1 - delimiter",
            "parted by tabs",
        ),
        case(
            "lone CR",
            text.replace('\n', "\r").into_bytes(),
            "1 - line_end",
            "carriage return",
        ),
        case(
            "open quote",
            after_header(b"S-1,2025-01-01,\"2025-02-01,moved\nS-2,a,b,c\n"),
            "2 - broken_quote",
            "never closed",
        ),
        case(
            "quote inside",
            after_header(b"5\" pot,2025-01-01,2025-02-01,moved\n"),
            "2 - broken_quote",
            "double each quote",
        ),
        case(
            "text after quote",
            after_header(b"\"S\"1,2025-01-01,2025-02-01,moved\n"),
            "2 - broken_quote",
            "text follows a closing quote",
        ),
    ]
}

#[test]
fn each_damage_of_a_file_is_named_once_and_ends_the_reading() {
    let cases = [empty_files(), other_encodings(), broken_structures()].concat();
    for (name, bytes, place, sentence) in cases {
        let (rows, rejections) = read_all(BatchKind::DeploymentEnds, &bytes);
        assert_eq!(rows, [], "{name}");
        assert_eq!(places(&rejections), [place], "{name}");
        let detail = &rejections[0].detail;
        assert!(detail.contains(sentence), "{name}: {detail}");
    }
}

#[test]
fn rows_before_a_damage_are_given_and_none_after_it() {
    let bytes = file_of(BatchKind::DeploymentEnds, &[GOOD, "S\"2,x", GOOD]);
    let mut reader = CsvReader::open(BatchKind::DeploymentEnds.template(), &bytes[..]).unwrap();
    assert!(matches!(reader.next_row(), Some(Ok(row)) if row.line == 2));
    assert!(matches!(reader.next_row(), Some(Err(list)) if list[0].code == code::BROKEN_QUOTE));
    assert_eq!(reader.next_row(), None);
    assert_eq!(reader.next_row(), None);
}

#[test]
fn a_record_may_have_65536_bytes_and_not_one_more() {
    let record = |bytes: usize| {
        let tail = ",2025-01-01,2025-02-01,moved\n";
        [HEADER, "\n", &"S".repeat(bytes - tail.len()), tail]
            .concat()
            .into_bytes()
    };
    let (_, longest) = read_all(BatchKind::DeploymentEnds, &record(65_536));
    assert_eq!(places(&longest), ["2 serial too_long"]);
    let (_, longer) = read_all(BatchKind::DeploymentEnds, &record(65_537));
    assert_eq!(places(&longer), ["2 - record_too_long"]);
}

#[test]
fn an_open_quote_in_a_long_file_is_suspected_where_it_opened() {
    let rows = format!("{GOOD}\n").repeat(4_000);
    let bytes = format!("{HEADER}\n{GOOD}\nS-2,2025-01-01,\"2025-02-01,moved\n{rows}");
    let (rows, rejections) = read_all(BatchKind::DeploymentEnds, bytes.as_bytes());
    assert_eq!(rows.len(), 1);
    assert_eq!(places(&rejections), ["3 - record_too_long"]);
    assert_eq!(
        rejections[0].detail,
        "the row that starts on this line is longer than 65536 bytes; \
         the quote opened on line 3 may never be closed"
    );
}

/// Gives its bytes and then fails, as a broken connection does.
struct Broken<'a>(&'a [u8]);

impl Read for Broken<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self.0.read(buffer)? {
            0 => Err(io::Error::other("the connection was closed")),
            count => Ok(count),
        }
    }
}

#[test]
fn an_input_that_breaks_off_is_not_taken_for_a_whole_file() {
    let bytes = file_of(
        BatchKind::DeploymentEnds,
        &[GOOD, "S-2,2025-01-01,2025-02-01,mov"],
    );
    let bytes = bytes.trim_ascii_end();
    let template = BatchKind::DeploymentEnds.template();
    let mut reader = CsvReader::open(template, Broken(bytes)).unwrap();
    assert!(matches!(reader.next_row(), Some(Ok(_))));
    let refused = reader.next_row().unwrap().unwrap_err();
    assert_eq!(places(&refused), ["3 - unreadable"]);
    assert!(refused[0].detail.contains("the connection was closed"));
    assert_eq!(reader.next_row(), None);
    let early = CsvReader::open(template, Broken(b"ser")).err().unwrap();
    assert_eq!(places(&early.list), ["- - unreadable"]);
}
