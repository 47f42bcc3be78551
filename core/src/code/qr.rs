//! QR codes, versions 1 to 27 (ISO/IEC 18004).

use super::Ecc;
use super::galois::QR;
use super::grid::{Grid, with_check, word_bits};
use super::segment::{Modes, bits};
use super::symbol::{Symbol, ones};
use std::ops::{BitAnd, BitOr, BitXor, Not, Shl, Shr};

/// The largest version drawn here: 125 modules a side are more than a wide tape has room for.
pub(super) const LAST_VERSION: usize = 27;

/// Check words a block, by level and version (ISO/IEC 18004, table 9).
const CHECKS: [[u8; LAST_VERSION]; 4] = [
    [7, 10, 15, 20, 26, 18, 20, 24, 30, 18, 20, 24, 26, 30, 22, 24, 28, 30, 28, 28, 28, 28, 30, 30, 26, 28, 30],
    [10, 16, 26, 18, 24, 16, 18, 22, 22, 26, 30, 22, 22, 24, 24, 28, 28, 26, 26, 26, 26, 28, 28, 28, 28, 28, 28],
    [13, 22, 18, 26, 18, 24, 18, 22, 20, 24, 28, 26, 24, 20, 30, 24, 28, 28, 26, 30, 28, 30, 30, 30, 30, 28, 30],
    [17, 28, 22, 16, 22, 28, 26, 26, 24, 28, 24, 28, 22, 24, 24, 30, 28, 28, 26, 28, 30, 24, 30, 30, 30, 30, 30],
];
/// Blocks, by level and version (the same table).
const BLOCKS: [[u8; LAST_VERSION]; 4] = [
    [1, 1, 1, 1, 1, 2, 2, 2, 2, 4, 4, 4, 4, 4, 6, 6, 6, 6, 7, 8, 8, 9, 9, 10, 12, 12, 12],
    [1, 1, 1, 2, 2, 4, 4, 4, 5, 5, 5, 8, 9, 9, 10, 10, 11, 13, 14, 16, 17, 17, 18, 20, 21, 23, 25],
    [1, 1, 2, 2, 4, 4, 6, 6, 8, 8, 8, 10, 12, 16, 12, 17, 16, 18, 21, 20, 23, 23, 25, 27, 29, 34, 34],
    [1, 1, 2, 4, 4, 4, 5, 6, 8, 8, 11, 11, 16, 16, 18, 16, 19, 21, 25, 25, 25, 34, 30, 32, 35, 37, 40],
];

/// Modules a side.
pub(super) const fn side(version: usize) -> usize {
    17 + 4 * version
}

/// All words of a version: the modules that are not fixed, in whole bytes.
const fn words_in(version: usize) -> usize {
    let mut modules = (16 * version + 128) * version + 64;
    if version >= 2 {
        let targets = version / 7 + 2;
        modules -= (25 * targets - 10) * targets - 55;
        if version >= 7 {
            modules -= 36;
        }
    }
    modules / 8
}

/// Blocks and check words a block.
fn blocks(version: usize, ecc: Ecc) -> (usize, usize) {
    (usize::from(BLOCKS[ecc as usize][version - 1]), usize::from(CHECKS[ecc as usize][version - 1]))
}

/// Data words of a version at a level.
pub(super) fn data_words(version: usize, ecc: Ecc) -> usize {
    let (blocks, checks) = blocks(version, ecc);
    words_in(version) - blocks * checks
}

/// Bits of the modes (ISO/IEC 18004, tables 2 and 3).
pub(super) const fn modes(version: usize) -> Modes {
    let count_bits = match version {
        ..=9 => [10, 9, 8],
        10..=26 => [12, 11, 16],
        _ => [14, 13, 16],
    };
    Modes { indicator_bits: 4, indicators: [1, 2, 4], count_bits, eci: Some(7) }
}

