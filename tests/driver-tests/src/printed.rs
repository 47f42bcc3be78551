//! What a printed job leaves.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;

use tapewright_host::{DeviceStatus, Failure, HostError, JobSpec, Session, Sink, StripSpec};

use crate::Piece;

/// What came out of a session, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sent {
    /// Bytes for the printer.
    Bytes(Vec<u8>),
    /// A wait.
    Wait(Duration),
    /// A wait for an answer: bytes wanted, time, what the printer said.
    Reply(usize, Duration, Vec<u8>),
}

/// A printed job: the steps with what each sent, how it ended, and the state of the printer.
#[derive(Debug)]
pub struct Printed {
    /// Name of each step and what it sent.
    pub steps: Vec<(String, Vec<Sent>)>,
    /// How the job ended. After a failure there is one more step, the cancelling.
    pub result: Result<(), HostError>,
    /// The printer as the driver knew it at the end of the job, before any cancelling.
    pub status: DeviceStatus,
}

impl Printed {
    /// All bytes that were sent.
    pub fn stream(&self) -> Vec<u8> {
        let mut stream = Vec::new();
        for sent in self.steps.iter().flat_map(|(_, sent)| sent) {
            if let Sent::Bytes(bytes) = sent {
                stream.extend_from_slice(bytes);
            }
        }
        stream
    }
}

/// A printer that keeps what it hears and says what it was told to; then nothing. No wait takes
/// time.
#[derive(Debug)]
struct Printer {
    sent: Vec<Sent>,
    says: VecDeque<Vec<u8>>,
}

impl Sink for Printer {
    type Error = Infallible;
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Infallible> {
        self.sent.push(Sent::Bytes(bytes.to_vec()));
        Ok(())
    }
    fn wait(&mut self, time: Duration) -> Result<(), Infallible> {
        self.sent.push(Sent::Wait(time));
        Ok(())
    }
    fn reply(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<(), Infallible> {
        let said = self.says.pop_front().unwrap_or_default();
        reply.extend(said.iter().take(count));
        self.sent.push(Sent::Reply(count, time, reply.clone()));
        Ok(())
    }
}

struct Run {
    session: Session,
    printer: Printer,
    steps: Vec<(String, Vec<Sent>)>,
}

impl Run {
    fn step(
        &mut self,
        name: impl Into<String>,
        step: impl FnOnce(&mut Session) -> Result<(), HostError>,
    ) -> Result<(), HostError> {
        let result = step(&mut self.session).and_then(|()| match self.session.drain(&mut self.printer) {
            Ok(()) => Ok(()),
            Err(Failure::Host(error)) => Err(error),
            Err(Failure::Caller(never)) => match never {},
        });
        self.steps.push((name.into(), std::mem::take(&mut self.printer.sent)));
        result
    }

    fn job(
        &mut self,
        job: &JobSpec,
        pieces: &[Piece],
        mut split: impl FnMut(usize) -> (usize, bool),
    ) -> Result<(), HostError> {
        self.step("job begins", |session| session.begin_job(job))?;
        for (index, piece) in (0..).zip(pieces) {
            let strip = StripSpec {
                index,
                lines: piece.lines(),
                lead_lines: piece.lead,
                labels: 1,
                cuts: &piece.cuts,
                ..StripSpec::default()
            };
            self.step(format!("strip {} begins", index + 1), |session| session.begin_strip(&strip))?;
            let mut at = 0;
            while at < piece.rows.len() {
                let left = piece.rows.len() - at;
                let (now, may_blank) = split(left);
                let rows = &piece.rows[at..at + now.clamp(1, left)];
                let bytes = rows.concat();
                let count = u32::try_from(rows.len()).expect("not more than the lines of the piece");
                let is_blank = may_blank && bytes.iter().all(|byte| *byte == 0);
                let name =
                    if count == 1 { format!("line {at}") } else { format!("lines {at} to {}", at + rows.len() - 1) };
                self.step(name, |session| if is_blank { session.blank(count) } else { session.lines(&bytes, count) })?;
                at += rows.len();
            }
            self.step(format!("strip {} ends", index + 1), Session::end_strip)?;
        }
        self.step("job ends", Session::end_job)
    }
}

/// Prints a job; see [`Family::print`](crate::Family::print).
pub(crate) fn print(
    session: Session,
    job: &JobSpec,
    pieces: &[Piece],
    says: &[&[u8]],
    split: impl FnMut(usize) -> (usize, bool),
) -> Printed {
    let says = says.iter().map(|bytes| bytes.to_vec()).collect();
    let mut run = Run { session, printer: Printer { sent: Vec::new(), says }, steps: Vec::new() };
    let result = run.job(job, pieces, split);
    let status = run.session.status().expect("a status can always be asked for");
    if result.is_err() {
        run.step("job cancelled", Session::cancel).expect("a job can always be cancelled");
    }
    Printed { steps: run.steps, result, status }
}
