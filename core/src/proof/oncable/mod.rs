//! A label as it will sit on its cable: what one sees from the front, the fold of a flag, the clear
//! tail of a wrap, a sleeve after shrinking. In true proportions, from the label's own dots.

mod flag;
mod round;
mod turn;

use super::canvas::{Canvas, PAGE, broken, width_of};
use super::outline::{Corner, outlines};
use super::scene::{Bounds, Point, Scene};
use crate::bitmap::Bitmap;
use crate::error::Result;
use crate::font::Fonts;
use crate::layout::{Build, Layout, Turn};
use crate::media::{Printer, Stock};
use crate::unit::{Dots, Micrometres};
use std::ops::Range;

/// A label and the cable it sits on.
#[derive(Clone, Copy)]
pub struct OnCable<'a> {
    /// The printable zone as it reads (not mirrored).
    pub bitmap: &'a Bitmap,
    /// How it is laid out.
    pub layout: &'a Layout,
    /// The printer, for its resolutions.
    pub printer: &'a Printer,
    /// The stock, for width, thickness and tail.
    pub stock: &'a Stock,
    /// The cable's diameter; only a plate does without.
    pub diameter: Option<Micrometres>,
}

/// Which way the text lies on its cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// Parallel to the cable.
    Along,
    /// Across the cable: upright on a cable that hangs.
    Across,
}

impl Reads {
    /// Of a label; a plate lies flat and has no such way.
    pub fn of(layout: &Layout) -> Option<Self> {
        let turn = layout.block.copies.first()?.0;
        match (layout.build, turn) {
            (Build::Plate, _) => None,
            (Build::Flag | Build::Band, Turn::Along) => Some(Self::Across),
            _ => Some(Self::Along),
        }
    }
}

/// Greys of what is drawn, chosen to be told apart in dim light.
const SHEATH: u8 = 190;
const SHADE: u8 = 165;
const EDGE: u8 = 60;
const LABEL: u8 = 255;
const INK: u8 = 0;

/// Thickness of edges, millimetres.
const LINE: f64 = 0.15;
/// Cable shown beyond the label, millimetres.
const BEYOND: f64 = 9.0;
/// Between two views, millimetres.
const APART: f64 = 9.0;
/// Words stand so far below a view, millimetres.
const BELOW: f64 = 5.0;

/// The lengths of a label in millimetres.
struct Sizes {
    /// Of one dot.
    line: f64,
    dot: f64,
    /// From the tape's edge at the dot-0 side to dot 0.
    first: f64,
    /// Width of the tape.
    tape: f64,
    /// Length of the label along the tape.
    long: f64,
}

impl Sizes {
    fn of(label: &OnCable<'_>) -> Self {
        let zone = label.printer.zone(label.stock).map_or(Dots::ZERO, |(first, _)| first);
        let first = label.printer.across.length(zone - label.printer.stock_edge(label.stock));
        Self {
            line: 1.0 / label.printer.along.per_mm(),
            dot: 1.0 / label.printer.across.per_mm(),
            first: first.mm(),
            tape: label.stock.width.mm(),
            long: label.printer.along.length(label.layout.along).mm(),
        }
    }

    /// A line edge, from the label's start.
    #[allow(clippy::cast_precision_loss, reason = "dots of a label")]
    fn along(&self, line: usize) -> f64 {
        line as f64 * self.line
    }

    /// A dot edge, from the tape's edge.
    #[allow(clippy::cast_precision_loss, reason = "dots of a label")]
    fn across(&self, dot: usize) -> f64 {
        self.first + dot as f64 * self.dot
    }
}

/// A count of dots as bitmaps have them.
fn whole(dots: Dots) -> usize {
    usize::try_from(dots.0).unwrap_or(0)
}

/// The ink of a part of a label, every corner where `place` says.
fn ink(bitmap: &Bitmap, lines: Range<usize>, dots: Range<usize>, place: impl Fn(Corner) -> Point) -> Vec<Vec<Point>> {
    let lines = lines.start.min(bitmap.lines())..lines.end.min(bitmap.lines());
    let dots = dots.start.min(bitmap.dots())..dots.end.min(bitmap.dots());
    outlines(bitmap, &lines, &dots)
        .into_iter()
        .map(|polygon| polygon.into_iter().map(|(line, dot)| place((line + lines.start, dot + dots.start))).collect())
        .collect()
}

