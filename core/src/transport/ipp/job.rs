//! A job of a print queue: what is asked for, and what becomes of it.

use super::attributes::{Activity, Attributes, MediaSize};
use super::condition::{Condition, Severity, gravest};
use super::message::{Attribute, Message, Value, group};
use crate::error::{Error, Kind};
use crate::unit::Micrometres;
use std::fmt;

/// The media type of PWG Raster (PWG 5102.4-2012).
pub const PWG_RASTER: &str = "image/pwg-raster";

/// What a job asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobRequest {
    /// Name of the job, as lists show it. Cut to 255 bytes.
    pub name: String,
    /// The person who prints. Cut to 255 bytes.
    pub user: String,
    /// Format of the document, a media type.
    pub format: String,
    /// Width of the tape and length of the longest strip: the custom size asked for. None asks for no size.
    pub size: Option<(Micrometres, Micrometres)>,
    /// A finishing by its number in the registry, such as 62 for `trim-after-copies`. None leaves it to the
    /// printer and to what the stream says.
    pub finishing: Option<i32>,
}

impl JobRequest {
    /// A PWG Raster job without a size.
    #[must_use]
    pub fn new(name: impl Into<String>, user: impl Into<String>) -> Self {
        Self { name: name.into(), user: user.into(), format: PWG_RASTER.to_owned(), size: None, finishing: None }
    }

    /// The person's name as an attribute.
    pub(super) fn user(&self) -> Value {
        Value::name(cut(&self.user))
    }

    /// Adds what every operation says of a job (RFC 8011, section 4.2.1).
    pub(super) fn describe(&self, request: &mut Message) {
        request.add(group::OPERATION, "requesting-user-name", self.user());
        request.add(group::OPERATION, "job-name", Value::name(cut(&self.name)));
    }

    /// Adds the job template: size, margins, colour, finishing, as far as the printer knows of them.
    pub(super) fn template(&self, printer: &Attributes, request: &mut Message) {
        if let Some(mode) =
            ["bi-level", "monochrome"].iter().find(|mode| printer.color_modes.iter().any(|m| m == *mode))
        {
            request.add(group::JOB, "print-color-mode", Value::keyword(mode));
        }
        if let Some(finishing) = self.finishing.filter(|one| printer.finishings.contains(one)) {
            request.add(group::JOB, "finishings", Value::Enum(finishing));
        }
        if let Some((across, along)) = self.size {
            let side = |length: Micrometres| Value::Integer(hundredths(length));
            let size = vec![Attribute::new("x-dimension", side(across)), Attribute::new("y-dimension", side(along))];
            let mut media = vec![Attribute::new("media-size", Value::Collection(size))];
            let margins = &printer.margins;
            for (name, margin) in [
                ("media-bottom-margin", margins.bottom),
                ("media-left-margin", margins.left),
                ("media-right-margin", margins.right),
                ("media-top-margin", margins.top),
            ] {
                media.extend(margin.map(|margin| Attribute::new(name, side(margin))));
            }
            request.add(group::JOB, "media-col", Value::Collection(media));
        }
    }

    /// What of it the printer does not offer, as sentences. It may print it all the same.
    #[must_use]
    pub fn doubts(&self, printer: &Attributes) -> Vec<String> {
        let mut doubts = Vec::new();
        let knows = |format: &String| *format == self.format || format == "application/octet-stream";
        if !printer.formats.is_empty() && !printer.formats.iter().any(knows) {
            doubts.push(format!("found a printer of {}, wanted {}", printer.formats.join(", "), self.format));
        }
        if let Some((across, along)) = self.size
            && !printer.media.is_empty()
            && !printer.media.iter().any(|media| media.takes(across, along))
        {
            let most: &MediaSize = &printer.media[0];
            doubts.push(format!(
                "found a strip of {} × {} mm, wanted {} to {} mm across and {} to {} mm along",
                across.mm(),
                along.mm(),
                most.across.0.mm(),
                most.across.1.mm(),
                most.along.0.mm(),
                most.along.1.mm()
            ));
        }
        doubts
    }
}

/// Hundredths of a millimetre, rounded; the unit of media sizes (PWG 5100.7).
fn hundredths(length: Micrometres) -> i32 {
    i32::try_from((length.0 + 5).div_euclid(10)).unwrap_or(i32::MAX)
}

/// A name as long as the protocol allows (RFC 8011, section 5.1.3).
fn cut(text: &str) -> &str {
    let mut end = text.len().min(255);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    &text[..end]
}

/// How far a job is (RFC 8011, section 5.3.7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Its document is being sent and the printer says no more of it.
    Sending,
    /// Waits for its turn.
    Pending,
    /// Held back until somebody lets it go.
    Held,
    /// At work.
    Processing,
    /// At work, but stopped.
    Stopped,
    /// Ended by somebody.
    Canceled,
    /// Ended by the printer.
    Aborted,
    /// Printed.
    Completed,
    /// The printer says something else.
    Unknown,
}

impl Stage {
    pub(super) const fn read(number: Option<i32>) -> Self {
        match number {
            Some(3) => Self::Pending,
            Some(4) => Self::Held,
            Some(5) => Self::Processing,
            Some(6) => Self::Stopped,
            Some(7) => Self::Canceled,
            Some(8) => Self::Aborted,
            Some(9) => Self::Completed,
            _ => Self::Unknown,
        }
    }

