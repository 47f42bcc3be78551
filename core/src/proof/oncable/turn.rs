//! Labels that go round the cable: wraps, bands and sleeves, seen from the front.

use super::round::Round;
use super::{INK, LABEL, LINE, Lies, OnCable, Sizes, ink};
use crate::layout::{Turn, height_scale};
use crate::media::{Form, WrapAxis, sleeve_wall};
use crate::proof::scene::Scene;
use crate::unit::{Dots, Micrometres};
use std::ops::Range;

/// Clear tape over the sheath, and lines that tell it from the rest.
const FILM: u8 = 212;
const HATCH: u8 = 170;
/// The same lines over the print, so light that it stays black on white.
const HATCH_OVER: u8 = 226;
/// Where a tail or a band ends: never taken for ink.
const SEAM: u8 = 145;
/// From one line of the hatch to the next, millimetres along the cable.
const HATCH_PITCH: f64 = 3.0;

#[allow(clippy::cast_precision_loss, reason = "dots of a label")]
const fn mm(dots: Dots, each: f64) -> f64 {
    dots.0 as f64 * each
}

/// Which lines or dots lie on the side one sees.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "dots of a label")]
fn facing(centre: f64, reach: f64, first: f64, each: f64) -> Range<usize> {
    let at = |place: f64| ((place - first) / each).max(0.0);
    at(centre - reach).floor() as usize..at(centre + reach).ceil() as usize
}

/// A label's own direction round the cable.
struct Surface {
    sizes: Sizes,
    round: Round,
    lies: Lies,
    /// The tape's width goes round, else its length.
    width_round: bool,
    /// How much shorter it is round the cable and along it than as printed.
    scale: (f64, f64),
    /// What faces the reader, from the tape's edge or start.
    centre: f64,
}

impl Surface {
    /// Of the copy in the middle of the label.
    fn centre(label: &OnCable<'_>, sizes: &Sizes, width_round: bool) -> f64 {
        let block = &label.layout.block;
        let Some(&(turn, line, dot)) = block.copies.get(block.copies.len() / 2) else { return 0.0 };
        let (along, across) =
            if turn == Turn::Along { (block.width, block.height) } else { (block.height, block.width) };
        if width_round {
            sizes.first + mm(dot, sizes.dot) + mm(across, sizes.dot) / 2.0
        } else {
            mm(line, sizes.line) + mm(along, sizes.line) / 2.0
        }
    }

    /// Along the cable, from the label's edge to the other.
    fn long(&self) -> f64 {
        if self.width_round { self.sizes.long * self.scale.1 } else { self.sizes.tape }
    }

    /// Where a place round the cable is seen: downwards, or to the right on a cable that stands.
    fn beside(&self, place: f64) -> f64 {
        let arc = self.round.seen((place - self.centre) * self.scale.0);
        // Dots count upwards; the top of text across the tape is towards the first line.
        if self.width_round { -arc } else { arc }
    }

    /// Whether a place is on the side one sees.
    fn faces(&self, place: f64) -> bool {
        ((place - self.centre) * self.scale.0).abs() < self.round.quarter()
    }

    /// Paints the ink one sees; `shift` is where the tape's start lies.
    fn ink(&self, scene: &mut Scene, label: &OnCable<'_>, within: (f64, f64), shift: f64) {
        let sizes = &self.sizes;
        let reach = self.round.quarter() / self.scale.0;
        let (lines, dots) = if self.width_round {
            (0..label.bitmap.lines(), facing(self.centre, reach, sizes.first, sizes.dot))
        } else {
            (facing(self.centre - shift, reach, 0.0, sizes.line), 0..label.bitmap.dots())
        };
        let place = |(line, dot): (usize, usize)| {
            let (along, round) = if self.width_round {
                (sizes.along(line) * self.scale.1, sizes.across(dot))
            } else {
                (sizes.across(dot), sizes.along(line).clamp(within.0, within.1) + shift)
            };
            self.lies.at(along, self.beside(round))
        };
        scene.fill(ink(label.bitmap, lines, dots, place), INK);
    }

    /// Paints the label's own surface, all of the side one sees.
    fn area(&self, scene: &mut Scene, grey: u8) {
        let radius = self.round.radius;
        self.lies.area(scene, (0.0, self.long()), (-radius, radius), grey);
    }

    fn outline(&self, scene: &mut Scene) {
        let radius = self.round.radius;
        self.lies.outline(scene, (0.0, self.long()), (-radius, radius));
    }

    /// Slanted lines over a stretch beside the cable's axis.
    fn hatch(&self, scene: &mut Scene, beside: (f64, f64), grey: u8) {
        let (long, radius) = (self.long(), self.round.radius);
        // The ends of a line are square: they stay inside.
        let beside = (beside.0.max(LINE - radius), beside.1.min(radius - LINE));
        let mut start = -2.0 * radius;
        while start < long {
            // A line from (start, -radius) at 45°, cut to the label and the stretch.
            let from = beside.0.max(-radius - start.min(0.0));
            let to = beside.1.min(long - start - radius);
            if from < to {
                let at = |beside: f64| self.lies.at(start + beside + radius, beside);
                scene.line(at(from), at(to), LINE, grey);
            }
            start += HATCH_PITCH;
        }
    }
}

