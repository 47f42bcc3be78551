//! Rectangular Micro QR codes, for narrow tape (ISO/IEC 23941).

use super::Ecc;
use super::grid::{Grid, with_check, word_bits};
use super::qr::interleaved;
use super::segment::{Modes, bits};
use super::symbol::Symbol;

/// One size: rows, columns, bits of the three counts, blocks and data words at M and at H.
pub(super) struct Size {
    pub(super) rows: usize,
    pub(super) columns: usize,
    count_bits: [usize; 3],
    blocks: [usize; 2],
    data_words: [usize; 2],
}

const fn size(rows: usize, columns: usize, count_bits: [usize; 3], m: (usize, usize), h: (usize, usize)) -> Size {
    Size { rows, columns, count_bits, blocks: [m.0, h.0], data_words: [m.1, h.1] }
}

/// All sizes, in the order of their numbers in the format (ISO/IEC 23941, tables 1, 3, 6 and 8;
/// values from public sources, capacities checked below).
pub(super) static SIZES: [Size; 32] = [
    size(7, 43, [4, 3, 3], (1, 6), (1, 3)),
    size(7, 59, [5, 5, 4], (1, 12), (1, 7)),
    size(7, 77, [6, 5, 5], (1, 20), (1, 10)),
    size(7, 99, [7, 6, 5], (1, 28), (1, 14)),
    size(7, 139, [7, 6, 6], (1, 44), (2, 24)),
    size(9, 43, [5, 5, 4], (1, 12), (1, 7)),
    size(9, 59, [6, 5, 5], (1, 21), (1, 11)),
    size(9, 77, [7, 6, 5], (1, 31), (2, 17)),
    size(9, 99, [7, 6, 6], (1, 42), (2, 22)),
    size(9, 139, [8, 7, 6], (2, 63), (3, 33)),
    size(11, 27, [4, 4, 3], (1, 7), (1, 5)),
    size(11, 43, [6, 5, 5], (1, 19), (1, 11)),
    size(11, 59, [7, 6, 5], (1, 31), (2, 15)),
    size(11, 77, [7, 6, 6], (1, 43), (2, 23)),
    size(11, 99, [8, 7, 6], (2, 57), (2, 29)),
    size(11, 139, [8, 7, 7], (2, 84), (3, 42)),
    size(13, 27, [5, 5, 4], (1, 12), (1, 7)),
    size(13, 43, [6, 6, 5], (1, 27), (1, 13)),
    size(13, 59, [7, 6, 6], (1, 38), (2, 20)),
    size(13, 77, [7, 7, 6], (2, 53), (2, 29)),
    size(13, 99, [8, 7, 7], (2, 73), (3, 35)),
    size(13, 139, [8, 8, 7], (3, 106), (4, 54)),
    size(15, 43, [7, 6, 6], (1, 33), (2, 15)),
    size(15, 59, [7, 7, 6], (1, 48), (2, 26)),
    size(15, 77, [8, 7, 7], (2, 67), (3, 31)),
    size(15, 99, [8, 7, 7], (2, 88), (4, 48)),
    size(15, 139, [9, 8, 7], (3, 127), (5, 69)),
    size(17, 43, [7, 6, 6], (1, 39), (2, 21)),
    size(17, 59, [8, 7, 6], (2, 56), (2, 28)),
    size(17, 77, [8, 7, 7], (2, 78), (3, 38)),
    size(17, 99, [8, 8, 7], (3, 100), (4, 56)),
    size(17, 139, [9, 8, 8], (4, 152), (6, 76)),
];

/// Columns of the vertical timing patterns (ISO/IEC 23941, table D.1).
const fn timing_columns(columns: usize) -> &'static [usize] {
    match columns {
        43 => &[21],
        59 => &[19, 39],
        77 => &[25, 51],
        99 => &[23, 49, 75],
        139 => &[27, 55, 83, 111],
        _ => &[],
    }
}

impl Size {
    /// Data bits at a level; 0 where rMQR lacks it.
    pub(super) const fn data_bits(&self, ecc: Ecc) -> usize {
        match ecc {
            Ecc::M => self.data_words[0] * 8,
            Ecc::H => self.data_words[1] * 8,
            Ecc::L | Ecc::Q => 0,
        }
    }

