//! The 1-bit raster everything is drawn into: head lines, dots, bit order.
//!
//! # Orientation, stated once
//!
//! A [`Bitmap`] is a list of *head lines*; line 0 is fed first. Hold the strip so that the first
//! line is at the left: the lines are then the columns of what one sees, left to right, **dot 0 is
//! at the bottom edge** and the last dot at the top. A set bit is ink.
//!
//! # Bit order, stated once
//!
//! A line is `ceil(dots / 64)` words; dot `d` is bit `63 - d % 64` of word `d / 64`. As bytes
//! (each word big-endian, the list cut to `ceil(dots / 8)`), dot 0 is the most significant bit of
//! byte 0. Bits beyond the last dot are zero, always.

use crate::unit::Dots;

/// A block of head lines, `dots` wide and [`Bitmap::lines`] long.
///
/// # Guarantees
/// Bits beyond the last dot of a line are zero, whatever was drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bitmap {
    dots: usize,
    words: usize,
    bits: Vec<u64>,
}

/// Words of one line of so many dots.
const fn words_for(dots: usize) -> usize {
    dots.div_ceil(64)
}

impl Bitmap {
    /// A blank bitmap.
    pub fn new(dots: usize, lines: usize) -> Self {
        let words = words_for(dots);
        Self { dots, words, bits: vec![0; words * lines] }
    }

    /// Makes it blank with another size, keeping its memory.
    pub fn reset(&mut self, dots: usize, lines: usize) {
        self.dots = dots;
        self.words = words_for(dots);
        self.bits.clear();
        self.bits.resize(self.words * lines, 0);
    }

    /// Dots in a line.
    pub const fn dots(&self) -> usize {
        self.dots
    }

    /// Number of lines.
    pub fn lines(&self) -> usize {
        self.bits.len().checked_div(self.words).unwrap_or(0)
    }

    /// The words of one line.
    ///
    /// # Panics
    /// If there is no such line.
    pub fn line(&self, line: usize) -> &[u64] {
        &self.bits[line * self.words..(line + 1) * self.words]
    }

    /// Whether a dot has ink; outside the bitmap nothing has.
    pub fn get(&self, line: usize, dot: usize) -> bool {
        dot < self.dots && line < self.lines() && self.line(line)[dot / 64] >> (63 - dot % 64) & 1 == 1
    }

    /// Inks one dot; outside the bitmap nothing happens.
    pub fn set(&mut self, line: usize, dot: usize) {
        if dot < self.dots && line < self.lines() {
            self.bits[line * self.words + dot / 64] |= 1 << (63 - dot % 64);
        }
    }

    /// Inks a rectangle: lines `line..line + lines`, dots `dot..dot + dots`, clipped.
    pub fn fill(&mut self, line: usize, lines: usize, dot: usize, dots: usize) {
        let end = (dot + dots).min(self.dots);
        if dot >= end {
            return;
        }
        // Whole words: the ends of the first and the last are masked.
        let (first, last) = (dot / 64, (end - 1) / 64);
        for l in line..(line + lines).min(self.lines()) {
            let words = &mut self.bits[l * self.words + first..=l * self.words + last];
            let count = words.len();
            for (w, word) in words.iter_mut().enumerate() {
                let mut mask = u64::MAX;
                if w == 0 {
                    mask &= u64::MAX >> (dot % 64);
                }
                if w + 1 == count {
                    mask &= u64::MAX << (63 - (end - 1) % 64);
                }
                *word |= mask;
            }
        }
    }

    /// Turns ink to paper and paper to ink in a rectangle: lines `line..line + lines`, dots
    /// `dot..dot + dots`, clipped.
    pub fn invert(&mut self, line: usize, lines: usize, dot: usize, dots: usize) {
        for l in line..(line + lines).min(self.lines()) {
            for d in dot..(dot + dots).min(self.dots) {
                self.bits[l * self.words + d / 64] ^= 1 << (63 - d % 64);
            }
        }
    }

    /// Number of inked dots.
    pub fn ink(&self) -> u64 {
        self.bits.iter().map(|word| u64::from(word.count_ones())).sum()
    }

