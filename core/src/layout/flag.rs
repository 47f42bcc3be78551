//! Flags: two faces back to back, and a neck that goes round the cable.

use super::fit::{Caps, TextBox};
use super::panel::{Space, arrange};
use super::{Grid, Layout, Misfit, Request, Runs, Turn, middle, whole_millimetres};
use crate::font::Fonts;
use crate::media::Form;
use crate::unit::{Dots, Micrometres};
use std::f64::consts::PI;

/// Longest face of a flag: longer ones droop and tear at the neck (common practice, no source).
const LONGEST_FACE: Micrometres = Micrometres(80_000);

/// The neck of a flag: `π(D + t)`.
pub fn neck(diameter: Micrometres, thickness: Micrometres) -> Micrometres {
    (diameter + thickness).scaled(PI)
}

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    if request.stock.form != Form::Tape {
        return Err(request.wrong_form("tape"));
    }
    let diameter = request.needs_diameter()?;
    let design = request.design;
    let margin = grid.along.dots_covering(design.margin);
    let longest = grid.along.dots_within(LONGEST_FACE);
    let space = match design.flag_runs {
        Runs::Tape => TextBox {
            width: Some(longest - margin * 2),
            height: grid.zone,
            along: grid.along,
            up: grid.across,
            letters: 1.0,
        },
        Runs::Cable => TextBox {
            width: Some(grid.zone),
            height: longest - margin * 2,
            along: grid.across,
            up: grid.along,
            letters: 1.0,
        },
    };
    let mut panel = arrange(request, fonts, Space::flat(space), Caps::of(design))?;
    let along = if design.flag_runs == Runs::Tape { panel.width } else { panel.height };
    let face = whole_millimetres(grid.along, (along + margin * 2).max(grid.along.dots_covering(design.flag_face)));
    match design.flag_runs {
        Runs::Tape => panel.fill(face - margin * 2, grid.zone),
        Runs::Cable => panel.fill(grid.zone, face - margin * 2),
    }
    panel.is_seen_from_behind();
    // The panel as it lies on the tape: (lines along, dots across).
    let (along, across) = match design.flag_runs {
        Runs::Tape => (panel.width, panel.height),
        Runs::Cable => (panel.height, panel.width),
    };
    let neck = grid.along.dots_covering(neck(diameter.typical, request.stock.thickness));
    let dot = middle(grid.zone, across);
    let first = middle(face, along);
    // The second face is centred from its own outer end, so that odd dots fall alike on both.
    let second = face * 2 + neck - first - along;
    let (turn_1, turn_2) = match design.flag_runs {
        Runs::Tape => (Turn::Along, Turn::Along),
        // Both tops point at the neck, which is the upper edge of a flag that hangs.
        Runs::Cable => (Turn::Down, Turn::Up),
    };
    let cap = match design.flag_runs {
        Runs::Tape => grid.across.length(panel.text.cap),
        Runs::Cable => grid.along.length(panel.text.cap),
    };
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along: face * 2 + neck,
        // On the neck's side of both lines, so that the faces stay clear.
        folds: if request.parts.wish.marks.fold { vec![face, face + neck - Dots(1)] } else { Vec::new() },
        notes: std::mem::take(&mut panel.notes),
        cap,
        code: panel.code.take(),
        block: panel.into_block(vec![(turn_1, first, dot), (turn_2, second, dot)]),
    })
}
