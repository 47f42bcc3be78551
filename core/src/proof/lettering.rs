//! Text in documents: runs of glyphs of the embedded faces, for a PDF.

use crate::error::{Error, Result};
use crate::font::Fonts;
use ab_glyph::{Font as _, FontRef};
use krilla::geom::Point;
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};

struct Face {
    metrics: FontRef<'static>,
    font: Font,
    units: f32,
}

/// The faces a document is lettered in: the plain one, and one for what it lacks.
pub(super) struct Lettering {
    faces: Vec<Face>,
}

/// Characters of one face in a row.
struct Run {
    face: usize,
    text: String,
    glyphs: Vec<KrillaGlyph>,
    width: f32,
}

impl Lettering {
    pub(super) fn new() -> Result<Self> {
        let broken = || Error::bug("an embedded font cannot be read");
        let faces = Fonts::document_faces().into_iter().map(|data| {
            let metrics = FontRef::try_from_slice(data).map_err(|_| broken())?;
            let units = metrics.units_per_em().ok_or_else(broken)?;
            let font = Font::new(data.to_vec().into(), 0).ok_or_else(broken)?;
            Ok(Face { metrics, font, units })
        });
        Ok(Self { faces: faces.collect::<Result<_>>()? })
    }

    fn runs(&self, text: &str) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        for c in text.chars() {
            let has = |face: &Face| face.metrics.glyph_id(c).0 != 0;
            let (face, c) = match self.faces.iter().position(has) {
                Some(face) => (face, c),
                None => (0, '?'),
            };
            if runs.last().is_none_or(|run| run.face != face) {
                runs.push(Run { face, text: String::new(), glyphs: Vec::new(), width: 0.0 });
            }
            if let Some(run) = runs.last_mut() {
                let Face { metrics, units, .. } = &self.faces[face];
                let glyph = metrics.glyph_id(c);
                let advance = metrics.h_advance_unscaled(glyph) / units;
                let start = run.text.len();
                run.text.push(c);
                let range = start..run.text.len();
                run.glyphs.push(KrillaGlyph::new(
                    GlyphId::new(u32::from(glyph.0)),
                    advance,
                    0.0,
                    0.0,
                    0.0,
                    range,
                    None,
                ));
                run.width += advance;
            }
        }
        runs
    }

    /// Width of text in points.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        self.runs(text).iter().map(|run| run.width * size).sum()
    }

    /// Writes text with its baseline at a point, in the surface's fill.
    pub(super) fn write(&self, surface: &mut Surface<'_>, text: &str, x: f32, y: f32, size: f32) {
        let mut at = x;
        for run in self.runs(text) {
            let font = self.faces[run.face].font.clone();
            surface.draw_glyphs(Point::from_xy(at, y), &run.glyphs, font, &run.text, size, false);
            at += run.width * size;
        }
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
