//! One face: the bytes of its file, its metrics in cap heights, and its shaper.

use super::Measure;
use super::fault::{Fault, look, tables};
use super::grid::Grid;
use harfrust::{ShapePlan, ShaperData, UnicodeBuffer};
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::DrawSettings;
use skrifa::outline::pen::ControlBoundsPen;
use skrifa::raw::TableProvider as _;
use skrifa::{FontRef, GlyphId, MetadataProvider, Tag};
use std::borrow::Cow;
use std::sync::{Arc, Mutex, OnceLock};

/// Least blank between words, in cap heights. Lettering practice asks for 3/7 (DIN lettering, as
/// told by a public typography page); labels set numbers beside lengths, and `301 5 m` must not read
/// as one number.
const WORD_GAP: f64 = 0.55;

/// Where a face has no capital to measure, its capitals would be so high. A guess: the middle of
/// common text faces.
const USUAL_CAP: f64 = 0.7;

pub(super) struct Face {
    data: Cow<'static, [u8]>,
    index: u32,
    /// Height of `H` in font units, measured; not every font states it.
    pub(super) cap: f64,
    /// Font units of an em.
    pub(super) units: f64,
    space: Option<GlyphId>,
    shaper: OnceLock<ShaperData>,
    grid: OnceLock<Grid>,
    /// Plans by script, direction and features; and a buffer no one is using.
    pub(super) plans: Mutex<Vec<Arc<ShapePlan>>>,
    pub(super) spare: Mutex<Option<UnicodeBuffer>>,
}

impl Face {
    /// Opens a face of a font file. `index` counts the faces of a collection; 0 for a plain file.
    pub(super) fn new(data: Cow<'static, [u8]>, index: u32) -> Result<Self, Fault> {
        let font = look(&data, index)?;
        tables(&font, &data)?;
        let metrics = font.metrics(Size::unscaled(), LocationRef::default());
        let units = f64::from(metrics.units_per_em);
        let charmap = font.charmap();
        let high = |c: char| charmap.map(c).and_then(|glyph| bounds(&font, glyph)).map(|ink| ink.high - ink.low);
        let stated = metrics.cap_height.map(f64::from);
        // A face of another script still has a height its letters are made for: alef stands as high
        // as a capital would.
        let cap = high('H').or(stated).or_else(|| high('א')).filter(|cap| *cap > 0.0).unwrap_or(units * USUAL_CAP);
        let space = charmap.map(' ');
        let (shaper, grid) = (OnceLock::new(), OnceLock::new());
        let (plans, spare) = (Mutex::default(), Mutex::default());
        Ok(Self { data, index, cap, units, space, shaper, grid, plans, spare })
    }

    /// The tables of the file.
    pub(super) fn font(&self) -> FontRef<'_> {
        FontRef::from_index(&self.data, self.index).expect("the face was opened before")
    }

    /// The bytes of the file, and which face of it this is.
    pub(super) fn file(&self) -> (&[u8], u32) {
        (&self.data, self.index)
    }

    pub(super) fn shaper(&self) -> &ShaperData {
        self.shaper.get_or_init(|| ShaperData::new(&self.font()))
    }

    /// How outlines are fitted to the dots.
    pub(super) fn grid(&self) -> &Grid {
        self.grid.get_or_init(|| Grid::of(&self.font(), self.cap))
    }

    /// `None` when the face lacks the character.
    pub(super) fn glyph(&self, c: char) -> Option<GlyphId> {
        self.font().charmap().map(c).filter(|glyph| glyph.to_u32() != 0)
    }

    /// Whether the face has a table that could move letters together.
    pub(super) fn kerns(&self) -> bool {
        let font = self.font();
        [b"GPOS", b"kern", b"kerx"].into_iter().any(|table| font.table_data(Tag::new(table)).is_some())
    }

    /// An advance of the shaper, in cap heights. A blank between words keeps its least width.
    pub(super) fn advance(&self, glyph: GlyphId, units: i32) -> f64 {
        let width = f64::from(units) / self.cap;
        // What has no ink, such as a joiner, is shaped as a blank without width.
        if Some(glyph) == self.space && units > 0 { width.max(WORD_GAP) } else { width }
    }

    /// The corners of a glyph's ink in cap heights from its origin; `None` for a blank.
    pub(super) fn ink(&self, font: &FontRef<'_>, glyph: GlyphId) -> Option<Ink> {
        let cap = |units: f64| units / self.cap;
        let Ink { left, low, right, high } = bounds(font, glyph)?;
        Some(Ink { left: cap(left), low: cap(low), right: cap(right), high: cap(high) })
    }
}

/// The corners of ink from the origin of its glyph, y up.
#[derive(Clone, Copy)]
pub(super) struct Ink {
    pub(super) left: f64,
    pub(super) low: f64,
    pub(super) right: f64,
    pub(super) high: f64,
}

impl Ink {
    /// What of it, raised by `up`, stands above the cap height and below the baseline; no width.
    pub(super) fn measure(&self, up: f64) -> Measure {
        Measure { width: 0.0, above: (self.high + up - 1.0).max(0.0), below: -(self.low + up).min(0.0) }
    }
}

/// The ink of a glyph in font units; `None` for a blank.
fn bounds(font: &FontRef<'_>, glyph: GlyphId) -> Option<Ink> {
    // A TrueType glyph says so in its first ten bytes; other outlines must be drawn.
    if let (Ok(loca), Ok(glyf), Err(_)) = (font.loca(None), font.glyf(), font.gvar()) {
        let glyph = loca.get_glyf(glyph, &glyf).ok()??;
        let [left, low] = [glyph.x_min(), glyph.y_min()].map(f64::from);
        let [right, high] = [glyph.x_max(), glyph.y_max()].map(f64::from);
        return Some(Ink { left, low, right, high });
    }
    let mut pen = ControlBoundsPen::new();
    let outline = font.outline_glyphs().get(glyph)?;
    outline.draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut pen).ok()?;
    let bounds = pen.bounding_box()?;
    let [left, low, right, high] = [bounds.x_min, bounds.y_min, bounds.x_max, bounds.y_max].map(f64::from);
    Some(Ink { left, low, right, high })
}
