//! What a printer says is the matter with it: `printer-state-reasons` as sentences.
//!
//! Keywords and their suffixes: RFC 8011, section 5.4.12, and the registry of IPP keywords (from
//! memory). What a person does about them: ours.

use crate::error::{Error, Kind};
use std::fmt;

/// How much it matters (RFC 8011, section 5.4.12: the suffix of a reason). Without a suffix it is what
/// such a reason usually means; one that is not known here is a report, because print servers have reasons
/// of their own that ask nothing of anybody.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// For information.
    Report,
    /// Printing goes on; somebody should look.
    Warning,
    /// Printing has stopped for it.
    Error,
}

/// One reason of a printer's state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// The keyword without its suffix, such as `media-empty`.
    pub keyword: String,
    /// How much it matters.
    pub severity: Severity,
    /// Who must act: `Supply` or `Device`.
    pub kind: Kind,
    /// What is the matter and what to do, lower case, no full stop.
    pub sentence: String,
}

/// Keyword, how much it matters without a suffix, who must act, sentence.
const KNOWN: [(&str, Severity, Kind, &str); 24] = [
    ("media-empty", Severity::Error, Kind::Supply, "the tape is used up, load a cartridge of the same stock"),
    ("media-needed", Severity::Error, Kind::Supply, "the printer wants tape, load the stock of this job"),
    ("media-low", Severity::Warning, Kind::Supply, "the tape is nearly used up"),
    ("input-tray-missing", Severity::Error, Kind::Supply, "no cartridge is in place, put one in"),
    ("marker-supply-empty", Severity::Error, Kind::Supply, "the ink or ribbon is used up, change it"),
    ("marker-supply-low", Severity::Warning, Kind::Supply, "the ink or ribbon is nearly used up"),
    ("marker-waste-full", Severity::Error, Kind::Supply, "the waste box is full, empty it"),
    ("output-area-full", Severity::Error, Kind::Supply, "the outlet is full, take the strips away"),
    ("media-jam", Severity::Error, Kind::Device, "the tape is jammed, clear its path"),
    ("cover-open", Severity::Error, Kind::Device, "a cover is open, close it"),
    ("door-open", Severity::Error, Kind::Device, "a door is open, close it"),
    ("interlock-open", Severity::Error, Kind::Device, "a safety switch is open, close the covers"),
    ("paused", Severity::Error, Kind::Device, "the printer is paused, let it go on"),
    ("moving-to-paused", Severity::Report, Kind::Device, "the printer is about to pause"),
    ("offline", Severity::Error, Kind::Device, "the printer is off line"),
    ("shutdown", Severity::Error, Kind::Device, "the printer is switched off"),
    ("connecting-to-device", Severity::Report, Kind::Device, "the queue is connecting to the printer"),
    ("timed-out", Severity::Error, Kind::Device, "the queue gets no answer from the printer"),
    ("spool-area-full", Severity::Error, Kind::Device, "the queue has no room for the job"),
    ("stopped-partly", Severity::Warning, Kind::Device, "a part of the printer has stopped"),
    ("stopping", Severity::Report, Kind::Device, "the printer is stopping"),
    ("hold-new-jobs", Severity::Warning, Kind::Device, "the queue holds new jobs back"),
    ("deactivated", Severity::Error, Kind::Device, "the queue is deactivated"),
    ("fuser-over-temp", Severity::Error, Kind::Device, "the heater is too hot, let it cool"),
];

impl Condition {
    /// Reads a reason; `None` for `none`.
    pub(super) fn parse(reason: &str) -> Option<Self> {
        let suffixes = [("-report", Severity::Report), ("-warning", Severity::Warning), ("-error", Severity::Error)];
        let (keyword, said) = suffixes
            .into_iter()
            .find_map(|(suffix, severity)| Some((reason.strip_suffix(suffix)?, Some(severity))))
            .unwrap_or((reason, None));
        if keyword == "none" || keyword.is_empty() {
            return None;
        }
        let known = KNOWN.iter().find(|(known, ..)| *known == keyword);
        let (usual, kind, sentence) = known.map_or_else(
            || (Severity::Report, Kind::Device, format!("the printer reports `{}`", keyword.escape_debug())),
            |(_, usual, kind, sentence)| (*usual, *kind, (*sentence).to_owned()),
        );
        let severity = said.unwrap_or(usual);
        Some(Self { keyword: keyword.to_owned(), severity, kind, sentence })
    }

    /// The condition as an error of the person who must act.
    #[must_use]
    pub fn to_error(&self) -> Error {
        Error::new(self.kind, self.sentence.clone())
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

/// The condition to act on first: the gravest, supplies before the device.
pub(super) fn gravest(conditions: &[Condition]) -> Option<&Condition> {
    conditions.iter().rev().max_by_key(|condition| (condition.severity, condition.kind == Kind::Supply))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_lose_their_suffix_and_get_a_sentence() {
        for (reason, keyword, severity, kind, sentence) in [
            ("media-empty", "media-empty", Severity::Error, Kind::Supply, "used up"),
            ("media-empty-error", "media-empty", Severity::Error, Kind::Supply, "used up"),
            ("media-low-warning", "media-low", Severity::Warning, Kind::Supply, "nearly"),
            ("cover-open-report", "cover-open", Severity::Report, Kind::Device, "close it"),
            ("media-jam-error", "media-jam", Severity::Error, Kind::Device, "jammed"),
            ("media-low", "media-low", Severity::Warning, Kind::Supply, "nearly"),
            ("odd-thing", "odd-thing", Severity::Report, Kind::Device, "`odd-thing`"),
            ("odd-thing-warning", "odd-thing", Severity::Warning, Kind::Device, "`odd-thing`"),
        ] {
            let found = Condition::parse(reason).unwrap();
            assert_eq!((found.keyword.as_str(), found.severity, found.kind), (keyword, severity, kind));
            assert!(found.sentence.contains(sentence), "{reason}: {found}");
            assert_eq!((found.to_error().kind(), found.to_error().text()), (kind, found.sentence.as_str()));
        }
        assert_eq!(Condition::parse("none"), None);
        assert_eq!(Condition::parse("none-report"), None);
    }

    #[test]
    fn who_acts_first_is_told() {
        let all: Vec<_> = ["media-low-report", "odd-thing", "cover-open", "media-needed", "media-empty"]
            .into_iter()
            .filter_map(Condition::parse)
            .collect();
        assert_eq!(gravest(&all).unwrap().keyword, "media-needed");
        assert_eq!(gravest(&all[..3]).unwrap().keyword, "cover-open");
        assert!(gravest(&[]).is_none());
    }
}
