//! How thick strokes come out: the thinnest straight stem of drawn text, in dots.

use crate::bitmap::Bitmap;
use crate::font::{Pen, Size};
use std::collections::HashMap;

/// What labels are mostly made of.
const USUAL: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789";

/// Measures stems; remembers every character it has measured, once a size.
pub struct Strokes<'f> {
    pen: Pen<'f>,
    chars: HashMap<(Size, char), Option<usize>>,
    sizes: HashMap<Size, usize>,
    page: Bitmap,
}

impl<'f> Strokes<'f> {
    /// Nothing measured yet.
    pub fn new(pen: Pen<'f>) -> Self {
        Self { pen, chars: HashMap::new(), sizes: HashMap::new(), page: Bitmap::new(0, 0) }
    }

    /// Dots of the thinnest straight stem among capitals and digits of this size.
    pub fn of_size(&mut self, size: Size) -> usize {
        if let Some(&dots) = self.sizes.get(&size) {
            return dots;
        }
        let dots = USUAL.chars().filter_map(|c| self.of_char(c, size)).min().unwrap_or(0);
        self.sizes.insert(size, dots);
        dots
    }

    /// Dots of the thinnest straight stem of a text as drawn; where it has none (`V`), that of the size.
    pub fn of_text<'t>(&mut self, lines: impl Iterator<Item = &'t str>, size: Size) -> usize {
        let mut thinnest: Option<usize> = None;
        for c in lines.flat_map(str::chars) {
            if let Some(dots) = self.of_char(c, size) {
                thinnest = Some(thinnest.map_or(dots, |thin| thin.min(dots)));
            }
        }
        thinnest.unwrap_or_else(|| self.of_size(size))
    }

    fn of_char(&mut self, c: char, size: Size) -> Option<usize> {
        if !c.is_alphanumeric() {
            return None;
        }
        if let Some(&known) = self.chars.get(&(size, c)) {
            return known;
        }
        let cap = usize::try_from(size.cap).unwrap_or(0);
        let wide = cap * usize::try_from(size.ratio_milli).unwrap_or(1000) / 1000;
        // Room for marks above, tails below, and wide letters.
        self.page.reset(cap * 3, wide * 4);
        let at = |room: usize| i64::try_from(room).unwrap_or(0);
        self.pen.draw(c.encode_utf8(&mut [0; 4]), size, &mut self.page, (at(wide), at(cap)));
        let upright =
            thinnest_stem(self.page.lines(), self.page.dots(), (cap / 3).max(3), |line, dot| self.page.get(line, dot));
        let level =
            thinnest_stem(self.page.dots(), self.page.lines(), (wide / 4).max(3), |dot, line| self.page.get(line, dot));
        let thinnest = [upright, level].into_iter().flatten().min();
        self.chars.insert((size, c), thinnest);
        thinnest
    }
}

/// Width of the thinnest straight stem: a run of ink that begins and ends at the same places in at
/// least `long` rows one after another, and is longer than wide.
fn thinnest_stem(columns: usize, rows: usize, long: usize, ink: impl Fn(usize, usize) -> bool) -> Option<usize> {
    let mut thinnest: Option<usize> = None;
    // Runs of the row before, each with the rows it goes on for.
    let mut open: Vec<(usize, usize, usize)> = Vec::new();
    for row in 0..=rows {
        let mut runs = Vec::new();
        let mut column = 0;
        while row < rows && column < columns {
            let start = column;
            while column < columns && ink(column, row) {
                column += 1;
            }
            if column > start {
                let before = open.iter().find(|&&(from, to, _)| (from, to) == (start, column));
                runs.push((start, column, before.map_or(0, |&(_, _, rows)| rows) + 1));
            }
            column += 1;
        }
        for &(from, to, length) in &open {
            let goes_on = runs.iter().any(|&(start, end, _)| (start, end) == (from, to));
            let width = to - from;
            if !goes_on && length >= long && length > width {
                thinnest = Some(thinnest.map_or(width, |thin| thin.min(width)));
            }
        }
        open = runs;
    }
    thinnest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::font::{Fonts, Style};

    #[test]
    fn stems_are_measured_as_drawn() {
        let art = [
            "##.....##", //
            "##.....##",
            "##.....##",
            "#########",
            "##.....##",
            "##.....##",
            "##.....##",
        ];
        let rows: Vec<Vec<bool>> = art.iter().map(|row| row.bytes().map(|b| b == b'#').collect()).collect();
        assert_eq!(thinnest_stem(9, 7, 3, |x, y| rows[y][x]), Some(2));
        // The crossbar is one row high: five columns with the same run.
        assert_eq!(thinnest_stem(7, 9, 3, |y, x| rows[y][x]), Some(1));
        let slope = |x: usize, y: usize| x == y || x == y + 1;
        assert_eq!(thinnest_stem(9, 8, 3, slope), None);
    }

    /// Stroke ≈ H/6 for dark on light (DOD-HDBK-791(AM) 6-5.3.2.3), a dot more or less for rounding;
    /// two dots wherever a sixth of the height has them.
    #[test]
    fn strokes_are_about_a_sixth_of_the_height() {
        let fonts = Fonts::embedded();
        let mut strokes = Strokes::new(Pen::new(&fonts));
        for cap in 12..=60 {
            let mut of = |style| i64::try_from(strokes.of_size(Size { style, cap, ratio_milli: 1000 })).unwrap();
            let (normal, condensed) = (of(Style::Normal), of(Style::Condensed));
            assert!(normal >= 2 && (normal + 1) * 7 >= cap && (normal - 1) * 6 <= cap, "{cap}: {normal} dots");
            // The condensed face has the thinner level stems, and loses a dot where they fall badly.
            assert!((condensed + 2) * 8 >= cap && (condensed - 1) * 6 <= cap, "{cap}: {condensed} dots condensed");
        }
    }

    #[test]
    fn a_text_without_stems_takes_those_of_its_size() {
        let fonts = Fonts::embedded();
        let mut strokes = Strokes::new(Pen::new(&fonts));
        let size = Size { style: Style::Normal, cap: 24, ratio_milli: 1000 };
        assert_eq!(strokes.of_text(["V/"].into_iter(), size), strokes.of_size(size));
        assert!(strokes.of_text(["HI"].into_iter(), size) >= strokes.of_size(size));
    }
}
