//! Sending pieces of an order to a link: one stream each, cartridge after cartridge, with what that
//! takes off the shelf and what the journal is told.

use super::log::Log;
use super::streams::{Reach, Sent, Way, send};
use super::{Talk, stopped};
use crate::error::{Doing, Error, Kind, Result};
use crate::media::Printer;
use crate::run::{Batch, Labels};
use crate::settings::ShelfFile;
use crate::shelf::{Source, Taken, Use};
use crate::transport::Link;
use crate::unit::{Dots, Micrometres};
use std::io::{self, IsTerminal};
use std::time::Duration;
use tapewright_host::Driver;

/// A stream: the labels on one stock, or those that one cartridge prints.
pub(super) struct Piece<'p> {
    pub(super) batch: Batch<'p>,
    pub(super) labels: Box<dyn Labels + 'p>,
    /// The cartridge's number in the order, and the cartridge.
    pub(super) cartridge: Option<(usize, &'p Use)>,
}

/// When tape is taken off the shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taking {
    /// Not at all: a file, or a part of the job whose other parts must be printed by the same plan.
    Never,
    /// With each cartridge: the rest of a list can be planned anew from any label.
    AtOnce,
    /// When all is printed: in another order only the same plan knows the rest, and a changed shelf
    /// would make another one.
    AtTheEnd,
}

/// How pieces go out.
pub(super) struct Going<'g> {
    pub(super) printer: &'g Printer,
    pub(super) name: &'g str,
    pub(super) link: &'g Link,
    pub(super) module: &'g Driver,
    pub(super) patience: Duration,
    pub(super) taking: Taking,
    /// What a part-used cartridge more is worth in tape.
    pub(super) keep: Micrometres,
    /// Cartridges of the whole order.
    pub(super) cartridges: usize,
}

/// A stream that was sent, and the cartridge it is for.
pub(super) type Printed<'p> = (Option<(usize, &'p Use)>, Sent);

/// What has gone of a piece, more or less.
#[derive(Debug, PartialEq, Eq)]
struct Gone {
    fed: Dots,
    unsure: Dots,
}

/// Tape of a piece that broke off: the strips that surely came out are the least, those that were begun
/// the most, and what is between is as likely the one as the other.
fn begun(batch: &Batch<'_>, reach: Reach) -> Gone {
    let of = |counts: &dyn Fn(&std::ops::Range<usize>) -> bool| -> Dots {
        batch.strips.iter().filter(|strip| counts(strip)).map(|strip| batch.strip(strip).length).sum()
    };
    let least = of(&|strip| strip.end <= reach.surely);
    let most = of(&|strip| strip.start < reach.perhaps.max(reach.surely));
    let unsure = Dots(((most - least).0 + 1) / 2);
    Gone { fed: least + unsure, unsure }
}

/// A cartridge in a few words.
fn called(one: &Use, stock: &str, printer: &Printer) -> String {
    match one.source {
        Source::Open => format!("{} ({:.2} m)", one.id, printer.along.length(one.length).mm() / 1000.0),
        _ => format!("a sealed {stock}"),
    }
}

/// Whether somebody is there to ask.
fn at_a_terminal() -> bool {
    io::stdin().is_terminal() && io::stderr().is_terminal()
}

/// Sees to it that what is planned is in the printer, where nobody is there to put it in. To be asked
/// before anything is written down.
///
/// # Errors
/// Kind `Supply`: it is not known to be there.
pub(super) fn in_place(one: &Use, stock: &str, printer: &Printer) -> Result<()> {
    if one.mounted || at_a_terminal() {
        return Ok(());
    }
    let (what, id) = (called(one, stock, printer), &printer.id);
    Err(Error::new(
        Kind::Supply,
        format!(
            "found nobody at a terminal to change cartridges, wanted {what} in {id}: put it in and say so with `tapewright stock mount {} --printer {id}`",
            one.id
        ),
    ))
}

