//! Logos and pictures: pixels and vector drawings to 1-bit ink at device resolution.
//!
//! A [`Picture`] is read once and drawn for each size; the caller keeps what was drawn. Reading takes
//! PNG and JPEG as grey on white, and SVG as outlines; white and transparent margins are trimmed.
//! Drawing averages areas exactly, in whole numbers, with separate resolutions along and across the
//! tape. An SVG is drawn at eight times the dots each way, so it is as sharp as the dots allow.
//!
//! # Invariants
//! From the grey picture on everything is whole numbers: the same bits on any machine. Nothing here
//! opens a file, and a picture cannot make it.

mod detail;
mod drawing;
mod line;
mod pixels;
mod plane;
mod tone;

pub use detail::{Detail, Part};
pub use tone::Tone;

use crate::bitmap::Bitmap;
use crate::error::{Doing, Error, Result};
use crate::unit::{Dots, Dpi};
use drawing::{Drawing, blank};
use plane::{Plane, Span, identity, sums};
use std::borrow::Cow;
use tone::{LIGHT, LINE_ART, Levels, diffused, levels, ordered};

/// The largest file: 32 MiB. A logo has kilobytes; a photograph of 30 megapixels about 10 MiB.
const MOST_BYTES: usize = 32 << 20;

/// The largest SVG: 4 MiB, many times that of a detailed logo.
const MOST_SVG_BYTES: usize = 4 << 20;

/// Pixels for each dot and direction while drawing: enough that an edge is placed to an eighth of a dot.
const FINE: usize = 8;

/// The most pixels of such a grid, 64 MB while an SVG is drawn; larger boxes get fewer for each dot.
const MOST_FINE: usize = 16 << 20;

/// The longest side of a box in dots; what is asked for beyond is cut to it.
const MOST_DOTS: i64 = 4096;

/// A picture that was read, its margins trimmed. Cheap to keep: a byte a pixel, or the outlines.
#[derive(Clone, Debug)]
pub struct Picture {
    source: Source,
    levels: Levels,
}

#[derive(Clone, Debug)]
enum Source {
    Pixels(Plane),
    Drawing(std::boxed::Box<Drawing>),
}

/// The room for a picture, and the resolutions of the head.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Box {
    /// Room along the text; without it the picture is as wide as its height wants.
    pub width: Option<Dots>,
    /// Room across the text.
    pub height: Dots,
    /// Resolution along.
    pub along: Dpi,
    /// Resolution across.
    pub up: Dpi,
}

/// A picture in ink.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawn {
    /// Lines are its columns left to right, dot 0 is its bottom row.
    pub ink: Bitmap,
    /// What was too fine for the dots; only line art and thresholds can say.
    pub lost: Option<Detail>,
}

impl Picture {
    /// Reads a PNG, a JPEG or an SVG. `name` is for the messages; the bytes decide what it is.
    ///
    /// # Errors
    /// Kind `Input`, naming the file, what was found and what was wanted:
    /// - it is no PNG, JPEG or SVG, or does not decode;
    /// - it has more than 32 MiB (SVG: 4 MiB), 30 megapixels or 16,384 pixels a side;
    /// - an SVG holds text, pictures, references to other files, or more than 100,000 elements;
    /// - it is white or transparent all over.
    pub fn read(name: &str, bytes: &[u8]) -> Result<Self> {
        Self::decode(bytes).doing(|| name.to_owned())
    }

    fn decode(bytes: &[u8]) -> Result<Self> {
        bounded(bytes, MOST_BYTES)?;
        let pixels = match kind(bytes) {
            Found::Png => pixels::png(bytes)?,
            Found::Jpeg => pixels::jpeg(bytes)?,
            Found::Svg => {
                bounded(bytes, MOST_SVG_BYTES)?;
                let (drawing, tones) = Drawing::read(bytes)?;
                let source = Source::Drawing(std::boxed::Box::new(drawing));
                return Ok(Self { source, levels: levels(&tones) });
            }
            Found::Other(what) => {
                return Err(Error::input(format!("found {what}, wanted a picture as PNG, JPEG or SVG")));
            }
        };
        let trimmed = pixels.part(pixels.inked().ok_or_else(blank)?);
        let levels = levels(&trimmed.histogram());
        Ok(Self { source: Source::Pixels(trimmed), levels })
    }

    /// Width by height, without margins.
    #[allow(clippy::cast_precision_loss, reason = "sizes are far below 2^53")]
    pub fn aspect(&self) -> f64 {
        match &self.source {
            Source::Pixels(plane) => plane.width as f64 / plane.height as f64,
            Source::Drawing(drawing) => drawing.width / drawing.height,
        }
    }

    /// Whether it has two tones only, or nearly, or is an SVG without gradients and filters: what
    /// [`Tone::Auto`] draws as lines.
    pub fn is_line_art(&self) -> bool {
        match &self.source {
            Source::Pixels(_) => self.levels.parted >= LINE_ART,
            Source::Drawing(drawing) => !drawing.shaded,
        }
    }

    /// The size it will have in a box: (along, across). As large as fits, its shape kept to half a
    /// dot; at least one dot, at most 4096 each way.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "clamped first")]
    pub fn size(&self, room: Box) -> (Dots, Dots) {
        let clamp = |dots: i64| dots.clamp(1, MOST_DOTS);
        let nearest = |dots: f64| clamp((dots.clamp(0.0, 1e6) + 0.5) as i64);
        let shape = self.aspect() * f64::from(room.along.milli()) / f64::from(room.up.milli());
        let height = clamp(room.height.0);
        let width = nearest(height as f64 * shape);
        match room.width.map(|most| clamp(most.0)) {
            Some(most) if most < width => (Dots(most), Dots(nearest(most as f64 / shape).min(height))),
            _ => (Dots(width), Dots(height)),
        }
    }

