//! A decoder at work in its own process.

use super::message::{Answer, Request};
use super::process::Process;
use crate::{Events, Failure};

/// As [`crate::Decoder`], in another process. What comes is checked again: the process may be
/// broken in ways its own checks do not see.
#[derive(Debug)]
pub(crate) struct Decoder {
    process: Process,
    /// Bytes of a line of the strip under way.
    row_bytes: Option<usize>,
}

impl Decoder {
    pub(super) fn new(process: Process) -> Decoder {
        Decoder { process, row_bytes: None }
    }

    pub(crate) fn push<E: Events + ?Sized>(&mut self, bytes: &[u8], events: &mut E) -> Result<(), Failure<E::Error>> {
        self.process.ask(&Request::Push(bytes))?;
        self.report(events)
    }

    pub(crate) fn finish<E: Events + ?Sized>(&mut self, events: &mut E) -> Result<(), Failure<E::Error>> {
        self.process.ask(&Request::Finish)?;
        self.report(events)
    }

    fn report<E: Events + ?Sized>(&mut self, events: &mut E) -> Result<(), Failure<E::Error>> {
        loop {
            let row_bytes = self.row_bytes;
            let outcome = match (self.process.answer()?, row_bytes) {
                (Answer::Done, _) => return Ok(()),
                (Answer::StripBegin(page), None) if page.dots > 0 => {
                    self.row_bytes = Some(page.bytes_per_line() as usize);
                    events.strip_begin(&page)
                }
                (Answer::Lines { rows, count }, Some(bytes))
                    if (count as usize).checked_mul(bytes) == Some(rows.len()) =>
                {
                    events.lines(rows, count)
                }
                (Answer::Blank(count), Some(_)) => events.blank(count),
                (Answer::Cut(cut), Some(_)) => events.cut(cut),
                (Answer::StripEnd, Some(_)) => {
                    self.row_bytes = None;
                    events.strip_end()
                }
                (other, _) => {
                    let other = other.name();
                    return Err(self.process.out_of_order(other).into());
                }
            };
            outcome.map_err(Failure::Caller)?;
        }
    }
}