impl Going<'_> {
    /// Asks the person at the printer to put a cartridge in.
    fn ask_for(&self, nth: usize, one: &Use, stock: &str, talk: &Talk) -> Result<()> {
        if one.mounted {
            return Ok(());
        }
        let what = called(one, stock, self.printer);
        talk.warn(&format!("cartridge {nth} of {}: put {what} into {}", self.cartridges, self.printer.id));
        if !at_a_terminal() {
            return Ok(());
        }
        talk.warn("then press Enter");
        let mut line = String::new();
        let read =
            io::stdin().read_line(&mut line).map_err(|error| Error::storage(format!("standard input: {error}")))?;
        stopped()?;
        if read == 0 {
            return Err(Error::new(
                Kind::Supply,
                "found the end of standard input, wanted Enter once the cartridge is in",
            ));
        }
        Ok(())
    }

    /// Takes what a piece has used off the shelf.
    fn take(&self, one: &Use, gone: &Gone, shelf: &mut ShelfFile, talk: &Talk) -> Result<()> {
        let along = self.printer.along;
        let least = along.length(along.dots_covering(self.printer.min_remnant)).max(self.keep);
        let taken = Taken {
            id: &one.id,
            printer: &self.printer.id,
            fed: along.length(one.load + gone.fed),
            unsure: along.length(gone.unsure),
            least: least + self.printer.tail,
        };
        let said = shelf
            .change(|shelf, catalogue| shelf.take(&taken, catalogue))
            .doing(|| "taking tape off the shelf".into())?;
        for sentence in said {
            talk.say(&sentence);
        }
        Ok(())
    }

    /// Sends pieces, one after the other.
    ///
    /// # Errors
    /// As [`crate::run::print`]; the pieces after that are not sent.
    pub(super) fn send<'p>(
        &self,
        pieces: &mut [Piece<'p>],
        mut shelf: Option<&mut ShelfFile>,
        mut log: Option<&mut Log>,
        talk: &Talk,
    ) -> Result<Vec<Printed<'p>>> {
        let mut sent: Vec<Printed<'p>> = Vec::with_capacity(pieces.len());
        let more = pieces.len() > 1;
        for piece in pieces {
            let stock = &piece.batch.stock.id;
            if let (Some((nth, one)), true) = (piece.cartridge, self.link.is_device()) {
                self.ask_for(nth, one, stock, talk)?;
            }
            let link = if more { self.link.numbered(&stream_name(piece)) } else { self.link.clone() };
            let way = Way { module: self.module, link: &link, patience: self.patience };
            let mut reach = Reach::default();
            let done = send(&piece.batch, &mut *piece.labels, self.name, &way, &mut reach, log.as_deref_mut(), talk);
            if let Some(log) = &mut log {
                log.next(piece.batch.lengths.len());
            }
            if let (Some((_, one)), Some(shelf), Taking::AtOnce) = (piece.cartridge, &mut shelf, self.taking) {
                let gone = match &done {
                    Ok(sent) => Gone { fed: sent.feed, unsure: Dots::ZERO },
                    Err(_) => begun(&piece.batch, reach),
                };
                if done.is_ok() || gone.fed > Dots::ZERO {
                    match (&done, self.take(one, &gone, shelf, talk)) {
                        (Ok(_), taken) => taken?,
                        // What broke the print off is what the person must know.
                        (Err(_), Err(error)) => talk.warn(&error.to_string()),
                        (Err(_), Ok(())) => {}
                    }
                }
            }
            let done = match done {
                Err(error) if self.taking == Taking::AtTheEnd => {
                    let nth = piece.cartridge.map_or(1, |(nth, _)| nth);
                    return Err(error.doing(format!(
                        "the shelf is as before, so that --from-cartridge {nth} goes on by the same plan; then count the tape with `tapewright stock set`"
                    )));
                }
                done => done?,
            };
            sent.push((piece.cartridge, done));
        }
        if let (Some(shelf), Taking::AtTheEnd) = (&mut shelf, self.taking) {
            for (cartridge, one) in &sent {
                if let Some((_, used)) = cartridge {
                    self.take(used, &Gone { fed: one.feed, unsure: Dots::ZERO }, shelf, talk)?;
                }
            }
        }
        Ok(sent)
    }
}

