//! What a family says about itself.

use tapewright_abi::raw;

use crate::{Driver, Fault, Readback};

/// A family of devices that speak one command language.
pub trait Family: 'static {
    /// What the host shows and checks before any device is asked.
    const DESCRIPTION: Description;

    /// How streams of this family are read back, when they can be.
    const READBACK: Option<ReadbackKind> = None;

    /// Makes a driver.
    ///
    /// # Errors
    ///
    /// When there is none on this machine; no device is looked for.
    fn create() -> Result<Box<dyn Driver>, Fault>;
}

/// How a decoder comes to be.
#[derive(Debug, Clone, Copy)]
pub struct ReadbackKind {
    /// How sure the family is that a stream that begins with these bytes is its own: 0 … 100.
    pub recognises: fn(&[u8]) -> u8,
    /// Makes a decoder for one stream.
    pub create: fn() -> Box<dyn Readback>,
}

/// Describes a family. Texts hold no NUL.
#[derive(Debug, Clone, Copy)]
pub struct Description {
    /// Id: lower case letters, digits and hyphens.
    pub family: &'static str,
    /// As a person calls it.
    pub title: &'static str,
    /// Version of the driver, mostly `env!("CARGO_PKG_VERSION")`.
    pub version: &'static str,
    /// One sentence.
    pub description: &'static str,
    /// What it can carry.
    pub capabilities: Capabilities,
    /// The settings it takes.
    pub options: &'static [OptionSpec],
    /// Devices it is for: key and value of an IEEE 1284 device id.
    pub patterns: &'static [(&'static str, &'static str)],
}

impl Description {
    /// Nothing filled in; for `..Description::EMPTY`.
    pub const EMPTY: Description = Description {
        family: "",
        title: "",
        version: "",
        description: "",
        capabilities: Capabilities { half_cuts: false, inner_cuts: false, reads_replies: false },
        options: &[],
        patterns: &[],
    };
}

/// What a family can carry to the device.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Capabilities {
    /// Half cuts, perhaps with an option set.
    pub half_cuts: bool,
    /// Full cuts inside a strip.
    pub inner_cuts: bool,
    /// It does better over a link that answers.
    pub reads_replies: bool,
}

impl Capabilities {
    pub(crate) fn to_raw(self) -> u32 {
        let mut flags = 0;
        if self.half_cuts {
            flags |= raw::TW_CARRIES_HALF_CUTS;
        }
        if self.inner_cuts {
            flags |= raw::TW_CARRIES_INNER_CUTS;
        }
        if self.reads_replies {
            flags |= raw::TW_READS_REPLIES;
        }
        flags
    }
}

/// A setting of a family.
#[derive(Debug, Clone, Copy)]
pub struct OptionSpec {
    /// Lower case words with hyphens.
    pub id: &'static str,
    /// What values it takes.
    pub kind: OptionKind,
    /// The default, written as a value.
    pub default: &'static str,
    /// One sentence.
    pub help: &'static str,
}

/// What values an option takes.
#[derive(Debug, Clone, Copy)]
pub enum OptionKind {
    /// `true` or `false`.
    Bool,
    /// A decimal number in a range, ends included.
    Int {
        /// The least value.
        min: i64,
        /// The greatest value.
        max: i64,
    },
    /// Any text.
    Text,
    /// One of a list.
    Choice(&'static [&'static str]),
}
