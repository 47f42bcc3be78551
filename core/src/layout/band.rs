//! Bands: plain tape wound on itself, the text repeated so that a whole copy faces every side.

use super::fit::{Caps, TextBox};
use super::panel::{Panel, Space, arrange};
use super::{Grid, Layout, Misfit, MisfitKind, Request, Turn, middle, whole_millimetres};
use crate::code::{self, RoundAxis};
use crate::font::Fonts;
use crate::media::Form;
use crate::unit::{Dots, Micrometres};
use std::f64::consts::PI;

/// Length of a band: so many turns of `πD`, and never less than the thickest cable of the range and
/// 3 mm to hold on to itself.
pub(super) fn length(typical: Micrometres, high: Micrometres, turns_percent: i64) -> Micrometres {
    let turns = Micrometres(typical.scaled(PI).0 * turns_percent / 100);
    turns.max(high.scaled(PI) + Micrometres(3000))
}

/// Windows a whole copy must be seen in, as fractions of the diameter: the arc within ±45°, ±60°
/// and ±90° of straight on. The first that leaves legible text is taken.
const WINDOWS: [(f64, Option<&str>); 3] = [
    (PI / 4.0, None),
    (PI / 3.0, None),
    (PI / 2.0, Some("on this cable a whole copy of the text is seen only to the edge: turn the cable to read it")),
];

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    if request.stock.form != Form::Tape {
        return Err(request.wrong_form("tape"));
    }
    let diameter = request.needs_diameter()?;
    let round = grid.along.dots_within(diameter.low.scaled(PI));
    let mut worst = None;
    for (window, note) in WINDOWS {
        let window = grid.along.dots_within(diameter.low.scaled(window));
        let fewest = round.0 / window.0.max(1) + 1;
        // At an even pitch of half a window and more, copies and blanks share the window best.
        let mut best: Option<Facing<'_>> = None;
        for copies in fewest..=2 * fewest {
            for turn in [Turn::Up, Turn::Along] {
                match apart(request, grid, fonts, Ring { diameter: diameter.low, window, round, copies, turn, note }) {
                    Ok(facing) if best.as_ref().is_none_or(|best| facing.cap > best.cap) => best = Some(facing),
                    Ok(_) => {}
                    Err(misfit) if misfit.kind == MisfitKind::Glyph => return Err(misfit),
                    Err(misfit) => worst = Some(misfit),
                }
            }
        }
        if let Some(facing) = best {
            return Ok(place(request, grid, facing));
        }
    }
    Err(worst.unwrap_or_else(|| request.wrong_form("tape")))
}

/// So many copies in a window and round the cable, reading one way.
#[derive(Clone, Copy)]
struct Ring<'a> {
    diameter: Micrometres,
    window: Dots,
    round: Dots,
    copies: i64,
    turn: Turn,
    note: Option<&'a str>,
}

/// A panel that fits its window, and the circle it is repeated on.
struct Facing<'a> {
    ring: Ring<'a>,
    cap: Micrometres,
    panel: Panel,
}

/// The largest text at which copies stand at least one cap height apart and every window holds one.
///
/// From wherever one looks, a window sees a whole copy if it holds one copy and one pitch.
fn apart<'a>(request: &Request<'_>, grid: Grid, fonts: &Fonts, ring: Ring<'a>) -> Result<Facing<'a>, Misfit> {
    let Ring { diameter, window, round, copies, turn, .. } = ring;
    let up = if turn == Turn::Up { grid.along } else { grid.across };
    let (shortest, longest) = (round.0 / copies, (round.0 + copies - 1) / copies);
    let mut caps = Caps::of(request.design);
    let mut blank = request.design.least_cap();
    let mut tries = 0;
    loop {
        let most = Dots((window.0 - longest).min(shortest - grid.along.dots_covering(blank).0));
        let space = if turn == Turn::Up {
            TextBox { width: Some(grid.zone), height: most, along: grid.across, up: grid.along, letters: 1.0 }
        } else {
            TextBox { width: Some(most), height: grid.zone, along: grid.along, up: grid.across, letters: 1.0 }
        };
        let axis = if turn == Turn::Up { RoundAxis::Up } else { RoundAxis::Along };
        let facing = code::Facing::Round { diameter, axis };
        let best = arrange(request, fonts, Space { facing, ..Space::flat(space) }, caps).map(|panel| Facing {
            ring,
            cap: up.length(panel.text.cap),
            panel,
        });
        let Ok(facing) = &best else { return best };
        let along = if turn == Turn::Up { facing.panel.height } else { facing.panel.width };
        let gap = grid.along.length(Dots(shortest) - along);
        if gap >= facing.cap {
            return best;
        }
        // Halfway between the two: smaller capitals leave more blank and ask for less.
        tries += 1;
        if tries < 6 {
            blank = Micrometres((gap.0 + facing.cap.0 + 1) / 2);
        }
        caps.most = caps.most.min(if tries < 6 { facing.cap } else { gap });
    }
}

fn place(request: &Request<'_>, grid: Grid, facing: Facing<'_>) -> Layout {
    let Facing { ring: Ring { round, copies, turn, note, .. }, cap, mut panel } = facing;
    let (width, height) = (panel.width, panel.height);
    let (along, across) = if turn == Turn::Along { (width, height) } else { (height, width) };
    let total = request.diameter.map_or(Micrometres::ZERO, |diameter| {
        length(diameter.typical, diameter.high, request.design.band_turns_percent)
    });
    let total = whole_millimetres(grid.along, grid.along.dots_covering(total));
    let dot = middle(grid.zone, across);
    // The band's first turn is covered where its end overlaps: print from there outwards, so that
    // the copies lie on the outside. They end at the band's end.
    // At an even pitch, so that the last and the first are as far apart as the rest.
    let start = (total - round).max(Dots::ZERO);
    let copies = (0..copies)
        .map(|copy| {
            let centre = start.0 + round.0 * (2 * copy + 1) / (2 * copies);
            (turn, Dots(centre - along.0 / 2), dot)
        })
        .collect();
    Layout {
        build: request.build,
        across: grid.zone,
        along: total,
        folds: Vec::new(),
        notes: note.map(str::to_owned).into_iter().chain(std::mem::take(&mut panel.notes)).collect(),
        cap,
        code: panel.code.take(),
        block: panel.into_block(copies),
    }
}
