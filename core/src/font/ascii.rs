//! Plain ASCII, the text of nearly every label: glyphs, measures and kerned pairs in a table, so that
//! a hundred thousand labels are fitted without a shaper, and as a shaper would.

use super::shape::{place, runs};
use super::{Fonts, Measure, Placed, Style};

/// Printable ASCII starts here.
const FIRST: u8 = 0x20;
/// And has so many characters.
const COUNT: usize = 95;

/// Glyphs and measures of printable ASCII; empty until measured.
#[derive(Default)]
pub(super) struct Ascii {
    alone: Vec<Option<(Placed, Measure)>>,
    /// Advances of a character before another, at `first * COUNT + second`; empty where none is kerned.
    pairs: Vec<f64>,
}

fn character(nth: usize) -> char {
    char::from(FIRST + u8::try_from(nth).expect("there are 95 characters"))
}

/// A line in which every two of the characters, in either order, stand side by side once.
fn every_pair() -> Vec<usize> {
    let mut line = Vec::with_capacity(COUNT * COUNT + 1);
    for first in 0..COUNT {
        line.push(first);
        (first + 1..COUNT).for_each(|second| line.extend([first, second]));
    }
    line.push(0);
    line
}

impl Ascii {
    /// Shapes each character alone, and each two together. A character the faces lack, or set as
    /// several glyphs, is left out, and the lines it is in are shaped.
    pub(super) fn of(fonts: &Fonts, style: Style) -> Self {
        let one = |nth: usize| {
            let text = character(nth).to_string();
            let (mut glyphs, mut found) = (0, None);
            for run in runs(fonts, &text, style, |_, _| {}) {
                let face = &fonts.faces[usize::from(run.face)];
                place(fonts, &text, &run, &mut |glyph| {
                    let ink = face.ink(&face.font(), glyph.glyph.into());
                    let ink = ink.map_or_else(Measure::default, |ink| ink.measure(glyph.up));
                    glyphs += 1;
                    found = Some((glyph, Measure { width: glyph.advance, ..ink }));
                });
            }
            found.filter(|_| glyphs == 1)
        };
        let mut ascii = Self { alone: (0..COUNT).map(one).collect(), pairs: Vec::new() };
        ascii.pairs = ascii.kerned(fonts, style).unwrap_or_default();
        ascii
    }

    /// `None` where no pair is kerned, or the face does more to a pair than move its letters together.
    fn kerned(&self, fonts: &Fonts, style: Style) -> Option<Vec<f64>> {
        let line = every_pair();
        let text: String = line.iter().map(|&nth| character(nth)).collect();
        let runs = runs(fonts, &text, style, |_, _| {});
        let [run] = &runs[..] else { return None };
        if !fonts.faces[usize::from(run.face)].kerns() {
            return None;
        }
        let mut placed = Vec::with_capacity(line.len());
        place(fonts, &text, run, &mut |glyph| placed.push(glyph));
        if placed.len() != line.len() {
            return None;
        }
        let mut pairs = vec![0.0; COUNT * COUNT];
        for (two, glyph) in line.windows(2).zip(&placed) {
            let (alone, _) = self.alone[two[0]]?;
            let same = Placed { advance: alone.advance, at: alone.at, ..*glyph };
            if same != alone {
                return None;
            }
            pairs[two[0] * COUNT + two[1]] = glyph.advance;
        }
        Some(pairs)
    }

    /// Calls `each` with every character of a line, its glyph and its advance before the next;
    /// `None` at the first that is not in the table.
    fn walk(&self, text: &str, mut each: impl FnMut(&(Placed, Measure), f64)) -> Option<()> {
        let mut last: Option<(usize, &(Placed, Measure))> = None;
        for byte in text.bytes() {
            let nth = usize::from(byte.wrapping_sub(FIRST));
            let own = self.alone.get(nth)?.as_ref()?;
            if let Some((before, its)) = last {
                each(its, self.pairs.get(before * COUNT + nth).copied().unwrap_or(its.1.width));
            }
            last = Some((nth, own));
        }
        if let Some((_, its)) = last {
            each(its, its.1.width);
        }
        Some(())
    }

    /// The measure of a line all of whose characters are in the table.
    pub(super) fn measure(&self, text: &str) -> Option<Measure> {
        let mut total = Measure::default();
        self.walk(text, |(_, ink), width| total.beside(Measure { width, ..*ink }))?;
        Some(total)
    }

    /// Places a line all of whose characters are in the table; `false`, and nothing placed, if one is not.
    pub(super) fn place(&self, text: &str, each: &mut impl FnMut(Placed)) -> bool {
        let knows = |byte: u8| self.alone.get(usize::from(byte.wrapping_sub(FIRST))).is_some_and(Option::is_some);
        if !text.bytes().all(knows) {
            return false;
        }
        let mut at = 0;
        self.walk(text, |(glyph, _), advance| {
            each(Placed { advance, at, ..*glyph });
            at += 1;
        })
        .is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn the_line_of_pairs_has_each_once() {
        let line = every_pair();
        let pairs: HashSet<_> = line.windows(2).map(|two| (two[0], two[1])).collect();
        assert_eq!((pairs.len(), line.len()), (COUNT * COUNT, COUNT * COUNT + 1));
    }
}
