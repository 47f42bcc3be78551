//! Delimited text: records, quotes, delimiters (RFC 4180, and what people make of it).
//!
//! Beyond RFC 4180: any of LF, CRLF and CR ends a line; the delimiter may be a tab, a semicolon or
//! what the caller says; blanks may stand between a delimiter and a quote; a quote inside a field
//! that does not begin with one is an ordinary character (`12'6"`).

use std::collections::BTreeMap;
use std::io::BufRead;
use std::ops::Range;

use super::{no_cables, not_read};
use crate::cable::CableList;
use crate::error::{Doing, Error, Result};

/// Most bytes in one record, quoted line ends included: far beyond any label, and it bounds memory
/// when the file is no table at all.
pub const MAX_RECORD_BYTES: usize = 1 << 20;

/// Delimiters looked for in a header line; the first wins a tie.
const DELIMITERS: [u8; 3] = *b"\t;,";

/// Reads a table from text that begins `skip` bytes into the file (after a byte order mark).
pub(super) fn read(
    source: impl BufRead,
    skip: u64,
    delimiter: Option<u8>,
    columns: &BTreeMap<String, String>,
) -> Result<CableList> {
    if let Some(delimiter) = delimiter
        && (!delimiter.is_ascii() || matches!(delimiter, b'"' | b'\n' | b'\r' | 0))
    {
        return Err(Error::input(format!(
            "found the delimiter 0x{delimiter:02X}, wanted one ASCII character other than a quote or a line end"
        )));
    }
    let mut records = Records::new(source, skip);
    let mut fields = Fields::default();
    let (row, delimiter) = loop {
        let starts = delimiter.as_ref().map_or(&DELIMITERS[..], std::slice::from_ref);
        let Some(row) = records.next(starts)? else {
            return Err(Error::input("found blank lines only, wanted a header row and cables"));
        };
        let delimiter = delimiter.unwrap_or_else(|| most_used(records.record()));
        fields
            .split(records.record(), delimiter)
            .map_err(|stray| Error::input(stray.text()))
            .doing(|| format!("row {row}"))?;
        if fields.iter().any(|field| !field.trim().is_empty()) {
            break (row, delimiter);
        }
    };
    let headers = fields.iter().map(str::to_owned).collect();
    let mut list = CableList::builder(without_blank_end(headers), columns).doing(|| format!("row {row}"))?;
    while let Some(row) = records.next(&[delimiter])? {
        match fields.split(records.record(), delimiter) {
            Ok(()) => list.push(row, fields.iter()),
            Err(stray) => {
                let header = list.headers().get(stray.column).filter(|header| !header.is_empty()).cloned();
                list.fault(row, header, stray.text());
            }
        }
        list.room().doing(|| format!("row {row}"))?;
    }
    if list.is_empty() { Err(no_cables()) } else { Ok(list.finish()) }
}

/// Headers without the blank ones at the end: a delimiter at the end of each line is common.
pub(super) fn without_blank_end(mut headers: Vec<String>) -> Vec<String> {
    while headers.last().is_some_and(|header| header.trim().is_empty()) {
        headers.pop();
    }
    headers
}

fn most_used(record: &str) -> u8 {
    let mut used = [0usize; DELIMITERS.len()];
    let mut quoted = false;
    for byte in record.bytes() {
        quoted ^= byte == b'"';
        if let Some(which) = DELIMITERS.iter().position(|delimiter| *delimiter == byte && !quoted) {
            used[which] += 1;
        }
    }
    let most = used.iter().max().copied().unwrap_or(0);
    let which = used.iter().position(|n| *n == most && *n > 0);
    which.map_or(b',', |which| DELIMITERS[which])
}

/// Records of a text, one at a time in the same memory.
struct Records<R> {
    source: R,
    /// Bytes before line 1, for messages.
    skip: u64,
    /// Lines read so far.
    lines: u32,
    line: Vec<u8>,
    record: String,
}

impl<R: BufRead> Records<R> {
    fn new(source: R, skip: u64) -> Self {
        Self { source, skip, lines: 0, line: Vec::new(), record: String::new() }
    }

    /// The record read last, without its line end; line ends inside quotes are LF.
    fn record(&self) -> &str {
        self.record.strip_suffix('\n').unwrap_or(&self.record)
    }

    /// Reads the next record and returns the number of its first line, from 1.
    fn next(&mut self, delimiters: &[u8]) -> Result<Option<u32>> {
        self.record.clear();
        let row = self.lines.saturating_add(1);
        let mut quotes = Quotes { start: true, open: None };
        loop {
            if !self.read_line(quotes.open)? {
                return match quotes.open {
                    Some(line) => Err(unclosed(line, "the end of the file")),
                    None => Ok(None),
                };
            }
            quotes.pass(&self.line, delimiters, self.lines);
            if quotes.open.is_none() {
                return Ok(Some(row));
            }
        }
    }

