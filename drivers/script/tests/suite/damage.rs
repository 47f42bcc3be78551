//! Damaged streams: an error or other lines, never a panic, never a broken contract.

use tapewright_host::{Cut, CutKind, FaultKind, HostError};

use crate::round_trip::{job, random_piece};
use crate::support::{Random, print, read};

const FAMILIES: [&str; 4] = ["gantry", "footlight", "made-0", "made-7"];

fn stream(family: &str) -> Vec<u8> {
    let mut random = Random::new(7);
    let dots = if family.starts_with("made") { 37 } else { 88 };
    let mut piece = random_piece(&mut random, dots, 3);
    piece.rows.truncate(30);
    let lines = u32::try_from(piece.rows.len()).unwrap();
    let cut = |line, kind| Cut { line, kind };
    piece.cuts = vec![cut(5, CutKind::Half), cut(9, CutKind::Full), cut(lines, CutKind::Full)];
    let printed = print(family, &job(dots, 2), &[piece.clone(), piece], &[], |lines| (lines, true));
    printed.result.as_ref().unwrap_or_else(|error| panic!("{family}: {error}"));
    printed.stream()
}

/// A damaged stream may be refused, by a fault of the driver and in no other way.
fn refused(result: &HostError) -> &str {
    match result {
        HostError::Fault(fault) if fault.kind == FaultKind::Fault => {
            assert!(!fault.text.contains("panicked"), "{}", fault.text);
            &fault.text
        }
        other => panic!("refused in the wrong way: {other}"),
    }
}

#[test]
fn every_truncation_is_refused() {
    for family in FAMILIES {
        let stream = stream(family);
        for end in 0..stream.len() {
            let error = read(family, &stream[..end], 64).unwrap_err();
            assert!(refused(&error).contains("the stream ends"), "{family}, {end}: {error}");
        }
        read(family, &stream, 64).unwrap();
    }
}

#[test]
fn bit_flips_do_no_harm() {
    for family in FAMILIES {
        let stream = stream(family);
        let (mut survived, mut told) = (0, 0);
        for at in 0..stream.len() {
            for bit in 0..8 {
                let mut damaged = stream.clone();
                damaged[at] ^= 1 << bit;
                match read(family, &damaged, 1000) {
                    Ok(_) => survived += 1,
                    Err(error) => {
                        _ = refused(&error);
                        told += 1;
                    }
                }
            }
        }
        // Dots can change unseen; commands and counts cannot.
        assert!(told > 100 && survived > 0, "{family}: {told} told, {survived} not");
    }
}

#[test]
fn noise_is_refused() {
    for family in FAMILIES {
        let mut random = Random::new(3);
        let start = stream(family);
        for cut in 0..300 {
            let mut noise = start[..start.len().min(8 + cut % 40)].to_vec();
            noise.extend((0..400).map(|_| random.byte()));
            if let Err(error) = read(family, &noise, 90) {
                refused(&error);
            }
        }
    }
}

#[test]
fn errors_name_the_byte() {
    let text = |at: usize, value: u8| {
        let mut damaged = stream("gantry");
        damaged[at] = value;
        refused(&read("gantry", &damaged, 500).unwrap_err()).to_owned()
    };
    // The job's start has 9 bytes, the strip's 6; then come 3 blank lines and a line of 19 bytes.
    assert_eq!(text(0, 0), "byte 0: found 00 91 6A 01 02 00 B4 00, wanted a command of gantry");
    assert_eq!(text(10, 0x93), "byte 9: strip-end between strips");
    assert_eq!(text(15, 0x77), "byte 15, strip 1: found 77 03 00 D1 10 00 00 FF, wanted a command of gantry");
    assert_eq!(text(16, 200), "byte 15, strip 1: 200 lines at line 0, wanted at most the 11 left");
    assert_eq!(text(16, 0), "byte 15, strip 1: blank with a count of 0, wanted at least 1");
    assert!(text(11, 200).ends_with("strip 1: strip-end after 11 lines, wanted 200"), "{}", text(11, 200));
    assert_eq!(refused(&read("gantry", b"", 9).unwrap_err()), "byte 0: the stream ends, wanted job-start");
}
