//! Boxes to 1-bit rows: a laid-out label drawn into a bitmap.

use crate::bitmap::Bitmap;
use crate::font::{Pen, Size};
use crate::layout::{Fitted, Layout, Turn};
use crate::unit::Dots;

/// Draws labels; keeps its pen's glyphs and its scratch memory between them.
pub struct Raster<'f> {
    pen: Pen<'f>,
}

/// A printed guide for scissors: one head line, dashed, over the printable zone.
pub fn snip_guide(dots: usize) -> Bitmap {
    let mut guide = Bitmap::new(dots, 1);
    for dot in (0..dots).filter(|dot| dot % 6 < 3) {
        guide.set(0, dot);
    }
    guide
}

fn size(dots: Dots) -> usize {
    usize::try_from(dots.0).unwrap_or(0)
}

impl<'f> Raster<'f> {
    /// A raster that draws with this pen.
    pub fn new(pen: Pen<'f>) -> Self {
        Self { pen }
    }

    /// Draws a label: `layout.along` lines of `layout.across` dots, mirrored across the tape if asked.
    ///
    /// Whatever was in `to` is gone; its memory is kept.
    pub fn draw(&mut self, layout: &Layout, mirrored: bool, to: &mut Bitmap) {
        to.reset(size(layout.across), size(layout.along));
        let text = &layout.block.text;
        let mut drawn: Option<(Dots, Dots)> = None;
        let mut turned: Option<Bitmap> = None;
        for &(turn, line, dot) in &layout.block.copies {
            match (turn, drawn) {
                (Turn::Along, Some((first, same)))
                    if same == dot && (first + text.width <= line || line + text.width <= first) =>
                {
                    copy_face(to, first, line, text.width);
                }
                (Turn::Along, _) => {
                    self.write(text, to, line, dot);
                    drawn = Some((line, dot));
                }
                (Turn::Up | Turn::Down, _) => {
                    let up = turned.get_or_insert_with(|| {
                        let mut block = Bitmap::new(size(text.height), size(text.width));
                        self.write(text, &mut block, Dots::ZERO, Dots::ZERO);
                        block.quarter_turned()
                    });
                    if turn == Turn::Up {
                        to.blit(up, line.0, dot.0);
                    } else {
                        to.blit(&up.turned(), line.0, dot.0);
                    }
                }
            }
        }
        if mirrored {
            to.mirror();
        }
    }

    fn write(&mut self, text: &Fitted, to: &mut Bitmap, line: Dots, dot: Dots) {
        for row in &text.lines {
            let size = Size { style: text.style, cap: text.cap.0, ratio_milli: text.ratio_milli };
            self.pen.draw(&row.text, size, to, ((line + row.left).0, (dot + row.baseline).0));
        }
    }
}

/// Copies the whole lines of a face that has been drawn; ink of a glyph that reaches out of its
/// advance is rare and at most a dot, and falls into the margin, so one line more is taken each side.
fn copy_face(to: &mut Bitmap, first: Dots, line: Dots, width: Dots) {
    let (first, line, width) = (size(first), size(line), size(width));
    let before = usize::from(first > 0 && line > 0 && first.abs_diff(line) > width + 2);
    let after = usize::from(first.max(line) + width < to.lines() && first.abs_diff(line) > width + 2);
    to.copy_lines(first - before, line - before, width + before + after);
}
