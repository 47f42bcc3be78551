//! What the checks print, and how it is handed over.

use std::time::Duration;

use tapewright_abi::value::{Cut, CutKind, FaultKind};

use super::seen::Seen;
use crate::{Driver, Failure, FamilyInfo, HostError, JobSpec, Sink, Step, StripSpec, Work};

/// A family on the bench, with a job it takes.
pub(super) struct Bench<'d> {
    pub(super) driver: &'d Driver,
    pub(super) info: &'d FamilyInfo,
    pub(super) job: JobSpec,
    /// The family takes a full cut at the end of a strip.
    pub(super) cuts_off: bool,
}

/// A strip of a job on the bench: its lines one after the other, and its cuts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Piece {
    pub(super) rows: Vec<u8>,
    pub(super) lines: u32,
    pub(super) cuts: Vec<Cut>,
}

/// How lines are handed over.
#[derive(Debug, Clone, Copy)]
pub(super) enum Hand {
    /// As many as possible at once.
    AtOnce,
    /// One after the other, those without ink as blank.
    Singly,
    /// So many at a time.
    By(u32),
}

/// Takes all bytes; replies as told.
pub(super) struct Record<'r> {
    pub(super) bytes: Vec<u8>,
    pub(super) reply: &'r dyn Fn(usize, &mut Vec<u8>),
    pub(super) asked: usize,
}

/// A device that answers this often and is asked again is asked for ever.
const MOST_REPLIES: usize = 10_000;

impl Sink for Record<'_> {
    type Error = String;

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), String> {
        self.bytes.extend_from_slice(bytes);
        Ok(())
    }

    fn wait(&mut self, _time: Duration) -> Result<(), String> {
        Ok(())
    }

    fn reply(&mut self, count: usize, _time: Duration, reply: &mut Vec<u8>) -> Result<(), String> {
        self.asked += 1;
        if self.asked > MOST_REPLIES {
            return Err(format!("it asks for more than {MOST_REPLIES} replies, wanted an end or a fault"));
        }
        (self.reply)(count, reply);
        Ok(())
    }
}

/// No device answers.
pub(super) fn silence(_count: usize, _reply: &mut Vec<u8>) {}

/// Bytes a sink has no use for.
pub(super) struct Forget(pub(super) u64);

impl Sink for Forget {
    type Error = String;

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), String> {
        self.0 += bytes.len() as u64;
        Ok(())
    }

    fn wait(&mut self, _time: Duration) -> Result<(), String> {
        Ok(())
    }

    fn reply(&mut self, _count: usize, _time: Duration, _reply: &mut Vec<u8>) -> Result<(), String> {
        Ok(())
    }
}

pub(super) fn said(failure: Failure<String>) -> String {
    match failure {
        Failure::Host(error) => error.to_string(),
        Failure::Caller(text) => text,
    }
}

/// The same numbers in every run (xorshift, G. Marsaglia, "Xorshift RNGs", 2003).
pub(super) fn noise(mut seed: u32) -> impl FnMut() -> u32 {
    move || {
        seed ^= seed << 13;
        seed ^= seed >> 17;
        seed ^= seed << 5;
        seed
    }
}

impl Piece {
    /// Lines that look like labels: blank stretches, repeated lines, noise.
    pub(super) fn like_labels(job: &JobSpec, lines: u32, seed: u32) -> Piece {
        let mut next = noise(seed);
        let bytes = job.bytes_per_line() as usize;
        let mut rows: Vec<u8> = Vec::with_capacity(lines as usize * bytes);
        let mut row = vec![0; bytes];
        for _ in 0..lines {
            match next() % 5 {
                0 => row.fill(0),
                1 => row.iter_mut().for_each(|byte| *byte = next().to_le_bytes()[0]),
                _ => {}
            }
            trim(job, &mut row);
            rows.extend_from_slice(&row);
        }
        Piece { rows, lines, cuts: Vec::new() }
    }

    pub(super) fn filled(job: &JobSpec, lines: u32, byte: u8) -> Piece {
        let mut row = vec![byte; job.bytes_per_line() as usize];
        trim(job, &mut row);
        Piece { rows: row.repeat(lines as usize), lines, cuts: Vec::new() }
    }

    pub(super) fn with_cuts(mut self, cuts: &[Cut]) -> Piece {
        self.cuts = cuts.to_vec();
        self
    }
}

/// The spare bits of a line are 0.
fn trim(job: &JobSpec, row: &mut [u8]) {
    let spare = job.dots.next_multiple_of(8) - job.dots;
    if let Some(last) = row.last_mut() {
        *last &= 0xFF << spare;
    }
}

