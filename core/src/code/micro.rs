//! Micro QR codes, M1 to M4 (ISO/IEC 18004).

use super::Ecc;
use super::galois::QR;
use super::grid::{Grid, with_check, word_bits};
use super::segment::{Modes, bits};
use super::symbol::{Symbol, ones};

/// Number in the format, data bits, check words of a size at a level (ISO/IEC 18004, tables 7, 9
/// and 13); `None` where the size lacks the level. M1 only detects errors and stands under L.
pub(super) const fn kind(size: usize, ecc: Ecc) -> Option<(u32, usize, usize)> {
    match (size, ecc) {
        (1, Ecc::L) => Some((0, 20, 2)),
        (2, Ecc::L) => Some((1, 40, 5)),
        (2, Ecc::M) => Some((2, 32, 6)),
        (3, Ecc::L) => Some((3, 84, 6)),
        (3, Ecc::M) => Some((4, 68, 8)),
        (4, Ecc::L) => Some((5, 128, 8)),
        (4, Ecc::M) => Some((6, 112, 10)),
        (4, Ecc::Q) => Some((7, 80, 14)),
        _ => None,
    }
}

/// Modules a side.
pub(super) const fn side(size: usize) -> usize {
    9 + 2 * size
}

/// Bits of the modes (ISO/IEC 18004, tables 2 and 3): M1 has digits only, M2 no bytes; none has
/// designators, so the bytes are ASCII.
const fn modes(size: usize) -> Modes {
    let count_bits = match size {
        1 => [3, 0, 0],
        2 => [4, 3, 0],
        3 => [5, 4, 4],
        _ => [6, 5, 5],
    };
    Modes { indicator_bits: size - 1, indicators: [0, 1, 2], count_bits, eci: None }
}

/// Bits a text takes in a size; `None` if the size lacks a mode for it.
pub(super) fn length(content: &str, size: usize) -> Option<usize> {
    bits(content, &modes(size)).map(|bits| bits.len())
}

/// The four masks by their numbers among QR's (ISO/IEC 18004, table 10).
const MASKS: [usize; 4] = [1, 4, 6, 7];

/// The symbol of a text in one size; `None` if it does not hold it. `mask` is chosen by the
/// standard's scores unless it is given.
pub(super) fn symbol(content: &str, size: usize, ecc: Ecc, mask: Option<usize>) -> Option<Symbol> {
    let (number, data_bits, checks) = kind(size, ecc)?;
    let data = bits(content, &modes(size))?.words(data_bits, 2 * size + 1)?;
    let mut behind = Vec::with_capacity(checks);
    QR.check(data.iter().copied(), checks, &mut behind);
    let side = side(size);
    let mut grid = Grid::new(side, side);
    grid.light(0, 9, 0, 9);
    grid.target(3, 3, 3);
    grid.timing_row(0, 8..=side - 1);
    grid.timing_column(0, 8..=side - 1);
    let last = (data_bits - 1) % 8 + 1;
    grid.lay(word_bits(&data, last).chain(word_bits(&behind, 8)), side - 1, None);
    let drawn = |mask: usize| {
        let mut modules = grid.masked(MASKS[mask]);
        let bits = with_check(number << 2 | u32::try_from(mask).unwrap_or(0), 0x537, 10) ^ 0x4445;
        for (bit, k) in (0..15).zip(0..15_usize) {
            let (column, row) = if k < 8 { (8, k + 1) } else { (15 - k, 8) };
            modules[column] |= u128::from(bits >> bit & 1) << row;
        }
        modules
    };
    let modules = match mask {
        Some(mask) => drawn(mask),
        // The best has the highest score: the last of equals would win, so look from the end.
        None => (0..4).rev().map(drawn).max_by_key(|modules| score(modules))?,
    };
    Some(Symbol { modules, rows: side, quiet: 2, linear: false })
}

/// Dark modules of the right and the lower edge, without the timing patterns (ISO/IEC 18004, 7.8.3.2).
fn score(modules: &[u128]) -> u32 {
    let side = modules.len();
    let right = (modules[side - 1] & ones(side) & !1).count_ones();
    let lower = modules[1..].iter().map(|bits| u32::from(bits >> (side - 1) & 1 == 1)).sum::<u32>();
    right.min(lower) * 16 + right.max(lower)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn capacities() {
        // Digits, letters, bytes (ISO/IEC 18004, table 7, from public copies).
        for (size, ecc, wanted) in [
            (1, Ecc::L, [5, 0, 0]),
            (2, Ecc::L, [10, 6, 0]),
            (2, Ecc::M, [8, 5, 0]),
            (3, Ecc::L, [23, 14, 9]),
            (3, Ecc::M, [18, 11, 7]),
            (4, Ecc::L, [35, 21, 15]),
            (4, Ecc::M, [30, 18, 13]),
            (4, Ecc::Q, [21, 13, 9]),
        ] {
            for (letter, most) in ["7", "A", "a"].into_iter().zip(wanted) {
                assert!(symbol(&letter.repeat(most + 1), size, ecc, None).is_none(), "M{size} {ecc:?} {letter}");
                if most > 0 {
                    assert!(symbol(&letter.repeat(most), size, ecc, None).is_some(), "M{size} {ecc:?} {letter}");
                }
            }
        }
    }
}
