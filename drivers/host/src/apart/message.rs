//! What the program asks of a module's process, and what the process answers.
//!
//! Every request is
//! answered by any number of answers and then [`Answer::Done`], [`Answer::Failed`], or the one
//! answer that carries its result.

use std::path::PathBuf;

use tapewright_abi::value::{Cut, DeviceStatus, FaultKind, LogLevel};

use super::wire::{Put, Take};
use crate::{FamilyInfo, Fault, HostError, OptionInfo, OptionType, Page, Pattern};

/// A family and whether it reads its streams back.
pub(super) type Described = (FamilyInfo, bool);

/// Stands for no processor.
const NOWHERE: u32 = u32::MAX;

#[derive(Debug, PartialEq, Eq)]
pub(super) enum Request<'m> {
    /// Say which families there are.
    Describe,
    /// Make an instance of a family.
    Open { family: &'m str },
    /// Steps one after the other, see [`Batch`](super::steps::Batch); stops at the first that fails.
    Steps {
        /// Where the program is, see [`place`](super::place).
        processor: Option<u32>,
        /// The batch.
        steps: &'m [u8],
    },
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
    /// Use these areas, which were left open under these numbers.
    Share { lines: u32, stream: u32 },
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
    /// Bytes, which stand in the stream's area.
    Stored {
        start: u32,
        count: u32,
    },
    /// A sign of life.
    Working,
    /// The stream's area is full: an empty reply, wanted before more is written there.
    Full,
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
            Request::Steps { processor, steps } => {
                put.byte(2);
                put.number(processor.unwrap_or(NOWHERE));
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
            Request::Share { lines, stream } => {
                put.byte(10);
                put.number(lines);
                put.number(stream);
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
            2 => Request::Steps { processor: Some(take.number()?).filter(|&one| one != NOWHERE), steps: take.bytes()? },
            3 => Request::Reply(take.bytes()?),
            4 => Request::Status,
            5 => Request::Recognise { family: text(&mut take)?, first: take.bytes()? },
            6 => Request::Decode { family: text(&mut take)? },
            7 => Request::Push(take.bytes()?),
            8 => Request::Finish,
            9 => Request::Probe { family: text(&mut take)?, cuts_off: take.flag()?, job: take.bytes()? },
            10 => Request::Share { lines: take.number()?, stream: take.number()? },
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
            Answer::Stored { .. } => "stored",
            Answer::Full => "full",
            Answer::Working => "working",
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
                put.cut(cut);
            }
            Answer::StripEnd => put.byte(13),
            Answer::Found(found) => {
                put.byte(14);
                put.list(found, |put, text| put.text(text));
            }
            Answer::Stored { start, count } => {
                put.byte(15);
                put.number(*start);
                put.number(*count);
            }
            Answer::Full => put.byte(16),
            Answer::Working => put.byte(17),
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
            12 => Answer::Cut(take.cut()?),
            13 => Answer::StripEnd,
            14 => Answer::Found(take.list(Take::text)?),
            15 => Answer::Stored { start: take.number()?, count: take.number()? },
            16 => Answer::Full,
            17 => Answer::Working,
            _ => return None,
        };
        take.whole(answer)
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use tapewright_abi::value::CutKind;

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
            Answer::Stored { start: 3, count: 5 },
            Answer::Full,
            Answer::Working,
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
}
