//! The file of cartridges: `[[cartridge]]` tables, one for each open cartridge and one for each pile
//! of sealed ones. Edits change single lines, so that comments of a person stay.

use crate::error::{Error, Result};
use crate::media::{Catalogue, Printer};
use crate::unit::Micrometres;
use serde::Deserialize;
use std::fmt::Write;

/// Most cartridges of a pile, and most tables of a file: far beyond any shelf.
const MOST: usize = 1000;

/// How much is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Left {
    /// An open cartridge.
    Open {
        /// Tape left on it.
        length: Micrometres,
        /// It may be so much more or less; 0 when it was measured.
        error: Micrometres,
    },
    /// So many full ones, still sealed.
    Sealed(u32),
}

/// An entry of the shelf.
#[derive(Clone, Debug, PartialEq)]
pub struct Cartridge {
    /// What a person writes on it; unique on the shelf.
    pub id: String,
    /// Its stock.
    pub stock: String,
    /// How much is there.
    pub left: Left,
    /// Price of a full one, where it differs from the stock's.
    pub price: Option<f64>,
    /// Printer it is mounted in.
    pub printer: Option<String>,
}

impl Cartridge {
    /// Tape that is there for sure: what it may have less is not counted on.
    pub fn sure(&self, full: Micrometres) -> Micrometres {
        match self.left {
            Left::Open { length, error } => (length - error).max(Micrometres::ZERO),
            Left::Sealed(_) => full,
        }
    }
}

/// The cartridges at hand, with the text they were read from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shelf {
    cartridges: Vec<Cartridge>,
    text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    cartridge: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    id: Option<String>,
    stock: String,
    length_m: Option<f64>,
    error_m: Option<f64>,
    sealed: Option<i64>,
    price: Option<f64>,
    printer: Option<String>,
}

const TABLE: &str = "[[cartridge]]";

/// The line that begins a file the program makes.
const HEAD: &str =
    "# Cartridges at hand: `tapewright stock` shows and changes them. Lengths are what is left, in metres.\n";

impl Entry {
    fn settle(self, nth: usize, catalogue: &Catalogue) -> Result<Cartridge> {
        let id = self.id.unwrap_or_else(|| pile_id(&self.stock));
        let entry = format!("cartridge {nth} (`{id}`)");
        let stock = catalogue.stock(&self.stock).map_err(|error| error.doing(entry.clone()))?;
        checked_id(&id).map_err(|error| error.doing(entry.clone()))?;
        let full = stock.length;
        let left = match (self.length_m, self.sealed) {
            (Some(metres), None) => {
                let length = metres_of(metres, full).ok_or_else(|| {
                    Error::input(format!(
                        "{entry}: length_m: found {metres}, wanted more than 0 and at most {}: a full cartridge of {} has that",
                        full.mm() / 1000.0,
                        stock.id
                    ))
                })?;
                let error = self.error_m.unwrap_or(0.0);
                if !(error.is_finite() && (0.0..=full.mm() / 1000.0).contains(&error)) {
                    return Err(Error::input(format!(
                        "{entry}: error_m: found {error}, wanted 0 to {}",
                        full.mm() / 1000.0
                    )));
                }
                Left::Open { length, error: Micrometres::from_mm(error * 1000.0) }
            }
            (None, Some(count)) => {
                let pile = u32::try_from(count).ok().filter(|&count| count as usize <= MOST);
                let pile =
                    pile.ok_or_else(|| Error::input(format!("{entry}: sealed: found {count}, wanted 0 to {MOST}")))?;
                if self.error_m.is_some() || self.printer.is_some() {
                    return Err(Error::input(format!(
                        "{entry}: found sealed with error_m or printer, wanted those for an open cartridge (length_m)"
                    )));
                }
                Left::Sealed(pile)
            }
            (Some(_), Some(_)) => {
                return Err(Error::input(format!(
                    "{entry}: found length_m and sealed, wanted one: an open cartridge has a length, sealed ones a number"
                )));
            }
            (None, None) => {
                return Err(Error::input(format!(
                    "{entry}: found neither length_m nor sealed, wanted one: what is left in metres, or how many are still sealed"
                )));
            }
        };
        if let Some(price) = self.price.filter(|price| !(price.is_finite() && *price >= 0.0)) {
            return Err(Error::input(format!("{entry}: price: found {price}, wanted 0 or more")));
        }
        if let Some(printer) = &self.printer {
            let printer = catalogue.printer(printer).map_err(|error| error.doing(entry.clone()))?;
            takes(printer, &self.stock, catalogue).map_err(|error| error.doing(entry.clone()))?;
        }
        Ok(Cartridge { id, stock: self.stock, left, price: self.price, printer: self.printer })
    }
}

