//! Checks that print jobs.

use std::time::Duration;

use tapewright_abi::value::{Cut, CutKind, FaultKind};

use super::Outcome;
use crate::{Driver, Events, Failure, FamilyInfo, HostError, JobSpec, Page, Sink, Step, StripSpec, Work};

/// All of them, by name.
pub(super) const CHECKS: [(&str, Look); 10] = [
    ("same job, same bytes", same_bytes),
    ("lines handed over in pieces", pieces),
    ("blank lines and full lines", blank_and_full),
    ("widths of the head", widths),
    ("no label, one label", few_labels),
    ("cuts at every place", cuts),
    ("replies that are rubbish", replies),
    ("cancelled after every step", cancelled),
    ("memory over a long strip", memory),
    ("read back, it is the same", read_back),
];

/// A check: how it went, or a sentence about what broke in the middle of it.
pub(super) type Look = fn(&Bench<'_>) -> Result<Outcome, String>;

/// A family on the bench, with a job it takes.
pub(super) struct Bench<'d> {
    driver: &'d Driver,
    info: &'d FamilyInfo,
    job: JobSpec,
    /// The family takes a full cut at the end of a strip.
    cuts_off: bool,
}

/// A strip of a job on the bench: its lines one after the other, and its cuts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Piece {
    rows: Vec<u8>,
    lines: u32,
    cuts: Vec<Cut>,
}

/// How lines are handed over.
#[derive(Debug, Clone, Copy)]
enum Hand {
    /// As many as possible at once.
    AtOnce,
    /// One after the other, those without ink as blank.
    Singly,
    /// So many at a time.
    By(u32),
}

/// Takes all bytes; replies as told.
struct Record<'r> {
    bytes: Vec<u8>,
    reply: &'r dyn Fn(usize, &mut Vec<u8>),
    asked: usize,
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
fn silence(_count: usize, _reply: &mut Vec<u8>) {}

/// Bytes a sink has no use for.
struct Forget(u64);

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

fn said(failure: Failure<String>) -> String {
    match failure {
        Failure::Host(error) => error.to_string(),
        Failure::Caller(text) => text,
    }
}

/// The same numbers in every run (xorshift, G. Marsaglia, "Xorshift RNGs", 2003).
fn noise(mut seed: u32) -> impl FnMut() -> u32 {
    move || {
        seed ^= seed << 13;
        seed ^= seed >> 17;
        seed ^= seed << 5;
        seed
    }
}