/// Which way a cable lies in a view.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Lies {
    /// From left to right.
    Level,
    /// From the bottom up.
    Upright,
}

impl Lies {
    /// A point along the cable (to the right, up) and beside it (down, to the right).
    const fn at(self, along: f64, beside: f64) -> Point {
        match self {
            Self::Level => (along, beside),
            Self::Upright => (beside, -along),
        }
    }

    /// Paints a box between two points along and beside the cable.
    fn area(self, scene: &mut Scene, along: (f64, f64), beside: (f64, f64), grey: u8) {
        let (from, to) = (self.at(along.0, beside.0), self.at(along.1, beside.1));
        scene.area((from.0.min(to.0), from.1.min(to.1)), (from.0.max(to.0), from.1.max(to.1)), grey);
    }

    /// Paints the edges of such a box.
    fn outline(self, scene: &mut Scene, along: (f64, f64), beside: (f64, f64)) {
        let (from, to) = (self.at(along.0, beside.0), self.at(along.1, beside.1));
        scene.outline((from.0.min(to.0), from.1.min(to.1)), (from.0.max(to.0), from.1.max(to.1)), LINE, EDGE);
    }

    /// A cable under a label from 0 to `long`, and which way its plug is.
    fn sheath(self, scene: &mut Scene, long: f64, radius: f64, plug_first: bool) {
        let along = (-BEYOND, long + BEYOND);
        self.area(scene, along, (-radius, radius), SHEATH);
        for side in [-1.0, 1.0] {
            self.area(scene, along, (side * radius * 0.8, side * radius), SHADE);
            self.area(scene, along, (side * radius, side * (radius + LINE)), EDGE);
        }
        // An arrow on the cable's way to its plug.
        let size = (radius * 0.8).clamp(0.8, 2.5);
        let (back, point) =
            if plug_first { (-BEYOND - 1.0, -BEYOND - 1.0 - size) } else { (along.1 + 1.0, along.1 + 1.0 + size) };
        scene.fill(vec![vec![self.at(point, 0.0), self.at(back, size * 0.7), self.at(back, -size * 0.7)]], EDGE);
        match self {
            Self::Level => scene.write("plug", self.at((back + point) / 2.0, radius.max(size * 0.7) + 3.2)),
            Self::Upright => scene.write("plug", self.at(point - 2.6, 0.0)),
        }
    }
}

/// Draws a label on its cable; and what it shows, in words.
fn drawn(label: &OnCable<'_>) -> (Scene, String) {
    let layout = label.layout;
    match (layout.build, label.diameter) {
        (Build::Flag, Some(diameter)) => flag::views(label, diameter),
        (Build::Wrap, Some(diameter)) => turn::wrap(label, diameter),
        (Build::Band, Some(diameter)) => turn::band(label, diameter),
        (Build::Sleeve, Some(diameter)) => turn::sleeve(label, diameter),
        (_, diameter) => plate(label, diameter),
    }
}

/// A flat label beside the cable it is tied to.
fn plate(label: &OnCable<'_>, diameter: Option<Micrometres>) -> (Scene, String) {
    const TIE: f64 = 9.0;
    let sizes = Sizes::of(label);
    let mut scene = Scene::default();
    let middle = sizes.tape / 2.0;
    if let Some(diameter) = diameter {
        let radius = diameter.mm() / 2.0;
        Lies::Upright.sheath(&mut scene, sizes.tape, radius, true);
        Lies::Upright.area(&mut scene, (middle - 1.0, middle + 1.0), (-radius - 0.5, radius + 0.5), EDGE);
        scene.line((radius, -middle), (radius + TIE, -middle), 0.6, EDGE);
    }
    let left = diameter.map_or(0.0, |diameter| diameter.mm() / 2.0 + TIE);
    scene.area((left, -sizes.tape), (left + sizes.long, 0.0), LABEL);
    let place = |(line, dot)| (left + sizes.along(line), -sizes.across(dot));
    scene.fill(ink(label.bitmap, 0..label.bitmap.lines(), 0..label.bitmap.dots(), place), INK);
    scene.outline((left, -sizes.tape), (left + sizes.long, 0.0), LINE, EDGE);
    let words = diameter.map_or_else(
        || "plate: lies flat; tie it or stick it on".to_owned(),
        |diameter| format!("plate, tied to a cable of {diameter}"),
    );
    (scene, words)
}