/// A self-laminating wrap: print, and the clear tail over it.
pub(super) fn wrap(label: &OnCable<'_>, diameter: Micrometres) -> (Scene, String) {
    let stock = label.stock;
    let sizes = Sizes::of(label);
    let width_round = matches!(stock.form, Form::Wrap { axis: WrapAxis::Across, .. });
    // From the tape's edge or start: the white zone, and where the tail ends.
    let (zone, end) = if width_round {
        let first = stock.zone_from_edge.mm();
        ((first, first + stock.zone.mm()), sizes.tape)
    } else {
        let block = &label.layout.block;
        let margin = block.copies.first().map_or(Dots::ZERO, |copy| copy.1);
        ((0.0, mm(margin * 2 + block.height, sizes.line)), sizes.long)
    };
    let round = Round { radius: (diameter + stock.thickness).mm() / 2.0 };
    let centre = Surface::centre(label, &sizes, width_round);
    let surface = Surface { sizes, round, lies: Lies::Level, width_round, scale: (1.0, 1.0), centre };
    let mut scene = Scene::default();
    surface.lies.sheath(&mut scene, surface.long(), diameter.mm() / 2.0, true);
    surface.area(&mut scene, FILM);
    surface.hatch(&mut scene, (-round.radius, round.radius), HATCH);
    let (one, other) = (surface.beside(zone.0), surface.beside(zone.1));
    let white = (one.min(other), one.max(other));
    surface.lies.area(&mut scene, (0.0, surface.long()), white, LABEL);
    surface.hatch(&mut scene, white, HATCH_OVER);
    surface.ink(&mut scene, label, (0.0, f64::MAX), 0.0);
    surface.outline(&mut scene);
    // Where the tail ends, if on this side.
    let turns = ((end - centre) / round.circumference() + 0.5).floor();
    let end = end - turns * round.circumference();
    let mut words =
        format!("wrap on a cable of {diameter}, from the front; the clear tail (hatched) lies over the print");
    if surface.faces(end) {
        let beside = surface.beside(end);
        scene.dashes(surface.lies.at(0.0, beside), surface.lies.at(surface.long(), beside), 2.0 * LINE, SEAM);
        words.push_str("; dashes: where it ends");
    }
    (scene, words)
}

/// A band: plain tape wound on itself.
pub(super) fn band(label: &OnCable<'_>, diameter: Micrometres) -> (Scene, String) {
    let sizes = Sizes::of(label);
    let round = Round { radius: (diameter + label.stock.thickness).mm() / 2.0 };
    let upright = label.layout.block.copies.first().is_some_and(|copy| copy.0 == Turn::Along);
    let lies = if upright { Lies::Upright } else { Lies::Level };
    let centre = Surface::centre(label, &sizes, false);
    let surface = Surface { sizes, round, lies, width_round: false, scale: (1.0, 1.0), centre };
    let mut scene = Scene::default();
    lies.sheath(&mut scene, surface.long(), diameter.mm() / 2.0, true);
    surface.area(&mut scene, LABEL);
    // The last turn lies outside; beside its end it shows again.
    let (turn, end) = (round.circumference(), surface.sizes.long);
    for shift in [-turn, 0.0, turn] {
        surface.ink(&mut scene, label, (end - turn, end), shift);
        if surface.faces(end + shift) {
            let beside = surface.beside(end + shift);
            lies.area(&mut scene, (0.0, surface.long()), (beside, beside + LINE), SEAM);
        }
    }
    surface.outline(&mut scene);
    let copies = label.layout.block.copies.len();
    (scene, format!("band on a cable of {diameter}, from the front; the text stands {copies} times round it"))
}

/// A sleeve after shrinking, and how wide it was before.
pub(super) fn sleeve(label: &OnCable<'_>, diameter: Micrometres) -> (Scene, String) {
    let Form::Sleeve(sleeve) = label.stock.form else { return super::plate(label, Some(diameter)) };
    let sizes = Sizes::of(label);
    let outer = |inside: Micrometres| inside + sleeve_wall(&sleeve, inside) * 2;
    let round = Round { radius: outer(diameter).mm() / 2.0 };
    let supplied = outer(sleeve.supplied).mm() / 2.0;
    #[allow(clippy::cast_precision_loss, reason = "thousandths of a length")]
    let along = 1.0 + sleeve.along_permille as f64 / 1000.0;
    let centre = Surface::centre(label, &sizes, true);
    let scale = (height_scale(&sleeve, diameter), along);
    let surface = Surface { sizes, round, lies: Lies::Level, width_round: true, scale, centre };
    let mut scene = Scene::default();
    surface.lies.sheath(&mut scene, surface.long(), diameter.mm() / 2.0, true);
    surface.area(&mut scene, LABEL);
    surface.ink(&mut scene, label, (0.0, f64::MAX), 0.0);
    surface.outline(&mut scene);
    for beside in [-supplied, supplied] {
        scene.dashes((0.0, beside), (surface.sizes.long, beside), LINE, 90);
    }
    let words = format!(
        "sleeve on a cable of {diameter} after shrinking: {:.1} mm outside; dashes: {:.1} mm before",
        2.0 * round.radius,
        2.0 * supplied
    );
    (scene, words)
}
