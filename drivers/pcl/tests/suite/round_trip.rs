//! What was written is what is read.

use tapewright_host::{Cut, CutKind, HostError, JobSpec, StripSpec, ToWriter};

use crate::support::{Piece, Random, module, read, write};

pub(crate) fn small(value: u64) -> u32 {
    u32::try_from(value).unwrap()
}

pub(crate) fn job(dots: u32, dpi: u32) -> JobSpec {
    JobSpec {
        name: "seeded".into(),
        dpi_across_milli: dpi * 1000,
        dpi_along_milli: dpi * 1000,
        dots,
        web_dots: dots,
        width_um: 12_000,
        stock_kind: "tape".into(),
        stock_title: "12 mm".into(),
        ..JobSpec::default()
    }
}

/// A job whose tape lies anywhere on the head, and strips with rows of all kinds.
pub(crate) fn random_job(random: &mut Random) -> (JobSpec, Vec<Piece>) {
    let dpi = [75, 100, 150, 200, 300, 600][random.count_below(6)];
    let whole_head = random.below(2) == 0;
    let dots = small(1 + random.below(700));
    let pieces: Vec<Piece> = (0..1 + random.below(3)).map(|_| random_piece(random, dots)).collect();
    let job = JobSpec {
        strips: small(pieces.len() as u64),
        web_first_dot: i32::try_from(random.below(120)).unwrap() - 60,
        web_dots: small(1 + random.below(700)),
        options: vec![
            ("page".into(), if whole_head { "head" } else { "tape" }.into()),
            ("page-length".into(), (random.below(2) == 0).to_string()),
        ],
        ..job(dots, dpi)
    };
    (job, pieces)
}

/// Rows that are blank, equal, long runs, noise, or differ little from the one before.
pub(crate) fn random_piece(random: &mut Random, dots: u32) -> Piece {
    let bytes = dots.div_ceil(8) as usize;
    let spare = 0xFFu8.checked_shl((8 - dots % 8) % 8).unwrap();
    let mut rows: Vec<Vec<u8>> = vec![vec![0; bytes]];
    for _ in 0..1 + random.below(30) {
        let mut row: Vec<u8> = match random.below(5) {
            0 => vec![0; bytes],
            1 => vec![random.next().to_le_bytes()[0]; bytes],
            2 => (0..bytes).map(|_| random.next().to_le_bytes()[0]).collect(),
            3 => {
                let mut row = rows.last().unwrap().clone();
                for _ in 0..1 + random.below(4) {
                    let at = random.count_below(bytes as u64);
                    row[at] ^= random.next().to_le_bytes()[0];
                }
                row
            }
            _ => {
                let mut row = Vec::new();
                while row.len() < bytes {
                    let run = 1 + random.count_below(5);
                    row.extend(vec![random.next().to_le_bytes()[0] & 3; run]);
                }
                row.truncate(bytes);
                row
            }
        };
        row[bytes - 1] &= spare;
        let repeats = 1 + random.count_below(3) * random.count_below(12);
        rows.extend(std::iter::repeat_n(row, repeats));
    }
    let lines = small(rows.len() as u64);
    let mut cuts = Vec::new();
    let mut line = 0;
    loop {
        line += 1 + small(random.below(90));
        if line > lines {
            break;
        }
        cuts.push(Cut { line, kind: CutKind::Full });
    }
    Piece { dots, rows, cuts }
}