/// Makes the steps of a job until `limit` of them are made; whether all were.
pub(super) fn steps(
    work: &mut Work,
    job: &JobSpec,
    pieces: &[Piece],
    hand: Hand,
    limit: usize,
    sink: &mut dyn Sink<Error = String>,
) -> Result<bool, Failure<String>> {
    let mut left = limit;
    let mut make = |work: &mut Work, step: Step<'_>| -> Result<bool, Failure<String>> {
        if left == 0 {
            return Ok(false);
        }
        left -= 1;
        work.step(&step, sink)?;
        work.flush(sink)?;
        Ok(true)
    };
    let job = JobSpec { strips: u32::try_from(pieces.len()).unwrap_or(0), ..job.clone() };
    let row = job.bytes_per_line() as usize;
    if !make(work, Step::BeginJob(&job))? {
        return Ok(false);
    }
    for (index, piece) in (0..).zip(pieces) {
        let spec = StripSpec { index, lines: piece.lines, labels: 1, cuts: &piece.cuts, ..StripSpec::default() };
        if !make(work, Step::BeginStrip(&spec))? {
            return Ok(false);
        }
        let at_once = match hand {
            Hand::AtOnce => piece.lines.max(1),
            Hand::Singly => 1,
            Hand::By(count) => count,
        };
        for rows in piece.rows.chunks(at_once as usize * row) {
            let count = u32::try_from(rows.len() / row).unwrap_or(0);
            let step = if matches!(hand, Hand::Singly) && rows.iter().all(|byte| *byte == 0) {
                Step::Blank(count)
            } else {
                Step::Lines { rows, count }
            };
            if !make(work, step)? {
                return Ok(false);
            }
        }
        if !make(work, Step::EndStrip)? {
            return Ok(false);
        }
    }
    make(work, Step::EndJob)
}

impl<'d> Bench<'d> {
    /// Finds a job the family takes: of the usual resolutions and widths the first.
    pub(super) fn new(driver: &'d Driver, info: &'d FamilyInfo) -> Result<Bench<'d>, String> {
        let mut refusals = Vec::new();
        for milli in [180_000, 203_200, 300_000, 360_000, 600_000] {
            for dots in [128, 64, 24, 8] {
                let job = JobSpec {
                    name: "check".into(),
                    dpi_across_milli: milli,
                    dpi_along_milli: milli,
                    dots,
                    web_first_dot: 0,
                    web_dots: dots,
                    // 25.4 mm an inch.
                    width_um: u32::try_from(u64::from(dots) * 25_400_000 / u64::from(milli)).unwrap_or(0),
                    stock_kind: "tape".into(),
                    stock_title: "tape to check with".into(),
                    ..JobSpec::default()
                };
                for cuts_off in [true, false] {
                    let bench = Bench { driver, info, job: job.clone(), cuts_off };
                    match bench.print(&[bench.piece(40, 1)], Hand::AtOnce) {
                        Ok(_) => return Ok(bench),
                        Err(Failure::Host(HostError::Fault(fault)))
                            if matches!(fault.kind, FaultKind::Unsupported | FaultKind::Limit) =>
                        {
                            if !refusals.contains(&fault.text) {
                                refusals.push(fault.text);
                            }
                        }
                        Err(failure) => return Err(said(failure)),
                    }
                }
            }
        }
        refusals.truncate(3);
        Err(format!("it refuses all jobs tried, 8 to 128 dots at 180 to 600 dpi: {}", refusals.join("; ")))
    }

    pub(super) fn job(&self) -> &JobSpec {
        &self.job
    }

    pub(super) fn cuts_off(&self) -> bool {
        self.cuts_off
    }

    pub(super) fn piece(&self, lines: u32, seed: u32) -> Piece {
        self.cut_off(Piece::like_labels(&self.job, lines, seed))
    }

    /// The piece with a cut at its end, where the family takes one.
    pub(super) fn cut_off(&self, mut piece: Piece) -> Piece {
        if self.cuts_off {
            piece.cuts.push(Cut { line: piece.lines, kind: CutKind::Full });
        }
        piece
    }

    pub(super) fn open(&self) -> Result<Work, HostError> {
        self.driver.open(&self.info.id, |_, _| {})
    }

    pub(super) fn print(&self, pieces: &[Piece], hand: Hand) -> Result<Vec<u8>, Failure<String>> {
        self.print_as(&self.job, pieces, hand)
    }

    pub(super) fn print_as(&self, job: &JobSpec, pieces: &[Piece], hand: Hand) -> Result<Vec<u8>, Failure<String>> {
        let mut work = self.open()?;
        let mut record = Record { bytes: Vec::new(), reply: &silence, asked: 0 };
        steps(&mut work, job, pieces, hand, usize::MAX, &mut record)?;
        Ok(record.bytes)
    }

    pub(super) fn decoded(&self, stream: &[u8], by: usize) -> Result<Option<Seen>, String> {
        let Some(mut decoder) = self.driver.decoder(&self.info.id).map_err(|error| error.to_string())? else {
            return Ok(None);
        };
        let mut seen = Seen::default();
        for bytes in stream.chunks(by) {
            decoder.push(bytes, &mut seen).map_err(said)?;
        }
        decoder.finish(&mut seen).map_err(said)?;
        Ok(Some(seen))
    }
}
