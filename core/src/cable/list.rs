//! The list: rows of text in one piece of memory, and a view of one row.

use std::collections::BTreeMap;

use super::column::{Column, ColumnIndex, ColumnTable};
use super::shortened;
use crate::error::{Error, Result};

/// Most rows in a list: a register of a million cables is far beyond any store, and all indices
/// stay in 32 bits.
pub const MAX_ROWS: usize = 1_000_000;

/// Most columns in a list.
pub const MAX_COLUMNS: usize = 256;

/// Most fields in a list, blank ones too: 4 bytes each, 128 MiB.
pub const MAX_FIELDS: usize = 32 << 20;

/// Most text in a list, in bytes.
pub const MAX_TEXT_BYTES: usize = 256 << 20;

/// A row that could not be taken; the rest of the list goes on without it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// The row as the person sees it, see [`Cable::row`].
    pub row: u32,
    /// The header of the column, if the fault is in one field.
    pub field: Option<String>,
    /// What was found, what was wanted, a hint.
    pub text: String,
}

/// A cable list: headers and rows of trimmed text.
///
/// # Guarantees
/// Every row has as many fields as there are headers, and at least one that is not blank. Memory is
/// the text itself, 4 bytes a field and 4 bytes a row.
///
/// # Examples
/// ```
/// use std::collections::BTreeMap;
/// use tapewright::cable::{CableList, Column};
///
/// let headers = ["owner", "batch", "number"].map(String::from).to_vec();
/// let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
/// builder.push(2, ["TWP", "OTTER", "1040"]);
/// let list = builder.finish();
/// assert_eq!(list.cable(0).text(Column::Number), "1040");
/// ```
#[derive(Clone, Debug)]
pub struct CableList {
    headers: Vec<String>,
    columns: ColumnTable,
    text: String,
    /// End of each field in `text`, row by row; it starts where the one before it ends.
    ends: Vec<u32>,
    rows: Vec<u32>,
    faults: Vec<RowFault>,
}

impl CableList {
    /// Starts a list with the headers of its columns. `remap` goes from our column name to the
    /// header in the file: `od_mm` to `Outside dia`.
    ///
    /// # Errors
    /// `Input`: the headers have no name, the same name twice, or none we know; a re-mapping of a
    /// column that is not ours, or to a header that is not there. `Limit`: more than
    /// [`MAX_COLUMNS`] columns.
    pub fn builder(headers: Vec<String>, remap: &BTreeMap<String, String>) -> Result<ListBuilder> {
        if headers.len() > MAX_COLUMNS {
            return Err(Error::limit(format!("found {} columns, wanted at most {MAX_COLUMNS}", headers.len())));
        }
        let headers: Vec<String> = headers.into_iter().map(|header| header.trim().to_owned()).collect();
        let columns = ColumnTable::new(&headers, remap)?;
        let list =
            Self { headers, columns, text: String::new(), ends: Vec::new(), rows: Vec::new(), faults: Vec::new() };
        Ok(ListBuilder { list })
    }

    /// Number of cables.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no cable.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The headers as they stand in the file, trimmed.
    pub fn headers(&self) -> &[String] {
        &self.headers
    }

    /// One cable, counted from 0.
    ///
    /// # Panics
    /// If there is no such cable.
    pub fn cable(&self, index: usize) -> Cable<'_> {
        assert!(index < self.len(), "cable {index} of a list of {}", self.len());
        Cable { list: self, index }
    }

    /// The cables in the order of the list.
    pub fn iter(&self) -> impl Iterator<Item = Cable<'_>> {
        (0..self.len()).map(|index| Cable { list: self, index })
    }

    /// Rows that could not be taken, in the order of the list.
    pub fn faults(&self) -> &[RowFault] {
        &self.faults
    }

    /// The place of a column, known or not, matched without regard to case, blanks, underscores and
    /// hyphens. Our names come first and follow the re-mapping.
    pub fn column(&self, name: &str) -> Option<ColumnIndex> {
        self.columns.column(name)
    }

    /// The header of a column we know, if the list has it.
    pub fn header(&self, column: Column) -> Option<&str> {
        self.columns.known(column).map(|index| self.headers[usize::from(index.0)].as_str())
    }

    /// The headers that are none of our columns, in the order of the list.
    pub fn others(&self) -> impl Iterator<Item = &str> {
        let ours =
            |header: &&String| Column::ALL.into_iter().any(|column| self.header(column) == Some(header.as_str()));
        self.headers.iter().filter(move |header| !ours(header)).map(String::as_str)
    }

    /// Headers that look like a mistyped name of a column that is missing, with that column: worth
    /// a warning, since such a column is read as plain text.
    pub fn near_misses(&self) -> Vec<(String, Column)> {
        self.columns.near_misses(&self.headers)
    }
}