/// A printer must be able to take the stock.
fn takes(printer: &Printer, stock: &str, catalogue: &Catalogue) -> Result<()> {
    let stock = catalogue.stock(stock)?;
    if stock.width > printer.widest {
        return Err(Error::input(format!(
            "found `{}`, {} wide, in printer `{}`, wanted up to {}",
            stock.id, stock.width, printer.id, printer.widest
        )));
    }
    Ok(())
}

/// The id of a pile of sealed cartridges that has none of its own.
fn pile_id(stock: &str) -> String {
    format!("{stock}-sealed")
}

fn metres_of(metres: f64, full: Micrometres) -> Option<Micrometres> {
    let length = metres.is_finite().then(|| Micrometres::from_mm(metres * 1000.0))?;
    (length > Micrometres::ZERO && length <= full).then_some(length)
}

/// An id goes into file names and onto cartridges.
fn checked_id(id: &str) -> Result<()> {
    let fits = |c: char| c.is_alphanumeric() || "-_./".contains(c);
    if id.is_empty() || id.chars().count() > 40 || !id.chars().all(fits) {
        return Err(Error::input(format!("id: found `{id}`, wanted 1 to 40 letters, digits and - _ . /")));
    }
    Ok(())
}

/// Metres as they are written: to the tenth of a millimetre or finer where needed.
fn metres(length: Micrometres) -> String {
    let (whole, part) = (length.0 / 1_000_000, length.0 % 1_000_000);
    let part = format!("{part:06}");
    let part = part.trim_end_matches('0');
    if part.is_empty() { format!("{whole}.0") } else { format!("{whole}.{part}") }
}

impl Shelf {
    /// Reads a shelf.
    ///
    /// # Errors
    /// Kind `Input`: not TOML, an unknown field, stock or printer, a length that is not more than 0
    /// and at most a full cartridge's, an id that stands twice, two cartridges in one printer.
    pub fn read(text: &str, catalogue: &Catalogue) -> Result<Self> {
        let file: File = toml::from_str(text).map_err(|error| Error::toml(text, &error))?;
        if file.cartridge.len() > MOST {
            return Err(Error::limit(format!("found {} cartridges, wanted up to {MOST}", file.cartridge.len())));
        }
        let mut cartridges: Vec<Cartridge> = Vec::with_capacity(file.cartridge.len());
        for (nth, entry) in file.cartridge.into_iter().enumerate() {
            let one = entry.settle(nth + 1, catalogue)?;
            if cartridges.iter().any(|other| other.id == one.id) {
                return Err(Error::input(format!(
                    "cartridge {}: found id `{}` a second time, wanted one of its own: it tells cartridges apart",
                    nth + 1,
                    one.id
                )));
            }
            if let Some(other) = cartridges.iter().find(|other| one.printer.is_some() && other.printer == one.printer) {
                return Err(Error::input(format!(
                    "found `{}` and `{}` both in printer `{}`, wanted one: `tapewright stock unmount ID` takes one out",
                    other.id,
                    one.id,
                    one.printer.as_deref().unwrap_or_default()
                )));
            }
            cartridges.push(one);
        }
        Ok(Self { cartridges, text: text.to_owned() })
    }

    /// The cartridges, in the order of the file.
    pub fn cartridges(&self) -> &[Cartridge] {
        &self.cartridges
    }

    /// The file's text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether the shelf says anything of a stock, if only that there is none.
    pub fn names(&self, stock: &str) -> bool {
        self.cartridges.iter().any(|one| one.stock == stock)
    }

    /// What is mounted in a printer.
    pub fn mounted(&self, printer: &str) -> Option<&Cartridge> {
        self.cartridges.iter().find(|one| one.printer.as_deref() == Some(printer))
    }

