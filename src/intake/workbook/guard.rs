//! The look at a workbook before it is opened: every part is inflated once, counted and thrown
//! away, so that nothing in the archive can ask for more memory than is stated here.

use crate::intake::encoding::unreadable;
use crate::intake::rejection::{Fault, code};
use std::io::{Read, Seek, SeekFrom};
use zip::ZipArchive;

/// Bytes of a workbook as it is sent.
pub(in crate::intake) const WORKBOOK_BYTES_MAX: u64 = 64 * MIB;

const MIB: u64 = 1024 * 1024;
/// Parts of the archive.
const PARTS_MAX: usize = 1_000;
/// Inflated bytes of all parts together, of one sheet, of the table of texts, of any other part.
const ALL_MAX: u64 = 512 * MIB;
const SHEET_MAX: u64 = 384 * MIB;
const TEXTS_MAX: u64 = 64 * MIB;
const OTHER_MAX: u64 = 16 * MIB;
/// Texts that the table of texts may claim to hold.
const TEXT_COUNT_MAX: u64 = 2_000_000;
/// Bytes without a tag in XML: a longer text is in no cell.
const RUN_MAX: usize = 1024 * 1024;
/// The end of an archive with its comment, where its list of parts is announced.
const TAIL_BYTES: u64 = 22 + 65_535;

/// Refuses what is no workbook, and what would take too much memory or time to open.
pub(in crate::intake) fn check<R: Read + Seek>(file: &mut R) -> Result<(), Fault> {
    let bytes = file.seek(SeekFrom::End(0)).map_err(|e| unreadable(&e))?;
    if bytes > WORKBOOK_BYTES_MAX {
        let detail = format!(
            "the workbook has {bytes} bytes; at most {} MiB are taken, send more as CSV",
            WORKBOOK_BYTES_MAX / MIB
        );
        return Err(too_large(detail));
    }
    check_list_of_parts(file, bytes)?;
    let mut archive = ZipArchive::new(&mut *file).map_err(|e| damaged(&e))?;
    let mut all = 0_u64;
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(|e| damaged(&e))?;
        let name = part.name().map_err(|e| damaged(&e))?.to_ascii_lowercase();
        let limit = if name.contains("worksheets/") {
            SHEET_MAX
        } else if name.ends_with("sharedstrings.xml") {
            TEXTS_MAX
        } else {
            OTHER_MAX
        };
        let limit = limit.min(ALL_MAX.saturating_sub(all));
        all += Watch::new(&name).read(part, limit)?;
    }
    file.seek(SeekFrom::Start(0)).map_err(|e| unreadable(&e))?;
    Ok(())
}

/// The number of parts is read before the list of them is.
fn check_list_of_parts<R: Read + Seek>(file: &mut R, bytes: u64) -> Result<(), Fault> {
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(bytes.saturating_sub(TAIL_BYTES)))
        .and_then(|_| file.read_to_end(&mut tail))
        .and_then(|_| file.seek(SeekFrom::Start(0)))
        .map_err(|e| unreadable(&e))?;
    for record in tail.windows(12) {
        let too_many = match record {
            // A workbook of this size needs no 64-bit list.
            [b'P', b'K', 6, 6 | 7, ..] => true,
            [b'P', b'K', 5, 6, _, _, _, _, _, _, low, high] => {
                usize::from(u16::from_le_bytes([*low, *high])) > PARTS_MAX
            }
            _ => false,
        };
        if too_many {
            let detail = format!("the workbook claims to have more than {PARTS_MAX} parts");
            return Err(too_large(detail));
        }
    }
    Ok(())
}

fn too_large(detail: impl Into<String>) -> Fault {
    Fault::new(code::WORKBOOK_TOO_LARGE, detail)
}

fn damaged(error: &dyn std::fmt::Display) -> Fault {
    let detail = format!(
        "the file is a ZIP archive but no workbook that can be read ({error}): save it as XLSX"
    );
    Fault::new(code::NOT_A_WORKBOOK, detail)
}

/// Looks at the bytes of one part as they pass.
struct Watch<'a> {
    name: &'a str,
    is_xml: bool,
    /// Bytes since the last tag began.
    run: usize,
    /// The last bytes, across the edges of the chunks.
    recent: Vec<u8>,
}

/// Bytes between the name of a number and the number.
const PADDING_MAX: usize = 16;

