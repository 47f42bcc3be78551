//! Golden streams: `tests/cases/pwg/*.case` at the root of the project.
//!
//! A case is a job, then `---`, then the stream in hex. `BLESS=1` rewrites what follows `---`;
//! read it before you keep it. A case named `bad-…` ends in an error instead.
//!
//! ```text
//! # the question
//! job dots=16 dpi=180x180 web=0+16 kind=tape strips=1
//! option page=head
//! strip cuts=half@2,full@4
//! ..####.......... *4
//! ```
//!
//! In the stream, header words that are 0 are left out; all others stand behind their offset in
//! the header. So the text says every byte.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use tapewright_host::{Cut, CutKind, HostError, JobSpec};

use crate::support::{Piece, write};

const HEADER: usize = 1796;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cases/pwg")
}

#[test]
fn cases() {
    let mut names: Vec<PathBuf> = std::fs::read_dir(folder())
        .expect("tests/cases/pwg holds the cases of this test")
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "case"))
        .collect();
    names.sort();
    assert!(names.len() >= 10, "only {} cases, wanted at least 10", names.len());
    let mut failed = Vec::new();
    for path in &names {
        let name = path.file_stem().unwrap().to_str().unwrap();
        let text = std::fs::read_to_string(path).unwrap();
        let (input, expected) = text.split_once("---\n").expect("a case has a line ---");
        let (job, pieces) = parse(input);
        let result = write(&job, &pieces, |lines| (lines, true));
        assert_eq!(name.starts_with("bad-"), result.is_err(), "{name}: {result:?}");
        let found = match result {
            Ok(stream) => dump(&stream),
            Err(HostError::Fault(fault)) => format!("{:?}: {}\n", fault.kind, fault.text),
            Err(other) => panic!("{name}: {other}"),
        };
        if found == expected {
            continue;
        }
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(path, format!("{input}---\n{found}")).unwrap();
        } else {
            failed.push(format!("{name}: wanted\n{expected}found\n{found}"));
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

fn parse(input: &str) -> (JobSpec, Vec<Piece>) {
    let mut job = JobSpec::default();
    let mut pieces: Vec<Piece> = Vec::new();
    for line in input.lines().filter(|line| !line.starts_with("# ") && !line.is_empty()) {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        match word {
            "job" => rest.split(' ').for_each(|pair| setting(&mut job, pair)),
            "option" => {
                let (key, value) = rest.split_once('=').unwrap();
                job.options.push((key.into(), value.into()));
            }
            "strip" => pieces.push(Piece {
                dots: job.dots,
                cuts: rest.strip_prefix("cuts=").map_or_else(Vec::new, cuts),
                ..Piece::default()
            }),
            art => {
                let times = rest.strip_prefix('*').map_or(1, |times| times.parse().unwrap());
                let row = row(art, job.dots);
                pieces.last_mut().unwrap().rows.extend(std::iter::repeat_n(row, times));
            }
        }
    }
    (job, pieces)
}

fn setting(job: &mut JobSpec, pair: &str) {
    let (key, value) = pair.split_once('=').unwrap();
    match key {
        "dots" => job.dots = value.parse().unwrap(),
        "strips" => job.strips = value.parse().unwrap(),
        "width" => job.width_um = value.parse().unwrap(),
        "kind" => job.stock_kind = value.into(),
        "dpi" => {
            let (across, along) = value.split_once('x').unwrap();
            job.dpi_across_milli = milli(across);
            job.dpi_along_milli = milli(along);
        }
        "web" => {
            let (first, dots) = value.split_once('+').unwrap();
            job.web_first_dot = first.parse().unwrap();
            job.web_dots = dots.parse().unwrap();
        }
        _ => panic!("no setting {key}"),
    }
}

/// `203.2` → 203200.
fn milli(dpi: &str) -> u32 {
    let (whole, part) = dpi.split_once('.').unwrap_or((dpi, ""));
    format!("{whole}{part:0<3}").parse().unwrap()
}

fn cuts(text: &str) -> Vec<Cut> {
    let cut = |text: &str| {
        let (kind, line) = text.split_once('@').unwrap();
        Cut {
            line: line.parse().unwrap(),
            kind: match kind {
                "half" => CutKind::Half,
                "full" => CutKind::Full,
                _ => panic!("no cut {kind}"),
            },
        }
    };
    text.split(',').map(cut).collect()
}

fn row(art: &str, dots: u32) -> Vec<u8> {
    assert_eq!(art.len(), dots as usize, "{art} is no line of {dots} dots");
    let byte = |dots: &[u8]| {
        let bits = (0..).zip(dots).map(|(at, dot)| match dot {
            b'#' => 0x80 >> at,
            b'.' => 0,
            _ => panic!("{art} has other dots than # and ."),
        });
        bits.fold(0, |byte, bit: u8| byte | bit)
    };
    art.as_bytes().chunks(8).map(byte).collect()
}

fn hex(bytes: &[u8]) -> String {
    let bytes: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    bytes.join(" ")
}

/// Names of header fields by offset.
fn field(at: usize) -> &'static str {
    match at {
        0..64 => "PwgRaster",
        128..192 => "MediaType",
        268 => "CutMedia",
        276 => "HWResolution across",
        280 => "HWResolution along",
        308 => "LeadingEdge",
        340 => "NumCopies",
        352 => "PageSize across, points",
        356 => "PageSize along, points",
        372 => "Width",
        376 => "Height",
        384 => "BitsPerColor",
        388 => "BitsPerPixel",
        392 => "BytesPerLine",
        400 => "ColorSpace",
        420 => "NumColors",
        452 => "TotalPageCount",
        456 => "CrossFeedTransform",
        460 => "FeedTransform",
        472 => "ImageBoxRight",
        476 => "ImageBoxBottom",
        484 => "PrintQuality",
        512 => "VendorLength",
        516..1604 => "VendorData",
        1732.. => "PageSizeName",
        _ => "unknown",
    }
}

