//! Batch words that nobody mishears: which to propose, and which a typed word is too near to.
//!
//! A batch of cables is called by its word over an intercom, in noise. Words with a known
//! pronunciation are compared by ear ([`Sound`]); the others by Double Metaphone ([`Keys`]) and their
//! letters.
//!
//! # Guarantees
//! - Functions of their arguments: the same answer on any machine.
//! - No word panics: several words, other scripts and nothing at all are compared as written, without
//!   regard to case and to how many spaces stand between.
//!
//! # Limits
//! Pronunciations are North American. Accents that drop an R after a vowel are near to them by the
//! distance; whole vowels that differ are not modelled, so words known to have them were left out.

mod metaphone;
mod sound;

pub use metaphone::{Keys, keys};
pub use sound::{Apart, Sound};

use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};
use std::sync::OnceLock;

/// Words nearer than this are easily heard for each other; no two proposed words are. Ours, a guess,
/// chosen by reading pairs: `LEMON` and `ELEVEN` are 191 apart, `BOXER` and `FOXES` 300.
pub const NEAR: Apart = 250;

/// Words nearer than this sound all but the same. Ours, a guess: `MASS` and `MATH` are 33 apart.
pub const ALIKE: Apart = 110;

const FAR: Apart = 1000;

/// The words that come with the program.
#[derive(Debug)]
pub struct Words {
    proposed: Vec<Heard>,
    sounds: HashMap<&'static str, Sound>,
}

/// How near a word is to one in use, the worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// The same word, but for case and spaces.
    Same,
    /// Sounds the same, or all but.
    SoundsAlike,
    /// Rhymes, or is easily heard as it.
    Near,
}

/// A word in use that another is too near to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Near {
    /// The word in use, as given.
    pub word: String,
    /// How near.
    pub how: How,
    /// A sentence to show: lower case, no full stop.
    pub text: String,
}

/// A word, ready to be compared.
#[derive(Clone, Debug)]
struct Heard {
    /// Upper case, single spaces.
    word: String,
    letters: Vec<char>,
    sound: Option<Sound>,
    keys: Option<Keys>,
}

impl Words {
    /// The list that comes with the program; read once.
    #[must_use]
    pub fn shipped() -> &'static Self {
        static SHIPPED: OnceLock<Words> = OnceLock::new();
        SHIPPED.get_or_init(|| Self::read(include_str!("../../data/words.txt")))
    }

    /// Reads lines of a word and its phonemes; what follows the second blank line is only compared.
    fn read(text: &'static str) -> Self {
        let mut words = Self { proposed: Vec::new(), sounds: HashMap::new() };
        let mut order = Vec::new();
        for (part, lines) in text.split("\n\n").enumerate() {
            for line in lines.lines().filter(|line| !line.starts_with('#')) {
                let Some((word, phonemes)) = line.split_once(' ') else { continue };
                let Some(sound) = Sound::parse(phonemes) else { continue };
                words.sounds.insert(word, sound);
                if part == 1 {
                    order.push(word);
                }
            }
        }
        words.proposed = order.into_iter().map(|word| words.heard(word)).collect();
        words
    }

    /// The words that may be proposed, in order of preference, upper case.
    pub fn iter(&self) -> impl Iterator<Item = &str> {
        self.proposed.iter().map(|heard| heard.word.as_str())
    }

    /// How a word sounds, if that is known. Case does not count.
    #[must_use]
    pub fn sound(&self, word: &str) -> Option<&Sound> {
        self.sounds.get(written(word).as_str())
    }

    /// Up to `count` words that are far from all in use and from each other: the farthest first, ties
    /// in order of preference. Fewer when no more are at least [`NEAR`] apart from all those in use.
    ///
    /// ```
    /// let words = tapewright::word::Words::shipped().propose(&["OTTER"], 3);
    /// assert_eq!(words.len(), 3);
    /// assert!(!words.contains(&"OTTER"));
    /// ```
    #[must_use]
    pub fn propose(&self, in_use: &[&str], count: usize) -> Vec<&str> {
        let mut used: Vec<Heard> = in_use.iter().map(|word| self.heard(word)).filter(|h| !h.word.is_empty()).collect();
        used.sort_by(|a, b| a.word.cmp(&b.word));
        used.dedup_by(|a, b| a.word == b.word);
        // Each word with the least distance to the first so many of those in use: a bound on its least
        // distance to all. The one with the highest bound is looked at further; once it has been held
        // against all and still leads, it is the farthest.
        let mut waiting: BinaryHeap<(Apart, Reverse<usize>, usize)> =
            (0..self.proposed.len()).map(|nth| (FAR, Reverse(nth), 0)).collect();
        let mut found = Vec::new();
        while found.len() < count
            && let Some((mut bound, Reverse(nth), mut seen)) = waiting.pop()
        {
            let word = &self.proposed[nth];
            if seen == used.len() {
                found.push(word.word.as_str());
                used.push(word.clone());
                continue;
            }
            let next = waiting.peek().map_or(NEAR, |(next, ..)| *next);
            while seen < used.len() && bound >= next {
                bound = bound.min(word.apart(&used[seen], bound));
                seen += 1;
            }
            if bound >= NEAR {
                waiting.push((bound, Reverse(nth), seen));
            }
        }
        found
    }

    /// The words in use that `word` is, sounds like, or is easily heard as: the nearest first, ties in
    /// the order given.
    ///
    /// ```
    /// use tapewright::word::{How, Words};
    /// let near = Words::shipped().near("lemon", &["OTTER", "Eleven"]);
    /// assert_eq!(near[0].how, How::Near);
    /// assert_eq!(near[0].text, "`LEMON` is easily heard as `ELEVEN`, which is in use");
    /// ```
    #[must_use]
    pub fn near(&self, word: &str, in_use: &[&str]) -> Vec<Near> {
        let own = self.heard(word);
        let mut found: Vec<(How, Apart, &str, Heard)> = in_use
            .iter()
            .filter_map(|given| {
                let used = self.heard(given);
                let apart = own.apart(&used, FAR);
                let how = if used.word == own.word {
                    How::Same
                } else if apart < ALIKE {
                    How::SoundsAlike
                } else if apart < NEAR {
                    How::Near
                } else {
                    return None;
                };
                Some((how, apart, *given, used))
            })
            .collect();
        found.sort_by_key(|(how, apart, ..)| (*how, *apart));
        let near = found.into_iter().map(|(how, _, given, used)| Near {
            word: given.to_owned(),
            how,
            text: match how {
                How::Same => format!("`{}` is in use already", own.word),
                How::SoundsAlike => {
                    format!("`{}` sounds all but the same as `{}`, which is in use", own.word, used.word)
                }
                How::Near => format!("`{}` is easily heard as `{}`, which is in use", own.word, used.word),
            },
        });
        near.collect()
    }

    fn heard(&self, word: &str) -> Heard {
        let word = written(word);
        let (sound, keys) = (self.sounds.get(word.as_str()).cloned(), keys(&word));
        Heard { letters: word.chars().collect(), word, sound, keys }
    }
}