/// Bytes of a chunk that are looked at again with the next one.
const OVERLAP: usize = 64;

impl<'a> Watch<'a> {
    fn new(name: &'a str) -> Self {
        Watch {
            name,
            is_xml: name.ends_with(".xml") || name.ends_with(".rels"),
            run: 0,
            recent: Vec::new(),
        }
    }

    fn read(&mut self, part: impl Read, limit: u64) -> Result<u64, Fault> {
        let mut part = part.take(limit.saturating_add(1));
        let mut chunk = vec![0; 64 * 1024];
        let mut bytes = 0_u64;
        loop {
            let read = part.read(&mut chunk).map_err(|e| damaged(&e))?;
            let Some(seen) = chunk.get(..read).filter(|seen| !seen.is_empty()) else {
                return Ok(bytes);
            };
            bytes += read as u64;
            if bytes > limit {
                let detail = format!(
                    "the part {} of the workbook unpacks to more than {} MiB; send it as CSV",
                    self.shown_name(),
                    limit / MIB
                );
                return Err(too_large(detail));
            }
            if self.is_xml {
                self.look_at(seen)?;
            }
        }
    }

    fn shown_name(&self) -> String {
        crate::intake::rejection::shown(self.name)
    }

    fn look_at(&mut self, seen: &[u8]) -> Result<(), Fault> {
        let kept = self.recent.len().saturating_sub(OVERLAP);
        self.recent.drain(..kept);
        self.recent.extend_from_slice(seen);
        let mut tags = Vec::new();
        for (at, byte) in self.recent.iter().enumerate() {
            match byte {
                b'<' => tags.push(at),
                0 => return Err(self.trick("bytes that are not UTF-8 XML")),
                _ => {}
            }
        }
        let is_new = |at: &&usize| **at >= self.recent.len() - seen.len();
        let first_new = tags.iter().find(is_new);
        let until_tag = first_new.map_or(seen.len(), |at| at - (self.recent.len() - seen.len()));
        if self.run + until_tag > RUN_MAX {
            return Err(too_large(format!(
                "the part {} of the workbook holds a text of more than {} MiB",
                self.shown_name(),
                RUN_MAX as u64 / MIB
            )));
        }
        self.run = match tags.last() {
            Some(last) if first_new.is_some() => self.recent.len() - last,
            _ => self.run + seen.len(),
        };
        for at in tags {
            let tag = self.recent.get(at..).unwrap_or_default();
            let starts = |word: &[u8]| {
                tag.get(..word.len())
                    .is_some_and(|start| start.eq_ignore_ascii_case(word))
            };
            if starts(b"<!DOCTYPE") || starts(b"<!ENTITY") {
                return Err(self.trick("a document type with entities"));
            }
        }
        self.check_claim()
    }

    fn trick(&self, what: &str) -> Fault {
        let detail = format!(
            "the part {} of the workbook holds {what}, which no spreadsheet program writes",
            self.shown_name()
        );
        Fault::new(code::NOT_A_WORKBOOK, detail)
    }

    /// Room is made for as many texts as the table claims to hold.
    fn check_claim(&self) -> Result<(), Fault> {
        const CLAIM: &[u8] = b"uniqueCount";
        if !self.name.ends_with("sharedstrings.xml") {
            return Ok(());
        }
        let places = self.recent.windows(CLAIM.len()).enumerate();
        for (at, _) in places.filter(|(_, seen)| *seen == CLAIM) {
            let after = self.recent.get(at + CLAIM.len()..).unwrap_or_default();
            let mut count = 0_u64;
            let value = after
                .iter()
                .skip_while(|byte| b" \t\r\n=\"'+0".contains(byte));
            // Within the overlap, so that no claim can hide across the edge of two chunks.
            if after.len() - value.clone().count() > PADDING_MAX {
                return Err(self.trick("a padded number"));
            }
            for digit in value.take_while(|byte| byte.is_ascii_digit()) {
                count = count
                    .saturating_mul(10)
                    .saturating_add(u64::from(digit - b'0'));
            }
            if count > TEXT_COUNT_MAX {
                return Err(too_large(format!(
                    "the workbook claims to hold {count} texts; at most {TEXT_COUNT_MAX} are taken"
                )));
            }
        }
        Ok(())
    }
}
