//! What was written is what is read, by us and by others.

use tapewright_driver_tests::{Piece, Random, last_byte_dots};
use tapewright_host::{Cut, CutKind, JobSpec};

use crate::support::{PWG, read_independently};

/// A job whose tape lies anywhere on the head, and strips with all that is hard on a run length
/// coder: blank and equal lines, long runs, noise.
pub(crate) fn random_job(random: &mut Random, whole_head: bool, cut_list: bool) -> (JobSpec, Vec<Piece>) {
    let dots = 1 + random.below(700);
    let web_dots = 1 + random.below(700);
    let web_first_dot = i32::try_from(random.below(120)).unwrap() - 60;
    let pieces: Vec<Piece> = (0..1 + random.below(3)).map(|_| random_piece(random, dots, cut_list)).collect();
    let job = JobSpec {
        name: "seeded".into(),
        strips: u32::try_from(pieces.len()).unwrap(),
        dpi_across_milli: [180_000, 203_200, 360_000, 600_000][random.below(4) as usize],
        dpi_along_milli: [180_000, 203_200, 720_000, 1][random.below(4) as usize],
        dots,
        web_first_dot,
        web_dots,
        width_um: 12_000,
        stock_kind: "tape".into(),
        stock_title: "12 mm".into(),
        options: vec![
            ("page".into(), if whole_head { "head" } else { "tape" }.into()),
            ("cut-list".into(), cut_list.to_string()),
        ],
    };
    (job, pieces)
}

fn random_piece(random: &mut Random, dots: u32, cut_list: bool) -> Piece {
    let bytes = dots.div_ceil(8) as usize;
    let mut rows: Vec<Vec<u8>> = Vec::new();
    for _ in 0..1 + random.below(12) {
        let mut row: Vec<u8> = match random.below(4) {
            0 => vec![0; bytes],
            1 => vec![random.byte(); bytes],
            2 => random.bytes(bytes),
            _ => random.runs(bytes),
        };
        row[bytes - 1] &= last_byte_dots(dots);
        let repeats = match random.below(5) {
            0 => 255 + random.count_below(4),
            1 => 513,
            _ => 1 + random.count_below(3),
        };
        rows.extend(std::iter::repeat_n(row, repeats));
    }
    let lines = u32::try_from(rows.len()).unwrap();
    let mut cuts = Vec::new();
    let mut line = 0;
    loop {
        line += 1 + random.below(400);
        if line > lines {
            break;
        }
        let half = cut_list && random.below(2) == 0;
        let kind = if half { CutKind::Half } else { CutKind::Full };
        cuts.push(Cut { line, kind });
    }
    if random.below(2) == 0 && cuts.last().is_none_or(|cut| cut.line < lines) {
        cuts.push(Cut { line: lines, kind: CutKind::Full });
    }
    Piece { dots, rows, cuts, ..Piece::default() }
}

/// The pages of a job, as wide as the option `page` says; without the cut list a page for each
/// piece between cuts.
pub(crate) fn pages(job: &JobSpec, pieces: &[Piece], whole_head: bool, cut_list: bool) -> Vec<Piece> {
    let (first, width) = if whole_head { (0, job.dots) } else { (i64::from(job.web_first_dot), job.web_dots) };
    let pages = pieces.iter().map(|piece| piece.window(first, width));
    if cut_list { pages.collect() } else { pages.flat_map(|page| page.split_at_cuts()).collect() }
}

/// What the standard can say: the rows, and a cut at the end.
fn without_inner_cuts(piece: &Piece) -> Piece {
    let at_end = Cut { line: piece.lines(), kind: CutKind::Full };
    let cuts = piece.cuts.iter().copied().filter(|cut| *cut == at_end).collect();
    Piece { cuts, ..piece.clone() }
}

fn check(seed: u64) {
    let mut random = Random::new(seed);
    let (whole_head, cut_list) = (seed.is_multiple_of(2), !seed.is_multiple_of(3));
    let (job, pieces) = random_job(&mut random, whole_head, cut_list);
    let expected = pages(&job, &pieces, whole_head, cut_list);
    let about = format!("seed {seed}");
    let (stream, pages) = PWG.goes_round(&about, (&job, &pieces), &expected, &mut random, 3000);
    for page in pages {
        // Without vendor data the header's whole dpi is all there is.
        let whole = |milli: u32| if cut_list { milli } else { ((milli + 500) / 1000).max(1) * 1000 };
        assert_eq!(page.dpi_across_milli, Some(whole(job.dpi_across_milli)));
        assert_eq!(page.dpi_along_milli, Some(whole(job.dpi_along_milli)));
    }
    let independent: Vec<Piece> = expected.iter().map(without_inner_cuts).collect();
    assert!(read_independently(&stream) == independent, "seed {seed}: pwgraster reads otherwise");
}

#[test]
fn seeded_jobs() {
    for seed in 0..120 {
        check(seed);
    }
}

#[test]
fn a_long_blank_strip_costs_little() {
    let lines = 1_000_000;
    let job =
        JobSpec { dpi_across_milli: 180_000, dpi_along_milli: 180_000, dots: 128, web_dots: 128, ..JobSpec::default() };
    let strip = Piece { dots: 128, rows: vec![vec![0; 16]; lines], ..Piece::default() };
    let stream = PWG.write(&job, &[strip], |lines| (lines, true)).unwrap();
    // A group is 256 lines in 3 bytes.
    assert_eq!(stream.len(), 4 + 1796 + 3 * lines.div_ceil(256));
    assert_eq!(PWG.read(&stream, 4096).unwrap().pieces[0].rows.len(), lines);
}

#[test]
fn streams_are_recognised() {
    assert_eq!(PWG.recognises(b"RaS2PwgRaster\0\0"), 100);
    assert_eq!(PWG.recognises(b"RaS2"), 20);
    assert_eq!(PWG.recognises(b"RaS"), 0);
    assert_eq!(PWG.recognises(b""), 0);
}

#[test]
fn the_loaded_module_writes_the_same() {
    let (job, _) = random_job(&mut Random::new(5), false, true);
    let rows = vec![vec![0x80; job.bytes_per_line() as usize]; 300];
    let strip = Piece { dots: job.dots, rows, ..Piece::default() };
    let stream = PWG.loaded_writes_the_same(&JobSpec { strips: 1, ..job }, &[strip]);
    assert!(stream.len() > 1800, "{} bytes", stream.len());
}
