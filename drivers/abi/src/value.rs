//! Safe values that driver and host both use.

use crate::raw;

/// How deep a cut goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CutKind {
    /// Through the printed layer; the backing holds the strip together.
    Half,
    /// Through everything.
    Full,
}

impl CutKind {
    /// The number in `driver.h`.
    pub const fn to_raw(self) -> u32 {
        match self {
            CutKind::Half => raw::TW_CUT_HALF,
            CutKind::Full => raw::TW_CUT_FULL,
        }
    }

    /// The kind for a number of `driver.h`; `None` for a number that stands for no kind.
    pub const fn from_raw(kind: u32) -> Option<CutKind> {
        match kind {
            raw::TW_CUT_HALF => Some(CutKind::Half),
            raw::TW_CUT_FULL => Some(CutKind::Full),
            _ => None,
        }
    }
}

/// One cut of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Cut {
    /// The cut lies before this line, 0 … lines of the strip; `lines` is the end of the strip.
    pub line: u32,
    /// How deep.
    pub kind: CutKind,
}

/// What a function of a driver reports when it is not content; the codes of `driver.h`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// The device or the job.
    Fault,
    /// A call out of order, or a count that does not fit.
    BadState,
    /// A missing pointer, a struct too small, an option value out of range.
    BadArgument,
    /// This family, or this setting, cannot do it.
    Unsupported,
    /// A stated limit was passed.
    Limit,
    /// The driver's own mistake.
    Bug,
}

impl FaultKind {
    /// The code in `driver.h`.
    pub const fn to_raw(self) -> raw::tw_status {
        match self {
            FaultKind::Fault => raw::TW_FAULT,
            FaultKind::BadState => raw::TW_BAD_STATE,
            FaultKind::BadArgument => raw::TW_BAD_ARGUMENT,
            FaultKind::Unsupported => raw::TW_UNSUPPORTED,
            FaultKind::Limit => raw::TW_LIMIT,
            FaultKind::Bug => raw::TW_BUG,
        }
    }

    /// The kind for a code of `driver.h`; `None` for `TW_OK` and for numbers that are no code.
    pub const fn from_raw(status: raw::tw_status) -> Option<FaultKind> {
        match status {
            raw::TW_FAULT => Some(FaultKind::Fault),
            raw::TW_BAD_STATE => Some(FaultKind::BadState),
            raw::TW_BAD_ARGUMENT => Some(FaultKind::BadArgument),
            raw::TW_UNSUPPORTED => Some(FaultKind::Unsupported),
            raw::TW_LIMIT => Some(FaultKind::Limit),
            raw::TW_BUG => Some(FaultKind::Bug),
            _ => None,
        }
    }
}

/// How much a log line matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LogLevel {
    /// For whoever writes the driver.
    Debug,
    /// Worth knowing.
    Info,
    /// Worth a look.
    Warning,
    /// Something went wrong.
    Error,
}

impl LogLevel {
    /// The number in `driver.h`.
    pub const fn to_raw(self) -> u32 {
        match self {
            LogLevel::Debug => raw::TW_LOG_DEBUG,
            LogLevel::Info => raw::TW_LOG_INFO,
            LogLevel::Warning => raw::TW_LOG_WARNING,
            LogLevel::Error => raw::TW_LOG_ERROR,
        }
    }

    /// The level for a number of `driver.h`; numbers it does not know count as the next level
    /// it does.
    pub const fn from_raw(level: u32) -> LogLevel {
        match level {
            0 | raw::TW_LOG_DEBUG => LogLevel::Debug,
            raw::TW_LOG_INFO => LogLevel::Info,
            raw::TW_LOG_WARNING => LogLevel::Warning,
            _ => LogLevel::Error,
        }
    }
}

/// State of the device as it was last told.
///
/// All `false` and empty until the device has said something.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DeviceStatus {
    /// The device has told its state.
    pub known: bool,
    /// Ready for a job.
    pub ready: bool,
    /// Printing or cutting.
    pub busy: bool,
    /// No stock left, or none loaded.
    pub stock_out: bool,
    /// A cover is open.
    pub cover_open: bool,
    /// Other stock is loaded than the job asks for; see `found_width_um` and `found_kind`.
    pub wrong_stock: bool,
    /// The device reports a fault; see `text`.
    pub fault: bool,
    /// Width of the loaded stock in micrometres; 0 when not known.
    pub found_width_um: u32,
    /// Kind of the loaded stock, at most 31 bytes; empty when not known.
    pub found_kind: String,
    /// One sentence, at most 255 bytes; may be empty.
    pub text: String,
}

/// Copies as much of `text` into `to` as fits with a NUL after it, cut at a character; the rest
/// of `to` becomes NUL. A NUL inside `text` ends it.
pub fn write_text(to: &mut [std::ffi::c_char], text: &str) {
    let text = text.split('\0').next().unwrap_or("");
    let mut end = text.len().min(to.len().saturating_sub(1));
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    to.fill(0);
    for (slot, byte) in to.iter_mut().zip(text.as_bytes()[..end].iter()) {
        #[allow(clippy::cast_possible_wrap)] // A byte is a byte; C's char may be signed.
        let char = *byte as std::ffi::c_char;
        *slot = char;
    }
}

/// Reads a text field: up to the first NUL.
///
/// # Errors
///
/// `None` when there is no NUL or the bytes are not UTF-8.
pub fn read_text(from: &[std::ffi::c_char]) -> Option<String> {
    let end = from.iter().position(|c| *c == 0)?;
    #[allow(clippy::cast_sign_loss)] // A byte is a byte; C's char may be signed.
    let bytes = from[..end].iter().map(|c| *c as u8).collect();
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_at_a_character() {
        let mut field = [1 as std::ffi::c_char; 6];
        write_text(&mut field, "gros ärger");
        assert_eq!(read_text(&field).as_deref(), Some("gros "));
        write_text(&mut field, "wörter");
        assert_eq!(read_text(&field).as_deref(), Some("wört"));
        write_text(&mut field, "abcdé");
        assert_eq!(read_text(&field).as_deref(), Some("abcd"));
        write_text(&mut field, "ab\0cd");
        assert_eq!(read_text(&field).as_deref(), Some("ab"));
        write_text(&mut [], "ab");
    }

    #[test]
    fn text_without_end_or_meaning_is_refused() {
        assert_eq!(read_text(&[65, 66]), None);
        assert_eq!(read_text(&[-1i8 as std::ffi::c_char, 0]), None);
    }

    #[test]
    fn codes_go_there_and_back() {
        for status in -1..9 {
            if let Some(kind) = FaultKind::from_raw(status) {
                assert_eq!(kind.to_raw(), status);
            }
        }
        assert_eq!(FaultKind::from_raw(raw::TW_OK), None);
        for kind in 0..4 {
            if let Some(cut) = CutKind::from_raw(kind) {
                assert_eq!(cut.to_raw(), kind);
            }
        }
        for level in 1..5 {
            assert_eq!(LogLevel::from_raw(level).to_raw(), level);
        }
    }
}
