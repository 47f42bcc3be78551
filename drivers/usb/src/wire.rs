//! The seam between the logic and libusb.

use std::time::Duration;

/// The most bytes one bulk transfer carries, 16 KiB.
///
/// Linux's usbfs takes this much as one request whatever the kernel and its settings (libusb
/// 1.0.27, `MAX_BULK_BUFFER_LENGTH`, seen). So the count of a failed transfer comes from one
/// number of the kernel, never from a sum over requests of which some were cancelled.
pub const CHUNK: usize = 16 * 1024;

/// The bytes of a bulk transfer; their direction must be that of the endpoint.
#[derive(Debug)]
pub enum Data<'a> {
    /// To the printer; bytes after the first [`CHUNK`] are left for the next transfer.
    Out(&'a [u8]),
    /// From the printer.
    In(&'a mut [u8]),
}

/// Why a transfer ended early.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The time was over.
    TimedOut,
    /// The endpoint is halted, or the request is not known to the device.
    Stalled,
    /// The device is no longer there.
    Gone,
    /// The transfer was garbled on its way.
    Garbled,
    /// The device sent more than was asked for.
    TooMuch,
    /// Anything else, in words.
    Other(String),
}

/// Three calls to one device.
///
/// All block until the transfer ends. Time-outs are rounded up to whole milliseconds.
pub trait Wire {
    /// A control transfer; bit 7 of `request_type` says that the device fills `data`. Gives the
    /// number of bytes moved.
    ///
    /// # Errors
    /// Why it ended early.
    fn control(
        &self,
        request_type: u8,
        request: u8,
        value: u16,
        index: u16,
        data: &mut [u8],
        within: Duration,
    ) -> Result<usize, Stop>;

    /// A bulk transfer: the number of bytes moved, which holds when it ended early too, and how it
    /// ended. Fewer bytes than asked for without a reason is a short transfer, no error.
    fn bulk(&self, endpoint: u8, data: Data<'_>, within: Duration) -> (usize, Result<(), Stop>);

    /// Ends the halt of an endpoint.
    ///
    /// # Errors
    /// Why it did not.
    fn clear_halt(&self, endpoint: u8) -> Result<(), Stop>;
}