    /// Appends the next line to the record; false at the end of the text.
    fn read_line(&mut self, open: Option<u32>) -> Result<bool> {
        self.line.clear();
        let number = self.lines.saturating_add(1);
        let mut after_return = false;
        loop {
            let chunk = match self.source.fill_buf() {
                Ok(chunk) => chunk,
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(not_read(&error)),
            };
            if after_return {
                let feed = usize::from(chunk.first() == Some(&b'\n'));
                self.source.consume(feed);
                break;
            }
            if chunk.is_empty() {
                if self.line.is_empty() {
                    return Ok(false);
                }
                break;
            }
            let end = chunk.iter().position(|byte| matches!(byte, b'\n' | b'\r'));
            let part = &chunk[..end.unwrap_or(chunk.len())];
            if let Some(at) = part.iter().position(|byte| *byte == 0) {
                return Err(Error::input(format!(
                    "line {number}, byte {}: found a byte 0x00, wanted text; this is not a text table",
                    self.byte(number, self.line.len() + at)
                )));
            }
            if self.record.len() + self.line.len() + part.len() > MAX_RECORD_BYTES {
                return Err(match open {
                    Some(line) => unclosed(line, "1 MiB of text"),
                    None => Error::limit(format!(
                        "line {number}: found a line of more than {MAX_RECORD_BYTES} bytes, wanted at most that; \
                         this may not be a table"
                    )),
                });
            }
            self.line.extend_from_slice(part);
            let used = part.len() + usize::from(end.is_some());
            let last = end.map(|end| chunk[end]);
            self.source.consume(used);
            match last {
                Some(b'\r') => after_return = true,
                Some(_) => break,
                None => {}
            }
        }
        self.line.push(b'\n');
        self.lines = number;
        match std::str::from_utf8(&self.line) {
            Ok(line) => self.record.push_str(line),
            Err(error) => {
                return Err(Error::input(format!(
                    "line {number}, byte {}: found a byte 0x{:02X}, wanted UTF-8 text; save it as CSV UTF-8",
                    self.byte(number, error.valid_up_to()),
                    self.line[error.valid_up_to()]
                )));
            }
        }
        Ok(true)
    }

    /// The place of a byte in its line of the file, from 1.
    fn byte(&self, line: u32, index: usize) -> u64 {
        let before = if line == 1 { self.skip } else { 0 };
        before + u64::try_from(index).unwrap_or(u64::MAX - 4) + 1
    }
}

fn unclosed(line: u32, reached: &str) -> Error {
    Error::input(format!(
        "row {line}: found a quote that is open until {reached}, wanted it closed; \
         write an inch mark at the start of a field as `in`, or double it within quotes"
    ))
}

/// Where quotes stand open, followed line by line.
struct Quotes {
    /// Nothing of the field was seen yet, blanks aside.
    start: bool,
    /// The line in which the quote was opened.
    open: Option<u32>,
}

impl Quotes {
    fn pass(&mut self, line: &[u8], delimiters: &[u8], number: u32) {
        if self.open.is_none() && !line.contains(&b'"') {
            return;
        }
        let mut bytes = line.iter().copied().peekable();
        while let Some(byte) = bytes.next() {
            if self.open.is_some() {
                if byte == b'"' && bytes.next_if_eq(&b'"').is_none() {
                    self.open = None;
                    self.start = false;
                }
            } else if byte == b'"' && self.start {
                self.open = Some(number);
            } else if delimiters.contains(&byte) {
                self.start = true;
            } else if byte != b' ' {
                self.start = false;
            }
        }
    }
}

/// The fields of a record, unquoted, in the same memory for each record.
#[derive(Default)]
struct Fields {
    text: String,
    places: Vec<Range<usize>>,
}

/// Text after the closing quote of a field.
struct Stray {
    column: usize,
    found: char,
}

impl Stray {
    fn text(&self) -> String {
        format!(
            "found `{}` after a closing quote in column {}, wanted a delimiter; double the quotes inside a quoted field",
            self.found,
            self.column + 1
        )
    }
}

impl Fields {
    fn iter(&self) -> impl Iterator<Item = &str> {
        self.places.iter().map(|place| &self.text[place.clone()])
    }

    /// Splits a record whose quotes are closed.
    fn split(&mut self, record: &str, delimiter: u8) -> std::result::Result<(), Stray> {
        self.text.clear();
        self.places.clear();
        let delimiter = char::from(delimiter);
        if !record.contains('"') {
            self.text.push_str(record);
            let mut start = 0;
            for field in record.split(delimiter) {
                self.places.push(start..start + field.len());
                start += field.len() + 1;
            }
            return Ok(());
        }
        let mut rest = record;
        loop {
            let start = self.text.len();
            let begun = rest.trim_start_matches(|c| c == ' ' && c != delimiter);
            if let Some(quoted) = begun.strip_prefix('"') {
                rest = self.unquote(quoted).trim_start_matches(|c| c == ' ' && c != delimiter);
                if let Some(found) = rest.chars().next().filter(|c| *c != delimiter) {
                    return Err(Stray { column: self.places.len(), found });
                }
            } else {
                let end = rest.find(delimiter).unwrap_or(rest.len());
                self.text.push_str(&rest[..end]);
                rest = &rest[end..];
            }
            self.places.push(start..self.text.len());
            match rest.strip_prefix(delimiter) {
                Some(after) => rest = after,
                None => return Ok(()),
            }
        }
    }

    /// Takes the inside of quotes; returns what follows the closing one.
    fn unquote<'a>(&mut self, quoted: &'a str) -> &'a str {
        let mut rest = quoted;
        while let Some(end) = rest.find('"') {
            self.text.push_str(&rest[..end]);
            rest = &rest[end + 1..];
            match rest.strip_prefix('"') {
                Some(after) => {
                    self.text.push('"');
                    rest = after;
                }
                None => return rest,
            }
        }
        self.text.push_str(rest);
        ""
    }
}
