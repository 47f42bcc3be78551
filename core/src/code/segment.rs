//! Text to the fewest bits, for all codes of the QR family.

/// Characters of the alphanumeric mode, by value (ISO/IEC 18004, table 5).
const ALPHANUMERIC: &[u8; 45] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";

const fn alphanumeric_values() -> [u8; 256] {
    let mut values = [255; 256];
    let mut value = 0;
    while value < 45 {
        values[ALPHANUMERIC[value as usize] as usize] = value;
        value += 1;
    }
    values
}
static VALUES: [u8; 256] = alphanumeric_values();

const NUMERIC: usize = 0;
const ALPHA: usize = 1;
const BYTE: usize = 2;

/// Bits a mode costs in one kind of symbol.
#[derive(Clone, Copy, Debug)]
pub(super) struct Modes {
    /// Bits of a mode indicator.
    pub(super) indicator_bits: usize,
    /// Indicators of the numeric, alphanumeric and byte modes.
    pub(super) indicators: [u32; 3],
    /// Bits of the character counts; 0 where the symbol lacks the mode.
    pub(super) count_bits: [usize; 3],
    /// The indicator before an extended channel designator, where the symbol has them.
    pub(super) eci: Option<u32>,
}

/// Bits, most significant first.
#[derive(Default)]
pub(super) struct Bits {
    bytes: Vec<u8>,
    count: usize,
}

impl Bits {
    #[allow(clippy::cast_possible_truncation, reason = "one byte at a time")]
    pub(super) fn push(&mut self, value: u32, count: usize) {
        let mut left = count;
        while left > 0 {
            let free = 8 - self.count % 8;
            if free == 8 {
                self.bytes.push(0);
            }
            let taken = free.min(left);
            let part = (value >> (left - taken)) & ((1 << taken) - 1);
            if let Some(last) = self.bytes.last_mut() {
                *last |= (part as u8) << (free - taken);
            }
            self.count += taken;
            left -= taken;
        }
    }

    pub(super) const fn len(&self) -> usize {
        self.count
    }

    /// The data words of a symbol: terminator, fill to a word, pad words (ISO/IEC 18004, 7.4.9 and
    /// 7.4.10); `None` if there are more bits than the symbol takes. Where the last word has only
    /// four bits (M1 and M3) they are its upper ones.
    pub(super) fn words(mut self, capacity_bits: usize, terminator: usize) -> Option<Vec<u8>> {
        if self.count > capacity_bits {
            return None;
        }
        self.push(0, terminator.min(capacity_bits - self.count));
        self.push(0, (8 - self.count % 8).min(capacity_bits - self.count) % 8);
        let mut pads = [0xEC, 0x11].into_iter().cycle();
        while self.count + 8 <= capacity_bits {
            self.push(pads.next()?, 8);
        }
        self.push(0, capacity_bits - self.count);
        Some(self.bytes)
    }
}

/// The modes of a text's bytes with the fewest bits; `None` if a mode is missing or a count too long.
pub(super) fn bits(content: &str, modes: &Modes) -> Option<Bits> {
    let bytes = content.as_bytes();
    let chosen = chosen(bytes, modes)?;
    let mut bits = Bits::default();
    if !content.is_ascii() {
        // Without a designator bytes are ISO/IEC 8859-1 (ISO/IEC 18004, 7.3.5); 26 says UTF-8.
        bits.push(modes.eci?, modes.indicator_bits);
        bits.push(26, 8);
    }
    let mut at = 0;
    for run in chosen.chunk_by(PartialEq::eq) {
        let (mode, part) = (run[0], &bytes[at..at + run.len()]);
        at += run.len();
        let count = u32::try_from(part.len()).ok()?;
        if count >> modes.count_bits[mode] != 0 {
            return None;
        }
        bits.push(modes.indicators[mode], modes.indicator_bits);
        bits.push(count, modes.count_bits[mode]);
        match mode {
            NUMERIC => {
                for digits in part.chunks(3) {
                    let number = digits.iter().fold(0, |n, digit| n * 10 + u32::from(digit - b'0'));
                    bits.push(number, digits.len() * 3 + 1);
                }
            }
            ALPHA => {
                for pair in part.chunks(2) {
                    let number = pair.iter().fold(0, |n, &c| n * 45 + u32::from(VALUES[usize::from(c)]));
                    bits.push(number, pair.len() * 5 + 1);
                }
            }
            _ => {
                for &byte in part {
                    bits.push(u32::from(byte), 8);
                }
            }
        }
    }
    Some(bits)
}

