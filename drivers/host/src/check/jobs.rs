//! Checks that print jobs.

use tapewright_abi::value::{Cut, CutKind, FaultKind};

use super::Outcome;
use super::bench::{Bench, Hand, Piece, Record, noise, said, silence, steps};
use super::memory::memory;
use super::seen::Seen;
use crate::{Failure, HostError, JobSpec, Step};

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
