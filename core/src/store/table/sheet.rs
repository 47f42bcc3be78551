//! Spreadsheets: sheets, cells, and their values as text.

use std::fmt::{Display, Write};
use std::fs::File;
use std::io::{BufReader, Seek};
use std::ops::Range;

use calamine::{CellErrorType, Data, DataRef, ExcelDateTime, Ods, Reader, SheetType, SheetVisible, Xlsx};

use super::archive::{self, Packed};
use super::text::without_blank_end;
use super::{TableOptions, no_cables, not_read};
use crate::cable::{self, CableList, ListBuilder, MAX_COLUMNS};
use crate::error::{Doing, Error, Result};

/// Most bytes of a spreadsheet file.
pub const MAX_FILE_BYTES: u64 = 64 << 20;

/// Reads a table from a spreadsheet file.
pub(super) fn read(mut file: File, options: &TableOptions) -> Result<CableList> {
    let length = file.metadata().map_err(|error| not_read(&error))?.len();
    if length > MAX_FILE_BYTES {
        return Err(Error::limit(format!(
            "found a spreadsheet of {length} bytes, wanted at most {MAX_FILE_BYTES}; save the list as CSV"
        )));
    }
    let packed = archive::survey(&mut file, length)?;
    file.rewind().map_err(|error| not_read(&error))?;
    let file = BufReader::new(file);
    let mut book = match packed {
        Packed::Xlsx => Book::Xlsx(Box::new(Xlsx::new(file).map_err(broken)?)),
        Packed::Ods => Book::Ods(Ods::new(file).map_err(broken)?),
    };
    let name = book.choose(options)?;
    let mut rows = Rows::new(options);
    book.cells(&name, &mut |row, column, value| rows.cell(row, column, value)).doing(|| format!("sheet `{name}`"))?;
    rows.finish().doing(|| format!("sheet `{name}`"))
}

fn broken(error: impl Display) -> Error {
    let text = error.to_string();
    let text = text.trim_end_matches('.');
    Error::input(format!(
        "this spreadsheet cannot be read ({text}), wanted a whole xlsx or ods file without a password; save it again or save the list as CSV"
    ))
}

/// What a cell holds, as we see it.
enum Value<'a> {
    Text(&'a str),
    Error(&'a CellErrorType),
}

/// Takes one cell that is not empty: row and column from 0. False ends the reading.
type Taker<'t> = dyn FnMut(u32, u32, Value<'_>) -> Result<bool> + 't;

enum Book {
    Xlsx(Box<Xlsx<BufReader<File>>>),
    Ods(Ods<BufReader<File>>),
}

impl Book {
    /// The sheet to read: the one that is asked for, else the first visible one with a header we
    /// know; of one sheet only, that one.
    fn choose(&mut self, options: &TableOptions) -> Result<String> {
        let sheets = match self {
            Self::Xlsx(book) => book.sheets_metadata(),
            Self::Ods(book) => book.sheets_metadata(),
        };
        let names: Vec<String> = sheets.iter().map(|sheet| sheet.name.clone()).collect();
        let listed = |names: &[String]| names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
        if let Some(wanted) = &options.sheet {
            let same = |name: &&String| name.trim().to_lowercase() == wanted.trim().to_lowercase();
            let found = names.iter().find(|name| *name == wanted).or_else(|| names.iter().find(same));
            return found
                .cloned()
                .ok_or_else(|| Error::input(format!("found no sheet `{wanted}`, wanted one of {}", listed(&names))));
        }
        let mut tables: Vec<String> = sheets
            .iter()
            .filter(|sheet| sheet.typ == SheetType::WorkSheet && sheet.visible == SheetVisible::Visible)
            .map(|sheet| sheet.name.clone())
            .collect();
        match tables.len() {
            0 => {
                return Err(Error::input("found no visible sheet with cells, wanted one with a header row and cables"));
            }
            1 => return Ok(tables.remove(0)),
            _ => {}
        }
        for name in &tables {
            let mut rows = Rows::new(options);
            self.cells(name, &mut |row, column, value| rows.header_cell(row, column, value))
                .doing(|| format!("sheet `{name}`"))?;
            if cable::is_list(&rows.headers(), &options.columns) {
                return Ok(name.clone());
            }
        }
        Err(Error::input(format!(
            "found the sheets {} and none with a header we know, wanted one whose first row names owner, batch, number, \
             length or another column of a cable list; name your own headers in the job file under [columns]",
            listed(&tables)
        )))
    }

