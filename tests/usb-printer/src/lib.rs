//! A USB printer that is not there.
//!
//! [`Model`] is the printer: it takes bytes, answers the requests of the USB Printer Class and
//! fails at the byte it is told to. Two ways lead to it: [`Fake`] in the same process, and a
//! usbfs made of FUSE, which an unchanged libusb takes for that of the kernel. [`scenario`] runs
//! the same work over both.
//!
//! The binary `usb-printer` shows the printer to any program; see README.md.
#![forbid(unsafe_code)]

mod fake;
mod fault;
mod model;
mod options;
pub mod scenario;
mod sheet;

#[cfg(target_os = "linux")]
pub mod usbfs;

pub use fake::{Fake, Shared};
pub use fault::{Fault, Kind};
pub use model::{End, Model, Plug};
pub use options::Options;
pub use sheet::{INPUT, OUTPUT, Sheet};
