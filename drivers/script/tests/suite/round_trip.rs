//! What was written is what is read, for every way a family can be described.

use std::fmt::Write;

use tapewright_driver_tests::{Piece, Random, last_byte_dots};
use tapewright_host::{Cut, CutKind, JobSpec};

use crate::support::family;

/// What a made family is like.
#[derive(Debug, Clone, Copy)]
struct Made {
    number: u32,
    head: u32,
    low_bit_first: bool,
    last_first: bool,
    unused: &'static str,
    packed: bool,
    blank: bool,
    words: bool,
    feeds_lead: bool,
    half_listed: bool,
    full_listed: bool,
    end: &'static str,
}

fn made() -> Vec<Made> {
    let mut random = Random::new(11);
    let mut bit = |_| random.below(2) == 1;
    (0..48)
        .map(|number| Made {
            number,
            head: [40, 64, 37, 1, 300][number as usize % 5],
            low_bit_first: bit(0),
            last_first: bit(1),
            unused: ["after", "before", "both"][number as usize % 3],
            packed: bit(2),
            blank: bit(3),
            words: bit(4),
            feeds_lead: bit(5),
            half_listed: bit(6),
            full_listed: false,
            end: ["full-cut", "end-cut", "always"][number as usize / 3 % 3],
        })
        // A strip has one list; where half cuts have none, full cuts may.
        .map(|made| Made { full_listed: !made.half_listed && made.number % 4 == 0, ..made })
        .collect()
}

/// Names and texts of the made families.
pub(crate) fn descriptions() -> Vec<(String, String)> {
    made().into_iter().map(|made| (format!("made-{}", made.number), description(made))).collect()
}

fn description(made: Made) -> String {
    let bit = if made.low_bit_first { "low" } else { "high" };
    let dot = if made.last_first { "last" } else { "first" };
    let lead = if made.feeds_lead { "fed-by-printer" } else { "sent" };
    let packing = if made.packed { "packbits" } else { "none" };
    // One number in the form of this family.
    let number = |name: &str| {
        if made.words {
            format!("{{ number = \"{name}\", digits = 6, pad = \"none\" }}, {{ text = \"/\" }}")
        } else if made.number.is_multiple_of(2) {
            format!("{{ number = \"{name}\", bytes = 3, order = \"little\", times = 3, plus = 2 }}")
        } else {
            format!("{{ number = \"{name}\", bytes = 4, order = \"big\" }}")
        }
    };
    let list = match (made.half_listed, made.full_listed) {
        (true, _) => {
            format!(", {}, {{ each = \"half-cut\", send = [{}] }}", number("half-cuts"), number("line"))
        }
        (_, true) => {
            format!(", {}, {{ each = \"full-cut\", send = [{}] }}", number("full-cuts"), number("line"))
        }
        _ => String::new(),
    };
    let mut text = format!(
        "family = \"made-{}\"\ntitle = \"made\"\ndescription = \"made for a test\"\nreadback = true\n\
         [head]\ndots = {}\ndpi-across = [180]\ndpi-along = [180]\nlead = \"{lead}\"\n\
         [line]\nfirst-bit = \"{bit}\"\nfirst-dot = \"{dot}\"\nunused-dots = \"{}\"\npacking = \"{packing}\"\n\
         [cuts]\nend = \"{}\"\n[send]\n\
         job-start = [\"E0 01\", {}]\nstrip-start = [\"E0 02\", {}, {}{list}]\nstrip-end = [\"E0 03\"]\n\
         line = [\"E1\", {}, {{ put = \"data\" }}]\njob-end = [\"E0 04\"]\n",
        made.number,
        made.head,
        made.unused,
        if made.end == "always" { "always" } else { "command" },
        number("dpi"),
        number("lines"),
        number("lead-lines"),
        number("bytes"),
    );
    if made.blank {
        _ = writeln!(text, "blank = [\"E2\", {{ number = \"count\", bytes = 1 }}]");
    }
    if !made.half_listed {
        _ = writeln!(text, "half-cut = [\"E3\", {}]", number("line"));
    }
    if !made.full_listed {
        _ = writeln!(text, "full-cut = [\"E4\"]");
    }
    if made.end == "end-cut" {
        _ = writeln!(text, "end-cut = [\"E5\"]");
    }
    text
}

pub(crate) fn random_piece(random: &mut Random, dots: u32, lead: u32) -> Piece {
    let bytes = dots.div_ceil(8) as usize;
    let mut rows = vec![vec![0; bytes]; lead as usize];
    for _ in 0..1 + random.below(9) {
        let mut row: Vec<u8> = match random.below(4) {
            0 => vec![0; bytes],
            1 => vec![random.byte(); bytes],
            2 => random.bytes(bytes),
            _ => (0..bytes).map(|_| [0, 0, 0xFF][random.count_below(3)]).collect(),
        };
        row[bytes - 1] &= last_byte_dots(dots);
        let repeats = if random.below(6) == 0 { 255 + random.count_below(4) } else { 1 + random.count_below(3) };
        rows.extend(std::iter::repeat_n(row, repeats));
    }
    Piece { dots, lead, rows, cuts: Vec::new() }
}