    /// The cartridge with this id.
    ///
    /// # Errors
    /// Kind `Input`, naming the ids there are.
    pub fn cartridge(&self, id: &str) -> Result<&Cartridge> {
        self.cartridges.iter().find(|one| one.id == id).ok_or_else(|| {
            let known: Vec<&str> = self.cartridges.iter().map(|one| one.id.as_str()).collect();
            let known = if known.is_empty() {
                "one of the shelf, which is empty".to_owned()
            } else {
                format!("one of {}", known.join(", "))
            };
            Error::input(format!("found cartridge `{id}`, wanted {known}"))
        })
    }

    /// An id for one more cartridge of a stock: the stock's and a letter, `tape-12-a`.
    pub fn free_id(&self, stock: &str) -> String {
        let letters = (b'a'..=b'z').map(|letter| char::from(letter).to_string());
        let ids = letters.chain((1..).map(|nth: usize| nth.to_string())).map(|end| format!("{stock}-{end}"));
        let mut free = ids.filter(|id| self.cartridges.iter().all(|one| one.id != *id));
        free.next().unwrap_or_default()
    }

    /// The pile a sealed cartridge of this stock and price would join.
    pub fn pile(&self, stock: &str, price: Option<f64>) -> Option<&Cartridge> {
        self.cartridges
            .iter()
            .find(|one| one.stock == stock && one.price == price && matches!(one.left, Left::Sealed(_)))
    }

    /// Adds an entry at the end.
    ///
    /// # Errors
    /// As [`Shelf::read`], of the new text; then nothing has changed.
    pub fn add(&mut self, new: &Cartridge, catalogue: &Catalogue) -> Result<()> {
        let mut text = if self.text.trim().is_empty() { HEAD.to_owned() } else { self.text.clone() };
        if !text.ends_with('\n') {
            text.push('\n');
        }
        let _ = write!(text, "\n{TABLE}\nid = {}\nstock = {}\n", quoted(&new.id), quoted(&new.stock));
        match new.left {
            Left::Open { length, error } => {
                let _ = writeln!(text, "length_m = {}", metres(length));
                if error > Micrometres::ZERO {
                    let _ = writeln!(text, "error_m = {}", metres(error));
                }
            }
            Left::Sealed(count) => {
                let _ = writeln!(text, "sealed = {count}");
            }
        }
        if let Some(price) = new.price {
            let _ = writeln!(text, "price = {price:?}");
        }
        if let Some(printer) = &new.printer {
            let _ = writeln!(text, "printer = {}", quoted(printer));
        }
        *self = Self::read(&text, catalogue)?;
        Ok(())
    }

    /// Replaces what an entry says; its id and stock stay.
    ///
    /// # Errors
    /// Kind `Input`: no such id, the new values are out of range, or the file is not written as
    /// `[[cartridge]]` tables with a line a value; then nothing has changed.
    pub fn put(&mut self, new: &Cartridge, catalogue: &Catalogue) -> Result<()> {
        let (length, error, sealed) = match new.left {
            Left::Open { length, error } => {
                (Some(metres(length)), (error > Micrometres::ZERO).then(|| metres(error)), None)
            }
            Left::Sealed(count) => (None, None, Some(count.to_string())),
        };
        let values = [
            ("length_m", length),
            ("error_m", error),
            ("sealed", sealed),
            ("price", new.price.map(|price| format!("{price:?}"))),
            ("printer", new.printer.as_deref().map(quoted)),
        ];
        let (mut lines, from, to) = self.table(&new.id)?;
        let mut table: Vec<String> = lines.splice(from..to, std::iter::empty()).collect();
        for (key, value) in values {
            set_line(&mut table, key, value);
        }
        lines.splice(from..from, table);
        let changed = Self::read(&joined(&lines), catalogue)?;
        match changed.cartridges.iter().find(|one| one.id == new.id) {
            Some(one) if one == new => {
                *self = changed;
                Ok(())
            }
            _ => Err(not_plain(&new.id)),
        }
    }

