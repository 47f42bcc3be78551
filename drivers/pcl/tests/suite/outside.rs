//! Other people's streams, and other people's eyes on ours.
//!
//! `tests/outside/pcl_decode.py` shares nothing with the module. It and the module's own reader
//! read what Ghostscript and Netpbm wrote, whose pages are known from pictures the same tools
//! made; then the script reads what we wrote.

use std::path::{Path, PathBuf};
use std::process::Command;

use tapewright_driver_tests::{Piece, Random, Script, empty_folder, write_pbm};

use crate::round_trip::{pages, random_job};
use crate::support::PCL;

const SCRIPT: Script = Script("pcl_decode.py");

/// An empty folder for one test, with a folder `pbm` in it.
fn folder(name: &str) -> PathBuf {
    let folder = empty_folder(env!("CARGO_TARGET_TMPDIR"), name);
    std::fs::create_dir(folder.join("pbm")).unwrap();
    folder
}

/// The pictures of a folder, by name.
fn read_pbm(folder: &Path) -> Vec<Piece> {
    let mut names: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    let picture = |path: &PathBuf| {
        let bytes = std::fs::read(path).unwrap();
        let lines: Vec<&[u8]> = bytes.splitn(4, |byte| *byte == b'\n').collect();
        // Ghostscript puts a comment in the second line.
        let (size, rows) = if lines[1].starts_with(b"#") {
            (lines[2], lines[3])
        } else {
            (lines[1], &bytes[lines[0].len() + lines[1].len() + 2..])
        };
        let (width, height) = std::str::from_utf8(size).unwrap().split_once(' ').unwrap();
        let dots: u32 = width.parse().unwrap();
        let rows: Vec<Vec<u8>> = rows.chunks_exact(dots.div_ceil(8) as usize).map(<[u8]>::to_vec).collect();
        assert_eq!(rows.len(), height.parse::<usize>().unwrap());
        Piece { dots, rows, ..Piece::default() }
    };
    names.iter().map(picture).collect()
}

/// Reads a stream that does not say how wide its raster is, with the width put in and nothing else
/// changed. Others stop at the last row with ink: blank rows are added at the end.
fn read_ours(stream: &[u8], wanted: &[Piece], step: usize) {
    let dots = wanted[0].dots;
    let start = b"\x1B*r1A";
    let mut with_width = Vec::new();
    let mut at = 0;
    while at < stream.len() {
        if stream[at..].starts_with(start) {
            with_width.extend(format!("\x1B*r{dots}s1A").bytes());
            at += start.len();
        } else {
            with_width.push(stream[at]);
            at += 1;
        }
    }
    let found = PCL.read(&with_width, step).unwrap();
    assert_eq!(found.pieces.len(), wanted.len());
    for (found, wanted) in found.pieces.iter().zip(wanted) {
        let mut rows = found.rows.clone();
        rows.resize(wanted.rows.len(), vec![0; dots.div_ceil(8) as usize]);
        assert_eq!(found.dots, dots);
        let differs = rows.iter().zip(&wanted.rows).position(|(one, two)| one != two);
        assert_eq!(differs, None, "first row that differs");
    }
}

/// Two pages with curves, slopes, grey, blank bands and a bar that repeats rows. The first row has
/// ink, so that no device moves the cursor instead of skipping rows; the right edge of a page,
/// which these devices do not print, has none.
const DRAWING: &str = "%!PS
/mark { 0 785 moveto 300 0 rlineto 0 7 rlineto -300 0 rlineto fill } def
mark
100 500 200 60 rectfill
3 setlinewidth 200 300 90 0 330 arc stroke
20 20 moveto 500 260 lineto stroke
0.5 setgray 350 400 150 130 rectfill
showpage
mark
0 setgray 0.5 setlinewidth
0 5 100 { 100 exch 2 mul moveto 400 5 rlineto stroke } for
showpage
";