/// The pages of a job: dots `first …` of each row, taken dot by dot, on purpose not the way the
/// module does it; a page for each piece between full cuts, and a full cut at its end.
pub(crate) fn pages(job: &JobSpec, pieces: &[Piece]) -> Vec<Piece> {
    let whole_head = job.options.contains(&("page".into(), "head".into()));
    let (first, dots) = if whole_head { (0, job.dots) } else { (job.web_first_dot, job.web_dots) };
    let row = |row: &Vec<u8>| {
        let mut to = vec![0; dots.div_ceil(8) as usize];
        for dot in 0..dots as usize {
            let from = i64::try_from(dot).unwrap() + i64::from(first);
            if (0..i64::from(job.dots)).contains(&from) {
                let from = usize::try_from(from).unwrap();
                if row[from / 8] & (0x80 >> (from % 8)) != 0 {
                    to[dot / 8] |= 0x80 >> (dot % 8);
                }
            }
        }
        to
    };
    let mut pages = Vec::new();
    for piece in pieces {
        let lines = small(piece.rows.len() as u64);
        let mut ends: Vec<u32> = piece.cuts.iter().map(|cut| cut.line).collect();
        if ends.last() != Some(&lines) {
            ends.push(lines);
        }
        let mut begin = 0;
        for end in ends {
            let rows: Vec<Vec<u8>> = piece.rows[begin as usize..end as usize].iter().map(row).collect();
            pages.push(Piece { dots, rows, cuts: vec![Cut { line: end - begin, kind: CutKind::Full }] });
            begin = end;
        }
    }
    pages
}

fn check(seed: u64) {
    let mut random = Random::new(seed);
    let (job, pieces) = random_job(&mut random);
    let expected = pages(&job, &pieces);
    let at_once = write(&job, &pieces, |lines| (lines, false)).unwrap();
    let in_pieces =
        write(&job, &pieces, |lines| (1 + random.count_below(lines.min(40) as u64), random.below(2) == 0)).unwrap();
    assert!(at_once == in_pieces, "seed {seed}: the stream depends on how the lines were handed over");
    for step in [at_once.len(), 1, 1 + random.count_below(300)] {
        let found = read(&at_once, step).unwrap();
        assert!(found.pieces == expected, "seed {seed}, step {step}: other lines or cuts");
        for (page, piece) in found.pages.iter().zip(&expected) {
            assert_eq!(page.lines, Some(small(piece.rows.len() as u64)));
            assert_eq!(page.dpi_across_milli, Some(job.dpi_across_milli));
            assert_eq!(page.dpi_along_milli, Some(job.dpi_along_milli));
        }
    }
}

#[test]
fn seeded_jobs() {
    for seed in 0..150 {
        check(seed);
    }
}

/// Rows of ink and blank ones by turns, so that a page can begin and end with either.
fn twelve_rows() -> Vec<Vec<u8>> {
    (0..12u8).map(|line| if line % 4 < 2 { vec![0, 0] } else { vec![line | 0x10, 0x80] }).collect()
}

#[test]
fn a_cut_anywhere() {
    let full = |line| Cut { line, kind: CutKind::Full };
    for first in 1..=12 {
        for second in first..=12 {
            let cuts = if first == second { vec![full(first)] } else { vec![full(first), full(second)] };
            let pieces = [Piece { dots: 9, rows: twelve_rows(), cuts }];
            let job = job(9, 300);
            let stream = write(&job, &pieces, |lines| (lines, true)).unwrap();
            assert!(read(&stream, 7).unwrap().pieces == pages(&job, &pieces), "cuts at {first} and {second}");
        }
    }
}

#[test]
fn cuts_that_cannot_be_said_are_refused_at_every_line() {
    let text = |kind, line| {
        let pieces = [Piece { dots: 9, rows: twelve_rows(), cuts: vec![Cut { line, kind }] }];
        match write(&job(9, 300), &pieces, |lines| (lines, true)) {
            Err(HostError::Fault(fault)) => fault.text,
            other => panic!("{kind:?} at {line}: {other:?}"),
        }
    };
    for line in 0..=12 {
        let text = text(CutKind::Half, line);
        assert!(text.contains(&format!("found one at line {line} of strip 0")), "{text}");
        assert!(text.ends_with("set between = \"full\" or \"snip\" in the printer profile"), "{text}");
    }
    assert!(text(CutKind::Full, 0).starts_with("pcl cannot carry a full cut before the first line"));
}

