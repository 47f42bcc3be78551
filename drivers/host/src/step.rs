//! The steps of a job as values.

use crate::{HostError, JobSpec, Session, StripSpec};

/// One call of a [`Session`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step<'a> {
    /// [`Session::begin_job`].
    BeginJob(&'a JobSpec),
    /// [`Session::begin_strip`].
    BeginStrip(&'a StripSpec<'a>),
    /// [`Session::lines`].
    Lines {
        /// Head lines back to back.
        rows: &'a [u8],
        /// How many.
        count: u32,
    },
    /// [`Session::blank`].
    Blank(u32),
    /// [`Session::end_strip`].
    EndStrip,
    /// [`Session::end_job`].
    EndJob,
    /// [`Session::cancel`].
    Cancel,
    /// [`Session::port_status`].
    PortStatus(u8),
}

impl Step<'_> {
    /// Whether the call may put something out, to be drained before the next one.
    pub(crate) const fn puts_out(&self) -> bool {
        !matches!(self, Step::PortStatus(_))
    }

    /// Makes the call.
    ///
    /// # Errors
    ///
    /// As the call.
    pub fn make(&self, session: &mut Session) -> Result<(), HostError> {
        match self {
            Step::BeginJob(job) => session.begin_job(job),
            Step::BeginStrip(strip) => session.begin_strip(strip),
            Step::Lines { rows, count } => session.lines(rows, *count),
            Step::Blank(count) => session.blank(*count),
            Step::EndStrip => session.end_strip(),
            Step::EndJob => session.end_job(),
            Step::Cancel => session.cancel(),
            Step::PortStatus(status) => session.port_status(*status),
        }
    }
}
