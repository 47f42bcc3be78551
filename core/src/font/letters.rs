//! What 1-bit letters must be, at every size.

use super::*;
use crate::bitmap::Bitmap;
use std::collections::BTreeSet;

type Dots = BTreeSet<(i64, i64)>;

/// The ink of a text by (line, dot), baseline at dot 0.
fn inked(fonts: &Fonts, text: &str, size: Size) -> Dots {
    let (room, below) = (size.cap / 2, size.cap / 2);
    let wide = fonts.dots_wide(text, size) + 2 * room;
    let whole = |dots: i64| usize::try_from(dots).unwrap();
    let mut page = Bitmap::new(whole(2 * size.cap), whole(wide));
    Pen::new(fonts).draw(text, size, &mut page, (room, below));
    let dots = (0..wide).flat_map(|line| (0..2 * size.cap).map(move |dot| (line, dot)));
    dots.filter(|&(line, dot)| page.get(whole(line), whole(dot)))
        .map(|(line, dot)| (line - room, dot - below))
        .collect()
}

fn at(style: Style, cap: i64) -> Size {
    Size { style, cap, ratio_milli: 1000 }
}

const STYLES: [Style; 2] = [Style::Normal, Style::Condensed];

/// Pieces that touch by 8 neighbours, or by 4.
fn pieces(mut dots: Dots, diagonal: bool) -> usize {
    let mut count = 0;
    while let Some(first) = dots.pop_first() {
        count += 1;
        let mut ahead = vec![first];
        while let Some((line, dot)) = ahead.pop() {
            for (a, b) in (-1..=1).flat_map(|a| (-1..=1).map(move |b| (a, b))) {
                let near = (line + a, dot + b);
                if (diagonal || a == 0 || b == 0) && dots.remove(&near) {
                    ahead.push(near);
                }
            }
        }
    }
    count
}

/// The dots without ink in and around some ink.
fn blank(ink: &Dots) -> Dots {
    let bound = |part: fn(&(i64, i64)) -> i64| {
        (ink.iter().map(part).min().unwrap_or(0) - 1, ink.iter().map(part).max().unwrap_or(0) + 1)
    };
    let (lines, dots) = (bound(|d| d.0), bound(|d| d.1));
    let all = (lines.0..=lines.1).flat_map(|line| (dots.0..=dots.1).map(move |dot| (line, dot)));
    all.filter(|place| !ink.contains(place)).collect()
}

/// Lengths of the runs of ink in a row of dots.
fn runs(ink: &Dots, dot: i64) -> Vec<usize> {
    let mut runs: Vec<(i64, usize)> = Vec::new();
    for &(line, _) in ink.iter().filter(|place| place.1 == dot) {
        match runs.last_mut() {
            Some((end, length)) if *end == line => (*end, *length) = (line + 1, *length + 1),
            _ => runs.push((line + 1, 1)),
        }
    }
    runs.into_iter().map(|(_, length)| length).collect()
}

/// Letters of upright stems, and a height at which nothing but stems is met, in hundredths of the cap.
const STEMS: [(&str, i64); 11] = [
    ("H", 25),
    ("I", 50),
    ("L", 60),
    ("F", 20),
    ("T", 40),
    ("P", 15),
    ("1", 40),
    ("h", 25),
    ("n", 25),
    ("i", 25),
    ("l", 60),
];

#[test]
fn stems_of_a_word_are_equally_wide() {
    let fonts = Fonts::embedded();
    for style in STYLES {
        for cap in 7..=40 {
            let widths: Vec<(&str, Vec<usize>)> = STEMS
                .iter()
                .map(|&(text, height)| (text, runs(&inked(&fonts, text, at(style, cap)), cap * height / 100)))
                .collect();
            let first = widths[0].1[0];
            let even = widths.iter().all(|(_, found)| !found.is_empty() && found.iter().all(|&width| width == first));
            assert!(even, "{style:?} at {cap} dots: {widths:?}");
        }
    }
}

/// Printable ASCII and some more that labels hold.
fn letters() -> impl Iterator<Item = char> {
    ('!'..='~').chain("ÄÖÜäöüßÉéÇçŁłØø½µΩ°±×".chars())
}

