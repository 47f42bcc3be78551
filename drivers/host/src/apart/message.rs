//! What the program asks of a module's process, and what the process answers.
//!
//! A request is its length (4 bytes, little-endian) and its body; an answer has [`MARK`] in front,
//! so that what a module prints to standard output is told from an answer. Every request is
//! answered by any number of answers and then [`Answer::Done`], [`Answer::Failed`], or the one
//! answer that carries its result.

use std::io::{self, IoSlice, Read, Write};
use std::ops::Range;
use std::path::PathBuf;

use tapewright_abi::value::{Cut, CutKind, DeviceStatus, FaultKind, LogLevel};

use super::wire::{Put, Take};
use crate::{FamilyInfo, Fault, HostError, JobSpec, OptionInfo, OptionType, Page, Pattern, Step, StripSpec};

/// Before every answer. No text begins like this.
pub(super) const MARK: [u8; 4] = [0xF5, b'T', b'W', 0x01];

/// No message is longer. What a driver puts out at once is 64 KiB; a batch of steps is held to a
/// few hundred.
pub(super) const LONGEST: usize = 64 << 20;

/// A family and whether it reads its streams back.
pub(super) type Described = (FamilyInfo, bool);

#[derive(Debug, PartialEq, Eq)]
pub(super) enum Request<'m> {
    /// Say which families there are.
    Describe,
    /// Make an instance of a family.
    Open { family: &'m str },
    /// Steps one after the other, see [`put_step`]; stops at the first that fails.
    Steps(&'m [u8]),
    /// What the device said: the answer to [`Answer::WantReply`].
    Reply(&'m [u8]),
    /// What the driver knows of the device.
    Status,
    /// How sure a family is that a stream that begins so is its own.
    Recognise { family: &'m str, first: &'m [u8] },
    /// Make a decoder of a family.
    Decode { family: &'m str },
    /// Bytes for the decoder.
    Push(&'m [u8]),
    /// The stream ends.
    Finish,
    /// Make the wrong calls of the validator; `job` is a begin_job step.
    Probe { family: &'m str, cuts_off: bool, job: &'m [u8] },
}

#[derive(Debug, PartialEq, Eq)]
pub(super) enum Answer<'m> {
    Done,
    Failed(HostError),
    /// The families, and files of families that cannot be used.
    Families(Vec<Described>, Vec<HostError>),
    Score(u32),
    Status(DeviceStatus),
    Bytes(&'m [u8]),
    Wait {
        milliseconds: u32,
    },
    WantReply {
        count: u32,
        milliseconds: u32,
    },
    Log(LogLevel, String),
    StripBegin(Page),
    Lines {
        rows: &'m [u8],
        count: u32,
    },
    Blank(u32),
    Cut(Cut),
    StripEnd,
    /// What the validator found.
    Found(Vec<String>),
}

impl<'m> Request<'m> {
    /// The body in two parts: all but the bytes it ends with, and these.
    pub(super) fn body(&self) -> (Vec<u8>, &'m [u8]) {
        let mut put = Put::default();
        let mut end: &[u8] = &[];
        match *self {
            Request::Describe => put.byte(0),
            Request::Open { family } => {
                put.byte(1);
                put.text(family);
            }
            Request::Steps(steps) => {
                put.byte(2);
                put.count(steps.len());
                end = steps;
            }
            Request::Reply(bytes) => {
                put.byte(3);
                put.count(bytes.len());
                end = bytes;
            }
            Request::Status => put.byte(4),
            Request::Recognise { family, first } => {
                put.byte(5);
                put.text(family);
                put.count(first.len());
                end = first;
            }
            Request::Decode { family } => {
                put.byte(6);
                put.text(family);
            }
            Request::Push(bytes) => {
                put.byte(7);
                put.count(bytes.len());
                end = bytes;
            }
            Request::Finish => put.byte(8),
            Request::Probe { family, cuts_off, job } => {
                put.byte(9);
                put.text(family);
                put.flag(cuts_off);
                put.count(job.len());
                end = job;
            }
        }
        (put.0, end)
    }

    pub(super) fn read(body: &'m [u8]) -> Option<Request<'m>> {
        let mut take = Take(body);
        let text = |take: &mut Take<'m>| take.bytes().and_then(|bytes| std::str::from_utf8(bytes).ok());
        let request = match take.byte()? {
            0 => Request::Describe,
            1 => Request::Open { family: text(&mut take)? },
            2 => Request::Steps(take.bytes()?),
            3 => Request::Reply(take.bytes()?),
            4 => Request::Status,
            5 => Request::Recognise { family: text(&mut take)?, first: take.bytes()? },
            6 => Request::Decode { family: text(&mut take)? },
            7 => Request::Push(take.bytes()?),
            8 => Request::Finish,
            9 => Request::Probe { family: text(&mut take)?, cuts_off: take.flag()?, job: take.bytes()? },
            _ => return None,
        };
        take.whole(request)
    }
}

impl<'m> Answer<'m> {
    /// What it is called in messages.
    pub(super) const fn name(&self) -> &'static str {
        match self {
            Answer::Done => "done",
            Answer::Failed(_) => "failed",
            Answer::Families(..) => "families",
            Answer::Score(_) => "score",
            Answer::Status(_) => "status",
            Answer::Bytes(_) => "bytes",
            Answer::Wait { .. } => "wait",
            Answer::WantReply { .. } => "want reply",
            Answer::Log(..) => "log",
            Answer::StripBegin(_) => "strip begin",
            Answer::Lines { .. } => "lines",
            Answer::Blank(_) => "blank",
            Answer::Cut(_) => "cut",
            Answer::StripEnd => "strip end",
            Answer::Found(_) => "found",
        }
    }

    /// The body in two parts: all but the bytes it ends with, and these.
    pub(super) fn body(&self) -> (Vec<u8>, &'m [u8]) {
        let mut put = Put::default();
        let mut end: &[u8] = &[];
        match self {
            Answer::Done => put.byte(0),
            Answer::Failed(error) => {
                put.byte(1);
                put_error(&mut put, error);
            }
            Answer::Families(families, refused) => {
                put.byte(2);
                put.list(families, |put, (family, reads)| {
                    put_family(put, family);
                    put.flag(*reads);
                });
                put.list(refused, put_error);
            }
            Answer::Score(score) => {
                put.byte(3);
                put.number(*score);
            }
            Answer::Status(status) => {
                put.byte(4);
                put_status(&mut put, status);
            }
            Answer::Bytes(bytes) => {
                put.byte(5);
                put.count(bytes.len());
                end = bytes;
            }
            Answer::Wait { milliseconds } => {
                put.byte(6);
                put.number(*milliseconds);
            }
            Answer::WantReply { count, milliseconds } => {
                put.byte(7);
                put.number(*count);
                put.number(*milliseconds);
            }
            Answer::Log(level, text) => {
                put.byte(8);
                put.number(level.to_raw());
                put.text(text);
            }
            Answer::StripBegin(page) => {
                put.byte(9);
                put.maybe(page.lines);
                put.number(page.dots);
                put.maybe(page.dpi_across_milli);
                put.maybe(page.dpi_along_milli);
            }
            Answer::Lines { rows, count } => {
                put.byte(10);
                put.number(*count);
                put.count(rows.len());
                end = rows;
            }
            Answer::Blank(count) => {
                put.byte(11);
                put.number(*count);
            }
            Answer::Cut(cut) => {
                put.byte(12);
                put_cut(&mut put, cut);
            }
            Answer::StripEnd => put.byte(13),
            Answer::Found(found) => {
                put.byte(14);
                put.list(found, |put, text| put.text(text));
            }
        }
        (put.0, end)
    }

    pub(super) fn read(body: &'m [u8]) -> Option<Answer<'m>> {
        let mut take = Take(body);
        let answer = match take.byte()? {
            0 => Answer::Done,
            1 => Answer::Failed(take_error(&mut take)?),
            2 => Answer::Families(take.list(|take| Some((take_family(take)?, take.flag()?)))?, take.list(take_error)?),
            3 => Answer::Score(take.number()?),
            4 => Answer::Status(take_status(&mut take)?),
            5 => Answer::Bytes(take.bytes()?),
            6 => Answer::Wait { milliseconds: take.number()? },
            7 => Answer::WantReply { count: take.number()?, milliseconds: take.number()? },
            8 => Answer::Log(LogLevel::from_raw(take.number()?), take.text()?),
            9 => Answer::StripBegin(Page {
                lines: take.maybe()?,
                dots: take.number()?,
                dpi_across_milli: take.maybe()?,
                dpi_along_milli: take.maybe()?,
            }),
            10 => {
                let count = take.number()?;
                Answer::Lines { rows: take.bytes()?, count }
            }
            11 => Answer::Blank(take.number()?),
            12 => Answer::Cut(take_cut(&mut take)?),
            13 => Answer::StripEnd,
            14 => Answer::Found(take.list(Take::text)?),
            _ => return None,
        };
        take.whole(answer)
    }
}

/// Appends lines of which the rows stand in the batch already: both ends of a cable often have the
/// same label, and what does not go through a pipe costs nothing there.
pub(super) fn put_lines_again(put: &mut Put, count: u32, rows: &Range<usize>) {
    put.byte(8);
    put.number(count);
    put.count(rows.start);
    put.count(rows.len());
}

/// Appends a step to a batch.
pub(super) fn put_step(put: &mut Put, step: &Step<'_>) {
    match step {
        Step::BeginJob(job) => {
            put.byte(0);
            put.text(&job.name);
            for number in [job.strips, job.dpi_across_milli, job.dpi_along_milli, job.dots, job.web_dots, job.width_um]
            {
                put.number(number);
            }
            put.signed(job.web_first_dot.into());
            put.text(&job.stock_kind);
            put.text(&job.stock_title);
            put.list(&job.options, |put, (key, value)| {
                put.text(key);
                put.text(value);
            });
        }
        Step::BeginStrip(strip) => {
            put.byte(1);
            for number in [strip.index, strip.lines, strip.lead_lines, strip.trail_lines, strip.labels] {
                put.number(number);
            }
            put.list(strip.cuts, put_cut);
        }
        Step::Lines { rows, count } => {
            put.byte(2);
            put.number(*count);
            put.bytes(rows);
        }
        Step::Blank(count) => {
            put.byte(3);
            put.number(*count);
        }
        Step::EndStrip => put.byte(4),
        Step::EndJob => put.byte(5),
        Step::Cancel => put.byte(6),
        Step::PortStatus(status) => {
            put.byte(7);
            put.byte(*status);
        }
    }
}

/// Takes the next step of `batch` and makes it; `take` is what is left of the batch.
pub(super) fn take_step<T>(batch: &[u8], take: &mut Take<'_>, make: impl FnOnce(&Step<'_>) -> T) -> Option<T> {
    match take.byte()? {
        0 => {
            let name = take.text()?;
            let mut number = || take.number();
            let (strips, dpi_across_milli, dpi_along_milli) = (number()?, number()?, number()?);
            let (dots, web_dots, width_um) = (number()?, number()?, number()?);
            let job = JobSpec {
                name,
                strips,
                dpi_across_milli,
                dpi_along_milli,
                dots,
                web_dots,
                width_um,
                web_first_dot: i32::try_from(take.signed()?).ok()?,
                stock_kind: take.text()?,
                stock_title: take.text()?,
                options: take.list(|take| Some((take.text()?, take.text()?)))?,
            };
            Some(make(&Step::BeginJob(&job)))
        }
        1 => {
            let mut number = || take.number();
            let (index, lines, lead_lines) = (number()?, number()?, number()?);
            let (trail_lines, labels) = (number()?, number()?);
            let cuts = take.list(take_cut)?;
            let strip = StripSpec { index, lines, lead_lines, trail_lines, labels, cuts: &cuts };
            Some(make(&Step::BeginStrip(&strip)))
        }
        2 => {
            let count = take.number()?;
            Some(make(&Step::Lines { rows: take.bytes()?, count }))
        }
        3 => Some(make(&Step::Blank(take.number()?))),
        4 => Some(make(&Step::EndStrip)),
        5 => Some(make(&Step::EndJob)),
        6 => Some(make(&Step::Cancel)),
        7 => Some(make(&Step::PortStatus(take.byte()?))),
        8 => {
            let count = take.number()?;
            let start = usize::try_from(take.number()?).ok()?;
            let length = usize::try_from(take.number()?).ok()?;
            let rows = batch.get(start..)?.get(..length)?;
            Some(make(&Step::Lines { rows, count }))
        }
        _ => None,
    }
}

fn put_cut(put: &mut Put, cut: &Cut) {
    put.number(cut.line);
    put.number(cut.kind.to_raw());
}

fn take_cut(take: &mut Take<'_>) -> Option<Cut> {
    Some(Cut { line: take.number()?, kind: CutKind::from_raw(take.number()?)? })
}

fn put_family(put: &mut Put, family: &FamilyInfo) {
    for text in [&family.id, &family.title, &family.version, &family.description] {
        put.text(text);
    }
    put.number(family.capabilities);
    put.list(&family.options, |put, option| {
        for text in [&option.id, &option.default, &option.help] {
            put.text(text);
        }
        match &option.kind {
            OptionType::Bool => put.byte(0),
            OptionType::Int { min, max } => {
                put.byte(1);
                put.signed(*min);
                put.signed(*max);
            }
            OptionType::Text => put.byte(2),
            OptionType::Choice(choices) => {
                put.byte(3);
                put.list(choices, |put, choice| put.text(choice));
            }
        }
    });
    put.list(&family.patterns, |put, pattern| {
        put.text(&pattern.key);
        put.text(&pattern.value);
    });
}

fn take_family(take: &mut Take<'_>) -> Option<FamilyInfo> {
    Some(FamilyInfo {
        id: take.text()?,
        title: take.text()?,
        version: take.text()?,
        description: take.text()?,
        capabilities: take.number()?,
        options: take.list(|take| {
            let (id, default, help) = (take.text()?, take.text()?, take.text()?);
            let kind = match take.byte()? {
                0 => OptionType::Bool,
                1 => OptionType::Int { min: take.signed()?, max: take.signed()? },
                2 => OptionType::Text,
                3 => OptionType::Choice(take.list(Take::text)?),
                _ => return None,
            };
            Some(OptionInfo { id, kind, default, help })
        })?,
        patterns: take.list(|take| Some(Pattern { key: take.text()?, value: take.text()? }))?,
    })
}

fn put_status(put: &mut Put, status: &DeviceStatus) {
    for flag in
        [status.known, status.ready, status.busy, status.stock_out, status.cover_open, status.wrong_stock, status.fault]
    {
        put.flag(flag);
    }
    put.number(status.found_width_um);
    put.text(&status.found_kind);
    put.text(&status.text);
}

fn take_status(take: &mut Take<'_>) -> Option<DeviceStatus> {
    Some(DeviceStatus {
        known: take.flag()?,
        ready: take.flag()?,
        busy: take.flag()?,
        stock_out: take.flag()?,
        cover_open: take.flag()?,
        wrong_stock: take.flag()?,
        fault: take.flag()?,
        found_width_um: take.number()?,
        found_kind: take.text()?,
        text: take.text()?,
    })
}

fn put_error(put: &mut Put, error: &HostError) {
    match error {
        HostError::Load { path, problem } => {
            put.byte(0);
            put.text(&path.to_string_lossy());
            put.text(problem);
        }
        HostError::NoFamily { module, family, known } => {
            put.byte(1);
            put.text(module);
            put.text(family);
            put.list(known, |put, id| put.text(id));
        }
        HostError::Fault(fault) => {
            put.byte(2);
            put.text(&fault.module);
            put.signed(fault.kind.to_raw().into());
            put.number(fault.code);
            put.text(&fault.text);
            put.flag(fault.retry);
        }
        HostError::Broken { module, what } => {
            put.byte(3);
            put.text(module);
            put.text(what);
        }
        HostError::Misuse { what } => {
            put.byte(4);
            put.text(what);
        }
        HostError::FamilyFile { path, problem } => {
            put.byte(6);
            put.text(&path.to_string_lossy());
            put.text(problem);
        }
        HostError::Died { module, how } => {
            put.byte(5);
            put.text(module);
            put.text(how);
        }
    }
}

fn take_error(take: &mut Take<'_>) -> Option<HostError> {
    Some(match take.byte()? {
        0 => HostError::Load { path: PathBuf::from(take.text()?), problem: take.text()? },
        1 => HostError::NoFamily { module: take.text()?, family: take.text()?, known: take.list(Take::text)? },
        2 => HostError::Fault(Fault {
            module: take.text()?,
            kind: FaultKind::from_raw(i32::try_from(take.signed()?).ok()?)?,
            code: take.number()?,
            text: take.text()?,
            retry: take.flag()?,
        }),
        3 => HostError::Broken { module: take.text()?, what: take.text()? },
        4 => HostError::Misuse { what: take.text()? },
        6 => HostError::FamilyFile { path: PathBuf::from(take.text()?), problem: take.text()? },
        5 => HostError::Died { module: take.text()?, how: take.text()? },
        _ => return None,
    })
}

/// Writes one message: the head of its body, then the bytes it ends with, which are not copied.
pub(super) fn write(to: &mut impl Write, mark: &[u8], head: &[u8], bytes: &[u8]) -> io::Result<()> {
    let length = u32::try_from(head.len() + bytes.len()).map_err(|_| io::Error::other("a message of 4 GiB or more"))?;
    let mut first = Vec::with_capacity(mark.len() + 4 + head.len());
    first.extend_from_slice(mark);
    first.extend_from_slice(&length.to_le_bytes());
    first.extend_from_slice(head);
    // In one call, so that the other process is woken once, by a whole message.
    let sent = loop {
        match to.write_vectored(&[IoSlice::new(&first), IoSlice::new(bytes)]) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            sent => break sent?,
        }
    };
    to.write_all(first.get(sent..).unwrap_or_default())?;
    to.write_all(&bytes[sent.saturating_sub(first.len())..])
}

/// What came instead of a message.
#[derive(Debug)]
pub(super) enum NoMessage {
    /// The other side has gone.
    End,
    /// Something that is no message; the first bytes of it.
    Rubbish(Vec<u8>),
}

/// Reads one message into `body`.
pub(super) fn read(from: &mut impl Read, mark: &[u8], body: &mut Vec<u8>) -> Result<(), NoMessage> {
    let mut head = [0; 8];
    let head = &mut head[..mark.len() + 4];
    from.read_exact(head).map_err(|_| NoMessage::End)?;
    let (found, length) = head.split_at(mark.len());
    let length = u32::from_le_bytes(length.try_into().expect("four bytes are left"));
    let length = usize::try_from(length).ok().filter(|&length| length <= LONGEST);
    let (true, Some(length)) = (found == mark, length) else { return Err(NoMessage::Rubbish(head.to_vec())) };
    // What was there is written over: only growth is filled with zeros.
    body.resize(length, 0);
    from.read_exact(body).map_err(|_| NoMessage::End)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_there_and_back() {
        let family = FamilyInfo {
            id: "plain".into(),
            title: "Plain".into(),
            version: "1".into(),
            description: "lines".into(),
            capabilities: 5,
            options: vec![
                OptionInfo {
                    id: "a".into(),
                    kind: OptionType::Int { min: -1, max: 9 },
                    default: "3".into(),
                    help: "h".into(),
                },
                OptionInfo {
                    id: "b".into(),
                    kind: OptionType::Choice(vec!["x".into(), "y".into()]),
                    default: "x".into(),
                    help: String::new(),
                },
            ],
            patterns: vec![Pattern { key: "CMD".into(), value: "PLAIN".into() }],
        };
        let fault = Fault { module: "m".into(), kind: FaultKind::Limit, code: 4, text: "too long".into(), retry: true };
        for answer in [
            Answer::Done,
            Answer::Failed(HostError::Fault(fault)),
            Answer::Failed(HostError::NoFamily { module: "m".into(), family: "f".into(), known: vec!["g".into()] }),
            Answer::Families(
                vec![(family, true)],
                vec![HostError::FamilyFile { path: "a.toml".into(), problem: "line 1".into() }],
            ),
            Answer::Status(DeviceStatus { stock_out: true, found_width_um: 12_000, ..DeviceStatus::default() }),
            Answer::Bytes(b"bytes"),
            Answer::WantReply { count: 32, milliseconds: 500 },
            Answer::StripBegin(Page { lines: None, dots: 128, dpi_across_milli: Some(180_000), dpi_along_milli: None }),
            Answer::Lines { rows: &[1, 2], count: 2 },
            Answer::Cut(Cut { line: 3, kind: CutKind::Half }),
            Answer::StripEnd,
        ] {
            let (mut body, end) = answer.body();
            body.extend_from_slice(end);
            assert_eq!(Answer::read(&body).as_ref(), Some(&answer));
            for cut in 0..body.len() {
                assert_eq!(Answer::read(&body[..cut]), None, "a part of {answer:?}");
            }
        }
    }

    #[test]
    fn a_step_there_and_back() {
        let cuts = [Cut { line: 9, kind: CutKind::Full }];
        let job = JobSpec {
            name: "n".into(),
            web_first_dot: -7,
            options: vec![("k".into(), "v".into())],
            ..JobSpec::default()
        };
        let strip = StripSpec { lines: 9, cuts: &cuts, ..StripSpec::default() };
        for step in [
            Step::BeginJob(&job),
            Step::BeginStrip(&strip),
            Step::Lines { rows: &[5; 4], count: 2 },
            Step::Blank(3),
            Step::EndStrip,
            Step::EndJob,
            Step::Cancel,
            Step::PortStatus(0x18),
        ] {
            let mut put = Put::default();
            put_step(&mut put, &step);
            let mut take = Take(&put.0);
            assert_eq!(take_step(&put.0, &mut take, |found| *found == step), Some(true));
            assert!(take.0.is_empty());
        }
    }

    #[test]
    fn lines_again_are_those_that_stand_before() {
        let mut put = Put::default();
        put_step(&mut put, &Step::Lines { rows: &[5, 6], count: 2 });
        let end = put.0.len();
        put_lines_again(&mut put, 1, &(end - 2..end));
        let mut take = Take(&put.0);
        let wanted = [Step::Lines { rows: &[5, 6], count: 2 }, Step::Lines { rows: &[5, 6], count: 1 }];
        for step in wanted {
            assert_eq!(take_step(&put.0, &mut take, |found| *found == step), Some(true));
        }
        assert!(take.0.is_empty());
        // Rows that do not stand in the batch.
        for rows in [0..1000, 1000..1001] {
            let mut batch = Put::default();
            put_lines_again(&mut batch, 1, &rows);
            assert_eq!(take_step(&batch.0, &mut Take(&batch.0), |_| ()), None, "{rows:?}");
        }
    }

    /// Takes so many bytes at a time, and is interrupted before each.
    struct Narrow(Vec<u8>, usize, bool);

    impl Write for Narrow {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.2 = !self.2;
            if self.2 {
                return Err(io::ErrorKind::Interrupted.into());
            }
            let taken = bytes.len().min(self.1);
            self.0.extend_from_slice(&bytes[..taken]);
            Ok(taken)
        }

        fn write_vectored(&mut self, parts: &[IoSlice<'_>]) -> io::Result<usize> {
            let all: Vec<u8> = parts.iter().flat_map(|part| part.iter().copied()).collect();
            self.write(&all)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_message_is_written_whole_whatever_a_pipe_takes() {
        for at_once in 1..30 {
            let mut to = Narrow(Vec::new(), at_once, false);
            write(&mut to, &MARK, b"head", b"and the bytes").unwrap();
            let mut body = Vec::new();
            read(&mut to.0.as_slice(), &MARK, &mut body).unwrap();
            assert_eq!(body, b"headand the bytes");
            assert_eq!(to.0.len(), 8 + body.len());
        }
    }

    #[test]
    fn what_a_module_prints_is_no_answer() {
        let mut body = Vec::new();
        let found = read(&mut &b"hello, world\n"[..], &MARK, &mut body);
        assert!(matches!(found, Err(NoMessage::Rubbish(bytes)) if bytes == b"hello, w"));
        assert!(matches!(read(&mut &MARK[..], &MARK, &mut body), Err(NoMessage::End)));
    }
}
