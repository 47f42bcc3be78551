//! The paper on which matrix codes of the QR family are drawn: fixed modules first, then data.

use super::symbol::ones;

/// Modules in columns, bit `r` is row `r` from the top; the fixed ones are marked.
pub(super) struct Grid {
    pub(super) dark: Vec<u128>,
    pub(super) fixed: Vec<u128>,
    pub(super) rows: usize,
}

impl Grid {
    pub(super) fn new(columns: usize, rows: usize) -> Self {
        Self { dark: vec![0; columns], fixed: vec![0; columns], rows }
    }

    /// Fixes one module.
    pub(super) fn set(&mut self, column: usize, row: usize, dark: bool) {
        self.dark[column] = self.dark[column] & !(1 << row) | u128::from(dark) << row;
        self.fixed[column] |= 1 << row;
    }

    /// Fixes a piece of a column, `count` rows from `row` down.
    fn column(&mut self, column: usize, row: usize, count: usize, bits: u128) {
        let mask = ones(count) << row;
        self.dark[column] = self.dark[column] & !mask | bits << row & mask;
        self.fixed[column] |= mask;
    }

    /// Fixes a square ring pattern around a centre: a finder (`radius` 3) or an alignment pattern (2).
    pub(super) fn target(&mut self, column: usize, row: usize, radius: usize) {
        let side = 2 * radius + 1;
        let edge = 1 | 1 << (side - 1);
        let core = if radius == 3 { 0b101_1101 } else { 0b1_0101 };
        for k in 0..side {
            let bits = match k.min(side - 1 - k) {
                0 => ones(side),
                1 => edge,
                _ => core,
            };
            self.column(column + k - radius, row - radius, side, bits);
        }
    }

    /// Fixes light modules in a rectangle.
    pub(super) fn light(&mut self, column: usize, columns: usize, row: usize, rows: usize) {
        for c in column..column + columns {
            self.column(c, row, rows, 0);
        }
    }

    /// Fixes a row of a timing pattern: dark in even columns.
    pub(super) fn timing_row(&mut self, row: usize, columns: std::ops::RangeInclusive<usize>) {
        for c in columns {
            self.set(c, row, c % 2 == 0);
        }
    }

    /// Fixes a column of a timing pattern: dark in even rows.
    pub(super) fn timing_column(&mut self, column: usize, rows: std::ops::RangeInclusive<usize>) {
        for r in rows {
            self.set(column, r, r % 2 == 0);
        }
    }

    /// Lays bits into the free modules, in columns two wide from the right, upwards first, the
    /// right module of each pair first (ISO/IEC 18004, 7.7.3). `rightmost` is where the first pair
    /// starts, `skip` a column that belongs to no pair. Modules beyond the last bit stay light.
    pub(super) fn lay(&mut self, mut bits: impl Iterator<Item = bool>, rightmost: usize, skip: Option<usize>) {
        let (mut right, mut upwards) = (rightmost, true);
        loop {
            let left = right.saturating_sub(1);
            let free = [right, left].map(|c| !self.fixed[c]);
            let mut step = |row: usize| {
                for (side, c) in [right, left].into_iter().enumerate() {
                    if free[side] >> row & 1 == 1 && (side == 0 || left != right) {
                        self.dark[c] |= u128::from(bits.next().unwrap_or(false)) << row;
                    }
                }
            };
            if upwards {
                (0..self.rows).rev().for_each(&mut step);
            } else {
                (0..self.rows).for_each(&mut step);
            }
            upwards = !upwards;
            if right < 2 {
                return;
            }
            right -= 2;
            if Some(right) == skip {
                right -= 1;
            }
        }
    }

    /// The same with the free modules turned where the mask says.
    pub(super) fn masked(&self, mask: usize) -> Vec<u128> {
        let turned = self.dark.iter().zip(&self.fixed).enumerate();
        let within = ones(self.rows);
        turned.map(|(c, (dark, fixed))| dark ^ (MASKS[mask][c % 6] & !fixed & within)).collect()
    }
}

/// Words as bits; the last word may have only its upper `last` bits.
pub(super) fn word_bits(words: &[u8], last: usize) -> impl Iterator<Item = bool> {
    let count = words.len() * 8 - (8 - last);
    words.iter().flat_map(|word| (0..8).rev().map(move |bit| word >> bit & 1 == 1)).take(count)
}

/// The eight masks of ISO/IEC 18004, table 10, as columns; all repeat after six columns.
static MASKS: [[u128; 6]; 8] = masks();

const fn masks() -> [[u128; 6]; 8] {
    let mut masks = [[0; 6]; 8];
    let mut j = 0;
    while j < 6 {
        let mut i = 0;
        while i < 128 {
            let turned = [
                (i + j) % 2 == 0,
                i % 2 == 0,
                j % 3 == 0,
                (i + j) % 3 == 0,
                (i / 2 + j / 3) % 2 == 0,
                (i * j) % 2 + (i * j) % 3 == 0,
                ((i * j) % 2 + (i * j) % 3) % 2 == 0,
                ((i + j) % 2 + (i * j) % 3) % 2 == 0,
            ];
            let mut mask = 0;
            while mask < 8 {
                masks[mask][j] |= (turned[mask] as u128) << i;
                mask += 1;
            }
            i += 1;
        }
        j += 1;
    }
    masks
}

/// A value with its check bits behind it: the remainder of a binary polynomial of so many bits.
pub(super) const fn with_check(value: u32, polynomial: u32, bits: u32) -> u32 {
    let mut rest = value << bits;
    let mut at = 31;
    while at >= bits {
        if rest >> at & 1 == 1 {
            rest ^= polynomial << (at - bits);
        }
        at -= 1;
    }
    value << bits | rest
}
