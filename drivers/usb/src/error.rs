//! What can go wrong, sorted by who must act.

use crate::udev::FILE;
use std::fmt;

/// Shorthand for results with [`Error`].
pub type Result<T> = std::result::Result<T, Error>;

/// Who must act on an error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Acts {
    /// Who wrote the command line.
    Author,
    /// The person at the printer.
    AtPrinter,
    /// Who looks after this computer.
    Administrator,
    /// Nobody but the makers: the printer does not do what its class asks for.
    Maker,
}

/// The link failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Error {
    /// The text is no selector.
    Selector {
        /// The text.
        found: String,
        /// What is wrong with it.
        why: String,
    },
    /// This computer has no USB, or this program cannot see it.
    NoUsb {
        /// What the system said.
        why: String,
    },
    /// No printer fits the selector.
    NotFound {
        /// The selector.
        wanted: String,
        /// The printers there are.
        found: Vec<String>,
    },
    /// More than one printer fits the selector.
    Several {
        /// The selector.
        wanted: String,
        /// Those that fit.
        found: Vec<String>,
    },
    /// The system does not let this user open the printer.
    NoPermission {
        /// The printer.
        printer: String,
        /// A udev rule that would allow it.
        rule: String,
    },
    /// Another program uses the printer.
    Busy {
        /// The printer.
        printer: String,
    },
    /// The printer was unplugged or switched off.
    Unplugged,
    /// The printer took no more bytes in the time it had.
    TimedOut,
    /// The printer keeps refusing bytes, or does not know a request.
    Stalled,
    /// Bytes are garbled between the computer and the printer.
    Garbled,
    /// The printer answered what its class does not allow.
    Answer {
        /// What it answered, and what was wanted.
        what: String,
    },
    /// The system failed in another way.
    System {
        /// What it said.
        what: String,
    },
}

impl Error {
    /// Who must act.
    #[must_use]
    pub const fn acts(&self) -> Acts {
        match self {
            Self::Selector { .. } | Self::Several { .. } => Acts::Author,
            Self::NotFound { .. } | Self::Busy { .. } | Self::Unplugged | Self::TimedOut | Self::Garbled => {
                Acts::AtPrinter
            }
            Self::NoUsb { .. } | Self::NoPermission { .. } | Self::System { .. } => Acts::Administrator,
            Self::Stalled | Self::Answer { .. } => Acts::Maker,
        }
    }
}

fn listed(found: &[String]) -> String {
    if found.is_empty() { "no USB printer".into() } else { found.join(", ") }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Selector { found, why } => write!(
                f,
                "usb printer: found `{found}`, {why}; wanted usb: for the only one, usb:VID:PID, \
                 usb:VID:PID:SERIAL or usb:BUS-PORT, with VID and PID as four hex digits"
            ),
            Self::NoUsb { why } => write!(f, "found no USB on this computer ({why}), wanted a USB printer"),
            Self::NotFound { wanted, found } => {
                write!(f, "found {}, wanted {wanted}; is it switched on and plugged in", listed(found))
            }
            Self::Several { wanted, found } => {
                write!(f, "found {} printers for {wanted}, wanted one; choose from {}", found.len(), listed(found))
            }
            Self::NoPermission { printer, rule } => write!(
                f,
                "found no permission to open {printer}; put this line into {FILE} and plug the printer in again: {}",
                rule.trim_end()
            ),
            Self::Busy { printer } => {
                write!(f, "found {printer} in use by another program; close that, or wait until its job is done")
            }
            Self::Unplugged => f.write_str("the printer is gone; is it switched on and plugged in"),
            Self::TimedOut => {
                f.write_str("the printer takes no more bytes; look whether it is out of tape, open, or paused")
            }
            Self::Stalled => f.write_str("the printer keeps refusing bytes; switch it off and on again"),
            Self::Garbled => f.write_str("bytes are garbled on the way to the printer; try another cable or socket"),
            Self::Answer { what } => write!(f, "the printer gave a wrong answer: {what}"),
            Self::System { what } => write!(f, "the system's USB failed: {what}"),
        }
    }
}

impl std::error::Error for Error {}

/// A write that ended early.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WriteFailure {
    /// Bytes of this write that the printer has certainly taken. After [`Error::Unplugged`] and
    /// [`Error::Garbled`] it may have taken some more, whose receipt was lost; after the others it
    /// has not, and the rest can be written next.
    pub sent: usize,
    /// Why it ended.
    pub cause: Error,
}

impl fmt::Display for WriteFailure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "after {} bytes: {}", self.sent, self.cause)
    }
}

impl std::error::Error for WriteFailure {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.cause)
    }
}
