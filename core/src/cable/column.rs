//! The columns we know, and how headers of a file are matched with them.

use std::collections::BTreeMap;

use super::{nearest, quoted};
use crate::error::{Error, Result};

/// A column that means something to the program. Any other column can still stand in label text.
///
/// Headers are matched without regard to case, blanks, underscores and hyphens:
/// `OD mm`, `od_mm` and `Od-MM` are the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "the names of the columns, as in the file; the fields are explained in the manual")]
pub enum Column {
    Owner,
    Batch,
    Number,
    Length,
    LengthFt,
    LengthM,
    Od,
    OdMm,
    OdIn,
    Kind,
    From,
    To,
    Terminated,
    Stock,
    Build,
    Note,
}

impl Column {
    /// All columns, in the order in which messages list them.
    pub const ALL: [Self; 16] = [
        Self::Owner,
        Self::Batch,
        Self::Number,
        Self::Length,
        Self::LengthFt,
        Self::LengthM,
        Self::Od,
        Self::OdMm,
        Self::OdIn,
        Self::Kind,
        Self::From,
        Self::To,
        Self::Terminated,
        Self::Stock,
        Self::Build,
        Self::Note,
    ];

    /// The name as it stands in a list, a job file and label text.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Batch => "batch",
            Self::Number => "number",
            Self::Length => "length",
            Self::LengthFt => "length_ft",
            Self::LengthM => "length_m",
            Self::Od => "od",
            Self::OdMm => "od_mm",
            Self::OdIn => "od_in",
            Self::Kind => "kind",
            Self::From => "from",
            Self::To => "to",
            Self::Terminated => "terminated",
            Self::Stock => "stock",
            Self::Build => "build",
            Self::Note => "note",
        }
    }

    /// The column of this name, matched as headers are.
    pub fn named(name: &str) -> Option<Self> {
        let name = plain(name);
        Self::ALL.into_iter().find(|column| plain(column.name()) == name)
    }
}

/// The place of a column in one list, found by [`super::CableList::column`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ColumnIndex(pub(super) u16);

