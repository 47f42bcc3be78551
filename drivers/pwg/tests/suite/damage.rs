//! Damaged streams: an error or other lines, never a panic, never a broken contract, never much
//! memory.

use tapewright_driver_tests::{Piece, Random, refused};
use tapewright_host::{Cut, CutKind, JobSpec};

use crate::support::PWG;

fn stream() -> Vec<u8> {
    let mut random = Random::new(7);
    let rows: Vec<Vec<u8>> = (0..40)
        .map(|line| match line % 4 {
            0 => vec![0; 11],
            1 => vec![0xF0; 11],
            _ => random.bytes(11),
        })
        .collect();
    let cut = |line, kind| Cut { line, kind };
    let piece = |cuts: &[Cut]| Piece { dots: 88, rows: rows.clone(), cuts: cuts.to_vec(), ..Piece::default() };
    let job = JobSpec {
        strips: 2,
        dpi_across_milli: 180_000,
        dpi_along_milli: 180_000,
        dots: 88,
        web_dots: 88,
        stock_kind: "tape".into(),
        ..JobSpec::default()
    };
    let pieces = [piece(&[cut(10, CutKind::Half), cut(40, CutKind::Full)]), piece(&[cut(20, CutKind::Full)])];
    PWG.write(&job, &pieces, |lines| (lines, true)).unwrap()
}

#[test]
fn every_truncation_is_refused() {
    PWG.refuses_every_truncation(&stream());
}

#[test]
fn bit_flips_do_no_harm() {
    let stream = stream();
    let flips = PWG.survives_flips(&stream, 1000, |found| found.pieces.len() == 2);
    // Pixels can change unseen, and so can a few fields of the header; not most of the stream.
    assert!(flips.survived < stream.len() * 8 / 2, "{flips:?}");
}

#[test]
fn a_byte_lost_or_doubled_does_no_harm() {
    PWG.survives_lost_and_doubled_bytes(&stream());
}

#[test]
fn noise_does_no_harm() {
    let stream = stream();
    PWG.survives_noise(|_, random| [&stream[..4 + 1796], &random.bytes(400)].concat());
}

#[test]
fn errors_name_the_byte() {
    let text = |at: usize, value: u8| {
        let mut damaged = stream();
        damaged[at] = value;
        refused(&PWG.read(&damaged, 500).unwrap_err()).to_owned()
    };
    assert_eq!(text(2, b'Z'), "byte 2: Z instead of the word RaS2");
    assert_eq!(text(4 + 396 + 3, 1), "byte 400, page 1: ColorOrder is 1, wanted 0");
    assert_eq!(text(1800, 200), "byte 1800, page 1: group of 201 lines at line 0, wanted at most the 40 left");
    assert_eq!(text(1801, 128), "byte 1801, page 1: code 128 at line 0, wanted a run or literal");
    assert_eq!(text(1801, 11), "byte 1801, page 1: 12 bytes at line 0, wanted at most the 11 left of the line");
    // TotalPageCount of the first page: the second page disagrees.
    assert!(text(4 + 455, 3).ends_with("page 2: TotalPageCount is 2, wanted 3 as on the first page"));
    let mut long = stream();
    long.push(0);
    assert!(
        refused(&PWG.read(&long, 500).unwrap_err())
            .ends_with("the stream ends, wanted 1795 more bytes of a page header")
    );
    assert_eq!(refused(&PWG.read(b"RaS2", 9).unwrap_err()), "byte 4: the stream ends, wanted a page");
    assert_eq!(refused(&PWG.read(b"", 9).unwrap_err()), "byte 0: the stream ends, wanted the word RaS2");
}
