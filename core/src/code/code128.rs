//! Code 128 (ISO/IEC 15417): text to the fewest symbol characters, and those to bars.

use super::symbol::Symbol;

/// Widths of bars and spaces by symbol value, dark first (ISO/IEC 15417, table 1; from memory,
/// read back by independent decoders over every value).
const WIDTHS: [&[u8; 6]; 106] = [
    b"212222", b"222122", b"222221", b"121223", b"121322", b"131222", b"122213", b"122312", b"132212", b"221213",
    b"221312", b"231212", b"112232", b"122132", b"122231", b"113222", b"123122", b"123221", b"223211", b"221132",
    b"221231", b"213212", b"223112", b"312131", b"311222", b"321122", b"321221", b"312212", b"322112", b"322211",
    b"212123", b"212321", b"232121", b"111323", b"131123", b"131321", b"112313", b"132113", b"132311", b"211313",
    b"231113", b"231311", b"112133", b"112331", b"132131", b"113123", b"113321", b"133121", b"313121", b"211331",
    b"231131", b"213113", b"213311", b"213131", b"311123", b"311321", b"331121", b"312113", b"312311", b"332111",
    b"314111", b"221411", b"431111", b"111224", b"111422", b"121124", b"121421", b"141122", b"141221", b"112214",
    b"112412", b"122114", b"122411", b"142112", b"142211", b"241211", b"221114", b"413111", b"241112", b"134111",
    b"111242", b"121142", b"121241", b"114212", b"124112", b"124211", b"411212", b"421112", b"421211", b"212141",
    b"214121", b"412121", b"111143", b"111341", b"131141", b"114113", b"114311", b"411113", b"411311", b"113141",
    b"114131", b"311141", b"411131", b"211412", b"211214", b"211232",
];
const STOP: &[u8; 7] = b"2331112";

/// Modules of quiet zone left and right (ISO/IEC 15417, 4.5.1: 10 X).
pub(super) const QUIET: usize = 10;

/// The code sets.
const A: usize = 0;
const B: usize = 1;
const C: usize = 2;

/// The value that starts in a set, and the one that changes to it.
const START: [u8; 3] = [103, 104, 105];
const CHANGE: [u8; 3] = [101, 100, 99];
/// One character of the other of sets A and B.
const SHIFT: u8 = 98;

/// The value of a character in set A or B.
const fn value(set: usize, byte: u8) -> Option<u8> {
    match byte {
        32..=95 => Some(byte - 32),
        0..=31 if set == A => Some(byte + 64),
        96..=127 if set == B => Some(byte - 32),
        _ => None,
    }
}

/// How one step of the shortest way goes on.
#[derive(Clone, Copy)]
enum Step {
    One,
    Shifted,
    Pair,
}

/// The least number of symbol characters from here to the end for each set, and the way there.
#[derive(Clone, Copy)]
struct Place {
    cost: [u32; 3],
    /// Set the step is made in (a change comes first if it is another), and the step.
    next: [(usize, Step); 3],
}

/// Start, data and check characters of the shortest symbol; `None` unless the text is ASCII.
pub(super) fn values(content: &str) -> Option<Vec<u8>> {
    let bytes = content.as_bytes();
    if !content.is_ascii() || bytes.is_empty() {
        return None;
    }
    let end = Place { cost: [0; 3], next: [(B, Step::One); 3] };
    let mut places = vec![end; bytes.len() + 1];
    for i in (0..bytes.len()).rev() {
        // The best step in each set without a change before it.
        let mut stay = [(u32::MAX / 2, Step::One); 3];
        for (set, other) in [(A, B), (B, A)] {
            stay[set] = match value(set, bytes[i]) {
                Some(_) => (1 + places[i + 1].cost[set], Step::One),
                None => (2 + places[i + 1].cost[set], Step::Shifted),
            };
            debug_assert!(value(set, bytes[i]).or(value(other, bytes[i])).is_some());
        }
        if bytes[i].is_ascii_digit() && bytes.get(i + 1).is_some_and(u8::is_ascii_digit) {
            stay[C] = (1 + places[i + 2].cost[C], Step::Pair);
        }
        for set in [A, B, C] {
            let (mut cost, mut next) = (stay[set].0, (set, stay[set].1));
            for (to, &(steps, step)) in stay.iter().enumerate() {
                if steps + 1 < cost {
                    (cost, next) = (steps + 1, (to, step));
                }
            }
            places[i].cost[set] = cost;
            places[i].next[set] = next;
        }
    }
    // Starting in a set costs the same for all three; set B on a tie, the one with small letters.
    let mut set = B;
    for other in [C, A] {
        if places[0].cost[other] < places[0].cost[set] {
            set = other;
        }
    }
    let mut values = vec![START[set]];
    let mut i = 0;
    while i < bytes.len() {
        let (to, step) = places[i].next[set];
        if to != set {
            values.push(CHANGE[to]);
            set = to;
        }
        match step {
            Step::One => values.push(value(set, bytes[i])?),
            Step::Shifted => values.extend([SHIFT, value(1 - set, bytes[i])?]),
            Step::Pair => values.push((bytes[i] - b'0') * 10 + (bytes[i + 1] - b'0')),
        }
        i += if matches!(step, Step::Pair) { 2 } else { 1 };
    }
    values.push(check(&values));
    Some(values)
}

