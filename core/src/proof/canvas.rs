//! A small grey canvas: rectangles, 1-bit pictures and text, written as PNG.

use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::{Fonts, Pen, Size, Style};

/// Black.
pub(super) const BLACK: u8 = 0;
/// Paper of the page around the tape.
pub(super) const PAGE: u8 = 228;
/// Blank tape.
pub(super) const TAPE: u8 = 255;
/// Bars beside the tape: dark enough to be told from the page in dim light.
pub(super) const GREY: u8 = 90;

/// Words are drawn this many times finer than pixels and averaged, so that small ones stay legible.
const FINE: usize = 3;

/// Width of text at a cap height, both in pixels. What no face has is a question mark.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "picture sizes"
)]
pub(super) fn width_of(fonts: &Fonts, text: &str, cap: usize) -> usize {
    let measure = fonts.measure(&fonts.shown(text, Style::Normal), Style::Normal).unwrap_or_default();
    (measure.width * cap as f64).ceil() as usize
}

/// Text broken at blanks into lines no wider than `room` pixels, a word wider than that anywhere.
/// Nothing of the text is lost; only a single character may be wider.
pub(super) fn broken(fonts: &Fonts, text: &str, cap: usize, room: usize) -> Vec<String> {
    super::broken(text, |line| width_of(fonts, line, cap) <= room)
}

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

    pub(super) const fn fonts(&self) -> &'f Fonts {
        self.fonts
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

    /// Writes text with its baseline on row `y`, `cap` pixels high; what it takes along the row.
    ///
    /// What lies outside the picture is left out: break the text first.
    pub(super) fn text(&mut self, text: &str, (x, y): (usize, usize), cap: usize) -> usize {
        let text = self.fonts.shown(text, Style::Normal);
        let wide = width_of(self.fonts, &text, cap);
        let below = cap / 2;
        let (columns, rows) = (wide + 2, cap * 2);
        let mut ink = Bitmap::new(rows * FINE, columns * FINE);
        let whole = |pixels: usize| i64::try_from(pixels * FINE).unwrap_or(i64::MAX);
        let size = Size { style: Style::Normal, cap: whole(cap), ratio_milli: 1000 };
        self.pen.draw(&text, size, &mut ink, (0, whole(below)));
        let top = (y + below + 1).saturating_sub(rows);
        for row in 0..rows {
            for column in 0..columns {
                let dots = (0..FINE * FINE)
                    .filter(|nth| ink.get(column * FINE + nth / FINE, (rows - 1 - row) * FINE + nth % FINE))
                    .count();
                if dots > 0 {
                    self.darken(x + column, top + row, dots);
                }
            }
        }
        wide
    }

    /// Inks a pixel by `dots` of the finer dots it holds.
    #[allow(clippy::cast_possible_truncation, reason = "a share of 255")]
    fn darken(&mut self, x: usize, y: usize, dots: usize) {
        if x < self.width && y < self.height {
            let pixel = &mut self.pixels[y * self.width + x];
            *pixel -= (usize::from(*pixel) * dots / (FINE * FINE)) as u8;
        }
    }

    /// Fills polygons by the even-odd rule, corners in pixels from the upper left; an edge darkens a
    /// pixel by the share of it that is covered.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "pixels of a picture and shares of 255"
    )]
    pub(super) fn shape(&mut self, polygons: &[Vec<(f64, f64)>], grey: u8) {
        /// Lines looked at in each row of pixels.
        const LINES: usize = 8;
        let corners = || polygons.iter().flatten().map(|corner| corner.1);
        let top = corners().fold(self.height as f64, f64::min).max(0.0) as usize;
        let bottom = (corners().fold(0.0, f64::max).max(0.0).ceil() as usize).min(self.height);
        if top >= bottom {
            return;
        }
        let lines = (bottom - top) * LINES;
        let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); lines];
        for polygon in polygons {
            for (nth, &from) in polygon.iter().enumerate() {
                let to = polygon[(nth + 1) % polygon.len()];
                let (high, low) = if from.1 <= to.1 { (from, to) } else { (to, from) };
                // Line n lies at top + (n + 1/2) / LINES.
                let place = |y: f64| (((y - top as f64) * LINES as f64 - 0.5).ceil().max(0.0) as usize).min(lines);
                for (line, crossing) in crossings.iter_mut().enumerate().take(place(low.1)).skip(place(high.1)) {
                    let y = top as f64 + (line as f64 + 0.5) / LINES as f64;
                    crossing.push(high.0 + (low.0 - high.0) * (y - high.1) / (low.1 - high.1));
                }
            }
        }
        let columns = || polygons.iter().flatten().map(|corner| corner.0);
        let first = columns().fold(self.width as f64, f64::min).max(0.0) as usize;
        let last = (columns().fold(0.0, f64::max).max(0.0).ceil() as usize).min(self.width);
        // Of every column: what is covered of it alone, and by how much more of it and all after it.
        let mut share = vec![(0.0_f64, 0.0_f64); self.width + 1];
        for (row, group) in crossings.chunks_mut(LINES).enumerate() {
            share[first..=last.max(first)].fill((0.0, 0.0));
            for line in group.iter_mut() {
                line.sort_by(f64::total_cmp);
                for span in line.chunks_exact(2) {
                    let (left, right) = (span[0].max(0.0), span[1].min(self.width as f64));
                    if left >= right {
                        continue;
                    }
                    let (from, to) = (left as usize, right as usize);
                    if from == to {
                        share[from].0 += right - left;
                    } else {
                        share[from].0 += (from + 1) as f64 - left;
                        share[to].0 += right - to as f64;
                        share[from + 1].1 += 1.0;
                        share[to].1 -= 1.0;
                    }
                }
            }
            let pixels = &mut self.pixels[(top + row) * self.width..(top + row + 1) * self.width];
            let mut whole = 0.0;
            for x in first..last {
                let (part, more) = share[x];
                whole += more;
                let covered = ((whole + part) / LINES as f64).min(1.0);
                if covered > 0.0 {
                    let old = f64::from(pixels[x]);
                    pixels[x] = (old + (f64::from(grey) - old) * covered + 0.5) as u8;
                }
            }
        }
    }

    /// A filled triangle as high as wide, pointing right or up.
    pub(super) fn arrow(&mut self, (x, y): (usize, usize), size: usize, up: bool) {
        for nth in 0..size {
            // From its point to its back it grows by one pixel each two.
            let (long, inset) = ((nth | 1).min(size), (size - (nth | 1).min(size)) / 2);
            if up {
                self.fill(x + inset, y + nth, long, 1, BLACK);
            } else {
                self.fill(x + size - 1 - nth, y + inset, 1, long, BLACK);
            }
        }
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
        encoder.add_text_chunk("Software".to_owned(), "tapewright".to_owned()).map_err(bug)?;
        let mut writer = encoder.write_header().map_err(bug)?;
        writer.write_image_data(&self.pixels).map_err(bug)?;
        writer.finish().map_err(bug)?;
        Ok(bytes)
    }
}
