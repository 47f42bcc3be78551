//! One glyph to 1-bit ink at a size.

use super::face::Face;
use crate::bitmap::Bitmap;
use ab_glyph::{Font, GlyphId, PxScale};

/// A glyph at one size: ink, and where it goes against the pen on the baseline.
pub(super) struct Glyph {
    pub(super) ink: Bitmap,
    pub(super) left: i64,
    pub(super) bottom: i64,
}

/// One glyph: a dot is inked where the outline covers at least half of it.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "glyph bounds are small whole numbers")]
pub(super) fn render(face: &Face, glyph: GlyphId, cap: f64, ratio: f64) -> Glyph {
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
