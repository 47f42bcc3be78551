//! Sending pieces of an order to a link: one stream each, cartridge after cartridge, with what that
//! takes off the shelf and what the journal is told.

use super::log::Log;
use super::streams::{Sent, Way, send};
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

/// What has gone of a piece: all of it, or the strips that were begun.
struct Gone {
    fed: Dots,
    unsure: Dots,
}

/// Strips begun when `labels` labels of a piece had been handed over; the next one perhaps.
fn begun(batch: &Batch<'_>, labels: usize) -> Gone {
    let strips = batch.strips.iter().filter(|strip| strip.start <= labels);
    let lengths: Vec<Dots> = strips.map(|strip| batch.strip(strip).length).collect();
    Gone { fed: lengths.iter().copied().sum(), unsure: lengths.last().copied().unwrap_or(Dots::ZERO) }
}

impl Going<'_> {
    /// Asks the person at the printer to put a cartridge in.
    fn ask_for(&self, nth: usize, one: &Use, stock: &str, talk: &Talk) -> Result<()> {
        if one.mounted {
            return Ok(());
        }
        let what = match one.source {
            Source::Open => format!("{} ({:.2} m)", one.id, self.printer.along.length(one.length).mm() / 1000.0),
            _ => format!("a sealed {stock}"),
        };
        talk.warn(&format!("cartridge {nth} of {}: put {what} into {}", self.cartridges, self.printer.id));
        if !io::stdin().is_terminal() || !io::stderr().is_terminal() {
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
            let mut labels = 0;
            let done = send(&piece.batch, &mut *piece.labels, self.name, &way, &mut labels, log.as_deref_mut(), talk);
            if let Some(log) = &mut log {
                log.next(piece.batch.lengths.len());
            }
            if let (Some((_, one)), Some(shelf), Taking::AtOnce) = (piece.cartridge, &mut shelf, self.taking) {
                let gone = match &done {
                    Ok(sent) => Gone { fed: sent.feed, unsure: Dots::ZERO },
                    Err(_) => begun(&piece.batch, labels),
                };
                if done.is_ok() || labels > 0 {
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
