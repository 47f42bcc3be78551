//! Outlines of glyphs as polygons in whole numbers.

use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};

/// Parts of a font unit. Font units are whole numbers, and the points a font implies halfway
/// between two others are halves: both are exact here.
pub(super) const UNIT: i64 = 64;

/// A point, in 1/64 font units until it is fitted to the dots; y is up.
pub(super) type Point = [i64; 2];

/// Closed polygons; the last point of each is joined to its first.
#[derive(Clone, Debug, Default)]
pub(super) struct Outline {
    pub(super) contours: Vec<Vec<Point>>,
}

/// Straight pieces a curve is cut into. A quarter of a circle drawn as two curves is then off by
/// 1/800 of its radius: a fifth of a dot on a letter of 300 dots.
const PIECES: i64 = 8;

impl Outline {
    /// The outline of a glyph without any fitting; empty for blanks.
    pub(super) fn of(font: &FontRef<'_>, glyph: GlyphId) -> Self {
        let mut outline = Self::default();
        if let Some(found) = font.outline_glyphs().get(glyph) {
            // An outline that cannot be read to its end is a font's fault: what was read is drawn.
            let _ = found.draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut outline);
        }
        outline.contours.retain(|contour| contour.len() > 2);
        outline
    }

    /// Least and greatest coordinate on an axis; `None` for a blank.
    pub(super) fn extent(&self, axis: usize) -> Option<(i64, i64)> {
        let all = || self.contours.iter().flatten().map(|point| point[axis]);
        Some((all().min()?, all().max()?))
    }

    /// Twice the area, positive where the contours turn to the left, in 1/4096 square font units.
    pub(super) fn area(&self) -> i64 {
        let cross = |(a, b): (&Point, &Point)| a[0] * b[1] - b[0] * a[1];
        self.contours.iter().map(|contour| sides(contour).map(cross).sum::<i64>()).sum()
    }

    fn last(&self) -> Point {
        self.contours.last().and_then(|contour| contour.last()).copied().unwrap_or_default()
    }

    fn push(&mut self, point: Point) {
        if let Some(contour) = self.contours.last_mut()
            && contour.last() != Some(&point)
        {
            contour.push(point);
        }
    }
}

/// The sides of a closed polygon.
pub(super) fn sides(contour: &[Point]) -> impl Iterator<Item = (&Point, &Point)> {
    contour.iter().zip(contour.iter().cycle().skip(1))
}

#[allow(clippy::cast_possible_truncation, reason = "font units are 16 bits wide")]
fn exact(x: f32, y: f32) -> Point {
    [x, y].map(|part| (part * UNIT as f32).round() as i64)
}

/// `a / b` rounded to the nearest whole number, halves upwards; `b` is positive.
pub(super) const fn rounded(a: i64, b: i64) -> i64 {
    (2 * a + b).div_euclid(2 * b)
}

impl OutlinePen for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.contours.push(vec![exact(x, y)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.push(exact(x, y));
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        let (from, middle, to) = (self.last(), exact(cx, cy), exact(x, y));
        for step in 1..=PIECES {
            let (t, u) = (step, PIECES - step);
            let at = |axis| u * u * from[axis] + 2 * t * u * middle[axis] + t * t * to[axis];
            self.push([0, 1].map(|axis| rounded(at(axis), PIECES * PIECES)));
        }
    }

    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let (from, a, b, to) = (self.last(), exact(ax, ay), exact(bx, by), exact(x, y));
        let pieces = 2 * PIECES;
        for step in 1..=pieces {
            let (t, u) = (step, pieces - step);
            let at = |axis: usize| {
                u * u * u * from[axis] + 3 * t * u * u * a[axis] + 3 * t * t * u * b[axis] + t * t * t * to[axis]
            };
            self.push([0, 1].map(|axis| rounded(at(axis), pieces * pieces * pieces)));
        }
    }

    fn close(&mut self) {
        if let Some(contour) = self.contours.last_mut()
            && contour.len() > 1
            && contour.last() == contour.first()
        {
            contour.pop();
        }
    }
}