    /// Inks what is inked in `from`, shifted to start at (`line`, `dot`); what falls outside is lost.
    ///
    /// This is the inner loop of all text: whole words, two shifts a word.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        reason = "clipped to the bitmap first; sizes are far below 2^31"
    )]
    pub fn blit(&mut self, from: &Bitmap, line: i64, dot: i64) {
        let first = (-line).max(0) as usize;
        let last = (self.lines() as i64 - line).clamp(0, from.lines() as i64) as usize;
        if first >= last || dot >= self.dots as i64 || dot + from.dots as i64 <= 0 {
            return;
        }
        let (word, shift) = (dot.div_euclid(64), dot.rem_euclid(64) as u32);
        let spare = self.words * 64 - self.dots;
        for l in first..last {
            let to = (line + l as i64) as usize * self.words;
            let target = &mut self.bits[to..to + self.words];
            for (i, &bits) in from.line(l).iter().enumerate() {
                let at = word + i as i64;
                if at >= 0 && (at as usize) < target.len() {
                    target[at as usize] |= bits >> shift;
                }
                if shift > 0 && at + 1 >= 0 && ((at + 1) as usize) < target.len() {
                    target[(at + 1) as usize] |= bits << (64 - shift);
                }
            }
            if spare > 0
                && let Some(end) = target.last_mut()
            {
                *end &= u64::MAX << spare;
            }
        }
    }

    /// Copies whole lines within the bitmap; the ranges may not overlap into each other.
    ///
    /// # Panics
    /// If a range leaves the bitmap.
    pub fn copy_lines(&mut self, from: usize, to: usize, lines: usize) {
        self.bits.copy_within(from * self.words..(from + lines) * self.words, to * self.words);
    }

    /// Mirrors every line across the tape: dot `d` becomes dot `dots - 1 - d`.
    pub fn mirror(&mut self) {
        let spare = u32::try_from(self.words * 64 - self.dots).unwrap_or(0);
        for line in self.bits.chunks_exact_mut(self.words.max(1)) {
            line.reverse();
            for word in line.iter_mut() {
                *word = word.reverse_bits();
            }
            if spare > 0 {
                for i in 0..line.len() {
                    let next = line.get(i + 1).map_or(0, |word| word >> (64 - spare));
                    line[i] = line[i] << spare | next;
                }
            }
        }
    }

    /// The same picture turned by 180 degrees.
    #[must_use]
    pub fn turned(&self) -> Self {
        let mut turned = self.clone();
        turned.mirror();
        let (words, lines) = (turned.words, turned.lines());
        for l in 0..lines / 2 {
            for w in 0..words {
                turned.bits.swap(l * words + w, (lines - 1 - l) * words + w);
            }
        }
        turned
    }

    /// The same picture turned by 90 degrees: what ran along the tape (left to right) now runs
    /// across it, from the bottom edge (dot 0) to the top edge.
    #[must_use]
    pub fn quarter_turned(&self) -> Self {
        let mut turned = Self::new(self.lines(), self.dots);
        for l in 0..self.lines() {
            for d in 0..self.dots {
                if self.get(l, d) {
                    turned.set(self.dots - 1 - d, l);
                }
            }
        }
        turned
    }

    /// Appends the bytes of all lines, `ceil(dots / 8)` a line, shifted up by `offset` dots and
    /// padded to lines of `head_dots`: how a label becomes head lines.
    ///
    /// # Panics
    /// If `offset + dots` is more than `head_dots`: the planner keeps labels on the head.
    pub fn append_head_lines(&self, head_dots: usize, offset: usize, out: &mut Vec<u8>) {
        assert!(offset + self.dots <= head_dots, "label of {} at {offset} leaves the head of {head_dots}", self.dots);
        let bytes = head_dots.div_ceil(8);
        let (word, shift) = (offset / 64, offset % 64);
        let width = words_for(head_dots);
        let mut buffer = vec![0u64; width + 1];
        let start = out.len();
        out.resize(start + bytes * self.lines(), 0);
        let rows = out[start..].chunks_exact_mut(bytes.max(1));
        for (line, row) in self.bits.chunks_exact(self.words.max(1)).zip(rows) {
            if shift == 0 {
                buffer[word..word + line.len()].copy_from_slice(line);
            } else {
                let mut carried = 0;
                for (value, &bits) in buffer[word..].iter_mut().zip(line) {
                    *value = carried | bits >> shift;
                    carried = bits << (64 - shift);
                }
                buffer[word + line.len()] = carried;
            }
            let (whole, rest) = row.as_chunks_mut::<8>();
            let mut values = buffer.iter();
            for (bytes, value) in whole.iter_mut().zip(&mut values) {
                *bytes = value.to_be_bytes();
            }
            if let (false, Some(value)) = (rest.is_empty(), values.next()) {
                rest.copy_from_slice(&value.to_be_bytes()[..rest.len()]);
            }
        }
    }

    /// A bitmap from rows of `ceil(dots / 8)` bytes, as [`Bitmap::append_head_lines`] writes them for a
    /// head of `dots`. Bits beyond the last dot are dropped, and bytes beyond the last whole row.
    pub fn from_head_lines(dots: usize, rows: &[u8]) -> Self {
        let bytes = dots.div_ceil(8).max(1);
        let mut bitmap = Self::new(dots, rows.len() / bytes);
        let beyond = (64 - dots % 64) % 64;
        let lines = bitmap.bits.chunks_exact_mut(bitmap.words.max(1));
        for (line, row) in lines.zip(rows.chunks_exact(bytes)) {
            for (word, bytes) in line.iter_mut().zip(row.chunks(8)) {
                let mut eight = [0; 8];
                eight[..bytes.len()].copy_from_slice(bytes);
                *word = u64::from_be_bytes(eight);
            }
            if let Some(last) = line.last_mut() {
                *last = *last >> beyond << beyond;
            }
        }
        bitmap
    }

    /// The size as lengths: (across, along).
    pub fn size(&self) -> (Dots, Dots) {
        let dots = |n: usize| Dots(i64::try_from(n).unwrap_or(i64::MAX));
        (dots(self.dots), dots(self.lines()))
    }
}