/// A list under construction.
#[derive(Debug)]
pub struct ListBuilder {
    list: CableList,
}

impl ListBuilder {
    /// Adds a row. Fields are trimmed; missing ones are blank; a row of blanks only is skipped; a
    /// row with text beyond the last header becomes a fault.
    ///
    /// `row` is the number the person sees, see [`Cable::row`]. Once a limit is reached
    /// ([`ListBuilder::room`]) a row becomes a fault too.
    pub fn push<'a>(&mut self, row: u32, fields: impl IntoIterator<Item = &'a str>) {
        let list = &mut self.list;
        let (text, ends) = (list.text.len(), list.ends.len());
        let width = list.headers.len();
        let mut trouble = None;
        for (index, field) in fields.into_iter().map(str::trim).enumerate() {
            if field.is_empty() && index >= width {
                continue;
            }
            if index >= width {
                trouble = Some(format!(
                    "found `{}` in column {}, wanted nothing beyond the {width} columns that have a header; \
                     put a field that contains the delimiter in quotes",
                    shortened(field),
                    index + 1
                ));
                break;
            }
            let end = u32::try_from(list.text.len() + field.len()).ok();
            let Some(end) = end.filter(|end| *end as usize <= MAX_TEXT_BYTES && ends + width <= MAX_FIELDS) else {
                trouble = Some(String::from("found more text than a list can hold, wanted a shorter list"));
                break;
            };
            list.text.push_str(field);
            list.ends.push(end);
        }
        if trouble.is_some() || list.text.len() == text {
            list.text.truncate(text);
            list.ends.truncate(ends);
            if let Some(trouble) = trouble {
                self.fault(row, None, trouble);
            }
            return;
        }
        // In range: every end above was checked.
        let end = list.ends.last().copied().unwrap_or_default();
        list.ends.resize(ends + width, end);
        list.rows.push(row);
    }

    /// Reports a row that cannot be taken; do not push it.
    pub fn fault(&mut self, row: u32, field: Option<String>, text: impl Into<String>) {
        self.list.faults.push(RowFault { row, field, text: text.into() });
    }

    /// The headers as they stand in the file, trimmed.
    pub fn headers(&self) -> &[String] {
        &self.list.headers
    }

    /// Whether a row or a fault was added.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty() && self.list.faults.is_empty()
    }

    /// Says whether the list is still within its limits; a reader asks after each row.
    ///
    /// # Errors
    /// `Limit`: more than [`MAX_ROWS`] rows, [`MAX_FIELDS`] fields or [`MAX_TEXT_BYTES`] of text.
    pub fn room(&self) -> Result<()> {
        let list = &self.list;
        if list.rows.len() + list.faults.len() > MAX_ROWS {
            return Err(Error::limit(format!("found more than {MAX_ROWS} rows, wanted at most that; split the list")));
        }
        if list.text.len() >= MAX_TEXT_BYTES || list.ends.len() + list.headers.len() > MAX_FIELDS {
            return Err(Error::limit(format!(
                "found more than {MAX_FIELDS} fields or {MAX_TEXT_BYTES} bytes of text, wanted at most that; split the list"
            )));
        }
        Ok(())
    }

    /// The finished list.
    pub fn finish(mut self) -> CableList {
        self.list.text.shrink_to_fit();
        self.list.ends.shrink_to_fit();
        self.list.rows.shrink_to_fit();
        self.list
    }
}

/// One cable of a list.
#[derive(Clone, Copy, Debug)]
pub struct Cable<'a> {
    pub(super) list: &'a CableList,
    index: usize,
}

impl<'a> Cable<'a> {
    /// The row as the person sees it: the line of the text file in which the row begins, or the row
    /// of the sheet; the header counts, so the first cable is usually in row 2.
    pub fn row(&self) -> u32 {
        self.list.rows[self.index]
    }

