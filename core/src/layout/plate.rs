//! Plates: flat tags for panels, reels and ties.

use super::fit::{Caps, TextBox};
use super::panel::{Space, arrange};
use super::{Grid, Layout, Misfit, Request, Turn, middle, room_along, whole_millimetres};
use crate::font::Fonts;
use crate::media::Form;

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    if request.stock.form != Form::Tape {
        return Err(request.wrong_form("tape"));
    }
    let design = request.design;
    let space = TextBox {
        width: Some(room_along(design, grid.along)),
        height: grid.zone,
        along: grid.along,
        up: grid.across,
        letters: 1.0,
    };
    let mut panel = arrange(request, fonts, Space::flat(space), Caps::of(design))?;
    let margin = grid.along.dots_covering(design.margin);
    let along =
        whole_millimetres(grid.along, (panel.width + margin * 2).max(grid.along.dots_covering(design.least_length)));
    panel.fill(along - margin * 2, grid.zone);
    let cap = grid.across.length(panel.text.cap);
    let place = (Turn::Along, middle(along, panel.width), middle(grid.zone, panel.height));
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along,
        folds: Vec::new(),
        notes: std::mem::take(&mut panel.notes),
        cap,
        code: panel.code.take(),
        block: panel.into_block(vec![place]),
    })
}