/// The symbol of a text in one version; `None` if it does not hold it. `mask` is chosen by the
/// standard's scores unless it is given.
pub(super) fn symbol(content: &str, version: usize, ecc: Ecc, mask: Option<usize>) -> Option<Symbol> {
    let words = bits(content, &modes(version))?.words(data_words(version, ecc) * 8, 4)?;
    let (blocks, checks) = blocks(version, ecc);
    let all = interleaved(&words, blocks, checks);
    let mut grid = fixed(version);
    let side = side(version);
    grid.lay(word_bits(&all, 8), side - 1, Some(6));
    let drawn = |mask: usize| {
        let mut modules = grid.masked(mask);
        draw_format(&mut modules, ecc, mask);
        modules
    };
    let modules = match mask {
        Some(mask) => drawn(mask),
        None => (0..8).map(drawn).min_by_key(|modules| score(modules))?,
    };
    Some(Symbol { modules, rows: side, quiet: 4, linear: false })
}

/// Data words in turn of all blocks, then their check words (ISO/IEC 18004, 7.6). The first blocks
/// are one data word shorter where they do not divide.
pub(super) fn interleaved(words: &[u8], blocks: usize, checks: usize) -> Vec<u8> {
    let (short, longer) = (words.len() / blocks, words.len() % blocks);
    let mut all = Vec::with_capacity(words.len() + blocks * checks);
    let start = |block: usize| block * short + (block + longer).saturating_sub(blocks);
    for k in 0..=short {
        all.extend((0..blocks).filter(|&b| start(b) + k < start(b + 1)).map(|b| words[start(b) + k]));
    }
    let mut behind = Vec::with_capacity(blocks * checks);
    for block in 0..blocks {
        QR.check(words[start(block)..start(block + 1)].iter().copied(), checks, &mut behind);
    }
    for k in 0..checks {
        all.extend((0..blocks).map(|block| behind[block * checks + k]));
    }
    all
}

/// Finders, timing, alignment and version patterns; the place of the format is kept free of data.
fn fixed(version: usize) -> Grid {
    let side = side(version);
    let mut grid = Grid::new(side, side);
    grid.timing_row(6, 8..=side - 9);
    grid.timing_column(6, 8..=side - 9);
    // Each finder with its separator and the format's place, 9 × 9, 8 × 9 and 9 × 8 modules.
    grid.light(0, 9, 0, 9);
    grid.light(side - 8, 8, 0, 9);
    grid.light(0, 9, side - 8, 8);
    for (column, row) in [(3, 3), (side - 4, 3), (3, side - 4)] {
        grid.target(column, row, 3);
    }
    // The timing patterns run from separator to separator; within 9 × 9 their first module is dark.
    grid.set(6, 8, true);
    grid.set(8, 6, true);
    if version >= 2 {
        let count = version / 7 + 2;
        let step = (version * 4 + count * 2 + 1) / (count * 2 - 2) * 2;
        let centre = |k: usize| if k == 0 { 6 } else { side - 7 - (count - 1 - k) * step };
        for across in 0..count {
            for down in 0..count {
                let on_finder = [(0, 0), (0, count - 1), (count - 1, 0)].contains(&(across, down));
                if !on_finder {
                    grid.target(centre(across), centre(down), 2);
                }
            }
        }
    }
    if version >= 7 {
        // ISO/IEC 18004, 7.10: 6 bits of version, 12 check bits.
        let bits = with_check(u32::try_from(version).unwrap_or(0), 0x1F25, 12);
        for k in 0..18 {
            let (long, short, dark) = (k / 3, side - 11 + k % 3, bits >> k & 1 == 1);
            grid.set(long, short, dark);
            grid.set(short, long, dark);
        }
    }
    grid
}

