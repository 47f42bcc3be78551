//! Length of a cable, as text for the label and as a length.

use super::measure::{Reading, Unit, Unreadable, read};
use super::{Cable, Column, FieldError, shortened};
use crate::unit::Micrometres;

/// The longest cable we believe: 10 km.
const LONGEST: Micrometres = Micrometres(10_000_000_000);

/// How long a cable is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CableLength {
    /// As it should stand on a label: what the list says, runs of blanks made one; in a column of
    /// feet or metres a plain number gets its unit (`50 ft`).
    pub text: String,
    /// More than zero, at most 10 km.
    pub length: Micrometres,
}

/// A length with its unit, as people write it: `3.2m`, `10 ft`, `12'6"`; `None` for anything else, and for
/// lengths no cable has.
pub fn length_of(text: &str) -> Option<Micrometres> {
    match read(text) {
        Ok(Reading::Length(length)) if length > Micrometres::ZERO && length <= LONGEST => Some(length),
        _ => None,
    }
}

impl Cable<'_> {
    /// The length: from `length`, else `length_ft`, else `length_m`. Nothing if all are blank.
    ///
    /// # Errors
    /// The cell is no length, has no unit in the column `length`, or is not between 0 and 10 km.
    pub fn length(&self) -> Result<Option<CableLength>, FieldError> {
        let Some((column, header, text)) = self.first_of(&[Column::Length, Column::LengthFt, Column::LengthM]) else {
            return Ok(None);
        };
        let unit = match column {
            Column::LengthFt => Some((Unit::Foot, "ft")),
            Column::LengthM => Some((Unit::Metre, "m")),
            _ => None,
        };
        let error = |wanted: &str, hint: Option<&str>| FieldError {
            field: header.to_owned(),
            found: shortened(text),
            wanted: wanted.to_owned(),
            hint: hint.map(str::to_owned),
        };
        let mut label = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let length = match (read(text), unit) {
            (Ok(Reading::Length(length)), _) => Some(length),
            (Ok(Reading::Plain(number)), Some((unit, name))) => {
                label = format!("{label} {name}");
                number.of(unit)
            }
            (Ok(Reading::Plain(_)), None) => {
                return Err(error(
                    "a length with its unit",
                    Some("write `50 ft` or `15 m`, or name the column length_ft or length_m"),
                ));
            }
            (Err(Unreadable::Thousands), _) => {
                return Err(error("a length without a thousands mark", Some("write `1000 ft`, or `1.0 ft`")));
            }
            (Err(Unreadable::Other), _) => {
                return Err(error("a length such as `50 ft`, `12'6\"` or `15 m`", None));
            }
        };
        match length.filter(|length| *length > Micrometres::ZERO && *length <= LONGEST) {
            Some(length) => Ok(Some(CableLength { text: label, length })),
            None => Err(error("a length of more than 0 and at most 10 km", None)),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::CableList;
    use super::*;

    fn length(header: &str, text: &str) -> Result<Option<CableLength>, FieldError> {
        let headers = vec!["owner".to_owned(), header.to_owned()];
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["TWP", text]);
        builder.finish().cable(0).length()
    }

    #[track_caller]
    fn check(header: &str, text: &str, label: &str, micrometres: i64) {
        let expected = CableLength { text: label.into(), length: Micrometres(micrometres) };
        assert_eq!(length(header, text), Ok(Some(expected)), "{header}: {text}");
    }

    #[track_caller]
    fn check_error(header: &str, text: &str, message: &str) {
        let error = length(header, text).unwrap_err();
        assert_eq!(error.to_string(), message);
        assert_eq!(error.field, header);
    }

    #[test]
    fn the_label_says_what_the_list_says() {
        check("length", " 50'", "50'", 15_240_000);
        check("length", "12 ft   6 in", "12 ft 6 in", 3_810_000);
        check("length_ft", "50", "50 ft", 15_240_000);
        check("Length M", "1,5", "1,5 m", 1_500_000);
        check("length_ft", "15 m", "15 m", 15_000_000);
        check("length", "7m5", "7m5", 7_500_000);
        check("length_m", "10000", "10000 m", 10_000_000_000);
        assert_eq!(length("length", ""), Ok(None));
        assert_eq!(length("note", "50 ft"), Ok(None));
    }

    #[test]
    fn a_bad_length_says_what_to_write() {
        check_error(
            "Length",
            "50",
            "found `50`, wanted a length with its unit; write `50 ft` or `15 m`, or name the column length_ft or length_m",
        );
        check_error(
            "length",
            "1,000 ft",
            "found `1,000 ft`, wanted a length without a thousands mark; write `1000 ft`, or `1.0 ft`",
        );
        check_error("length", "long", "found `long`, wanted a length such as `50 ft`, `12'6\"` or `15 m`");
        check_error("length_m", "10000.001", "found `10000.001`, wanted a length of more than 0 and at most 10 km");
        check_error("length_ft", "0", "found `0`, wanted a length of more than 0 and at most 10 km");
    }

    #[test]
    fn the_first_column_that_is_not_blank_counts() {
        let headers = ["length", "length_ft", "length_m"].map(String::from).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["", "50", "15"]);
        assert_eq!(builder.finish().cable(0).length().unwrap().unwrap().text, "50 ft");
    }
}