/// A word as it is compared: upper case, single spaces.
fn written(word: &str) -> String {
    word.split_whitespace().collect::<Vec<_>>().join(" ").to_uppercase()
}

impl Heard {
    /// How far two words are apart. Exact below `limit`; anything from `limit` up otherwise.
    fn apart(&self, other: &Self, limit: Apart) -> Apart {
        if self.word == other.word {
            return 0;
        }
        if let (Some(own), Some(its)) = (&self.sound, &other.sound) {
            let apart = own.apart(its, limit);
            return if apart >= NEAR && own.rhymes(its) { NEAR - 1 } else { apart };
        }
        let (Some(own), Some(its)) = (&self.keys, &other.keys) else { return edits(&self.letters, &other.letters) };
        // Keys count double: that BUTTER and BITTER differ by one vowel is no help over an intercom.
        let mut least = edits(own.primary.as_bytes(), its.primary.as_bytes());
        if own.alternate != own.primary {
            least = least.min(edits(own.alternate.as_bytes(), its.primary.as_bytes()));
        }
        if its.alternate != its.primary {
            least = least.min(edits(own.primary.as_bytes(), its.alternate.as_bytes()));
        }
        if 2 * least >= limit.saturating_mul(3) {
            return limit;
        }
        (edits(&self.letters, &other.letters) + 2 * least) / 3
    }
}

/// The longest spelling that is compared; what comes after counts for nothing.
const LONGEST: usize = 48;

/// Letters to change, add or leave out to get from one to the other, in thousandths of the longer.
fn edits<T: PartialEq>(a: &[T], b: &[T]) -> Apart {
    let (a, b) = (&a[..a.len().min(LONGEST)], &b[..b.len().min(LONGEST)]);
    let longer = a.len().max(b.len());
    if longer == 0 {
        return 0;
    }
    let mut row: [u8; LONGEST + 1] = FIRST_ROW;
    for p in a {
        let (mut corner, mut left) = (row[0], row[0] + 1);
        row[0] = left;
        for (q, place) in b.iter().zip(&mut row[1..]) {
            left = (corner + u8::from(p != q)).min(left + 1).min(*place + 1);
            corner = *place;
            *place = left;
        }
    }
    Apart::try_from(usize::from(row[b.len()]) * usize::from(FAR) / longer).unwrap_or(FAR)
}

const FIRST_ROW: [u8; LONGEST + 1] = {
    let (mut row, mut nth) = ([0; LONGEST + 1], 1);
    while nth <= LONGEST {
        row[nth] = row[nth - 1] + 1;
        nth += 1;
    }
    row
};

#[cfg(test)]
mod tests;
