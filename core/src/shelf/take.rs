//! What printing and changing cartridges does to the shelf.

use super::{Cartridge, Left, Shelf};
use crate::error::{Error, Result};
use crate::media::{Catalogue, Printer};
use crate::unit::Micrometres;

/// Tape that a printer has taken from a cartridge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken<'t> {
    /// The cartridge, or the pile a sealed one was taken from.
    pub id: &'t str,
    /// The printer it is in now.
    pub printer: &'t str,
    /// Fed by loading and by strips.
    pub fed: Micrometres,
    /// It may be so much more or less.
    pub unsure: Micrometres,
    /// Remnants shorter than this are thrown away.
    pub least: Micrometres,
}

fn metres(length: Micrometres) -> String {
    format!("{:.2} m", length.mm() / 1000.0)
}

impl Shelf {
    /// Puts a cartridge into a printer, without what that feeds: takes out the one that is there, and
    /// opens one of a pile. Its id, and sentences for the person at the printer.
    ///
    /// # Errors
    /// Kind `Input`: no such cartridge or printer, an empty pile, a stock the printer does not take.
    pub fn put_in(&mut self, id: &str, printer: &Printer, catalogue: &Catalogue) -> Result<(String, Vec<String>)> {
        let mut said = Vec::new();
        let mut one = self.cartridge(id)?.clone();
        if one.printer.as_deref() == Some(&printer.id) {
            return Ok((one.id, said));
        }
        if let Some(other) = self.mounted(&printer.id) {
            let other = other.id.clone();
            said.extend(self.take_out(&other, catalogue)?);
        }
        match one.left {
            Left::Sealed(0) => {
                return Err(Error::input(format!("found no sealed cartridge in `{id}`, wanted one at least")));
            }
            Left::Sealed(count) => {
                one.left = Left::Sealed(count - 1);
                self.put(&one, catalogue)?;
                one.id = self.free_id(&one.stock);
                one.left = Left::Open { length: catalogue.stock(&one.stock)?.length, error: Micrometres::ZERO };
                one.printer = Some(printer.id.clone());
                self.add(&one, catalogue)?;
                said.push(format!("opened one of {id}: write {} on it", one.id));
            }
            Left::Open { .. } => {
                if one.printer.is_some() {
                    said.extend(self.take_out(id, catalogue)?);
                    one = self.cartridge(id)?.clone();
                }
                one.printer = Some(printer.id.clone());
                self.put(&one, catalogue)?;
            }
        }
        Ok((one.id, said))
    }

    /// Takes a cartridge out of its printer; what that feeds out is taken off.
    ///
    /// # Errors
    /// Kind `Input`: no such cartridge, or it is in no printer.
    pub fn take_out(&mut self, id: &str, catalogue: &Catalogue) -> Result<Vec<String>> {
        let mut one = self.cartridge(id)?.clone();
        let Some(printer) = one.printer.take() else {
            return Err(Error::input(format!("`{id}` is in no printer, wanted one that is")));
        };
        let tail = catalogue.printer(&printer)?.tail;
        let said = self.shorten(&mut one, tail, Micrometres::ZERO, Micrometres(1), catalogue)?;
        Ok(std::iter::once(format!("{id} is out of {printer}")).chain(said).collect())
    }

    /// What the printer has taken. Sentences for the person at the printer.
    ///
    /// # Errors
    /// As [`Shelf::put_in`].
    pub fn take(&mut self, taken: &Taken<'_>, catalogue: &Catalogue) -> Result<Vec<String>> {
        let (id, mut said) = self.put_in(taken.id, catalogue.printer(taken.printer)?, catalogue)?;
        let mut one = self.cartridge(&id)?.clone();
        said.extend(self.shorten(&mut one, taken.fed, taken.unsure, taken.least, catalogue)?);
        Ok(said)
    }