/// Reads a picture as one sees it: `#` is ink, rows top to bottom (dot 0 is the bottom row).
impl From<&str> for Bitmap {
    fn from(art: &str) -> Self {
        let rows: Vec<&str> = art.lines().map(str::trim).filter(|row| !row.is_empty()).collect();
        let lines = rows.iter().map(|row| row.len()).max().unwrap_or(0);
        let mut bitmap = Self::new(rows.len(), lines);
        for (r, row) in rows.iter().enumerate() {
            for (l, ink) in row.bytes().enumerate() {
                if ink == b'#' {
                    bitmap.set(l, rows.len() - 1 - r);
                }
            }
        }
        bitmap
    }
}

/// Prints the picture as one sees it: `#` is ink, `.` is blank, dot 0 is the bottom row.
impl std::fmt::Display for Bitmap {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for d in (0..self.dots).rev() {
            let row: String = (0..self.lines()).map(|l| if self.get(l, d) { '#' } else { '.' }).collect();
            writeln!(f, "{row}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small numbers of tests")]
mod tests {
    use super::*;

    fn speckle(dots: usize, lines: usize, mut seed: u64) -> Bitmap {
        let mut bitmap = Bitmap::new(dots, lines);
        for l in 0..lines {
            for d in 0..dots {
                seed ^= seed << 13;
                seed ^= seed >> 7;
                seed ^= seed << 17;
                if seed.is_multiple_of(3) {
                    bitmap.set(l, d);
                }
            }
        }
        bitmap
    }

    #[test]
    fn head_lines_are_read_again() {
        for dots in [1, 7, 8, 63, 64, 65, 128, 130] {
            let bitmap = speckle(dots, 9, 7);
            let mut rows = Vec::new();
            bitmap.append_head_lines(dots, 0, &mut rows);
            assert_eq!(Bitmap::from_head_lines(dots, &rows), bitmap, "{dots} dots");
            rows.fill(0xFF);
            assert_eq!(Bitmap::from_head_lines(dots, &rows).ink(), 9 * dots as u64, "no ink beyond {dots} dots");
        }
    }

