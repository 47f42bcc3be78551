//! Reading what a module points to.

use std::ffi::{CStr, c_char};

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::{FaultKind, read_text};

use crate::{Fault, HostError};

/// Copies a record a module points to. The error says what is wrong with the pointer.
///
/// # Safety
///
/// `pointer`, when it is neither NULL nor misaligned, points to a `u32` with the number of bytes
/// that are valid to read there.
pub(crate) unsafe fn record<T: Sized32>(pointer: *const T, what: &str) -> Result<T, String> {
    if pointer.is_null() {
        return Err(format!("{what} is NULL, wanted a pointer"));
    }
    if !pointer.is_aligned() {
        return Err(format!("{what} is at {pointer:?}, wanted an aligned address"));
    }
    // SAFETY: not NULL, aligned; the caller promises the size.
    let size = unsafe { pointer.cast::<u32>().read() };
    if size < T::SIZE {
        return Err(format!("{what} has {size} bytes, wanted at least {}", T::SIZE));
    }
    // SAFETY: that many bytes are valid to read, and Sized32 promises that any bytes are a value.
    Ok(unsafe { pointer.read() })
}

/// Copies a string a module points to.
///
/// # Safety
///
/// `pointer` is NULL or points to bytes that are valid to read up to a NUL among them.
pub(crate) unsafe fn text(pointer: *const c_char, what: &str) -> Result<String, String> {
    if pointer.is_null() {
        return Err(format!("{what} is NULL, wanted a string"));
    }
    // SAFETY: the caller's promise.
    let text = unsafe { CStr::from_ptr(pointer) };
    text.to_str().map(str::to_owned).map_err(|error| format!("{what} is not UTF-8 from byte {}", error.valid_up_to()))
}

/// Copies an array of pointers a module points to.
///
/// # Safety
///
/// `pointer` is NULL, misaligned, or points to `count` pointers that are valid to read.
pub(crate) unsafe fn pointers<T>(pointer: *const *const T, count: u32, what: &str) -> Result<Vec<*const T>, String> {
    /// No family has that many settings; a greater number is a mistake or memory overwritten.
    const MOST: u32 = 1000;
    if count == 0 {
        return Ok(Vec::new());
    }
    if count > MOST {
        return Err(format!("{what} has {count} elements, wanted at most {MOST}"));
    }
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(format!("{what} is at {pointer:?}, wanted an array of {count} pointers"));
    }
    // SAFETY: not NULL, aligned; the caller promises the count.
    Ok(unsafe { std::slice::from_raw_parts(pointer, count as usize) }.to_vec())
}

/// Makes an error of a status and the record that belongs to it.
pub(crate) fn fault(module: &str, call: &str, status: tw_status, record: &raw::tw_fault) -> HostError {
    let broken = |what: String| HostError::Broken { module: module.to_owned(), what };
    let Some(kind) = FaultKind::from_raw(status) else {
        return broken(format!("{call} returned status {status}, wanted 0 to 6"));
    };
    let Some(mut text) = read_text(&record.text) else {
        return broken(format!("{call} failed with a fault text without end or not in UTF-8"));
    };
    if text.is_empty() {
        text = format!("{call} failed ({kind:?}) without saying why");
    }
    HostError::Fault(Fault { module: module.to_owned(), kind, code: record.code, text, retry: record.retry == 1 })
}
