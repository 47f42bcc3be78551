//! Self-laminating wraps: a printed zone, then a clear tail that goes on round and covers it.

use super::fit::{Caps, TextBox};
use super::panel::Space;
use super::{Grid, Layout, Misfit, MisfitKind, Request, Turn, arc, middle, room_along, whole_millimetres};
use crate::cable::Diameter;
use crate::code::{Facing, RoundAxis};
use crate::font::Fonts;
use crate::media::{Form, WrapAxis};
use crate::unit::{Dots, Micrometres};
use std::f64::consts::PI;

/// The clear tail a wrap needs: the rest of the turn and then all of the print, `π(D + 2t) + o`.
pub(super) fn tail(diameter: Micrometres, thickness: Micrometres, overlap: Micrometres) -> Micrometres {
    (diameter + thickness * 2).scaled(PI) + overlap
}

/// The cables a wrap of fixed zone `printed` and tail `clear` fits: least and greatest diameter.
///
/// Below the least, print would cover print; above the greatest, the tail does not cover it all.
pub(super) fn range(
    printed: Micrometres,
    clear: Micrometres,
    thickness: Micrometres,
    overlap: Micrometres,
) -> (Micrometres, Micrometres) {
    (printed.scaled(1.0 / PI), (clear - overlap).scaled(1.0 / PI) - thickness * 2)
}

/// Blank between print and the edges of a printed zone that ends at the tape's edge: rolls wander
/// by half a millimetre or so (common practice, no source).
const INSET: Micrometres = Micrometres(750);

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    let Form::Wrap { axis, overlap } = request.stock.form else { return Err(request.wrong_form("wrap")) };
    let diameter = request.needs_diameter()?;
    match axis {
        WrapAxis::Across => across(request, grid, fonts, diameter, overlap),
        WrapAxis::Along => along(request, grid, fonts, diameter, overlap),
    }
}

/// The tape's width goes round the cable: zone and tail are given, the length follows the text.
fn across(
    request: &Request<'_>,
    grid: Grid,
    fonts: &Fonts,
    diameter: &Diameter,
    overlap: Micrometres,
) -> Result<Layout, Misfit> {
    let (stock, design) = (request.stock, request.design);
    let clear = stock.width - stock.zone_from_edge - stock.zone;
    let (least, greatest) = range(stock.zone, clear, stock.thickness, overlap);
    if diameter.low < least || diameter.high > greatest {
        let found = if diameter.low == diameter.high {
            diameter.low.to_string()
        } else {
            format!("{} to {}", diameter.low, diameter.high)
        };
        return Err(Misfit {
            kind: MisfitKind::Diameter,
            field: "od",
            found,
            wanted: format!("{least} to {greatest} for {}", stock.id),
        });
    }
    let room = room_along(design, grid.along);
    let inside = grid.zone - grid.across.dots_covering(INSET) * 2;
    let zone = TextBox { width: Some(room), height: inside, along: grid.along, up: grid.across, letters: 1.0 };
    let facing = grid.across.dots_within(diameter.low.scaled(arc::READABLE));
    let mut panel = arc::readable(request, fonts, on(diameter, zone), facing, Caps::of(design))?;
    let margin = grid.along.dots_covering(design.margin);
    let length = (panel.width + margin * 2).max(grid.along.dots_covering(design.least_length));
    let length = whole_millimetres(grid.along, length);
    // As many copies as the zone holds, so that one faces the reader sooner.
    let gap = Dots((panel.text.cap.0 / 2).max(2));
    let copies = ((inside + gap).0 / (panel.height + gap).0).max(1);
    panel.fill(length - margin * 2, panel.height);
    let used = panel.height * copies + gap * (copies - 1);
    let line = middle(length, panel.width);
    let copies =
        (0..copies).map(|copy| (Turn::Along, line, middle(grid.zone, used) + (panel.height + gap) * copy)).collect();
    let cap = grid.across.length(panel.text.cap);
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along: length,
        folds: Vec::new(),
        notes: std::mem::take(&mut panel.notes),
        cap,
        code: panel.code.take(),
        block: panel.into_block(copies),
    })
}

/// The tape's length goes round the cable: text reads across the tape, the tail is cut to fit.
fn along(
    request: &Request<'_>,
    grid: Grid,
    fonts: &Fonts,
    diameter: &Diameter,
    overlap: Micrometres,
) -> Result<Layout, Misfit> {
    let (stock, design) = (request.stock, request.design);
    let margin = grid.along.dots_covering(design.margin);
    // Print must not cover print on the thinnest cable of the range.
    let most = grid.along.dots_within(diameter.low.scaled(PI)) - margin * 2;
    let stack = TextBox { width: Some(grid.zone), height: most, along: grid.across, up: grid.along, letters: 1.0 };
    let facing = grid.along.dots_within(diameter.low.scaled(arc::READABLE));
    let mut panel = arc::readable(request, fonts, on(diameter, stack), facing, Caps::of(design))?;
    panel.fill(grid.zone, panel.height);
    let printed = panel.height + margin * 2;
    let clear = grid.along.dots_covering(tail(diameter.high, stock.thickness, overlap));
    let length = whole_millimetres(grid.along, printed + clear);
    let cap = grid.along.length(panel.text.cap);
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along: length,
        folds: Vec::new(),
        notes: std::mem::take(&mut panel.notes),
        cap,
        code: panel.code.take(),
        block: {
            let place = (Turn::Up, margin, middle(grid.zone, panel.width));
            panel.into_block(vec![place])
        },
    })
}

/// The space of a wrap on its thinnest cable.
fn on(diameter: &Diameter, text: TextBox) -> Space {
    Space { facing: Facing::Round { diameter: diameter.low, axis: RoundAxis::Up }, ..Space::flat(text) }
}
