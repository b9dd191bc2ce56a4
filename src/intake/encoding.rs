//! The first bytes of a file and bytes that are not UTF-8: what they are, in a sentence.

use crate::intake::rejection::{Fault, code, shown};
use std::io::{Chain, Cursor, ErrorKind, Read};

/// Bytes looked at before the file is read: the longest mark that is recognised.
const MARK_BYTES: usize = 8;

/// A file without its byte order mark.
pub(in crate::intake) type Admitted<R> = Chain<Cursor<Vec<u8>>, R>;

/// Looks at the first bytes, drops a UTF-8 byte order mark, and refuses what cannot be CSV in UTF-8.
pub(in crate::intake) fn admit<R: Read>(mut input: R) -> Result<Admitted<R>, Fault> {
    let mut start = Vec::with_capacity(MARK_BYTES);
    let mut byte = [0_u8];
    while start.len() < MARK_BYTES {
        match input.read(&mut byte) {
            Ok(0) => break,
            Ok(_) => start.extend(byte),
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(unreadable(&error)),
        }
    }
    if let Some(fault) = refuse_mark(&start) {
        return Err(fault);
    }
    let content = start
        .strip_prefix(b"\xEF\xBB\xBF")
        .unwrap_or(&start)
        .to_vec();
    Ok(Cursor::new(content).chain(input))
}

pub(in crate::intake) fn unreadable(error: &std::io::Error) -> Fault {
    Fault::new(
        code::UNREADABLE,
        format!("the file could not be read to its end: {error}"),
    )
}

fn refuse_mark(start: &[u8]) -> Option<Fault> {
    let utf16 = |name: &str| {
        let detail = format!("the file is {name}, not UTF-8: save it as \"CSV UTF-8\"");
        Some(Fault::new(code::NOT_UTF8, detail))
    };
    let other = |what: &str| {
        let detail = format!("the file is {what}, not CSV: save the sheet as \"CSV UTF-8\"");
        Some(Fault::new(code::NOT_CSV, detail))
    };
    match start {
        [0xFF, 0xFE, 0, 0, ..] | [0, 0, 0xFE, 0xFF, ..] => utf16("UTF-32"),
        [0xFF, 0xFE, ..] => utf16("UTF-16 (little endian)"),
        [0xFE, 0xFF, ..] => utf16("UTF-16 (big endian)"),
        // Without a mark: ASCII text in UTF-16 has a NUL in every second byte.
        [(1..), 0, (1..), 0, ..] => utf16("UTF-16 (little endian, without a mark)"),
        [0, (1..), 0, (1..), ..] => utf16("UTF-16 (big endian, without a mark)"),
        [b'P', b'K', 3, 4, ..] => other("a workbook or a ZIP archive"),
        [b'%', b'P', b'D', b'F', ..] => other("a PDF document"),
        [0x1F, 0x8B, ..] => other("compressed by gzip"),
        [0x89, b'P', b'N', b'G', ..] | [0xFF, 0xD8, 0xFF, ..] => other("a picture"),
        [b'{', b'\\', b'r', b't', b'f', ..] => other("a text document (RTF)"),
        _ if starts_with_tag(start) => other("HTML or XML"),
        [0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1] => other("an old binary workbook"),
        _ => None,
    }
}

/// Some programs write a web page and call it a sheet.
fn starts_with_tag(start: &[u8]) -> bool {
    let start = start.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(start);
    matches!(
        start.trim_ascii_start(),
        [b'<', b'!' | b'?' | b'a'..=b'z' | b'A'..=b'Z', ..]
    )
}

/// A cell as text, or the sentence for the first byte that is not UTF-8.
pub(in crate::intake) fn utf8(bytes: &[u8]) -> Result<&str, Fault> {
    std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        let before = bytes
            .get(..at)
            .and_then(|valid| std::str::from_utf8(valid).ok());
        let byte = bytes.get(at).copied().unwrap_or_default();
        let guess = match windows_1252(byte) {
            Some(character) => format!(
                "in Windows-1252 it would be {}: the file seems to be Windows-1252, ",
                shown(character.encode_utf8(&mut [0; 4]))
            ),
            None => String::new(),
        };
        let detail = format!(
            "byte 0x{byte:02X} after {} is not UTF-8; {guess}save it as \"CSV UTF-8\"",
            shown(before.unwrap_or_default())
        );
        Fault::new(code::NOT_UTF8, detail)
    })
}

/// The character of a byte from 0x80 in Windows-1252; absent for the five bytes it leaves free.
///
/// Source: the Unicode Consortium's mapping table CP1252.TXT (SEEN-2ND: all 128 bytes compared
/// with the `cp1252` codec of the Python standard library, which is made from it).
fn windows_1252(byte: u8) -> Option<char> {
    const FREE: char = '\0';
    const FROM_0X80: [char; 32] = [
        '€', FREE, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', FREE, 'Ž', FREE, FREE,
        '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', FREE, 'ž', 'Ÿ',
    ];
    match byte {
        0..0x80 => None,
        0x80..0xA0 => FROM_0X80
            .get(usize::from(byte - 0x80))
            .copied()
            .filter(|character| *character != FREE),
        // From 0xA0 the code page is ISO 8859-1, whose bytes are the first code points of Unicode.
        0xA0.. => Some(char::from(byte)),
    }
}
