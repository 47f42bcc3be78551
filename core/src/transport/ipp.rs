//! Links to print queues: the Internet Printing Protocol over HTTP (RFC 8010, RFC 8011).
//!
//! A [`Printer`] is an address and what its queue said at first; each question has its own connection,
//! so one job can be sent, watched and canceled from different threads.
//!
//! A job that waits for tape is waited for, as long as the printer answers. Only silence ends it, and
//! then the error has the number of the job.
//!
//! ```no_run
//! use tapewright::transport::ipp::{JobRequest, Printer};
//!
//! let printer = Printer::connect("ipp://store.local/ipp/print")?;
//! let stream = std::fs::File::open("out.pwg").expect("a stream");
//! let request = JobRequest::new("OTTER 1040 to 1051", "TWP");
//! let mut job = printer.print(&request, stream, &mut |progress| eprintln!("{progress}"))?;
//! printer.follow(&mut job, &mut |progress| eprintln!("{progress}"))?;
//! # Ok::<(), tapewright::error::Error>(())
//! ```

mod address;
mod attributes;
mod condition;
mod exchange;
mod job;
mod message;
mod pipe;
mod profile;
mod status;
#[cfg(test)]
mod tests;

pub use address::Address;
pub use attributes::{Activity, Attributes, Margins, MediaSize, Resolution, finishing_name};
pub use condition::{Condition, Severity};
pub use job::{JobHandle, JobRequest, PWG_RASTER, Progress, Stage};
pub use pipe::{Intake, Outlet, pipe};
pub use profile::format_of;

use crate::error::{Doing, Error, Kind, Result};
use exchange::{Still, Turns, exchange};
use message::{Message, Value, group, operation};
use std::io::{Read, Write};
use std::time::{Duration, Instant};

/// How long the parts of a print wait.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// Between two questions about a job.
    pub poll: Duration,
    /// For a connection, and for the answer to a question.
    pub answer: Duration,
    /// How long a printer may say nothing at all, before a job is given up. One that says it waits for
    /// tape is not silent.
    pub silence: Duration,
}

impl Default for Timing {
    /// Twice a second, 15 s, 3 min.
    fn default() -> Self {
        Self { poll: Duration::from_millis(500), answer: Duration::from_secs(15), silence: Duration::from_secs(180) }
    }
}

/// Hears of every change of a job.
pub type OnState<'f> = &'f mut dyn FnMut(&Progress);

/// A print queue.
#[derive(Clone, Debug)]
pub struct Printer {
    address: Address,
    timing: Timing,
    attributes: Attributes,
}

/// What is asked of a printer to read its [`Attributes`] (RFC 8011, section 4.2.5.1).
const ASKED: [&str; 25] = [
    "document-format-supported",
    "finishings-supported",
    "media-bottom-margin-supported",
    "media-col-database",
    "media-left-margin-supported",
    "media-right-margin-supported",
    "media-size-supported",
    "media-supported",
    "media-top-margin-supported",
    "operations-supported",
    "print-color-mode-supported",
    "printer-device-id",
    "printer-is-accepting-jobs",
    "printer-make-and-model",
    "printer-name",
    "printer-resolution-default",
    "printer-resolution-supported",
    "printer-state",
    "printer-state-message",
    "printer-state-reasons",
    "printer-uuid",
    "pwg-raster-document-resolution-supported",
    "pwg-raster-document-sheet-back",
    "pwg-raster-document-type-supported",
    "queued-job-count",
];

const JOB_ASKED: [&str; 4] = ["job-id", "job-state", "job-state-message", "job-state-reasons"];
const STATE_ASKED: [&str; 2] = ["printer-state", "printer-state-reasons"];

/// Silence is real time: here is the door to the clock.
#[allow(clippy::disallowed_methods, reason = "a link is a door")]
fn now() -> Instant {
    Instant::now()
}

fn keywords(names: &[&str]) -> Vec<Value> {
    names.iter().map(|name| Value::keyword(name)).collect()
}

