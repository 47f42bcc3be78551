//! What was written is what is read.

use tapewright_driver_tests::{Piece, Random, last_byte_dots};
use tapewright_host::{Cut, CutKind, HostError, JobSpec};

use crate::support::PCL;

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
    let dots = 1 + random.below(700);
    let pieces: Vec<Piece> = (0..1 + random.below(3)).map(|_| random_piece(random, dots)).collect();
    let job = JobSpec {
        strips: u32::try_from(pieces.len()).unwrap(),
        web_first_dot: i32::try_from(random.below(120)).unwrap() - 60,
        web_dots: 1 + random.below(700),
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
    let mut rows: Vec<Vec<u8>> = vec![vec![0; bytes]];
    for _ in 0..1 + random.below(30) {
        let mut row: Vec<u8> = match random.below(5) {
            0 => vec![0; bytes],
            1 => vec![random.byte(); bytes],
            2 => random.bytes(bytes),
            3 => {
                let mut row = rows.last().unwrap().clone();
                for _ in 0..1 + random.below(4) {
                    let at = random.count_below(bytes);
                    row[at] ^= random.byte();
                }
                row
            }
            _ => random.runs(bytes),
        };
        row[bytes - 1] &= last_byte_dots(dots);
        let repeats = 1 + random.count_below(3) * random.count_below(12);
        rows.extend(std::iter::repeat_n(row, repeats));
    }
    let lines = u32::try_from(rows.len()).unwrap();
    let mut cuts = Vec::new();
    let mut line = 0;
    loop {
        line += 1 + random.below(90);
        if line > lines {
            break;
        }
        cuts.push(Cut { line, kind: CutKind::Full });
    }
    Piece { dots, rows, cuts, ..Piece::default() }
}

/// The pages of a job, as wide as the option `page` says: one for each piece between cuts, with a
/// full cut at its end.
pub(crate) fn pages(job: &JobSpec, pieces: &[Piece]) -> Vec<Piece> {
    let whole_head = job.options.contains(&("page".into(), "head".into()));
    let (first, dots) = if whole_head { (0, job.dots) } else { (job.web_first_dot, job.web_dots) };
    let pages = pieces.iter().flat_map(|piece| piece.window(first.into(), dots).split_at_cuts());
    pages.map(Piece::with_end_cut).collect()
}

fn check(seed: u64) {
    let mut random = Random::new(seed);
    let (job, pieces) = random_job(&mut random);
    let about = format!("seed {seed}");
    let (_, pages) = PCL.goes_round(&about, (&job, &pieces), &pages(&job, &pieces), &mut random, 300);
    for page in pages {
        assert_eq!(page.dpi_across_milli, Some(job.dpi_across_milli));
        assert_eq!(page.dpi_along_milli, Some(job.dpi_along_milli));
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
            let pieces = [Piece { dots: 9, rows: twelve_rows(), cuts, ..Piece::default() }];
            let job = job(9, 300);
            let stream = PCL.write(&job, &pieces, |lines| (lines, true)).unwrap();
            assert!(PCL.read(&stream, 7).unwrap().pieces == pages(&job, &pieces), "cuts at {first} and {second}");
        }
    }
}

#[test]
fn cuts_that_cannot_be_said_are_refused_at_every_line() {
    let text = |kind, line| {
        let pieces = [Piece { dots: 9, rows: twelve_rows(), cuts: vec![Cut { line, kind }], ..Piece::default() }];
        match PCL.write(&job(9, 300), &pieces, |lines| (lines, true)) {
            Err(HostError::Fault(fault)) => fault.text,
            other => panic!("{kind:?} at {line}: {other:?}"),
        }
    };
    for line in 0..=12 {
        let text = text(CutKind::Half, line);
        assert!(text.contains(&format!("found one at line {line} of strip 0")), "{text}");
        assert!(
            text.ends_with("set between = \"full\" or \"snip\" in the job, or another cutter in the printer profile"),
            "{text}"
        );
    }
    assert!(text(CutKind::Full, 0).starts_with("pcl cannot carry a full cut before the first line"));
}

#[test]
fn the_longest_page_costs_little_when_blank() {
    let strip = Piece { dots: 128, rows: vec![vec![0; 16]; 32_767], ..Piece::default() };
    let stream = PCL.write(&job(128, 600), &[strip], |lines| (lines, true)).unwrap();
    let text = stream.escape_ascii().to_string();
    assert!(text.contains(r"\x1b*r128s32767t1A\x1b*b32767Y\x1b*rB\x0c"), "{text}");
    assert_eq!(PCL.read(&stream, 4096).unwrap().pieces[0].rows.len(), 32_767);
}

#[test]
fn a_longer_page_is_refused() {
    let strip = Piece { dots: 128, rows: vec![vec![0; 16]; 32_768], ..Piece::default() };
    let printed = PCL.print(&job(128, 600), &[strip], &[], |lines| (lines, true));
    let Err(HostError::Fault(fault)) = printed.result else {
        panic!("a strip longer than a page: {:?}", printed.result);
    };
    assert_eq!(
        fault.text,
        "strip 0 has a piece of 32768 lines, pcl says at most 32767 lines a page; set a smaller max_strip_mm in the printer profile"
    );
    let steps: Vec<&str> = printed.steps.iter().map(|(step, _)| step.as_str()).collect();
    assert_eq!(steps, ["job begins", "strip 1 begins", "job cancelled"]);
}

#[test]
fn streams_are_recognised() {
    let pieces = [Piece { dots: 9, rows: twelve_rows(), ..Piece::default() }];
    let stream = PCL.write(&job(9, 300), &pieces, |lines| (lines, true)).unwrap();
    assert_eq!(PCL.recognises(&stream), 90);
    assert_eq!(PCL.recognises(b"\x1BE\x1B&l0E"), 90);
    assert_eq!(PCL.recognises(b"\x1B%-12345X\x1BE"), 80);
    assert_eq!(PCL.recognises(b"\x1BE"), 30);
    assert_eq!(PCL.recognises(b"\x1B%-12345X@"), 20);
    assert_eq!(PCL.recognises(b"RaS2"), 0);
    assert_eq!(PCL.recognises(b""), 0);
}

#[test]
fn the_loaded_module_writes_the_same() {
    let strip = Piece { dots: 100, rows: vec![vec![0x80; 13]; 300], ..Piece::default() };
    let stream = PCL.loaded_writes_the_same(&job(100, 200), &[strip]);
    assert!(stream.len() > 1500, "{} bytes", stream.len());
}
