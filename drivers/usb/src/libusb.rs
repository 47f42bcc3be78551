//! The wire to a real printer.

use crate::printer::Layout;
use crate::transfer::{bulk, milliseconds};
use crate::wire::{Data, Stop, Wire};
use rusb::{Context, DeviceHandle};
use std::time::Duration;

/// A device whose printer interface is ours.
///
/// Dropping it releases the interface and gives it back to the kernel's driver, if one had it.
#[derive(Debug)]
pub struct Claimed {
    handle: DeviceHandle<Context>,
}

impl Claimed {
    /// Claims the interface, taking it from a driver of the kernel but from no other program.
    pub(crate) fn claim(handle: DeviceHandle<Context>, layout: &Layout, settings: usize) -> rusb::Result<Self> {
        match handle.set_auto_detach_kernel_driver(true) {
            // Systems whose kernel drivers cannot be detached: the claim tells whether it works.
            Ok(()) | Err(rusb::Error::NotSupported) => {}
            Err(error) => return Err(error),
        }
        handle.claim_interface(layout.interface)?;
        let claimed = Self { handle };
        // Whoever had the interface may have left it in another setting. A device with one setting
        // may refuse the request (USB 2.0, 9.4.10).
        if settings > 1 {
            claimed.handle.set_alternate_setting(layout.interface, layout.setting)?;
        }
        Ok(claimed)
    }
}

impl Wire for Claimed {
    fn control(
        &self,
        request_type: u8,
        request: u8,
        value: u16,
        index: u16,
        data: &mut [u8],
        within: Duration,
    ) -> Result<usize, Stop> {
        control(&self.handle, request_type, request, value, index, data, within)
    }

    fn bulk(&self, endpoint: u8, data: Data<'_>, within: Duration) -> (usize, Result<(), Stop>) {
        bulk(&self.handle, endpoint, data, within)
    }

    fn clear_halt(&self, endpoint: u8) -> Result<(), Stop> {
        self.handle.clear_halt(endpoint).map_err(stop)
    }
}

/// A control transfer through an open handle, claimed or not.
pub(crate) fn control(
    handle: &DeviceHandle<Context>,
    request_type: u8,
    request: u8,
    value: u16,
    index: u16,
    data: &mut [u8],
    within: Duration,
) -> Result<usize, Stop> {
    let within = Duration::from_millis(milliseconds(within).into());
    if request_type & rusb::constants::LIBUSB_ENDPOINT_DIR_MASK == rusb::constants::LIBUSB_ENDPOINT_IN {
        handle.read_control(request_type, request, value, index, data, within).map_err(stop)
    } else {
        handle.write_control(request_type, request, value, index, data, within).map_err(stop)
    }
}

fn stop(error: rusb::Error) -> Stop {
    match error {
        rusb::Error::Timeout => Stop::TimedOut,
        rusb::Error::Pipe => Stop::Stalled,
        // A device that went away between two calls is no longer known by its number.
        rusb::Error::NoDevice | rusb::Error::NotFound => Stop::Gone,
        rusb::Error::Io => Stop::Garbled,
        rusb::Error::Overflow => Stop::TooMuch,
        other => Stop::Other(other.to_string().to_lowercase()),
    }
}