/// Level and mask beside the finders, twice (ISO/IEC 18004, 7.9.1), and the dark module.
fn draw_format(modules: &mut [u128], ecc: Ecc, mask: usize) {
    let side = modules.len();
    let level = [1, 0, 3, 2][ecc as usize];
    let bits = with_check(level << 3 | u32::try_from(mask).unwrap_or(0), 0x537, 10) ^ 0x5412;
    let mut set = |column: usize, row: usize, bit: u32| {
        modules[column] |= u128::from(bits >> bit & 1) << row;
    };
    // Bit 0 is the last of the format, at the top of the column right of the first finder.
    for (bit, k) in (0..15).zip(0..15_usize) {
        match k {
            0..=5 => set(8, k, bit),
            6 | 7 => set(8, k + 1, bit),
            8 => set(7, 8, bit),
            _ => set(14 - k, 8, bit),
        }
        if k < 8 {
            set(side - 1 - k, 8, bit);
        } else {
            set(8, side - 15 + k, bit);
        }
    }
    modules[8] |= 1 << (side - 8);
}

/// The penalty of ISO/IEC 18004, 7.8.3, over whole columns of bits at once. The light area that
/// makes a finder's ratio count may lie in the quiet zone.
#[allow(clippy::cast_possible_truncation, reason = "a column of so few rows is one word")]
fn score(modules: &[u128]) -> u32 {
    let all = ones(modules.len());
    // Up to version 11 a column is one machine word, which halves the time of a code.
    if modules.len() <= 64 {
        let narrow: Vec<u64> = modules.iter().map(|&bits| bits as u64).collect();
        score_of(&narrow, all as u64)
    } else {
        score_of(modules, all)
    }
}

/// A column of modules: one machine word, or two.
trait Column:
    Copy
    + PartialEq
    + Default
    + BitAnd<Output = Self>
    + BitOr<Output = Self>
    + BitXor<Output = Self>
    + Not<Output = Self>
    + Shl<u32, Output = Self>
    + Shr<u32, Output = Self>
{
    fn count(self) -> u32;
}

impl Column for u64 {
    fn count(self) -> u32 {
        self.count_ones()
    }
}

impl Column for u128 {
    fn count(self) -> u32 {
        self.count_ones()
    }
}

