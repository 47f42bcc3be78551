//! What a driver module in Rust is made of.
//!
//! A driver author writes three things and no unsafe code: a [`Driver`], which turns jobs, strips
//! and lines into bytes; a [`Family`], which describes it; perhaps a [`Readback`], which turns the
//! bytes into lines again. [`export_driver!`] makes a module of them. The kit checks every pointer
//! and size, the order of calls, counts and option values, keeps panics inside, and holds the
//! output until the host takes it; a driver sees only what is in order. [`Crop`], [`Pages`] and
//! [`packbits`] are what many command languages need on the way from a head line to bytes.
//!
//! A module whose families stand in files, not in code, exports a [`FamilyFiles`] instead: the host
//! reads the files, the module makes a [`LearnedFamily`] of each text.
//!
//! ```
//! #![forbid(unsafe_code)]
//! use tapewright_kit::{Description, Driver, Family, Fault, Job, Out, Strip, export_driver};
//!
//! /// Sends the lines as they are.
//! struct Plain;
//!
//! impl Driver for Plain {
//!     fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
//!         out.extend(&job.dots.to_be_bytes());
//!         Ok(())
//!     }
//!     fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
//!         out.extend(&strip.lines.to_be_bytes());
//!         Ok(())
//!     }
//!     fn lines(&mut self, rows: &[u8], _count: u32, out: &mut Out) -> Result<(), Fault> {
//!         out.extend(rows);
//!         Ok(())
//!     }
//!     fn blank(&mut self, count: u32, out: &mut Out) -> Result<(), Fault> {
//!         out.byte(0);
//!         out.extend(&count.to_be_bytes());
//!         Ok(())
//!     }
//!     fn end_strip(&mut self, _out: &mut Out) -> Result<(), Fault> {
//!         Ok(())
//!     }
//!     fn end_job(&mut self, _out: &mut Out) -> Result<(), Fault> {
//!         Ok(())
//!     }
//! }
//!
//! impl Family for Plain {
//!     const DESCRIPTION: Description = Description {
//!         family: "plain",
//!         title: "Plain lines",
//!         version: "1.0.0",
//!         description: "lines as they are",
//!         ..Description::EMPTY
//!     };
//!     fn create() -> Result<Box<dyn Driver>, Fault> {
//!         Ok(Box::new(Plain))
//!     }
//! }
//!
//! export_driver!(Plain);
//! # fn main() {}
//! ```

mod call;
mod crop;
mod decoder;
mod description;
mod driver;
mod export;
mod fault;
mod instance;
mod job;
mod learned;
mod out;
pub mod packbits;
mod pages;
mod readback;
pub mod spans;

pub use crop::{Crop, spare_mask};
pub use description::{Capabilities, Description, Family, OptionKind, OptionSpec, ReadbackKind};
pub use driver::Driver;
pub use export::{Families, FamilyEntry, Module, entry};
pub use fault::Fault;
pub use job::{Job, Options, Stock, Strip};
pub use learned::{FamilyFiles, LearnedDescription, LearnedFamily, LearnedOption, LearnedOptionKind, ReadFamily};
pub use out::Out;
pub use pages::{Pages, StripPage};
pub use readback::{Events, Page, Readback};
pub use tapewright_abi as abi;
pub use tapewright_abi::value::{Cut, CutKind, DeviceStatus, FaultKind, LogLevel};