    /// The list it stands in.
    pub const fn list(&self) -> &'a CableList {
        self.list
    }

    /// The trimmed text of a column we know; empty when the column or the cell is absent.
    pub fn text(&self, column: Column) -> &'a str {
        self.list.columns.known(column).map_or("", |index| self.field(index))
    }

    /// The trimmed text of any column of *this* list.
    ///
    /// # Panics
    /// If the index comes from a wider list.
    pub fn field(&self, index: ColumnIndex) -> &'a str {
        let width = self.list.headers.len();
        let column = usize::from(index.0);
        assert!(column < width, "column {column} of a list of {width}");
        let at = self.index * width + column;
        let start = if at == 0 { 0 } else { self.list.ends[at - 1] };
        &self.list.text[start as usize..self.list.ends[at] as usize]
    }

    /// The first of these columns in which the cell is not blank, with its header and text.
    pub(super) fn first_of(&self, columns: &[Column]) -> Option<(Column, &'a str, &'a str)> {
        columns.iter().find_map(|&column| {
            let text = self.text(column);
            let header = self.list.header(column)?;
            (!text.is_empty()).then_some((column, header, text))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn builder(headers: &[&str]) -> ListBuilder {
        CableList::builder(headers.iter().map(ToString::to_string).collect(), &BTreeMap::new()).unwrap()
    }

    #[test]
    fn rows_keep_their_fields_and_their_numbers() {
        let mut builder = builder(&["Owner ", "Batch", "Colour"]);
        builder.push(2, ["TWP", " OTTER\u{a0}", "red"]);
        builder.push(4, ["", "HERON"]);
        builder.push(5, ["", "  ", ""]);
        builder.push(6, ["TWP", "", "blue", "", " "]);
        let list = builder.finish();
        assert_eq!(list.headers(), ["Owner", "Batch", "Colour"]);
        let colour = list.column("COLOUR").unwrap();
        let seen: Vec<_> =
            list.iter().map(|c| (c.row(), c.text(Column::Owner), c.text(Column::Batch), c.field(colour))).collect();
        assert_eq!(seen, [(2, "TWP", "OTTER", "red"), (4, "", "HERON", ""), (6, "TWP", "", "blue")]);
        assert_eq!(list.cable(1).text(Column::OdMm), "");
        assert_eq!((list.len(), list.is_empty(), list.faults().len()), (3, false, 0));
    }

    #[test]
    fn a_row_with_too_many_fields_is_a_fault_and_the_rest_goes_on() {
        let mut builder = builder(&["owner", "note"]);
        builder.push(2, ["TWP", "a", "b"]);
        builder.push(3, ["TWP", "c"]);
        builder.fault(4, Some("note".into()), "found #REF!, wanted a value");
        let list = builder.finish();
        assert_eq!(list.len(), 1);
        assert_eq!(list.cable(0).text(Column::Note), "c");
        assert_eq!(list.faults()[0].row, 2);
        assert!(list.faults()[0].text.starts_with("found `b` in column 3, wanted nothing beyond the 2 columns"));
        assert_eq!(list.faults()[1].field.as_deref(), Some("note"));
    }

    #[test]
    fn memory_is_the_text_and_four_bytes_a_field() {
        let mut builder = builder(&["owner", "batch", "number", "length", "kind"]);
        for row in 0..10_000u32 {
            builder.push(row + 2, ["TWP", "OTTER", "1040", "50 ft", "RG-59"]);
        }
        let list = builder.finish();
        assert_eq!(list.text.capacity(), 10_000 * 22);
        assert_eq!(list.ends.capacity(), 50_000);
        assert_eq!(list.rows.capacity(), 10_000);
    }

    #[test]
    fn limits_are_stated() {
        let wide: Vec<String> = (0..257).map(|n| format!("note{n}")).collect();
        let error = CableList::builder(wide, &BTreeMap::new()).unwrap_err();
        assert_eq!((error.kind(), error.text()), (crate::error::Kind::Limit, "found 257 columns, wanted at most 256"));
        let mut full = builder(&["note"]);
        let long = "x".repeat(MAX_TEXT_BYTES / 2);
        full.push(2, [long.as_str()]);
        full.room().unwrap();
        full.push(3, [long.as_str()]);
        assert_eq!(full.room().unwrap_err().kind(), crate::error::Kind::Limit);
        full.push(4, ["y"]);
        let list = full.finish();
        assert_eq!((list.len(), list.faults().len()), (2, 1));
    }
}
