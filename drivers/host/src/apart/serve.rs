//! The module's side: what runs in its process.

use std::io::{self, BufWriter, Read, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tapewright_abi::value::{Cut, LogLevel};

use super::area::{self, Areas, Readable, Writable};
use super::frame::{self, MARK};
use super::message::{Answer, Request};
use super::place::come_to;
use super::steps::take_step;
use super::watch::now;
use super::wire::Take;
use crate::check::probe;
use crate::{Decoder, Events, Failure, HostError, Module, Page, Session, Sink, Step};

/// Loads the module in `path` with the family files of `folders`, and serves it until `requests` ends. This is the whole work of a
/// process that [`Apart`](super::Apart) describes. `requests` come from the program that started
/// the process: what they say of open files and memory is believed.
///
/// # Errors
///
/// When `answers` cannot be written. What goes wrong with the module is answered.
pub fn serve(path: &Path, folders: &[PathBuf], requests: impl Read, answers: impl Write) -> io::Result<()> {
    let mut way =
        Way { requests, answers: BufWriter::with_capacity(64 << 10, answers), stream: None, stored: 0..0, told: now() };
    let module = Module::load_with_files(path, folders);
    let mut open = Open::default();
    let mut body = Vec::new();
    while frame::read(&mut way.requests, &[], &mut body).is_ok() {
        let answered = match (&module, Request::read(&body)) {
            (Err(error), _) => Err(Failure::Host(error.clone())),
            (Ok(_), None) => Err(misuse("a request that is none").into()),
            (Ok((module, refused)), Some(request)) => open.answer(*module, refused, &request, &mut way),
        };
        match answered {
            Ok(()) => {}
            Err(Failure::Host(error)) => way.say(&Answer::Failed(error))?,
            Err(Failure::Caller(error)) => return Err(error),
        }
        way.answers.flush()?;
    }
    Ok(())
}

/// The program hears something at least this often, if no call takes longer.
const QUIET: Duration = Duration::from_millis(200);

fn misuse(what: &str) -> HostError {
    HostError::Misuse { what: what.into() }
}

/// What the process has made so far.
#[derive(Default)]
struct Open {
    session: Option<Session>,
    decoder: Option<Decoder>,
    log: Arc<Mutex<Vec<(LogLevel, String)>>>,
    /// Where the program puts rows.
    lines: Option<Readable>,
    /// Where this process stands, if it has gone where the program is.
    processor: Option<u32>,
}

impl Open {
    fn answer<R: Read, W: Write>(
        &mut self,
        module: Module,
        refused: &[HostError],
        request: &Request<'_>,
        way: &mut Way<R, W>,
    ) -> Result<(), Failure<io::Error>> {
        let answer = match *request {
            Request::Describe => {
                let families = module.families().iter().map(|family| {
                    let reads = module.readback(&family.id)?.is_some();
                    Ok((family.clone(), reads))
                });
                Answer::Families(families.collect::<Result<_, HostError>>()?, refused.to_vec())
            }
            Request::Open { family } => {
                let log = Arc::clone(&self.log);
                self.session = Some(module.open_with_log(family, move |level, text| {
                    log.lock().unwrap_or_else(PoisonError::into_inner).push((level, text.to_owned()));
                })?);
                Answer::Done
            }
            Request::Steps { processor, steps } => {
                if self.processor != processor {
                    self.processor = processor.filter(|&one| come_to(one));
                }
                let Some(session) = &mut self.session else { return Err(misuse("steps before open").into()) };
                // SAFETY: the program writes there only between the last answer and the next request
                // (`Session::step`).
                let lines = self.lines.as_ref().map_or(&[][..], |lines| unsafe { lines.all() });
                (way.stored, way.told) = (0..0, now());
                let made = make(session, steps, lines, way);
                for (level, text) in self.log.lock().unwrap_or_else(PoisonError::into_inner).drain(..) {
                    way.say(&Answer::Log(level, text)).map_err(Failure::Caller)?;
                }
                made?;
                Answer::Done
            }
            Request::Status => {
                let Some(session) = &mut self.session else { return Err(misuse("status before open").into()) };
                Answer::Status(session.status()?)
            }
            Request::Reply(_) => return Err(misuse("a reply nobody waits for").into()),
            Request::Share { lines, stream } => {
                let numbers = i32::try_from(lines).ok().zip(i32::try_from(stream).ok());
                let (lines, stream) = numbers.ok_or_else(|| misuse("numbers of open files that are none"))?;
                // SAFETY: the program asks once, with the files it left open for this.
                let areas = unsafe { Areas::<Readable, Writable>::open(lines, stream) };
                let areas = areas.map_err(|error| misuse(&format!("memory that cannot be shared: {error}")))?;
                (self.lines, way.stream) = (Some(areas.lines), Some(areas.stream));
                Answer::Done
            }
            Request::Recognise { family, first } => match module.readback(family)? {
                Some(readback) => Answer::Score(readback.recognises(first)?.into()),
                None => Answer::Score(0),
            },
            Request::Decode { family } => {
                let readback = module.readback(family)?;
                self.decoder = Some(readback.ok_or_else(|| misuse("a family that reads nothing back"))?.decoder()?);
                Answer::Done
            }
            Request::Push(bytes) => {
                let Some(decoder) = &mut self.decoder else { return Err(misuse("bytes before decode").into()) };
                decoder.push(bytes, way)?;
                Answer::Done
            }
            Request::Finish => {
                let Some(decoder) = &mut self.decoder else { return Err(misuse("finish before decode").into()) };
                decoder.finish(way)?;
                Answer::Done
            }
            Request::Probe { family, cuts_off, job } => {
                let probed = take_step(job, &[], &mut Take(job), |step| match step {
                    Step::BeginJob(job) => probe(module, family, job, cuts_off),
                    _ => Err(misuse("a probe without a job")),
                });
                Answer::Found(probed.ok_or_else(|| misuse("a step that is none"))??)
            }
        };
        way.say(&answer).map_err(Failure::Caller)
    }
}

fn make<R: Read, W: Write>(
    session: &mut Session,
    batch: &[u8],
    lines: &[u8],
    way: &mut Way<R, W>,
) -> Result<(), Failure<io::Error>> {
    let mut steps = Take(batch);
    while !steps.0.is_empty() {
        let made = take_step(batch, lines, &mut steps, |step| step.make(session).map(|()| step.puts_out()));
        if made.ok_or_else(|| misuse("a step that is none"))?? {
            session.drain(way)?;
        }
        way.live().map_err(Failure::Caller)?;
    }
    Ok(())
}

/// The way to the program: what a driver puts out and a decoder finds, as answers.
struct Way<R, W: Write> {
    requests: R,
    answers: BufWriter<W>,
    /// Where the stream is put, if there is such memory.
    stream: Option<Writable>,
    /// What stands there and has not been told.
    stored: Range<usize>,
    /// When the program last heard something.
    told: Instant,
}

impl<R: Read, W: Write> Way<R, W> {
    fn say(&mut self, answer: &Answer<'_>) -> io::Result<()> {
        if !self.stored.is_empty() {
            let number = |n: usize| u32::try_from(n).map_err(io::Error::other);
            let stored = Answer::Stored { start: number(self.stored.start)?, count: number(self.stored.len())? };
            self.stored.start = self.stored.end;
            self.put(&stored)?;
        }
        self.put(answer)
    }

    /// Tells what there is to tell when the program has not heard anything for a while. It counts
    /// the time of a call, and a batch is many calls.
    fn live(&mut self) -> io::Result<()> {
        let now = now();
        if now.duration_since(self.told) >= QUIET {
            self.told = now;
            self.say(&Answer::Working)?;
            self.answers.flush()?;
        }
        Ok(())
    }

    /// Waits for the reply to what was said.
    fn await_reply(&mut self, take: impl FnOnce(&[u8])) -> io::Result<()> {
        self.answers.flush()?;
        let mut body = Vec::new();
        frame::read(&mut self.requests, &[], &mut body).map_err(|_| io::Error::from(io::ErrorKind::BrokenPipe))?;
        match Request::read(&body) {
            Some(Request::Reply(bytes)) => {
                take(bytes);
                Ok(())
            }
            _ => Err(io::Error::other("another request where a reply was wanted")),
        }
    }

    fn put(&mut self, answer: &Answer<'_>) -> io::Result<()> {
        let (head, bytes) = answer.body();
        frame::write(&mut self.answers, &MARK, &head, bytes)
    }
}

fn milliseconds(time: Duration) -> u32 {
    u32::try_from(time.as_millis()).unwrap_or(u32::MAX)
}

impl<R: Read, W: Write> Sink for Way<R, W> {
    type Error = io::Error;

    fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.stream.is_none() || bytes.len() > area::SIZE {
            return self.say(&Answer::Bytes(bytes));
        }
        if bytes.len() > area::SIZE - self.stored.end {
            self.say(&Answer::Full)?;
            self.await_reply(|_| ())?;
            self.stored = 0..0;
        }
        if let Some(stream) = &mut self.stream {
            stream.write(self.stored.end, bytes);
            self.stored.end += bytes.len();
        }
        Ok(())
    }

    fn wait(&mut self, time: Duration) -> io::Result<()> {
        self.say(&Answer::Wait { milliseconds: milliseconds(time) })
    }

    fn reply(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> io::Result<()> {
        let count = u32::try_from(count).map_err(io::Error::other)?;
        self.say(&Answer::WantReply { count, milliseconds: milliseconds(time) })?;
        self.await_reply(|bytes| reply.extend_from_slice(bytes))
    }
}

impl<R: Read, W: Write> Events for Way<R, W> {
    type Error = io::Error;

    fn strip_begin(&mut self, page: &Page) -> io::Result<()> {
        self.say(&Answer::StripBegin(*page))
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> io::Result<()> {
        self.say(&Answer::Lines { rows, count })
    }

    fn blank(&mut self, count: u32) -> io::Result<()> {
        self.say(&Answer::Blank(count))
    }

    fn cut(&mut self, cut: Cut) -> io::Result<()> {
        self.say(&Answer::Cut(cut))
    }

    fn strip_end(&mut self) -> io::Result<()> {
        self.say(&Answer::StripEnd)
    }
}
