//! A small drawing in millimetres: filled shapes and short words, to pixels or to a page.

use super::canvas::Canvas;
use super::lettering::Lettering;
use crate::error::{Error, Result};
use krilla::color::luma;
use krilla::geom::PathBuilder;
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;

/// Millimetres to the right and down.
pub(super) type Point = (f64, f64);

/// Closed polygons filled together by the even-odd rule.
pub(super) struct Shape {
    pub(super) polygons: Vec<Vec<Point>>,
    /// 0 is black, 255 white.
    pub(super) grey: u8,
}

/// Words with the middle of their baseline at a point.
pub(super) struct Label {
    pub(super) text: String,
    pub(super) at: Point,
}

/// Shapes in the order they are painted, then words over them.
#[derive(Default)]
pub(super) struct Scene {
    pub(super) shapes: Vec<Shape>,
    pub(super) labels: Vec<Label>,
}

/// Left, top, right and bottom.
#[derive(Clone, Copy)]
pub(super) struct Bounds {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Bounds {
    pub(super) const fn width(self) -> f64 {
        self.right - self.left
    }

    pub(super) const fn height(self) -> f64 {
        self.bottom - self.top
    }
}

impl Scene {
    /// Paints polygons.
    pub(super) fn fill(&mut self, polygons: Vec<Vec<Point>>, grey: u8) {
        self.shapes.push(Shape { polygons, grey });
    }

    /// Paints a box between two corners.
    pub(super) fn area(&mut self, (left, top): Point, (right, bottom): Point, grey: u8) {
        self.fill(vec![vec![(left, top), (right, top), (right, bottom), (left, bottom)]], grey);
    }

    /// Paints a straight line of some thickness.
    pub(super) fn line(&mut self, from: Point, to: Point, thick: f64, grey: u8) {
        let (along, down) = (to.0 - from.0, to.1 - from.1);
        let long = (along * along + down * down).sqrt();
        if long > 0.0 {
            let (x, y) = (-down / long * thick / 2.0, along / long * thick / 2.0);
            let corners =
                vec![(from.0 + x, from.1 + y), (to.0 + x, to.1 + y), (to.0 - x, to.1 - y), (from.0 - x, from.1 - y)];
            self.fill(vec![corners], grey);
        }
    }

    /// Paints a line of dashes as long as the blanks between them.
    pub(super) fn dashes(&mut self, from: Point, to: Point, thick: f64, grey: u8) {
        const DASH: f64 = 0.8;
        let (along, down) = (to.0 - from.0, to.1 - from.1);
        let long = (along * along + down * down).sqrt();
        let mut at = 0.0;
        while at < long {
            let place = |at: f64| (from.0 + along * at / long, from.1 + down * at / long);
            self.line(place(at), place((at + DASH).min(long)), thick, grey);
            at += 2.0 * DASH;
        }
    }

    /// Paints the edges of a box, inside it.
    pub(super) fn outline(&mut self, (left, top): Point, (right, bottom): Point, thick: f64, grey: u8) {
        self.area((left, top), (right, top + thick), grey);
        self.area((left, bottom - thick), (right, bottom), grey);
        self.area((left, top), (left + thick, bottom), grey);
        self.area((right - thick, top), (right, bottom), grey);
    }

    /// Writes words, the middle of their baseline at a point.
    pub(super) fn write(&mut self, text: &str, at: Point) {
        self.labels.push(Label { text: text.to_owned(), at });
    }

    /// Takes in another drawing, moved.
    pub(super) fn place(&mut self, other: Self, (right, down): Point) {
        let moved = |(x, y): Point| (x + right, y + down);
        for Shape { polygons, grey } in other.shapes {
            let polygons = polygons.into_iter().map(|polygon| polygon.into_iter().map(moved).collect()).collect();
            self.shapes.push(Shape { polygons, grey });
        }
        self.labels.extend(other.labels.into_iter().map(|label| Label { at: moved(label.at), ..label }));
    }

    /// What the shapes reach over; nothing for an empty drawing.
    pub(super) fn bounds(&self) -> Option<Bounds> {
        let mut corners = self.shapes.iter().flat_map(|shape| shape.polygons.iter().flatten());
        let &(x, y) = corners.next()?;
        let first = Bounds { left: x, top: y, right: x, bottom: y };
        Some(corners.fold(first, |bounds, &(x, y)| Bounds {
            left: bounds.left.min(x),
            top: bounds.top.min(y),
            right: bounds.right.max(x),
            bottom: bounds.bottom.max(y),
        }))
    }

    /// Draws it on a canvas, its origin at a pixel, words `cap` pixels high.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of a picture")]
    pub(super) fn paint(&self, canvas: &mut Canvas<'_>, origin: Point, pixels: f64, cap: usize) {
        for shape in &self.shapes {
            let place = |&(x, y): &Point| (origin.0 + x * pixels, origin.1 + y * pixels);
            let polygons: Vec<Vec<Point>> = shape.polygons.iter().map(|one| one.iter().map(place).collect()).collect();
            canvas.shape(&polygons, shape.grey);
        }
        for label in &self.labels {
            let half = super::canvas::width_of(canvas.fonts(), &label.text, cap) / 2;
            let x = ((origin.0 + label.at.0 * pixels) as usize).saturating_sub(half);
            canvas.text(&label.text, (x, (origin.1 + label.at.1 * pixels) as usize), cap);
        }
    }

    /// Draws it on a page: its origin at a point, so many points a millimetre, words of a size.
    ///
    /// # Errors
    /// Kind `Input`: a font of the user's that a PDF cannot hold.
    #[allow(clippy::cast_possible_truncation, reason = "points on a page")]
    pub(super) fn draw(
        &self,
        surface: &mut Surface<'_>,
        lettering: &Lettering<'_>,
        origin: (f32, f32),
        points: f32,
        size: f32,
    ) -> Result<()> {
        let place = |(x, y): Point| (origin.0 + x as f32 * points, origin.1 + y as f32 * points);
        for shape in &self.shapes {
            paint_polygons(
                surface,
                shape.polygons.iter().map(|polygon| polygon.iter().map(|&at| place(at))),
                shape.grey,
            )?;
        }
        surface.set_fill(Some(ink(0)));
        for label in &self.labels {
            let (x, y) = place(label.at);
            lettering.write(surface, &label.text, x - lettering.width(&label.text, size) / 2.0, y, size)?;
        }
        Ok(())
    }
}

/// A grey to fill with, 0 is black.
pub(super) fn ink(grey: u8) -> Fill {
    Fill { paint: luma::Color::new(grey).into(), opacity: NormalizedF32::ONE, rule: FillRule::EvenOdd }
}

/// Fills polygons, in points; none is no error.
pub(super) fn paint_polygons<P: IntoIterator<Item = (f32, f32)>>(
    surface: &mut Surface<'_>,
    polygons: impl IntoIterator<Item = P>,
    grey: u8,
) -> Result<()> {
    let mut path = PathBuilder::new();
    let mut empty = true;
    for polygon in polygons {
        let mut corners = polygon.into_iter();
        if let Some((x, y)) = corners.next() {
            path.move_to(x, y);
            corners.for_each(|(x, y)| path.line_to(x, y));
            path.close();
            empty = false;
        }
    }
    if empty {
        return Ok(());
    }
    surface.set_stroke(None);
    surface.set_fill(Some(ink(grey)));
    surface.draw_path(&path.finish().ok_or_else(|| Error::bug("PDF: an empty path"))?);
    Ok(())
}
