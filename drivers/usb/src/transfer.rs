//! The one call that goes past rusb: its own bulk functions drop the count of bytes when a transfer
//! ends with a stall or an unplugged device (rusb 0.9.4, `DeviceHandle::write_bulk`, seen).
#![allow(unsafe_code)]

use crate::wire::{CHUNK, Data, Stop};
use rusb::constants::{
    LIBUSB_ERROR_IO, LIBUSB_ERROR_NO_DEVICE, LIBUSB_ERROR_OVERFLOW, LIBUSB_ERROR_PIPE, LIBUSB_ERROR_TIMEOUT,
};
use rusb::{DeviceHandle, UsbContext};
use std::ffi::{c_int, c_uint};
use std::time::Duration;

/// A bulk transfer; see [`crate::Wire::bulk`].
pub(crate) fn bulk<C: UsbContext>(
    handle: &DeviceHandle<C>,
    endpoint: u8,
    data: Data<'_>,
    within: Duration,
) -> (usize, Result<(), Stop>) {
    // libusb takes a mutable buffer in both directions, and moves bytes inside it when it cancels a
    // transfer of several requests: what the caller lent for reading is copied.
    let mut copy = [0; CHUNK];
    let buffer = match data {
        Data::Out(bytes) => {
            let chunk = &bytes[..bytes.len().min(CHUNK)];
            copy[..chunk.len()].copy_from_slice(chunk);
            &mut copy[..chunk.len()]
        }
        Data::In(bytes) => bytes,
    };
    let length = c_int::try_from(buffer.len()).unwrap_or(c_int::MAX);
    let mut moved: c_int = 0;
    // SAFETY: `as_raw` gives the open handle, which `handle` keeps open during the call. `buffer`
    // is ours alone and holds at least `length` bytes; libusb reads or fills no more of it, and
    // being the synchronous function, keeps neither pointer after it returns.
    let code = unsafe {
        rusb::ffi::libusb_bulk_transfer(
            handle.as_raw(),
            endpoint,
            buffer.as_mut_ptr(),
            length,
            &raw mut moved,
            milliseconds(within),
        )
    };
    let moved = usize::try_from(moved).unwrap_or(0).min(buffer.len());
    (moved, stop(code).map_or(Ok(()), Err))
}

/// At least 1, because 0 means no time-out to libusb.
pub(crate) fn milliseconds(within: Duration) -> c_uint {
    c_uint::try_from(within.as_micros().div_ceil(1000)).unwrap_or(c_uint::MAX).max(1)
}

fn stop(code: c_int) -> Option<Stop> {
    Some(match code {
        0 => return None,
        LIBUSB_ERROR_TIMEOUT => Stop::TimedOut,
        LIBUSB_ERROR_PIPE => Stop::Stalled,
        LIBUSB_ERROR_NO_DEVICE => Stop::Gone,
        LIBUSB_ERROR_IO => Stop::Garbled,
        LIBUSB_ERROR_OVERFLOW => Stop::TooMuch,
        other => Stop::Other(format!("libusb gave error {other}")),
    })
}
