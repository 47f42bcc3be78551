//! A row of bytes as runs and literals: the cut that PackBits and the rows of PWG Raster share,
//! each with its own codes.
//!
//! ```
//! use tapewright_kit::spans::{Span, spans};
//!
//! let row = [9, 8, 7, 7, 0, 0, 0, 0];
//! let found: Vec<Span<'_>> = spans(&row).collect();
//! assert_eq!(found, [Span::Literal(&[9, 8, 7, 7]), Span::Run { byte: 0, length: 4 }]);
//! ```

/// Longest run and longest literal.
pub const LONGEST: usize = 128;

/// A piece of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span<'r> {
    /// The same byte 2 to [`LONGEST`] times.
    Run {
        /// The byte.
        byte: u8,
        /// How often it stands there.
        length: usize,
    },
    /// 1 to [`LONGEST`] bytes best left as they are.
    Literal(&'r [u8]),
}

/// Cuts a row into runs and literals, from its beginning to its end.
///
/// # Guarantees
///
/// - Together the spans are the row.
/// - A literal ends before the next run of three: a run of two inside costs as much either way, and
///   leaving the literal for it could cost a code.
/// - Where a code takes one byte, no cut needs fewer bytes as long as no literal has to be broken
///   at [`LONGEST`].
pub fn spans(row: &[u8]) -> Spans<'_> {
    Spans { row, at: 0, base: 0, pairs: pairs(row) }
}

/// The spans of a row, see [`spans`].
#[derive(Debug, Clone)]
pub struct Spans<'r> {
    row: &'r [u8],
    at: usize,
    /// Bit *i*: byte `base + i` of the row equals the one behind it. So runs and literals are found
    /// by counting bits, and a row of up to 64 bytes is looked at once.
    pairs: u64,
    base: usize,
}

/// Positions that `pairs` speaks of.
const KNOWN: usize = 64;

impl Spans<'_> {
    /// The pairs from `at` on, at least two of them known, and how many are.
    #[inline]
    fn known(&mut self, at: usize) -> (u64, usize) {
        if at - self.base > KNOWN - 2 {
            self.base = at;
            self.pairs = pairs(self.row.get(at..).unwrap_or_default());
        }
        let passed = at - self.base;
        (self.pairs >> passed, KNOWN - passed)
    }
}

impl<'r> Iterator for Spans<'r> {
    type Item = Span<'r>;

    #[inline]
    fn next(&mut self) -> Option<Span<'r>> {
        let start = self.at;
        let &byte = self.row.get(start)?;
        let (pairs, mut known) = self.known(start);
        let mut equal = pairs.trailing_ones() as usize;
        if equal > 0 {
            let mut length = 1 + equal;
            while equal == known && length < LONGEST {
                let (pairs, more) = self.known(start + length - 1);
                (equal, known) = (pairs.trailing_ones() as usize, more);
                length += equal;
            }
            let length = length.min(LONGEST);
            self.at = start + length;
            return Some(Span::Run { byte, length });
        }
        let most = LONGEST.min(self.row.len() - start);
        let (mut pairs, mut length) = (pairs, 0);
        loop {
            // The last one known has no neighbour.
            let before_three = ((pairs & pairs >> 1).trailing_zeros() as usize).min(known - 1);
            length += before_three;
            if before_three < known - 1 || length >= most {
                break;
            }
            (pairs, known) = self.known(start + length);
        }
        self.at = start + length.min(most);
        Some(Span::Literal(&self.row[start..self.at]))
    }
}

/// Which of the first 64 bytes equal the byte behind them, the first in the lowest bit. The last
/// byte of a row has none behind it.
#[inline]
fn pairs(row: &[u8]) -> u64 {
    let mut pairs = 0;
    let mut at = 0;
    while at < KNOWN && at + 9 <= row.len() {
        pairs |= eight_pairs(row, at) << at;
        at += 8;
    }
    if at >= KNOWN || at + 1 >= row.len() {
        return pairs;
    }
    if let Some(last) = row.len().checked_sub(9) {
        // Some of these eight were looked at before: the answer is the same.
        return pairs | eight_pairs(row, last) << last;
    }
    for (at, pair) in row.windows(2).enumerate() {
        pairs |= u64::from(pair[0] == pair[1]) << at;
    }
    pairs
}