    /// Hands over the cells of a sheet that are not empty, row by row.
    fn cells(&mut self, name: &str, take: &mut Taker<'_>) -> Result<()> {
        let mut text = String::new();
        match self {
            Self::Xlsx(book) => {
                // As a stream: a sheet with one cell in its last corner would fill the memory else.
                let mut cells = book.worksheet_cells_reader(name).map_err(broken)?;
                while let Some(cell) = cells.next_cell().map_err(broken)? {
                    let (row, column) = cell.get_position();
                    text.clear();
                    let value = match cell.get_value() {
                        DataRef::Empty => continue,
                        DataRef::String(value) => Value::Text(value),
                        DataRef::SharedString(value) => Value::Text(value),
                        DataRef::DurationIso(value) => Value::Text(value),
                        DataRef::DateTimeIso(value) => Value::Text(without_midnight(value)),
                        DataRef::Int(value) => print(&mut text, value),
                        DataRef::Bool(value) => print(&mut text, value),
                        DataRef::Float(value) => number(&mut text, *value),
                        DataRef::DateTime(value) => time(&mut text, value),
                        DataRef::Error(error) => Value::Error(error),
                    };
                    if !take(row, column, value)? {
                        break;
                    }
                }
            }
            Self::Ods(book) => {
                let range = book.worksheet_range(name).map_err(broken)?;
                let (first_row, first_column) = range.start().unwrap_or((0, 0));
                for (row, column, value) in range.used_cells() {
                    text.clear();
                    let value = match value {
                        Data::Empty => continue,
                        Data::String(value) | Data::DurationIso(value) => Value::Text(value),
                        Data::DateTimeIso(value) => Value::Text(without_midnight(value)),
                        Data::Int(value) => print(&mut text, value),
                        Data::Bool(value) => print(&mut text, value),
                        Data::Float(value) => number(&mut text, *value),
                        Data::DateTime(value) => time(&mut text, value),
                        Data::Error(error) => Value::Error(error),
                    };
                    let place = |first: u32, at: usize| first.saturating_add(u32::try_from(at).unwrap_or(u32::MAX));
                    if !take(place(first_row, row), place(first_column, column), value)? {
                        break;
                    }
                }
            }
        }
        Ok(())
    }
}

fn print<'a>(text: &'a mut String, value: impl Display) -> Value<'a> {
    let _ = write!(text, "{value}");
    Value::Text(text)
}

/// With 15 significant digits, as spreadsheets show a number at most: 0.1 + 0.2 is 0.3.
fn number(text: &mut String, value: f64) -> Value<'_> {
    let rounded = format!("{value:.14e}").parse().unwrap_or(value);
    // No negative zero.
    print(text, if rounded == 0.0 { 0.0 } else { rounded })
}

/// ISO 8601: a date, a time of day, both, or hours of a duration.
fn time<'a>(text: &'a mut String, value: &ExcelDateTime) -> Value<'a> {
    const SECONDS: f64 = 86_400.0;
    if !value.as_f64().is_finite() || value.as_f64() < 0.0 {
        return number(text, value.as_f64());
    }
    if value.is_duration() {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative; `as` saturates")]
        let seconds = (value.as_f64() * SECONDS + 0.5) as u64;
        return print(text, format_args!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60));
    }
    let (year, month, day, hour, minute, second, _) = value.to_ymd_hms_milli();
    match (value.as_f64() < 1.0, (hour, minute, second) == (0, 0, 0)) {
        (true, _) => print(text, format_args!("{hour:02}:{minute:02}:{second:02}")),
        (_, true) => print(text, format_args!("{year:04}-{month:02}-{day:02}")),
        _ => print(text, format_args!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}")),
    }
}