/// A header reduced to what is compared: lower case, no blanks, underscores, hyphens.
pub(super) fn plain(header: &str) -> String {
    header
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '_' | '-' | '\u{2010}' | '\u{2011}'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// Whether a row of headers names at least one column we know, directly or by re-mapping.
pub fn is_list(headers: &[String], remap: &BTreeMap<String, String>) -> bool {
    headers.iter().any(|header| {
        let name = plain(header);
        Column::named(header).is_some() || (!name.is_empty() && remap.values().any(|to| plain(to) == name))
    })
}

/// Where each column stands in one list.
#[derive(Clone, Debug)]
pub(super) struct ColumnTable {
    /// Headers, reduced for comparison; empty for a column without a header.
    plain: Vec<String>,
    known: [Option<ColumnIndex>; 16],
}

impl ColumnTable {
    /// Matches headers with columns.
    ///
    /// # Errors
    /// `Input`: no header at all, two equal headers, no column we know, a re-mapping of a column
    /// that is not ours or to a header that is not there.
    pub(super) fn new(headers: &[String], remap: &BTreeMap<String, String>) -> Result<Self> {
        let table = Self { plain: headers.iter().map(|header| plain(header)).collect(), known: [None; 16] };
        if table.plain.iter().all(String::is_empty) {
            return Err(Error::input(format!("found a header row without names, wanted {}", wanted())));
        }
        for (second, name) in table.plain.iter().enumerate() {
            let first = table.plain.iter().position(|other| other == name).unwrap_or(second);
            if first != second && !name.is_empty() {
                return Err(Error::input(format!(
                    "found `{}` (column {}) and `{}` (column {}), which are the same name, wanted each name once; \
                     rename one of them",
                    headers[first],
                    first + 1,
                    headers[second],
                    second + 1
                )));
            }
        }
        table.matched(headers, remap)
    }

    fn matched(mut self, headers: &[String], remap: &BTreeMap<String, String>) -> Result<Self> {
        let mut claimed = vec![false; headers.len()];
        for (ours, header) in remap {
            let Some(column) = Column::named(ours) else {
                let hint = nearest::one(ours, Column::ALL.map(Column::name))
                    .map_or(String::new(), |name| format!("; did you mean `{name}`?"));
                return Err(Error::input(format!("found `{ours}` in [columns], wanted {}{hint}", wanted())));
            };
            let Some(index) = self.find(header) else {
                return Err(Error::input(format!(
                    "found `{ours} = \"{header}\"` in [columns], wanted a header of the list: {}",
                    quoted(headers.iter().filter(|header| !header.trim().is_empty()))
                )));
            };
            if self.known[column as usize].replace(index).is_some() {
                return Err(Error::input(format!("found `{}` twice in [columns], wanted it once", column.name())));
            }
            claimed[usize::from(index.0)] = true;
        }
        for column in Column::ALL {
            if self.known[column as usize].is_none() {
                // A header that was given to another column is not also what its own name says.
                self.known[column as usize] = self.find(column.name()).filter(|index| !claimed[usize::from(index.0)]);
            }
        }
        if self.known.iter().all(Option::is_none) {
            let hint = match self.near_misses(headers).first() {
                Some((header, column)) => format!("; did you mean `{}` by `{header}`?", column.name()),
                None => String::from("; or name your own in the job file under [columns]: od_mm = \"Outside dia\""),
            };
            return Err(Error::input(format!(
                "found the headers {}, wanted {}{hint}",
                quoted(headers.iter().filter(|header| !header.trim().is_empty()).take(20)),
                wanted()
            )));
        }
        Ok(self)
    }

    /// The place of a column we know.
    pub(super) fn known(&self, column: Column) -> Option<ColumnIndex> {
        self.known[column as usize]
    }

    /// The place of any column: our names (and so the re-mapped ones) first, then headers.
    pub(super) fn column(&self, name: &str) -> Option<ColumnIndex> {
        Column::named(name).and_then(|column| self.known(column)).or_else(|| self.find(name))
    }

    fn find(&self, header: &str) -> Option<ColumnIndex> {
        let name = plain(header);
        let index = self.plain.iter().position(|other| *other == name && !name.is_empty())?;
        u16::try_from(index).ok().map(ColumnIndex)
    }

    /// Headers that look like a mistyped name of a column that is missing.
    pub(super) fn near_misses(&self, headers: &[String]) -> Vec<(String, Column)> {
        let missing: Vec<Column> = Column::ALL.into_iter().filter(|column| self.known(*column).is_none()).collect();
        let taken = |index: usize| self.known.iter().flatten().any(|known| usize::from(known.0) == index);
        headers
            .iter()
            .enumerate()
            .filter(|(index, header)| !taken(*index) && plain(header).len() > 3)
            .filter_map(|(_, header)| {
                let name = nearest::one(&plain(header), missing.iter().map(|column| column.name()))?;
                Some((header.clone(), Column::named(name)?))
            })
            .collect()
    }
}

fn wanted() -> String {
    let names: Vec<&str> = Column::ALL.into_iter().map(Column::name).collect();
    format!("at least one of {}", names.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(names: &[&str]) -> Vec<String> {
        names.iter().map(ToString::to_string).collect()
    }

    fn remap(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
        pairs.iter().map(|(ours, theirs)| (ours.to_string(), theirs.to_string())).collect()
    }

    #[track_caller]
    fn check_error(names: &[&str], pairs: &[(&str, &str)], parts: &[&str]) {
        let error = ColumnTable::new(&headers(names), &remap(pairs)).unwrap_err().to_string();
        for part in parts {
            assert!(error.contains(part), "{error:?} does not say {part:?}");
        }
    }

    #[test]
    fn every_name_is_found_again_and_stands_at_its_place() {
        for (index, column) in Column::ALL.into_iter().enumerate() {
            assert_eq!(column as usize, index);
            assert_eq!(Column::named(&column.name().to_uppercase().replace('_', " ")), Some(column));
        }
        assert_eq!(Column::named("od-mm"), Some(Column::OdMm));
        assert_eq!(Column::named("odd"), None);
    }

    #[test]
    fn headers_match_in_any_dress() {
        let table = ColumnTable::new(&headers(&[" Owner", "OD MM", "", "length-ft", "Colour"]), &remap(&[])).unwrap();
        assert_eq!(table.known(Column::OdMm), Some(ColumnIndex(1)));
        assert_eq!(table.known(Column::LengthFt), Some(ColumnIndex(3)));
        assert_eq!(table.known(Column::Od), None);
        assert_eq!(table.column("colour "), Some(ColumnIndex(4)));
        assert_eq!(table.column(""), None, "a column without a header has no name");
    }

    #[test]
    fn a_remapped_header_serves_only_its_new_name() {
        let names = headers(&["Length", "Outside dia"]);
        let table = ColumnTable::new(&names, &remap(&[("od_mm", "outside DIA"), ("length_ft", "length")])).unwrap();
        assert_eq!(table.known(Column::OdMm), Some(ColumnIndex(1)));
        assert_eq!(table.known(Column::LengthFt), Some(ColumnIndex(0)));
        assert_eq!(table.known(Column::Length), None);
        assert_eq!(table.column("outside_dia"), Some(ColumnIndex(1)));
        assert_eq!(table.column("od mm"), Some(ColumnIndex(1)));
    }

    #[test]
    fn headers_that_cannot_be_used_say_why() {
        check_error(&["Length", "Note", "LENGTH "], &[], &["`Length` (column 1)", "(column 3)", "rename"]);
        check_error(&["", " "], &[], &["header row without names", "owner, batch"]);
        check_error(&["Lenght", "Colour"], &[], &["`Lenght`, `Colour`", "did you mean `length`"]);
        check_error(&["Colour"], &[], &["[columns]: od_mm = \"Outside dia\""]);
        check_error(&["Colour", "note"], &[("od_mm", "Dia")], &["`od_mm = \"Dia\"`", "`Colour`, `note`"]);
        check_error(&["Dia"], &[("od_m", "Dia")], &["`od_m`", "did you mean `od"]);
        check_error(&["a", "b"], &[("od_mm", "a"), ("OD mm", "b")], &["twice"]);
    }

    #[test]
    fn a_mistyped_header_beside_good_ones_is_reported() {
        let names = headers(&["batch", "lenght", "colour"]);
        let table = ColumnTable::new(&names, &remap(&[])).unwrap();
        assert_eq!(table.near_misses(&names), [("lenght".to_string(), Column::Length)]);
    }
}
