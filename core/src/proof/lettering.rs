//! Text in documents: runs of glyphs of a job's faces, for a PDF.

use crate::error::{Error, Result};
use crate::font::{Fonts, Style};
use krilla::geom::Point;
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use std::cell::RefCell;
use std::collections::HashMap;

/// The faces a document is lettered in: those its labels are set in. Sizes are ems of the plain
/// face; every face is scaled to the same cap height.
pub(super) struct Lettering<'f> {
    fonts: &'f Fonts,
    /// Faces the document has used so far.
    used: RefCell<HashMap<u8, Font>>,
}

impl<'f> Lettering<'f> {
    pub(super) fn new(fonts: &'f Fonts) -> Self {
        Self { fonts, used: RefCell::default() }
    }

    fn font(&self, face: u8) -> Result<Font> {
        if let Some(font) = self.used.borrow().get(&face) {
            return Ok(font.clone());
        }
        let (bytes, index) = self.fonts.file(face).ok_or_else(|| Error::bug(format!("no face {face}")))?;
        let font = Font::new(bytes.to_vec().into(), index)
            .ok_or_else(|| Error::input(format!("font {face} of the job cannot be put into a PDF")))?;
        self.used.borrow_mut().insert(face, font.clone());
        Ok(font)
    }

    /// Cap height of a size, in points.
    #[allow(clippy::cast_possible_truncation, reason = "points on a page")]
    fn cap(&self, size: f32) -> f32 {
        self.fonts.cap_of_em(0) as f32 * size
    }

    /// Width of text in points.
    #[allow(clippy::cast_possible_truncation, reason = "points on a page")]
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        let measure = self.fonts.measure(&self.fonts.shown(text, Style::Normal), Style::Normal);
        measure.map_or(0.0, |measure| measure.width as f32) * self.cap(size)
    }

    /// Writes text with its baseline at a point, in the surface's fill. What no face has is a
    /// question mark.
    ///
    /// # Errors
    /// Kind `Input`: a font of the user's that a PDF cannot hold.
    #[allow(clippy::cast_possible_truncation, reason = "points on a page")]
    pub(super) fn write(&self, surface: &mut Surface<'_>, text: &str, x: f32, y: f32, size: f32) -> Result<()> {
        let shown = self.fonts.shown(text, Style::Normal);
        let mut at = x;
        for run in self.fonts.runs(&shown, Style::Normal) {
            let placed = self.fonts.place_run(&shown, &run);
            let mut starts: Vec<usize> = placed.iter().map(|glyph| glyph.at).collect();
            starts.push(run.range.end);
            starts.sort_unstable();
            let in_ems = self.fonts.cap_of_em(run.face);
            let em = |caps: f64| (caps * in_ems) as f32;
            let glyphs: Vec<KrillaGlyph> = placed
                .iter()
                .map(|glyph| {
                    let end = starts[starts.partition_point(|&start| start <= glyph.at)];
                    let of_text = glyph.at - run.range.start..end - run.range.start;
                    let (advance, right, up) = (em(glyph.advance), em(glyph.right), em(glyph.up));
                    KrillaGlyph::new(GlyphId::new(glyph.glyph), advance, right, up, 0.0, of_text, None)
                })
                .collect();
            let own_size = self.cap(size) / in_ems as f32;
            let font = self.font(run.face)?;
            surface.draw_glyphs(Point::from_xy(at, y), &glyphs, font, &shown[run.range], own_size, false);
            at += placed.iter().map(|glyph| glyph.advance as f32).sum::<f32>() * self.cap(size);
        }
        Ok(())
    }

    /// Text broken into lines no wider than `room` points; see [`super::broken`].
    pub(super) fn broken(&self, text: &str, size: f32, room: f32) -> Vec<String> {
        super::broken(text, |line| self.width(line, size) <= room)
    }

    /// Text, or as much of its beginning as fits into `room` points with an ellipsis.
    pub(super) fn shortened(&self, text: &str, size: f32, room: f32) -> String {
        let mut short = text.to_owned();
        while self.width(&short, size) > room {
            short.truncate(short.trim_end_matches('…').trim_end().len());
            if short.pop().is_none() {
                break;
            }
            short.push('…');
        }
        short
    }
}
