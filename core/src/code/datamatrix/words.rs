//! Text to data words: ASCII, C40, Text and Base 256 encodation (ISO/IEC 16022, 5.2).
//!
//! X12 and EDIFACT are left out: they save a word on few texts and some readers get them wrong
//! (a guess; the four here are what is met in practice).

/// Values with a meaning of their own (ISO/IEC 16022, table 2).
const PAD: u8 = 129;
const PAIRS: u8 = 130;
const LATCH_C40: u8 = 230;
const LATCH_BASE: u8 = 231;
const UPPER: u8 = 235;
const LATCH_TEXT: u8 = 239;
const DESIGNATOR: u8 = 241;
const UNLATCH: u8 = 254;

/// A character as values of C40, or of Text with the cases of letters changed (ISO/IEC 16022,
/// tables 4 and 5); how many of the two count. Only ASCII.
const fn values(byte: u8, text: bool) -> ([u8; 2], usize) {
    let byte = match byte {
        b'a'..=b'z' if text => byte - 32,
        b'A'..=b'Z' if text => byte + 32,
        _ => byte,
    };
    match byte {
        b' ' => ([3, 0], 1),
        b'0'..=b'9' => ([byte - b'0' + 4, 0], 1),
        b'A'..=b'Z' => ([byte - b'A' + 14, 0], 1),
        0..=31 => ([0, byte], 2),
        33..=47 => ([1, byte - 33], 2),
        58..=64 => ([1, byte - 58 + 15], 2),
        91..=95 => ([1, byte - 91 + 22], 2),
        _ => ([2, byte - 96], 2),
    }
}

/// Where the way through the text stands: in ASCII, in C40 or Text with so many values waiting for
/// a triple, or among the bytes of Base 256.
const ASCII: usize = 0;
const C40: usize = 1;
const TEXT: usize = 4;
const BASE: usize = 7;
const STATES: usize = 8;

/// Beyond every real cost.
const NEVER: u32 = u32::MAX / 8;

/// The data words of a text with pads, exactly `capacity`; `None` if there is not room.
pub(in crate::code) fn words(content: &str, capacity: usize) -> Option<Vec<u8>> {
    if content.is_empty() {
        return None;
    }
    // In a full symbol nothing needs to change back at the end; only then is the way there wanted.
    [3, 0].into_iter().find_map(|last| written(content, capacity, &shortest(content.as_bytes(), last)))
}

/// Words no symbol of this text can do without.
pub(in crate::code) fn least(content: &str) -> usize {
    let (_, cost) = way(content.as_bytes(), 0);
    cost.div_ceil(3) as usize + if content.is_ascii() { 0 } else { 2 }
}

/// The data words of a text whose bytes are written in these states.
fn written(content: &str, capacity: usize, states: &[usize]) -> Option<Vec<u8>> {
    let mut words = Vec::with_capacity(capacity);
    if !content.is_ascii() {
        // Designator 26, UTF-8, is written as 27 (ISO/IEC 16022, 5.4.1).
        words.extend([DESIGNATOR, 27]);
    }
    let bytes = content.as_bytes();
    let mut at = 0;
    for run in states.chunk_by(|a, b| family(*a) == family(*b)) {
        let part = &bytes[at..at + run.len()];
        at += run.len();
        match family(run[0]) {
            ASCII => ascii(part, &mut words),
            BASE => base(part, &mut words)?,
            text => {
                words.push(if text == TEXT { LATCH_TEXT } else { LATCH_C40 });
                triples(part, text == TEXT, &mut words);
                if at < bytes.len() || words.len() < capacity {
                    words.push(UNLATCH);
                }
            }
        }
    }
    if words.len() > capacity {
        return None;
    }
    if words.len() < capacity {
        words.push(PAD);
    }
    while words.len() < capacity {
        // ISO/IEC 16022, annex B.1: pads are scattered by their place.
        let place = words.len() + 1;
        let scattered = usize::from(PAD) + (149 * place) % 253 + 1;
        words.push(u8::try_from(if scattered > 254 { scattered - 254 } else { scattered }).ok()?);
    }
    Some(words)
}

/// The encodation a state belongs to.
const fn family(state: usize) -> usize {
    match state {
        ASCII => ASCII,
        BASE => BASE,
        _ if state < TEXT => C40,
        _ => TEXT,
    }
}

