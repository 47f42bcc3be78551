//! Driver module for printer families that are described in one TOML file each.
//!
//! Whoever holds a maker's published command reference adds a family without writing Rust: the
//! file says which bytes go out at the start of a job, for a line, for a cut, and what the
//! printer's answers mean. `README.md` beside this crate is the reference of the keys. The host
//! hands the files over (`family-files/1` in `driver.h`); two invented families are built in, as
//! examples and for the tests.
//!
//! With `readback = true` the same description reads streams back. A file is then refused unless
//! every stream it can make has exactly one reading.
//!
//! # Sources
//!
//! PackBits: TIFF revision 6.0, section 9, and Apple technical note TN1023, from memory; the
//! latter's example is a test.

#![forbid(unsafe_code)]

mod encoder;
mod frame;
mod item;
mod language;
mod node;
mod packbits;
mod quantity;
mod reader;
mod row;
mod status;
mod unique;

use std::sync::Arc;

use tapewright_kit::{Driver, FamilyFiles, Fault, LearnedDescription, LearnedFamily, Readback};

use crate::language::Language;

/// How this module learns families.
pub const FILES: FamilyFiles = FamilyFiles {
    suffix: "toml",
    built_in: &[
        ("gantry.toml", include_str!("../families/gantry.toml")),
        ("footlight.toml", include_str!("../families/footlight.toml")),
    ],
    read,
};

/// Reads the text of a family's file; the name is not used.
///
/// # Errors
///
/// A fault with the line and the key, what was found and what was wanted.
pub fn read(_name: &str, text: &str) -> Result<Box<dyn LearnedFamily>, Fault> {
    Ok(Box::new(Described(Arc::new(language::read(text)?))))
}

struct Described(Arc<Language>);

impl LearnedFamily for Described {
    fn description(&self) -> &LearnedDescription {
        &self.0.description
    }

    fn create(&self) -> Result<Box<dyn Driver>, Fault> {
        Ok(Box::new(encoder::Encoder::new(Arc::clone(&self.0))))
    }

    fn reads_back(&self) -> bool {
        self.0.reads_back
    }

    fn recognises(&self, first: &[u8]) -> u8 {
        if self.0.reads_back { reader::recognises(&self.0, first) } else { 0 }
    }

    fn decoder(&self) -> Option<Box<dyn Readback>> {
        self.0.reads_back.then(|| Box::new(reader::Reader::new(Arc::clone(&self.0))) as Box<dyn Readback>)
    }
}

tapewright_kit::export_driver!(files: FILES);
