//! Checks that every function of the interface begins with.

use std::any::Any;
use std::ffi::{CStr, c_char};
use std::panic::{AssertUnwindSafe, catch_unwind};

use tapewright_abi::raw::Sized32;
use tapewright_abi::value::FaultKind;

use crate::Fault;

/// Runs driver code; a panic becomes a fault and does not leave.
pub(crate) fn fenced<T>(call: &str, function: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(function)).unwrap_or_else(|panic| {
        // What a panic carries may panic when it is dropped; it is small and rare, so it stays.
        let text = panic_text(&*panic);
        std::mem::forget(panic);
        Err(Fault::new(FaultKind::Bug, format!("driver panicked in {call}: {text}")))
    })
}

fn panic_text(panic: &(dyn Any + Send)) -> String {
    if let Some(text) = panic.downcast_ref::<&str>() {
        (*text).to_owned()
    } else if let Some(text) = panic.downcast_ref::<String>() {
        text.clone()
    } else {
        "no text".to_owned()
    }
}

/// Copies a record of the host.
///
/// # Safety
///
/// `pointer`, when neither NULL nor misaligned, points to a `u32` with the number of bytes that
/// are valid to read there.
pub(crate) unsafe fn record<T: Sized32>(pointer: *const T, what: &str) -> Result<T, Fault> {
    // SAFETY: the caller's promise.
    unsafe { check(pointer, what) }?;
    // SAFETY: `check` found the size large enough; Sized32: any bytes are a value.
    Ok(unsafe { pointer.read() })
}

/// Fills a record of the host with `value`; the host's own `size` stays.
///
/// # Safety
///
/// `pointer`, when neither NULL nor misaligned, points to a `u32` with the number of bytes that
/// are valid to read and write there.
pub(crate) unsafe fn fill<T: Sized32>(pointer: *mut T, value: T, what: &str) -> Result<(), Fault> {
    // SAFETY: the caller's promise.
    let size = unsafe { check(pointer, what) }?;
    // SAFETY: `check` found the size large enough.
    unsafe { pointer.write(value) };
    // SAFETY: Sized32: the first four bytes are the size.
    unsafe { pointer.cast::<u32>().write(size) };
    Ok(())
}

/// # Safety
///
/// As [`record`].
unsafe fn check<T: Sized32>(pointer: *const T, what: &str) -> Result<u32, Fault> {
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(Fault::argument(format!("{what} is at {pointer:?}, wanted an aligned address")));
    }
    // SAFETY: not NULL, aligned; the caller promises four readable bytes.
    let size = unsafe { pointer.cast::<u32>().read() };
    if size < T::SIZE {
        return Err(Fault::argument(format!("{what} has {size} bytes, wanted at least {}", T::SIZE)));
    }
    Ok(size)
}

/// Looks at bytes of the host.
///
/// # Safety
///
/// `pointer` is NULL or points to `len` bytes that are valid to read for `'a`.
pub(crate) unsafe fn bytes<'a>(pointer: *const u8, len: usize, what: &str) -> Result<&'a [u8], Fault> {
    if len == 0 {
        return Ok(&[]);
    }
    if pointer.is_null() || isize::try_from(len).is_err() {
        return Err(Fault::argument(format!("{what} is {len} bytes at {pointer:?}, wanted memory that can be read")));
    }
    // SAFETY: not NULL, not too long; the caller's promise.
    Ok(unsafe { std::slice::from_raw_parts(pointer, len) })
}

/// Looks at a string of the host.
///
/// # Safety
///
/// `pointer` is NULL or points to bytes with a NUL among them that are valid to read for `'a`.
pub(crate) unsafe fn text<'a>(pointer: *const c_char, what: &str) -> Result<&'a str, Fault> {
    if pointer.is_null() {
        return Err(Fault::argument(format!("{what} is NULL, wanted a string")));
    }
    // SAFETY: not NULL; the caller's promise.
    unsafe { CStr::from_ptr(pointer) }
        .to_str()
        .map_err(|_| Fault::argument(format!("{what} is not UTF-8, wanted UTF-8")))
}

/// Reads element `index` of an array with a stride.
///
/// # Safety
///
/// `pointer` is NULL, misaligned, or the address of an array of more than `index` elements that
/// are `stride` bytes apart and valid to read.
pub(crate) unsafe fn element<T: Copy>(pointer: *const T, stride: u32, index: u32, what: &str) -> Result<T, Fault> {
    let stride = stride as usize;
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(Fault::argument(format!("{what} is at {pointer:?}, wanted an aligned address")));
    }
    if stride < size_of::<T>() || !stride.is_multiple_of(align_of::<T>()) {
        return Err(Fault::argument(format!(
            "{what} has a stride of {stride} bytes, wanted at least {} and a multiple of {}",
            size_of::<T>(),
            align_of::<T>()
        )));
    }
    // SAFETY: the caller promises that the element exists and may be read.
    Ok(unsafe { pointer.byte_add(stride * index as usize).read() })
}
