//! PackBits, the run lengths of TIFF that many command languages share.
//!
//! A code 0 … 127 says that code + 1 bytes follow as they are; 129 … 255 that the next byte stands
//! 257 − code times; 128 says nothing.
//!
//! ```
//! use tapewright_kit::packbits;
//!
//! let mut packed = Vec::new();
//! packbits::encode(&[1, 2, 3, 0, 0, 0, 0, 0], &mut packed);
//! assert_eq!(packed, [2, 1, 2, 3, 252, 0]);
//!
//! let mut row = [0xFF; 8];
//! assert_eq!(packbits::decode(&packed, &mut row), Ok(8));
//! assert_eq!(row, [1, 2, 3, 0, 0, 0, 0, 0]);
//! ```
//!
//! # Sources
//!
//! TIFF 6.0, section 9, and Apple Technical Note TN1023 (from memory; its worked example is a
//! test, and so is an independent decoder in Python).

use std::fmt;

use crate::spans::{LONGEST, Span, spans};

/// Appends `row` to `to` in PackBits.
///
/// # Guarantees
///
/// - At most one byte more than `row` for each 128 bytes or part of them.
/// - No encoding is shorter as long as no literal has to be broken at 128 bytes.
/// - Code 128 is not used, and no byte stands in a run of one.
pub fn encode(row: &[u8], to: &mut Vec<u8>) {
    // Room for the longest encoding and eight bytes too many, so that nothing moves in between.
    to.reserve(row.len() + row.len().div_ceil(LONGEST) + 8);
    let mut rest = row;
    for span in spans(row) {
        let length = match span {
            Span::Run { byte, length } => {
                to.extend_from_slice(&[code(257 - length), byte]);
                length
            }
            Span::Literal(bytes) => {
                to.push(code(bytes.len() - 1));
                match rest.first_chunk::<8>() {
                    // Mostly a literal is short: a fixed number of bytes is copied faster.
                    Some(eight) if bytes.len() <= 8 => {
                        let end = to.len() + bytes.len();
                        to.extend_from_slice(eight);
                        to.truncate(end);
                    }
                    _ => to.extend_from_slice(bytes),
                }
                bytes.len()
            }
        };
        rest = &rest[length..];
    }
}

#[allow(clippy::cast_possible_truncation, reason = "spans are 1 to 128 long, and a run at least 2")]
const fn code(value: usize) -> u8 {
    value as u8
}

/// Unpacks `packed` into the beginning of `row`, and says how many bytes it filled; the rest of
/// `row` stays.
///
/// # Errors
///
/// - More bytes than `row` has room for.
/// - The end inside a run or literal.
pub fn decode(packed: &[u8], row: &mut [u8]) -> Result<usize, Damage> {
    let mut unpacker = Unpacker::default();
    unpacker.push(packed, row)?;
    unpacker.finish(packed.len())
}

/// Unpacks one row from pieces that may end anywhere.
#[derive(Debug, Clone, Default)]
pub struct Unpacker {
    filled: usize,
    state: State,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum State {
    /// Before a code.
    #[default]
    Code,
    /// Before the byte that stands so many times.
    Run(usize),
    /// Inside a literal, so many bytes to come.
    Literal(usize),
}

impl Unpacker {
    /// Takes the next bytes; `row` is the same in every call.
    ///
    /// # Errors
    ///
    /// More bytes than `row` has room for. What went before is in `row`.
    pub fn push(&mut self, packed: &[u8], row: &mut [u8]) -> Result<(), Damage> {
        let mut at = 0;
        while let Some(&byte) = packed.get(at) {
            match self.state {
                State::Code => {
                    let (length, next) = match usize::from(byte) {
                        128 => (0, State::Code),
                        code @ 0..128 => (code + 1, State::Literal(code + 1)),
                        code => (257 - code, State::Run(257 - code)),
                    };
                    let room = row.len().saturating_sub(self.filled);
                    if length > room {
                        return Err(Damage { at, kind: DamageKind::TooLong { length, room } });
                    }
                    self.state = next;
                    at += 1;
                }
                State::Run(length) => {
                    row[self.filled..self.filled + length].fill(byte);
                    self.filled += length;
                    self.state = State::Code;
                    at += 1;
                }
                State::Literal(length) => {
                    let taken = length.min(packed.len() - at);
                    row[self.filled..self.filled + taken].copy_from_slice(&packed[at..at + taken]);
                    self.filled += taken;
                    at += taken;
                    self.state = if taken < length { State::Literal(length - taken) } else { State::Code };
                }
            }
        }
        Ok(())
    }