    /// Draws it as large as fits in a box; see [`Picture::size`].
    pub fn draw(&self, room: Box, tone: Tone) -> Drawn {
        let (along, up) = self.size(room);
        let (width, height) = (count(along), count(up));
        let whole = (Span::whole(width), Span::whole(height));
        let (dots, lost) = match tone {
            Tone::Auto if self.is_line_art() => self.lines(room, width, height),
            Tone::Line => self.lines(room, width, height),
            Tone::Threshold(level) => {
                let fine = self.fine(width, height);
                let (sums, weight) = sums(self.exact(&fine), whole.0, whole.1, &identity(), 255);
                let dots: Vec<bool> = sums.into_iter().map(|sum| sum < weight * u64::from(level)).collect();
                let mut coverage = [0; 256];
                coverage[..usize::from(level)].fill(255);
                let lost = detail::lost(&fine.mapped(&coverage), &dots, whole.0, whole.1, pitch(room));
                (dots, lost)
            }
            Tone::Ordered => (ordered(&self.light(width, height), width), None),
            Tone::Auto | Tone::Diffused => (diffused(&self.light(width, height), width), None),
        };
        let mut ink = Bitmap::new(height, width);
        for (at, _) in dots.iter().enumerate().filter(|(_, inked)| **inked) {
            ink.set(at % width, height - 1 - at / width);
        }
        Drawn { ink, lost }
    }

    fn lines(&self, room: Box, width: usize, height: usize) -> (Vec<bool>, Option<Detail>) {
        let coverage = self.fine(width, height).mapped(&self.levels.coverage());
        let (x, y) = line::fitted(&coverage, width, height);
        let dots = line::inked(&coverage, x, y);
        let lost = detail::lost(&coverage, &dots, x, y, pitch(room));
        (dots, lost)
    }

    /// The light of each dot, 0 to 65,535.
    fn light(&self, width: usize, height: usize) -> Vec<u32> {
        let whole = (Span::whole(width), Span::whole(height));
        let (sums, weight) = match &self.source {
            Source::Pixels(plane) => sums(plane, whole.0, whole.1, &LIGHT, 65_535),
            Source::Drawing(_) => sums(&self.fine(width, height), whole.0, whole.1, &LIGHT, 65_535),
        };
        let mean = |sum: u64| u32::try_from((2 * sum + weight) / (2 * weight)).unwrap_or(u32::MAX);
        sums.into_iter().map(mean).collect()
    }

    /// What means are taken of: the picture itself where it has pixels, not means of them.
    fn exact<'a>(&'a self, fine: &'a Plane) -> &'a Plane {
        match &self.source {
            Source::Pixels(plane) => plane,
            Source::Drawing(_) => fine,
        }
    }

    /// The grey picture on a grid of eight pixels a dot each way, or fewer where it has no more or
    /// where that would be too many.
    fn fine(&self, width: usize, height: usize) -> Cow<'_, Plane> {
        let mut fine = FINE;
        while fine > 1 && width * height * fine * fine > MOST_FINE {
            fine -= 1;
        }
        match &self.source {
            Source::Pixels(plane) => plane.reduced(width * fine, height * fine),
            // A map of that size can always be made.
            Source::Drawing(drawing) => {
                let drawn = drawing.draw(width * fine, height * fine);
                Cow::Owned(drawn.unwrap_or_else(|_| Plane { width: 1, height: 1, tones: vec![255] }))
            }
        }
    }
}

/// Micrometres of a dot: (along, up).
fn pitch(room: Box) -> (f64, f64) {
    (1000.0 / room.along.per_mm(), 1000.0 / room.up.per_mm())
}

fn count(dots: Dots) -> usize {
    usize::try_from(dots.0).unwrap_or(1)
}

fn bounded(bytes: &[u8], most: usize) -> Result<()> {
    if bytes.len() > most {
        return Err(Error::input(format!(
            "found {} bytes, wanted at most {} MiB; save it smaller",
            bytes.len(),
            most >> 20
        )));
    }
    Ok(())
}

/// What a file is by its first bytes.
enum Found {
    Png,
    Jpeg,
    Svg,
    Other(&'static str),
}

/// Source of the first bytes: each format's own specification (PNG 5.2, JPEG B.1.1.3, RFC 1952
/// 2.3.1 for gzip); of the others from memory.
fn kind(bytes: &[u8]) -> Found {
    const SIGNS: [(&[u8], &str); 8] = [
        (b"\x1f\x8b", "a compressed file (SVGZ?); save it as plain SVG"),
        (b"GIF8", "a GIF"),
        (b"BM", "a BMP"),
        (b"RIFF", "a WebP"),
        (b"%PDF", "a PDF; export it as SVG"),
        (b"%!PS", "PostScript; export it as SVG"),
        (b"II*\0", "a TIFF"),
        (b"MM\0*", "a TIFF"),
    ];
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Found::Png;
    }
    if bytes.starts_with(b"\xff\xd8\xff") {
        return Found::Jpeg;
    }
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
    if text.starts_with(b"<") {
        return Found::Svg;
    }
    if bytes.is_empty() {
        return Found::Other("an empty file");
    }
    let known = SIGNS.iter().find(|(sign, _)| bytes.starts_with(sign));
    Found::Other(known.map_or("neither picture nor drawing", |(_, what)| what))
}

#[cfg(test)]
#[allow(clippy::cast_precision_loss, reason = "small numbers of tests")]
mod tests;