/// What became of a document on its way.
enum Sent {
    /// The printer has it all, and says this.
    Whole(Message),
    /// The job ended before the printer answered, or before all was sent.
    Ended(Progress, Still),
}

impl Printer {
    /// Connects to a print queue and reads its attributes, with the usual [`Timing`].
    ///
    /// # Errors
    /// Kind `Input`: the address is none, see [`Address::parse`]. Kind `Device`: no such host, nothing
    /// answers at the port, or what answers is no print queue.
    pub fn connect(uri: &str) -> Result<Self> {
        Self::connect_with(uri, Timing::default())
    }

    /// The same with other times.
    ///
    /// # Errors
    /// As [`Printer::connect`].
    pub fn connect_with(uri: &str, timing: Timing) -> Result<Self> {
        let address = Address::parse(uri)?;
        let least = Duration::from_millis(1);
        let timing = Timing { poll: timing.poll.max(least), answer: timing.answer.max(least), ..timing };
        let nothing = Attributes::read(&Message { code: 0, id: 0, groups: Vec::new() });
        let mut printer = Self { address, timing, attributes: nothing };
        printer.attributes = printer.ask_attributes().doing(|| uri.to_owned())?;
        Ok(printer)
    }

    /// Where it is.
    #[must_use]
    pub const fn address(&self) -> &Address {
        &self.address
    }

    /// What it said when it was connected to.
    #[must_use]
    pub const fn attributes(&self) -> &Attributes {
        &self.attributes
    }

    fn ask_attributes(&self) -> Result<Attributes> {
        let mut request = self.request(operation::GET_PRINTER_ATTRIBUTES);
        request.add_all(group::OPERATION, "requested-attributes", keywords(&ASKED));
        Ok(Attributes::read(&self.ask(&request)?))
    }

    fn request(&self, operation: u16) -> Message {
        Message::request(operation, 1, &self.address.to_string())
    }

    fn turns(&self) -> Turns {
        Turns { connect: self.timing.answer, turn: self.timing.poll.min(self.timing.answer) }
    }

    /// Asks a question and takes the answer, whatever its status.
    fn send(&self, request: &Message) -> Result<Message> {
        let answer = self.timing.answer;
        let mut idle = |still: Still| {
            if still.since < answer {
                return Ok(());
            }
            Err(Error::new(Kind::Device, format!("the printer gives no answer within {} s", answer.as_secs_f32())))
        };
        parse(&exchange(&self.address, &request.to_bytes(), None, self.turns(), &mut idle)?.bytes)
    }

    /// Asks a question; a refusal is an error.
    fn ask(&self, request: &Message) -> Result<Message> {
        let reply = self.send(request)?;
        status::judge(&reply)?;
        Ok(reply)
    }

    /// Asks whether it would take a job, without one (Validate-Job). What it would ignore or do in
    /// another way comes back as sentences.
    ///
    /// # Errors
    /// Kind `Input`: it does not take this format of document. Kind `Device`: it refuses the job for
    /// another reason, or does not answer.
    pub fn validate(&self, request: &JobRequest) -> Result<Vec<String>> {
        let mut doubts = request.doubts(&self.attributes);
        if !self.attributes.knows(operation::VALIDATE_JOB) {
            return Ok(doubts);
        }
        let mut message = self.request(operation::VALIDATE_JOB);
        request.describe(&mut message);
        message.add(group::OPERATION, "document-format", Value::media_type(&request.format));
        request.template(&self.attributes, &mut message);
        let reply =
            self.ask(&message).map_err(|error| self.explain(error, request)).doing(|| self.address.to_string())?;
        doubts.extend(status::ignored(&reply));
        Ok(doubts)
    }

    /// A refused format is explained with those it takes.
    fn explain(&self, error: Error, request: &JobRequest) -> Error {
        if error.kind() != Kind::Input {
            return error;
        }
        let takes = self.attributes.formats.join(", ");
        Error::input(format!(
            "{}: found {takes}, wanted {}, is the driver of its profile right?",
            error.text(),
            request.format
        ))
    }

