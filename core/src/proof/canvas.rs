//! A small grey canvas: rectangles, 1-bit pictures and text, written as PNG.

use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::{Fonts, Pen, Size, Style};

/// Black.
pub(super) const BLACK: u8 = 0;
/// Paper of the page around the tape.
pub(super) const PAGE: u8 = 226;
/// Blank tape.
pub(super) const TAPE: u8 = 255;
/// Bars beside the tape.
pub(super) const GREY: u8 = 150;

/// 8-bit grey pixels, row 0 at the top.
pub(super) struct Canvas<'f> {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
    pen: Pen<'f>,
    fonts: &'f Fonts,
}

impl<'f> Canvas<'f> {
    pub(super) fn new(width: usize, height: usize, fonts: &'f Fonts) -> Self {
        Self { width, height, pixels: vec![PAGE; width * height], pen: Pen::new(fonts), fonts }
    }

    /// Fills a rectangle; what lies outside is left out.
    pub(super) fn fill(&mut self, x: usize, y: usize, width: usize, height: usize, grey: u8) {
        let (left, right) = (x.min(self.width), (x + width).min(self.width));
        for row in y.min(self.height)..(y + height).min(self.height) {
            self.pixels[row * self.width + left..row * self.width + right].fill(grey);
        }
    }

    /// Draws lines `lines` of a bitmap, each dot a box of `scale` pixels, its top row at `y`.
    pub(super) fn dots(
        &mut self,
        from: &Bitmap,
        lines: std::ops::Range<usize>,
        (x, y): (usize, usize),
        scale: (usize, usize),
    ) {
        for (nth, line) in lines.enumerate() {
            for dot in (0..from.dots()).filter(|&dot| from.get(line, dot)) {
                let top = y + (from.dots() - 1 - dot) * scale.1;
                self.fill(x + nth * scale.0, top, scale.0, scale.1, BLACK);
            }
        }
    }

    /// Writes text with its baseline on row `y`, `cap` pixels high, no wider than `room`; its width.
    ///
    /// Text that does not fit is shortened with an ellipsis; where nothing fits, nothing is written.
    pub(super) fn text(&mut self, text: &str, (x, y): (usize, usize), cap: usize, room: usize) -> usize {
        let mut text: String = text
            .chars()
            .map(|c| if self.fonts.measure(c.encode_utf8(&mut [0; 4]), Style::Normal).is_ok() { c } else { '?' })
            .collect();
        let width = |text: &str| self.width_of(text, cap);
        if width(&text) > room {
            while !text.is_empty() && width(&format!("{text}…")) > room {
                text.pop();
            }
            if text.is_empty() {
                return 0;
            }
            text.push('…');
        }
        let wide = width(&text);
        let mut ink = Bitmap::new(cap * 2, wide + 2);
        let size = Size { style: Style::Normal, cap: i64::try_from(cap).unwrap_or(7), ratio_milli: 1000 };
        let below = cap / 2;
        self.pen.draw(&text, size, &mut ink, (0, i64::try_from(below).unwrap_or(0)));
        let top = (y + below + 1).saturating_sub(ink.dots());
        self.dots(&ink, 0..ink.lines(), (x, top), (1, 1));
        wide
    }

    /// Width of text at a cap height, in pixels.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "picture sizes"
    )]
    pub(super) fn width_of(&self, text: &str, cap: usize) -> usize {
        let measure = self.fonts.measure(text, Style::Normal).unwrap_or_default();
        (measure.width * cap as f64).ceil() as usize
    }

    /// The picture as PNG with its pixel density, so that it opens and prints at true size.
    pub(super) fn png(&self, pixels_per_metre: (u32, u32)) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let bug = |error: png::EncodingError| Error::bug(format!("PNG: {error}"));
        let size =
            |length: usize| u32::try_from(length).map_err(|_| Error::limit("a picture wider than can be written"));
        let mut encoder = png::Encoder::new(&mut bytes, size(self.width)?, size(self.height)?);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Fast);
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: pixels_per_metre.0,
            yppu: pixels_per_metre.1,
            unit: png::Unit::Meter,
        }));
        let mut writer = encoder.write_header().map_err(bug)?;
        writer.write_image_data(&self.pixels).map_err(bug)?;
        writer.finish().map_err(bug)?;
        Ok(bytes)
    }
}
