//! Boxes to 1-bit rows: a laid-out label drawn into a bitmap.

use crate::bitmap::Bitmap;
use crate::font::{Pen, Size};
use crate::layout::{Area, Block, Layout, Turn};
use crate::mark;
use crate::unit::Dots;

/// Draws labels; keeps its pen's glyphs and its scratch memory between them.
pub struct Raster<'f> {
    pen: Pen<'f>,
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
        let block = &layout.block;
        let mut drawn: Option<(Dots, Dots)> = None;
        let mut turned: Option<Bitmap> = None;
        let differs = block.inks.iter().any(|ink| ink.behind.is_some());
        for (nth, &(turn, line, dot)) in block.copies.iter().enumerate() {
            let behind = differs && nth > 0;
            if behind {
                (drawn, turned) = (None, None);
            }
            match (turn, drawn) {
                (Turn::Along, Some((first, same)))
                    if same == dot && (first + block.width <= line || line + block.width <= first) =>
                {
                    copy_face(to, first, line, block.width);
                }
                (Turn::Along, _) => {
                    self.write(block, behind, to, line, dot);
                    drawn = Some((line, dot));
                }
                (Turn::Up | Turn::Down, _) => {
                    let up = turned.get_or_insert_with(|| {
                        let mut face = Bitmap::new(size(block.height), size(block.width));
                        self.write(block, behind, &mut face, Dots::ZERO, Dots::ZERO);
                        face.quarter_turned()
                    });
                    if turn == Turn::Up {
                        to.blit(up, line.0, dot.0);
                    } else {
                        to.blit(&up.turned(), line.0, dot.0);
                    }
                }
            }
        }
        for fold in &layout.folds {
            to.blit(&mark::fold_guide(size(layout.across)), fold.0, 0);
        }
        if mirrored {
            to.mirror();
        }
    }

    /// Draws a block with its lower left corner at (`line`, `dot`), as it is or as it shows `behind`.
    fn write(&mut self, block: &Block, behind: bool, to: &mut Bitmap, line: Dots, dot: Dots) {
        let text = &block.text;
        let (left, bottom) = (line + block.text_at.0, dot + block.text_at.1);
        for row in &text.lines {
            let size = Size { style: text.style, cap: text.cap.0, ratio_milli: text.ratio_milli };
            self.pen.draw(&row.text, size, to, ((left + row.left).0, (bottom + row.baseline).0));
        }
        for ink in &block.inks {
            let bits = ink.behind.as_ref().filter(|_| behind).unwrap_or(&ink.bits);
            to.blit(bits, (line + ink.left).0, (dot + ink.bottom).0);
        }
        let area = |area: &Area| mark::Area {
            line: size(line + area.left),
            lines: size(area.width),
            dot: size(dot + area.bottom),
            dots: size(area.height),
        };
        for rule in &block.rules {
            mark::rule(to, area(rule));
        }
        if let Some((along, up)) = block.frame {
            let whole = Area { left: Dots::ZERO, bottom: Dots::ZERO, width: block.width, height: block.height };
            mark::frame(to, area(&whole), size(along), size(up));
        }
        for field in &block.inverse {
            mark::inverse(to, area(field));
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

#[cfg(test)]
mod tests;
