//! Driver module for PWG Raster (PWG 5102.4-2012), 1 bit black.
//!
//! One page of the stream is one strip: page row *y* is head line *y*, the leftmost pixel is dot 0
//! of the line (or of the tape, see option `page`), so that the page lies as the strip does when
//! its first line is on top. Without the cut list a strip becomes one page for each piece between
//! full cuts.
//!
//! Limits that come with the format:
//!
//! - Resolutions stand in the header as whole dots per inch. 203.2 dpi is written as 203; sizes in
//!   the header (points, size name) are computed from the exact value.
//! - The standard has no half cuts and no cuts inside a page. The option `cut-list` puts them into
//!   the header's vendor data, in a layout of our own (see [`vendor`]), and with them a resolution
//!   that is no whole number; other readers ignore it, and see 203.
//!
//! # Sources
//!
//! PWG 5102.4-2012, header layout and run lengths: from memory, checked against the crate
//! `pwgraster` and libcupsimage in the tests. Order of the two resolutions (across first):
//! libcups 2.4, `cupsRasterInitPWGHeader`, seen. Form of the size name: libcups 2.4,
//! `pwgFormatSizeName`, seen.

#![forbid(unsafe_code)]

mod encoder;
mod header;
mod reader;
mod recent;
mod runs;
pub mod vendor;

use tapewright_kit::{Capabilities, Description, Driver, Family, Fault, OptionKind, OptionSpec, ReadbackKind};

/// The family `pwg`.
#[derive(Debug, Clone, Copy)]
pub enum Pwg {}

impl Family for Pwg {
    const DESCRIPTION: Description = Description {
        family: "pwg",
        title: "PWG Raster",
        version: env!("CARGO_PKG_VERSION"),
        description: "PWG Raster (PWG 5102.4-2012), black, one page a strip",
        capabilities: Capabilities { half_cuts: true, inner_cuts: true, reads_replies: false },
        options: &[
            OptionSpec {
                id: "page",
                kind: OptionKind::Choice(&["tape", "head"]),
                default: "tape",
                help: "width of a page: the tape, or the whole head line",
            },
            OptionSpec {
                id: "cut-list",
                kind: OptionKind::Bool,
                default: "true",
                help: "carry cuts inside a strip, and a resolution of 203.2 dpi, in the vendor data of the page header",
            },
        ],
        // Value of the command set from memory (PWG 5107.2, IEEE 1284 device id).
        patterns: &[("CMD", "PWGRaster"), ("CMD", "PWG")],
    };

    const READBACK: Option<ReadbackKind> =
        Some(ReadbackKind { recognises: reader::recognises, create: || Box::new(reader::Reader::new()) });

    fn create() -> Result<Box<dyn Driver>, Fault> {
        Ok(Box::new(encoder::Encoder::new()))
    }
}

tapewright_kit::export_driver!(Pwg);
