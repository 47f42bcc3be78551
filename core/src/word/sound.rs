//! How a word sounds, and how far two words are apart for the ear.
//!
//! Sounds are the 39 phonemes of the Carnegie Mellon pronouncing dictionary (ARPAbet), vowels with or
//! without stress. The distance is an edit distance (Levenshtein 1966, weighted). What a change costs
//! is ours, a guess, built from how sounds are made: that place is heard worst in noise, voicing and
//! nasality best, follows Miller & Nicely, "An Analysis of Perceptual Confusions Among Some English
//! Consonants", JASA 27 (1955), from memory; `B` and `V` are the worst pair over an aircraft intercom.

use std::sync::OnceLock;

/// A distance, in thousandths of the longer word: 0 sounds the same, 1000 has nothing in common.
pub type Apart = u16;

/// The longest word that is compared, in phonemes; what comes after counts for nothing. The longest
/// of our words has 9.
const LONGEST: usize = 24;

/// Height (0 high, 4 low), backness (0 front, 2 back), rounding, and where a diphthong ends
/// (1 front, 2 back, 3 r-coloured).
const VOWELS: [(&str, [i32; 4]); 15] = [
    ("AA", [4, 2, 0, 0]),
    ("AE", [4, 0, 0, 0]),
    ("AH", [3, 1, 0, 0]),
    ("AO", [3, 2, 1, 0]),
    ("AW", [4, 1, 0, 2]),
    ("AY", [4, 1, 0, 1]),
    ("EH", [3, 0, 0, 0]),
    ("ER", [3, 1, 0, 3]),
    ("EY", [2, 0, 0, 1]),
    ("IH", [1, 0, 0, 0]),
    ("IY", [0, 0, 0, 0]),
    ("OW", [2, 2, 1, 2]),
    ("OY", [3, 2, 1, 1]),
    ("UH", [1, 2, 1, 0]),
    ("UW", [0, 2, 1, 0]),
];

/// Voicing, place (0 lips … 7 glottis), manner (0 stop, 1 affricate, 2 fricative, 3 nasal, 4 liquid,
/// 5 glide).
const CONSONANTS: [(&str, [usize; 3]); 24] = [
    ("B", [1, 0, 0]),
    ("CH", [0, 4, 1]),
    ("D", [1, 3, 0]),
    ("DH", [1, 2, 2]),
    ("F", [0, 1, 2]),
    ("G", [1, 6, 0]),
    ("HH", [0, 7, 2]),
    ("JH", [1, 4, 1]),
    ("K", [0, 6, 0]),
    ("L", [1, 3, 4]),
    ("M", [1, 0, 3]),
    ("N", [1, 3, 3]),
    ("NG", [1, 6, 3]),
    ("P", [0, 0, 0]),
    ("R", [1, 4, 4]),
    ("S", [0, 3, 2]),
    ("SH", [0, 4, 2]),
    ("T", [0, 3, 0]),
    ("TH", [0, 2, 2]),
    ("V", [1, 1, 2]),
    ("W", [1, 0, 5]),
    ("Y", [1, 5, 5]),
    ("Z", [1, 3, 2]),
    ("ZH", [1, 4, 2]),
];

/// What one manner costs for another.
const MANNERS: [[usize; 6]; 6] = [
    [0, 20, 40, 45, 45, 45],
    [20, 0, 20, 45, 45, 45],
    [40, 20, 0, 45, 45, 45],
    [45, 45, 45, 0, 40, 45],
    [45, 45, 45, 40, 0, 25],
    [45, 45, 45, 45, 25, 0],
];

/// One phoneme: first the vowels without stress, then those with it, then the consonants.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Phoneme(u8);

const STRESSED: usize = VOWELS.len();
const CONSONANT: usize = 2 * STRESSED;
const PHONEMES: usize = CONSONANT + CONSONANTS.len();