fn without_midnight(time: &str) -> &str {
    time.strip_suffix("T00:00:00").unwrap_or(time)
}

/// Puts cells together to rows, and rows to a list.
struct Rows<'o> {
    options: &'o TableOptions,
    list: Option<ListBuilder>,
    row: u32,
    text: String,
    /// Place of each cell of the row in `text`.
    places: Vec<Range<usize>>,
    trouble: Option<(usize, String)>,
}

impl<'o> Rows<'o> {
    fn new(options: &'o TableOptions) -> Self {
        Self { options, list: None, row: 0, text: String::new(), places: Vec::new(), trouble: None }
    }

    fn cell(&mut self, row: u32, column: u32, value: Value<'_>) -> Result<bool> {
        if row < self.row {
            return Err(broken(format_args!("row {} stands after row {}", row + 1, self.row + 1)));
        }
        if row > self.row {
            self.end_row()?;
            self.row = row;
        }
        self.put(column, value)?;
        Ok(true)
    }

    /// As [`Rows::cell`], until the header row is whole.
    fn header_cell(&mut self, row: u32, column: u32, value: Value<'_>) -> Result<bool> {
        if row != self.row && !self.is_blank() {
            return Ok(false);
        }
        self.row = row;
        self.put(column, value)?;
        Ok(true)
    }

    fn put(&mut self, column: u32, value: Value<'_>) -> Result<()> {
        let error;
        let (text, is_error) = match value {
            Value::Text(text) => (text.trim(), false),
            Value::Error(found) => {
                error = found.to_string();
                (error.as_str(), true)
            }
        };
        if text.is_empty() {
            return Ok(());
        }
        let at = usize::try_from(column).unwrap_or(usize::MAX);
        if at >= MAX_COLUMNS {
            return Err(Error::limit(format!(
                "row {}: found `{}` in column {}, wanted at most {MAX_COLUMNS} columns",
                self.row + 1,
                text.chars().take(60).collect::<String>(),
                at + 1
            )));
        }
        if is_error && self.trouble.is_none() {
            self.trouble =
                Some((at, format!("found the spreadsheet error {text}, wanted a value; repair the formula")));
        }
        if at >= self.places.len() {
            self.places.resize(at + 1, 0..0);
        }
        let start = self.text.len();
        self.text.push_str(text);
        self.places[at] = start..self.text.len();
        Ok(())
    }

    fn is_blank(&self) -> bool {
        self.text.is_empty()
    }

    fn headers(&self) -> Vec<String> {
        without_blank_end(self.places.iter().map(|place| self.text[place.clone()].to_owned()).collect())
    }

    fn end_row(&mut self) -> Result<()> {
        let row = self.row.saturating_add(1);
        if !self.is_blank() {
            match (&mut self.list, self.trouble.take()) {
                (None, Some((_, trouble))) => return Err(Error::input(trouble).doing(format!("row {row}"))),
                (None, None) => {
                    let list =
                        CableList::builder(self.headers(), &self.options.columns).doing(|| format!("row {row}"))?;
                    self.list = Some(list);
                }
                (Some(list), Some((at, trouble))) => {
                    let header = list.headers().get(at).filter(|header| !header.is_empty()).cloned();
                    list.fault(row, header, trouble);
                    list.room().doing(|| format!("row {row}"))?;
                }
                (Some(list), None) => {
                    list.push(row, self.places.iter().map(|place| &self.text[place.clone()]));
                    list.room().doing(|| format!("row {row}"))?;
                }
            }
        }
        self.text.clear();
        self.places.clear();
        Ok(())
    }

    fn finish(mut self) -> Result<CableList> {
        self.end_row()?;
        match self.list {
            None => Err(Error::input("found an empty sheet, wanted a header row and cables")),
            Some(list) if list.is_empty() => Err(no_cables()),
            Some(list) => Ok(list.finish()),
        }
    }
}