#[test]
fn no_letter_is_broken() {
    let fonts = Fonts::embedded();
    let caps = [7, 9, 11, 12, 14, 16, 18, 21, 24];
    for style in STYLES {
        let (mut broken, mut of) = (Vec::new(), 0_usize);
        for c in letters() {
            let text = c.to_string();
            let whole = pieces(inked(&fonts, &text, at(style, 96)), true);
            for cap in caps {
                of += 1;
                let found = pieces(inked(&fonts, &text, at(style, cap)), true);
                if found > whole {
                    broken.push((c, cap, found, whole));
                }
            }
        }
        // Two in a thousand at the most.
        assert!(broken.len() * 500 <= of, "{style:?}: {} of {of} are broken: {broken:?}", broken.len());
    }
}

#[test]
fn joined_letters_stay_joined() {
    let fonts = Fonts::embedded();
    let mut wrong = Vec::new();
    // Three letters in one piece, and the dot of the second; the dots of the third word may touch.
    for (text, wanted) in [("حبل", 2..=2), ("سلك", 1..=2), ("صقر", 2..=3)] {
        assert!(wanted.contains(&pieces(inked(&fonts, text, at(Style::Normal, 200)), true)), "{text}");
    }
    // Theatre, and what joins on both sides, on one, with marks over and under.
    for text in ["مسرح", "تورط", "حبل", "كابل", "ستارة", "شمعة", "نجمة", "خلف", "منصة"]
    {
        let whole = pieces(inked(&fonts, text, at(Style::Normal, 200)), false);
        for cap in 11..=40 {
            let found = pieces(inked(&fonts, text, at(Style::Normal, cap)), true);
            if found > whole {
                wrong.push((text, cap, found, whole));
            }
        }
    }
    assert!(wrong.is_empty(), "pieces found and wanted: {wrong:?}");
}

