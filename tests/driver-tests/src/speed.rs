//! The frame of a module's example `…_speed`: how fast lines become a stream, beside memcpy of the
//! same lines.

#![allow(clippy::disallowed_methods, reason = "it measures time; no test depends on it")]

use std::convert::Infallible;
use std::hint::black_box;
use std::time::{Duration, Instant};

use tapewright_host::{Failure, HostError, JobSpec, Session, Sink, StripSpec};

use crate::Family;

/// Bytes that look random: upper byte of a linear congruential generator.
fn next(seed: &mut u32) -> u8 {
    *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    seed.to_be_bytes()[0]
}

/// Lines like those of a label: strokes 3 dots wide that change every few lines, half the lines
/// blank.
pub fn label_lines(lines: usize, line_bytes: usize) -> Vec<u8> {
    let mut rows = vec![0; lines * line_bytes];
    let mut seed = 1;
    let mut last = vec![0; line_bytes];
    for (index, row) in rows.chunks_exact_mut(line_bytes).enumerate() {
        if index % 400 >= 200 {
            continue;
        }
        if index % 3 == 0 {
            last.fill(0);
            for byte in last.iter_mut().skip(3).step_by(3) {
                *byte = [0, 0x70, 0x0E, 0xFF][usize::from(next(&mut seed) >> 6)];
            }
        }
        row.copy_from_slice(&last);
    }
    rows
}

/// Lines with every byte another: nothing to gain.
pub fn noise_lines(lines: usize, line_bytes: usize) -> Vec<u8> {
    let mut seed = 9;
    (0..lines * line_bytes).map(|_| next(&mut seed)).collect()
}

/// The best of so many times, at least 1.
///
/// # Panics
///
/// For no time at all.
pub fn best(times: u32, mut function: impl FnMut()) -> Duration {
    let time = |_| {
        let start = Instant::now();
        function();
        start.elapsed()
    };
    (0..times).map(time).min().expect("at least once")
}

/// How long a copy of the lines takes, the best of so many times.
pub fn memcpy(times: u32, rows: &[u8]) -> Duration {
    let mut copy = vec![0; rows.len()];
    best(times, || {
        copy.copy_from_slice(black_box(rows));
        black_box(&copy);
    })
}

/// The rate of what took `time`, in percent of the rate of what took `beside` for the same lines.
pub fn share(beside: Duration, time: Duration) -> f64 {
    100.0 * beside.as_secs_f64() / time.as_secs_f64()
}

/// Counts the bytes and drops them.
#[derive(Debug, Default)]
struct Count(usize);

impl Sink for Count {
    type Error = Infallible;
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Infallible> {
        self.0 += black_box(bytes).len();
        Ok(())
    }
    fn wait(&mut self, _: Duration) -> Result<(), Infallible> {
        Ok(())
    }
    fn reply(&mut self, _: usize, _: Duration, _: &mut Vec<u8>) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Prints strips of full lines, so many lines at a time. The printer never answers.
///
/// # Panics
///
/// When the driver refuses the job or the sink fails.
pub fn feed<'a, S: Sink<Error: std::fmt::Debug>>(
    family: &Family,
    job: &JobSpec,
    strips: impl IntoIterator<Item = &'a [u8]>,
    lines_at_once: usize,
    sink: &mut S,
) {
    fn refused<T>(error: HostError) -> T {
        panic!("{error}")
    }
    let line_bytes = job.bytes_per_line() as usize;
    let count = |rows: &[u8]| u32::try_from(rows.len() / line_bytes).expect("a strip is shorter");
    let mut drain = |session: &mut Session| match session.drain(sink) {
        Ok(()) => {}
        Err(Failure::Host(error)) => refused::<()>(error),
        Err(Failure::Caller(error)) => panic!("the sink failed: {error:?}"),
    };
    let mut session = family.module.open(&family.name).unwrap_or_else(refused);
    session.begin_job(job).unwrap_or_else(refused);
    drain(&mut session);
    for (index, rows) in (0..).zip(strips) {
        let strip = StripSpec { index, lines: count(rows), ..StripSpec::default() };
        session.begin_strip(&strip).unwrap_or_else(refused);
        drain(&mut session);
        for part in rows.chunks(lines_at_once * line_bytes) {
            session.lines(part, count(part)).unwrap_or_else(refused);
            drain(&mut session);
        }
        session.end_strip().unwrap_or_else(refused);
        drain(&mut session);
    }
    session.end_job().unwrap_or_else(refused);
    drain(&mut session);
}

/// Measures how fast lines become a stream, best of so many times, and says so in a line. The
/// lines are handed over in parts of 64 KiB, in strips of `strip_lines` lines.
///
/// # Panics
///
/// When the driver refuses the job.
pub fn tell(about: &str, family: &Family, job: &JobSpec, rows: &[u8], strip_lines: usize, times: u32) {
    let line_bytes = job.bytes_per_line() as usize;
    let memcpy = memcpy(times, rows);
    let mut count = Count::default();
    let time = best(times, || {
        count.0 = 0;
        feed(family, job, rows.chunks(strip_lines * line_bytes), 64 * 1024 / line_bytes, &mut count);
    });
    println!(
        "{about}: {} bytes to {} in {time:?}, memcpy {memcpy:?}, {:.1} % of its rate",
        rows.len(),
        count.0,
        share(memcpy, time)
    );
}
