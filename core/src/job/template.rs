//! Label text with places for columns: `{owner} {batch}`.

use super::End;
use crate::cable::{Cable, CableList, Column, ColumnIndex, FieldError};
use crate::error::{Error, Result};
use crate::font::bidi::isolated;
use crate::layout::{Seam, Text, quantity, seam_within};

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
    Column(Place),
    /// A column of ours that this list does not have: blank.
    Absent,
}

impl Piece {
    /// Values people say in one breath have the same number.
    const fn breath(&self) -> Option<u8> {
        match self {
            Self::Owner | Self::Column(Place { ours: Some(Column::Batch), .. }) => Some(0),
            Self::Length | Self::Column(Place { ours: Some(Column::Number), .. }) => Some(1),
            _ => None,
        }
    }
}

/// A column of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    index: ColumnIndex,
    /// Which of ours it is.
    ours: Option<Column>,
}

/// A line of label text, its columns found in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    pieces: Vec<Piece>,
    /// Names of its places as written.
    names: Vec<String>,
    /// For each piece its place in the list of what may be left out.
    drops: Vec<Option<usize>>,
}

impl Template {
    /// Reads a template and looks its columns up. `{{` and `}}` stand for braces. `may_drop` names
    /// what may be left out where room is short, the least important first.
    ///
    /// # Errors
    /// Kind `Input`: a brace that is not closed, or a name that is no column of the list.
    pub fn new(text: &str, list: &CableList, may_drop: &[String]) -> Result<Self> {
        let (mut pieces, mut names, mut drops) = (Vec::new(), Vec::new(), Vec::new());
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
                    drops.push(None);
                }
                let name = brace[1..end].trim();
                let piece = Self::piece(name, text, list)?;
                let same = |drop: &String| Self::piece(drop, text, list).is_ok_and(|drop| drop == piece);
                drops.push(if piece == Piece::Absent { None } else { may_drop.iter().position(same) });
                pieces.push(piece);
                names.push(name.to_owned());
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
            drops.push(None);
        }
        Ok(Self { pieces, names, drops })
    }

    /// Refuses names of what may be left out that name nothing.
    ///
    /// # Errors
    /// Kind `Input`: a name that is no column of the list and none of ours.
    pub fn check_drops(may_drop: &[String], list: &CableList) -> Result<()> {
        for name in may_drop {
            if Column::named(name.trim()) == Some(Column::Number) {
                return Err(Error::input(format!(
                    "may_drop: found `{name}`, wanted columns a label can do without: without its number it names no cable"
                )));
            }
            if Self::piece(name.trim(), "", list).is_err() {
                return Err(Error::input(format!(
                    "may_drop: found `{name}`, wanted columns of the list, the least important first: {}",
                    list.headers().join(", ")
                )));
            }
        }
        Ok(())
    }

    fn piece(name: &str, text: &str, list: &CableList) -> Result<Piece> {
        if name.eq_ignore_ascii_case("end") && list.column(name).is_none() {
            return Ok(Piece::End);
        }
        match (Column::named(name), list.column(name)) {
            (Some(Column::Owner), _) => Ok(Piece::Owner),
            (Some(Column::Length | Column::LengthFt | Column::LengthM), _) => Ok(Piece::Length),
            (ours, Some(index)) => Ok(Piece::Column(Place { index, ours })),
            (Some(_), None) => Ok(Piece::Absent),
            (None, None) => Err(Error::input(format!(
                "text `{text}`: found `{{{name}}}`, wanted a column of the list: {}",
                list.headers().join(", ")
            ))),
        }
    }

    /// Whether the text differs from end to end of a cable.
    pub fn says_end(&self) -> bool {
        self.pieces.contains(&Piece::End)
    }

    /// The columns named that this list does not have.
    pub fn lacks_columns(&self) -> bool {
        self.pieces.contains(&Piece::Absent)
    }

    /// Whether it has places and this list has a column for none of them.
    pub fn is_without_columns(&self) -> bool {
        !self.names.is_empty() && self.pieces.iter().all(|piece| matches!(piece, Piece::Absent | Piece::Literal(_)))
    }

    /// The names of its places, as written.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// What stands before the first place of another template's, if it stands here.
    pub fn before(&self, place: &Self) -> Option<Self> {
        let wanted = place.pieces.iter().find(|piece| !matches!(piece, Piece::Literal(_) | Piece::Absent))?;
        let at = self.pieces.iter().position(|piece| piece == wanted)?;
        let places = self.pieces[..at].iter().filter(|piece| !matches!(piece, Piece::Literal(_))).count();
        Some(Self {
            pieces: self.pieces[..at].to_vec(),
            names: self.names[..places].to_vec(),
            drops: self.drops[..at].to_vec(),
        })
    }

    /// Adds the text for one cable's end as a line, blanks squeezed and trimmed, without the first
    /// `dropped` of what may be left out. A line of which nothing is filled in is left out: `to {to}`
    /// without a `to` would say nothing.
    ///
    /// # Errors
    /// A length that cannot be read.
    pub fn fill(
        &self,
        (cable, end, owner): (Cable<'_>, End, &str),
        dropped: usize,
        to: &mut Text,
    ) -> std::result::Result<(), FieldError> {
        let mut text = String::new();
        // Where each piece ends.
        let mut ends = Vec::with_capacity(self.pieces.len());
        let (mut places, mut filled) = (0, false);
        let left_out = |nth: usize| self.drops.get(nth).copied().flatten().is_some_and(|place| place < dropped);
        for (nth, piece) in self.pieces.iter().enumerate() {
            let before = text.len();
            match piece {
                Piece::Literal(literal) => {
                    // Signs that touch a value left out go with it: `{number}/{length}`, `({length})`.
                    let after = nth > 0 && left_out(nth - 1);
                    let mut literal = literal.as_str();
                    if after {
                        literal = literal.find(char::is_whitespace).map_or("", |at| &literal[at..]);
                    }
                    if left_out(nth + 1) {
                        literal = literal.rfind(char::is_whitespace).map_or("", |at| &literal[..at]);
                    }
                    text.push_str(literal);
                }
                _ if left_out(nth) => {}
                Piece::Owner => {
                    let own = cable.text(Column::Owner);
                    text.push_str(&isolated(if own.is_empty() { owner } else { own }));
                }
                Piece::Length => {
                    if let Some(length) = cable.length()? {
                        text.push_str(&isolated(&length.text));
                    }
                }
                Piece::End => text.push_str(end.word()),
                Piece::Column(place) => text.push_str(&isolated(cable.field(place.index))),
                Piece::Absent => {}
            }
            ends.push(text.len());
            if !matches!(piece, Piece::Literal(_)) {
                places += 1;
                filled |= text.len() > before;
            }
        }
        if places == 0 || filled {
            let (text, seams) = self.squeezed(text, &ends);
            to.push(text, seams);
        }
        Ok(())
    }

    /// Runs of blanks made one, none at the ends; and what every blank left parts.
    fn squeezed(&self, text: String, ends: &[usize]) -> (String, Vec<(usize, Seam)>) {
        let clean = text.trim().len() == text.len() && !text.contains("  ") && !text.contains(char::is_control);
        let mut line = String::with_capacity(if clean { 0 } else { text.len() });
        let mut seams = Vec::new();
        let (mut before, mut length): (Option<(usize, &str)>, usize) = (None, 0);
        let mut piece = 0;
        for word in text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|word| !word.is_empty()) {
            let start = word.as_ptr() as usize - text.as_ptr() as usize;
            let at = |byte: usize, from: usize| (from..ends.len()).find(|&piece| byte < ends[piece]).unwrap_or(from);
            let first = at(start, piece);
            piece = at(start + word.len() - 1, first);
            // A word with signs from the template is still its value: `{batch}:`, `({length})`.
            let value = |piece: &usize| !matches!(self.pieces[*piece], Piece::Literal(_));
            if let Some((last, previous)) = before {
                let first = (first..=piece).find(value).unwrap_or(first);
                seams.extend(self.seam((last, previous), (first, word)).map(|seam| (length, seam)));
                length += 1;
            }
            before = Some(((first..=piece).rfind(value).unwrap_or(piece), word));
            length += word.len();
            if !clean {
                if !line.is_empty() {
                    line.push(' ');
                }
                line.push_str(word);
            }
        }
        (if clean { text } else { line }, seams)
    }

    /// What is parted between two words, each with its piece.
    fn seam(&self, (last, before): (usize, &str), (first, after): (usize, &str)) -> Option<Seam> {
        if last == first {
            // A length stays whole: `12 ft 6 in`.
            return seam_within(before, after).filter(|_| self.pieces[first] != Piece::Length);
        }
        let literal = |piece: usize| matches!(self.pieces[piece], Piece::Literal(_));
        // `no {number}`: a fixed word goes with what follows, or else with what it follows.
        let more = self.pieces[first..].iter().any(|piece| !matches!(piece, Piece::Literal(_)));
        match (literal(last), literal(first)) {
            _ if quantity(before, after) => None,
            (true, _) => Some(Seam::Word),
            (false, true) => Some(if more { Seam::Group } else { Seam::Word }),
            (false, false) => {
                let breath = self.pieces[last].breath();
                let same = breath.is_some() && breath == self.pieces[first].breath();
                Some(if same { Seam::Field } else { Seam::Group })
            }
        }
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

    fn texts(list: &CableList, template: &str, may_drop: &[&str], dropped: usize) -> Text {
        let may_drop: Vec<String> = may_drop.iter().map(|&name| name.to_owned()).collect();
        let mut text = Text::new();
        let template = Template::new(template, list, &may_drop).unwrap();
        template.fill((list.cable(0), End::Far, "TWP"), dropped, &mut text).unwrap();
        text
    }

    fn filled(list: &CableList, template: &str, end: End, owner: &str, may_drop: &[&str], dropped: usize) -> String {
        let may_drop: Vec<String> = may_drop.iter().map(|&name| name.to_owned()).collect();
        let mut text = Text::new();
        let template = Template::new(template, list, &may_drop).unwrap();
        template.fill((list.cable(0), end, owner), dropped, &mut text).unwrap();
        text.lines().first().cloned().unwrap_or_default()
    }

    /// A line with `|` for group, `/` for field, `.` for word and `~` for numeral where it may be broken.
    fn seams(list: &CableList, template: &str) -> String {
        let text = texts(list, template, &[], 0);
        let mut line = text.lines()[0].clone();
        for &(at, seam) in text.seams(0) {
            let sign = match seam {
                Seam::Group => "|",
                Seam::Field => "/",
                Seam::Word => ".",
                Seam::Numeral => "~",
            };
            line.replace_range(at..=at, sign);
        }
        line
    }

    #[test]
    fn lines_break_between_groups_before_fields_before_words_and_never_at_a_unit() {
        let headers = ["batch", "number", "length", "to", "size", "unit"].map(str::to_owned).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["OTTER", "1040", "12 ft  6 in", "Stage left  Desk 3", "63", "A"]);
        let list = builder.finish();
        for (template, wanted) in [
            ("{owner} {batch} {number} {length}", "TWP/OTTER|1040/12 ft 6 in"),
            ("  {batch}  {to} ", "OTTER|Stage.left.Desk~3"),
            ("{batch} to {to}", "OTTER|to.Stage.left.Desk~3"),
            ("{batch} at the bench", "OTTER.at.the.bench"),
            ("{size} {unit} {batch}", "63 A|OTTER"),
            ("{size} A", "63 A"),
            ("{batch}: {number}", "OTTER:|1040"),
        ] {
            assert_eq!(seams(&list, template), wanted, "{template}");
        }
    }

    #[test]
    fn what_may_be_left_out_goes_with_its_signs() {
        let list = list();
        for (template, dropped, wanted) in [
            ("{owner} {batch} {number} {length}", 0, "TWP OTTER 1040 50 ft"),
            ("{owner} {batch} {number} {length}", 1, "TWP OTTER 1040"),
            ("{owner} {batch} {number} {length}", 2, "OTTER 1040"),
            ("{number} ({length}) {batch}", 1, "1040 OTTER"),
            ("{owner}/{batch} {number}/{length}", 2, "OTTER 1040"),
            ("{length}", 1, ""),
        ] {
            assert_eq!(filled(&list, template, End::Near, "TWP", &["length", "owner"], dropped), wanted);
        }
        let error = Template::check_drops(&["shelf".to_owned()], &list).unwrap_err().to_string();
        assert_eq!(
            error,
            "may_drop: found `shelf`, wanted columns of the list, the least important first: batch, Number, length_ft, Rack row"
        );
        assert!(Template::check_drops(&["Owner".to_owned(), "rack row".to_owned()], &list).is_ok());
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
            assert_eq!(filled(&list, template, End::Far, "TWP", &[], 0), wanted);
        }
    }

    #[test]
    fn a_line_with_nothing_filled_in_is_left_out() {
        let headers = ["batch", "to"].map(str::to_owned).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["OTTER", ""]);
        let list = builder.finish();
        let fill = |text: &str| filled(&list, text, End::Near, "", &[], 0);
        assert_eq!(fill("to {to}"), "");
        assert_eq!(fill("{batch} to {to}"), "OTTER to");
        assert_eq!(fill("spare"), "spare");
    }

    #[test]
    fn what_stands_before_a_place_is_found() {
        let list = list();
        let template = |text: &str| Template::new(text, &list, &[]).unwrap();
        let before = template("{batch} no. {number} {length}").before(&template("{length}")).unwrap();
        let mut text = Text::new();
        before.fill((list.cable(0), End::Far, ""), 0, &mut text).unwrap();
        assert_eq!(text.lines(), ["OTTER no. 1040"]);
        assert_eq!(before.names(), ["batch", "number"]);
        assert_eq!(template("{batch}").before(&template("{length}")), None);
        assert!(template("to {to}").is_without_columns() && !template("{batch} {to}").is_without_columns());
        assert!(!template("spare").is_without_columns());
    }

    #[test]
    fn a_wrong_template_says_what_there_is() {
        let list = list();
        let error = Template::new("{shelf}", &list, &[]).unwrap_err().to_string();
        assert_eq!(
            error,
            "text `{shelf}`: found `{shelf}`, wanted a column of the list: batch, Number, length_ft, Rack row"
        );
        assert!(Template::new("{batch", &list, &[]).unwrap_err().to_string().contains("lone `{`"));
        assert!(Template::new("batch}", &list, &[]).unwrap_err().to_string().contains("lone `}`"));
    }
}
