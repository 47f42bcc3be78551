//! Rows as what differs from the row before (compression method 3).
//!
//! A row is a list of replacements. The first byte of each holds in its upper three bits how many
//! bytes are replaced, less one, and in its lower five how many are kept before them: from the
//! beginning of the row, or from the end of the replacement before. 31 kept says that another byte
//! adds to it, and 255 in that that one more follows. Then come the bytes. What no replacement
//! reaches is kept.

/// Most bytes of one replacement: as many as a word has.
const LONGEST: usize = 8;

/// Appends what makes `row` of `seed`, which has the same length; nothing when they are equal.
/// Gives up once more than `most` bytes are appended, which are of no use then.
///
/// No other list of replacements is shorter: each maximal run of differing bytes stands for itself,
/// and to join two over the equal byte between them costs that byte and saves one at most.
pub(crate) fn encode(seed: &[u8], row: &[u8], most: usize, to: &mut Vec<u8>) {
    let begin = to.len();
    let mut kept_from = 0;
    let mut at = next_difference(seed, row, 0);
    while at < row.len() && to.len() - begin <= most {
        let end = next_equal(seed, row, at);
        let offset = at - kept_from;
        to.push(byte((end - at - 1) << 5 | offset.min(31)));
        if let Some(mut more) = offset.checked_sub(31) {
            while more >= 255 {
                to.push(255);
                more -= 255;
            }
            to.push(byte(more));
        }
        to.extend_from_slice(&row[at..end]);
        kept_from = end;
        at = next_difference(seed, row, end);
    }
}

fn byte(value: usize) -> u8 {
    u8::try_from(value).expect("made of parts that fit a byte")
}

/// Where the first byte from `at` on differs; the length when none does.
fn next_difference(seed: &[u8], row: &[u8], mut at: usize) -> usize {
    while let (Some(one), Some(two)) = (word(seed, at), word(row, at)) {
        let different = one ^ two;
        if different != 0 {
            return at + different.trailing_zeros() as usize / 8;
        }
        at += 8;
    }
    let rest = seed[at..].iter().zip(&row[at..]).position(|(one, two)| one != two);
    rest.map_or(row.len(), |rest| at + rest)
}

/// Where the first byte from `at` on is equal, looked for within one replacement.
fn next_equal(seed: &[u8], row: &[u8], at: usize) -> usize {
    if let (Some(one), Some(two)) = (word(seed, at), word(row, at)) {
        let different = one ^ two;
        // The lowest byte that is zero: borrows spread only upwards from there.
        let zero = different.wrapping_sub(0x0101_0101_0101_0101) & !different & 0x8080_8080_8080_8080;
        return at + if zero == 0 { LONGEST } else { zero.trailing_zeros() as usize / 8 };
    }
    let same = (at..row.len()).find(|byte| seed[*byte] == row[*byte]);
    same.unwrap_or(row.len())
}

fn word(bytes: &[u8], at: usize) -> Option<u64> {
    let word = bytes.get(at..at + 8)?.try_into().ok()?;
    Some(u64::from_le_bytes(word))
}

/// Makes a row of the one before, from pieces that may end anywhere.
#[derive(Debug, Default)]
pub(crate) struct Patch {
    /// The byte of the row that comes next.
    at: usize,
    state: State,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum State {
    /// Before a replacement.
    #[default]
    Command,
    /// Before a byte that adds to the offset; so many bytes will be replaced.
    Offset(usize),
    /// Inside a replacement, so many bytes to come.
    Bytes(usize),
}

impl Patch {
    /// Takes the next bytes; `row` holds the row before at first, and is the same in every call.
    /// The error says where in `bytes`, and what is wrong.
    pub(crate) fn push(&mut self, bytes: &[u8], row: &mut [u8]) -> Result<(), (usize, String)> {
        for (index, &byte) in bytes.iter().enumerate() {
            let value = usize::from(byte);
            match self.state {
                State::Command => {
                    let count = (value >> 5) + 1;
                    self.at = self.at.saturating_add(value & 31);
                    self.state = if value & 31 == 31 { State::Offset(count) } else { State::Bytes(count) };
                }
                State::Offset(count) => {
                    self.at = self.at.saturating_add(value);
                    if value < 255 {
                        self.state = State::Bytes(count);
                    }
                }
                State::Bytes(count) => {
                    row[self.at] = byte;
                    self.at += 1;
                    self.state = if count > 1 { State::Bytes(count - 1) } else { State::Command };
                    continue;
                }
            }
            if let State::Bytes(count) = self.state
                && row.len().saturating_sub(self.at) < count
            {
                let text = format!(
                    "replacement of {count} bytes from byte {} of the row, wanted it to end by byte {}",
                    self.at,
                    row.len()
                );
                return Err((index, text));
            }
        }
        Ok(())
    }