impl Phoneme {
    fn parse(text: &str) -> Option<Self> {
        let place = |name: &str| VOWELS.iter().position(|(vowel, _)| *vowel == name);
        let index = match text.strip_suffix(['0', '1', '2']) {
            Some(name) => place(name)? + if text.ends_with('0') { 0 } else { STRESSED },
            None => CONSONANTS.iter().position(|(consonant, _)| *consonant == text)? + CONSONANT,
        };
        u8::try_from(index).ok().map(Self)
    }

    fn index(self) -> usize {
        usize::from(self.0)
    }

    fn vowel(self) -> bool {
        self.index() < CONSONANT
    }
}

/// What it costs to hear one phoneme for another, or not at all: hundredths of a phoneme.
struct Costs {
    change: [[u16; PHONEMES]; PHONEMES],
    miss: [u16; PHONEMES],
}

fn change(a: usize, b: usize) -> u16 {
    let cost = if a == b {
        0
    } else if a < CONSONANT && b < CONSONANT {
        let ([ah, ab, ar, ae], [bh, bb, br, be]) = (VOWELS[a % STRESSED].1, VOWELS[b % STRESSED].1);
        let full = 20 * (ah - bh).unsigned_abs()
            + 20 * (ab - bb).unsigned_abs()
            + 15 * u32::from(ar != br)
            + 30 * u32::from(ae != be);
        let (a, b) = (a >= STRESSED, b >= STRESSED);
        (if a || b { full } else { full / 2 }) + 20 * u32::from(a != b)
    } else if a >= CONSONANT && b >= CONSONANT {
        let ((an, [av, ap, am]), (bn, [bv, bp, bm])) = (CONSONANTS[a - CONSONANT], CONSONANTS[b - CONSONANT]);
        if matches!((an, bn), ("B", "V") | ("V", "B")) {
            20
        } else {
            let cost = 35 * usize::from(av != bv) + (10 * ap.abs_diff(bp)).min(30) + MANNERS[am][bm];
            u32::try_from(cost).unwrap_or(100)
        }
    } else {
        100
    };
    u16::try_from(cost.min(100)).unwrap_or(100)
}

fn miss(a: usize) -> u16 {
    if a < STRESSED {
        60
    } else if a < CONSONANT {
        100
    } else if matches!(CONSONANTS[a - CONSONANT].0, "HH" | "R" | "W" | "Y") {
        50
    } else {
        80
    }
}

fn costs() -> &'static Costs {
    static COSTS: OnceLock<Costs> = OnceLock::new();
    COSTS.get_or_init(|| Costs {
        change: std::array::from_fn(|a| std::array::from_fn(|b| change(a, b))),
        miss: std::array::from_fn(miss),
    })
}

fn cut(phonemes: &[Phoneme]) -> &[Phoneme] {
    &phonemes[..phonemes.len().min(LONGEST)]
}

/// The phonemes of a word.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Sound {
    phonemes: Vec<Phoneme>,
    /// Where the vowel with the main stress stands.
    main: usize,
}

