//! Raw PBM pictures as `readback --pbm` writes them: a row a head line, 1 is ink.

use std::path::Path;

/// A picture of head lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pbm {
    /// Dots in a line.
    pub(crate) dots: usize,
    /// Lines, `ceil(dots / 8)` bytes each, dot 0 first.
    pub(crate) rows: Vec<Vec<u8>>,
}

impl Pbm {
    /// A blank picture.
    pub(crate) fn blank(dots: usize, lines: usize) -> Self {
        Self { dots, rows: vec![vec![0; dots.div_ceil(8)]; lines] }
    }

    /// Reads a raw PBM without comments (netpbm, pbm(5): `P4`, width, height, rows padded to bytes).
    pub(crate) fn read(path: &Path) -> Self {
        let name = path.display();
        let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{name}: {error}"));
        let mut words = Vec::new();
        let mut at = 0;
        while words.len() < 3 {
            let end = at
                + bytes[at..].iter().position(u8::is_ascii_whitespace).unwrap_or_else(|| panic!("{name}: no header"));
            words.push(std::str::from_utf8(&bytes[at..end]).expect("the header is ASCII").to_owned());
            at = end + 1;
        }
        assert_eq!(words[0], "P4", "{name}: not a raw PBM");
        let (dots, lines): (usize, usize) = (words[1].parse().expect("width"), words[2].parse().expect("height"));
        let row = dots.div_ceil(8);
        assert_eq!(bytes.len() - at, row * lines, "{name}: wanted {lines} rows of {row} bytes");
        let rows: Vec<Vec<u8>> = bytes[at..].chunks(row).map(<[u8]>::to_vec).collect();
        let picture = Self { dots, rows };
        let beyond = (dots..row * 8).fold(0_u8, |bits, dot| bits | 0x80 >> (dot % 8));
        let clean = picture.rows.iter().all(|row| row.last().is_none_or(|last| last & beyond == 0));
        assert!(clean, "{name}: ink beyond the last dot");
        picture
    }

    /// Writes it as [`Pbm::read`] reads it.
    pub(crate) fn write(&self, path: &Path) {
        let mut bytes = format!("P4 {} {}\n", self.dots, self.rows.len()).into_bytes();
        self.rows.iter().for_each(|row| bytes.extend(row));
        std::fs::write(path, bytes).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    }

    pub(crate) fn set(&mut self, line: usize, dot: usize) {
        assert!(dot < self.dots, "dot {dot} of {}", self.dots);
        self.rows[line][dot / 8] |= 0x80 >> (dot % 8);
    }

    pub(crate) fn get(&self, line: usize, dot: usize) -> bool {
        self.rows[line][dot / 8] & (0x80 >> (dot % 8)) != 0
    }

    pub(crate) fn ink(&self) -> u64 {
        self.rows.iter().flatten().map(|byte| u64::from(byte.count_ones())).sum()
    }

    /// The first line and dot in which two pictures of one size differ.
    pub(crate) fn first_difference(&self, other: &Self) -> Option<(usize, usize)> {
        let line = (0..self.rows.len()).find(|&line| self.rows[line] != other.rows[line])?;
        (0..self.dots).find(|&dot| self.get(line, dot) != other.get(line, dot)).map(|dot| (line, dot))
    }
}