    /// Sends a document as a job: asks whether it would be taken, makes the job, streams the document.
    /// `on_state` hears the number of the job before its first byte is sent, and of changes while the
    /// document is on its way. The job may print before it is all sent, and has not ended when this
    /// returns: see [`Printer::follow`].
    ///
    /// A printer that is busy with another job is asked again for as long as it says so. One that stops
    /// taking bytes is waited for while it answers questions. If the document cannot be sent to its end
    /// the job is canceled, and the error says whether that went well.
    ///
    /// # Errors
    /// As [`Printer::validate`]; kind `Device`: the printer broke off or was silent too long, `stream` could
    /// not be read, the job was canceled or aborted meanwhile; kind `Supply`: aborted for want of tape.
    pub fn print(&self, request: &JobRequest, stream: impl Read, on_state: OnState<'_>) -> Result<JobHandle> {
        let mut stream = stream;
        let doubts = self.validate(request)?;
        let two = self.attributes.knows(operation::CREATE_JOB) && self.attributes.knows(operation::SEND_DOCUMENT);
        let done = if two {
            self.create_and_send(request, &mut stream, on_state)
        } else {
            self.print_at_once(request, &mut stream, on_state)
        };
        let job = done.doing(|| self.address.to_string())?;
        Ok(JobHandle { doubts, ..job })
    }

    /// Sends a document that is pushed, not read: `push` writes it, on the calling thread, to a pipe of
    /// few chunks, and a second thread sends it. `on_state` is called on that thread.
    ///
    /// # Errors
    /// As [`Printer::print`]. When `push` fails by itself the job is canceled and its error is returned.
    pub fn print_pushed(
        &self,
        request: &JobRequest,
        on_state: &mut (dyn FnMut(&Progress) + Send),
        push: impl FnOnce(&mut dyn Write) -> Result<()>,
    ) -> Result<JobHandle> {
        let (mut intake, outlet) = pipe();
        std::thread::scope(|scope| {
            let sender = scope.spawn(|| {
                let mut outlet = outlet;
                let sent = self.print(request, &mut outlet, &mut |progress| on_state(progress));
                // Whoever pushes must not wait for a reader that has gone.
                drop(outlet);
                sent
            });
            let pushed = push(&mut intake).and_then(|()| {
                intake.finish().map_err(|error| Error::new(Kind::Device, format!("the stream cannot be sent: {error}")))
            });
            let sent = sender.join().unwrap_or_else(|_| Err(Error::bug("the sending thread panicked")));
            match (pushed, sent) {
                (Ok(()), sent) => sent,
                // The pushing end fails, too, when the printer does: then the printer's error is the cause.
                (Err(pushed), Err(sent)) if !sent.text().starts_with(exchange::BROKE_OFF) => {
                    if pushed.kind() == Kind::Device { Err(sent) } else { Err(pushed) }
                }
                (Err(pushed), _) => Err(pushed),
            }
        })
    }

    /// Create-Job and Send-Document: the number of the job is known before its document is sent.
    fn create_and_send(&self, request: &JobRequest, stream: &mut dyn Read, on_state: OnState<'_>) -> Result<JobHandle> {
        let mut create = self.request(operation::CREATE_JOB);
        request.describe(&mut create);
        request.template(&self.attributes, &mut create);
        let reply = self.ask_when_free(&create, on_state)?;
        let job = handle(&reply, request)?;
        on_state(&self.unsent(Stage::Sending, Some(job.id)));
        let mut message = self.request(operation::SEND_DOCUMENT);
        message.add(group::OPERATION, "job-id", Value::Integer(job.id));
        message.add(group::OPERATION, "requesting-user-name", request.user());
        message.add(group::OPERATION, "document-format", Value::media_type(&request.format));
        message.add(group::OPERATION, "last-document", Value::Boolean(true));
        let failed = match self.stream(&message, stream, Some(&job), on_state) {
            Ok(Sent::Whole(reply)) => match status::judge(&reply) {
                Ok(()) => return Ok(job),
                Err(error) => error,
            },
            // It has printed, and has not answered yet.
            Ok(Sent::Ended(progress, still)) if still.whole && progress.failure().is_none() => return Ok(job),
            Ok(Sent::Ended(progress, _)) => {
                return Err(progress.failure().unwrap_or_else(|| {
                    Error::new(Kind::Device, format!("job {} ended before all of it was sent", job.id))
                }));
            }
            Err(error) => error,
        };
        let after = match self.cancel(&job) {
            Ok(()) => format!("job {} was canceled", job.id),
            // It may have ended by itself, which says more.
            Err(error) => match self.progress(&job).ok().and_then(|progress| progress.failure()) {
                Some(ended) => return Err(Error::new(ended.kind(), format!("{}; {ended}", failed.text()))),
                None => format!("job {} could not be canceled ({error}), cancel it at the printer", job.id),
            },
        };
        Err(Error::new(failed.kind(), format!("{}; {after}", failed.text())))
    }

