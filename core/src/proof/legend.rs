//! What the marks of a strip's picture mean: only those that it has.

use super::canvas::{BLACK, Canvas, GREY, width_of};
use super::picture::Sizes;
use super::stretch::Waste;
use crate::font::Fonts;
use crate::strip::{Cut, Strip};
use crate::unit::Dots;
use std::ops::Range;

/// A mark beside the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    /// A cut of the cutter.
    Cut(Cut),
    /// A guide for scissors.
    Snip,
    Waste(Waste),
    /// The strip goes on in the next row.
    Fold,
}

/// The marks a strip needs, in the order explained, with their words.
pub(super) fn marks(strip: &Strip, rows: usize) -> Vec<(Mark, &'static str)> {
    let has = |cut| strip.cuts.iter().any(|&(_, kind)| kind == cut);
    let mut marks = Vec::new();
    if has(Cut::Half) {
        marks.push((Mark::Cut(Cut::Half), "half cut"));
    }
    if has(Cut::Full) {
        marks.push((Mark::Cut(Cut::Full), "full cut"));
    }
    if !strip.guides.is_empty() {
        marks.push((Mark::Snip, "cut by hand along the printed dashes"));
    }
    marks.extend(
        Waste::ALL.into_iter().filter(|kind| kind.of(strip) > Dots::ZERO).map(|kind| (Mark::Waste(kind), kind.name())),
    );
    if rows > 1 {
        marks.push((Mark::Fold, "goes on in the next row"));
    }
    marks
}

/// Marks with words set in lines no wider than `room` pixels: mark, words, column, line.
pub(super) fn set(
    fonts: &Fonts,
    marks: Vec<(Mark, &'static str)>,
    sizes: &Sizes,
    room: usize,
) -> Vec<(Mark, &'static str, usize, usize)> {
    let (mut x, mut line) = (0, 0);
    let mut set = Vec::new();
    for (mark, words) in marks {
        let wide = sizes.mark + sizes.gap + width_of(fonts, words, sizes.cap);
        if x > 0 && x + wide > room {
            (x, line) = (0, line + 1);
        }
        set.push((mark, words, x, line));
        x += wide + sizes.gap * 3;
    }
    set
}

/// Draws a cut of the cutter around column `x`, from row `y` down.
pub(super) fn cut(canvas: &mut Canvas<'_>, kind: Cut, x: usize, y: usize, height: usize, sizes: &Sizes) {
    match kind {
        Cut::Full => canvas.fill(x.saturating_sub(sizes.thick / 2), y, sizes.thick, height, BLACK),
        Cut::Half => {
            let step = (height / 3).max(2);
            for dash in (0..height).step_by(step) {
                let long = (step * 3 / 5).max(1).min(height - dash);
                canvas.fill(x.saturating_sub(sizes.thin / 2), y + dash, sizes.thin, long, BLACK);
            }
        }
    }
}

/// Draws the bar of a waste.
pub(super) fn bar(canvas: &mut Canvas<'_>, kind: Waste, columns: &Range<usize>, y: usize, sizes: &Sizes) {
    for dy in 0..sizes.bar {
        for x in columns.clone().filter(|&x| kind.dark(x, dy, sizes.pattern)) {
            canvas.fill(x, y + dy, 1, 1, GREY);
        }
    }
}

/// Draws a mark of the legend at the left of its words, which stand on baseline `y`.
pub(super) fn mark(canvas: &mut Canvas<'_>, mark: Mark, x: usize, y: usize, sizes: &Sizes) {
    let top = (y + 1).saturating_sub(sizes.cap);
    match mark {
        Mark::Cut(kind) => cut(canvas, kind, x + sizes.mark / 2, top, sizes.cap, sizes),
        Mark::Snip => canvas.arrow((x + sizes.mark / 2 - sizes.arrow / 2, top), sizes.arrow, true),
        Mark::Fold => canvas.arrow((x + sizes.mark / 2 - sizes.arrow / 2, top), sizes.arrow, false),
        Mark::Waste(kind) => bar(canvas, kind, &(x..x + sizes.mark), y + 1 - sizes.bar.min(y), sizes),
    }
}