/// The name of one of several streams.
fn stream_name(piece: &Piece<'_>) -> String {
    match piece.cartridge {
        Some((nth, one)) if !one.id.is_empty() => format!("{nth}-{}", one.id),
        Some((nth, _)) => format!("{nth}-{}", piece.batch.stock.id),
        None => piece.batch.stock.id.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::What;
    use crate::media::Catalogue;
    use crate::strip::Rules;

    /// What is known of two strips of two labels where the notes stop, as [`crate::run::print`] writes them.
    fn gone(notes: &[(What, std::ops::RangeInclusive<usize>)]) -> (Gone, Vec<Dots>) {
        let catalogue = Catalogue::shipped();
        let (printer, stock) = (catalogue.printer("bench-180").unwrap(), catalogue.stock("tape-12").unwrap());
        let rules = Rules::new(printer, stock, None);
        let lengths = [Dots(300), Dots(301), Dots(402), Dots(402)];
        let strips = [0..2, 2..4];
        let batch = Batch { printer, stock, rules: &rules, strips: &strips, lengths: &lengths, before: 0 };
        let mut reach = Reach::default();
        notes.iter().for_each(|(what, labels)| reach.note(*what, labels));
        (begun(&batch, reach), strips.iter().map(|strip| batch.strip(strip).length).collect())
    }

    /// Least and most tape that has gone; an odd dot counts as the most.
    fn between(notes: &[(What, std::ops::RangeInclusive<usize>)]) -> (Dots, Dots) {
        let gone = gone(notes).0;
        (gone.fed - gone.unsure, gone.fed + gone.unsure)
    }

    #[test]
    fn a_printer_that_has_taken_a_strip_has_fed_it() {
        let (_, strips) = gone(&[]);
        let at = |labels: &[usize]| labels.iter().map(|&label| (What::Leaving, label..=label)).collect::<Vec<_>>();
        let first = [at(&[1, 2]), vec![(What::Taken, 1..=2)]].concat();
        assert_eq!(between(&first), (strips[0], strips[0]));
        let second = [first.clone(), at(&[3])].concat();
        let (least, most) = between(&second);
        assert!(least == strips[0] && (most - strips[0] - strips[1]).0 <= 1, "{least} to {most} of {strips:?}");
        // Whole, but nobody says that the printer has it.
        let (least, most) = between(&at(&[1, 2]));
        assert!(least == Dots::ZERO && (most - strips[0]).0 <= 1, "{least} to {most}: not a dot of the next strip");
        let silent = [second, vec![(What::Stayed, 3..=3), (What::BrokeOff, 1..=4)]].concat();
        assert_eq!(between(&silent), (strips[0], strips[0]), "the link was given nothing of the second");
    }

    #[test]
    fn what_a_network_or_a_queue_has_may_be_on_tape_or_not() {
        let (_, strips) = gone(&[]);
        let given = [(What::Leaving, 1..=1), (What::Leaving, 2..=2), (What::Given, 1..=2), (What::Leaving, 3..=3)];
        let (least, most) = between(&given);
        assert_eq!(least, Dots::ZERO);
        assert!((most - strips[0] - strips[1]).0 <= 1 && most >= strips[0] + strips[1], "{most}");
    }

    #[test]
    fn of_a_file_that_was_not_made_nothing_is_on_tape() {
        let whole = [(What::Leaving, 1..=4), (What::Stayed, 1..=4), (What::BrokeOff, 1..=4)];
        assert_eq!(between(&whole), (Dots::ZERO, Dots::ZERO));
    }
}
