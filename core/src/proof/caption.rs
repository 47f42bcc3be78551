//! Captions beside the labels of a strip: broken into lines where labels are short, and numbers with
//! a key where even that is too wide. Never cut short: two cables must not look alike.

use super::canvas::{broken, width_of};
use crate::font::Fonts;
use std::ops::Range;

/// Part of a label that a row shows.
pub(super) struct Part {
    pub(super) label: usize,
    pub(super) row: usize,
    /// Pixel columns.
    pub(super) columns: Range<usize>,
}

/// Text over a part: lines from top to bottom, from this pixel column.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Placed {
    pub(super) row: usize,
    pub(super) x: usize,
    pub(super) lines: Vec<String>,
}

/// Captions of a strip.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Captions {
    pub(super) placed: Vec<Placed>,
    /// Lines above the tape, at most.
    pub(super) lines: usize,
    /// What the numbers mean; empty where names stand in place.
    pub(super) key: Vec<String>,
}

/// Most lines of a caption over a label.
const LINES: usize = 3;

/// Sets captions over the parts, which come in order. `right` is where the room of a row ends.
///
/// Every label is named at its longest part; a shorter part of the same label only where that fits.
/// `at` says where a label lies, for the key.
pub(super) fn captions(
    fonts: &Fonts,
    parts: &[Part],
    texts: &[&str],
    (cap, between, right): (usize, usize, usize),
    at: impl Fn(usize) -> String,
) -> Captions {
    let room = |nth: usize| {
        let part = &parts[nth];
        let next = parts.get(nth + 1).filter(|next| next.row == part.row).map_or(right, |next| next.columns.start);
        next.saturating_sub(part.columns.start + between)
    };
    let fitted = |text: &str, nth: usize| -> Option<Vec<String>> {
        let fits = text.split_whitespace().all(|word| width_of(fonts, word, cap) <= room(nth));
        Some(broken(fonts, text, cap, room(nth))).filter(|lines| fits && lines.len() <= LINES)
    };
    let mut chief: Vec<Option<usize>> = vec![None; texts.len()];
    for (nth, part) in parts.iter().enumerate() {
        let before = &mut chief[part.label];
        if before.is_none_or(|before| parts[before].columns.len() < part.columns.len()) {
            *before = Some(nth);
        }
    }
    let named: Vec<Option<Vec<String>>> = (0..parts.len()).map(|nth| fitted(texts[parts[nth].label], nth)).collect();
    let all = chief.iter().all(|chief| chief.is_some_and(|nth| named[nth].is_some()));
    let (lines, key): (Vec<Option<Vec<String>>>, Vec<String>) = if all {
        (named, Vec::new())
    } else {
        let number = |label: usize| (label + 1).to_string();
        let key = texts.iter().enumerate().map(|(label, text)| format!("{}: {text}, {}", number(label), at(label)));
        ((0..parts.len()).map(|nth| fitted(&number(parts[nth].label), nth)).collect(), key.collect())
    };
    let placed: Vec<Placed> = parts
        .iter()
        .zip(lines)
        .filter_map(|(part, lines)| Some(Placed { row: part.row, x: part.columns.start, lines: lines? }))
        .collect();
    Captions { lines: placed.iter().map(|placed| placed.lines.len()).max().unwrap_or(0), placed, key }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(columns: &[(usize, usize, usize)]) -> Vec<Part> {
        let part =
            |(nth, &(row, start, end)): (usize, &(usize, usize, usize))| Part { label: nth, row, columns: start..end };
        columns.iter().enumerate().map(part).collect()
    }

    fn set(parts: &[Part], texts: &[&str]) -> Captions {
        captions(&Fonts::embedded(), parts, texts, (20, 8, 2000), |label| format!("at {label} mm"))
    }

    #[test]
    fn wide_labels_have_one_line_and_short_ones_more() {
        let texts = ["OTTER 1040 near", "OTTER 1040 far"];
        let wide = set(&parts(&[(0, 40, 600), (0, 640, 1200)]), &texts);
        assert_eq!(wide.lines, 1);
        assert_eq!(wide.placed[1], Placed { row: 0, x: 640, lines: vec!["OTTER 1040 far".into()] });
        let short = set(&parts(&[(0, 40, 160), (0, 180, 300)]), &texts);
        assert_eq!(short.placed[0].lines, ["OTTER", "1040", "near"]);
        assert_eq!(short.placed[1].lines, ["OTTER 1040 far"], "the last has the rest of the row");
        assert!(short.key.is_empty());
    }

    #[test]
    fn no_caption_reaches_the_next() {
        let fonts = Fonts::embedded();
        for pitch in 10..400 {
            let places: Vec<_> = (0..6).map(|nth| (nth / 3, nth % 3 * pitch, nth % 3 * pitch + pitch - 5)).collect();
            let set = set(&parts(&places), &["BADGER 301 near"; 6]);
            for pair in set.placed.windows(2).filter(|pair| pair[0].row == pair[1].row) {
                let wide = pair[0].lines.iter().map(|line| width_of(&fonts, line, 20)).max().unwrap();
                assert!(pair[0].x + wide < pair[1].x, "{pitch}: {pair:?}");
            }
            assert!(!set.key.is_empty() || set.placed.len() == 6, "{pitch}: a label without a name");
        }
    }

    #[test]
    fn what_fits_nowhere_has_a_key_with_places() {
        let texts = ["NIGHTINGALE 1 near", "NIGHTINGALE 1 far"];
        let narrow = set(&parts(&[(0, 40, 100), (0, 120, 180)]), &texts);
        assert_eq!(narrow.key, ["1: NIGHTINGALE 1 near, at 0 mm", "2: NIGHTINGALE 1 far, at 1 mm"]);
        assert_eq!(narrow.placed[0].lines, ["1"]);
    }

    #[test]
    fn a_split_label_is_named_at_its_longest_part() {
        let split = [
            Part { label: 0, row: 0, columns: 40..1900 },
            Part { label: 0, row: 1, columns: 40..44 },
            Part { label: 1, row: 1, columns: 50..700 },
        ];
        let set = set(&split, &["OTTER 1040 near", "OTTER 1040 far"]);
        assert!(set.key.is_empty());
        assert_eq!(set.placed.iter().map(|placed| placed.row).collect::<Vec<_>>(), [0, 1]);
    }
}