    /// Print-Job, for printers that know nothing else.
    fn print_at_once(&self, request: &JobRequest, stream: &mut dyn Read, on_state: OnState<'_>) -> Result<JobHandle> {
        let mut message = self.request(operation::PRINT_JOB);
        request.describe(&mut message);
        message.add(group::OPERATION, "document-format", Value::media_type(&request.format));
        request.template(&self.attributes, &mut message);
        match self.stream(&message, stream, None, on_state)? {
            Sent::Whole(reply) => {
                status::judge(&reply)?;
                handle(&reply, request)
            }
            Sent::Ended(..) => Err(Error::bug("a job without a number ended")),
        }
    }

    /// Asks again for as long as the printer is busy with another job: it is not silent.
    fn ask_when_free(&self, request: &Message, on_state: OnState<'_>) -> Result<Message> {
        let mut told = false;
        loop {
            let reply = self.send(request)?;
            if !status::is_busy(&reply) {
                return status::judge(&reply).map(|()| reply);
            }
            if !told {
                on_state(&self.unsent(Stage::Pending, None));
                told = true;
            }
            std::thread::sleep(self.timing.poll);
        }
    }

    /// A job of which nothing has been sent, with the printer as it was at first.
    fn unsent(&self, stage: Stage, job: Option<i32>) -> Progress {
        let (printer, conditions) = (self.attributes.activity, self.attributes.conditions.clone());
        Progress { job, stage, reasons: Vec::new(), message: None, printer, conditions }
    }

    /// Sends a document behind a request, watching the printer whenever it takes no bytes.
    fn stream(
        &self,
        message: &Message,
        stream: &mut dyn Read,
        job: Option<&JobHandle>,
        on_state: OnState<'_>,
    ) -> Result<Sent> {
        let (mut ended, mut last) = (None, None);
        // By the clock: a question that is not answered takes its time, too.
        let mut heard = now();
        let mut before = Duration::ZERO;
        let mut idle = |still: Still| {
            // Less than before: bytes have moved since.
            if still.since <= before {
                heard = now();
            }
            before = still.since;
            match job.map_or_else(|| self.printer_alone(), |job| self.progress(job)) {
                Ok(progress) => {
                    heard = now();
                    if last.as_ref() != Some(&progress) {
                        on_state(&progress);
                    }
                    if progress.stage.ended() {
                        ended = Some((progress, still));
                        return Err(Error::bug("the job ended"));
                    }
                    last = Some(progress);
                    Ok(())
                }
                Err(error) if heard.elapsed() >= self.timing.silence => {
                    let silence = self.timing.silence.as_secs_f32();
                    let text = format!("the printer took no bytes and gave no answer for {silence} s ({error})");
                    Err(Error::new(Kind::Device, text))
                }
                Err(_) => Ok(()),
            }
        };
        let sent = exchange(&self.address, &message.to_bytes(), Some(stream), self.turns(), &mut idle);
        match (ended, sent) {
            (Some((progress, still)), _) => Ok(Sent::Ended(progress, still)),
            (None, sent) => {
                let sent = sent?;
                let reply = parse(&sent.bytes)?;
                if !sent.whole {
                    status::judge(&reply)?;
                    return Err(Error::new(
                        Kind::Device,
                        "the printer ended the job before it had all of the document",
                    ));
                }
                Ok(Sent::Whole(reply))
            }
        }
    }

