//! Marks that are not text: frames, rules, arrows, guides, patterns that stand for a length.
//!
//! Every mark is made of whole dots, so its edges are crisp at any resolution. Boxes are given as
//! the bitmap counts: lines run along the tape, dots run up from the bottom edge.
//!
//! # Patterns and lengths
//! Stages often tell cable lengths apart by coloured tape. A tape printer has one colour, and no
//! standard says which colour means which length. So a pattern means what the user's table says,
//! and nothing else; the program brings no table of its own.

mod arrow;
mod pattern;

pub use arrow::{Direction, LEAST as LEAST_ARROW, arrow};
pub use pattern::Pattern;

use crate::bitmap::Bitmap;
use crate::unit::{Dots, Dpi, Micrometres};

/// A rectangle of a bitmap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Area {
    /// The first line.
    pub line: usize,
    /// How many lines.
    pub lines: usize,
    /// The lowest dot.
    pub dot: usize,
    /// How many dots.
    pub dots: usize,
}

impl Area {
    /// The whole of a bitmap.
    pub fn of(bitmap: &Bitmap) -> Self {
        Self { line: 0, lines: bitmap.lines(), dot: 0, dots: bitmap.dots() }
    }

    /// The same, smaller by so many lines at both ends and so many dots at both edges; empty if
    /// nothing is left.
    #[must_use]
    pub fn inside(self, lines: usize, dots: usize) -> Self {
        Self {
            line: self.line + lines,
            lines: self.lines.saturating_sub(2 * lines),
            dot: self.dot + dots,
            dots: self.dots.saturating_sub(2 * dots),
        }
    }
}

/// How thick frames and rules are: about 0.3 mm, at least 2 dots. One dot wide, a line across the
/// tape breaks where a heating element is worn (common practice, no source).
pub fn thickness(dpi: Dpi) -> usize {
    count(dpi.dots_nearest(Micrometres(300))).max(2)
}

/// The black that an inverse field needs around its text, so that white strokes at its border do
/// not close: as much as one stroke, at least 2 dots (common practice, no source).
pub fn inverse_margin(stroke: Dots) -> usize {
    count(stroke).max(2)
}

/// Draws a frame just inside an area: `lines` thick at its two ends, `dots` thick at its two edges
/// (see [`thickness`], once for each resolution). An area too small for a hole becomes solid.
pub fn frame(to: &mut Bitmap, area: Area, lines: usize, dots: usize) {
    let (lines, dots) = (lines.min(area.lines), dots.min(area.dots));
    to.fill(area.line, area.lines, area.dot, dots);
    to.fill(area.line, area.lines, area.dot + area.dots - dots, dots);
    to.fill(area.line, lines, area.dot, area.dots);
    to.fill(area.line + area.lines - lines, lines, area.dot, area.dots);
}

/// Draws a rule that parts what stands left and right of it: a solid bar, across the whole area.
pub fn rule(to: &mut Bitmap, area: Area) {
    to.fill(area.line, area.lines, area.dot, area.dots);
}

/// Turns ink to paper and paper to ink in an area: white text on black. The area must reach beyond
/// the text by [`inverse_margin`] on all sides. What lies outside the bitmap is left out.
pub fn inverse(to: &mut Bitmap, area: Area) {
    to.invert(area.line, area.lines, area.dot, area.dots);
}

/// A printed guide for scissors: one head line, dashed, over the printable zone.
pub fn snip_guide(dots: usize) -> Bitmap {
    let mut guide = Bitmap::new(dots, 1);
    for dot in (0..dots).filter(|dot| dot % 6 < 3) {
        guide.set(0, dot);
    }
    guide
}

/// A printed guide for folding: one head line, a tick at each edge of the printable zone and paper
/// between them, so that it is not taken for a guide to cut at. A tick is an eighth of the zone,
/// at least 3 dots.
pub fn fold_guide(dots: usize) -> Bitmap {
    let tick = (dots / 8).max(3);
    let mut guide = Bitmap::new(dots, 1);
    guide.fill(0, 1, 0, tick);
    guide.fill(0, 1, dots.saturating_sub(tick), tick);
    guide
}

fn count(dots: Dots) -> usize {
    usize::try_from(dots.0).unwrap_or(0)
}

#[cfg(test)]
mod tests;
