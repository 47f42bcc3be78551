//! A code as modules, before it knows of dots.

use crate::bitmap::Bitmap;

/// Modules of one code: dark or light, in columns and rows.
///
/// # Guarantees
/// At most 128 rows. The quiet zone is not in the matrix; [`Symbol::quiet`] says how wide it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Symbol {
    /// One word a column, left to right; bit `r` is the module in row `r` from the top.
    pub(super) modules: Vec<u128>,
    pub(super) rows: usize,
    pub(super) quiet: usize,
    pub(super) linear: bool,
}

impl Symbol {
    /// Columns, left to right.
    pub fn columns(&self) -> usize {
        self.modules.len()
    }

    /// Rows, top to bottom; a linear code has one, as high as its bars.
    pub const fn rows(&self) -> usize {
        self.rows
    }

    /// Whether a module is dark; outside the matrix none is. Row 0 is at the top.
    pub fn dark(&self, column: usize, row: usize) -> bool {
        row < self.rows && self.modules.get(column).is_some_and(|bits| bits >> row & 1 == 1)
    }

    /// Modules of quiet zone on each side; a linear code has it left and right only.
    pub const fn quiet(&self) -> usize {
        self.quiet
    }

    /// Whether the code is made of bars, which may be as high as there is room.
    pub const fn linear(&self) -> bool {
        self.linear
    }

    /// The code in dots, its quiet zone included: so many dots a module along and up.
    pub(super) fn drawn(&self, along: usize, up: usize) -> Bitmap {
        let below = if self.linear { 0 } else { self.quiet * up };
        let lines = (self.columns() + 2 * self.quiet) * along;
        let mut ink = Bitmap::new(self.rows * up + 2 * below, lines);
        let mut bar = None;
        for (column, &bits) in self.modules.iter().enumerate() {
            let line = (self.quiet + column) * along;
            // Bars are all alike, and high.
            if let (true, 1, Some(bar)) = (self.linear, bits, bar) {
                for copy in 0..along {
                    ink.copy_lines(bar, line + copy, 1);
                }
                continue;
            }
            if bits != 0 {
                bar = Some(line);
            }
            // Dot 0 is at the bottom, row 0 at the top; runs of dark modules are filled as one.
            let mut bits = bits;
            while bits != 0 {
                let row = bits.trailing_zeros() as usize;
                let run = (bits >> row).trailing_ones() as usize;
                ink.fill(line, 1, below + (self.rows - row - run) * up, run * up);
                bits &= !(ones(run) << row);
            }
            for copy in 1..along {
                ink.copy_lines(line, line + copy, 1);
            }
        }
        ink
    }
}

/// The lowest `count` bits.
pub(super) const fn ones(count: usize) -> u128 {
    if count >= 128 { u128::MAX } else { (1 << count) - 1 }
}

/// Reads a picture as one sees it, `#` is dark, rows top to bottom.
#[cfg(test)]
pub(super) fn art(symbol: &Symbol) -> String {
    let row = |r| (0..symbol.columns()).map(|c| if symbol.dark(c, r) { '#' } else { '.' }).collect::<String>() + "\n";
    (0..symbol.rows()).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modules_become_whole_dots_with_the_quiet_zone_around() {
        // Rows from the top: ##, #., .# in two columns.
        let symbol = Symbol { modules: vec![0b011, 0b101], rows: 3, quiet: 1, linear: false };
        let wanted = "............\n............\n...######...\n...######...\n...###......\n...###......\n\
                      ......###...\n......###...\n............\n............\n";
        assert_eq!(symbol.drawn(3, 2).to_string(), wanted);
        assert_eq!(art(&symbol), "##\n#.\n.#\n");
        let bars = Symbol { modules: vec![1, 0, 1], rows: 1, quiet: 1, linear: true };
        assert_eq!(bars.drawn(1, 2).to_string(), ".#.#.\n.#.#.\n");
    }
}
