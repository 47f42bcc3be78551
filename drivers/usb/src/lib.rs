//! Link to printers of the USB Printer Class, through libusb.
//!
//! [`list`] shows the printers of this computer, [`Printer::open`] takes one of them for as long as
//! the value lives. A write that fails tells how many bytes the printer has certainly taken, so
//! that the caller can go on, or say which labels have left.
//!
//! ```no_run
//! use std::time::Duration;
//! use tapewright_usb::{Error, Printer, Selector, status};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let job = std::fs::read("job.pwg")?;
//! let mut printer = Printer::open(&Selector::parse("usb:")?)?;
//! let mut rest = job.as_slice();
//! while let Err(failure) = printer.write(rest, Duration::from_secs(10)) {
//!     rest = &rest[failure.sent..];
//!     if failure.cause != Error::TimedOut || printer.port_status()? & status::PAPER_EMPTY == 0 {
//!         return Err(failure.into());
//!     }
//!     eprintln!("the printer is out of tape: load some");
//! }
//! # Ok(())
//! # }
//! ```
//!
//! The logic stands on [`Wire`], three calls that libusb answers for a real printer and a model of
//! one answers in tests.
//!
//! # Sources
//!
//! USB Printer Class 1.1 (interface class 7, subclass 1; protocols in 4.2.1; requests in 4.2) and
//! IEEE 1284-2000 7.6 (device id): from memory, except where a comment says more.

#![deny(unsafe_code)]

mod clock;
mod device_id;
mod enumerate;
mod error;
mod libusb;
mod printer;
mod selector;
mod transfer;
mod udev;
mod wire;

pub use device_id::{DeviceId, LengthField};
pub use enumerate::{Found, list};
pub use error::{Acts, Error, Result, WriteFailure};
pub use libusb::Claimed;
pub use printer::{Layout, Printer, Protocol, status};
pub use selector::Selector;
pub use udev::udev_rule;
pub use wire::{CHUNK, Data, Stop, Wire};