/// The mode of each byte, by the shortest way through them. Costs are sixths of a bit: a digit is
/// 20, a pair of letters 66.
fn chosen(bytes: &[u8], modes: &Modes) -> Option<Vec<usize>> {
    const NONE: usize = usize::MAX / 4;
    let head: [usize; 3] = std::array::from_fn(|mode| match modes.count_bits[mode] {
        0 => NONE,
        bits => (modes.indicator_bits + bits) * 6,
    });
    // For each byte and mode: the mode of the byte before on the cheapest way here.
    let mut before = Vec::with_capacity(bytes.len());
    let mut costs = [NONE; 3];
    for (i, &byte) in bytes.iter().enumerate() {
        let step =
            [if byte.is_ascii_digit() { 20 } else { NONE }, if VALUES[usize::from(byte)] < 45 { 33 } else { NONE }, 48];
        let (mut next, mut from) = ([NONE; 3], [0; 3]);
        for mode in [NUMERIC, ALPHA, BYTE] {
            if i == 0 {
                next[mode] = (head[mode] + step[mode]).min(NONE);
                continue;
            }
            for (last, &cost) in costs.iter().enumerate() {
                // A segment that ends takes whole bits.
                let to = if last == mode { cost } else { cost.div_ceil(6) * 6 + head[mode] } + step[mode];
                if to < next[mode] {
                    (next[mode], from[mode]) = (to, last);
                }
            }
        }
        costs = next;
        before.push(from);
    }
    // Whole bits decide; on a tie bytes, which change modes less often.
    let mut mode = [BYTE, ALPHA, NUMERIC].into_iter().min_by_key(|&mode| costs[mode].div_ceil(6))?;
    if bytes.is_empty() || costs[mode] >= NONE {
        return None;
    }
    let mut chosen = vec![0; bytes.len()];
    for (place, from) in chosen.iter_mut().zip(&before).rev() {
        *place = mode;
        mode = from[mode];
    }
    Some(chosen)
}

#[cfg(test)]
mod tests {
    use super::*;

    const V1: Modes = Modes { indicator_bits: 4, indicators: [1, 2, 4], count_bits: [10, 9, 8], eci: Some(7) };

    #[test]
    fn the_standards_examples() {
        // ISO/IEC 18004, 7.4.3 and annex I.2: "01234567" in version 1-M.
        let words = bits("01234567", &V1).unwrap().words(16 * 8, 4).unwrap();
        assert_eq!(words[..6], [0x10, 0x20, 0x0C, 0x56, 0x61, 0x80]);
        assert_eq!(words[6..], [0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11]);
        // 7.4.4: "AC-42" is 0010 000000101 00111001110 11100111001 000010.
        let found = bits("AC-42", &V1).unwrap();
        assert_eq!(found.len(), 41);
        assert_eq!(found.bytes, [0b0010_0000, 0b0010_1001, 0b1100_1110, 0b1110_0111, 0b0010_0001, 0]);
    }

    #[test]
    fn a_mode_changes_only_where_it_pays() {
        let modes = |text: &str| {
            let mut word: Vec<_> = chosen(text.as_bytes(), &V1).unwrap();
            word.dedup();
            word
        };
        assert_eq!(modes("TWP OTTER 1040"), [ALPHA]);
        // Digits on their own take 28 bits here, as bytes 24 and 32.
        assert_eq!(modes("abc104"), [BYTE]);
        assert_eq!(modes("abc1040"), [BYTE, NUMERIC]);
        assert_eq!(modes("https://tidewater.example/0123456789"), [BYTE, NUMERIC]);
        assert!(chosen(b"a", &Modes { count_bits: [4, 3, 0], ..V1 }).is_none());
    }

    #[test]
    fn characters_beyond_ascii_are_announced_or_refused() {
        let found = bits("Ω", &V1).unwrap();
        assert_eq!(found.bytes, [0x71, 0xA4, 0x02, 0xCE, 0xA9]);
        assert!(bits("Ω", &Modes { eci: None, ..V1 }).is_none());
    }
}
