//! How fast lines become a stream, beside memcpy of the same lines.
//!
//! `cargo run --release -p tapewright-driver-pwg --example pwg_speed`

use tapewright_driver_tests::{Family, speed};
use tapewright_host::{JobSpec, Module};

const LINES: usize = 400_000;

fn main() {
    let module = Module::from_entry("pwg", tapewright_driver_pwg::linked_entry()).unwrap();
    let pwg = Family::new(module, "pwg");
    let rows = speed::label_lines(LINES, 16);
    for (about, web_first_dot, web_dots) in [("whole head", 0, 128), ("tape of 85 dots", 22, 85)] {
        let job = JobSpec {
            dpi_across_milli: 180_000,
            dpi_along_milli: 180_000,
            dots: 128,
            web_first_dot,
            web_dots,
            ..JobSpec::default()
        };
        speed::tell(about, &pwg, &job, &rows, LINES, 5);
    }
}