    /// Three bits of mode, the counts by size.
    const fn modes(&self) -> Modes {
        Modes { indicator_bits: 3, indicators: [1, 2, 3], count_bits: self.count_bits, eci: Some(7) }
    }
}

/// Bits a text takes in the size of a number.
pub(super) fn length(content: &str, number: usize) -> Option<usize> {
    bits(content, &SIZES[number].modes()).map(|bits| bits.len())
}

/// The symbol of a text in the size of a number; `None` if it does not hold it or there is no such
/// level: rMQR has M and H.
pub(super) fn symbol(content: &str, number: usize, ecc: Ecc) -> Option<Symbol> {
    let size = SIZES.get(number)?;
    let high = match ecc {
        Ecc::M => 0,
        Ecc::H => 1,
        Ecc::L | Ecc::Q => return None,
    };
    let words = bits(content, &size.modes())?.words(size.data_words[high] * 8, 3)?;
    let format = u32::try_from(high << 5 | number).ok()?;
    let mut grid = fixed(size, format);
    let free = grid.fixed.iter().map(|fixed| size.rows - fixed.count_ones() as usize).sum::<usize>();
    let checks = (free / 8 - words.len()) / size.blocks[high];
    grid.lay(word_bits(&interleaved(&words, size.blocks[high], checks), 8), size.columns - 2, None);
    // One mask for all (ISO/IEC 23941, 7.8.2): QR's number 4.
    Some(Symbol { modules: grid.masked(4), rows: size.rows, quiet: 2, linear: false })
}

/// Finders, corners, timing, alignment and format patterns.
fn fixed(size: &Size, format: u32) -> Grid {
    let (columns, rows) = (size.columns, size.rows);
    let mut grid = Grid::new(columns, rows);
    grid.timing_row(0, 8..=columns - 1);
    grid.timing_row(rows - 1, 0..=columns - 1);
    grid.timing_column(0, 0..=rows - 1);
    grid.timing_column(columns - 1, 0..=rows - 1);
    for &column in timing_columns(columns) {
        grid.timing_column(column, 0..=rows - 1);
        for row in [1, rows - 2] {
            for c in column - 1..=column + 1 {
                for r in row - 1..=row + 1 {
                    grid.set(c, r, (c, r) != (column, row));
                }
            }
        }
    }
    // The finder with its separator, the smaller one opposite, the corners of the other two.
    grid.light(0, 8, 0, rows.min(8));
    grid.target(3, 3, 3);
    grid.target(columns - 3, rows - 3, 2);
    for (column, row, dark) in
        [(columns - 1, 0, true), (columns - 2, 0, true), (columns - 1, 1, true), (columns - 2, 1, false)]
    {
        grid.set(column, row, dark);
    }
    for column in 0..3 {
        grid.set(column, rows - 1, true);
    }
    if rows >= 11 {
        grid.set(0, rows - 2, true);
        grid.set(1, rows - 2, false);
    }
    // Level and size, with 12 check bits, beside both finders (ISO/IEC 23941, 7.9).
    let bits = with_check(format, 0x1F25, 12);
    let (first, second) = (bits ^ 0x1_FAB2, bits ^ 0x2_0A7B);
    for k in 0..18 {
        grid.set(8 + k / 5, 1 + k % 5, first >> k & 1 == 1);
        let (column, row) = if k < 15 { (columns - 8 + k / 5, rows - 6 + k % 5) } else { (columns - 20 + k, rows - 6) };
        grid.set(column, row, second >> k & 1 == 1);
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn capacities() {
        // Digits and bytes at M and H; the rows R7x43 and R11x27 equal a second published table,
        // the rest is worked out from published word counts.
        for (number, m, h) in [
            (0, [12, 5], [5, 2]),
            (4, [102, 42], [54, 22]),
            (10, [14, 6], [9, 4]),
            (16, [26, 11], [14, 6]),
            (27, [90, 37], [47, 19]),
            (31, [361, 150], [178, 74]),
        ] {
            for (ecc, wanted) in [(Ecc::M, m), (Ecc::H, h)] {
                for (letter, most) in ["7", "a"].into_iter().zip(wanted) {
                    assert!(symbol(&letter.repeat(most), number, ecc).is_some(), "{number} {ecc:?} {letter}");
                    assert!(symbol(&letter.repeat(most + 1), number, ecc).is_none(), "{number} {ecc:?} {letter}");
                }
            }
        }
    }
}
