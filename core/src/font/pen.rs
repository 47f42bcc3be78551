//! Draws lines of text; keeps every glyph it has drawn, once a size.

use super::glyph::{Glyph, render};
use super::{COUNT, FIRST, Fonts, Style};
use crate::bitmap::Bitmap;
use std::collections::HashMap;

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