/// The state each byte is written in, by the shortest way.
fn shortest(bytes: &[u8], last: u32) -> Vec<usize> {
    way(bytes, last).0
}

/// The same with its cost, in thirds of a word; `last` is the cost of changing back from C40 or Text
/// at the end. Both are left on whole triples only.
fn way(bytes: &[u8], last: u32) -> (Vec<usize>, u32) {
    let mut costs = vec![[NEVER; STATES]; bytes.len() + 1];
    costs[bytes.len()] = [0, last, NEVER, NEVER, last, NEVER, NEVER, 0];
    let mut next = vec![[ASCII; STATES]; bytes.len()];
    for (i, &byte) in bytes.iter().enumerate().rev() {
        let after = costs[i + 1];
        // This byte written in each state.
        let mut stay = [NEVER; STATES];
        stay[ASCII] = after[ASCII] + if byte < 128 { 3 } else { 6 };
        if byte.is_ascii_digit() && bytes.get(i + 1).is_some_and(u8::is_ascii_digit) {
            stay[ASCII] = stay[ASCII].min(costs[i + 2][ASCII] + 3);
        }
        stay[BASE] = after[BASE] + 3;
        if byte < 128 {
            for first in [C40, TEXT] {
                let count = values(byte, first == TEXT).1;
                for waiting in 0..3 {
                    let cost = if count == 1 { 2 } else { 4 };
                    stay[first + waiting] = after[first + (waiting + count) % 3] + cost;
                }
            }
        }
        // The best from ASCII, changes included: a latch, for Base 256 a length too.
        let from_ascii = [(ASCII, 0), (C40, 3), (TEXT, 3), (BASE, 6)];
        let (anew, state) =
            from_ascii.map(|(state, cost)| (stay[state] + cost, state)).into_iter().min().unwrap_or((NEVER, ASCII));
        for here in 0..STATES {
            let back = match here {
                ASCII | BASE => 0,
                C40 | TEXT => 3,
                _ => NEVER,
            };
            (costs[i][here], next[i][here]) =
                if stay[here] <= anew + back { (stay[here], here) } else { (anew + back, state) };
        }
    }
    let mut here = ASCII;
    let mut states = Vec::with_capacity(bytes.len());
    let mut paired = false;
    for (i, &byte) in bytes.iter().enumerate() {
        if paired {
            paired = false;
            states.push(ASCII);
            continue;
        }
        let state = next[i][here];
        states.push(state);
        here = match family(state) {
            ASCII => {
                let both = byte.is_ascii_digit() && bytes.get(i + 1).is_some_and(u8::is_ascii_digit);
                paired = both && costs[i + 2][ASCII] <= costs[i + 1][ASCII];
                ASCII
            }
            BASE => BASE,
            first => first + (state - first + values(byte, first == TEXT).1) % 3,
        };
    }
    (states, costs[0][ASCII])
}

/// ISO/IEC 16022, 5.2.3: two digits a word, another character one, one above 127 two.
fn ascii(part: &[u8], words: &mut Vec<u8>) {
    let mut i = 0;
    while let Some(&byte) = part.get(i) {
        match part.get(i + 1) {
            Some(next) if byte.is_ascii_digit() && next.is_ascii_digit() => {
                words.push(PAIRS + (byte - b'0') * 10 + (next - b'0'));
                i += 1;
            }
            _ if byte > 127 => words.extend([UPPER, byte - 127]),
            _ => words.push(byte + 1),
        }
        i += 1;
    }
}

/// ISO/IEC 16022, 5.2.5.2: three values in two words.
fn triples(part: &[u8], text: bool, words: &mut Vec<u8>) {
    let values: Vec<u8> = part
        .iter()
        .flat_map(|&byte| {
            let (values, count) = values(byte, text);
            values.into_iter().take(count)
        })
        .collect();
    for triple in values.chunks_exact(3) {
        let number = u16::from(triple[0]) * 1600 + u16::from(triple[1]) * 40 + u16::from(triple[2]) + 1;
        words.extend(number.to_be_bytes());
    }
}

