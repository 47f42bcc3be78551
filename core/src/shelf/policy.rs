//! What a person asks of the order and the strips.

use crate::unit::Micrometres;

/// In which order labels may come out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Order {
    /// In the order of the list.
    #[default]
    List,
    /// The two labels of a cable side by side, the cables in any order.
    Pairs,
    /// In any order: the two labels of a cable may come apart.
    Free,
}

impl Order {
    /// All orders, the strictest first.
    pub const ALL: [Self; 3] = [Self::List, Self::Pairs, Self::Free];

    /// Its word in files and flags.
    pub const fn word(self) -> &'static str {
        match self {
            Self::List => "list",
            Self::Pairs => "pairs",
            Self::Free => "free",
        }
    }

    /// The one with this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|order| order.word() == word)
    }

    /// The orders that bind less than this one.
    pub fn freer(self) -> &'static [Self] {
        match self {
            Self::List => &[Self::Pairs, Self::Free],
            Self::Pairs => &[Self::Free],
            Self::Free => &[],
        }
    }
}

/// Everything a person may ask of strips and cartridges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Policy {
    /// In which order labels come out.
    pub order: Order,
    /// Cartridges are mounted in the order of the shelf; some may be left out.
    pub given: bool,
    /// Labels of cables with the same text in this column stay on one strip.
    pub together: Option<String>,
    /// A strip holds labels of one batch only.
    pub one_batch: bool,
    /// Longest strip, where the printer allows longer ones.
    pub longest_strip: Option<Micrometres>,
    /// Most labels on a strip, where the printer allows more; at least 1.
    pub labels_a_strip: Option<u32>,
    /// What a change of cartridges is worth in tape: no plan changes once more to save less.
    pub swap: Micrometres,
    /// What a part-used cartridge more is worth in tape: no plan opens or keeps one to save less.
    pub keep: Micrometres,
    /// The first label that is still wanted, counted from 1 in list order, of this stock or of the
    /// only one.
    pub from_label: Option<(Option<String>, usize)>,
    /// The last one, in the same way.
    pub to_label: Option<(Option<String>, usize)>,
}

impl Default for Policy {
    /// List order, free choice of cartridges, no rule beyond the printer's. A change of cartridges and
    /// a part-used cartridge more count as 100 mm of tape each: a guess, about half a minute of work.
    fn default() -> Self {
        Self {
            order: Order::List,
            given: false,
            together: None,
            one_batch: false,
            longest_strip: None,
            labels_a_strip: None,
            swap: Micrometres(100_000),
            keep: Micrometres(100_000),
            from_label: None,
            to_label: None,
        }
    }
}

impl Policy {
    /// Whether labels in list order on full cartridges are all that is asked.
    pub const fn is_plain(&self) -> bool {
        matches!(self.order, Order::List) && self.together.is_none() && !self.one_batch
    }
}
