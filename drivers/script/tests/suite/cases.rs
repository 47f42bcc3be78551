//! Golden streams: `tests/cases/script/*.case` at the root of the project.
//!
//! A case is a family, a job and what the printer answers, then `---`, then what was sent, step by
//! step. `BLESS=1` rewrites what follows `---`; read it before you keep it. A case named `bad-…`
//! ends in an error instead.
//!
//! ```text
//! # the question
//! family gantry
//! job dots=16 dpi=180x180 width=12000 kind=tape strips=1
//! option heat=7
//! says 3D 00 0C 01
//! strip lead=2 cuts=half@2,full@4
//! ..####.......... *4
//! ```

use std::fmt::Write;

use tapewright_host::{Cut, CutKind, HostError, JobSpec};

use crate::support::{Piece, Printed, Sent, case_folder, print};

#[derive(Default)]
struct Case {
    family: String,
    job: JobSpec,
    says: Vec<Vec<u8>>,
    pieces: Vec<Piece>,
}

#[test]
fn cases() {
    let mut paths: Vec<_> = std::fs::read_dir(case_folder())
        .expect("tests/cases/script holds the cases of this test")
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "case"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 10, "only {} cases, wanted at least 10", paths.len());
    let mut failed = Vec::new();
    for path in &paths {
        let name = path.file_stem().unwrap().to_str().unwrap();
        let text = std::fs::read_to_string(path).unwrap();
        let (input, expected) = text.split_once("---\n").expect("a case has a line ---");
        let case = parse(input);
        let says: Vec<&[u8]> = case.says.iter().map(Vec::as_slice).collect();
        let printed = print(&case.family, &case.job, &case.pieces, &says, |_| (1, true));
        assert_eq!(name.starts_with("bad-"), printed.result.is_err(), "{name}: {:?}", printed.result);
        let found = dump(&printed);
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

fn parse(input: &str) -> Case {
    let mut case = Case::default();
    for line in input.lines().filter(|line| !line.starts_with("# ") && !line.is_empty()) {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        match word {
            "family" => case.family = rest.into(),
            "job" => rest.split(' ').for_each(|pair| setting(&mut case.job, pair)),
            "option" => {
                let (key, value) = rest.split_once('=').unwrap();
                case.job.options.push((key.into(), value.into()));
            }
            "says" => {
                let bytes = rest.split_ascii_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap());
                case.says.push(bytes.collect());
            }
            "strip" => {
                let mut piece = Piece { dots: case.job.dots, ..Piece::default() };
                for pair in rest.split_ascii_whitespace() {
                    match pair.split_once('=').unwrap() {
                        ("lead", lines) => piece.lead = lines.parse().unwrap(),
                        ("cuts", list) => piece.cuts = cuts(list),
                        (key, _) => panic!("no setting {key}"),
                    }
                }
                case.pieces.push(piece);
            }
            art => {
                let times = rest.strip_prefix('*').map_or(1, |times| times.parse().unwrap());
                let row = row(art, case.job.dots);
                case.pieces.last_mut().unwrap().rows.extend(std::iter::repeat_n(row, times));
            }
        }
    }
    case
}

fn setting(job: &mut JobSpec, pair: &str) {
    let (key, value) = pair.split_once('=').unwrap();
    match key {
        "dots" => {
            job.dots = value.parse().unwrap();
            job.web_dots = job.dots;
        }
        "strips" => job.strips = value.parse().unwrap(),
        "width" => job.width_um = value.parse().unwrap(),
        "kind" => job.stock_kind = value.into(),
        "title" => job.stock_title = value.replace('_', " "),
        "dpi" => {
            let (across, along) = value.split_once('x').unwrap();
            job.dpi_across_milli = milli(across);
            job.dpi_along_milli = milli(along);
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
        let kind = match kind {
            "half" => CutKind::Half,
            "full" => CutKind::Full,
            _ => panic!("no cut {kind}"),
        };
        Cut { line: line.parse().unwrap(), kind }
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

/// What was sent, as text: a line for each run of bytes, with its letters where it has some.
fn dump(printed: &Printed) -> String {
    let mut text = String::new();
    for (step, sent) in &printed.steps {
        for part in sent {
            match part {
                Sent::Bytes(bytes) => {
                    _ = write!(text, "{}  # {step}", hex(bytes));
                    if bytes.iter().filter(|byte| byte.is_ascii_alphabetic()).count() >= 4 {
                        _ = write!(text, ": {}", bytes.escape_ascii());
                    }
                    text.push('\n');
                }
                Sent::Wait(time) => _ = writeln!(text, "wait {} ms  # {step}", time.as_millis()),
                Sent::Reply(count, time, reply) => {
                    let reply = if reply.is_empty() { "nothing".to_owned() } else { hex(reply) };
                    let time = time.as_millis();
                    _ = writeln!(text, "wait {time} ms for {count} bytes: {reply}  # {step}");
                }
            }
        }
    }
    match &printed.result {
        Ok(()) => {}
        Err(HostError::Fault(fault)) => {
            let retry = if fault.retry { ", may be sent again" } else { "" };
            _ = writeln!(text, "{:?} {}{retry}: {}", fault.kind, fault.code, fault.text);
        }
        Err(other) => panic!("{other}"),
    }
    let status = &printed.status;
    if status.known {
        let flags = [
            (status.ready, "ready"),
            (status.busy, "busy"),
            (status.stock_out, "stock-out"),
            (status.cover_open, "cover-open"),
            (status.wrong_stock, "wrong-stock"),
            (status.fault, "fault"),
        ];
        let flags: Vec<&str> = flags.iter().filter(|(is, _)| *is).map(|(_, name)| *name).collect();
        let (width, kind) = (status.found_width_um, &status.found_kind);
        let flags = if flags.is_empty() { "not ready".to_owned() } else { flags.join(" ") };
        let kind = if kind.is_empty() { "unknown" } else { kind };
        _ = writeln!(text, "printer: {flags}; holds {width} um {kind}");
    }
    text
}