    fn printer_alone(&self) -> Result<Progress> {
        let mut request = self.request(operation::GET_PRINTER_ATTRIBUTES);
        request.add_all(group::OPERATION, "requested-attributes", keywords(&STATE_ASKED));
        let (printer, conditions) = attributes::state(&self.ask(&request)?);
        Ok(Progress { job: None, stage: Stage::Sending, reasons: Vec::new(), message: None, printer, conditions })
    }

    /// How far a job is, and what is the matter with the printer.
    ///
    /// # Errors
    /// Kind `Device`: the printer does not answer, or knows no such job (any more).
    pub fn progress(&self, job: &JobHandle) -> Result<Progress> {
        let mut request = self.request(operation::GET_JOB_ATTRIBUTES);
        request.add(group::OPERATION, "job-id", Value::Integer(job.id));
        request.add(group::OPERATION, "requesting-user-name", job.user());
        request.add_all(group::OPERATION, "requested-attributes", keywords(&JOB_ASKED));
        let reply = self.ask(&request).doing(|| format!("job {}", job.id))?;
        let reasons = reply.texts(group::JOB, "job-state-reasons");
        Ok(Progress {
            job: Some(job.id),
            stage: Stage::read(reply.number(group::JOB, "job-state")),
            reasons: reasons.into_iter().filter(|reason| reason != "none").collect(),
            message: reply
                .text(group::JOB, "job-state-message")
                .map(|message| message.trim().to_owned())
                .filter(|message| !message.is_empty()),
            ..self.printer_alone()?
        })
    }

    /// Watches a job until it has ended. `on_state` hears of the first state and of every change, such as
    /// tape that is used up; the job is waited for meanwhile, as long as the printer answers.
    ///
    /// # Errors
    /// Kind `Device`: the job was canceled or aborted, with what the printer says of it; or the printer was
    /// silent for too long, and then the job may go on. Kind `Supply`: aborted for want of tape.
    pub fn follow(&self, job: &mut JobHandle, on_state: OnState<'_>) -> Result<Progress> {
        let mut heard = now();
        loop {
            match self.progress(job) {
                Ok(progress) => {
                    heard = now();
                    if job.last.as_ref() != Some(&progress) {
                        on_state(&progress);
                        job.last = Some(progress.clone());
                    }
                    if progress.stage.ended() {
                        return progress.failure().map_or(Ok(progress), Err).doing(|| self.address.to_string());
                    }
                }
                Err(error) if heard.elapsed() >= self.timing.silence => {
                    let text =
                        format!("{error}; job {} may go on: look at the printer before it is sent again", job.id);
                    return Err(Error::new(Kind::Device, text)).doing(|| self.address.to_string());
                }
                Err(_) => {}
            }
            std::thread::sleep(self.timing.poll);
        }
    }

    /// Asks the printer to end a job. It may take a while: [`Printer::follow`] sees the end.
    ///
    /// # Errors
    /// Kind `Device`: it refuses, as for a job that has ended, or does not answer.
    pub fn cancel(&self, job: &JobHandle) -> Result<()> {
        let mut request = self.request(operation::CANCEL_JOB);
        request.add(group::OPERATION, "job-id", Value::Integer(job.id));
        request.add(group::OPERATION, "requesting-user-name", job.user());
        self.ask(&request).map(drop).doing(|| format!("job {}", job.id))
    }
}

fn parse(bytes: &[u8]) -> Result<Message> {
    Message::parse(bytes).map_err(|why| {
        Error::new(Kind::Device, format!("found an answer of {} bytes that is no IPP: {why}", bytes.len()))
    })
}

/// The job of a reply.
fn handle(reply: &Message, request: &JobRequest) -> Result<JobHandle> {
    let id = reply.number(group::JOB, "job-id").ok_or_else(|| {
        Error::new(Kind::Device, "the printer took the job and gave it no number, so it cannot be watched")
    })?;
    Ok(JobHandle::known(id, request.user.clone()))
}
