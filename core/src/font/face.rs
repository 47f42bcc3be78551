//! One face: its outlines and its metrics in cap heights.

use super::Measure;
use ab_glyph::{Font, FontRef, GlyphId};

pub(super) struct Face {
    pub(super) font: FontRef<'static>,
    /// Height of `H` in font units, measured; not every font states it.
    pub(super) cap: f32,
}

/// Least blank between words, in cap heights. Lettering practice asks for 3/7 (DIN lettering, as
/// told by a public typography page); labels set numbers beside lengths, and `301 5 m` must not read
/// as one number.
const WORD_GAP: f64 = 0.55;

impl Face {
    pub(super) fn new(data: &'static [u8]) -> Self {
        let font = FontRef::try_from_slice(data).expect("embedded fonts are whole");
        let cap = font.outline(font.glyph_id('H')).map_or(0.0, |outline| {
            // Outline bounds are y-down as rectangles go, but in font units: take the extent.
            (outline.bounds.max.y - outline.bounds.min.y).abs()
        });
        Self { font, cap }
    }

    /// `None` when the face lacks the character.
    pub(super) fn glyph(&self, c: char) -> Option<GlyphId> {
        let id = self.font.glyph_id(c);
        (id.0 != 0).then_some(id)
    }

    pub(super) fn measure(&self, glyph: GlyphId) -> Measure {
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
