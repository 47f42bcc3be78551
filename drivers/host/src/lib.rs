//! Driver modules from the program's side: find them, load them, feed them, read their streams
//! back.
//!
//! This crate is the fence around foreign code. Everything a module hands over is checked before
//! use, and what does not keep the promises of `driver.h` becomes [`HostError::Broken`], naming
//! the module. What no check can find — a module that writes to memory that is not its own, one
//! that never returns — is kept in a process of its own: see [`Place::Apart`]. A [`Driver`] is a
//! module in either place.
//!
//! The way of a job:
//!
//! ```no_run
//! use tapewright_host::{find, Cut, CutKind, JobSpec, StripSpec, ToWriter};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let found = find(&["/usr/lib/tapewright".into()]);
//! let module = found.modules.iter().find(|m| m.family("pwg").is_some()).ok_or("no such family")?;
//! let mut session = module.open("pwg")?;
//! let mut sink = ToWriter(std::fs::File::create("job.pwg")?);
//!
//! session.begin_job(&JobSpec {
//!     strips: 1,
//!     dpi_across_milli: 180_000,
//!     dpi_along_milli: 180_000,
//!     dots: 128,
//!     web_first_dot: 22,
//!     web_dots: 85,
//!     width_um: 12_000,
//!     stock_kind: "tape".into(),
//!     ..JobSpec::default()
//! })?;
//! session.drain(&mut sink)?;
//! let cuts = [Cut { line: 300, kind: CutKind::Full }];
//! session.begin_strip(&StripSpec { lines: 300, lead_lines: 100, cuts: &cuts, ..StripSpec::default() })?;
//! session.drain(&mut sink)?;
//! session.blank(100)?;
//! session.drain(&mut sink)?;
//! session.lines(&[0x55; 200 * 16], 200)?;
//! session.drain(&mut sink)?;
//! session.end_strip()?;
//! session.drain(&mut sink)?;
//! session.end_job()?;
//! session.drain(&mut sink)?;
//! # Ok(())
//! # }
//! ```
//!
//! After every step comes [`Session::drain`]: a driver holds the output of one step at most. Feed
//! rows in pieces of about 64 KiB and memory stays flat whatever the length of the strip.

mod apart;
mod check;
mod driver;
mod error;
mod family;
mod foreign;
mod instance;
mod learn;
mod library;
mod module;
mod readback;
mod search;
mod session;
mod sink;
mod spec;
mod step;

pub use apart::{Apart, serve};
pub use check::{Check, Outcome, check};
pub use driver::{Decoding, Driver, Place, Work};
pub use error::{Failure, Fault, HostError};
pub use family::{FamilyInfo, OptionInfo, OptionType, Pattern};
pub use module::Module;
pub use readback::{Decoder, Events, Page, Readback};
pub use search::{Found, find, find_in, is_module_file};
pub use session::Session;
pub use sink::{Sink, ToWriter};
pub use spec::{JobSpec, StripSpec};
pub use step::Step;
pub use tapewright_abi::value::{Cut, CutKind, DeviceStatus, FaultKind, LogLevel};
pub use tapewright_abi::{LinkedEntry, raw};
