//! Where the stream of a session goes.

use std::io::{self, Write};
use std::time::Duration;

/// Receives the stream of a session, in order.
pub trait Sink {
    /// Why bytes cannot be taken.
    type Error;

    /// Takes stream bytes; never empty.
    ///
    /// # Errors
    ///
    /// When the bytes are not certainly on their way. [`Session::drain`](crate::Session::drain)
    /// hands the error to its caller.
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Self::Error>;

    /// Lets `time` pass before the next bytes go out. A sink that only records may return at
    /// once.
    ///
    /// # Errors
    ///
    /// When the caller does not want to wait any longer.
    fn wait(&mut self, time: Duration) -> Result<(), Self::Error>;

    /// Appends what the device says to `reply`: up to `count` bytes, or less when no more came
    /// within `time`. Appending nothing tells the driver that nothing came.
    ///
    /// # Errors
    ///
    /// When the link is broken. A link that cannot answer appends nothing and is no error.
    fn reply(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<(), Self::Error>;
}

/// A sink for a file: writes the bytes, skips the waits, never answers.
#[derive(Debug, Clone, Copy)]
pub struct ToWriter<W>(pub W);

impl<W: Write> Sink for ToWriter<W> {
    type Error = io::Error;

    fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn wait(&mut self, _time: Duration) -> io::Result<()> {
        Ok(())
    }

    fn reply(&mut self, _count: usize, _time: Duration, _reply: &mut Vec<u8>) -> io::Result<()> {
        Ok(())
    }
}
