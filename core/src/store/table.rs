//! Reading cable lists: CSV, TSV and other delimited text, and xlsx and ods spreadsheets.
//!
//! What a file is, is decided by its first bytes; its extension only settles what they leave open.
//! Text is read as a stream: memory is the list, whatever the size of the file.
#![allow(clippy::disallowed_methods, clippy::disallowed_types, reason = "a door: files are opened here")]

mod archive;
mod content;
mod sheet;
mod text;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Cursor, Read};
use std::path::Path;

use crate::cable::CableList;
use crate::error::{Doing, Error, Result};
use content::Content;

pub use archive::MAX_UNPACKED_BYTES;
pub use sheet::MAX_FILE_BYTES;
pub use text::MAX_RECORD_BYTES;

/// What the author of a job says about a table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TableOptions {
    /// The sheet of a spreadsheet; without it, the first visible one with a header we know.
    pub sheet: Option<String>,
    /// Re-mapping, from our column name to the header in the file.
    pub columns: BTreeMap<String, String>,
    /// The delimiter of a text, one ASCII character; without it, the one the header line uses
    /// most of tab, semicolon and comma.
    pub delimiter: Option<u8>,
}

/// Reads a cable list from a file.
///
/// The header is the first row that is not blank. Blank rows are skipped; a row that cannot be
/// taken (too many fields, a spreadsheet error) is a [`crate::cable::RowFault`] of the list.
///
/// Spreadsheet cells become text: numbers with at most 15 digits and no trailing zeros (`1040`,
/// `6.15`), whatever their number format; dates and times as in ISO 8601; booleans as `true` and
/// `false`; formulas as the value that was saved with them.
///
/// # Errors
/// All name the file.
/// - `Input`: no such file, a folder, not a table (what it is instead is said where it is known),
///   text that is not UTF-8, a quote that is not closed, no header or none we know, a bad
///   re-mapping, no such sheet, no cables.
/// - `Storage`: not allowed to read it, or reading fails.
/// - `Limit`: more than 1,000,000 rows, 256 columns, 32 Mi fields, 256 MiB of text in fields, 1 MiB
///   in one record; a spreadsheet file of more than 64 MiB, or 512 MiB unpacked.
///
/// The unpacked size is what the archive says of itself. One that lies, or an ods file that repeats
/// a row of many cells a million times, can still need gigabytes: give lists of strangers as CSV.
pub fn read(path: &Path, options: &TableOptions) -> Result<CableList> {
    read_file(path, options).doing(|| path.display().to_string())
}

fn read_file(path: &Path, options: &TableOptions) -> Result<CableList> {
    let mut file = File::open(path).map_err(|error| not_opened(&error))?;
    let metadata = file.metadata().map_err(|error| not_read(&error))?;
    if metadata.is_dir() {
        return Err(Error::input("found a folder, wanted a cable list (CSV, TSV, xlsx or ods)"));
    }
    let mut head = Vec::new();
    Read::by_ref(&mut file).take(content::HEAD_BYTES).read_to_end(&mut head).map_err(|error| not_read(&error))?;
    match content::of(&head)? {
        Content::Zip if metadata.is_file() => sheet::read(file, options),
        Content::Zip => {
            Err(Error::input("found a spreadsheet in a pipe, wanted it as a file; or give the list as CSV"))
        }
        Content::Text { skip } => {
            if let Some(sheet) = &options.sheet {
                return Err(Error::input(format!(
                    "found a text table, wanted a spreadsheet with the sheet `{sheet}`; leave the sheet out"
                )));
            }
            let tabs = path
                .extension()
                .is_some_and(|name| name.eq_ignore_ascii_case("tsv") || name.eq_ignore_ascii_case("tab"));
            let delimiter = options.delimiter.or(tabs.then_some(b'\t'));
            let mut head = Cursor::new(head);
            head.set_position(skip);
            text::read(BufReader::with_capacity(64 << 10, head.chain(file)), skip, delimiter, &options.columns)
        }
    }
}

fn not_opened(error: &io::Error) -> Error {
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
            Error::input("found no such file, wanted a cable list (CSV, TSV, xlsx or ods); check the path")
        }
        io::ErrorKind::IsADirectory => Error::input("found a folder, wanted a cable list (CSV, TSV, xlsx or ods)"),
        io::ErrorKind::PermissionDenied => {
            Error::storage("found a file that may not be read, wanted leave to read it; check its permissions")
        }
        _ => not_read(error),
    }
}

fn not_read(error: &io::Error) -> Error {
    match error.kind() {
        io::ErrorKind::IsADirectory => Error::input("found a folder, wanted a cable list (CSV, TSV, xlsx or ods)"),
        _ => Error::storage(format!("the file cannot be read: {}", error.to_string().to_lowercase())),
    }
}

fn no_cables() -> Error {
    Error::input("found a header row and no cables, wanted at least one row under it")
}

#[cfg(test)]
mod tests;
