//! Run lengths inside a line (PWG 5102.4-2012; from memory, checked against two other readers).
//!
//! With 1-bit pixels the unit is a byte. A code 0 … 127 says that the next byte stands code + 1
//! times, a code 129 … 255 that 257 − code bytes follow as they are. 128 is not used.

/// Longest run and longest literal.
const LONGEST: usize = 128;

/// Appends the line in run lengths. Adds at most one byte for 128 bytes and one at the end.
pub(crate) fn encode(line: &[u8], to: &mut Vec<u8>) {
    let mut rest = line;
    while let Some(&first) = rest.first() {
        let run = run(rest, first);
        if run > 1 || rest.len() == 1 {
            to.extend([code(run - 1), first]);
            rest = &rest[run..];
            continue;
        }
        let end = literal(rest);
        if end == 1 {
            to.extend([0, first]);
        } else {
            to.push(code(257 - end));
            to.extend_from_slice(&rest[..end]);
        }
        rest = &rest[end..];
    }
}

/// How often `first` stands at the beginning.
fn run(bytes: &[u8], first: u8) -> usize {
    let most = bytes.len().min(LONGEST);
    let others = bytes[..most].iter().position(|byte| *byte != first);
    others.unwrap_or(most)
}

/// How many bytes are better left as they are: up to the next run of three. A run of two inside
/// costs as much either way, and leaving the literal for it would cost a code.
fn literal(bytes: &[u8]) -> usize {
    let most = bytes.len().min(LONGEST);
    let run = bytes.windows(3).position(|three| three[0] == three[1] && three[1] == three[2]);
    run.unwrap_or(most).min(most)
}

fn code(value: usize) -> u8 {
    u8::try_from(value).expect("runs and literals are at most 128 long")
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
    }
}
