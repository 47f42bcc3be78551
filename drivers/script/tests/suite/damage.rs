//! Damaged streams: an error or other lines, never a panic, never a broken contract.

use tapewright_driver_tests::{Random, refused};
use tapewright_host::{Cut, CutKind};

use crate::round_trip::{job, random_piece};
use crate::support::family;

const FAMILIES: [&str; 4] = ["gantry", "footlight", "made-0", "made-7"];

fn stream(name: &str) -> Vec<u8> {
    let mut random = Random::new(7);
    let dots = if name.starts_with("made") { 37 } else { 88 };
    let mut piece = random_piece(&mut random, dots, 3);
    piece.rows.truncate(30);
    let lines = u32::try_from(piece.rows.len()).unwrap();
    let cut = |line, kind| Cut { line, kind };
    piece.cuts = vec![cut(5, CutKind::Half), cut(9, CutKind::Full), cut(lines, CutKind::Full)];
    let stream = family(name).write(&job(dots, 2), &[piece.clone(), piece], |lines| (lines, true));
    stream.unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn every_truncation_is_refused() {
    for name in FAMILIES {
        family(name).refuses_every_truncation(&stream(name));
    }
}

#[test]
fn bit_flips_do_no_harm() {
    for name in FAMILIES {
        let flips = family(name).survives_flips(&stream(name), 1000, |_| true);
        // Dots can change unseen; commands and counts cannot.
        assert!(flips.told > 100 && flips.survived > 0, "{name}: {flips:?}");
    }
}

#[test]
fn a_byte_lost_or_doubled_does_no_harm() {
    for name in FAMILIES {
        family(name).survives_lost_and_doubled_bytes(&stream(name));
    }
}

#[test]
fn noise_does_no_harm() {
    for name in FAMILIES {
        let start = stream(name);
        family(name).survives_noise(|number, random| {
            let start = &start[..start.len().min(8 + number % 40)];
            [start, &random.bytes(400)].concat()
        });
    }
}

#[test]
fn errors_name_the_byte() {
    let text = |at: usize, value: u8| {
        let mut damaged = stream("gantry");
        damaged[at] = value;
        refused(&family("gantry").read(&damaged, 500).unwrap_err()).to_owned()
    };
    // The job's start has 9 bytes, the strip's 6; then come 3 blank lines and a line of 19 bytes.
    assert_eq!(text(0, 0), "byte 0: found 00 91 6A 01 02 00 B4 00, wanted a command of gantry");
    assert_eq!(text(10, 0x93), "byte 9: strip-end between strips");
    assert_eq!(text(15, 0x77), "byte 15, strip 1: found 77 03 00 D1 10 00 00 FF, wanted a command of gantry");
    assert_eq!(text(16, 200), "byte 15, strip 1: 200 lines at line 0, wanted at most the 11 left");
    assert_eq!(text(16, 0), "byte 15, strip 1: blank with a count of 0, wanted at least 1");
    assert!(text(11, 200).ends_with("strip 1: strip-end after 11 lines, wanted 200"), "{}", text(11, 200));
    assert_eq!(refused(&family("gantry").read(b"", 9).unwrap_err()), "byte 0: the stream ends, wanted job-start");
}
