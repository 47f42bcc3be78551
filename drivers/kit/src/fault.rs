//! Why a driver cannot go on.

use std::fmt;

use tapewright_abi::raw;
use tapewright_abi::value::{FaultKind, write_text};

/// Why a driver cannot go on: what a person reads, and what a program may do about it.
///
/// Texts are one sentence, lower case, without a full stop: the value found, the value wanted,
/// then a hint. At most 511 bytes reach the host.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Which sort of trouble.
    pub kind: FaultKind,
    /// The family's own number; 0 when it has none.
    pub code: u32,
    /// One sentence.
    pub text: String,
    /// The same job may succeed when it is sent again.
    pub retry: bool,
}

impl Fault {
    /// A fault of this kind.
    pub fn new(kind: FaultKind, text: impl Into<String>) -> Fault {
        Fault { kind, code: 0, text: text.into(), retry: false }
    }

    /// The device or the job is not in order.
    pub fn device(text: impl Into<String>) -> Fault {
        Fault::new(FaultKind::Fault, text)
    }

    /// This family, or this setting, cannot do it.
    pub fn unsupported(text: impl Into<String>) -> Fault {
        Fault::new(FaultKind::Unsupported, text)
    }

    /// A stated limit was passed.
    pub fn limit(text: impl Into<String>) -> Fault {
        Fault::new(FaultKind::Limit, text)
    }

    /// A value of the job is out of range.
    pub fn argument(text: impl Into<String>) -> Fault {
        Fault::new(FaultKind::BadArgument, text)
    }

    /// A call out of order.
    pub(crate) fn state(text: impl Into<String>) -> Fault {
        Fault::new(FaultKind::BadState, text)
    }

    /// With the family's own number.
    #[must_use]
    pub fn with_code(self, code: u32) -> Fault {
        Fault { code, ..self }
    }

    /// Says that sending the same job again may succeed.
    #[must_use]
    pub fn with_retry(self) -> Fault {
        Fault { retry: true, ..self }
    }

    pub(crate) fn to_raw(&self) -> raw::tw_fault {
        let mut record = raw::tw_fault::empty();
        record.status = self.kind.to_raw();
        record.code = self.code;
        record.retry = u32::from(self.retry);
        write_text(&mut record.text, &self.text);
        record
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::error::Error for Fault {}