#[test]
fn the_longest_page_costs_little_when_blank() {
    let mut session = module().open("pcl").unwrap();
    let mut sink = ToWriter(Vec::new());
    session.begin_job(&job(128, 600)).unwrap();
    session.drain(&mut sink).unwrap();
    session.begin_strip(&StripSpec { lines: 32_767, ..StripSpec::default() }).unwrap();
    session.drain(&mut sink).unwrap();
    session.blank(32_767).unwrap();
    session.drain(&mut sink).unwrap();
    session.end_strip().unwrap();
    session.drain(&mut sink).unwrap();
    session.end_job().unwrap();
    session.drain(&mut sink).unwrap();
    let stream = sink.0.escape_ascii().to_string();
    assert!(stream.contains(r"\x1b*r128s32767t1A\x1b*b32767Y\x1b*rB\x0c"), "{stream}");
    assert_eq!(read(&sink.0, 4096).unwrap().pieces[0].rows.len(), 32_767);
}

#[test]
fn a_longer_page_is_refused() {
    let mut session = module().open("pcl").unwrap();
    let mut sink = ToWriter(Vec::new());
    session.begin_job(&job(128, 600)).unwrap();
    session.drain(&mut sink).unwrap();
    let Err(HostError::Fault(fault)) = session.begin_strip(&StripSpec { lines: 32_768, ..StripSpec::default() }) else {
        panic!("a strip longer than a page was taken");
    };
    assert_eq!(
        fault.text,
        "strip 0 has a piece of 32768 lines, pcl says at most 32767 lines a page; set a smaller max_strip_mm in the printer profile"
    );
}

#[test]
fn streams_are_recognised() {
    let readback = module().readback("pcl").unwrap().unwrap();
    let pieces = [Piece { dots: 9, rows: twelve_rows(), cuts: Vec::new() }];
    let stream = write(&job(9, 300), &pieces, |lines| (lines, true)).unwrap();
    assert_eq!(readback.recognises(&stream).unwrap(), 90);
    assert_eq!(readback.recognises(b"\x1BE\x1B&l0E").unwrap(), 90);
    assert_eq!(readback.recognises(b"\x1B%-12345X\x1BE").unwrap(), 80);
    assert_eq!(readback.recognises(b"\x1BE").unwrap(), 30);
    assert_eq!(readback.recognises(b"\x1B%-12345X@").unwrap(), 20);
    assert_eq!(readback.recognises(b"RaS2").unwrap(), 0);
    assert_eq!(readback.recognises(b"").unwrap(), 0);
}

/// The shared library itself, as a program finds it beside its binary.
#[test]
fn the_loaded_module_writes_the_same() {
    let binary = std::env::current_exe().unwrap();
    let folder = binary.parent().unwrap().to_owned();
    let found = tapewright_host::find(&[folder]);
    let loaded = found.modules.iter().find(|module| module.name() == "pcl");
    let loaded = loaded.unwrap_or_else(|| panic!("no module pcl: {:?}", found.refused));
    assert_eq!(loaded.families(), module().families());
    let mut streams = Vec::new();
    for module in [*loaded, module()] {
        let mut session = module.open("pcl").unwrap();
        let mut sink = ToWriter(Vec::new());
        session.begin_job(&job(100, 200)).unwrap();
        session.drain(&mut sink).unwrap();
        session.begin_strip(&StripSpec { lines: 300, ..StripSpec::default() }).unwrap();
        session.drain(&mut sink).unwrap();
        session.lines(&[0x80; 13 * 300], 300).unwrap();
        session.drain(&mut sink).unwrap();
        session.end_strip().unwrap();
        session.drain(&mut sink).unwrap();
        session.end_job().unwrap();
        session.drain(&mut sink).unwrap();
        streams.push(sink.0);
    }
    assert!(streams[0].len() > 1500 && streams[0] == streams[1]);
}
