//! Label text with places for columns: `{owner} {batch}`.

use super::End;
use crate::cable::{Cable, CableList, Column, ColumnIndex, FieldError};
use crate::error::{Error, Result};

/// One piece of a template.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Literal(String),
    /// The owner, or the job's own where the cell is blank.
    Owner,
    /// The length as a label shows it.
    Length,
    /// `near` or `far`.
    End,
    Column(ColumnIndex),
    /// A column of ours that this list does not have: blank.
    Absent,
}

/// A line of label text, its columns found in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    pieces: Vec<Piece>,
}

impl Template {
    /// Reads a template and looks its columns up. `{{` and `}}` stand for braces.
    ///
    /// # Errors
    /// Kind `Input`: a brace that is not closed, or a name that is no column of the list.
    pub fn new(text: &str, list: &CableList) -> Result<Self> {
        let mut pieces = Vec::new();
        let mut literal = String::new();
        let mut rest = text;
        while let Some(at) = rest.find(['{', '}']) {
            literal.push_str(&rest[..at]);
            let brace = &rest[at..];
            if brace.starts_with("{{") || brace.starts_with("}}") {
                literal.push_str(&brace[..1]);
                rest = &brace[2..];
            } else if let Some(end) = brace.find('}').filter(|&end| end > 0) {
                if !literal.is_empty() {
                    pieces.push(Piece::Literal(std::mem::take(&mut literal)));
                }
                pieces.push(Self::piece(brace[1..end].trim(), text, list)?);
                rest = &brace[end + 1..];
            } else {
                let hint = "write {{ or }} for a brace itself";
                return Err(Error::input(format!(
                    "text `{text}`: found a lone `{}`, wanted {{column}}; {hint}",
                    &brace[..1]
                )));
            }
        }
        literal.push_str(rest);
        if !literal.is_empty() {
            pieces.push(Piece::Literal(literal));
        }
        Ok(Self { pieces })
    }

    fn piece(name: &str, text: &str, list: &CableList) -> Result<Piece> {
        if name.eq_ignore_ascii_case("end") && list.column(name).is_none() {
            return Ok(Piece::End);
        }
        match (Column::named(name), list.column(name)) {
            (Some(Column::Owner), _) => Ok(Piece::Owner),
            (Some(Column::Length | Column::LengthFt | Column::LengthM), _) => Ok(Piece::Length),
            (_, Some(index)) => Ok(Piece::Column(index)),
            (Some(_), None) => Ok(Piece::Absent),
            (None, None) => Err(Error::input(format!(
                "text `{text}`: found `{{{name}}}`, wanted a column of the list: {}",
                list.headers().join(", ")
            ))),
        }
    }

    /// The columns named that this list does not have.
    pub fn lacks_columns(&self) -> bool {
        self.pieces.contains(&Piece::Absent)
    }

    /// The text for one cable's end, blanks squeezed and trimmed. A line of which nothing is filled
    /// in is empty: `to {to}` without a `to` would say nothing.
    ///
    /// # Errors
    /// A length that cannot be read.
    pub fn fill(&self, cable: Cable<'_>, end: End, owner: &str) -> std::result::Result<String, FieldError> {
        let mut text = String::new();
        let (mut places, mut filled) = (0, false);
        for piece in &self.pieces {
            let before = text.len();
            match piece {
                Piece::Literal(literal) => text.push_str(literal),
                Piece::Owner => {
                    let own = cable.text(Column::Owner);
                    text.push_str(if own.is_empty() { owner } else { own });
                }
                Piece::Length => {
                    if let Some(length) = cable.length()? {
                        text.push_str(&length.text);
                    }
                }
                Piece::End => text.push_str(end.word()),
                Piece::Column(index) => text.push_str(cable.field(*index)),
                Piece::Absent => {}
            }
            if !matches!(piece, Piece::Literal(_)) {
                places += 1;
                filled |= text.len() > before;
            }
        }
        if places > 0 && !filled {
            return Ok(String::new());
        }
        if text.trim().len() != text.len() || text.contains("  ") || text.contains(char::is_control) {
            text = text
                .split(|c: char| c.is_whitespace() || c.is_control())
                .filter(|word| !word.is_empty())
                .collect::<Vec<_>>()
                .join(" ");
        }
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    fn list() -> CableList {
        let headers = ["batch", "Number", "length_ft", "Rack row"].map(str::to_owned).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["OTTER", "1040", "50", "B 7"]);
        builder.finish()
    }

    #[test]
    fn columns_fill_in_and_blanks_are_squeezed() {
        let list = list();
        for (template, wanted) in [
            ("{owner} {batch}", "TWP OTTER"),
            ("{number} {length}", "1040 50 ft"),
            ("{rack_row}/{end}", "B 7/far"),
            ("{{{batch}}} {note} x", "{OTTER} x"),
        ] {
            let template = Template::new(template, &list).unwrap();
            assert_eq!(template.fill(list.cable(0), End::Far, "TWP").unwrap(), wanted);
        }
    }

    #[test]
    fn a_line_with_nothing_filled_in_is_left_out() {
        let headers = ["batch", "to"].map(str::to_owned).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["OTTER", ""]);
        let list = builder.finish();
        let fill = |text: &str| Template::new(text, &list).unwrap().fill(list.cable(0), End::Near, "").unwrap();
        assert_eq!(fill("to {to}"), "");
        assert_eq!(fill("{batch} to {to}"), "OTTER to");
        assert_eq!(fill("spare"), "spare");
    }

    #[test]
    fn a_wrong_template_says_what_there_is() {
        let list = list();
        let error = Template::new("{shelf}", &list).unwrap_err().to_string();
        assert_eq!(
            error,
            "text `{shelf}`: found `{shelf}`, wanted a column of the list: batch, Number, length_ft, Rack row"
        );
        assert!(Template::new("{batch", &list).unwrap_err().to_string().contains("lone `{`"));
        assert!(Template::new("batch}", &list).unwrap_err().to_string().contains("lone `}`"));
    }
}
