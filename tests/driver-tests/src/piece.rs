//! Strips as values.

use tapewright_host::{Cut, CutKind};

/// A strip, or a page of a stream, with its lines one by one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Piece {
    /// Width of a line in dots.
    pub dots: u32,
    /// Blank lines before the first label, as the driver is told; 0 in what was read.
    pub lead: u32,
    /// Lines of ⌈`dots` / 8⌉ bytes, dot 0 in the highest bit of the first; lead lines too.
    pub rows: Vec<Vec<u8>>,
    /// Cuts in ascending order.
    pub cuts: Vec<Cut>,
}

impl Piece {
    /// Number of lines.
    ///
    /// # Panics
    ///
    /// When a `u32` does not hold it.
    pub fn lines(&self) -> u32 {
        u32::try_from(self.rows.len()).expect("fewer lines than a strip can have")
    }

    /// Dots `first …` of each row, `dots` of them; those the piece does not have are blank. Taken
    /// dot by dot, on purpose not the way a driver does it. There is no lead in it.
    pub fn window(&self, first: i64, dots: u32) -> Piece {
        let row = |row: &Vec<u8>| {
            let mut to = vec![0; dots.div_ceil(8) as usize];
            for dot in 0..dots {
                let (from, dot) = (i64::from(dot) + first, dot as usize);
                if (0..i64::from(self.dots)).contains(&from) {
                    let from = usize::try_from(from).expect("a dot of the line");
                    if row[from / 8] & (0x80 >> (from % 8)) != 0 {
                        to[dot / 8] |= 0x80 >> (dot % 8);
                    }
                }
            }
            to
        };
        Piece { dots, lead: 0, rows: self.rows.iter().map(row).collect(), cuts: self.cuts.clone() }
    }

    /// The pieces between the cuts, of whatever kind: a full cut at the end of each, but at the end
    /// of the last only if the strip has one there.
    pub fn split_at_cuts(&self) -> Vec<Piece> {
        let mut pieces = Vec::new();
        let mut first = 0;
        let ends = self.cuts.iter().map(|cut| (cut.line as usize, true));
        for (end, is_cut) in ends.chain([(self.rows.len(), false)]) {
            if first < end {
                let piece = Piece { dots: self.dots, rows: self.rows[first..end].to_vec(), ..Piece::default() };
                pieces.push(if is_cut { piece.with_end_cut() } else { piece });
            }
            first = end;
        }
        pieces
    }

    /// The same lines with one cut, a full one at the end.
    pub fn with_end_cut(self) -> Piece {
        let cut = Cut { line: self.lines(), kind: CutKind::Full };
        Piece { cuts: vec![cut], ..self }
    }
}

/// The bits that are dots, in the last byte of a row of `dots` dots. The others must be 0.
pub fn last_byte_dots(dots: u32) -> u8 {
    let free = (8 - dots % 8) % 8;
    0xFF_u8.checked_shl(free).expect("fewer than 8 bits are free")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(rows: &[u8], cuts: &[u32]) -> Piece {
        Piece {
            dots: 8,
            lead: 1,
            rows: rows.iter().map(|byte| vec![*byte]).collect(),
            cuts: cuts.iter().map(|line| Cut { line: *line, kind: CutKind::Full }).collect(),
        }
    }

    #[test]
    fn a_window_may_lie_anywhere() {
        let piece = piece(&[0b1100_0101], &[1]);
        assert_eq!(piece.window(0, 8), Piece { lead: 0, ..piece.clone() });
        assert_eq!(piece.window(1, 3).rows, [[0b1000_0000]]);
        assert_eq!(piece.window(-2, 12).rows, [[0b0011_0001, 0b0100_0000]]);
        assert_eq!(piece.window(5, 9).rows, [[0b1010_0000, 0]]);
    }

    #[test]
    fn dots_of_the_last_byte() {
        assert_eq!([1, 3, 7, 8, 9, 16].map(last_byte_dots), [0x80, 0xE0, 0xFE, 0xFF, 0x80, 0xFF]);
    }

    #[test]
    fn pieces_between_cuts() {
        let rows = |pieces: &[Piece]| pieces.iter().map(|piece| piece.rows.concat()).collect::<Vec<_>>();
        let pieces = piece(&[1, 2, 3, 4], &[1, 3]).split_at_cuts();
        assert_eq!(rows(&pieces), [vec![1], vec![2, 3], vec![4]]);
        let ends: Vec<Option<u32>> = pieces.iter().map(|piece| piece.cuts.last().map(|cut| cut.line)).collect();
        assert_eq!(ends, [Some(1), Some(2), None]);
        assert_eq!(piece(&[1, 2], &[2]).split_at_cuts(), [Piece { lead: 0, ..piece(&[1, 2], &[2]) }]);
    }
}
