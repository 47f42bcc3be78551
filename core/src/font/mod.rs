//! Text to glyphs: the embedded faces, their metrics in cap heights, and 1-bit glyphs drawn once a size.
//!
//! Sizes are asked for as the *cap height in dots*, since that is what legibility is judged by.
//! Metrics are in units of the cap height, so that fitting needs no rasterising.

mod face;
mod glyph;
mod pen;
mod shape;

pub use pen::{Pen, Size};

use face::Face;
use shape::{Sized, find};

/// The width class of the text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Style {
    /// The normal face.
    Normal,
    /// The condensed face, for boxes that bound the width.
    Condensed,
}

/// A character no embedded face can set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissingGlyph(pub char);

/// Size of a line of text, in units of the cap height.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measure {
    /// Sum of advances.
    pub width: f64,
    /// Ink above the cap height.
    pub above: f64,
    /// Ink below the baseline.
    pub below: f64,
}

/// The embedded faces.
pub struct Fonts {
    faces: [Face; 3],
    /// Printable ASCII, measured once: [normal, condensed].
    ascii: [Vec<Option<Sized>>; 2],
}

/// Printable ASCII starts here.
const FIRST: u32 = 0x20;
/// And has so many characters.
const COUNT: u32 = 95;

const NORMAL_DATA: &[u8] = include_bytes!("../../../fonts/atkinson-hyperlegible-next-semibold.ttf");
const CONDENSED_DATA: &[u8] = include_bytes!("../../../fonts/iosevka-charon-mono-bold-subset.ttf");
const FALLBACK_DATA: &[u8] = include_bytes!("../../../fonts/dejavu-sans-mono-bold.ttf");

impl Fonts {
    /// The faces that come with the program (origins and licences: `fonts/README.md`).
    ///
    /// # Panics
    /// Never: the files are part of the program and are opened in its tests.
    pub fn embedded() -> Self {
        let faces = [Face::new(NORMAL_DATA), Face::new(CONDENSED_DATA), Face::new(FALLBACK_DATA)];
        let mut fonts = Self { faces, ascii: [Vec::new(), Vec::new()] };
        fonts.ascii = [Style::Normal, Style::Condensed].map(|style| {
            (FIRST..FIRST + COUNT).map(|code| char::from_u32(code).and_then(|c| find(&fonts.faces, c, style))).collect()
        });
        fonts
    }

    /// The font data of the plain face and of the one for what it lacks, for documents that embed them.
    pub fn document_faces() -> [&'static [u8]; 2] {
        [NORMAL_DATA, FALLBACK_DATA]
    }

    fn sized(&self, c: char, style: Style) -> Option<Sized> {
        match u32::from(c).checked_sub(FIRST).filter(|&index| index < COUNT) {
            Some(index) => self.ascii[usize::from(style == Style::Condensed)][index as usize],
            None => find(&self.faces, c, style),
        }
    }

    /// Measures one line.
    ///
    /// # Errors
    /// The first character no face can set.
    pub fn measure(&self, text: &str, style: Style) -> Result<Measure, MissingGlyph> {
        let mut total = Measure::default();
        for c in text.chars() {
            let one = self.sized(c, style).ok_or(MissingGlyph(c))?.measure;
            total.width += one.width;
            total.above = total.above.max(one.above);
            total.below = total.below.max(one.below);
        }
        Ok(total)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bitmap::Bitmap;

    fn cap_rows(c: &str, style: Style, cap: i64) -> usize {
        let fonts = Fonts::embedded();
        let mut page = Bitmap::new(200, 400);
        Pen::new(&fonts).draw(c, Size { style, cap, ratio_milli: 1000 }, &mut page, (10, 50));
        (0..200).filter(|&dot| (0..400).any(|line| page.get(line, dot))).count()
    }

    #[test]
    fn a_capital_is_exactly_as_high_as_asked() {
        for style in [Style::Normal, Style::Condensed] {
            for cap in 7..60 {
                assert_eq!(cap_rows("H", style, cap), usize::try_from(cap).unwrap(), "{style:?} {cap}");
            }
        }
    }

    #[test]
    fn look_alikes_differ_and_stand_on_the_baseline() {
        let fonts = Fonts::embedded();
        for style in [Style::Normal, Style::Condensed] {
            let draw = |text: &str| {
                let mut page = Bitmap::new(40, 40);
                Pen::new(&fonts).draw(text, Size { style, cap: 14, ratio_milli: 1000 }, &mut page, (4, 10));
                page
            };
            for (a, b) in [("0", "O"), ("1", "I"), ("1", "l"), ("I", "l"), ("5", "S"), ("8", "B"), ("2", "Z")] {
                let (a_ink, b_ink) = (draw(a), draw(b));
                let differ = (0..40)
                    .flat_map(|l| (0..40).map(move |d| (l, d)))
                    .filter(|&(l, d)| a_ink.get(l, d) != b_ink.get(l, d))
                    .count();
                assert!(differ >= 5, "{style:?}: {a} and {b} differ in {differ} dots at 14 dots of cap height");
            }
            let page = draw("H");
            assert!(!page.get(6, 9) && (0..40).any(|line| page.get(line, 10)));
        }
    }

    #[test]
    fn marks_and_units_are_set_and_the_unknown_is_named() {
        let fonts = Fonts::embedded();
        for text in ["50′ 6″ ½ Ω µ ° ± × – ’", "Ärger ÉÇ Łódź", "Ωμέγα Кабель"] {
            for style in [Style::Normal, Style::Condensed] {
                fonts.measure(text, style).unwrap_or_else(|missing| panic!("{text}: {missing:?}"));
            }
        }
        assert_eq!(fonts.measure("ab漢", Style::Normal), Err(MissingGlyph('漢')));
        assert_eq!(fonts.measure("e\u{0301}", Style::Normal), Err(MissingGlyph('\u{0301}')));
    }

    #[test]
    fn width_follows_the_ratio_and_height_does_not() {
        let fonts = Fonts::embedded();
        let size = |ratio| {
            let mut page = Bitmap::new(60, 400);
            Pen::new(&fonts).draw(
                "OTTER",
                Size { style: Style::Normal, cap: 20, ratio_milli: ratio },
                &mut page,
                (5, 20),
            );
            let used = |lines: bool| {
                let hit: Vec<usize> = if lines {
                    (0..400).filter(|&l| (0..60).any(|d| page.get(l, d))).collect()
                } else {
                    (0..60).filter(|&d| (0..400).any(|l| page.get(l, d))).collect()
                };
                hit[hit.len() - 1] - hit[0] + 1
            };
            (used(true), used(false))
        };
        let (one, two) = (size(1000), size(2000));
        assert!(two.0.abs_diff(one.0 * 2) <= 3, "{one:?} {two:?}");
        assert!(two.1.abs_diff(one.1) <= 1, "{one:?} {two:?}");
    }
}
