//! What became of each label of a job, from what was written down about it.
//!
//! A job's labels are numbered from 1 in the order in which they are to come out. Notes are only ever
//! added; [`fates`] says what they come to.

use std::fmt;
use std::ops::RangeInclusive;

/// What a note says about labels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Their bytes go to the link from now on: written before the first of them does.
    Leaving,
    /// Nothing of them has gone to the link after all.
    Stayed,
    /// The link has them whole, and the device behind it does.
    Taken,
    /// The link has them whole; whether a printer got them is not known.
    Given,
    /// The stream ended in order, as far as the link can tell.
    Ended,
    /// The stream broke off; what was leaving may have left.
    BrokeOff,
    /// A person has seen them good.
    Good,
    /// A person has seen them spoilt, or not at all.
    Bad,
    /// Another job prints them again.
    Moved,
    /// Nobody wants them any more.
    WrittenOff,
}

impl What {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Leaving,
        Self::Stayed,
        Self::Taken,
        Self::Given,
        Self::Ended,
        Self::BrokeOff,
        Self::Good,
        Self::Bad,
        Self::Moved,
        Self::WrittenOff,
    ];

    /// Its word in the register.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Leaving => "leaving",
            Self::Stayed => "stayed",
            Self::Taken => "taken",
            Self::Given => "given",
            Self::Ended => "ended",
            Self::BrokeOff => "broke off",
            Self::Good => "good",
            Self::Bad => "bad",
            Self::Moved => "moved",
            Self::WrittenOff => "written off",
        }
    }

    /// The one with this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|what| what.word() == word)
    }
}

/// A note about some labels of a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Seconds since 1970, UTC.
    pub at: i64,
    /// What happened.
    pub what: What,
    /// To which labels, from 1.
    pub labels: RangeInclusive<usize>,
    /// The link's, the printer's or a person's word on it.
    pub word: String,
}

/// What became of a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// Nothing of it has left.
    Never,
    /// It may have left, whole or in part.
    Perhaps,
    /// It has left, whole.
    Left,
    /// A person has seen it good.
    Good,
    /// A person has seen it spoilt or missing.
    Bad,
    /// Another job has taken it over; what became of it is told there.
    Moved,
    /// Nobody wants it any more.
    WrittenOff,
}

impl Fate {
    /// Whether somebody still waits for the label.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Never | Self::Perhaps | Self::Bad)
    }

    /// Whether a label may be there already when it is printed again. `before` says that it was in
    /// doubt before its job, too: a job that printed nothing of it leaves that doubt as it was.
    pub const fn in_doubt(self, before: bool) -> bool {
        matches!(self, Self::Perhaps) || before && matches!(self, Self::Never)
    }

    /// A word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Never => "not printed",
            Self::Perhaps => "perhaps printed",
            Self::Left => "printed",
            Self::Good => "seen good",
            Self::Bad => "spoilt",
            Self::Moved => "taken over by a later job",
            Self::WrittenOff => "written off",
        }
    }

    /// What one more note makes of it. A person's word stands against the link's.
    #[must_use]
    pub const fn after(self, what: What) -> Self {
        match (what, self) {
            (What::Moved, _) => Self::Moved,
            (What::WrittenOff, _) => Self::WrittenOff,
            (_, Self::Moved | Self::WrittenOff) => self,
            (What::Good, _) => Self::Good,
            (What::Bad, _) => Self::Bad,
            (_, Self::Good | Self::Bad) => self,
            (What::Leaving, Self::Never) | (What::Given, Self::Never) => Self::Perhaps,
            (What::Stayed, Self::Perhaps) => Self::Never,
            (What::Taken | What::Ended, _) => Self::Left,
            _ => self,
        }
    }
}

impl fmt::Display for Fate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What became of `count` labels, label 1 first.
pub fn fates<'n>(count: usize, notes: impl IntoIterator<Item = &'n Note>) -> Vec<Fate> {
    let mut fates = vec![Fate::Never; count];
    for note in notes {
        let (first, last) = (*note.labels.start(), (*note.labels.end()).min(count));
        for fate in fates.get_mut(first.saturating_sub(1)..last).unwrap_or_default() {
            *fate = fate.after(note.what);
        }
    }
    fates
}

/// Stretches of labels with one fate, label 1 first.
pub fn stretches(fates: &[Fate]) -> Vec<(Fate, RangeInclusive<usize>)> {
    let mut found: Vec<(Fate, RangeInclusive<usize>)> = Vec::new();
    for (nth, &fate) in fates.iter().enumerate() {
        match found.last_mut() {
            Some((last, labels)) if *last == fate => *labels = *labels.start()..=nth + 1,
            _ => found.push((fate, nth + 1..=nth + 1)),
        }
    }
    found
}

