//! Run lengths inside a line (PWG 5102.4-2012; from memory, checked against two other readers).
//!
//! With 1-bit pixels the unit is a byte. A code 0 … 127 says that the next byte stands code + 1
//! times, a code 129 … 255 that 257 − code bytes follow as they are. 128 is not used.

use tapewright_kit::spans::{Span, spans};

/// Most bytes a line of `bytes` bytes takes: one more for each 128 bytes or part of them.
pub(crate) fn longest(bytes: usize) -> usize {
    bytes + bytes.div_ceil(128)
}

/// Appends the line in run lengths, at most [`longest`] bytes.
pub(crate) fn encode(line: &[u8], to: &mut Vec<u8>) {
    for span in spans(line) {
        match span {
            Span::Run { byte, length } => to.extend_from_slice(&[code(length - 1), byte]),
            // A run of one: no literal is as short as that.
            Span::Literal(&[byte]) => to.extend_from_slice(&[0, byte]),
            Span::Literal(bytes) => {
                to.push(code(257 - bytes.len()));
                to.extend_from_slice(bytes);
            }
        }
    }
}

#[allow(clippy::cast_possible_truncation, reason = "spans are 1 to 128 long, a literal here at least 2")]
const fn code(value: usize) -> u8 {
    value as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn encoded(line: &[u8]) -> Vec<u8> {
        let mut to = Vec::new();
        encode(line, &mut to);
        to
    }

    #[test]
    fn edges() {
        assert_eq!(encoded(&[]), []);
        assert_eq!(encoded(&[7]), [0, 7]);
        assert_eq!(encoded(&[7; 2]), [1, 7]);
        assert_eq!(encoded(&[7; 128]), [127, 7]);
        assert_eq!(encoded(&[7; 129]), [127, 7, 0, 7]);
        assert_eq!(encoded(&[1, 2]), [255, 1, 2]);
        // A literal, then a run of two: the run stays in the literal.
        assert_eq!(encoded(&[1, 2, 3, 3]), [253, 1, 2, 3, 3]);
        assert_eq!(encoded(&[1, 2, 3, 3, 4]), [252, 1, 2, 3, 3, 4]);
        // A run of three ends it.
        assert_eq!(encoded(&[1, 2, 3, 3, 3]), [255, 1, 2, 2, 3]);
        assert_eq!(encoded(&[1, 3, 3, 3]), [0, 1, 2, 3]);
    }

    #[test]
    fn longest_literal_has_128_bytes() {
        let all: Vec<u8> = (0..=255).collect();
        let literal = |bytes: &[u8], code: u8| [&[code], bytes].concat();
        assert_eq!(encoded(&all[..127]), literal(&all[..127], 130));
        assert_eq!(encoded(&all[..128]), literal(&all[..128], 129));
        assert_eq!(encoded(&all[..129]), [literal(&all[..128], 129), vec![0, 128]].concat());
        assert_eq!(encoded(&all[..130]), [literal(&all[..128], 129), vec![255, 128, 129]].concat());
        for length in 1..=256 {
            assert!(encoded(&all[..length]).len() <= longest(length), "{length}");
        }
    }
}
