//! Text to glyphs: which face sets which character.

use super::face::Face;
use super::{Measure, Style};
use ab_glyph::GlyphId;

pub(super) const NORMAL: u8 = 0;
pub(super) const CONDENSED: u8 = 1;
pub(super) const FALLBACK: u8 = 2;

/// A character as one face sets it.
#[derive(Clone, Copy)]
pub(super) struct Sized {
    pub(super) face: u8,
    pub(super) glyph: GlyphId,
    pub(super) measure: Measure,
}

/// Characters that stand for one another where a face has only one of them.
const fn same_as(c: char) -> Option<char> {
    match c {
        'µ' => Some('μ'),
        '\u{2126}' => Some('Ω'),
        '\u{00A0}' | '\u{202F}' | '\u{2009}' => Some(' '),
        '\u{2011}' => Some('-'),
        _ => None,
    }
}

/// The glyph for a character: from the face of the style, else from the fallback.
pub(super) fn find(faces: &[Face], c: char, style: Style) -> Option<Sized> {
    if ('\u{0300}'..='\u{036F}').contains(&c) {
        // A combining mark would be set beside its letter; better said than printed wrong.
        return None;
    }
    let first = if style == Style::Normal { NORMAL } else { CONDENSED };
    for index in [first, FALLBACK] {
        let face = &faces[usize::from(index)];
        for candidate in [Some(c), same_as(c)].into_iter().flatten() {
            if let Some(glyph) = face.glyph(candidate) {
                return Some(Sized { face: index, glyph, measure: face.measure(glyph) });
            }
        }
    }
    None
}