#[test]
fn counters_stay_open() {
    let fonts = Fonts::embedded();
    let letters = [("O", 1), ("8", 2), ("B", 2), ("A", 1), ("e", 1), ("a", 1), ("D", 1), ("R", 1), ("6", 1), ("9", 1)];
    let mut wrong = Vec::new();
    for style in STYLES {
        for cap in 7..=40 {
            for (text, holes) in letters {
                let blank = blank(&inked(&fonts, text, at(style, cap)));
                // One of these is the outside. What opens at a corner only is seen as open.
                let (parted, joined) = (pieces(blank.clone(), false) - 1, pieces(blank, true) - 1);
                if parted < holes || joined > holes {
                    wrong.push((style, cap, text, parted, joined));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "blanks within letters: {wrong:?}");
}

/// It is met apart from the sides of the zero wherever a row has three runs of ink.
#[test]
fn the_stroke_across_a_zero_is_evenly_wide() {
    let fonts = Fonts::embedded();
    let mut before = 1;
    for cap in 14..=60 {
        let ink = inked(&fonts, "0", at(Style::Normal, cap));
        let mut widths: Vec<usize> =
            (0..cap).map(|dot| runs(&ink, dot)).filter(|row| row.len() == 3).map(|row| row[1]).collect();
        assert!(widths.len() >= 5, "{cap} dots: {widths:?}");
        widths.sort_unstable();
        let width = widths[widths.len() / 2];
        // Its two sides are not quite parallel: now and then one row is a dot off.
        let off = widths.iter().filter(|&&found| found != width).count();
        assert!(off <= 1, "{cap} dots: {widths:?}");
        // A larger zero has no thinner stroke.
        assert!(width >= before, "{cap} dots: {width} after {before}");
        before = width;
    }
}

#[test]
fn capitals_and_figures_are_exactly_as_high_as_asked() {
    let fonts = Fonts::embedded();
    for style in STYLES {
        for cap in 7..=60 {
            for text in ["H", "E", "T", "X", "Z", "1", "7"] {
                let ink = inked(&fonts, text, at(style, cap));
                let (low, high) = (ink.iter().map(|d| d.1).min(), ink.iter().map(|d| d.1).max());
                assert_eq!((low, high), (Some(0), Some(cap - 1)), "{style:?}: {text} at {cap} dots");
            }
        }
    }
}

#[test]
fn the_same_letters_are_always_as_far_apart() {
    let fonts = Fonts::embedded();
    for style in STYLES {
        for cap in 7..=40 {
            let row = runs(&inked(&fonts, "HHHHHHHH", at(style, cap)), cap / 4);
            assert_eq!(row.len(), 16, "{style:?} {cap}");
            let one = inked(&fonts, "H", at(style, cap));
            let step = fonts.dots_wide("H", at(style, cap));
            let eight: Dots =
                (0..8).flat_map(|nth| one.iter().map(move |&(line, dot)| (line + nth * step, dot))).collect();
            assert_eq!(inked(&fonts, "HHHHHHHH", at(style, cap)), eight, "{style:?} {cap}");
        }
    }
}

/// Rounding five letters moves the next word by three dots at most; a space of 12 takes them all up.
#[test]
fn words_begin_where_the_line_as_a_sum_has_them() {
    let fonts = Fonts::embedded();
    let mut tried = 0;
    for style in STYLES {
        for cap in 7..=60 {
            let size = at(style, cap);
            let space = fonts.dots_wide(" ", size);
            let begins = fonts.measure("TWP OTTER ", style).unwrap().width * f64::from(u8::try_from(cap).unwrap());
            let drawn = fonts.dots_wide("TWP OTTER ", size);
            if space >= 12 {
                assert_eq!(drawn, whole_dots(begins, 1, 1000), "{style:?} {cap}");
                tried += 1;
            }
            let shut = drawn - fonts.dots_wide("TWP OTTER", size);
            assert!(shut >= space - space / 4, "{style:?} {cap}: {shut} dots of {space} are left");
        }
    }
    assert!(tried > 60, "only {tried} sizes have spaces of 12 dots");
}

#[test]
fn an_upright_stem_is_as_wide_in_millimetres_where_resolutions_differ() {
    let fonts = Fonts::embedded();
    for cap in 14..=40 {
        let width = |ratio_milli| {
            let ink = inked(&fonts, "H", Size { style: Style::Normal, cap, ratio_milli });
            i64::try_from(runs(&ink, cap / 4)[0]).unwrap()
        };
        let (half, one, two) = (width(500), width(1000), width(2000));
        assert!((two - 2 * one).abs() <= 1 && (one - 2 * half).abs() <= 1, "{cap}: {half} {one} {two}");
    }
}

/// Letters as rows of `#` and `.`, the top first.
fn drawn(text: &str, style: Style, cap: i64) -> String {
    let fonts = Fonts::embedded();
    let ink = inked(&fonts, text, at(style, cap));
    let (low, high) = (ink.iter().map(|d| d.1).min().unwrap(), ink.iter().map(|d| d.1).max().unwrap());
    let wide = fonts.dots_wide(text, at(style, cap));
    let row = |dot| (0..wide).map(|line| if ink.contains(&(line, dot)) { '#' } else { '.' }).collect::<String>() + "\n";
    (low..=high).rev().map(row).collect()
}

#[test]
fn letters_are_these_dots_on_every_machine() {
    for (text, style, cap, wanted) in [
        ("TWP-0", Style::Normal, 11, GOLDEN_NORMAL),
        ("OTTER", Style::Condensed, 14, GOLDEN_CONDENSED),
        ("8Bae", Style::Normal, 7, GOLDEN_SMALL),
    ] {
        let found = drawn(text, style, cap);
        assert_eq!(found, wanted, "{text} in {style:?} at {cap} dots\n{found}");
    }
}

const GOLDEN_NORMAL: &str = "\
############....##....##.#######............###....\n\
############....##....##.########.........#######..\n\
....##.....##..####..##..##....###........##...##..\n\
....##.....##..####..##..##.....##.......###....##.\n\
....##.....##..####..##..##....###.......##.#...##.\n\
....##.....##..#..#..##..########........##..#..##.\n\
....##......####..####...#######..######.##...#.##.\n\
....##......####..####...##.......######.##....###.\n\
....##......####..####...##...............##...##..\n\
....##......###....###...##...............#######..\n\
....##.......##....##....##.................###....\n\
";
const GOLDEN_CONDENSED: &str = "\
...###.....########..########..#######...#####....\n\
..#####....########..########..#######...######...\n\
.##...##......##........##.....##........##...##..\n\
.##...##......##........##.....##........##...##..\n\
.##...##......##........##.....##........##...##..\n\
.##...##......##........##.....##........##...##..\n\
.##...##......##........##.....######....##..###..\n\
.##...##......##........##.....######....######...\n\
.##...##......##........##.....##........#####....\n\
.##...##......##........##.....##........##.###...\n\
.##...##......##........##.....##........##..##...\n\
.##...##......##........##.....##........##..###..\n\
..#####.......##........##.....#######...##...##..\n\
...###........##........##.....#######...##...##..\n\
";
const GOLDEN_SMALL: &str = "\
..####..#####.............\n\
..#..#..#...##............\n\
..#..#..#...#...###..####.\n\
..####..#####.##...###..##\n\
.#....#.#...##..##########\n\
.#....#.#...####...###...#\n\
..####..#####..#####.####.\n\
";