    /// The row ends here: how many bytes were filled. `at` is reported when that is wrong.
    ///
    /// # Errors
    ///
    /// The end inside a run or literal.
    pub fn finish(&self, at: usize) -> Result<usize, Damage> {
        match self.state {
            State::Code => Ok(self.filled),
            State::Run(_) => Err(Damage { at, kind: DamageKind::TooShort { missing: 1 } }),
            State::Literal(missing) => Err(Damage { at, kind: DamageKind::TooShort { missing } }),
        }
    }
}

/// Why bytes are no PackBits of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Damage {
    /// Where in the bytes handed over last.
    pub at: usize,
    /// What is wrong there.
    pub kind: DamageKind,
}

/// What is wrong with packed bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DamageKind {
    /// A run or literal is longer than what is left of the row.
    TooLong {
        /// Bytes of the run or literal.
        length: usize,
        /// Bytes left of the row.
        room: usize,
    },
    /// The end comes inside a run or literal.
    TooShort {
        /// Bytes still to come.
        missing: usize,
    },
}

impl fmt::Display for DamageKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DamageKind::TooLong { length, room } => {
                write!(f, "run or literal of {length} bytes, wanted at most the {room} left of the row")
            }
            DamageKind::TooShort { missing } => {
                write!(f, "the packed row ends inside a run or literal, wanted {missing} bytes more")
            }
        }
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}: {}", self.at, self.kind)
    }
}

