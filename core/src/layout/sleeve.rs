//! Heat-shrink sleeves: must pass the plug, must grip the cable, and are read after shrinking.

use super::fit::{Caps, TextBox, fit};
use super::{Block, Grid, Layout, Misfit, MisfitKind, Request, Turn, middle, small_note, whole_millimetres};
use crate::cable::Plug;
use crate::font::Fonts;
use crate::media::{Form, Sleeve, sleeve_wall};
use crate::unit::Micrometres;

/// How much the height of text shrinks with the circumference when a sleeve closes on a cable:
/// `(OD + 2t) / (D + 2ts)`, the walls at constant volume.
pub(super) fn height_scale(sleeve: &Sleeve, cable: Micrometres) -> f64 {
    let outer = |inside: Micrometres| (inside + sleeve_wall(sleeve, inside) * 2).mm();
    outer(cable) / outer(sleeve.supplied)
}

/// The inside diameter a sleeve must be supplied with to pass something: its width and the slack.
pub(super) fn must_pass(sleeve: &Sleeve, widest: Micrometres) -> Micrometres {
    Micrometres((widest.0 * (100 + sleeve.slack_percent) + 99) / 100)
}

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    let Form::Sleeve(sleeve) = request.stock.form else { return Err(request.wrong_form("sleeve")) };
    let diameter = request.needs_diameter()?;
    let design = request.design;
    let mut notes = Vec::new();
    if let Plug::Fitted { name, widest } = request.plug
        && must_pass(&sleeve, *widest) > sleeve.supplied
    {
        return Err(Misfit {
            kind: MisfitKind::DoesNotPass,
            field: "terminated",
            found: format!("{} of {} over its plug ({name}, {widest})", request.stock.id, sleeve.supplied),
            wanted: format!(
                "{} supplied, to pass with {} % to spare",
                must_pass(&sleeve, *widest),
                sleeve.slack_percent
            ),
        });
    }
    if must_pass(&sleeve, diameter.high) > sleeve.supplied {
        return Err(Misfit {
            kind: MisfitKind::DoesNotPass,
            field: "od",
            found: format!("{} of {} over a cable of {}", request.stock.id, sleeve.supplied, diameter.high),
            wanted: format!(
                "{} supplied, to pass with {} % to spare",
                must_pass(&sleeve, diameter.high),
                sleeve.slack_percent
            ),
        });
    }
    if sleeve.recovered >= diameter.low {
        return Err(Misfit {
            kind: MisfitKind::DoesNotGrip,
            field: "od",
            found: format!("{} shrinks to {} on a cable of {}", request.stock.id, sleeve.recovered, diameter.low),
            wanted: "a recovered diameter below the cable's".into(),
        });
    }
    if matches!(request.plug, Plug::Unsaid) {
        notes.push("`terminated` is blank: taken as no plug on yet; slide the sleeve on before the plug".into());
    }
    // The smallest cable of the range shrinks the text most; that is what must stay legible.
    let scale = height_scale(&sleeve, diameter.low);
    let caps = Caps::of(design);
    let printed = |cap: Micrometres| cap.scaled(1.0 / scale);
    let caps = Caps { least: printed(caps.least), aim: printed(caps.aim), most: printed(caps.most) };
    let space = TextBox { width: None, height: grid.zone, along: grid.along, up: grid.across };
    let text = fit(fonts, request.lines, space, caps).map_err(|misfit| match misfit.kind {
        MisfitKind::Legibility => Misfit {
            wanted: format!("{}, so that {} are left after shrinking", misfit.wanted, design.least_cap()),
            ..misfit
        },
        _ => misfit,
    })?;
    let margin = grid.along.dots_covering(design.margin);
    let along = (text.width + margin * 2).max(grid.along.dots_covering(design.least_length));
    let along = whole_millimetres(grid.along, along);
    let cap = grid.across.length(text.cap).scaled(scale);
    notes.extend(small_note(cap, design));
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along,
        notes,
        cap,
        block: Block { copies: vec![(Turn::Along, middle(along, text.width), middle(grid.zone, text.height))], text },
    })
}
