//! A decoder at work in its own process.

use super::message::{Answer, Request};
use super::process::Process;
use crate::readback::WIDEST;
use crate::{Events, Failure};

/// As [`crate::Decoder`], in another process. What comes is checked again: the process may be
/// broken in ways its own checks do not see.
#[derive(Debug)]
pub(crate) struct Decoder {
    process: Process,
    /// Where in the strip under way.
    strip: Option<Place>,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    row_bytes: usize,
    /// Lines to come; of a strip that does not say, all that can be counted.
    left: u32,
    /// No cut comes before this line.
    next_cut: u32,
    last_line: u32,
}

impl Decoder {
    pub(super) fn new(process: Process) -> Decoder {
        Decoder { process, strip: None }
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
            let outcome = match (self.process.answer()?, self.strip.as_mut()) {
                (Answer::Done, _) => return Ok(()),
                (Answer::StripBegin(page), None) if (1..=WIDEST).contains(&page.dots) => {
                    let lines = page.lines.unwrap_or(u32::MAX);
                    let row_bytes = page.bytes_per_line() as usize;
                    self.strip = Some(Place { row_bytes, left: lines, next_cut: 0, last_line: lines });
                    events.strip_begin(&page)
                }
                (Answer::Lines { rows, count }, Some(strip))
                    if (1..=strip.left).contains(&count)
                        && (count as usize).checked_mul(strip.row_bytes) == Some(rows.len()) =>
                {
                    strip.left -= count;
                    events.lines(rows, count)
                }
                (Answer::Blank(count), Some(strip)) if (1..=strip.left).contains(&count) => {
                    strip.left -= count;
                    events.blank(count)
                }
                (Answer::Cut(cut), Some(strip)) if (strip.next_cut..=strip.last_line).contains(&cut.line) => {
                    strip.next_cut = cut.line.saturating_add(1);
                    events.cut(cut)
                }
                (Answer::StripEnd, Some(strip)) if strip.left == 0 || strip.last_line == u32::MAX => {
                    self.strip = None;
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
