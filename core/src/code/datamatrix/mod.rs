//! Data Matrix ECC 200, square and rectangular (ISO/IEC 16022).

mod placement;
mod words;

pub(super) use words::least;
use words::words;

use super::galois::DATA_MATRIX;
use super::symbol::Symbol;

/// One size: modules, data regions down and across, words of data and check, blocks.
pub(super) struct Size {
    pub(super) rows: usize,
    pub(super) columns: usize,
    regions: (usize, usize),
    pub(super) data: usize,
    checks: usize,
    blocks: usize,
}

const fn size(rows: usize, columns: usize, regions: (usize, usize), data: usize, checks: usize, blocks: usize) -> Size {
    Size { rows, columns, regions, data, checks, blocks }
}

/// Sizes up to 104 × 104 (ISO/IEC 16022, table 7; larger ones have no place on a label).
pub(super) static SIZES: [Size; 27] = [
    size(8, 18, (1, 1), 5, 7, 1),
    size(8, 32, (1, 2), 10, 11, 1),
    size(12, 26, (1, 1), 16, 14, 1),
    size(12, 36, (1, 2), 22, 18, 1),
    size(16, 36, (1, 2), 32, 24, 1),
    size(16, 48, (1, 2), 49, 28, 1),
    size(10, 10, (1, 1), 3, 5, 1),
    size(12, 12, (1, 1), 5, 7, 1),
    size(14, 14, (1, 1), 8, 10, 1),
    size(16, 16, (1, 1), 12, 12, 1),
    size(18, 18, (1, 1), 18, 14, 1),
    size(20, 20, (1, 1), 22, 18, 1),
    size(22, 22, (1, 1), 30, 20, 1),
    size(24, 24, (1, 1), 36, 24, 1),
    size(26, 26, (1, 1), 44, 28, 1),
    size(32, 32, (2, 2), 62, 36, 1),
    size(36, 36, (2, 2), 86, 42, 1),
    size(40, 40, (2, 2), 114, 48, 1),
    size(44, 44, (2, 2), 144, 56, 1),
    size(48, 48, (2, 2), 174, 68, 1),
    size(52, 52, (2, 2), 204, 84, 2),
    size(64, 64, (4, 4), 280, 112, 2),
    size(72, 72, (4, 4), 368, 144, 4),
    size(80, 80, (4, 4), 456, 192, 4),
    size(88, 88, (4, 4), 576, 224, 4),
    size(96, 96, (4, 4), 696, 272, 4),
    size(104, 104, (4, 4), 816, 336, 6),
];

/// The symbol of a text in one size; `None` if it does not hold it.
pub(super) fn symbol(content: &str, number: usize) -> Option<Symbol> {
    let size = SIZES.get(number)?;
    Some(drawn(size, &words(content, size.data)?))
}

/// Data words with their check words, drawn with the finder around each region.
fn drawn(size: &Size, data: &[u8]) -> Symbol {
    let mut all = data.to_vec();
    all.resize(size.data + size.checks, 0);
    let mut checks = Vec::with_capacity(size.checks);
    for block in 0..size.blocks {
        checks.clear();
        DATA_MATRIX.check(
            data.iter().copied().skip(block).step_by(size.blocks),
            size.checks / size.blocks,
            &mut checks,
        );
        for (k, &word) in checks.iter().enumerate() {
            all[size.data + k * size.blocks + block] = word;
        }
    }
    // Each region is framed: two edges solid, left and below, two alternating.
    let (down, across) = size.regions;
    let (high, wide) = (size.rows / down - 2, size.columns / across - 2);
    let mut modules = vec![0_u128; size.columns];
    for (c, column) in modules.iter_mut().enumerate() {
        for region in 0..down {
            let top = region * (high + 2);
            let frame: u128 = match c % (wide + 2) {
                0 => super::symbol::ones(high + 2),
                at if at == wide + 1 => (0..high + 2).filter(|r| r % 2 == 1).map(|r| 1 << r).sum(),
                at => 1 << (high + 1) | u128::from(at % 2 == 0),
            };
            *column |= frame << top;
        }
    }
    placement::place(down * high, across * wide, |r, c, word, bit| {
        if all.get(word).is_none_or(|word| word >> (8 - bit) & 1 == 1) {
            modules[c + c / wide * 2 + 1] |= 1 << (r + r / high * 2 + 1);
        }
    });
    Symbol { modules, rows: size.rows, quiet: 1, linear: false }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_add_up() {
        for size in &SIZES {
            let (down, across) = size.regions;
            let bits = (size.rows - 2 * down) * (size.columns - 2 * across);
            // Four modules are left over where the words do not fill the square.
            assert!(bits - (size.data + size.checks) * 8 <= 4, "{} x {}", size.rows, size.columns);
            assert_eq!(size.checks % size.blocks, 0);
        }
    }

    #[test]
    fn the_standards_example() {
        // ISO/IEC 16022, annex O: "123456"; rows from a public source, first 10 of 12 bits.
        let rows = [0xAA8, 0xCB4, 0xC10, 0xC74, 0xC20, 0x83C, 0xEC0, 0xF64, 0x9D0, 0xFFC];
        let symbol = symbol("123456", 6).unwrap();
        for (r, bits) in rows.into_iter().enumerate() {
            for c in 0..10 {
                assert_eq!(symbol.dark(c, r), bits >> (11 - c) & 1 == 1, "row {r}, column {c}");
            }
        }
    }
}
