//! What a driver puts out during one call.

use std::collections::VecDeque;
use std::time::Duration;

use tapewright_abi::raw;
use tapewright_abi::value::LogLevel;

/// Takes stream bytes, waits and log lines, in order. The host fetches everything before the next
/// call, so it never holds more than one call's output.
#[derive(Debug, Default)]
pub struct Out {
    bytes: Vec<u8>,
    taken: usize,
    /// Where in `bytes`, and what.
    pauses: VecDeque<(usize, Pause)>,
    log: Vec<(LogLevel, String)>,
}

#[derive(Debug, Clone, Copy)]
pub(crate) enum Pause {
    Wait { milliseconds: u32 },
    Reply { count: u32, milliseconds: u32 },
}

/// What comes out next.
pub(crate) enum Next<'a> {
    Bytes(&'a [u8]),
    Pause(Pause),
    Nothing,
}

impl Out {
    /// An empty output, for tests of a driver without a host.
    pub fn new() -> Out {
        Out::default()
    }

    /// Appends bytes to the stream.
    #[inline]
    pub fn extend(&mut self, bytes: &[u8]) {
        self.bytes.extend_from_slice(bytes);
    }

    /// Appends the first `count` of these bytes, at most all. As [`Out::extend`], but it copies a
    /// fixed number: for few bytes at a time that is faster.
    #[inline]
    pub fn extend_first<const N: usize>(&mut self, bytes: &[u8; N], count: usize) {
        let end = self.bytes.len() + count.min(N);
        self.bytes.extend_from_slice(bytes);
        self.bytes.truncate(end);
    }

    /// Appends one byte to the stream.
    #[inline]
    pub fn byte(&mut self, byte: u8) {
        self.bytes.push(byte);
    }

    /// Lets time pass before the bytes that follow go out; whole milliseconds, rounded up, at
    /// most 49 days.
    pub fn wait(&mut self, time: Duration) {
        if !time.is_zero() {
            let milliseconds = milliseconds(time);
            let pause = Pause::Wait { milliseconds };
            self.pauses.push_back((self.bytes.len(), pause));
        }
    }

    /// Waits for `count` reply bytes (at least 1, at most 65536) before the bytes that follow go
    /// out; what came within `time` arrives in [`Driver::reply`](crate::Driver::reply).
    pub fn wait_reply(&mut self, count: u32, time: Duration) {
        let pause = Pause::Reply { count: count.clamp(1, 65_536), milliseconds: milliseconds(time) };
        self.pauses.push_back((self.bytes.len(), pause));
    }

    /// Writes a line to the host's log when the call ends.
    pub fn log(&mut self, level: LogLevel, text: impl Into<String>) {
        self.log.push((level, text.into()));
    }

    /// The bytes put out and not yet taken, waits left aside; for tests of a driver without a
    /// host.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[self.taken..]
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.taken == self.bytes.len() && self.pauses.is_empty()
    }

    pub(crate) fn clear(&mut self) {
        self.bytes.clear();
        self.taken = 0;
        self.pauses.clear();
    }

    pub(crate) fn take_log(&mut self) -> Vec<(LogLevel, String)> {
        std::mem::take(&mut self.log)
    }

    /// Takes what comes next, at most `cap` bytes of it.
    pub(crate) fn next(&mut self, cap: usize) -> Next<'_> {
        if let Some(&(at, pause)) = self.pauses.front()
            && at <= self.taken
        {
            self.pauses.pop_front();
            return Next::Pause(pause);
        }
        let end = self.pauses.front().map_or(self.bytes.len(), |(at, _)| *at);
        let end = end.min(self.taken.saturating_add(cap));
        if self.taken == end {
            self.clear();
            return Next::Nothing;
        }
        let bytes = &self.bytes[self.taken..end];
        self.taken = end;
        Next::Bytes(bytes)
    }
}

fn milliseconds(time: Duration) -> u32 {
    let whole = time.as_nanos().div_ceil(1_000_000);
    u32::try_from(whole).unwrap_or(u32::MAX).max(1)
}

impl Pause {
    pub(crate) fn to_raw(self) -> raw::tw_action {
        let mut action = raw::tw_action::empty();
        match self {
            Pause::Wait { milliseconds } => {
                action.kind = raw::TW_ACTION_WAIT;
                action.milliseconds = milliseconds;
            }
            Pause::Reply { count, milliseconds } => {
                action.kind = raw::TW_ACTION_WAIT_REPLY;
                action.count = u64::from(count);
                action.milliseconds = milliseconds;
            }
        }
        action
    }
}
