//! One glyph to 1-bit ink at a size.

use super::face::Face;
use super::outline::Outline;
use super::{grid, scan};
use skrifa::GlyphId;

/// A glyph at one size.
pub(super) struct Glyph {
    /// Its ink, and where that goes against the pen on the baseline.
    pub(super) ink: scan::Ink,
    /// Whether its strokes were fitted to the dots.
    pub(super) fitted: bool,
}

/// Parts of a dot, of 4096, that must be covered for it to be inked: half of it, and 56 in a hundred
/// where strokes are fitted to cover whole dots, for there curves and slants would come out heavier
/// than they are. Measured with tesseract on 300 identifiers each at 11 to 20 fitted dots: a half is
/// read with 0.8 wrong letters in a hundred more.
const fn enough(cap: i64) -> i64 {
    if cap < grid::LOOSE { 2300 } else { 2048 }
}

/// The same for what is drawn as designed.
const HALF: i64 = 2048;

/// Draws a glyph whose capitals are `cap` dots high; `ratio_milli` is dots of a length along the
/// text over dots of the same length up it, in thousandths.
///
/// Upright stems are whole dots wide and alike, and letters end at whole dots; the advance is as
/// [`super::whole_dots`] rounds it. Scripts of other strokes are drawn as designed.
pub(super) fn render(face: &Face, glyph: u32, cap: i64, ratio_milli: i64) -> Glyph {
    let glyph = GlyphId::new(glyph);
    let font = face.font();
    let outline = Outline::of(&font, glyph);
    let fitted = face.grid().fits(glyph);
    let ink = if fitted {
        scan::convert(&face.grid().fitted(&outline, grid::advance(&font, glyph), cap, ratio_milli), enough(cap))
    } else {
        scan::convert(&face.grid().plain(&outline, cap, ratio_milli), HALF)
    };
    Glyph { ink, fitted }
}
