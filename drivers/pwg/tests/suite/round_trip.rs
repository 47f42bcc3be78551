//! What was written is what is read, by us and by others.

use tapewright_host::{Cut, CutKind, JobSpec};

use crate::support::{Piece, Random, module, read, read_independently, write};

fn small(value: u64) -> u32 {
    u32::try_from(value).unwrap()
}

/// A job whose tape lies anywhere on the head, and strips with all that is hard on a run length
/// coder: blank and equal lines, long runs, noise.
pub(crate) fn random_job(random: &mut Random, whole_head: bool, cut_list: bool) -> (JobSpec, Vec<Piece>) {
    let dots = small(1 + random.below(700));
    let web_dots = small(1 + random.below(700));
    let web_first_dot = i32::try_from(random.below(120)).unwrap() - 60;
    let pieces: Vec<Piece> = (0..1 + random.below(3)).map(|_| random_piece(random, dots, cut_list)).collect();
    let job = JobSpec {
        name: "seeded".into(),
        strips: small(pieces.len() as u64),
        dpi_across_milli: [180_000, 203_200, 360_000, 600_000][small(random.below(4)) as usize],
        dpi_along_milli: [180_000, 203_200, 720_000, 1][small(random.below(4)) as usize],
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
    let spare = 0xFFu8.checked_shl((8 - dots % 8) % 8).unwrap();
    let mut rows: Vec<Vec<u8>> = Vec::new();
    for _ in 0..1 + random.below(12) {
        let mut row: Vec<u8> = match random.below(4) {
            0 => vec![0; bytes],
            1 => vec![small(random.below(256)).to_le_bytes()[0]; bytes],
            2 => (0..bytes).map(|_| random.next().to_le_bytes()[0]).collect(),
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
        let repeats = match random.below(5) {
            0 => 255 + random.count_below(4),
            1 => 513,
            _ => 1 + random.count_below(3),
        };
        rows.extend(std::iter::repeat_n(row, repeats));
    }
    let lines = small(rows.len() as u64);
    let mut cuts = Vec::new();
    let mut line = 0;
    loop {
        line += 1 + small(random.below(400));
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
    Piece { dots, rows, cuts }
}

/// Takes dots `first …` of each row, as the option `page = "tape"` does; dot by dot, on purpose
/// not the way the module does it.
pub(crate) fn cropped(piece: &Piece, first: i64, dots: u32) -> Piece {
    let row = |row: &Vec<u8>| {
        let mut to = vec![0; dots.div_ceil(8) as usize];
        for dot in 0..dots {
            let (from, dot) = (i64::from(dot) + first, dot as usize);
            if (0..i64::from(piece.dots)).contains(&from) {
                let from = usize::try_from(from).unwrap();
                if row[from / 8] & (0x80 >> (from % 8)) != 0 {
                    to[dot / 8] |= 0x80 >> (dot % 8);
                }
            }
        }
        to
    };
    Piece { dots, rows: piece.rows.iter().map(row).collect(), cuts: piece.cuts.clone() }
}

/// The pages a strip without the cut list becomes.
pub(crate) fn split_at_cuts(piece: &Piece) -> Vec<Piece> {
    let mut pages = Vec::new();
    let mut first = 0;
    for cut in &piece.cuts {
        let rows = piece.rows[first..cut.line as usize].to_vec();
        let end = Cut { line: small(rows.len() as u64), kind: CutKind::Full };
        pages.push(Piece { dots: piece.dots, rows, cuts: vec![end] });
        first = cut.line as usize;
    }
    if first < piece.rows.len() {
        let rows = piece.rows[first..].to_vec();
        pages.push(Piece { dots: piece.dots, rows, cuts: Vec::new() });
    }
    pages
}

/// What the standard can say: the rows, and a cut at the end.
fn without_inner_cuts(piece: &Piece) -> Piece {
    let lines = small(piece.rows.len() as u64);
    let at_end = Cut { line: lines, kind: CutKind::Full };
    let cuts = piece.cuts.iter().copied().filter(|cut| *cut == at_end).collect();
    Piece { cuts, ..piece.clone() }
}

fn check(seed: u64) {
    let mut random = Random::new(seed);
    let (whole_head, cut_list) = (seed.is_multiple_of(2), !seed.is_multiple_of(3));
    let (job, pieces) = random_job(&mut random, whole_head, cut_list);
    let (first, width) = if whole_head { (0, job.dots) } else { (job.web_first_dot, job.web_dots) };
    let mut expected: Vec<Piece> = pieces.iter().map(|piece| cropped(piece, i64::from(first), width)).collect();
    if !cut_list {
        expected = expected.iter().flat_map(split_at_cuts).collect();
    }

    let at_once = write(&job, &pieces, |lines| (lines, false)).unwrap();
    let in_pieces =
        write(&job, &pieces, |lines| (1 + random.count_below(lines.min(40) as u64), random.below(2) == 0)).unwrap();
    assert!(at_once == in_pieces, "seed {seed}: the stream depends on how the lines were handed over");

    for step in [at_once.len(), 1, 1 + random.count_below(3000)] {
        let found = read(&at_once, step).unwrap();
        assert!(found.pieces == expected, "seed {seed}, step {step}: other lines or cuts");
        for (page, piece) in found.pages.iter().zip(&expected) {
            assert_eq!(page.lines, Some(small(piece.rows.len() as u64)));
            // Without vendor data the header's whole dpi is all there is.
            let whole = |milli: u32| if cut_list { milli } else { ((milli + 500) / 1000).max(1) * 1000 };
            assert_eq!(page.dpi_across_milli, Some(whole(job.dpi_across_milli)));
            assert_eq!(page.dpi_along_milli, Some(whole(job.dpi_along_milli)));
        }
    }
    let independent: Vec<Piece> = expected.iter().map(without_inner_cuts).collect();
    assert!(read_independently(&at_once) == independent, "seed {seed}: pwgraster reads otherwise");
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
    let mut session = module().open("pwg").unwrap();
    let mut sink = tapewright_host::ToWriter(Vec::new());
    session
        .begin_job(&JobSpec {
            dpi_across_milli: 180_000,
            dpi_along_milli: 180_000,
            dots: 128,
            web_dots: 128,
            ..JobSpec::default()
        })
        .unwrap();
    session.drain(&mut sink).unwrap();
    let strip = tapewright_host::StripSpec { lines, ..Default::default() };
    session.begin_strip(&strip).unwrap();
    session.drain(&mut sink).unwrap();
    session.blank(lines).unwrap();
    session.drain(&mut sink).unwrap();
    session.end_strip().unwrap();
    session.drain(&mut sink).unwrap();
    session.end_job().unwrap();
    session.drain(&mut sink).unwrap();
    // A group is 256 lines in 3 bytes.
    assert_eq!(sink.0.len(), 4 + 1796 + 3 * lines.div_ceil(256) as usize);
    assert_eq!(read(&sink.0, 4096).unwrap().pieces[0].rows.len(), lines as usize);
}

#[test]
fn streams_are_recognised() {
    let readback = module().readback("pwg").unwrap().unwrap();
    assert_eq!(readback.recognises(b"RaS2PwgRaster\0\0").unwrap(), 100);
    assert_eq!(readback.recognises(b"RaS2").unwrap(), 20);
    assert_eq!(readback.recognises(b"RaS").unwrap(), 0);
    assert_eq!(readback.recognises(b"").unwrap(), 0);
}

/// The shared library itself, as a program finds it beside its binary.
#[test]
fn the_loaded_module_writes_the_same() {
    let binary = std::env::current_exe().unwrap();
    let folder = binary.parent().unwrap().to_owned();
    let found = tapewright_host::find(&[folder]);
    let loaded = found.modules.iter().find(|module| module.name() == "pwg");
    let loaded = loaded.unwrap_or_else(|| panic!("no module pwg: {:?}", found.refused));
    assert_eq!(loaded.families(), module().families());
    let (mut random, mut streams) = (Random::new(5), Vec::new());
    let (job, _) = random_job(&mut random, false, true);
    for module in [*loaded, module()] {
        let mut session = module.open("pwg").unwrap();
        let mut sink = tapewright_host::ToWriter(Vec::new());
        session.begin_job(&JobSpec { strips: 1, ..job.clone() }).unwrap();
        session.drain(&mut sink).unwrap();
        session.begin_strip(&tapewright_host::StripSpec { lines: 300, ..Default::default() }).unwrap();
        session.drain(&mut sink).unwrap();
        let bytes = job.bytes_per_line() as usize;
        session.lines(&vec![0x80; bytes * 300], 300).unwrap();
        session.drain(&mut sink).unwrap();
        session.end_strip().unwrap();
        session.drain(&mut sink).unwrap();
        session.end_job().unwrap();
        session.drain(&mut sink).unwrap();
        streams.push(sink.0);
    }
    assert!(streams[0].len() > 1800 && streams[0] == streams[1]);
}
