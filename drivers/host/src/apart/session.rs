//! A driver at work in its own process.

use std::fmt;
use std::time::Duration;

use tapewright_abi::value::{DeviceStatus, LogLevel};

use super::area::{self, Areas, Readable};
use super::message::{Answer, Request};
use super::place::Stay;
use super::process::{Process, Shared};
use super::steps::Batch;
use crate::{Failure, HostError, Sink, Step};

/// Steps are sent when so many bytes wait, rows in the area not counted: fewer turns between two
/// processes, and memory that stays flat.
const BATCH: usize = 512 << 10;

/// Bytes of the stream handed on at once.
const PIECE: usize = 64 << 10;

/// Most answers taken after the sink has failed. A driver in the middle of something comes to its
/// end within them; one that asks again and again, because nothing answers, does not.
const MOST_AFTER_FAILURE: u32 = 1000;

type Log = Box<dyn FnMut(LogLevel, &str) + Send>;

/// As [`crate::Session`], in another process. Steps are kept until [`Session::flush`] or until
/// there are enough of them.
pub(crate) struct Session {
    process: Process,
    batch: Batch,
    /// Where the module puts its stream, if there is such memory, and the piece of it at hand.
    stream: Option<Readable>,
    piece: Vec<u8>,
    log: Log,
}

impl fmt::Debug for Session {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Session").field("process", &self.process).finish_non_exhaustive()
    }
}

impl Session {
    pub(super) fn new(process: Process, areas: Option<Shared>, log: Log) -> Session {
        let (lines, stream) = areas.map(|Areas { lines, stream }| (lines, stream)).unzip();
        Session { process, batch: Batch::new(lines), stream, piece: Vec::new(), log }
    }

    pub(crate) fn id(&self) -> u32 {
        self.process.id()
    }

    pub(crate) fn step<S: Sink + ?Sized>(&mut self, step: &Step<'_>, sink: &mut S) -> Result<(), Failure<S::Error>> {
        // Below, the area of the lines is written. No request is unanswered now: `flush` comes back
        // with the last answer, or with a process that is lost.
        self.process.check()?;
        if matches!(step, Step::Cancel) {
            // What was not sent is given up with the job.
            self.batch.clear();
        }
        if self.batch.is_full_for(step) {
            self.flush(sink)?;
        }
        self.batch.add(step);
        if self.batch.bytes().len() >= BATCH { self.flush(sink) } else { Ok(()) }
    }

    pub(crate) fn flush<S: Sink + ?Sized>(&mut self, sink: &mut S) -> Result<(), Failure<S::Error>> {
        if self.batch.bytes().is_empty() {
            return Ok(());
        }
        let stay = Stay::here();
        let steps = Request::Steps { processor: stay.processor(), steps: self.batch.bytes() };
        let asked = self.process.ask(&steps);
        self.batch.clear();
        asked?;
        // After a failure of the sink the answers are still taken, so that the next request meets
        // a process that waits for it.
        let mut failed: Option<S::Error> = None;
        let mut after = 0;
        loop {
            if failed.is_some() {
                after += 1;
            }
            if after > MOST_AFTER_FAILURE {
                self.process.give_up("it went on asking after the link had failed and was stopped");
                return failed.map_or(Ok(()), |error| Err(Failure::Caller(error)));
            }
            let outcome = match self.process.answer()? {
                Answer::Done => return failed.map_or(Ok(()), |error| Err(Failure::Caller(error))),
                Answer::Log(level, text) => {
                    (self.log)(level, &text);
                    Ok(())
                }
                Answer::Bytes(bytes) if !bytes.is_empty() => when(failed.is_none(), || sink.bytes(bytes)),
                Answer::Stored { start, count } => {
                    let (start, count) = (start as usize, count as usize);
                    let handed = self.stream.as_ref().and_then(|stream| {
                        hand_on(stream, start, count, &mut self.piece, &mut |bytes| {
                            when(failed.is_none(), || sink.bytes(bytes))
                        })
                    });
                    let Some(outcome) = handed else {
                        return Err(self.process.out_of_order("stored beyond its memory").into());
                    };
                    outcome
                }
                Answer::Working => Ok(()),
                Answer::Full => {
                    self.process.ask(&Request::Reply(&[]))?;
                    Ok(())
                }
                Answer::Wait { milliseconds } => {
                    when(failed.is_none(), || sink.wait(Duration::from_millis(milliseconds.into())))
                }
                Answer::WantReply { count, milliseconds } => {
                    let mut reply = Vec::new();
                    let time = Duration::from_millis(milliseconds.into());
                    let outcome = when(failed.is_none(), || sink.reply(count as usize, time, &mut reply));
                    self.process.ask(&Request::Reply(&reply))?;
                    outcome
                }
                other => {
                    let other = other.name();
                    return Err(self.process.out_of_order(other).into());
                }
            };
            if let Err(error) = outcome {
                failed.get_or_insert(error);
            }
        }
    }

    pub(crate) fn status(&mut self) -> Result<DeviceStatus, HostError> {
        self.process.ask(&Request::Status)?;
        match self.process.answer()? {
            Answer::Status(status) => Ok(status),
            other => {
                let other = other.name();
                Err(self.process.out_of_order(other))
            }
        }
    }
}

/// Gives `count` bytes of the area to `sink`, piece by piece. `None`: the area has no such bytes.
fn hand_on<E>(
    stream: &Readable,
    start: usize,
    count: usize,
    piece: &mut Vec<u8>,
    sink: &mut impl FnMut(&[u8]) -> Result<(), E>,
) -> Option<Result<(), E>> {
    let end = start.checked_add(count).filter(|&end| count > 0 && end <= area::SIZE)?;
    piece.resize(PIECE, 0);
    for at in (start..end).step_by(PIECE) {
        let piece = &mut piece[..PIECE.min(end - at)];
        stream.copy(at, piece)?;
        if let Err(error) = sink(piece) {
            return Some(Err(error));
        }
    }
    Some(Ok(()))
}

fn when<E>(condition: bool, act: impl FnOnce() -> Result<(), E>) -> Result<(), E> {
    if condition { act() } else { Ok(()) }
}
