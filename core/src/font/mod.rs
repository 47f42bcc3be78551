//! Text to glyphs: faces, embedded and the user's, their metrics in cap heights, and 1-bit glyphs
//! drawn once a size.
//!
//! Sizes are asked for as the *cap height in dots*, since that is what legibility is judged by.
//! Metrics are in units of the cap height, so that fitting needs no rasterising. A line is shaped
//! into placed glyphs ([`Fonts::place`]), which the [`Pen`] draws.

mod ascii;
pub mod bidi;
mod face;
mod fallback;
mod fault;
mod glyph;
mod grid;
mod missing;
mod outline;
mod pen;
mod scan;
mod shape;

pub use fault::Fault;
pub use missing::MissingGlyph;
pub use pen::{Pen, Size};
pub use shape::{Placed, Run};

use ascii::Ascii;
use face::Face;
use pen::Advance;
use std::borrow::Cow;
use std::sync::{Arc, OnceLock};
use unicode_segmentation::UnicodeSegmentation as _;

/// The width class of the text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Style {
    /// The normal face.
    Normal,
    /// The condensed face, for boxes that bound the width.
    Condensed,
}

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

impl Measure {
    /// Takes another glyph beside it.
    fn beside(&mut self, other: Self) {
        self.width += other.width;
        self.above = self.above.max(other.above);
        self.below = self.below.max(other.below);
    }
}

/// A font file of the user's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FontFile {
    /// The file: TrueType or OpenType, one face or a collection. A variable font is set as it is at rest.
    pub bytes: Vec<u8>,
    /// Which face of a collection, from 0.
    pub index: u32,
}

/// The faces of a job.
pub struct Fonts {
    faces: Vec<Face>,
    /// Faces in the order they are tried: [normal, condensed].
    orders: [Vec<u8>; 2],
    /// Printable ASCII, measured once: [normal, condensed].
    ascii: [Arc<Ascii>; 2],
}

const NORMAL_DATA: &[u8] = include_bytes!("../../../fonts/atkinson-hyperlegible-next-semibold.ttf");
const CONDENSED_DATA: &[u8] = include_bytes!("../../../fonts/iosevka-charon-mono-bold-subset.ttf");
const FALLBACK_DATA: &[u8] = include_bytes!("../../../fonts/dejavu-sans-mono-bold.ttf");
const JOINED_DATA: &[u8] = include_bytes!("../../../fonts/dejavu-sans-bold-subset.ttf");

const NORMAL: u8 = 0;
const CONDENSED: u8 = 1;
/// Arabic and Hebrew, with the tables that join and place them; the fallback has Arabic in parts.
const JOINED: u8 = 2;
const FALLBACK: u8 = 3;

/// Ink may reach so far out of a line, in cap heights: about a dot, as the `q` of the plain face does.
const OVERHANG: f64 = 0.1;

/// Most fonts a job may bring: each is held in memory, and tried for every character the ones before lack.
pub const MOST_FONTS: usize = 100;

/// An advance in cap heights, rounded to whole dots.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "positions are far below 2^53")]
fn whole_dots(advance: f64, cap: i64, ratio_milli: i64) -> i64 {
    (advance * cap as f64 * ratio_milli as f64 / 1000.0 + 0.5).floor() as i64
}

impl Fonts {
    /// The faces that come with the program (origins and licences: `fonts/README.md`).
    ///
    /// # Panics
    /// Never: the files are part of the program and are opened in its tests.
    pub fn embedded() -> Self {
        let open = |data| Face::new(Cow::Borrowed(data), 0).expect("embedded fonts are whole");
        let faces = [NORMAL_DATA, CONDENSED_DATA, JOINED_DATA, FALLBACK_DATA].map(open);
        let orders = [vec![NORMAL, JOINED, FALLBACK, CONDENSED], vec![CONDENSED, JOINED, FALLBACK, NORMAL]];
        let mut fonts = Self { faces: faces.into(), orders, ascii: Default::default() };
        // The same faces measure the same: once is enough.
        static MEASURED: OnceLock<[Arc<Ascii>; 2]> = OnceLock::new();
        fonts.ascii = MEASURED.get_or_init(|| fonts.measured()).clone();
        fonts
    }

    /// Puts a font of the user's in front of the normal face. The condensed face stays: it is for
    /// boxes in which the main face would be too small to read, and sets what it lacks from this one.
    ///
    /// # Errors
    /// The [`Fault`] of the file; then nothing has changed.
    ///
    /// # Panics
    /// With more than [`MOST_FONTS`] fonts.
    pub fn lead(&mut self, file: FontFile) -> Result<(), Fault> {
        let face = self.open(file)?;
        self.orders[0].insert(0, face);
        self.orders[1].insert(1, face);
        self.ascii = self.measured();
        Ok(())
    }

    /// Adds a font of the user's for what all faces so far lack.
    ///
    /// # Errors
    /// The [`Fault`] of the file; then nothing has changed.
    ///
    /// # Panics
    /// With more than [`MOST_FONTS`] fonts.
    pub fn add(&mut self, file: FontFile) -> Result<(), Fault> {
        let face = self.open(file)?;
        self.orders.iter_mut().for_each(|order| order.push(face));
        Ok(())
    }

