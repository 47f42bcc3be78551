//! Memory over a long strip.

use tapewright_abi::value::{Cut, CutKind, FaultKind};

use super::Outcome;
use super::bench::{Bench, Forget, said};
use crate::{Failure, HostError, JobSpec, Step, StripSpec, Work};

/// Bytes of raster in the long strip.
const LONG: u64 = 64 << 20;
/// Growth over it that is not yet a leak: buffers that double, pages of the allocator.
const GROWTH: u64 = 4 << 20;

pub(super) fn memory(bench: &Bench<'_>) -> Result<Outcome, String> {
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
        let end = [Cut { line: lines, kind: CutKind::Full }];
        let cuts = if bench.cuts_off { &end[..] } else { &[] };
        match make(&mut work, Step::BeginStrip(&StripSpec { index, lines, labels: 1, cuts, ..StripSpec::default() })) {
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
