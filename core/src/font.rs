//! Text to glyphs: the embedded faces, their metrics in cap heights, and 1-bit glyphs drawn once a size.
//!
//! Sizes are asked for as the *cap height in dots*, since that is what legibility is judged by.
//! Metrics are in units of the cap height, so that fitting needs no rasterising.

use crate::bitmap::Bitmap;
use ab_glyph::{Font, FontRef, GlyphId, PxScale};
use std::collections::HashMap;

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

struct Face {
    font: FontRef<'static>,
    /// Height of `H` in font units, measured; not every font states it.
    cap: f32,
}

#[derive(Clone, Copy)]
struct Sized {
    face: u8,
    glyph: GlyphId,
    measure: Measure,
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

const NORMAL_DATA: &[u8] = include_bytes!("../../fonts/atkinson-hyperlegible-next-semibold.ttf");
const CONDENSED_DATA: &[u8] = include_bytes!("../../fonts/iosevka-charon-mono-bold-subset.ttf");
const FALLBACK_DATA: &[u8] = include_bytes!("../../fonts/dejavu-sans-mono-bold.ttf");

const NORMAL: u8 = 0;
const CONDENSED: u8 = 1;
const FALLBACK: u8 = 2;

/// Least blank between words, in cap heights. Lettering practice asks for 3/7 (DIN lettering, as
/// told by a public typography page); labels set numbers beside lengths, and `301 5 m` must not read
/// as one number.
const WORD_GAP: f64 = 0.55;

impl Face {
    fn new(data: &'static [u8]) -> Self {
        let font = FontRef::try_from_slice(data).expect("embedded fonts are whole");
        let cap = font.outline(font.glyph_id('H')).map_or(0.0, |outline| {
            // Outline bounds are y-down as rectangles go, but in font units: take the extent.
            (outline.bounds.max.y - outline.bounds.min.y).abs()
        });
        Self { font, cap }
    }

    /// `None` when the face lacks the character.
    fn glyph(&self, c: char) -> Option<GlyphId> {
        let id = self.font.glyph_id(c);
        (id.0 != 0).then_some(id)
    }

    fn measure(&self, glyph: GlyphId) -> Measure {
        let cap = f64::from(self.cap);
        let mut width = f64::from(self.font.h_advance_unscaled(glyph)) / cap;
        if Some(glyph) == self.glyph(' ') {
            width = width.max(WORD_GAP);
        }
        self.font.outline(glyph).map_or(Measure { width, above: 0.0, below: 0.0 }, |outline| {
            let (a, b) = (f64::from(outline.bounds.min.y), f64::from(outline.bounds.max.y));
            Measure { width, above: (a.max(b) / cap - 1.0).max(0.0), below: (-a.min(b) / cap).max(0.0) }
        })
    }
}

/// Characters that stand for one another where a face has only one of them.
const fn same_as(c: char) -> Option<char> {
    match c {
        'µ' => Some('μ'),
        '\u{2126}' => Some('Ω'),
        '\u{00A0}' | '\u{202F}' | '\u{2009}' => Some(' '),
        '\u{2011}' => Some('-'),
        _ => None,
    }
}

impl Fonts {
    /// The faces that come with the program (origins and licences: `fonts/README.md`).
    ///
    /// # Panics
    /// Never: the files are part of the program and are opened in its tests.
    pub fn embedded() -> Self {
        let faces = [Face::new(NORMAL_DATA), Face::new(CONDENSED_DATA), Face::new(FALLBACK_DATA)];
        let mut fonts = Self { faces, ascii: [Vec::new(), Vec::new()] };
        fonts.ascii = [Style::Normal, Style::Condensed].map(|style| {
            (FIRST..FIRST + COUNT).map(|code| char::from_u32(code).and_then(|c| fonts.find(c, style))).collect()
        });
        fonts
    }

    /// The font data of the plain face and of the one for what it lacks, for documents that embed them.
    pub fn document_faces() -> [&'static [u8]; 2] {
        [NORMAL_DATA, FALLBACK_DATA]
    }

    fn find(&self, c: char, style: Style) -> Option<Sized> {
        if ('\u{0300}'..='\u{036F}').contains(&c) {
            // A combining mark would be set beside its letter; better said than printed wrong.
            return None;
        }
        let first = if style == Style::Normal { NORMAL } else { CONDENSED };
        for face in [first, FALLBACK] {
            for candidate in [Some(c), same_as(c)].into_iter().flatten() {
                if let Some(glyph) = self.faces[usize::from(face)].glyph(candidate) {
                    return Some(Sized { face, glyph, measure: self.faces[usize::from(face)].measure(glyph) });
                }
            }
        }
        None
    }