impl Piece {
    /// Lines that look like labels: blank stretches, repeated lines, noise.
    fn like_labels(job: &JobSpec, lines: u32, seed: u32) -> Piece {
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

    fn filled(job: &JobSpec, lines: u32, byte: u8) -> Piece {
        let mut row = vec![byte; job.bytes_per_line() as usize];
        trim(job, &mut row);
        Piece { rows: row.repeat(lines as usize), lines, cuts: Vec::new() }
    }

    fn with_cuts(mut self, cuts: &[Cut]) -> Piece {
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
fn steps(
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

    fn piece(&self, lines: u32, seed: u32) -> Piece {
        self.cut_off(Piece::like_labels(&self.job, lines, seed))
    }

    /// The piece with a cut at its end, where the family takes one.
    fn cut_off(&self, mut piece: Piece) -> Piece {
        if self.cuts_off {
            piece.cuts.push(Cut { line: piece.lines, kind: CutKind::Full });
        }
        piece
    }

    fn open(&self) -> Result<Work, HostError> {
        self.driver.open(&self.info.id, |_, _| {})
    }

    fn print(&self, pieces: &[Piece], hand: Hand) -> Result<Vec<u8>, Failure<String>> {
        self.print_as(&self.job, pieces, hand)
    }

    fn print_as(&self, job: &JobSpec, pieces: &[Piece], hand: Hand) -> Result<Vec<u8>, Failure<String>> {
        let mut work = self.open()?;
        let mut record = Record { bytes: Vec::new(), reply: &silence, asked: 0 };
        steps(&mut work, job, pieces, hand, usize::MAX, &mut record)?;
        Ok(record.bytes)
    }

    fn decoded(&self, stream: &[u8], by: usize) -> Result<Option<Seen>, String> {
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

/// What a decoder finds, all strips in a row: pages of a family that makes several of one strip
/// are told from strips by nothing.
#[derive(Debug, Default, PartialEq, Eq)]
struct Seen {
    /// Width of the lines, in dots.
    dots: u32,
    rows: Vec<u8>,
    lines: u32,
    cuts: Vec<Cut>,
    before: u32,
    row: usize,
}

fn dot(row: &[u8], at: u32) -> bool {
    row.get(at as usize / 8).is_some_and(|byte| byte & (0x80 >> (at % 8)) != 0)
}

impl Seen {
    /// Whether its lines are these of `dots` dots: the same, or with blank dots around them, the
    /// same in every line, where a family fills its head.
    fn shows(&self, rows: &[u8], dots: u32) -> bool {
        let Some(more) = self.dots.checked_sub(dots) else { return rows.is_empty() };
        if more == 0 {
            return self.rows == rows;
        }
        let row = dots.div_ceil(8) as usize;
        let same = |found: &[u8], sent: &[u8], first: u32| {
            (0..self.dots)
                .all(|at| dot(found, at) == at.checked_sub(first).is_some_and(|at| at < dots && dot(sent, at)))
        };
        let lines = self.rows.chunks_exact(self.row.max(1)).zip(rows.chunks_exact(row));
        self.rows.len() / self.row.max(1) == rows.len() / row
            && (0..=more).any(|first| lines.clone().all(|(found, sent)| same(found, sent, first)))
    }

    fn of(pieces: &[Piece]) -> Seen {
        let mut seen = Seen::default();
        for piece in pieces {
            seen.rows.extend_from_slice(&piece.rows);
            seen.cuts.extend(piece.cuts.iter().map(|cut| Cut { line: seen.lines + cut.line, ..*cut }));
            seen.lines += piece.lines;
        }
        seen
    }
}

impl Events for Seen {
    type Error = String;

    fn strip_begin(&mut self, page: &Page) -> Result<(), String> {
        if self.row != 0 && page.dots != self.dots {
            return Err(format!("strips of {} and of {} dots in one job", self.dots, page.dots));
        }
        self.dots = page.dots;
        self.before = self.lines;
        self.row = page.bytes_per_line() as usize;
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), String> {
        self.rows.extend_from_slice(rows);
        self.lines += count;
        Ok(())
    }

    fn blank(&mut self, count: u32) -> Result<(), String> {
        self.rows.resize(self.rows.len() + count as usize * self.row, 0);
        self.lines += count;
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<(), String> {
        self.cuts.push(Cut { line: self.before + cut.line, ..cut });
        Ok(())
    }

    fn strip_end(&mut self) -> Result<(), String> {
        Ok(())
    }
}

fn same_bytes(bench: &Bench<'_>) -> Result<Outcome, String> {
    let pieces = [bench.piece(300, 2), bench.piece(90, 3)];
    let first = bench.print(&pieces, Hand::AtOnce).map_err(said)?;
    let other = bench.print(&pieces, Hand::AtOnce).map_err(said)?;
    let mut work = bench.open().map_err(|error| error.to_string())?;
    let mut again = Vec::new();
    for _ in 0..2 {
        let mut record = Record { bytes: Vec::new(), reply: &silence, asked: 0 };
        steps(&mut work, &bench.job, &pieces, Hand::AtOnce, usize::MAX, &mut record).map_err(said)?;
        again = record.bytes;
    }
    if first.is_empty() {
        return Err("it puts out nothing at all, wanted a stream".into());
    }
    for (what, bytes) in [("a second instance", &other), ("the second job of an instance", &again)] {
        if let Some(at) = differ(&first, bytes) {
            return Err(format!("{what} puts out other bytes from byte {at} on, wanted the same"));
        }
    }
    Ok(Outcome::Passed(format!("{} bytes, three times", first.len())))
}

/// Where two streams part.
fn differ(one: &[u8], other: &[u8]) -> Option<usize> {
    if one == other {
        return None;
    }
    Some(one.iter().zip(other).take_while(|(a, b)| a == b).count())
}

fn pieces(bench: &Bench<'_>) -> Result<Outcome, String> {
    let pieces = [bench.piece(257, 4)];
    let first = bench.print(&pieces, Hand::AtOnce).map_err(said)?;
    for hand in [Hand::By(1), Hand::By(7), Hand::By(256)] {
        let other = bench.print(&pieces, hand).map_err(said)?;
        if let Some(at) = differ(&first, &other) {
            return Err(format!("lines handed over {hand:?} put out other bytes from byte {at} on, wanted the same"));
        }
    }
    Ok(Outcome::Passed("257 lines at once, by 1, 7 and 256: the same bytes".into()))
}

fn blank_and_full(bench: &Bench<'_>) -> Result<Outcome, String> {
    for (what, piece) in [
        ("300 blank lines", bench.cut_off(Piece::filled(&bench.job, 300, 0))),
        ("300 full lines", bench.cut_off(Piece::filled(&bench.job, 300, 0xFF))),
    ] {
        for hand in [Hand::AtOnce, Hand::Singly] {
            let stream = bench.print(std::slice::from_ref(&piece), hand).map_err(said)?;
            if let Some(seen) = bench.decoded(&stream, stream.len().max(1))?
                && !(seen.lines == piece.lines && seen.shows(&piece.rows, bench.job.dots))
            {
                return Err(format!("{what} read back as {} other lines", seen.lines));
            }
        }
    }
    Ok(Outcome::Passed("300 of each, at once and singly".into()))
}

fn widths(bench: &Bench<'_>) -> Result<Outcome, String> {
    let (mut taken, mut refused) = (Vec::new(), Vec::new());
    for dots in [1, 7, 8, 9, 63, 64, 65, 127, 128, 384, 720, 1248, 2550, 4096] {
        let job = JobSpec { dots, web_dots: dots, ..bench.job.clone() };
        let piece = bench.cut_off(Piece::like_labels(&job, 40, dots));
        match bench.print_as(&job, std::slice::from_ref(&piece), Hand::AtOnce) {
            Ok(stream) => {
                if let Some(seen) = bench.decoded(&stream, stream.len().max(1))?
                    && !seen.shows(&piece.rows, dots)
                {
                    return Err(format!("lines of {dots} dots read back otherwise"));
                }
                taken.push(dots.to_string());
            }
            Err(Failure::Host(HostError::Fault(fault)))
                if matches!(fault.kind, FaultKind::Unsupported | FaultKind::Limit) =>
            {
                refused.push(dots.to_string());
            }
            Err(failure) => return Err(format!("{dots} dots: {}", said(failure))),
        }
    }
    let mut text = format!("takes {} dots", taken.join(", "));
    if !refused.is_empty() {
        text = format!("{text}; refuses {}", refused.join(", "));
    }
    Ok(Outcome::Passed(text))
}

fn few_labels(bench: &Bench<'_>) -> Result<Outcome, String> {
    let none = bench.print(&[], Hand::AtOnce).map_err(said)?;
    let one = bench.print(&[bench.piece(1, 5)], Hand::AtOnce).map_err(said)?;
    Ok(Outcome::Passed(format!("{} bytes for no strip, {} for one of a line", none.len(), one.len())))
}

fn cuts(bench: &Bench<'_>) -> Result<Outcome, String> {
    const LINES: u32 = 24;
    let mut told = Vec::new();
    for kind in [CutKind::Half, CutKind::Full] {
        let carries = match kind {
            CutKind::Half => bench.info.carries_half_cuts(),
            CutKind::Full => bench.info.carries_inner_cuts(),
        };
        let (mut taken, mut refused) = (0, 0);
        for line in 0..=LINES {
            let cut = Cut { line, kind };
            let end = Cut { line: LINES, kind: CutKind::Full };
            if line == LINES && kind == CutKind::Half && bench.cuts_off {
                continue;
            }
            let wanted = if bench.cuts_off && line < LINES { vec![cut, end] } else { vec![cut] };
            let piece = Piece::like_labels(&bench.job, LINES, 6).with_cuts(&wanted);
            match bench.print(std::slice::from_ref(&piece), Hand::AtOnce) {
                Ok(stream) => {
                    taken += 1;
                    if let Some(mut seen) = bench.decoded(&stream, stream.len().max(1))? {
                        // A language may be unable to say that a piece is not cut off at its end.
                        seen.cuts.retain(|seen| wanted.contains(seen) || *seen != end);
                        if seen.cuts != wanted {
                            let found = seen.cuts;
                            return Err(format!("a {kind:?} cut at line {line} of {LINES} read back as {found:?}"));
                        }
                    }
                }
                Err(Failure::Host(HostError::Fault(fault)))
                    if fault.kind == FaultKind::Unsupported && (!carries || line == 0 || line == LINES) =>
                {
                    refused += 1;
                }
                Err(failure) => return Err(format!("a {kind:?} cut at line {line}: {}", said(failure))),
            }
        }
        told.push(format!("{kind:?}: {taken} places taken, {refused} refused"));
    }
    Ok(Outcome::Passed(told.join("; ")))
}

fn replies(bench: &Bench<'_>) -> Result<Outcome, String> {
    let pieces = [bench.piece(60, 7), bench.piece(60, 8)];
    let (mut ended, mut faults) = (0, 0);
    for seed in 1..=50 {
        let next = std::cell::RefCell::new(noise(seed));
        let rubbish = |count: usize, reply: &mut Vec<u8>| {
            let mut next = next.borrow_mut();
            let length = next() as usize % (count + 1);
            reply.extend((0..length).map(|_| next().to_le_bytes()[0]));
        };
        let mut work = bench.open().map_err(|error| error.to_string())?;
        let mut record = Record { bytes: Vec::new(), reply: &rubbish, asked: 0 };
        match steps(&mut work, &bench.job, &pieces, Hand::AtOnce, usize::MAX, &mut record) {
            Ok(_) => ended += 1,
            Err(Failure::Host(HostError::Fault(_))) => faults += 1,
            Err(failure) => return Err(format!("rubbish {seed}: {}", said(failure))),
        }
        for status in [0x00, 0x18, 0x38, 0x10, 0xFF] {
            match work.step(&Step::PortStatus(status), &mut record).and_then(|()| work.flush(&mut record)) {
                Ok(()) | Err(Failure::Host(HostError::Fault(_))) => {}
                Err(failure) => return Err(format!("port status {status:#04x}: {}", said(failure))),
            }
        }
        work.status().map_err(|error| format!("status after rubbish {seed}: {error}"))?;
        if record.asked == 0 && seed == 1 && !bench.info.reads_replies() {
            return Ok(Outcome::Passed("it asks for none; port status bytes do not disturb it".into()));
        }
    }
    Ok(Outcome::Passed(format!("50 jobs: {ended} ended, {faults} gave a fault")))
}

fn cancelled(bench: &Bench<'_>) -> Result<Outcome, String> {
    let pieces = [bench.piece(30, 9), bench.piece(30, 10)];
    let wanted = bench.print(&pieces, Hand::By(10)).map_err(said)?;
    let mut at = 0;
    loop {
        let mut work = bench.open().map_err(|error| error.to_string())?;
        let mut record = Record { bytes: Vec::new(), reply: &silence, asked: 0 };
        let whole = steps(&mut work, &bench.job, &pieces, Hand::By(10), at, &mut record).map_err(said)?;
        work.step(&Step::Cancel, &mut record)
            .and_then(|()| work.flush(&mut record))
            .map_err(|failure| format!("cancel after {at} steps: {}", said(failure)))?;
        let mut record = Record { bytes: Vec::new(), reply: &silence, asked: 0 };
        steps(&mut work, &bench.job, &pieces, Hand::By(10), usize::MAX, &mut record)
            .map_err(|failure| format!("a job after cancel after {at} steps: {}", said(failure)))?;
        if let Some(byte) = differ(&wanted, &record.bytes) {
            return Err(format!("cancelled after {at} steps, the next job has other bytes from byte {byte} on"));
        }
        if whole {
            return Ok(Outcome::Passed(format!("after each of {at} steps, the next job comes out as ever")));
        }
        at += 1;
    }
}

/// Bytes of raster in the long strip.
const LONG: u64 = 64 << 20;
/// Growth over it that is not yet a leak: buffers that double, pages of the allocator.
const GROWTH: u64 = 4 << 20;

fn memory(bench: &Bench<'_>) -> Result<Outcome, String> {
    let mut work = bench.open().map_err(|error| error.to_string())?;
    let Some(process) = work.process() else {
        return Ok(Outcome::NotChecked("the module runs in this process: check it in its own".into()));
    };
    let chunk = bench.piece(512, 11);
    let all = LONG / chunk.rows.len() as u64;
    let mut sink = Forget(0);
    let mut make = |work: &mut Work, step: Step<'_>| {
        work.step(&step, &mut sink)?;
        work.flush(&mut sink)
    };
    let job = JobSpec { strips: 0, ..bench.job.clone() };
    make(&mut work, Step::BeginJob(&job)).map_err(said)?;
    // The longest strip the family takes: all in one, or several.
    let (mut done, mut index, mut in_a_strip, mut after_some) = (0, 0, all, None);
    while done < all {
        let lines = u32::try_from(in_a_strip * 512).map_err(|_| "a strip too long to count".to_owned())?;
        match make(&mut work, Step::BeginStrip(&StripSpec { index, lines, labels: 1, ..StripSpec::default() })) {
            Ok(()) => {}
            Err(Failure::Host(HostError::Fault(fault)))
                if index == 0 && in_a_strip > 1 && matches!(fault.kind, FaultKind::Unsupported | FaultKind::Limit) =>
            {
                in_a_strip = (in_a_strip / 8).max(1);
                make(&mut work, Step::Cancel).map_err(said)?;
                make(&mut work, Step::BeginJob(&job)).map_err(said)?;
                continue;
            }
            Err(failure) => return Err(said(failure)),
        }
        for _ in 0..in_a_strip {
            make(&mut work, Step::Lines { rows: &chunk.rows, count: 512 }).map_err(said)?;
            done += 1;
            if after_some.is_none() && done >= all / 8 {
                after_some = resident(process);
            }
        }
        make(&mut work, Step::EndStrip).map_err(said)?;
        index += 1;
    }
    let at_end = resident(process);
    let (Some(before), Some(after)) = (after_some, at_end) else {
        return Ok(Outcome::NotChecked("this platform does not tell how much memory a process has".into()));
    };
    let (mib, grown) = (|bytes: u64| bytes >> 20, after.saturating_sub(before));
    if grown > GROWTH {
        return Err(format!(
            "it grew by {} MiB over a strip of {} MiB, wanted at most {} MiB",
            mib(grown),
            mib(LONG),
            mib(GROWTH)
        ));
    }
    Ok(Outcome::Passed(format!(
        "{} MiB of lines, strips: {index}, {} MiB resident, grown by {} KiB",
        mib(LONG),
        mib(after),
        grown >> 10
    )))
}

/// Resident bytes of a process (proc(5), `/proc/[pid]/status`, VmRSS in kB).
fn resident(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok().map(|kib| kib << 10)
}

fn read_back(bench: &Bench<'_>) -> Result<Outcome, String> {
    let mut pieces = vec![bench.piece(180, 12), bench.cut_off(Piece::filled(&bench.job, 30, 0)), bench.piece(41, 13)];
    if bench.info.carries_half_cuts() {
        let cuts: Vec<Cut> = [40, 80, 120].map(|line| Cut { line, kind: CutKind::Half }).to_vec();
        let end = pieces[0].cuts.clone();
        pieces[0].cuts = [cuts, end].concat();
    }
    let stream = bench.print(&pieces, Hand::Singly).map_err(said)?;
    let wanted = Seen::of(&pieces);
    for by in [stream.len().max(1), 1, 1000] {
        let Some(seen) = bench.decoded(&stream, by)? else {
            return Ok(Outcome::NotChecked("the family offers no decoder (readback/1)".into()));
        };
        if seen.lines != wanted.lines || !seen.shows(&wanted.rows, bench.job.dots) {
            return Err(format!("handed over by {by} bytes, {} lines come back, or other ones", seen.lines));
        }
        if seen.cuts != wanted.cuts {
            return Err(format!("cuts come back as {:?}, wanted {:?}", seen.cuts, wanted.cuts));
        }
    }
    let sure = bench.driver.recognises(&bench.info.id, &stream[..stream.len().min(4096)]);
    match sure.map_err(|error| error.to_string())? {
        None | Some(0) => Err("it does not recognise its own stream, wanted 1 to 100".into()),
        Some(sure) => Ok(Outcome::Passed(format!(
            "{} lines and {} cuts in {} bytes; recognised with {sure} of 100",
            wanted.lines,
            wanted.cuts.len(),
            stream.len()
        ))),
    }
}