fn ghostscript(folder: &Path, device: &str, dpi: u32, to: &Path) {
    let drawing = folder.join("drawing.ps");
    std::fs::write(&drawing, DRAWING).unwrap();
    let output = Command::new("gs")
        .args(["-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sPAPERSIZE=letter"])
        .args([format!("-sDEVICE={device}"), format!("-r{dpi}"), format!("-sOutputFile={}", to.display())])
        // Without it the devices shift the page by a margin of their own.
        .args(["-c", "<</.HWMargins [0 0 0 0] /Margins [0 0]>> setpagedevice", "-f"])
        .arg(&drawing)
        .output()
        .expect("this test needs Ghostscript: install the Debian package ghostscript");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn ghostscript_is_read_right() {
    for (device, dpi, rows) in [
        ("ljet2p", 300, "in compression 2"),
        ("ljet3", 300, "in compression 3"),
        ("ljet4", 300, "in compression 3"),
        ("ljet4", 600, "in compression 3"),
    ] {
        let folder = folder(&format!("ghostscript-{device}-{dpi}"));
        let pbm = folder.join("pbm");
        ghostscript(&folder, "pbmraw", dpi, &pbm.join("strip-%04d.pbm"));
        let stream = folder.join("page.pcl");
        ghostscript(&folder, device, dpi, &stream);
        let said = SCRIPT.agrees(&stream, &pbm);
        assert!(said.starts_with("2 pages equal") && said.contains(rows), "{device}: {said}");
        let wanted = read_pbm(&pbm);
        assert_eq!(wanted[0].rows.len(), 11 * dpi as usize);
        read_ours(&std::fs::read(&stream).unwrap(), &wanted, 4096);
    }
}

/// Rows of noise, runs, rows like the one before; every row has ink at its left edge, as
/// `pbmtolj -delta` (11.1) writes a blank row as "the same again".
fn netpbm_picture(random: &mut Random) -> Piece {
    let dots = 50 + random.below(900);
    let mut page = crate::round_trip::random_piece(random, dots);
    for row in &mut page.rows {
        row[0] |= 0x80;
    }
    page
}

#[test]
fn netpbm_is_read_right() {
    let mut seen = String::new();
    for options in [&[][..], &["-packbits"], &["-delta"], &["-packbits", "-delta"], &["-compress"], &["-float"]] {
        let folder = folder(&format!("netpbm{}", options.concat()));
        let pbm = folder.join("pbm");
        for seed in 0..4 {
            let page = netpbm_picture(&mut Random::new(seed));
            write_pbm(&pbm, std::slice::from_ref(&page));
            let output = Command::new("pbmtolj")
                .args(["-resolution", "300"])
                .args(options)
                .arg(pbm.join("strip-0001.pbm"))
                .output()
                .expect("this test needs pbmtolj: install the Debian package netpbm");
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            let stream = folder.join("page.pcl");
            std::fs::write(&stream, &output.stdout).unwrap();
            seen.push_str(&SCRIPT.agrees(&stream, &pbm));
            read_ours(&output.stdout, &[page], 1 + usize::try_from(seed).unwrap());
        }
    }
    for mode in [0, 2, 3] {
        assert!(seen.contains(&format!("in compression {mode}")), "{seen}");
    }
}

/// A seeded job as `job.pcl` and PBM files.
fn seeded(name: &str, seed: u64) -> (PathBuf, PathBuf) {
    let folder = folder(name);
    let (job, pieces) = random_job(&mut Random::new(seed));
    let stream = folder.join("job.pcl");
    std::fs::write(&stream, PCL.write(&job, &pieces, |lines| (lines, true)).unwrap()).unwrap();
    write_pbm(&folder.join("pbm"), &pages(&job, &pieces));
    (stream, folder.join("pbm"))
}

#[test]
fn the_script_reads_ours() {
    let mut seen = String::new();
    for seed in 300..330 {
        let (stream, pbm) = seeded("script-same", seed);
        seen.push_str(&SCRIPT.agrees(&stream, &pbm));
    }
    for mode in [0, 2, 3] {
        assert!(seen.contains(&format!("in compression {mode}")), "{seen}");
    }
}

#[test]
fn the_script_notices() {
    let (stream, pbm) = seeded("script-differs", 302);
    SCRIPT.notices_other_pictures(&stream, &pbm, "differ first in row", "as many as the stream has pages");

    let whole = std::fs::read(&stream).unwrap();
    let refused = |what: &str| SCRIPT.refuses(&stream, &pbm, what);
    let replaced = |from: &str, to: &str| {
        let at = whole.windows(from.len()).position(|bytes| bytes == from.as_bytes()).unwrap();
        let changed = [&whole[..at], to.as_bytes(), &whole[at + from.len()..]].concat();
        std::fs::write(&stream, changed).unwrap();
    };
    replaced("\x1B*rB\x0C", "\x1B*b1Y\x1B*rB\x0C");
    refused("rows, wanted");
    replaced("\x1B*rB\x0C", "\x0C");
    refused("inside a raster");
    replaced("\x1B*t", "text\x1B*t");
    refused("wanted a command");
    replaced("t1A", "t1A\x1B*b9m0W");
    refused("compression 9");
    replaced("0l0E", "1p0l0E");
    refused("page of 1 rows");
    std::fs::write(&stream, &whole[..whole.len() - 9]).unwrap();
    refused("without the exit it began with");
}
