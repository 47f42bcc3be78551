//! Plates: flat tags for panels, reels and ties.

use super::fit::{Caps, TextBox, fit};
use super::{Block, Grid, Layout, Misfit, Request, Turn, middle, small_note, whole_millimetres};
use crate::font::Fonts;
use crate::media::Form;

pub(super) fn lay_out(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    if request.stock.form != Form::Tape {
        return Err(request.wrong_form("tape"));
    }
    let design = request.design;
    let space = TextBox { width: None, height: grid.zone, along: grid.along, up: grid.across };
    let text = fit(fonts, request.lines, space, Caps::of(design))?;
    let margin = grid.along.dots_covering(design.margin);
    let along =
        whole_millimetres(grid.along, (text.width + margin * 2).max(grid.along.dots_covering(design.least_length)));
    let cap = grid.across.length(text.cap);
    Ok(Layout {
        build: request.build,
        across: grid.zone,
        along,
        notes: small_note(cap, design).into_iter().collect(),
        cap,
        block: Block { copies: vec![(Turn::Along, middle(along, text.width), middle(grid.zone, text.height))], text },
    })
}
