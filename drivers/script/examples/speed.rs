//! How fast lines become a stream, beside memcpy of the same lines.
//!
//! `cargo run --release -p tapewright-driver-script --example speed`

#![allow(clippy::disallowed_methods)] // It measures time.

use std::hint::black_box;
use std::time::{Duration, Instant};

use tapewright_host::{JobSpec, Module, Sink, StripSpec};

/// Counts the bytes and drops them.
struct Count(usize);

impl Sink for Count {
    type Error = std::convert::Infallible;
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0 += black_box(bytes).len();
        Ok(())
    }
    fn wait(&mut self, _: Duration) -> Result<(), Self::Error> {
        Ok(())
    }
    fn reply(&mut self, _: usize, _: Duration, _: &mut Vec<u8>) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// Lines like those of a label: strokes 3 dots wide that change every few lines, half the lines
/// blank.
fn label_lines(lines: usize, line_bytes: usize) -> Vec<u8> {
    let mut rows = vec![0; lines * line_bytes];
    let mut seed = 1u32;
    let mut last = vec![0; line_bytes];
    for (index, row) in rows.chunks_exact_mut(line_bytes).enumerate() {
        if index % 400 >= 200 {
            continue;
        }
        if index % 3 == 0 {
            last.fill(0);
            for byte in last.iter_mut().skip(3).step_by(3) {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let [high, ..] = seed.to_be_bytes();
                *byte = [0, 0x70, 0x0E, 0xFF][usize::from(high >> 6)];
            }
        }
        row.copy_from_slice(&last);
    }
    rows
}

fn main() {
    const LINES: usize = 400_000;
    /// As many as the shorter of the two families takes in a strip.
    const STRIP: usize = 80_000;
    let module = Module::from_entry("script", tapewright_driver_script::linked_entry()).unwrap();
    for (name, family, every_line_inked) in [
        ("gantry, label lines", "gantry", false),
        ("gantry, no blank line", "gantry", true),
        ("footlight, packed and mirrored", "footlight", false),
    ] {
        let mut rows = label_lines(LINES, 16);
        if every_line_inked {
            rows.iter_mut().step_by(16).for_each(|byte| *byte = 0x80);
        }
        let mut copy = vec![0; rows.len()];
        let mut best_copy = Duration::MAX;
        for _ in 0..15 {
            let start = Instant::now();
            copy.copy_from_slice(black_box(&rows));
            black_box(&copy);
            best_copy = best_copy.min(start.elapsed());
        }
        let mut best = Duration::MAX;
        let mut count = Count(0);
        for _ in 0..15 {
            let start = Instant::now();
            count.0 = 0;
            let mut session = module.open(family).unwrap();
            session
                .begin_job(&JobSpec {
                    dpi_across_milli: 180_000,
                    dpi_along_milli: 180_000,
                    dots: 128,
                    web_dots: 128,
                    ..JobSpec::default()
                })
                .unwrap();
            session.drain(&mut count).unwrap();
            for (index, strip) in (0..).zip(rows.chunks(STRIP * 16)) {
                let lines = u32::try_from(STRIP).unwrap();
                session.begin_strip(&StripSpec { index, lines, ..StripSpec::default() }).unwrap();
                session.drain(&mut count).unwrap();
                for piece in strip.chunks(64 * 1024) {
                    let lines = u32::try_from(piece.len() / 16).unwrap();
                    session.lines(piece, lines).unwrap();
                    session.drain(&mut count).unwrap();
                }
                session.end_strip().unwrap();
                session.drain(&mut count).unwrap();
            }
            session.end_job().unwrap();
            session.drain(&mut count).unwrap();
            best = best.min(start.elapsed());
        }
        println!(
            "{name}: {} bytes to {} in {best:?}, memcpy {best_copy:?}, {:.1} % of its rate",
            rows.len(),
            count.0,
            100.0 * best_copy.as_secs_f64() / best.as_secs_f64()
        );
    }
}
