//! The directory of a zip archive: what is packed in it, and how large it says it is.
//!
//! Source: the ZIP file format specification (APPNOTE.TXT 6.3.3, sections 4.3.12, 4.3.16 and
//! 4.5.3), from memory.

use std::io::{Read, Seek, SeekFrom};

use super::not_read;
use crate::error::{Error, Result};

/// Most bytes a spreadsheet may unpack to, by its own directory.
pub const MAX_UNPACKED_BYTES: u64 = 512 << 20;

/// Most entries looked at: a workbook with a few thousand sheets.
const MAX_ENTRIES: usize = 10_000;

/// What an archive holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packed {
    Xlsx,
    Ods,
}

/// Looks at the directory, unpacks nothing.
///
/// # Errors
/// `Input`: a broken archive, or not a spreadsheet. `Limit`: it says that it unpacks to more than
/// [`MAX_UNPACKED_BYTES`], or has more than 10,000 entries.
pub(super) fn survey(file: &mut (impl Read + Seek), length: u64) -> Result<Packed> {
    let directory = directory(file, length)?;
    let (mut unpacked, mut entries) = (0u64, 0usize);
    let mut packed = None;
    let mut rest = directory.as_slice();
    while rest.starts_with(b"PK\x01\x02") {
        let (name, size, after) = entry(rest).ok_or_else(broken)?;
        rest = after;
        entries += 1;
        unpacked = unpacked.saturating_add(size);
        packed = packed.or(kind_of(name));
    }
    if unpacked > MAX_UNPACKED_BYTES || entries > MAX_ENTRIES {
        return Err(Error::limit(format!(
            "found {entries} parts that unpack to {unpacked} bytes, wanted at most {MAX_ENTRIES} parts and \
             {MAX_UNPACKED_BYTES} bytes; save the list as CSV"
        )));
    }
    match packed {
        Some(Ok(packed)) => Ok(packed),
        Some(Err(what)) => Err(Error::input(format!(
            "this is {what}, wanted a cable list (CSV, TSV, xlsx or ods); open it in its program and save it as one of these"
        ))),
        None if entries == 0 => Err(broken()),
        None => {
            Err(Error::input("this is a zip archive, wanted a cable list (CSV, TSV, xlsx or ods); unpack it first"))
        }
    }
}

fn broken() -> Error {
    Error::input("found a broken zip archive, wanted a whole spreadsheet; copy or save it again")
}

fn kind_of(name: &str) -> Option<std::result::Result<Packed, &'static str>> {
    match name.to_ascii_lowercase().as_str() {
        "xl/workbook.bin" => Some(Err("a binary spreadsheet")),
        "content.xml" => Some(Ok(Packed::Ods)),
        name if name.starts_with("xl/workbook") => Some(Ok(Packed::Xlsx)),
        name if name.starts_with("word/") => Some(Err("a text document")),
        name if name.starts_with("ppt/") => Some(Err("a presentation")),
        _ => None,
    }
}

fn number(bytes: &[u8], at: usize, width: usize) -> Option<u64> {
    let bytes = bytes.get(at..at + width)?;
    Some(bytes.iter().rev().fold(0, |value, byte| value << 8 | u64::from(*byte)))
}

/// The bytes of the central directory and what follows it.
fn directory(file: &mut (impl Read + Seek), length: u64) -> Result<Vec<u8>> {
    // The end record is 22 bytes and a comment of at most 65,535.
    let tail_start = length.saturating_sub(22 + 65_535);
    let tail = read_from(file, tail_start, length - tail_start)?;
    let end = (0..tail.len().saturating_sub(21)).rev().find(|at| tail[*at..].starts_with(b"PK\x05\x06"));
    let end = end.ok_or_else(broken)?;
    let start = match number(&tail, end + 16, 4) {
        Some(0xFFFF_FFFF) => {
            // The 64-bit end record, found by its locator just before.
            let locator = end.checked_sub(20).filter(|at| tail[*at..].starts_with(b"PK\x06\x07")).ok_or_else(broken)?;
            let at = number(&tail, locator + 8, 8).filter(|at| *at < length).ok_or_else(broken)?;
            let record = read_from(file, at, 56.min(length - at))?;
            number(&record, 48, 8)
        }
        start => start,
    };
    let start = start.filter(|start| *start < length).ok_or_else(broken)?;
    read_from(file, start, length - start)
}

fn read_from(file: &mut (impl Read + Seek), start: u64, length: u64) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    file.seek(SeekFrom::Start(start)).map_err(|error| not_read(&error))?;
    file.take(length).read_to_end(&mut bytes).map_err(|error| not_read(&error))?;
    Ok(bytes)
}

/// Name and unpacked size of the first entry, and the bytes after it.
fn entry(bytes: &[u8]) -> Option<(&str, u64, &[u8])> {
    let width = |at| number(bytes, at, 2).and_then(|width| usize::try_from(width).ok());
    let (name, extra, comment) = (width(28)?, width(30)?, width(32)?);
    let text = std::str::from_utf8(bytes.get(46..46 + name)?).unwrap_or("");
    let mut size = number(bytes, 24, 4)?;
    if size == 0xFFFF_FFFF {
        // The 64-bit size is the first value of extra field 1; without it the size is that large.
        let mut extra = bytes.get(46 + name..46 + name + extra)?;
        while let (Some(id), Some(length)) = (number(extra, 0, 2), number(extra, 2, 2)) {
            if id == 1 {
                size = number(extra, 4, 8)?;
            }
            extra = extra.get(4 + usize::try_from(length).ok()?..)?;
        }
    }
    Some((text, size, bytes.get(46 + name + extra + comment..)?))
}