    /// Takes an entry out.
    ///
    /// # Errors
    /// As [`Shelf::put`].
    pub fn remove(&mut self, id: &str, catalogue: &Catalogue) -> Result<()> {
        let (mut lines, from, to) = self.table(id)?;
        lines.drain(from..to);
        let blank = |nth: usize| lines.get(nth).is_none_or(|line| line.trim().is_empty());
        if blank(from) && from < lines.len() && (from == 0 || blank(from - 1)) {
            lines.remove(from);
        }
        let changed = Self::read(&joined(&lines), catalogue)?;
        if changed.cartridges.iter().ne(self.cartridges.iter().filter(|one| one.id != id)) {
            return Err(not_plain(id));
        }
        *self = changed;
        Ok(())
    }

    /// The lines of the file, and which of them are the table of an entry. Blank lines and comments
    /// before the next table belong to that.
    fn table(&self, id: &str) -> Result<(Vec<String>, usize, usize)> {
        self.cartridge(id)?;
        let place = self.cartridges.iter().position(|one| one.id == id).unwrap_or_default();
        let lines: Vec<String> = self.text.lines().map(str::to_owned).collect();
        let heads: Vec<usize> = (0..lines.len()).filter(|&nth| lines[nth].trim_start().starts_with(TABLE)).collect();
        if heads.len() != self.cartridges.len() {
            return Err(not_plain(id));
        }
        let mut to = heads.get(place + 1).copied().unwrap_or(lines.len());
        let idle = |line: &str| line.trim().is_empty() || line.trim_start().starts_with('#');
        while to > heads[place] + 1 && idle(&lines[to - 1]) {
            to -= 1;
        }
        Ok((lines, heads[place], to))
    }
}

fn joined(lines: &[String]) -> String {
    lines.iter().map(|line| format!("{line}\n")).collect()
}

fn not_plain(id: &str) -> Error {
    Error::input(format!(
        "`{id}` is written in a way that cannot be changed here, wanted a {TABLE} table with a line for each value: change the file by hand"
    ))
}

