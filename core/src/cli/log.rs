//! What the journal is told while labels are printed.

use super::now;
use crate::error::{Error, Kind, Result};
use crate::journal::{Note, What};
use crate::register::Register;
use crate::store::files::{self, Held};
use std::ops::RangeInclusive;
use std::path::Path;

/// A job of the journal under way.
pub(super) struct Log {
    register: Register,
    job: i64,
    /// Labels of pieces before the one under way.
    before: usize,
    /// Nobody else goes on with the job meanwhile.
    _held: Held,
}

/// Takes hold of a job of the register's journal, so that no two programs print it at once.
///
/// # Errors
/// Kind `Input`: another program prints it now. Kind `Storage`.
pub(super) fn hold(register: &Path, job: i64) -> Result<Held> {
    files::hold(register, &format!("job-{job}"))?.ok_or_else(|| {
        Error::input(format!(
            "found job {job} being printed by another program now, wanted one that has ended: wait for it, or stop it first"
        ))
    })
}

impl Log {
    /// The log of a job that was written down.
    ///
    /// # Errors
    /// As [`hold`].
    pub(super) fn new(register: Register, job: i64) -> Result<Self> {
        let held = hold(register.path(), job)?;
        Ok(Self { register, job, before: 0, _held: held })
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