    /// Takes tape off an open cartridge; what is shorter than `least` then is thrown away.
    fn shorten(
        &mut self,
        one: &mut Cartridge,
        fed: Micrometres,
        unsure: Micrometres,
        least: Micrometres,
        catalogue: &Catalogue,
    ) -> Result<Vec<String>> {
        let Left::Open { length, error } = one.left else {
            return Err(Error::bug(format!("`{}` is sealed and gives tape", one.id)));
        };
        let (mut left, mut error) = (length - fed, error + unsure);
        let most = left + error;
        // Of what broke off nobody knows how much is left: only what is surely too little goes.
        let enough = if unsure > Micrometres::ZERO { most } else { left };
        if left < least && enough >= least {
            left = Micrometres(most.0 / 2);
            error = most - left;
        }
        let full = catalogue.stock(&one.stock)?.length;
        if enough >= least && left > Micrometres::ZERO {
            one.left = Left::Open { length: left, error: error.min(full) };
            self.put(one, catalogue)?;
            let about = if error > Micrometres::ZERO { "about " } else { "" };
            let check = if unsure > Micrometres::ZERO {
                format!(", {} more or less: measure it, then `tapewright stock set {} --length`", metres(error), one.id)
            } else {
                String::new()
            };
            return Ok(vec![format!("{}: {about}{} left{check}", one.id, metres(left))]);
        }
        self.remove(&one.id, catalogue)?;
        // The shelf still knows the stock: it has none of it.
        if !self.names(&one.stock) {
            let pile = Cartridge {
                id: format!("{}-sealed", one.stock),
                stock: one.stock.clone(),
                left: Left::Sealed(0),
                price: None,
                printer: None,
            };
            self.add(&pile, catalogue)?;
        }
        Ok(vec![format!("{}: {} left, too little to keep: off the shelf", one.id, metres(left.max(Micrometres::ZERO)))])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
[[cartridge]]
id = 'a'
stock = 'tape-12'
length_m = 2.0
printer = 'wide-300'

[[cartridge]]
stock = 'tape-12'
sealed = 1
";

    fn length(shelf: &Shelf, id: &str) -> (i64, i64) {
        match shelf.cartridge(id).unwrap().left {
            Left::Open { length, error } => (length.0, error.0),
            Left::Sealed(count) => panic!("{count} sealed"),
        }
    }

    #[test]
    fn a_seal_is_broken_and_the_other_one_taken_out() {
        let catalogue = Catalogue::shipped();
        let mut shelf = Shelf::read(TEXT, &catalogue).unwrap();
        let taken = Taken {
            id: "tape-12-sealed",
            printer: "wide-300",
            fed: Micrometres(1_500_000),
            unsure: Micrometres::ZERO,
            least: Micrometres(300_000),
        };
        let said = shelf.take(&taken, &catalogue).unwrap();
        assert_eq!(said.len(), 4, "{said:?}");
        // The printer feeds out 20 mm of what is taken out (its profile).
        assert_eq!((length(&shelf, "a"), length(&shelf, "tape-12-a")), ((1_980_000, 0), (6_500_000, 0)));
        assert_eq!(shelf.mounted("wide-300").unwrap().id, "tape-12-a");
        assert_eq!(shelf.cartridge("tape-12-sealed").unwrap().left, Left::Sealed(0));
        let again = shelf.take(&taken, &catalogue).unwrap_err().to_string();
        assert!(again.contains("found no sealed cartridge"), "{again}");
    }

    #[test]
    fn what_is_too_short_goes_and_the_stock_stays_known() {
        let catalogue = Catalogue::shipped();
        let mut shelf = Shelf::read(TEXT, &catalogue).unwrap();
        shelf.remove("tape-12-sealed", &catalogue).unwrap();
        let mut taken = Taken {
            id: "a",
            printer: "wide-300",
            fed: Micrometres(1_000_000),
            unsure: Micrometres(200_000),
            least: Micrometres(300_000),
        };
        let said = shelf.take(&taken, &catalogue).unwrap().join("; ");
        assert!(said.contains("a: about 1.00 m left, 0.20 m more or less: measure it"), "{said}");
        assert_eq!(length(&shelf, "a"), (1_000_000, 200_000));
        // It may have less than nothing left, and half a metre as well: it stays until somebody measures it.
        taken.fed = Micrometres(900_000);
        let said = shelf.take(&taken, &catalogue).unwrap().join("; ");
        assert!(said.contains("a: about 0.25 m left, 0.25 m more or less: measure it"), "{said}");
        assert_eq!(length(&shelf, "a"), (250_000, 250_000));
        (taken.fed, taken.unsure) = (Micrometres(1), Micrometres::ZERO);
        let said = shelf.take(&taken, &catalogue).unwrap().join("; ");
        assert!(said.contains("0.25 m left, too little to keep"), "{said}");
        assert!(shelf.cartridge("a").is_err() && shelf.names("tape-12"), "{}", shelf.text());
    }
}