/// A basic string of TOML; ids and names hold nothing that needs escaping beyond these.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// Sets, adds or takes away the line of a key; a comment at its end stays.
fn set_line(table: &mut Vec<String>, key: &str, value: Option<String>) {
    let of_key =
        |line: &str| line.trim_start().strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='));
    let place = table.iter().position(|line| of_key(line));
    match (place, value) {
        (Some(place), Some(value)) => {
            let line = &table[place];
            // No value of ours holds a hash but in quotes, and then the check after reading refuses.
            let comment = line.find('#').map_or(String::new(), |at| format!("  {}", &line[at..]));
            table[place] = format!("{key} = {value}{comment}");
        }
        (Some(place), None) => {
            table.remove(place);
        }
        (None, Some(value)) => table.push(format!("{key} = {value}")),
        (None, None) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
# The shelf of the Playhouse.

# On the left, behind the glue.
[[cartridge]]
id = 'left'
stock = 'tape-12'
length_m = 3.2  # measured on Monday
price = 15

# New ones.
[[cartridge]]
stock = 'tape-12'
sealed = 2
";

    fn shelf(text: &str) -> Result<Shelf> {
        Shelf::read(text, &Catalogue::shipped())
    }

    #[test]
    fn edits_keep_the_comments() {
        let catalogue = Catalogue::shipped();
        let mut shelf = shelf(TEXT).unwrap();
        let mut left = shelf.cartridge("left").unwrap().clone();
        left.left = Left::Open { length: Micrometres(1_234_500), error: Micrometres(50_000) };
        left.printer = Some("bench-180".into());
        left.price = None;
        shelf.put(&left, &catalogue).unwrap();
        let found = shelf.text();
        assert!(found.contains("length_m = 1.2345  # measured on Monday\nerror_m = 0.05\n"), "{found}");
        assert!(found.contains("printer = \"bench-180\"\n\n# New ones."), "{found}");
        assert!(!found.contains("price"), "{found}");
        let mut pile = shelf.cartridge("tape-12-sealed").unwrap().clone();
        pile.left = Left::Sealed(1);
        shelf.put(&pile, &catalogue).unwrap();
        shelf.remove("left", &catalogue).unwrap();
        assert_eq!(
            shelf.text(),
            "# The shelf of the Playhouse.\n\n# On the left, behind the glue.\n\n# New ones.\n[[cartridge]]\nstock = 'tape-12'\nsealed = 1\n"
        );
        assert!(shelf.names("tape-12") && !shelf.names("tape-9"));
    }

    #[test]
    fn added_entries_are_read_again() {
        let catalogue = Catalogue::shipped();
        let mut shelf = Shelf::default();
        let new = Cartridge {
            id: shelf.free_id("sleeve-3/8"),
            stock: "sleeve-3/8".into(),
            left: Left::Open { length: Micrometres(1_500_000), error: Micrometres(100_000) },
            price: Some(9.5),
            printer: Some("bench-180".into()),
        };
        shelf.add(&new, &catalogue).unwrap();
        assert_eq!((shelf.cartridges(), new.id.as_str()), (&[new.clone()][..], "sleeve-3/8-a"));
        assert_eq!(shelf.free_id("sleeve-3/8"), "sleeve-3/8-b");
        assert_eq!(new.sure(Micrometres(1)), Micrometres(1_400_000));
        assert!(shelf.add(&new, &catalogue).unwrap_err().to_string().contains("a second time"));
        assert_eq!(shelf.cartridges().len(), 1, "a refused entry changes nothing");
    }

    #[test]
    fn a_wrong_shelf_says_what_is_wrong() {
        let table = |lines: &str| format!("[[cartridge]]\n{lines}");
        for (text, wanted) in [
            (
                table("stock = 'tape-13'\nsealed = 1"),
                "cartridge 1 (`tape-13-sealed`): found stock `tape-13`, wanted one of",
            ),
            (table("stock = 'tape-12'"), "found neither length_m nor sealed"),
            (table("stock = 'tape-12'\nlength_m = 1\nsealed = 1"), "found length_m and sealed, wanted one"),
            (table("stock = 'tape-12'\nlength_m = 32"), "length_m: found 32, wanted more than 0 and at most 8"),
            (table("stock = 'tape-12'\nlength_m = 0"), "length_m: found 0, wanted more than 0"),
            (table("stock = 'tape-12'\nlength_m = nan"), "length_m: found NaN"),
            (table("stock = 'tape-12'\nlength_m = 1\nerror_m = -1"), "error_m: found -1, wanted 0 to 8"),
            (table("stock = 'tape-12'\nsealed = -1"), "sealed: found -1, wanted 0 to 1000"),
            (table("stock = 'tape-12'\nsealed = 1\nprinter = 'bench-180'"), "found sealed with error_m or printer"),
            (table("stock = 'tape-12'\nsealed = 1\nprice = -2"), "price: found -2, wanted 0 or more"),
            (table("stock = 'tape-12'\nlength_m = 1\nprinter = 'x'"), "found printer `x`, wanted one of"),
            (
                table("stock = 'wrap-64'\nlength_m = 1\nprinter = 'bench-180'"),
                "in printer `bench-180`, wanted up to 24 mm",
            ),
            (table("stock = 'tape-12'\nlength_m = 1\nid = 'a b'"), "id: found `a b`, wanted 1 to 40 letters"),
            (table("stock = 'tape-12'\nlenght_m = 1"), "unknown field `lenght_m`"),
            (table("stock = 'tape-12'\nsealed = 1\n[[cartridge]]\nstock = 'tape-12'\nsealed = 2"), "a second time"),
            (
                table(
                    "stock = 'tape-12'\nlength_m = 1\nid = 'a'\nprinter = 'bench-180'\n[[cartridge]]\nstock = 'tape-9'\nlength_m = 1\nid = 'b'\nprinter = 'bench-180'",
                ),
                "found `a` and `b` both in printer `bench-180`",
            ),
            ("cartridge = 3".into(), "line 1, `cartridge = 3`"),
        ] {
            let found = shelf(&text).unwrap_err().to_string();
            assert!(found.contains(wanted), "found {found}, wanted {wanted}");
        }
        let mut inline = shelf("cartridge = [{ id = 'a', stock = 'tape-12', length_m = 1 }]").unwrap();
        let error = inline.remove("a", &Catalogue::shipped()).unwrap_err().to_string();
        assert!(error.contains("change the file by hand"), "{error}");
    }
}
