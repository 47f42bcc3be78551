//! Where the bits of each word lie (ISO/IEC 16022, annex F).

/// The mapping matrix while it is filled.
struct Matrix<F> {
    rows: isize,
    columns: isize,
    taken: Vec<u128>,
    put: F,
}

impl<F: FnMut(usize, usize, usize, usize)> Matrix<F> {
    /// One module; rows and columns below zero come in again at the far side, shifted (F.3).
    #[allow(clippy::cast_sign_loss, reason = "wrapped into the matrix just before")]
    fn module(&mut self, mut row: isize, mut column: isize, word: usize, bit: usize) {
        if row < 0 {
            row += self.rows;
            column += 4 - (self.rows + 4) % 8;
        }
        if column < 0 {
            column += self.columns;
            row += 4 - (self.columns + 4) % 8;
        }
        let (row, column) = (row as usize, column as usize);
        self.taken[column] |= 1 << row;
        (self.put)(row, column, word, bit);
    }

    /// The L-shaped eight modules of a word, by their lower right corner.
    fn word(&mut self, row: isize, column: isize, word: usize) {
        let shape = [(-2, -2), (-2, -1), (-1, -2), (-1, -1), (-1, 0), (0, -2), (0, -1), (0, 0)];
        for (bit, (down, right)) in (1..).zip(shape) {
            self.module(row + down, column + right, word, bit);
        }
    }

    /// A word cut by a corner: places from the far edges where negative.
    fn corner(&mut self, places: [(isize, isize); 8], word: usize) {
        for (bit, (row, column)) in (1..).zip(places) {
            let row = if row < 0 { row + self.rows } else { row };
            let column = if column < 0 { column + self.columns } else { column };
            self.module(row, column, word, bit);
        }
    }

    #[allow(clippy::cast_sign_loss, reason = "asked inside the matrix only")]
    fn free(&self, row: isize, column: isize) -> bool {
        self.taken[column as usize] >> row & 1 == 0
    }
}

/// Calls `put(row, column, word, bit)` for every module of a mapping matrix; words count from 0,
/// bits from 1, the most significant. Two dark modules of a corner that no word reaches are given
/// the word `usize::MAX`.
#[allow(clippy::cast_possible_wrap, reason = "at most 96 modules a side")]
pub(super) fn place(rows: usize, columns: usize, put: impl FnMut(usize, usize, usize, usize)) {
    let (high, wide) = (rows as isize, columns as isize);
    let mut matrix = Matrix { rows: high, columns: wide, taken: vec![0; columns], put };
    let (mut word, mut row, mut column) = (0, 4, 0);
    while row < high || column < wide {
        let corner = match (row - high, column) {
            (0, 0) => Some([(-1, 0), (-1, 1), (-1, 2), (0, -2), (0, -1), (1, -1), (2, -1), (3, -1)]),
            (-2, 0) if wide % 4 != 0 => Some([(-3, 0), (-2, 0), (-1, 0), (0, -4), (0, -3), (0, -2), (0, -1), (1, -1)]),
            (-2, 0) if wide % 8 == 4 => Some([(-3, 0), (-2, 0), (-1, 0), (0, -2), (0, -1), (1, -1), (2, -1), (3, -1)]),
            (4, 2) if wide % 8 == 0 => Some([(-1, 0), (-1, -1), (0, -3), (0, -2), (0, -1), (1, -3), (1, -2), (1, -1)]),
            _ => None,
        };
        if let Some(places) = corner {
            matrix.corner(places, word);
            word += 1;
        }
        // Diagonally up, then down, two modules on at each turn.
        loop {
            if row < high && column >= 0 && matrix.free(row, column) {
                matrix.word(row, column, word);
                word += 1;
            }
            (row, column) = (row - 2, column + 2);
            if row < 0 || column >= wide {
                break;
            }
        }
        (row, column) = (row + 1, column + 3);
        loop {
            if row >= 0 && column < wide && matrix.free(row, column) {
                matrix.word(row, column, word);
                word += 1;
            }
            (row, column) = (row + 2, column - 2);
            if row >= high || column < 0 {
                break;
            }
        }
        (row, column) = (row + 3, column + 1);
    }
    if matrix.free(high - 1, wide - 1) {
        (matrix.put)(rows - 1, columns - 1, usize::MAX, 8);
        (matrix.put)(rows - 2, columns - 2, usize::MAX, 8);
    }
}

#[cfg(test)]
mod tests {
    use super::place;
    use crate::code::datamatrix::SIZES;
    use std::collections::BTreeMap;

    #[test]
    fn every_word_has_its_eight_bits_once() {
        for size in &SIZES {
            let (down, across) = size.regions;
            let (rows, columns) = (size.rows - 2 * down, size.columns - 2 * across);
            let mut bits: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
            let mut modules = std::collections::BTreeSet::new();
            place(rows, columns, |row, column, word, bit| {
                assert!(modules.insert((row, column)), "{row}, {column} twice");
                bits.entry(word).or_default().push(bit);
            });
            bits.remove(&usize::MAX);
            assert_eq!(bits.len(), size.data + size.checks, "{rows} x {columns}");
            for (word, mut found) in bits {
                found.sort_unstable();
                assert_eq!(found, [1, 2, 3, 4, 5, 6, 7, 8], "word {word}");
            }
        }
    }
}
