//! What one reads of a round label without turning the cable.

use super::fit::{Caps, TextBox};
use super::panel::{Panel, Space, arrange};
use super::{Misfit, MisfitKind, Request};
use crate::font::Fonts;
use crate::unit::Dots;
use std::f64::consts::PI;

/// Arc within ±60° of straight on, as a fraction of the diameter: beyond it a letter seems less than
/// half as high as it is.
pub(super) const READABLE: f64 = PI / 3.0;

/// A panel that is read without turning the cable: at most `facing` dots high. Where that leaves no
/// legible text, one that takes what it must of the whole space, just legible, with a note first.
///
/// # Errors
/// The part that does not fit, what it asked for and what there is.
pub(super) fn readable(
    request: &Request<'_>,
    fonts: &Fonts,
    whole: Space,
    facing: Dots,
    caps: Caps,
) -> Result<Panel, Misfit> {
    let ahead = Space { text: TextBox { height: facing.min(whole.text.height), ..whole.text }, ..whole };
    match arrange(request, fonts, ahead, caps) {
        Err(misfit) if misfit.kind == MisfitKind::Legibility => {
            let mut panel = arrange(request, fonts, whole, Caps { most: caps.least.scaled(1.1), ..caps })?;
            panel.notes.insert(0, "the text goes round the side of the cable: turn the cable to read all of it".into());
            Ok(panel)
        }
        other => other,
    }
}