/// The same for columns of one or two words, given the rows there are.
fn score_of<C: Column>(modules: &[C], all: C) -> u32 {
    let side = modules.len();
    let none = C::default();
    let column = |c: usize| modules.get(c).copied().unwrap_or(none);
    // Neighbours of one colour, down (bit r: rows r and r + 1) and to the right.
    let down = |c: usize| if c < side { !(column(c) ^ column(c) >> 1) & all >> 1 } else { none };
    let right = |c: usize| if c + 1 < side { !(column(c) ^ column(c + 1)) & all } else { none };
    let (mut runs, mut blocks, mut finders, mut dark) = (0, 0, 0, 0);
    let mut long_before = none;
    let (mut r0, mut r1, mut r2, mut r3) = (right(0), right(1), right(2), right(3));
    for c in 0..side {
        // N1: five or more in a row: 3, and 1 for each beyond five; a run of n has n - 4 places at
        // which five begin.
        let d = down(c);
        let long = d & d >> 1 & d >> 2 & d >> 3;
        runs += long.count() + 2 * (long & !(long << 1)).count();
        let long = r0 & r1 & r2 & r3;
        runs += long.count() + 2 * (long & !long_before).count();
        long_before = long;
        // N2: squares of two by two.
        blocks += (d & r0 & r0 >> 1).count();
        // N3: dark, light, three dark, light, dark, with four light before or after.
        let w = column(c);
        let core = w & !(w >> 1) & w >> 2 & w >> 3 & w >> 4 & !(w >> 5) & w >> 6;
        if core != none {
            let before = !(w << 1 | w << 2 | w << 3 | w << 4);
            let after = !(w >> 7 | w >> 8 | w >> 9 | w >> 10);
            finders += (core & (before | after)).count();
        }
        if c + 6 < side {
            let core =
                w & !column(c + 1) & column(c + 2) & column(c + 3) & column(c + 4) & !column(c + 5) & column(c + 6);
            if core != none {
                let at = |k: usize| c.checked_sub(k).map_or(none, column);
                let before = !(at(1) | at(2) | at(3) | at(4));
                let after = !(column(c + 7) | column(c + 8) | column(c + 9) | column(c + 10));
                finders += (core & (before | after)).count();
            }
        }
        dark += w.count();
        (r0, r1, r2, r3) = (r1, r2, r3, right(c + 4));
    }
    // N4: each 5 % away from half dark.
    let total = u32::try_from(side * side).unwrap_or(u32::MAX);
    let away = (dark * 20).abs_diff(total * 10) / total;
    runs + 3 * blocks + 40 * finders + 10 * away
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The scores counted module by module, straight from the standard's words.
    fn plain(modules: &[u128]) -> u32 {
        let side = modules.len();
        let at = |c: usize, r: usize| modules[c] >> r & 1 == 1;
        let lines: Vec<Vec<bool>> = (0..side)
            .map(|c| (0..side).map(|r| at(c, r)).collect())
            .chain((0..side).map(|r| (0..side).map(|c| at(c, r)).collect()))
            .collect();
        let mut score = 0;
        for line in &lines {
            for run in line.chunk_by(PartialEq::eq).filter(|run| run.len() >= 5) {
                score += 3 + u32::try_from(run.len()).unwrap() - 5;
            }
            let padded = [vec![false; 4], line.clone(), vec![false; 4]].concat();
            let core = [true, false, true, true, true, false, true];
            for k in 4..4 + side - 6 {
                let light = |range: &[bool]| range.iter().all(|dark| !dark);
                let around = light(&padded[k - 4..k]) || light(&padded[k + 7..k + 11]);
                score += if padded[k..k + 7] == core && around { 40 } else { 0 };
            }
        }
        for c in 1..side {
            for r in 1..side {
                let square = [at(c, r), at(c - 1, r), at(c, r - 1), at(c - 1, r - 1)];
                score += if square == [square[0]; 4] { 3 } else { 0 };
            }
        }
        let dark = modules.iter().map(|bits| bits.count_ones()).sum::<u32>();
        let total = u32::try_from(side * side).unwrap();
        score + 10 * ((dark * 20).abs_diff(total * 10) / total)
    }

    #[test]
    fn bit_columns_score_as_single_modules_do() {
        for version in [1, 2, 7, 13, 27] {
            for mask in 0..8 {
                let text = format!("https://tidewater.example/c/{version}");
                let Some(symbol) =
                    symbol(&text, version, Ecc::L, Some(mask)).or(symbol("1040", version, Ecc::H, Some(mask)))
                else {
                    panic!("version {version} holds four digits");
                };
                assert_eq!(score(&symbol.modules), plain(&symbol.modules), "version {version}, mask {mask}");
            }
        }
    }

    #[test]
    fn capacities() {
        // ISO/IEC 18004, table 7: digits of versions 1 to 3, levels L, M, Q, H; from public copies.
        for (version, digits) in [(1, [41, 34, 27, 17]), (2, [77, 63, 48, 34]), (3, [127, 101, 77, 58])] {
            for (ecc, digits) in [Ecc::L, Ecc::M, Ecc::Q, Ecc::H].into_iter().zip(digits) {
                assert!(symbol(&"7".repeat(digits), version, ecc, Some(0)).is_some(), "{version} {ecc:?}");
                assert!(symbol(&"7".repeat(digits + 1), version, ecc, Some(0)).is_none(), "{version} {ecc:?}");
            }
        }
    }

    #[test]
    fn words_take_turns_and_the_first_blocks_are_the_shorter() {
        let all = interleaved(&[1, 2, 3, 4, 5], 2, 2);
        assert_eq!(all[..5], [1, 3, 2, 4, 5]);
        assert_eq!(all.len(), 9);
    }
}
