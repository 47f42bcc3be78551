//! Bands: plain tape wound on itself, the text repeated so that a whole copy faces every side.

use super::fit::{Caps, Fitted, TextBox, fit};
use super::{Block, Grid, Layout, Misfit, MisfitKind, Request, Turn, middle, small_note, whole_millimetres};
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
    let design = request.design;
    let round = grid.along.dots_within(diameter.low.scaled(PI));
    let mut worst = None;
    for (window, note) in WINDOWS {
        let window = grid.along.dots_within(diameter.low.scaled(window));
        // From wherever one looks, a window sees a whole copy if it holds one copy and one pitch;
        // between copies stay half a cap height or more, so that they read as copies.
        let blank = grid.along.dots_covering(design.least_cap());
        let most = Dots((window - blank).0 / 2);
        let parallel = TextBox { width: Some(grid.zone), height: most, along: grid.across, up: grid.along };
        let around = TextBox { width: Some(most), height: grid.zone, along: grid.along, up: grid.across };
        let caps = Caps::of(design);
        let best = [(Turn::Up, parallel, grid.along), (Turn::Along, around, grid.across)].map(|(turn, space, up)| {
            fit(fonts, request.lines, space, caps).map(|text| (turn, up.length(text.cap), text))
        });
        let (turn, cap, text) = match best {
            [Ok(a), Ok(b)] => {
                if b.1 > a.1 {
                    b
                } else {
                    a
                }
            }
            [Ok(a), Err(_)] | [Err(_), Ok(a)] => a,
            [Err(misfit), Err(_)] => {
                if misfit.kind == MisfitKind::Glyph {
                    return Err(misfit);
                }
                worst = Some(misfit);
                continue;
            }
        };
        return Ok(place(request, grid, Facing { turn, cap, text, window, round, note }));
    }
    Err(worst.unwrap_or_else(|| request.wrong_form("tape")))
}

/// A text that fits its window, and the circle it is repeated on.
struct Facing<'a> {
    turn: Turn,
    cap: Micrometres,
    text: Fitted,
    window: Dots,
    round: Dots,
    note: Option<&'a str>,
}

fn place(request: &Request<'_>, grid: Grid, facing: Facing<'_>) -> Layout {
    let Facing { turn, cap, text, window, round, note } = facing;
    let (along, across) = if turn == Turn::Along { (text.width, text.height) } else { (text.height, text.width) };
    let total = request.diameter.map_or(Micrometres::ZERO, |diameter| {
        length(diameter.typical, diameter.high, request.design.band_turns_percent)
    });
    let total = whole_millimetres(grid.along, grid.along.dots_covering(total));
    // Copies at an even pitch once round, so that the last and the first are as far apart as the rest.
    let copies = (round.0 + (window - along).0 - 1) / (window - along).0.max(1);
    let dot = middle(grid.zone, across);
    // The band's first turn is covered where its end overlaps: print from there outwards, so that
    // the copies lie on the outside. They end at the band's end.
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
        notes: note.map(str::to_owned).into_iter().chain(small_note(cap, request.design)).collect(),
        cap,
        block: Block { text, copies },
    }
}
