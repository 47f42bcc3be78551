//! Flags on their cables: from the front, from behind, and end on, where the fold shows.

use super::round::{Round, circle};
use super::{APART, BELOW, EDGE, INK, LABEL, LINE, Lies, OnCable, SHEATH, Sizes, ink, whole};
use crate::layout::{Turn, neck};
use crate::proof::scene::Scene;
use crate::unit::Micrometres;

/// The views of a flag, and what they show.
pub(super) fn views(label: &OnCable<'_>, diameter: Micrometres) -> (Scene, String) {
    let sizes = Sizes::of(label);
    let along = label.printer.along;
    let around = whole(along.dots_covering(neck(diameter, label.stock.thickness)));
    let lines = label.bitmap.lines();
    let face = lines.saturating_sub(around) / 2;
    let hangs = label.layout.block.copies.first().is_some_and(|copy| copy.0 == Turn::Along);
    let thickness = label.stock.thickness.mm();
    let round = Round { radius: f64::midpoint(diameter.mm(), thickness) };
    let flag = Flag { sizes, lines, face, round, radius: diameter.mm() / 2.0 };
    let mut scene = Scene::default();
    let mut right = 0.0;
    let views = [
        (flag.side(label, hangs, false), "front: face 1"),
        (flag.side(label, hangs, true), "behind: face 2"),
        (flag.end_on(thickness, hangs), "end on: the fold"),
    ];
    let bottom = views.iter().filter_map(|(view, _)| view.bounds()).map(|bounds| bounds.bottom).fold(0.0, f64::max);
    let bottom = bottom.max(views.iter().flat_map(|view| &view.0.labels).map(|one| one.at.1).fold(0.0, f64::max));
    for (view, words) in views {
        let Some(bounds) = view.bounds() else { continue };
        let shift = right - bounds.left;
        scene.write(words, (shift + f64::midpoint(bounds.left, bounds.right), bottom + BELOW));
        right += bounds.width() + APART;
        scene.place(view, (shift, 0.0));
    }
    let words = format!(
        "flag on a cable of {diameter}: two faces of {:.1} mm back to back, {:.1} mm round the cable",
        flag.sizes.along(face),
        flag.sizes.along(lines - 2 * face)
    );
    (scene, words)
}

struct Flag {
    sizes: Sizes,
    lines: usize,
    /// Lines of one face.
    face: usize,
    /// Where the tape lies round the cable.
    round: Round,
    /// The cable's.
    radius: f64,
}

impl Flag {
    /// One side: the cable, the tape round it, and a face that stands out.
    fn side(&self, label: &OnCable<'_>, hangs: bool, behind: bool) -> Scene {
        let (sizes, round) = (&self.sizes, self.round);
        let mut scene = Scene::default();
        let lies = if hangs { Lies::Upright } else { Lies::Level };
        // The plug is below a cable that hangs; of a level one it is left from the front.
        lies.sheath(&mut scene, sizes.tape, self.radius, hangs || !behind);
        let long = sizes.along(self.face);
        // From the front a flag that hangs stands out to the left.
        let side = if hangs && !behind { -1.0 } else { 1.0 };
        let out = side * (round.radius + long);
        let edges = if side < 0.0 { (out, round.radius) } else { (-round.radius, out) };
        lies.area(&mut scene, (0.0, sizes.tape), edges, LABEL);
        let half = self.lines / 2;
        let (shown, neck) = if behind { (half..self.lines, self.lines - self.face) } else { (0..half, self.face) };
        let beside = |line: usize| {
            // From the neck outwards; on the neck below zero.
            let from_neck =
                if behind { sizes.along(line) - sizes.along(neck) } else { sizes.along(neck) - sizes.along(line) };
            if from_neck >= 0.0 {
                side * (round.radius + from_neck)
            } else {
                side * round.seen(round.quarter() + from_neck)
            }
        };
        // Across the tape: up a cable that hangs; along a level one as the face reads.
        let across = |dot: usize| if hangs || behind { sizes.across(dot) } else { sizes.tape - sizes.across(dot) };
        let place = |(line, dot): (usize, usize)| lies.at(across(dot), beside(line));
        scene.fill(ink(label.bitmap, shown, 0..label.bitmap.dots(), place), INK);
        lies.outline(&mut scene, (0.0, sizes.tape), edges);
        // Where the face leaves the cable.
        let at = side * round.radius;
        lies.area(&mut scene, (0.0, sizes.tape), (at, at + side * LINE / 2.0), EDGE);
        scene
    }

    /// Along the cable's axis: the tape goes round it and its ends meet. From a level cable they hang.
    fn end_on(&self, thickness: f64, hangs: bool) -> Scene {
        let mut scene = Scene::default();
        let middle = if hangs { (0.0, -self.sizes.tape / 2.0) } else { (0.0, 0.0) };
        // As thick as it is, but thick enough to be seen.
        let thick = thickness.max(0.3);
        let long = self.sizes.along(self.face);
        let start = self.radius * 0.9;
        for side in [-1.0, 1.0] {
            let (one, other) = (side * LINE / 4.0, side * thick);
            let (near, far) = (one.min(other), one.max(other));
            let end = self.radius + thick + long;
            if hangs {
                scene.area((start, middle.1 + near), (end, middle.1 + far), EDGE);
            } else {
                scene.area((near, start), (far, end), EDGE);
            }
        }
        scene.fill(vec![circle(middle, self.radius + thick)], EDGE);
        scene.fill(vec![circle(middle, self.radius)], SHEATH);
        scene
    }
}