    /// Whether the job has ended and changes no more.
    #[must_use]
    pub const fn ended(self) -> bool {
        matches!(self, Self::Canceled | Self::Aborted | Self::Completed)
    }

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sending => "sending",
            Self::Pending => "pending",
            Self::Held => "held",
            Self::Processing => "printing",
            Self::Stopped => "stopped",
            Self::Canceled => "canceled",
            Self::Aborted => "aborted",
            Self::Completed => "completed",
            Self::Unknown => "unknown",
        }
    }
}

/// A job and its printer at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Number of the job at the printer; none before it is known.
    pub job: Option<i32>,
    /// How far it is.
    pub stage: Stage,
    /// `job-state-reasons` other than `none`.
    pub reasons: Vec<String>,
    /// `job-state-message`.
    pub message: Option<String>,
    /// What the printer is doing.
    pub printer: Activity,
    /// What is the matter with the printer.
    pub conditions: Vec<Condition>,
}

impl Progress {
    /// What somebody must see to, gravest first, supplies before the device: warnings and errors, and
    /// reports too once the job or the printer has stopped.
    #[must_use]
    pub fn wants(&self) -> Option<&Condition> {
        let stopped = self.printer == Activity::Stopped || self.stage == Stage::Stopped;
        let least = if stopped { Severity::Report } else { Severity::Warning };
        gravest(&self.conditions).filter(|condition| condition.severity >= least)
    }

    /// The end of the job as a result: completed without errors is none.
    pub(super) fn failure(&self) -> Option<Error> {
        let flawed = self.reasons.iter().any(|reason| reason == "job-completed-with-errors");
        let how = match self.stage {
            Stage::Canceled => "was canceled",
            Stage::Aborted => "was aborted by the printer",
            Stage::Completed if flawed => "was completed with errors",
            _ => return None,
        };
        let name = self.job.map_or_else(|| "the job".to_owned(), |job| format!("job {job}"));
        let mut text = format!("{name} {how}");
        if let Some(message) = &self.message {
            text = format!("{text}: {message}");
        }
        if !self.reasons.is_empty() {
            text = format!("{text} ({})", self.reasons.join(", "));
        }
        // A printer that has given a job up may call its reason a report (seen, CUPS 2.4). What is low is no
        // reason.
        let stopped = gravest(&self.conditions).filter(|condition| !condition.keyword.ends_with("-low"));
        if let Some(condition) = stopped {
            text = format!("{text}; {condition}");
        }
        let kind = match stopped {
            Some(condition) if self.stage != Stage::Canceled => condition.kind,
            _ => Kind::Device,
        };
        Some(Error::new(kind, text))
    }
}

impl fmt::Display for Progress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.job {
            Some(job) => write!(f, "job {job}: {}", self.stage.word())?,
            None => f.write_str(self.stage.word())?,
        }
        if let Some(wants) = self.wants() {
            write!(f, ", {wants}")?;
        }
        Ok(())
    }
}

/// A job the printer has taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobHandle {
    /// Number of the job at the printer.
    pub id: i32,
    /// The person it is of; only that person may ask for it and cancel it at most printers.
    pub(super) user: String,
    /// What the printer said it ignores or does in another way.
    pub doubts: Vec<String>,
    /// What was seen last.
    pub last: Option<Progress>,
}

impl JobHandle {
    /// A job by its number, such as one noted before the program was ended.
    #[must_use]
    pub fn known(id: i32, user: impl Into<String>) -> Self {
        Self { id, user: user.into(), doubts: Vec::new(), last: None }
    }

    pub(super) fn user(&self) -> Value {
        Value::name(cut(&self.user))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn progress(stage: Stage, printer: &[&str]) -> Progress {
        let conditions = printer.iter().filter_map(|reason| Condition::parse(reason)).collect();
        Progress { job: Some(7), stage, reasons: Vec::new(), message: None, printer: Activity::Stopped, conditions }
    }

    #[test]
    fn an_end_is_a_result() {
        assert!(progress(Stage::Completed, &["media-empty"]).failure().is_none());
        let canceled = progress(Stage::Canceled, &["media-empty"]).failure().unwrap();
        assert_eq!((canceled.kind(), canceled.text().contains("job 7 was canceled")), (Kind::Device, true));
        let aborted = progress(Stage::Aborted, &["media-empty-error"]).failure().unwrap();
        assert_eq!(aborted.kind(), Kind::Supply);
        assert_eq!(progress(Stage::Aborted, &["media-low-warning"]).failure().unwrap().kind(), Kind::Device);
        let mut flawed = progress(Stage::Completed, &[]);
        flawed.reasons.push("job-completed-with-errors".into());
        assert!(flawed.failure().unwrap().text().ends_with("(job-completed-with-errors)"));
    }

    #[test]
    fn progress_says_what_is_wanted() {
        let mut working = progress(Stage::Processing, &["media-low-report"]);
        working.printer = Activity::Processing;
        assert_eq!(working.to_string(), "job 7: printing");
        let wants = progress(Stage::Stopped, &["media-empty"]).to_string();
        assert_eq!(wants, "job 7: stopped, the tape is used up, load a cartridge of the same stock");
    }

    #[test]
    fn names_are_cut_between_characters() {
        let long = "é".repeat(200);
        assert_eq!(cut(&long).len(), 254);
        assert_eq!(hundredths(Micrometres(12_345)), 1235);
    }
}