    fn open(&mut self, file: FontFile) -> Result<u8, Fault> {
        assert!(self.faces.len() < MOST_FONTS + 4, "found more than {MOST_FONTS} fonts, wanted fewer");
        self.faces.push(Face::new(Cow::Owned(file.bytes), file.index)?);
        Ok(u8::try_from(self.faces.len() - 1).expect("the limit is below 256"))
    }

    fn measured(&self) -> [Arc<Ascii>; 2] {
        [Style::Normal, Style::Condensed].map(|style| Arc::new(Ascii::of(self, style)))
    }

    /// The bytes of a face's file and its index there; `None` for a face there is not.
    pub fn file(&self, face: u8) -> Option<(&[u8], u32)> {
        self.faces.get(usize::from(face)).map(Face::file)
    }

    /// The cap height of a face in ems.
    ///
    /// # Panics
    /// For a face there is not.
    pub fn cap_of_em(&self, face: u8) -> f64 {
        let face = &self.faces[usize::from(face)];
        face.cap / face.units
    }

    fn order(&self, style: Style) -> &[u8] {
        &self.orders[usize::from(style == Style::Condensed)]
    }

    fn ascii(&self, style: Style) -> &Ascii {
        &self.ascii[usize::from(style == Style::Condensed)]
    }

    /// The stretches a line is shaped in, left to right as printed. What no face has is left out.
    pub fn runs(&self, text: &str, style: Style) -> Vec<Run> {
        shape::runs(self, text, style, |_, _| {})
    }

    /// Shapes one run of a line: its glyphs left to right.
    pub fn place_run(&self, text: &str, run: &Run) -> Vec<Placed> {
        let mut placed = Vec::with_capacity(run.letters.len());
        shape::place(self, text, run, &mut |glyph| placed.push(glyph));
        placed
    }

    /// The glyphs of a line, left to right as printed. What no face has is left out:
    /// [`Fonts::measure`] reports it first.
    pub fn place(&self, text: &str, style: Style, mut each: impl FnMut(Placed)) {
        if self.ascii(style).place(text, &mut each) {
            return;
        }
        self.set(text, &self.runs(text, style)).0.into_iter().for_each(each);
    }

    /// Width of one line at a size, in dots along it: how far [`Pen`] goes, and what ink that reaches
    /// far out of the advances adds. It may differ from the [`Measure`] by half a dot a letter.
    /// Characters without a glyph are left out.
    pub fn dots_wide(&self, text: &str, size: Size) -> i64 {
        let mut pen = Advance::default();
        let mut step = |glyph: Placed, fitted| pen.step(glyph.advance, pen::kind(text, &glyph, fitted), size);
        // All of ASCII is fitted.
        if self.ascii(size.style).place(text, &mut |glyph| step(glyph, true)) {
            return pen.at(0.0, size);
        }
        let (placed, measure) = self.set(text, &self.runs(text, size.style));
        let beyond = measure.width - placed.iter().map(|glyph| glyph.advance).sum::<f64>();
        for glyph in placed {
            let fitted = self.faces[usize::from(glyph.face)].grid().fits(glyph.glyph.into());
            step(glyph, fitted);
        }
        pen.at(beyond, size)
    }

    /// Measures one line.
    ///
    /// # Errors
    /// The first character no face can set.
    pub fn measure(&self, text: &str, style: Style) -> Result<Measure, MissingGlyph> {
        if let Some(measure) = self.ascii(style).measure(text) {
            return Ok(measure);
        }
        let mut first = None;
        let runs = shape::runs(self, text, style, |_, missing| {
            first.get_or_insert(missing);
        });
        first.map_or_else(|| Ok(self.set(text, &runs).1), Err)
    }

    /// Sets the runs of a line. A mark or a swash that reaches far out of the line's advances widens
    /// the line, so that its box holds all of its ink.
    fn set(&self, text: &str, runs: &[Run]) -> (Vec<Placed>, Measure) {
        let (mut placed, mut total) = (Vec::with_capacity(text.len()), Measure::default());
        let (mut left, mut right) = (0.0_f64, 0.0_f64);
        for run in runs {
            let face = &self.faces[usize::from(run.face)];
            let font = face.font();
            shape::place(self, text, run, &mut |glyph| {
                if let Some(ink) = face.ink(&font, glyph.glyph.into()) {
                    let origin = total.width + glyph.right;
                    left = left.min(origin + ink.left);
                    right = right.max(origin + ink.right);
                    total.beside(ink.measure(glyph.up));
                }
                total.width += glyph.advance;
                placed.push(glyph);
            });
        }
        let beyond = |ink: f64| if ink > OVERHANG { ink } else { 0.0 };
        let (before, after) = (beyond(-left), beyond(right - total.width));
        placed.iter_mut().for_each(|glyph| glyph.right += before);
        total.width += before + after;
        (placed, total)
    }

    /// The text with a question mark for each cluster no face can set.
    pub fn shown<'t>(&self, text: &'t str, style: Style) -> Cow<'t, str> {
        if self.ascii(style).measure(text).is_some() {
            return Cow::Borrowed(text);
        }
        let mut gaps = Vec::new();
        shape::runs(self, text, style, |at, _| gaps.push(at));
        if gaps.is_empty() {
            return Cow::Borrowed(text);
        }
        let clusters = text.grapheme_indices(true);
        Cow::Owned(clusters.map(|(at, cluster)| if gaps.contains(&at) { "?" } else { cluster }).collect())
    }
}

#[cfg(test)]
mod letters;
#[cfg(test)]
mod tests;