/// A drawing with room for its words.
pub(super) struct View {
    pub(super) scene: Scene,
    pub(super) bounds: Bounds,
    pub(super) words: String,
    /// Where such a label goes, in words.
    pub(super) place: String,
}

impl View {
    pub(super) fn of(label: &OnCable<'_>) -> Self {
        let (scene, words) = drawn(label);
        let mut bounds = scene.bounds().unwrap_or(Bounds { left: 0.0, top: 0.0, right: 1.0, bottom: 1.0 });
        // A word beside the drawing: about so wide.
        for label in &scene.labels {
            bounds.left = bounds.left.min(label.at.0 - 3.5);
            bounds.right = bounds.right.max(label.at.0 + 3.5);
        }
        Self { scene, bounds, words, place: String::new() }
    }
}

/// Pixels of a millimetre, where the picture does not get too large.
const DENSITY: f64 = 20.0;
/// Most pixels along an edge.
const MOST: f64 = 6000.0;

/// A PNG of a label on its cable, with its density, so that it opens and prints at true size.
///
/// Lengths round the cable are foreshortened as one sees them: `x = (D / 2) sin θ`, where D is the
/// diameter at which the print lies: the cable's and the tape's thickness; of a sleeve its outside
/// after shrinking. The cable is grey, the label white, ink black. Below it stand what is seen and a
/// bar of 10 mm.
///
/// # Errors
/// Kind `Bug`: the PNG library refuses what was drawn.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of a picture")]
#[allow(clippy::cast_precision_loss, reason = "pixels of a picture")]
pub fn on_cable_png(title: &str, label: &OnCable<'_>, fonts: &Fonts) -> Result<Vec<u8>> {
    const BAR: f64 = 10.0;
    let view = View::of(label);
    let longest = view.bounds.width().max(view.bounds.height()) + 20.0;
    let density = (MOST / longest).min(DENSITY);
    let pixels = |mm: f64| (mm * density) as usize;
    let (edge, cap, line) = (pixels(4.0), pixels(2.0), pixels(3.6));
    // Words under the views lie below the drawing.
    let under = view.scene.labels.iter().map(|one| one.at.1 + 1.0).fold(view.bounds.bottom, f64::max);
    let room = pixels(view.bounds.width()).max(pixels(70.0));
    let head = broken(fonts, title, cap, room);
    let foot = broken(fonts, &view.words, cap, room);
    let top = edge + head.len() * line + line / 2;
    let high = pixels(under - view.bounds.top);
    let bar = top + high + line / 2 + foot.len() * line;
    let words = "10 mm at true size";
    let wide = room.max(pixels(BAR + 2.0) + width_of(fonts, words, cap)) + 2 * edge;
    let mut canvas = Canvas::new(wide, bar + line + edge, fonts);
    for (nth, text) in head.iter().enumerate() {
        canvas.text(text, (edge, edge + nth * line + cap), cap);
    }
    let left = edge as f64 + (room as f64 - view.bounds.width() * density) / 2.0;
    let origin = (left - view.bounds.left * density, top as f64 - view.bounds.top * density);
    view.scene.paint(&mut canvas, origin, density, cap);
    for (nth, text) in foot.iter().enumerate() {
        canvas.text(text, (edge, top + high + line / 2 + nth * line + cap), cap);
    }
    let down = bar + line / 2;
    canvas.fill(edge, down, pixels(BAR), pixels(0.4), INK);
    for end in [0, pixels(BAR) - pixels(0.3)] {
        canvas.fill(edge + end, down - pixels(1.4), pixels(0.3), pixels(1.4), INK);
    }
    canvas.text(words, (edge + pixels(BAR + 2.0), down + pixels(0.4)), cap);
    let per_metre = (density * 1000.0) as u32;
    canvas.png((per_metre, per_metre))
}

/// Blank paper shows through where nothing is drawn.
const _: () = assert!(PAGE > SHEATH, "a cable is told from the page");

#[cfg(test)]
mod tests;