/// Which of the eight bytes from `at` on equal the byte behind them, in the lowest eight bits.
#[inline]
fn eight_pairs(row: &[u8], at: usize) -> u64 {
    const LOW_BITS: u64 = 0x7F7F_7F7F_7F7F_7F7F;
    let different = word(row, at) ^ word(row, at + 1);
    // The top bit of every byte that is zero, and of no other: no sum leaves its byte.
    let zero = !(((different & LOW_BITS) + LOW_BITS) | different | LOW_BITS);
    // Bit 8i + 7 goes to bit 56 + i: the factor has bits 49, 42, … 0, and no two products meet.
    zero.wrapping_mul(0x0002_0408_1020_4081) >> 56
}

#[inline]
fn word(bytes: &[u8], at: usize) -> u64 {
    let word = bytes[at..at + 8].try_into().expect("a slice of eight bytes");
    u64::from_le_bytes(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same cut, a byte at a time.
    fn plain(mut row: &[u8]) -> Vec<Span<'_>> {
        let mut spans = Vec::new();
        while let Some(&byte) = row.first() {
            let run = row.iter().take(LONGEST).take_while(|other| **other == byte).count();
            let three = row.windows(3).position(|three| three[0] == three[1] && three[1] == three[2]);
            let literal = three.unwrap_or(row.len()).min(LONGEST);
            let length = if run > 1 { run } else { literal };
            spans.push(if run > 1 { Span::Run { byte, length } } else { Span::Literal(&row[..length]) });
            row = &row[length..];
        }
        spans
    }

    #[test]
    fn each_pair_has_its_bit() {
        for length in 0..80 {
            let mut row: Vec<u8> = (0..length).collect();
            assert_eq!(pairs(&row), 0);
            for at in 1..row.len() {
                row[at] = row[at - 1];
                let wanted = if at <= KNOWN { 1 << (at - 1) } else { 0 };
                assert_eq!(pairs(&row), wanted, "{length} {at}");
                row[at] = u8::try_from(at).unwrap();
            }
            assert_eq!(pairs(&vec![0x80; row.len()]).count_ones() as usize, row.len().saturating_sub(1).min(KNOWN));
        }
        // Bytes that differ in one bit are not equal, whatever their neighbours.
        for bit in 0..8 {
            let row: Vec<u8> = (0..20).map(|at| (at & 1) << bit).collect();
            assert_eq!(pairs(&row), 0);
        }
    }

    #[test]
    fn every_row_of_twelve_bytes_of_two_kinds() {
        for kinds in 0..1u32 << 12 {
            for (zero, one) in [(0, 1), (0x7F, 0x80), (0xFF, 0)] {
                let row: Vec<u8> = (0..12).map(|at| if kinds >> at & 1 == 1 { one } else { zero }).collect();
                assert_eq!(spans(&row).collect::<Vec<_>>(), plain(&row), "{row:?}");
            }
        }
    }

    #[test]
    fn long_rows_of_runs_and_noise() {
        let mut state = 1u32;
        let mut next = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            usize::from(state.to_be_bytes()[0])
        };
        for round in 0..3000 {
            let length = [40, 64, 65, 129, 300, 700][round % 6];
            let mut row: Vec<u8> = Vec::new();
            while row.len() < length {
                let run = match next() % 16 {
                    0 => 40 + next(),
                    1..5 => 2 + next() % 3,
                    5 => {
                        // Noise beyond the longest literal.
                        row.extend((0..next()).map(|at| u8::try_from(at).unwrap()));
                        1
                    }
                    _ => 1,
                };
                row.extend(std::iter::repeat_n(u8::try_from(next() % 5).unwrap(), run));
            }
            row.truncate(length);
            assert_eq!(spans(&row).collect::<Vec<_>>(), plain(&row), "{row:?}");
        }
    }
}