/// ISO/IEC 16022, 5.2.9: a length and the bytes, each scattered by its place (annex B.2).
fn base(part: &[u8], words: &mut Vec<u8>) -> Option<()> {
    words.push(LATCH_BASE);
    let length = part.len();
    let mut plain = Vec::with_capacity(length + 2);
    if length > 249 {
        plain.push(u8::try_from(length / 250 + 249).ok()?);
    }
    plain.push(u8::try_from(length % 250).ok()?);
    plain.extend(part);
    for byte in plain {
        let place = words.len() + 1;
        words.push(u8::try_from((usize::from(byte) + (149 * place) % 255 + 1) % 256).ok()?);
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_examples() {
        // ISO/IEC 16022, annex O, and a public source for the two others.
        assert_eq!(words("123456", 3).unwrap(), [142, 164, 186]);
        assert_eq!(words("1234569", 5).unwrap(), [142, 164, 186, 58, 129]);
        assert_eq!(words("Aa999", 5).unwrap(), [66, 98, 229, 58, 129]);
        assert!(words("123456", 2).is_none());
        // ISO/IEC 16022, 5.2.5.2: the triple A I M is 91 11 (values 14, 22, 26).
        let mut triple = Vec::new();
        triples(b"AIM", false, &mut triple);
        assert_eq!(triple, [91, 11]);
    }

    /// A plain reader of the four encodations: what a symbol says, whatever way it was found.
    fn read(words: &[u8]) -> Vec<u8> {
        let (mut bytes, mut i) = (Vec::new(), 0);
        while i < words.len() {
            let word = words[i];
            i += 1;
            match word {
                1..=128 => bytes.push(word - 1),
                PAD => break,
                PAIRS..=229 => bytes.extend([(word - PAIRS) / 10 + b'0', (word - PAIRS) % 10 + b'0']),
                UPPER => {
                    bytes.push(words[i] + 127);
                    i += 1;
                }
                DESIGNATOR => i += 1,
                LATCH_BASE => {
                    let plain = |at: usize| {
                        let scatter = (149 * (at + 1)) % 255 + 1;
                        u8::try_from((usize::from(words[at]) + 256 - scatter) % 256).unwrap()
                    };
                    let mut length = usize::from(plain(i));
                    i += 1;
                    if length > 249 {
                        length = (length - 249) * 250 + usize::from(plain(i));
                        i += 1;
                    }
                    bytes.extend((i..i + length).map(plain));
                    i += length;
                }
                LATCH_C40 | LATCH_TEXT => {
                    let mut set = 3;
                    while i + 1 < words.len() && words[i] != UNLATCH {
                        let number = u16::from_be_bytes([words[i], words[i + 1]]) - 1;
                        i += 2;
                        for value in [number / 1600, number / 40 % 40, number % 40] {
                            let value = u8::try_from(value).unwrap();
                            if set == 3 && value < 3 {
                                set = value;
                                continue;
                            }
                            let all = (0..128).find(|&byte| {
                                let (values, count) = values(byte, word == LATCH_TEXT);
                                values[..count] == [set, value][2 - count..] && (count == 2) == (set < 3)
                            });
                            bytes.push(all.unwrap());
                            set = 3;
                        }
                    }
                    i += 1;
                }
                other => panic!("word {other}"),
            }
        }
        bytes
    }

    #[test]
    fn what_is_written_is_read_and_no_longer_than_plain_ascii() {
        let mut seed = 7_u64;
        let mut next = |below: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            usize::try_from((seed >> 33) % below).unwrap()
        };
        let kinds = ["0123456789", "ABCDEFGHIJ KLMN", "abcdefghijkl", "-_/:.?=&", "\u{1}\u{7f}~", "ÄΩ漢"];
        for _ in 0..3000 {
            let mut text = String::new();
            for _ in 0..=next(5) {
                let kind: Vec<char> = kinds[next(6)].chars().collect();
                for _ in 0..=next(9) {
                    text.push(kind[next(kind.len() as u64)]);
                }
            }
            let capacity = (1..400).find(|&capacity| words(&text, capacity).is_some()).unwrap();
            for capacity in [capacity, capacity + 1, capacity + 30] {
                assert_eq!(read(&words(&text, capacity).unwrap()), text.as_bytes(), "{text:?} in {capacity}");
            }
            let mut plain = Vec::new();
            ascii(text.as_bytes(), &mut plain);
            assert!(capacity <= plain.len() + 2, "{text:?}: {capacity} words");
        }
        assert_eq!(read(&words(&"漢".repeat(200), 816).unwrap()), "漢".repeat(200).as_bytes());
    }
}
