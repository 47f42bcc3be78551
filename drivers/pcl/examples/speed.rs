//! How fast lines become a stream and lines again, and how fast PackBits alone is, beside memcpy of
//! the same lines.
//!
//! `cargo run --release -p tapewright-driver-pcl --example speed`

#![allow(clippy::disallowed_methods)] // It measures time.

use std::convert::Infallible;
use std::hint::black_box;
use std::time::{Duration, Instant};

use tapewright_host::{Cut, Events, JobSpec, Module, Page, StripSpec, ToWriter};
use tapewright_kit::packbits;

/// Lines of one strip; 20 of them make a job.
const LINES: usize = 20_480;
const STRIPS: u32 = 20;

/// Lines like those of a label: strokes that change every few lines, half the lines blank.
fn label_lines(line_bytes: usize) -> Vec<u8> {
    let mut rows = vec![0; LINES * line_bytes];
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

/// The same lines with every byte another: nothing to gain.
fn noise_lines(line_bytes: usize) -> Vec<u8> {
    let mut seed = 9u32;
    let mut next = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        seed.to_be_bytes()[0]
    };
    (0..LINES * line_bytes).map(|_| next()).collect()
}

/// Counts lines.
struct Count(u64);

impl Events for Count {
    type Error = Infallible;
    fn strip_begin(&mut self, _: &Page) -> Result<(), Infallible> {
        Ok(())
    }
    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Infallible> {
        black_box(rows);
        self.0 += u64::from(count);
        Ok(())
    }
    fn blank(&mut self, count: u32) -> Result<(), Infallible> {
        self.0 += u64::from(count);
        Ok(())
    }
    fn cut(&mut self, _: Cut) -> Result<(), Infallible> {
        Ok(())
    }
    fn strip_end(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The best of five.
fn best(mut function: impl FnMut()) -> Duration {
    let time = |_| {
        let start = Instant::now();
        function();
        start.elapsed()
    };
    (0..5).map(time).min().expect("five times")
}

fn stream(module: &Module, dots: u32, first: i32, web: u32, rows: &[u8], out: &mut Vec<u8>) {
    let line_bytes = dots.div_ceil(8) as usize;
    let mut sink = ToWriter(out);
    let mut session = module.open("pcl").unwrap();
    session
        .begin_job(&JobSpec {
            dpi_across_milli: 300_000,
            dpi_along_milli: 300_000,
            dots,
            web_first_dot: first,
            web_dots: web,
            ..JobSpec::default()
        })
        .unwrap();
    session.drain(&mut sink).unwrap();
    for index in 0..STRIPS {
        let lines = u32::try_from(LINES).unwrap();
        session.begin_strip(&StripSpec { index, lines, ..StripSpec::default() }).unwrap();
        session.drain(&mut sink).unwrap();
        for piece in rows.chunks(512 * line_bytes) {
            session.lines(piece, u32::try_from(piece.len() / line_bytes).unwrap()).unwrap();
            session.drain(&mut sink).unwrap();
        }
        session.end_strip().unwrap();
        session.drain(&mut sink).unwrap();
    }
    session.end_job().unwrap();
    session.drain(&mut sink).unwrap();
}

fn main() {
    let module = Module::from_entry("pcl", tapewright_driver_pcl::linked_entry()).unwrap();
    for (name, dots, first, web, noise) in [
        ("label, head of 128 dots", 128, 0, 128, false),
        ("label, tape of 85 dots on it", 128, 22, 85, false),
        ("label, head of 1248 dots", 1248, 0, 1248, false),
        ("noise, head of 1248 dots", 1248, 0, 1248, true),
    ] {
        let line_bytes = dots as usize / 8;
        let rows = if noise { noise_lines(line_bytes) } else { label_lines(line_bytes) };
        let mut copy = vec![0; rows.len()];
        let memcpy = best(|| {
            copy.copy_from_slice(black_box(&rows));
            black_box(&copy);
        });
        let mut packed = Vec::with_capacity(rows.len() * 2);
        let packing = best(|| {
            packed.clear();
            for row in rows.chunks_exact(line_bytes) {
                packbits::encode(black_box(row), &mut packed);
            }
            black_box(&packed);
        });
        let mut out = Vec::new();
        let writing = best(|| {
            out.clear();
            stream(&module, dots, first, web, &rows, &mut out);
        }) / STRIPS;
        let reading = best(|| {
            let mut count = Count(0);
            let mut decoder = module.readback("pcl").unwrap().unwrap().decoder().unwrap();
            for piece in out.chunks(64 * 1024) {
                decoder.push(piece, &mut count).unwrap();
            }
            decoder.finish(&mut count).unwrap();
            assert_eq!(count.0, LINES as u64 * u64::from(STRIPS));
        }) / STRIPS;
        let share = |time: Duration| 100.0 * memcpy.as_secs_f64() / time.as_secs_f64();
        println!("{name}: {LINES} lines of {line_bytes} bytes, memcpy {memcpy:?}");
        println!("  PackBits alone: to {} bytes in {packing:?}, {:.1} % of memcpy", packed.len(), share(packing));
        println!("  stream: {} bytes in {writing:?}, {:.1} %", out.len() / STRIPS as usize, share(writing));
        println!("  readback: {reading:?}, {:.1} %", share(reading));
    }
}