    #[test]
    fn blit_equals_dot_by_dot() {
        for (dots, at_line, at_dot) in [(70, 0, 0), (70, 3, 5), (130, -2, 60), (70, 2, -9), (200, 1, 63), (64, 0, 64)] {
            let glyph = speckle(37, 9, 77);
            let mut fast = speckle(dots, 12, 5);
            let mut slow = fast.clone();
            fast.blit(&glyph, at_line, at_dot);
            for l in 0..9i64 {
                for d in 0..37i64 {
                    if glyph.get(l as usize, d as usize) && at_line + l >= 0 && at_dot + d >= 0 {
                        slow.set((at_line + l) as usize, (at_dot + d) as usize);
                    }
                }
            }
            assert_eq!(fast, slow, "{dots} {at_line} {at_dot}");
        }
    }

    #[test]
    fn an_inverted_area_is_clipped_and_comes_back() {
        let before = speckle(70, 5, 3);
        let mut after = before.clone();
        after.invert(1, 9, 60, 40);
        for l in 0..5 {
            for d in 0..70 {
                assert_eq!(after.get(l, d), before.get(l, d) ^ (l >= 1 && d >= 60), "{l} {d}");
            }
        }
        after.invert(1, 9, 60, 40);
        assert_eq!(after, before, "nothing was set beyond the last dot");
    }

    #[test]
    fn fill_equals_dot_by_dot() {
        for (dots, dot, count) in
            [(70, 0, 70), (70, 5, 3), (130, 60, 9), (200, 63, 66), (64, 64, 5), (70, 60, 99), (9, 3, 0)]
        {
            let mut fast = speckle(dots, 6, 11);
            let mut slow = fast.clone();
            fast.fill(2, 3, dot, count);
            for l in 2..5 {
                (dot..dot + count).for_each(|d| slow.set(l, d));
            }
            assert_eq!(fast, slow, "{dots} {dot} {count}");
        }
    }

    #[test]
    fn mirror_and_turns() {
        let mut one = Bitmap::from("#..\n##.\n");
        one.mirror();
        assert_eq!(one.to_string(), "##.\n#..\n");
        assert_eq!(one.turned().to_string(), "..#\n.##\n");
        for dots in [1, 7, 63, 64, 65, 128, 131] {
            let picture = speckle(dots, 5, 9);
            let mut twice = picture.clone();
            twice.mirror();
            assert!((0..dots).all(|d| twice.get(2, d) == picture.get(2, dots - 1 - d)));
            twice.mirror();
            assert_eq!(twice, picture);
            assert_eq!(picture.turned().turned(), picture);
            let full_circle = picture.quarter_turned().quarter_turned().quarter_turned().quarter_turned();
            assert_eq!(full_circle, picture);
            assert_eq!(picture.quarter_turned().quarter_turned(), picture.turned());
        }
    }

    #[test]
    fn quarter_turn_reads_from_the_bottom_edge_up() {
        // Left-to-right "long then short" becomes bottom-to-top; the top of the picture goes left.
        let arrow = Bitmap::from("###.\n#...\n");
        assert_eq!(arrow.quarter_turned().to_string(), "..\n#.\n#.\n##\n");
    }

    #[test]
    fn head_lines_are_msb_first_and_shifted() {
        let label = Bitmap::from("#\n.\n#\n"); // dots 0 and 2
        let mut bytes = Vec::new();
        label.append_head_lines(12, 3, &mut bytes);
        assert_eq!(bytes, [0b0001_0100, 0]);
        for (dots, head, offset) in [(70, 128, 29), (64, 128, 64), (5, 9, 4), (100, 300, 130), (64, 64, 0)] {
            let label = speckle(dots, 4, 3);
            let mut bytes = Vec::new();
            label.append_head_lines(head, offset, &mut bytes);
            let row = head.div_ceil(8);
            for l in 0..4 {
                for d in 0..row * 8 {
                    let ink = bytes[l * row + d / 8] >> (7 - d % 8) & 1 == 1;
                    assert_eq!(ink, d >= offset && label.get(l, d - offset), "{dots} {head} {offset}: {l} {d}");
                }
            }
        }
    }
}
