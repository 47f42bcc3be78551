//! Draws lines of text; keeps every glyph it has drawn, once a size.

use super::glyph::{Glyph, render};
use super::{Fonts, Placed, Style, whole_dots};
use crate::bitmap::Bitmap;
use std::collections::HashMap;

/// A size text is drawn in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Size {
    /// Width class.
    pub style: Style,
    /// Cap height in dots.
    pub cap: i64,
    /// Dots of a length along the text over dots of the same length up it, in thousandths.
    pub ratio_milli: i64,
}

/// Glyphs of one size by face and number.
#[derive(Default)]
struct Drawn {
    /// By number, for the low numbers of the first faces: nearly every glyph of nearly every label.
    low: Vec<Option<Glyph>>,
    other: HashMap<(u8, u32), Glyph>,
}

/// Numbers of a face that are looked up without hashing.
const LOW: u32 = 512;

impl Drawn {
    fn get(&mut self, face: u8, glyph: u32, render: impl FnOnce() -> Glyph) -> &Glyph {
        if glyph >= LOW || face > 3 {
            return self.other.entry((face, glyph)).or_insert_with(render);
        }
        let at = usize::from(face) * LOW as usize + glyph as usize;
        if self.low.len() <= at {
            self.low.resize_with(at + 1, || None);
        }
        self.low[at].get_or_insert_with(render)
    }
}

/// How a glyph moves the pen on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Strokes fitted to the dots: by its advance in whole dots, so that the same two letters are
    /// always as far apart.
    Fitted,
    /// As designed: advances are rounded as a sum, so that letters which join stay joined.
    Drawn,
    /// A space between words: it takes up what rounding has moved the letters before it.
    Space,
}

/// How far the pen is from the beginning of a line.
#[derive(Clone, Copy, Default)]
pub(super) struct Advance {
    /// Whole dots.
    dots: i64,
    /// Cap heights beyond them.
    more: f64,
    /// Cap heights of all advances.
    sum: f64,
}

impl Advance {
    /// The dot `right` cap heights on.
    pub(super) fn at(self, right: f64, size: Size) -> i64 {
        self.dots + whole_dots(self.more + right, size.cap, size.ratio_milli)
    }

    /// Moves on by a glyph. A space changes by at most a quarter of its width, so that it stays one.
    pub(super) fn step(&mut self, advance: f64, kind: Kind, size: Size) {
        let whole = |advance| whole_dots(advance, size.cap, size.ratio_milli);
        self.sum += advance;
        if kind == Kind::Drawn {
            self.more += advance;
            return;
        }
        let wide = whole(advance);
        self.dots = self.at(0.0, size) + wide;
        self.more = 0.0;
        if kind == Kind::Space {
            self.dots = whole(self.sum).clamp(self.dots - wide / 4, self.dots + wide / 4);
        }
    }
}

/// How a glyph of the text moves the pen.
pub(super) fn kind(text: &str, placed: &Placed, fitted: bool) -> Kind {
    match (text.as_bytes().get(placed.at), fitted) {
        (Some(b' '), true) => Kind::Space,
        (_, true) => Kind::Fitted,
        (_, false) => Kind::Drawn,
    }
}

/// Draws text; keeps every glyph it has drawn, once a size.
pub struct Pen<'f> {
    fonts: &'f Fonts,
    sizes: HashMap<Size, Drawn>,
}

impl<'f> Pen<'f> {
    /// A pen without any ink yet.
    pub fn new(fonts: &'f Fonts) -> Self {
        Self { fonts, sizes: HashMap::new() }
    }

    /// Draws one line, pen starting at `(line, baseline)`: the baseline is the lower edge of that dot.
    ///
    /// Glyphs stand on whole dots: evenly within a word, and each word where the line as a sum has it.
    /// [`Fonts::dots_wide`] is how far the pen goes.
    /// Characters without a glyph are left out: [`Fonts::measure`] reports them first.
    pub fn draw(&mut self, text: &str, size: Size, to: &mut Bitmap, (line, baseline): (i64, i64)) {
        let fonts = self.fonts;
        let Size { style, cap, ratio_milli } = size;
        let drawn = self.sizes.entry(size).or_default();
        let mut pen = Advance::default();
        fonts.place(text, style, |placed| {
            let face = &fonts.faces[usize::from(placed.face)];
            let glyph = drawn.get(placed.face, placed.glyph, || render(face, placed.glyph, cap, ratio_milli));
            let up = whole_dots(placed.up, cap, 1000);
            let right = pen.at(placed.right, size);
            to.blit(&glyph.ink.ink, line + right + glyph.ink.left, baseline + up + glyph.ink.bottom);
            pen.step(placed.advance, kind(text, &placed, glyph.fitted), size);
        });
    }
}
