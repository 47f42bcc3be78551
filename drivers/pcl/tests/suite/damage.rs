//! Damaged streams: an error or other lines, never a panic, never a broken contract, never much
//! memory.

use tapewright_driver_tests::{Piece, Random, refused};
use tapewright_host::{Cut, CutKind};

use crate::round_trip::job;
use crate::support::PCL;

fn stream() -> Vec<u8> {
    let mut random = Random::new(7);
    let mut row = vec![0; 11];
    let rows: Vec<Vec<u8>> = (0..40)
        .map(|line| match line % 5 {
            0 => vec![0; 11],
            1 => vec![0xF0; 11],
            2 => {
                row = random.bytes(11);
                row.clone()
            }
            _ => {
                row[line % 11] ^= 0x3C;
                row.clone()
            }
        })
        .collect();
    let cut = |line| Cut { line, kind: CutKind::Full };
    let piece = |cuts: &[Cut]| Piece { dots: 88, rows: rows.clone(), cuts: cuts.to_vec(), ..Piece::default() };
    PCL.write(&job(88, 300), &[piece(&[cut(40)]), piece(&[cut(21), cut(40)])], |lines| (lines, true)).unwrap()
}

#[test]
fn every_truncation_is_refused() {
    PCL.refuses_every_truncation(&stream());
}

#[test]
fn bit_flips_do_no_harm() {
    let stream = stream();
    let flips = PCL.survives_flips(&stream, 100, |found| found.pieces.len() == 3);
    // Pixels can change unseen, and so can where a row lies; not most of the stream.
    assert!(flips.survived < stream.len() * 8 * 2 / 3, "{flips:?}");
}

#[test]
fn a_byte_lost_or_doubled_does_no_harm() {
    PCL.survives_lost_and_doubled_bytes(&stream());
}

#[test]
fn noise_is_refused() {
    let told = PCL.survives_noise(|_, random| {
        let mut noise = b"\x1B%-12345X\x1BE\x1B*t300R\x1B*r88s40t1A\x1B*b3m".to_vec();
        // Letters, digits and rows more often than chance would have it.
        let words: [&[u8]; 6] = [b"5W", b"2m", b"3Y", b"\x1B*b", b"\x0C", b"\x1B*r"];
        for _ in 0..100 {
            noise.extend_from_slice(words[random.count_below(6)]);
            noise.push(random.byte());
        }
        noise
    });
    assert_eq!(told, 300);
}

#[test]
fn errors_name_the_byte() {
    const HEAD: &[u8] = b"\x1BE\x1B*t300R\x1B*r16s2t1A";
    let text = |rest: &[u8]| refused(&PCL.read(&[HEAD, rest].concat(), 3).unwrap_err()).to_owned();
    assert_eq!(HEAD.len(), 19);
    assert_eq!(text(b"\x1B*b9M"), "byte 23, page 1: ESC*b9M, wanted compression 0, 2 or 3");
    assert_eq!(text(b"\x1B*b3Wabc"), "byte 23, page 1: row of 3 bytes, wanted at most 2");
    assert_eq!(
        text(b"\x1B*b2m3W\x02abc"),
        "byte 26, page 1: run or literal of 3 bytes, wanted at most the 2 left of the row"
    );
    assert_eq!(
        text(b"\x1B*b2m2W\x01a"),
        "byte 27, page 1: the packed row ends inside a run or literal, wanted 1 bytes more"
    );
    assert_eq!(
        text(b"\x1B*b3m3W\x21ab"),
        "byte 26, page 1: replacement of 2 bytes from byte 1 of the row, wanted it to end by byte 2"
    );
    assert_eq!(text(b"\x1B*b3m1W\x01"), "byte 26, page 1: the row ends inside a replacement, wanted its bytes");
    assert_eq!(text(b"\x1B*b3Y"), "byte 23, page 1: 3 rows after 0, wanted at most 2");
    assert_eq!(text(b"\x1B*b1Y\x1B*b-1Y"), "byte 29, page 1: ESC*b-1Y, wanted 0 to 32767");
    assert_eq!(text(b"\x1B*b1Y\x1B*rB\x0C"), "byte 28, page 1: the page ends after 1 rows, wanted 2");
    assert_eq!(text(b"\x0C"), "byte 19, page 1: the page ends inside the raster, wanted ESC*rB or ESC*rC");
    assert_eq!(text(b"\x1B&l0E"), "byte 23, page 1: ESC&l0E, wanted the end of the raster before it");
    assert_eq!(text(b"A"), "byte 19, page 1: A between commands, wanted an escape sequence or form feed");
    assert_eq!(text(b"\x1B9"), "byte 20, page 1: ESC9, wanted a command of raster graphics");
    assert_eq!(text(b"\x1B*b7"), "byte 23, page 1: the stream ends, wanted the end of an escape sequence");
    assert_eq!(text(b"\x1B*b2Wa"), "byte 25, page 1: the stream ends, wanted 1 more bytes of a row");
    let text = |stream: &[u8]| refused(&PCL.read(stream, 3).unwrap_err()).to_owned();
    assert_eq!(text(b""), "byte 0: the stream ends, wanted a command");
    assert_eq!(text(b"\x00"), "byte 0: \\x00 between commands, wanted an escape sequence or form feed");
    assert_eq!(text(b"\x1BE"), "byte 2: the stream ends, wanted a page");
    assert_eq!(text(b"\x1BE\x0C"), "byte 2: form feed without a raster before it, wanted a page");
    assert_eq!(text(b"\x1BE\x1B*r1A"), "byte 6: raster without a width, wanted ESC*r#S before it");
    assert_eq!(
        text(b"\x1B&l8.0C\x1B&l9P\x1B*t300R\x1B*r8s9t1A"),
        "byte 27: page of 450 rows, wanted the 9 of the raster"
    );
    assert_eq!(text(b"\x1B&l1O"), "byte 4: ESC&l1O, wanted orientation 0");
    assert_eq!(text(b"\x1B&l2X"), "byte 4: ESC&l2X, wanted 1 copy");
    assert_eq!(text(b"\x1B*p0x3Y"), "byte 6: ESC*p3Y, wanted the cursor at 0");
    assert_eq!(text(b"\x1B*b1W"), "byte 4: ESC*b1W, wanted a raster around it");
    assert_eq!(text(b"\x1B%0A"), "byte 3: ESC%0A, wanted ESC%-12345X and no other language");
}
