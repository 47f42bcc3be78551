//! The clock: how much of a time-out is left.

use std::time::{Duration, Instant};

/// The end of a span of time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Until(Option<Instant>);

impl Until {
    /// `span` from now; a span too long for the clock has no end.
    pub(crate) fn after(span: Duration) -> Self {
        Self(now().checked_add(span))
    }

    /// What is left, zero when it is over.
    pub(crate) fn left(self) -> Duration {
        self.0.map_or(Duration::MAX, |end| end.saturating_duration_since(now()))
    }
}

#[expect(clippy::disallowed_methods, reason = "this crate is a door to the outside; time-outs need a clock")]
fn now() -> Instant {
    Instant::now()
}
