//! SQLite's errors as ours.

use crate::error::{Error, Kind};
use rusqlite::ErrorCode;

fn code(error: &rusqlite::Error) -> Option<ErrorCode> {
    error.sqlite_error_code()
}

/// Whether someone else is writing.
pub(super) fn is_busy(error: &rusqlite::Error) -> bool {
    matches!(code(error), Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked))
}

/// Whether the place cannot be written, so that no log can be kept beside the file.
pub(super) fn is_read_only(error: &rusqlite::Error) -> bool {
    matches!(code(error), Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied))
}

/// Who must act on an error of SQLite.
pub(super) fn fault(error: rusqlite::Error) -> Error {
    let text = error.to_string().to_lowercase();
    match code(&error) {
        Some(ErrorCode::NotADatabase) => {
            Error::input("found a file that is no database, wanted a register of tapewright")
        }
        Some(ErrorCode::DatabaseCorrupt) => Error::storage(format!(
            "the register is damaged ({text}): keep the file, and go on with your last `cables backup`"
        )),
        Some(ErrorCode::DiskFull) => Error::storage("the disk is full: nothing was written"),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            Error::storage("another program has been writing the register for a minute, wanted it free")
        }
        Some(ErrorCode::ReadOnly) => Error::storage(format!("the register can only be read: {text}")),
        Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied | ErrorCode::SystemIoFailure) => {
            Error::storage(format!("the register cannot be read or written: {text}"))
        }
        Some(ErrorCode::ConstraintViolation) => Error::bug(format!("the register refuses: {text}")),
        _ => Error::new(Kind::Bug, format!("the register: {text}")),
    }
}