    /// The row ends here.
    pub(crate) fn finish(&self) -> Result<(), String> {
        if self.state == State::Command {
            return Ok(());
        }
        Err("the row ends inside a replacement, wanted its bytes".into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn encoded(seed: &[u8], row: &[u8]) -> Vec<u8> {
        let mut to = Vec::new();
        encode(seed, row, usize::MAX, &mut to);
        to
    }

    fn patched(seed: &[u8], bytes: &[u8], step: usize) -> Vec<u8> {
        let (mut row, mut patch) = (seed.to_vec(), Patch::default());
        for piece in bytes.chunks(step) {
            patch.push(piece, &mut row).unwrap();
        }
        patch.finish().unwrap();
        row
    }

    #[test]
    fn edges() {
        assert_eq!(encoded(&[1, 2], &[1, 2]), []);
        assert_eq!(encoded(&[0; 4], &[0, 9, 0, 8]), [0x01, 9, 0x01, 8]);
        assert_eq!(encoded(&[0; 9], &[5; 9]), [0xE0, 5, 5, 5, 5, 5, 5, 5, 5, 0x00, 5]);
        for (offset, bytes) in [
            (30, vec![0x1E]),
            (31, vec![0x1F, 0]),
            (32, vec![0x1F, 1]),
            (31 + 254, vec![0x1F, 254]),
            (31 + 255, vec![0x1F, 255, 0]),
            (31 + 511, vec![0x1F, 255, 255, 1]),
        ] {
            let mut row = vec![0; offset + 1];
            row[offset] = 7;
            assert_eq!(encoded(&vec![0; offset + 1], &row), [bytes, vec![7]].concat(), "{offset}");
        }
    }

    /// The least bytes any list of replacements takes, for rows shorter than 31 bytes.
    fn least(seed: &[u8], row: &[u8]) -> usize {
        let mut cost = vec![0; row.len() + 1];
        for at in (0..row.len()).rev() {
            let kept = (seed[at] == row[at]).then(|| cost[at + 1]);
            let replaced = (1..=LONGEST.min(row.len() - at)).map(|count| 1 + count + cost[at + count]);
            cost[at] = replaced.chain(kept).min().unwrap();
        }
        cost[0]
    }

    #[test]
    fn there_and_back_and_nothing_is_shorter() {
        // Every way in which fourteen bytes can differ.
        for pattern in 0..1u32 << 14 {
            let seed: Vec<u8> = (0..14).collect();
            let row: Vec<u8> = seed.iter().map(|at| if pattern >> at & 1 == 1 { at ^ 0x80 } else { *at }).collect();
            let bytes = encoded(&seed, &row);
            assert_eq!(bytes.len(), least(&seed, &row), "{pattern:b}");
            assert_eq!(patched(&seed, &bytes, 1 + pattern as usize % 5), row);
        }
    }

    #[test]
    fn gives_up_when_it_does_not_pay() {
        let (seed, row) = ([0; 40], [1; 40]);
        let mut to = vec![9];
        encode(&seed, &row, 45, &mut to);
        assert_eq!(to.len(), 1 + 45);
        to.clear();
        encode(&seed, &row, 17, &mut to);
        assert_eq!(to.len(), 18);
    }

    #[test]
    fn damage_is_named() {
        let push = |bytes: &[u8]| Patch::default().push(bytes, &mut [0; 4]);
        assert_eq!(
            push(&[0x01, 9, 0x41, 1]),
            Err((2, "replacement of 3 bytes from byte 3 of the row, wanted it to end by byte 4".into()))
        );
        let far = [&[0x1F][..], &[255; 3000], &[0]].concat();
        let (at, text) = push(&far).unwrap_err();
        assert_eq!(at, 3001);
        assert!(text.contains("from byte 765031 of the row"), "{text}");
        let mut patch = Patch::default();
        patch.push(&[0x20, 1], &mut [0; 4]).unwrap();
        assert_eq!(patch.finish().unwrap_err(), "the row ends inside a replacement, wanted its bytes");
    }
}