/// The check character (ISO/IEC 15417, annex A.1): the start's value and each value times its place, modulo 103.
fn check(values: &[u8]) -> u8 {
    let sum = (0..).zip(values).map(|(i, &value): (u32, _)| i.max(1) * u32::from(value)).sum::<u32>();
    u8::try_from(sum % 103).unwrap_or(0)
}

/// The symbol of a text; `None` unless the text is ASCII and not empty.
pub(super) fn symbol(content: &str) -> Option<Symbol> {
    let values = values(content)?;
    let mut modules = Vec::with_capacity(values.len() * 11 + 13);
    let mut draw = |widths: &[u8]| {
        for (k, width) in widths.iter().enumerate() {
            modules.extend(std::iter::repeat_n(u128::from(k % 2 == 0), usize::from(width - b'0')));
        }
    };
    for value in values {
        draw(WIDTHS[usize::from(value)]);
    }
    draw(STOP);
    Some(Symbol { modules, rows: 1, quiet: QUIET, linear: true })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pattern_is_eleven_modules_with_even_bars() {
        let mut seen = std::collections::BTreeSet::new();
        for widths in WIDTHS {
            assert_eq!(widths.iter().map(|w| w - b'0').sum::<u8>(), 11);
            assert_eq!(widths.iter().step_by(2).map(|w| w - b'0').sum::<u8>() % 2, 0, "bars are an even number");
            assert!(seen.insert(widths));
        }
        assert_eq!(STOP.iter().map(|w| w - b'0').sum::<u8>(), 13);
    }

    #[test]
    fn check_characters() {
        // ISO/IEC 15417, annex A.1 as taught everywhere (from memory): PJJ123C in set A.
        assert_eq!(check(&[103, 48, 42, 42, 17, 18, 19, 35]), 54);
        // X00Y: common practice, from a published worked example.
        assert_eq!(values("X00Y").unwrap(), [104, 56, 16, 16, 57, 56]);
    }

    #[test]
    fn digits_are_paired_only_where_it_is_shorter() {
        assert_eq!(values("1040").unwrap()[..3], [105, 10, 40]);
        assert_eq!(values("A1040").unwrap().len(), 1 + 1 + 1 + 2 + 1);
        assert_eq!(values("12A").unwrap().len(), 1 + 3 + 1);
        assert_eq!(values("a\u{1}b").unwrap()[1..5], [65, SHIFT, 65, 66]);
        assert!(values("Ω").is_none() && values("").is_none());
    }

    /// No shorter way exists: every way of walking through short texts is tried.
    #[test]
    fn the_symbol_is_the_shortest() {
        fn least(bytes: &[u8], set: usize) -> usize {
            if bytes.is_empty() {
                return 0;
            }
            let stay = |set: usize| -> usize {
                match set {
                    C if bytes.len() > 1 && bytes[..2].iter().all(u8::is_ascii_digit) => 1 + least(&bytes[2..], C),
                    C => usize::MAX / 2,
                    set if value(set, bytes[0]).is_some() => 1 + least(&bytes[1..], set),
                    set => 2 + least(&bytes[1..], set),
                }
            };
            (0..3).map(|to| stay(to) + usize::from(to != set)).min().unwrap_or(0)
        }
        let letters = [b'1', b'2', b'A', b'a', 3];
        for n in 0..5_usize.pow(6) {
            let mut rest = n;
            let text: Vec<u8> = std::iter::repeat_with(|| {
                let letter = letters[rest % 5];
                rest /= 5;
                letter
            })
            .take(6)
            .collect();
            if n % 7 == 0 {
                let found = values(std::str::from_utf8(&text).unwrap()).unwrap().len();
                let wanted = (0..3).map(|set| least(&text, set)).min().unwrap() + 2;
                assert_eq!(found, wanted, "{text:?}");
            }
        }
    }
}
