//! What a person asks for, in the words of the job file.

use super::SignWishes;
use crate::layout::{Build, Design, PartsWish};
use crate::shelf::Policy;
use crate::strip::Between;

/// An end of a cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The near end, labelled first.
    Near,
    /// The far end.
    Far,
}

impl End {
    /// Its word in text and lists.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
        }
    }
}

/// Which ends get a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ends {
    /// Both, near then far, side by side on the strip.
    #[default]
    Both,
    /// Only the near one.
    Near,
    /// Only the far one.
    Far,
}

impl Ends {
    /// Reads the word of a job file or flag.
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "both" => Some(Self::Both),
            "near" => Some(Self::Near),
            "far" => Some(Self::Far),
            _ => None,
        }
    }

    pub(super) const fn list(self) -> &'static [End] {
        match self {
            Self::Both => &[End::Near, End::Far],
            Self::Near => &[End::Near],
            Self::Far => &[End::Far],
        }
    }
}

/// What a person asks for, in the words of the job file.
#[derive(Clone, Debug, PartialEq)]
pub struct Wishes {
    /// Printer id.
    pub printer: String,
    /// Stock ids, in order of preference.
    pub stocks: Vec<String>,
    /// Build, or `None` to choose.
    pub build: Option<Build>,
    /// Which ends.
    pub ends: Ends,
    /// Lines of text at the near end.
    pub near: Vec<String>,
    /// Lines of text at the far end.
    pub far: Vec<String>,
    /// Owner mark where a row has none.
    pub owner: String,
    /// What parts labels; `None` for the best the printer and stock allow.
    pub between: Option<Between>,
    /// How labels are laid out.
    pub design: Design,
    /// What all labels carry beside text.
    pub parts: PartsWish,
    /// What labels carry beside text that differs from cable to cable.
    pub signs: SignWishes,
    /// Columns that may be left out of the text where room is short, the least important first.
    pub may_drop: Vec<String>,
    /// Order of labels, strips and cartridges.
    pub policy: Policy,
}

/// Lines of text that suit most cables.
pub const USUAL_TEXT: [&str; 2] = ["{owner} {batch}", "{number} {length}"];

impl Default for Wishes {
    fn default() -> Self {
        let usual: Vec<String> = USUAL_TEXT.map(str::to_owned).to_vec();
        Self {
            printer: "bench-180".into(),
            stocks: vec!["tape-12".into()],
            build: Some(Build::Flag),
            ends: Ends::Both,
            near: usual.clone(),
            far: usual,
            owner: String::new(),
            between: None,
            design: Design::default(),
            parts: PartsWish::default(),
            signs: SignWishes::default(),
            may_drop: Vec::new(),
            policy: Policy::default(),
        }
    }
}
