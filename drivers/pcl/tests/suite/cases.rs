//! Golden streams: `tests/cases/pcl/*.case` at the root of the project.
//!
//! A case is a job, then `---`, then the stream in hex. `BLESS=1` rewrites what follows `---`;
//! read it before you keep it. A case named `bad-…` ends in an error instead.
//!
//! ```text
//! # the question
//! job dots=16 dpi=300x300 web=0+16 kind=tape strips=1
//! option page=head
//! strip cuts=full@2,full@4
//! ..####.......... *4
//! ```
//!
//! In the stream, each line is a command in hex, with the bytes of its row, and what it says.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use tapewright_host::{Cut, CutKind, HostError, JobSpec};

use crate::support::{Piece, write};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cases/pcl")
}

#[test]
fn cases() {
    let mut names: Vec<PathBuf> = std::fs::read_dir(folder())
        .expect("tests/cases/pcl holds the cases of this test")
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

/// What a command says, by its group and letter.
fn meaning(group: &str, letter: char) -> &'static str {
    match (group, letter) {
        ("%", 'X') => "leave the language",
        ("&l", 'O') => "orientation",
        ("&l", 'C') => "line spacing, 1/48 inch",
        ("&l", 'P') => "page length, lines of text",
        ("&l", 'L') => "skip the perforation",
        ("&l", 'E') => "top margin",
        ("*t", 'R') => "resolution",
        ("*p", 'X') => "cursor across",
        ("*p", 'Y') => "cursor along",
        ("*r", 'S') => "raster width",
        ("*r", 'T') => "raster height",
        ("*r", 'A') => "start of raster",
        ("*r", 'B') => "end of raster",
        ("*b", 'Y') => "skip rows",
        ("*b", 'M') => "compression",
        ("*b", 'W') => "row",
        _ => panic!("no command {group}{letter}"),
    }
}

/// The stream as text, walked without the module's own reader.
fn dump(stream: &[u8]) -> String {
    let mut text = String::new();
    let mut at = 0;
    while at < stream.len() {
        let start = at;
        match &stream[at..] {
            [0x0C, ..] => {
                at += 1;
                text.push_str("0C  # form feed\n");
                continue;
            }
            [0x1B, b'E', ..] => {
                at += 2;
                text.push_str("1B 45  # ESC E: reset\n");
                continue;
            }
            [0x1B, ..] => at += 1,
            other => panic!("{} between commands", other[0].escape_ascii()),
        }
        let group_end = at + if stream[at] == b'%' { 1 } else { 2 };
        let group = std::str::from_utf8(&stream[at..group_end]).unwrap();
        at = group_end;
        let mut begin = start;
        loop {
            let end = at + stream[at..].iter().position(u8::is_ascii_alphabetic).expect("a letter");
            let value = std::str::from_utf8(&stream[at..end]).unwrap();
            let letter = char::from(stream[end]);
            at = end + 1;
            let data = match (group, letter.to_ascii_uppercase()) {
                ("*b", 'W') => value.parse().unwrap(),
                _ => 0,
            };
            let command = hex(&stream[begin..at]);
            _ = write!(text, "{command}");
            if data > 0 {
                _ = write!(text, " | {}", hex(&stream[at..at + data]));
            }
            at += data;
            let escape = if begin == start { "ESC" } else { "" };
            let group_text = if begin == start { group } else { "" };
            _ = writeln!(
                text,
                "  # {escape}{group_text}{value}{letter}: {}",
                meaning(group, letter.to_ascii_uppercase())
            );
            begin = at;
            if letter.is_ascii_uppercase() {
                break;
            }
        }
    }
    text
}
