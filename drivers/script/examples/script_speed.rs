//! How fast lines become a stream, beside memcpy of the same lines.
//!
//! `cargo run --release -p tapewright-driver-script --example script_speed`

use tapewright_driver_tests::{Family, speed};
use tapewright_host::{JobSpec, Module};

const LINES: usize = 400_000;
/// As many as the shorter of the two families takes in a strip.
const STRIP: usize = 80_000;

fn main() {
    let module = Module::from_entry("script", tapewright_driver_script::linked_entry()).unwrap();
    let job =
        JobSpec { dpi_across_milli: 180_000, dpi_along_milli: 180_000, dots: 128, web_dots: 128, ..JobSpec::default() };
    for (about, family, every_line_inked) in [
        ("gantry, label lines", "gantry", false),
        ("gantry, no blank line", "gantry", true),
        ("footlight, packed and mirrored", "footlight", false),
    ] {
        let mut rows = speed::label_lines(LINES, 16);
        if every_line_inked {
            rows.iter_mut().step_by(16).for_each(|byte| *byte = 0x80);
        }
        speed::tell(about, &Family::new(module, family), &job, &rows, STRIP, 15);
    }
}
