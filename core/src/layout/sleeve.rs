//! Heat-shrink sleeves: must pass the plug, must grip the cable, and are read after shrinking.

use super::fit::{Caps, TextBox};
use super::panel::Space;
use super::{Grid, Layout, Misfit, MisfitKind, Request, Turn, arc, middle, room_along, whole_millimetres};
use crate::cable::Plug;
use crate::code::{Facing, RoundAxis};
use crate::font::Fonts;
use crate::media::{Form, Sleeve, sleeve_wall};
use crate::unit::{Dpi, Micrometres};

/// The narrowest that letters are printed, as a fraction of their design: narrower ones lose their
/// counters at 180 dpi (a guess).
const NARROWEST: f64 = 0.5;

/// How much the height of text shrinks with the circumference when a sleeve closes on a cable:
/// `(OD + 2t) / (D + 2ts)`, the walls at constant volume.
pub fn height_scale(sleeve: &Sleeve, cable: Micrometres) -> f64 {
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
    if let Plug::Unknown(error) = request.plug {
        let hint = error.hint.as_ref().map_or(String::new(), |hint| format!("; {hint}"));
        return Err(Misfit {
            kind: MisfitKind::DoesNotPass,
            field: "terminated",
            found: format!("`{}`", error.found),
            wanted: format!("{}{hint}", error.wanted),
        });
    }
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
    // Printed as narrow as they will be low, letters have the face's proportions once the sleeve has
    // shrunk, and take less of it.
    #[allow(clippy::cast_precision_loss, reason = "thousandths of a length")]
    let along = 1.0 + sleeve.along_permille as f64 / 1000.0;
    let letters = (scale / along).clamp(NARROWEST, 1.0);
    let space = TextBox {
        width: Some(room_along(design, grid.along)),
        height: grid.zone,
        along: grid.along,
        up: grid.across,
        letters,
    };
    // On the finished sleeve the printed dots stand closer round the cable.
    let finished = shrunk(grid.across, scale);
    let outside = diameter.low + sleeve_wall(&sleeve, diameter.low) * 2;
    let facing = Facing::Round { diameter: outside, axis: RoundAxis::Up };
    // One sees half a sleeve, its printed side, and reads less: the outermost lines would lie on edge.
    let round = sleeve.supplied + sleeve_wall(&sleeve, sleeve.supplied) * 2;
    let ahead = grid.across.dots_within(round.scaled(arc::READABLE));
    let mut panel =
        arc::readable(request, fonts, Space { text: space, finished, facing }, ahead, caps).map_err(|misfit| {
            match misfit.kind {
                MisfitKind::Legibility => Misfit {
                    wanted: format!("{}, so that {} are left after shrinking", misfit.wanted, design.least_cap()),
                    ..misfit
                },
                MisfitKind::Code | MisfitKind::Logo => {
                    Misfit { wanted: format!("{}, all of it measured after shrinking", misfit.wanted), ..misfit }
                }
                _ => misfit,
            }
        })?;
    let margin = grid.along.dots_covering(design.margin);
    let along = (panel.width + margin * 2).max(grid.along.dots_covering(design.least_length));
    let along = whole_millimetres(grid.along, along);
    panel.fill(along - margin * 2, grid.zone.min(ahead).max(panel.height));
    let cap = grid.across.length(panel.text.cap).scaled(scale);
    notes.append(&mut panel.notes);
    let place = (Turn::Along, middle(along, panel.width), middle(grid.zone, panel.height));
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along,
        folds: Vec::new(),
        notes,
        cap,
        code: panel.code.take(),
        block: panel.into_block(vec![place]),
    })
}

/// The resolution round a sleeve that has shrunk to `scale`: as many dots on less tube.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a resolution of a printer, times 4 at most"
)]
fn shrunk(dpi: Dpi, scale: f64) -> Dpi {
    Dpi::from_milli((f64::from(dpi.milli()) / scale + 0.5) as u32).unwrap_or(dpi)
}