impl std::error::Error for Damage {}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(row: &[u8]) -> Vec<u8> {
        let mut to = Vec::new();
        encode(row, &mut to);
        to
    }

    fn unpacked(bytes: &[u8]) -> Vec<u8> {
        let mut row = vec![0xEE; 4096];
        let filled = decode(bytes, &mut row).unwrap();
        row.truncate(filled);
        row
    }

    /// Apple Technical Note TN1023, "Understanding PackBits", its example of 24 bytes (from memory).
    #[test]
    fn worked_example() {
        let row = [
            0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0xAA, 0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0x22, 0xAA, 0xAA, 0xAA, 0xAA,
            0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA,
        ];
        let bytes = [0xFE, 0xAA, 0x02, 0x80, 0x00, 0x2A, 0xFD, 0xAA, 0x03, 0x80, 0x00, 0x2A, 0x22, 0xF7, 0xAA];
        assert_eq!(packed(&row), bytes);
        assert_eq!(unpacked(&bytes), row);
    }

    #[test]
    fn edges() {
        assert_eq!(packed(&[]), []);
        assert_eq!(packed(&[7]), [0, 7]);
        assert_eq!(packed(&[7; 2]), [255, 7]);
        assert_eq!(packed(&[7; 128]), [129, 7]);
        assert_eq!(packed(&[7; 129]), [129, 7, 0, 7]);
        assert_eq!(packed(&[7; 130]), [129, 7, 255, 7]);
        // A run of two stays in a literal, a run of three ends it.
        assert_eq!(packed(&[1, 2, 3, 3, 4]), [4, 1, 2, 3, 3, 4]);
        assert_eq!(packed(&[1, 2, 3, 3, 3]), [1, 1, 2, 254, 3]);
        let all: Vec<u8> = (0..=255).collect();
        assert_eq!(packed(&all[..128]), [&[127], &all[..128]].concat());
        assert_eq!(packed(&all[..129]), [&[127], &all[..128], &[0, 128]].concat());
    }

    #[test]
    fn runs_are_found_wherever_they_lie() {
        for length in 1..40 {
            for start in 0..length {
                for run in 1..=length - start {
                    let mut row: Vec<u8> = (1..=length).map(|byte| u8::try_from(byte).unwrap()).collect();
                    row[start..start + run].fill(0x80);
                    assert_eq!(unpacked(&packed(&row)), row);
                    let literal = if run < 3 && start > 0 { length } else { start };
                    if literal > 0 {
                        assert_eq!(usize::from(packed(&row)[0]), literal - 1, "{row:?}");
                    }
                }
            }
        }
    }

    /// The least bytes any encoding takes, by looking at all of them from the end.
    fn least(row: &[u8]) -> usize {
        let mut cost = vec![0; row.len() + 1];
        for at in (0..row.len()).rev() {
            let run = row[at..].iter().take_while(|byte| **byte == row[at]).count().min(LONGEST);
            let runs = (1..=run).map(|run| 2 + cost[at + run]);
            let literals = (1..=LONGEST.min(row.len() - at)).map(|literal| 1 + literal + cost[at + literal]);
            cost[at] = runs.chain(literals).min().unwrap();
        }
        cost[0]
    }

    /// Rows of runs and noise, the same on every machine.
    fn row(seed: u32, length: usize) -> Vec<u8> {
        let mut state = seed.wrapping_mul(2_654_435_761) | 1;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state.to_be_bytes()[0]
        };
        let mut row = Vec::new();
        while row.len() < length {
            let run = 1 + usize::from(next() % 5 / 2);
            let byte = next() % 3;
            row.extend(std::iter::repeat_n(byte, if next() < 6 { run * 60 } else { run }));
        }
        row.truncate(length);
        row
    }

    #[test]
    fn nothing_is_shorter() {
        for seed in 0..2000 {
            let row = row(seed, (seed % 127 + 1) as usize);
            let packed = packed(&row);
            assert_eq!(unpacked(&packed), row);
            assert_eq!(packed.len(), least(&row), "{row:?}");
        }
        // Where a literal is broken at 128 bytes, a byte more for each break.
        for seed in 0..60 {
            let row = row(seed, 900);
            let packed = packed(&row);
            assert_eq!(unpacked(&packed), row);
            assert!(packed.len() <= least(&row) + 900 / LONGEST);
        }
    }

    #[test]
    fn the_worst_row_grows_little() {
        for length in [1usize, 127, 128, 129, 1000] {
            let noise: Vec<u8> = (0..length).map(|at| u8::try_from(at * 7 % 251).unwrap()).collect();
            assert_eq!(packed(&noise).len(), length + length.div_ceil(LONGEST));
        }
    }

    #[test]
    fn pieces_may_end_anywhere() {
        for step in 1..9 {
            let wanted = row(3, 300);
            let mut found = vec![0; 300];
            let mut unpacker = Unpacker::default();
            for piece in packed(&wanted).chunks(step) {
                unpacker.push(piece, &mut found).unwrap();
            }
            assert_eq!(unpacker.finish(0), Ok(300));
            assert_eq!(found, wanted);
        }
    }

    #[test]
    fn damage_is_named() {
        let text = |bytes: &[u8]| decode(bytes, &mut [0; 4]).unwrap_err().to_string();
        assert_eq!(text(&[254, 1, 254, 2]), "byte 2: run or literal of 3 bytes, wanted at most the 1 left of the row");
        assert_eq!(text(&[4, 1]), "byte 0: run or literal of 5 bytes, wanted at most the 4 left of the row");
        assert_eq!(text(&[3, 1]), "byte 2: the packed row ends inside a run or literal, wanted 3 bytes more");
        assert_eq!(text(&[255]), "byte 1: the packed row ends inside a run or literal, wanted 1 bytes more");
        assert_eq!(decode(&[128, 128, 255, 9], &mut [0; 4]), Ok(2));
    }
}