impl Sound {
    /// Reads ARPAbet with spaces between, stress marked on vowels as 0, 1 or 2: `AA1 T ER0`.
    /// `None` when there is nothing, or something that is no phoneme.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let phonemes: Vec<Phoneme> = text.split_ascii_whitespace().map(Phoneme::parse).collect::<Option<_>>()?;
        let main = text.split_ascii_whitespace().position(|phoneme| phoneme.ends_with('1')).unwrap_or(0);
        (!phonemes.is_empty()).then_some(Self { phonemes, main })
    }

    /// From the vowel with the main stress on: what rhymes.
    fn rhyme(&self) -> &[Phoneme] {
        &self.phonemes[self.main..]
    }

    /// All but the consonants at the end.
    fn open(&self) -> &[Phoneme] {
        let end = self.phonemes.iter().rposition(|p| p.vowel()).map_or(0, |last| last + 1);
        &self.phonemes[..end]
    }

    /// Whether the two differ only before the stressed vowel, or only in consonants at the end: pairs
    /// as a rhyme test is made of (House et al., "Articulation-Testing Methods: Consonantal
    /// Differentiation with a Closed-Response Set", JASA 37, 1965; from memory).
    #[must_use]
    pub fn rhymes(&self, other: &Self) -> bool {
        self.rhyme() == other.rhyme() || (!self.open().is_empty() && self.open() == other.open())
    }

    /// How far two words are apart. Exact below `limit`; anything from `limit` up otherwise.
    #[must_use]
    pub fn apart(&self, other: &Self, limit: Apart) -> Apart {
        let costs = costs();
        let (a, b) = (cut(&self.phonemes), cut(&other.phonemes));
        let longer = a.len().max(b.len());
        let enough = usize::from(limit) * longer;
        let mut row = [0_u16; LONGEST + 1];
        for (j, q) in b.iter().enumerate() {
            row[j + 1] = row[j] + costs.miss[q.index()];
        }
        for p in a {
            let (mut corner, mut left) = (row[0], row[0] + costs.miss[p.index()]);
            let (miss, change) = (costs.miss[p.index()], &costs.change[p.index()]);
            row[0] = left;
            let mut least = left;
            for (j, q) in b.iter().enumerate() {
                let best = (corner + change[q.index()]).min(row[j + 1] + miss).min(left + costs.miss[q.index()]);
                corner = row[j + 1];
                row[j + 1] = best;
                left = best;
                least = least.min(best);
            }
            if usize::from(least) * 10 >= enough {
                return limit;
            }
        }
        u16::try_from(usize::from(row[b.len()]) * 10 / longer).unwrap_or(limit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sound(text: &str) -> Sound {
        Sound::parse(text).unwrap()
    }

    #[test]
    fn phonemes_are_read() {
        assert_eq!(sound("AA1 T ER0").phonemes.len(), 3);
        for bad in ["", "AA1 TT", "AA", "T1", "Q"] {
            assert_eq!(Sound::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn what_is_made_alike_is_near() {
        let bat = sound("B AE1 T");
        let apart = |other: &str| bat.apart(&sound(other), 1000);
        assert_eq!(apart("B AE1 T"), 0);
        let order = ["V AE1 T", "D AE1 T", "S AE1 T", "S UW1 L"];
        assert!(order.windows(2).all(|pair| apart(pair[0]) < apart(pair[1])), "{:?}", order.map(apart));
        assert_eq!(apart("V AE1 T"), 20 * 10 / 3);
        assert!(sound("K AA1 T AH0").apart(&sound("K AA1 T ER0"), 1000) < 100, "accents that drop the R");
    }

    #[test]
    fn costs_are_symmetric_and_bounded() {
        for a in 0..PHONEMES {
            for b in 0..PHONEMES {
                assert_eq!(change(a, b), change(b, a));
                assert_eq!(change(a, b) == 0, a == b, "{a} {b}");
                assert!(change(a, b) <= 100);
            }
        }
    }

    #[test]
    fn a_limit_ends_it_early() {
        let (a, b) = (sound("AA1 T ER0"), sound("P AH1 M P K IH0 N"));
        let whole = a.apart(&b, 1000);
        assert!(whole > 600, "{whole}");
        assert!(a.apart(&b, 300) >= 300);
        assert_eq!(a.apart(&b, whole + 1), whole);
    }

    #[test]
    fn rhymes_and_endings() {
        for (a, b, wanted) in [
            ("B AH1 T AH0 N", "M AH1 T AH0 N", true),
            ("S P UW1 N", "B AH0 L UW1 N", true),
            ("P IH1 N", "P IH1 T", true),
            ("P IH1 K AH0 L", "P IH1 K", false),
            ("AA1 T ER0", "P AH1 F AH0 N", false),
        ] {
            assert_eq!(sound(a).rhymes(&sound(b)), wanted, "{a} {b}");
        }
    }

    #[test]
    fn very_long_words_are_cut_off_and_do_not_panic() {
        let long = sound(&"B AH1 ".repeat(100));
        assert_eq!(long.apart(&long, 1000), 0);
    }
}