/// Cuts anywhere, and one at the end where the family wants it.
fn random_cuts(random: &mut Random, made: Made, piece: &mut Piece) {
    let lines = piece.lines();
    let first = if made.feeds_lead { piece.lead } else { 0 };
    let often = [3, 60, 1000][random.count_below(3)];
    for line in first..lines {
        if random.below(often) == 0 {
            let kind = if random.below(2) == 0 { CutKind::Half } else { CutKind::Full };
            piece.cuts.push(Cut { line, kind });
        }
    }
    match random.below(3) {
        _ if made.end == "always" => piece.cuts.push(Cut { line: lines, kind: CutKind::Full }),
        0 => piece.cuts.push(Cut { line: lines, kind: CutKind::Full }),
        1 => piece.cuts.push(Cut { line: lines, kind: CutKind::Half }),
        _ => {}
    }
}

/// The piece as wide as the head.
pub(crate) fn widened(piece: &Piece, head: u32, unused: &str) -> Piece {
    let free = head - piece.dots;
    let before = match unused {
        "after" => 0,
        "before" => free,
        _ => free / 2,
    };
    piece.window(-i64::from(before), head)
}

pub(crate) fn job(dots: u32, strips: usize) -> JobSpec {
    JobSpec {
        name: "Tidewater Playhouse".into(),
        strips: u32::try_from(strips).unwrap(),
        dpi_across_milli: 180_000,
        dpi_along_milli: 180_000,
        dots,
        web_dots: dots,
        width_um: 12_000,
        stock_kind: "tape".into(),
        stock_title: "12 mm tape".into(),
        ..JobSpec::default()
    }
}

#[test]
fn every_made_family() {
    for made in made() {
        for seed in 0..4 {
            let mut random = Random::new(u64::from(made.number) * 100 + seed);
            let dots = if seed == 0 { made.head } else { 1 + random.below(made.head) };
            let lead = random.below(40);
            let pieces: Vec<Piece> = (0..1 + random.below(3))
                .map(|_| {
                    let mut piece = random_piece(&mut random, dots, lead);
                    random_cuts(&mut random, made, &mut piece);
                    piece
                })
                .collect();
            let name = format!("made-{}", made.number);
            let job = job(dots, pieces.len());
            let expected: Vec<Piece> = pieces.iter().map(|piece| widened(piece, made.head, made.unused)).collect();
            let about = format!("{made:?}, seed {seed}");
            let (_, pages) = family(&name).goes_round(&about, (&job, &pieces), &expected, &mut random, 300);
            assert!(pages.iter().all(|page| page.dpi_along_milli == Some(180_000)), "{about}: {pages:?}");
        }
    }
}

/// A half cut and a full cut before every line of a strip in turn, in the families built in.
#[test]
fn a_cut_at_every_line() {
    for (name, head, unused, least) in [("gantry", 128, "after", 0), ("footlight", 150, "both", 2)] {
        let mut random = Random::new(5);
        let mut piece = random_piece(&mut random, 96, 2);
        piece.rows.truncate(60);
        let lines = piece.lines();
        for kind in [CutKind::Half, CutKind::Full] {
            for line in least..=lines {
                piece.cuts = vec![Cut { line, kind }];
                let stream = family(name).write(&job(96, 1), std::slice::from_ref(&piece), |lines| (lines, true));
                let found = family(name).read(&stream.unwrap(), 50).unwrap();
                assert!(found.pieces == [widened(&piece, head, unused)], "{name}: {kind:?} at {line}");
            }
        }
    }
}

/// The made families differ in what they send, so that the round trips are not all of one kind.
#[test]
fn made_families_cover_what_there_is() {
    let made = made();
    let both = |say: &dyn Fn(&Made) -> bool| made.iter().any(say) && !made.iter().all(say);
    assert!(both(&|made| made.packed) && both(&|made| made.blank) && both(&|made| made.words));
    assert!(both(&|made| made.feeds_lead) && both(&|made| made.half_listed) && both(&|made| made.full_listed));
    assert!(both(&|made| made.low_bit_first) && both(&|made| made.last_first));
}

/// Among several resolutions the one in the stream is found again, exactly.
#[test]
fn resolutions_come_back() {
    let piece = random_piece(&mut Random::new(1), 96, 0);
    for (name, across, along) in
        [("gantry", 180_000, 360_000), ("footlight", 203_200, 203_200), ("footlight", 180_000, 180_000)]
    {
        let job = JobSpec { dpi_across_milli: across, dpi_along_milli: along, ..job(96, 1) };
        let stream = family(name).write(&job, std::slice::from_ref(&piece), |lines| (lines, true)).unwrap();
        assert_eq!(family(name).read(&stream, 99).unwrap().pages[0].dpi_along_milli, Some(along), "{name}");
    }
}

#[test]
fn streams_are_recognised() {
    let score = |name: &str, first: &[u8]| family(name).recognises(first);
    assert_eq!(score("gantry", &[0xC7, 0x91, 0x6A, 0x01, 5]), 95);
    assert_eq!(score("gantry", &[0xC7, 0x91, 0x6A]), 0);
    assert_eq!(score("footlight", b"OVERTURE strips=1"), 95);
    assert_eq!(score("footlight", &[0xC7, 0x91, 0x6A, 0x01]), 0);
    assert_eq!(score("made-3", &[0xE0, 0x01]), 60);
}