/// The day of a moment, as in ISO 8601: `2026-11-26`. UTC.
///
/// Source: `civil_from_days`, H. Hinnant, "chrono-Compatible Low-Level Date Algorithms".
pub fn day(at: i64) -> String {
    let days = at.div_euclid(86_400) + 719_468;
    let era = days.div_euclid(146_097);
    let of_era = days.rem_euclid(146_097);
    let year = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let moved = (5 * of_year + 2) / 153;
    let day = of_year - (153 * moved + 2) / 5 + 1;
    let month = if moved < 10 { moved + 3 } else { moved - 9 };
    let year = year + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}

/// The minute of a moment: `2026-11-26 16:20`. UTC.
pub fn minute(at: i64) -> String {
    let of_day = at.rem_euclid(86_400);
    format!("{} {:02}:{:02}", day(at), of_day / 3600, of_day / 60 % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(what: What, labels: RangeInclusive<usize>) -> Note {
        Note { at: 0, what, labels, word: String::new() }
    }

    #[track_caller]
    fn check(notes: &[Note], wanted: &[(Fate, RangeInclusive<usize>)]) {
        assert_eq!(stretches(&fates(6, notes)), wanted);
    }

    #[test]
    fn a_crash_leaves_what_was_leaving_in_doubt() {
        use Fate::{Left, Never, Perhaps};
        check(&[], &[(Never, 1..=6)]);
        check(&[note(What::Leaving, 1..=3)], &[(Perhaps, 1..=3), (Never, 4..=6)]);
        check(
            &[note(What::Leaving, 1..=2), note(What::Taken, 1..=2), note(What::Leaving, 3..=3)],
            &[(Left, 1..=2), (Perhaps, 3..=3), (Never, 4..=6)],
        );
        // What a network was given is only known to be printed if the stream ended in order.
        let given = [note(What::Leaving, 1..=4), note(What::Given, 1..=4)];
        check(&given, &[(Perhaps, 1..=4), (Never, 5..=6)]);
        check(&[given.to_vec(), vec![note(What::Ended, 1..=4)]].concat(), &[(Left, 1..=4), (Never, 5..=6)]);
        check(&[given.to_vec(), vec![note(What::BrokeOff, 1..=6)]].concat(), &[(Perhaps, 1..=4), (Never, 5..=6)]);
        check(&[note(What::Leaving, 1..=2), note(What::Stayed, 2..=2)], &[(Perhaps, 1..=1), (Never, 2..=6)]);
    }

    #[test]
    fn a_person_has_the_last_word() {
        use Fate::{Bad, Good, Moved, Never};
        let notes = [
            note(What::Leaving, 1..=6),
            note(What::Taken, 1..=6),
            note(What::Bad, 4..=6),
            note(What::Good, 1..=3),
            note(What::Ended, 1..=6),
        ];
        check(&notes, &[(Good, 1..=3), (Bad, 4..=6)]);
        check(&[notes.to_vec(), vec![note(What::Moved, 4..=6)]].concat(), &[(Good, 1..=3), (Moved, 4..=6)]);
        check(&[note(What::Good, 5..=9)], &[(Never, 1..=4), (Good, 5..=6)]);
    }

    /// Seconds and dates as `date -u -d @SECONDS` of GNU coreutils 9 gives them.
    #[test]
    fn days_are_those_of_the_calendar() {
        for (at, wanted) in [
            (0, "1970-01-01 00:00"),
            (-1, "1969-12-31 23:59"),
            (951_782_400, "2000-02-29 00:00"),
            (4_107_542_399, "2100-02-28 23:59"),
            (1_795_710_010, "2026-11-26 16:20"),
        ] {
            assert_eq!(minute(at), wanted, "{at}");
        }
    }

    #[test]
    fn doubt_goes_on_until_someone_has_looked() {
        let doubt = |fate: Fate| (fate.in_doubt(false), fate.in_doubt(true));
        assert_eq!(doubt(Fate::Never), (false, true));
        assert_eq!(doubt(Fate::Perhaps), (true, true));
        assert_eq!(doubt(Fate::Bad), (false, false));
    }

    #[test]
    fn every_word_is_read_again() {
        for what in What::ALL {
            assert_eq!(What::named(what.word()), Some(what));
        }
        assert_eq!(What::named("gone"), None);
    }
}
