//! Many lines at once, where they differ in nothing but their dots.

use crate::row::Moves;

/// A block of records that differ in nothing but the dots.
#[derive(Debug)]
pub(crate) struct Frame {
    /// Bytes of one record.
    record: usize,
    /// Where in it the dots stand.
    dots: std::ops::Range<usize>,
    block: Vec<u8>,
}

impl Frame {
    /// As many records as lie well in a processor's first cache.
    const BLOCK: usize = 16 << 10;

    pub(crate) fn new(before: &[u8], dots: usize, after: &[u8]) -> Frame {
        let record = [before, &vec![0; dots], after].concat();
        Frame {
            record: record.len(),
            dots: before.len()..before.len() + dots,
            block: record.repeat((Frame::BLOCK / record.len()).max(1)),
        }
    }

    /// Bytes of one record.
    pub(crate) fn record_bytes(&self) -> usize {
        self.record
    }

    /// Records of the block.
    pub(crate) fn records(&self) -> usize {
        self.block.len() / self.record
    }

    /// The first `count` records.
    pub(crate) fn bytes(&self, count: usize) -> &[u8] {
        &self.block[..count * self.record]
    }

    /// Puts lines into the first records: at most `most`, and when `stops` only up to the first
    /// blank one; the first line goes in any case. How many went.
    pub(crate) fn fill(&mut self, rows: &[u8], line_bytes: usize, moves: &Moves, most: usize, stops: bool) -> usize {
        if moves.is_copy(line_bytes) {
            return copy_rows(rows, line_bytes, self, most, stops);
        }
        let mut moved = Vec::new();
        let mut count = 0;
        let records = self.block.chunks_exact_mut(self.record).take(most);
        for (row, record) in rows.chunks_exact(line_bytes).zip(records) {
            if stops && count > 0 && is_blank(row) {
                break;
            }
            moves.row(row, &mut moved);
            record[self.dots.clone()].copy_from_slice(&moved);
            count += 1;
        }
        count
    }
}

/// As [`Frame::fill`], of rows that go as they are.
fn copy_rows(rows: &[u8], line_bytes: usize, frame: &mut Frame, most: usize, stops: bool) -> usize {
    // The widths of common heads: a row of known length is a few moves.
    match line_bytes {
        8 => copy_rows_of::<8>(rows, frame, most, stops),
        16 => copy_rows_of::<16>(rows, frame, most, stops),
        32 => copy_rows_of::<32>(rows, frame, most, stops),
        48 => copy_rows_of::<48>(rows, frame, most, stops),
        _ => {
            let mut count = 0;
            let records = frame.block.chunks_exact_mut(frame.record).take(most);
            for (row, record) in rows.chunks_exact(line_bytes).zip(records) {
                if stops && count > 0 && is_blank(row) {
                    break;
                }
                record[frame.dots.clone()].copy_from_slice(row);
                count += 1;
            }
            count
        }
    }
}

fn copy_rows_of<const BYTES: usize>(rows: &[u8], frame: &mut Frame, most: usize, stops: bool) -> usize {
    let mut count = 0;
    let records = frame.block.chunks_exact_mut(frame.record).take(most);
    for (row, record) in rows.as_chunks::<BYTES>().0.iter().zip(records) {
        if stops && count > 0 && *row == [0; BYTES] {
            break;
        }
        let Some(dots) = record[frame.dots.start..].first_chunk_mut::<BYTES>() else { break };
        *dots = *row;
        count += 1;
    }
    count
}

/// Whether a row has no ink.
pub(crate) fn is_blank(row: &[u8]) -> bool {
    let (words, rest) = row.as_chunks::<8>();
    words.iter().all(|word| u64::from_le_bytes(*word) == 0) && rest.iter().all(|byte| *byte == 0)
}
