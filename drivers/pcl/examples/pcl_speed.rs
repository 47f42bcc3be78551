//! How fast lines become a stream and lines again, and how fast PackBits alone is, beside memcpy of
//! the same lines.
//!
//! `cargo run --release -p tapewright-driver-pcl --example pcl_speed`

use std::convert::Infallible;
use std::hint::black_box;

use tapewright_driver_tests::Family;
use tapewright_driver_tests::speed::{best, feed, label_lines, memcpy, noise_lines, share};
use tapewright_host::{Cut, Events, JobSpec, Module, Page, ToWriter};
use tapewright_kit::packbits;

/// Lines of one strip; 20 of them make a job.
const LINES: usize = 20_480;
const STRIPS: u32 = 20;
const TIMES: u32 = 5;

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

fn main() {
    let module = Module::from_entry("pcl", tapewright_driver_pcl::linked_entry()).unwrap();
    let pcl = Family::new(module, "pcl");
    for (name, dots, web_first_dot, web_dots, noise) in [
        ("label, head of 128 dots", 128, 0, 128, false),
        ("label, tape of 85 dots on it", 128, 22, 85, false),
        ("label, head of 1248 dots", 1248, 0, 1248, false),
        ("noise, head of 1248 dots", 1248, 0, 1248, true),
    ] {
        let line_bytes = dots as usize / 8;
        let rows = if noise { noise_lines(LINES, line_bytes) } else { label_lines(LINES, line_bytes) };
        let memcpy = memcpy(TIMES, &rows);
        let mut packed = Vec::with_capacity(rows.len() * 2);
        let packing = best(TIMES, || {
            packed.clear();
            for row in rows.chunks_exact(line_bytes) {
                packbits::encode(black_box(row), &mut packed);
            }
            black_box(&packed);
        });
        let job = JobSpec {
            dpi_across_milli: 300_000,
            dpi_along_milli: 300_000,
            dots,
            web_first_dot,
            web_dots,
            ..JobSpec::default()
        };
        let mut out = Vec::new();
        let writing = best(TIMES, || {
            out.clear();
            let strips = std::iter::repeat_n(rows.as_slice(), STRIPS as usize);
            feed(&pcl, &job, strips, 512, &mut ToWriter(&mut out));
        }) / STRIPS;
        let reading = best(TIMES, || {
            let mut count = Count(0);
            let mut decoder = module.readback("pcl").unwrap().unwrap().decoder().unwrap();
            for piece in out.chunks(64 * 1024) {
                decoder.push(piece, &mut count).unwrap();
            }
            decoder.finish(&mut count).unwrap();
            assert_eq!(count.0, LINES as u64 * u64::from(STRIPS));
        }) / STRIPS;
        println!("{name}: {LINES} lines of {line_bytes} bytes, memcpy {memcpy:?}");
        let percent = share(memcpy, packing);
        println!("  PackBits alone: to {} bytes in {packing:?}, {percent:.1} % of memcpy", packed.len());
        println!("  stream: {} bytes in {writing:?}, {:.1} %", out.len() / STRIPS as usize, share(memcpy, writing));
        println!("  readback: {reading:?}, {:.1} %", share(memcpy, reading));
    }
}
