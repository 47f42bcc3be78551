//! What the journal is told while labels are printed.

use super::now;
use crate::error::{Error, Kind, Result};
use crate::journal::{Note, What};
use crate::register::Register;
use std::ops::RangeInclusive;

/// A job of the journal under way.
pub(super) struct Log {
    register: Register,
    job: i64,
    /// Labels of pieces before the one under way.
    before: usize,
}

impl Log {
    /// The log of a job that was written down.
    pub(super) const fn new(register: Register, job: i64) -> Self {
        Self { register, job, before: 0 }
    }

    /// The job's number.
    pub(super) const fn job(&self) -> i64 {
        self.job
    }

    /// A note about labels of the piece under way.
    pub(super) fn note(&mut self, what: What, labels: RangeInclusive<usize>, word: &str) -> Result<()> {
        let labels = labels.start() + self.before..=labels.end() + self.before;
        self.register.note(self.job, &Note { at: now(), what, labels, word: word.to_owned() })
    }

    /// The next piece begins after so many labels.
    pub(super) const fn next(&mut self, labels: usize) {
        self.before += labels;
    }
}

/// Says how to go on after a job that broke off.
pub(super) fn hint(error: Error, log: Option<&Log>) -> Error {
    match log {
        Some(log) if error.kind() != Kind::Bug => error
            .doing(format!("job {} broke off; `tapewright resume` shows how far it was and prints the rest", log.job)),
        _ => error,
    }
}