    fn sized(&self, c: char, style: Style) -> Option<Sized> {
        match u32::from(c).checked_sub(FIRST).filter(|&index| index < COUNT) {
            Some(index) => self.ascii[usize::from(style == Style::Condensed)][index as usize],
            None => self.find(c, style),
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

/// A glyph at one size: ink, and where it goes against the pen on the baseline.
struct Glyph {
    ink: Bitmap,
    left: i64,
    bottom: i64,
}

/// A size text is drawn in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Size {
    /// Width class.
    pub style: Style,
    /// Cap height in dots.
    pub cap: i64,
    /// Dots of a length along the text over dots of the same length up it, in thousandths.
    pub ratio_milli: i64,
}

struct SizeCache {
    ascii: Vec<Option<Glyph>>,
    other: HashMap<char, Glyph>,
}

/// Draws text; keeps every glyph it has drawn, once a size.
pub struct Pen<'f> {
    fonts: &'f Fonts,
    sizes: HashMap<Size, SizeCache>,
}

/// Nearest whole dot.
#[allow(clippy::cast_possible_truncation, reason = "positions are far below 2^53")]
fn nearest(position: f64) -> i64 {
    (position + 0.5).floor() as i64
}

impl<'f> Pen<'f> {
    /// A pen without any ink yet.
    pub fn new(fonts: &'f Fonts) -> Self {
        Self { fonts, sizes: HashMap::new() }
    }

    /// Draws one line, pen starting at `(line, baseline)`: the baseline is the lower edge of that dot.
    ///
    /// Glyphs stand on whole dots; the rounding is that of the line's sum, so it never adds up.
    /// Characters without a glyph are left out: [`Fonts::measure`] reports them first.
    pub fn draw(&mut self, text: &str, size: Size, to: &mut Bitmap, (line, baseline): (i64, i64)) {
        let fonts = self.fonts;
        let Size { style, cap, ratio_milli } = size;
        #[allow(clippy::cast_precision_loss, reason = "small numbers")]
        let (cap_dots, ratio) = (cap as f64, ratio_milli as f64 / 1000.0);
        let cache = self
            .sizes
            .entry(size)
            .or_insert_with(|| SizeCache { ascii: (0..COUNT).map(|_| None).collect(), other: HashMap::new() });
        let mut pen = 0.0;
        for c in text.chars() {
            let Some(sized) = fonts.sized(c, style) else { continue };
            let render = || render(&fonts.faces[usize::from(sized.face)], sized.glyph, cap_dots, ratio);
            let glyph = match u32::from(c).checked_sub(FIRST).filter(|&index| index < COUNT) {
                Some(index) => cache.ascii[index as usize].get_or_insert_with(render),
                None => cache.other.entry(c).or_insert_with(render),
            };
            to.blit(&glyph.ink, line + nearest(pen) + glyph.left, baseline + glyph.bottom);
            pen += sized.measure.width * cap_dots * ratio;
        }
    }
}

/// One glyph: a dot is inked where the outline covers at least half of it.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "glyph bounds are small whole numbers")]
fn render(face: &Face, glyph: GlyphId, cap: f64, ratio: f64) -> Glyph {
    let up = (cap / f64::from(face.cap) * f64::from(face.font.height_unscaled())) as f32;
    let scale = PxScale { x: up * ratio as f32, y: up };
    let Some(outline) = face.font.outline_glyph(glyph.with_scale(scale)) else {
        return Glyph { ink: Bitmap::new(0, 0), left: 0, bottom: 0 };
    };
    let bounds = outline.px_bounds();
    let (lines, dots) = (bounds.width() as usize, bounds.height() as usize);
    let mut ink = Bitmap::new(dots, lines);
    outline.draw(|x, y, coverage| {
        if coverage >= 0.5 && (y as usize) < dots {
            ink.set(x as usize, dots - 1 - y as usize);
        }
    });
    Glyph { ink, left: bounds.min.x as i64, bottom: -(bounds.max.y as i64) }
}

#[cfg(test)]
mod tests {
    use super::*;

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
