//! What comes back out of a stream.

use tapewright_abi::value::Cut;

use super::bench::Piece;
use crate::{Events, Page};

/// What a decoder finds, all strips in a row: pages of a family that makes several of one strip
/// are told from strips by nothing.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Seen {
    /// Width of the lines, in dots.
    dots: u32,
    pub(super) rows: Vec<u8>,
    pub(super) lines: u32,
    pub(super) cuts: Vec<Cut>,
    before: u32,
    row: usize,
}

fn dot(row: &[u8], at: u32) -> bool {
    row.get(at as usize / 8).is_some_and(|byte| byte & (0x80 >> (at % 8)) != 0)
}

impl Seen {
    /// Whether its lines are these of `dots` dots: the same, or with blank dots around them, the
    /// same in every line, where a family fills its head.
    pub(super) fn shows(&self, rows: &[u8], dots: u32) -> bool {
        let Some(more) = self.dots.checked_sub(dots) else { return rows.is_empty() };
        if more == 0 {
            return self.rows == rows;
        }
        let row = dots.div_ceil(8) as usize;
        let same = |found: &[u8], sent: &[u8], first: u32| {
            (0..self.dots)
                .all(|at| dot(found, at) == at.checked_sub(first).is_some_and(|at| at < dots && dot(sent, at)))
        };
        let lines = self.rows.chunks_exact(self.row.max(1)).zip(rows.chunks_exact(row));
        self.rows.len() / self.row.max(1) == rows.len() / row
            && (0..=more).any(|first| lines.clone().all(|(found, sent)| same(found, sent, first)))
    }

    pub(super) fn of(pieces: &[Piece]) -> Seen {
        let mut seen = Seen::default();
        for piece in pieces {
            seen.rows.extend_from_slice(&piece.rows);
            seen.cuts.extend(piece.cuts.iter().map(|cut| Cut { line: seen.lines + cut.line, ..*cut }));
            seen.lines += piece.lines;
        }
        seen
    }
}

/// No check prints as many lines.
const MOST_LINES: u32 = 10_000;

impl Seen {
    /// Refuses more lines than can have been sent.
    fn room(&self, count: u32) -> Result<(), String> {
        match self.lines.checked_add(count) {
            Some(lines) if lines <= MOST_LINES => Ok(()),
            _ => Err(format!("{count} lines more after {} come back, wanted those that were sent", self.lines)),
        }
    }
}

impl Events for Seen {
    type Error = String;

    fn strip_begin(&mut self, page: &Page) -> Result<(), String> {
        if self.row != 0 && page.dots != self.dots {
            return Err(format!("strips of {} and of {} dots in one job", self.dots, page.dots));
        }
        self.dots = page.dots;
        self.before = self.lines;
        self.row = page.bytes_per_line() as usize;
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), String> {
        self.room(count)?;
        self.rows.extend_from_slice(rows);
        self.lines += count;
        Ok(())
    }

    fn blank(&mut self, count: u32) -> Result<(), String> {
        self.room(count)?;
        self.rows.resize(self.rows.len() + count as usize * self.row, 0);
        self.lines += count;
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<(), String> {
        self.cuts.push(Cut { line: self.before + cut.line, ..cut });
        Ok(())
    }

    fn strip_end(&mut self) -> Result<(), String> {
        Ok(())
    }
}