/// The stream as text, walked without the module's own reader.
fn dump(stream: &[u8]) -> String {
    let mut text = format!("{}  # sync\n", hex(&stream[..4]));
    let mut at = 4;
    while at < stream.len() {
        let header = &stream[at..at + HEADER];
        text.push_str("page header\n");
        let mut word = 0;
        while word < HEADER {
            // Fields of several words stand in one line.
            let start = word;
            let is_long = matches!(field(word), "PwgRaster" | "MediaType" | "VendorData" | "PageSizeName");
            word += 4;
            while is_long && word < HEADER && field(word) == field(start) && header[word..word + 4] != [0; 4] {
                word += 4;
            }
            let bytes = &header[start..word];
            if bytes.iter().all(|byte| *byte == 0) {
                continue;
            }
            _ = write!(text, "{start}: {}  # {}", hex(bytes), field(start));
            if let [a, b, c, d] = bytes
                && !is_long
            {
                _ = write!(text, " {}", u32::from_be_bytes([*a, *b, *c, *d]));
            }
            text.push('\n');
        }
        let number = |at: usize| u32::from_be_bytes(header[at..at + 4].try_into().unwrap()) as usize;
        let (height, line_bytes) = (number(376), number(392));
        at += HEADER;
        let mut line = 0;
        while line < height {
            let start = at;
            let lines = usize::from(stream[at]) + 1;
            at += 1;
            let mut left = line_bytes;
            while left > 0 {
                let code = usize::from(stream[at]);
                let (covered, taken) = if code < 128 { (code + 1, 1) } else { (257 - code, 257 - code) };
                left = left.checked_sub(covered).expect("a line longer than BytesPerLine");
                at += 1 + taken;
            }
            _ = writeln!(text, "{}  # lines {line} to {}", hex(&stream[start..at]), line + lines - 1);
            line += lines;
        }
        assert_eq!(line, height, "groups longer than the page");
    }
    text
}
