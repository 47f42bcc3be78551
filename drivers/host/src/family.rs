//! What a module says about its families, as owned values.

use tapewright_abi::raw;

/// One family of devices that speak one command language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FamilyInfo {
    /// Id: lower case letters, digits and hyphens.
    pub id: String,
    /// As a person calls it.
    pub title: String,
    /// Version of the driver.
    pub version: String,
    /// One sentence.
    pub description: String,
    /// The `TW_CARRIES_…` and `TW_READS_…` bits of `driver.h`.
    pub capabilities: u32,
    /// The settings it takes.
    pub options: Vec<OptionInfo>,
    /// Devices it is for.
    pub patterns: Vec<Pattern>,
}

impl FamilyInfo {
    /// Half cuts can be told to the device, perhaps with an option set.
    pub fn carries_half_cuts(&self) -> bool {
        self.capabilities & raw::TW_CARRIES_HALF_CUTS != 0
    }

    /// Full cuts inside a strip can be told to the device.
    pub fn carries_inner_cuts(&self) -> bool {
        self.capabilities & raw::TW_CARRIES_INNER_CUTS != 0
    }

    /// The driver does better over a link that answers.
    pub fn reads_replies(&self) -> bool {
        self.capabilities & raw::TW_READS_REPLIES != 0
    }

    /// The option with this id.
    pub fn option(&self, id: &str) -> Option<&OptionInfo> {
        self.options.iter().find(|option| option.id == id)
    }
}

/// A setting of a family.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OptionInfo {
    /// Lower case words with hyphens.
    pub id: String,
    /// What values it takes.
    pub kind: OptionType,
    /// The default, written as a value.
    pub default: String,
    /// One sentence.
    pub help: String,
}

/// What values an option takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OptionType {
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
    Choice(Vec<String>),
}

/// A device is meant when its IEEE 1284 device id has `key` with `value`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    /// `MDL`, `CMD`, …
    pub key: String,
    /// The value.
    pub value: String,
}
