//! Driver module for PCL raster graphics, 1 bit black.
//!
//! One page of the stream is one piece of tape: page row *y* is head line *y*, the leftmost pixel
//! is dot 0 of the line (or of the tape, see option `page`). A strip becomes one page for each
//! piece between full cuts, and every page ends with a form feed.
//!
//! # The stream
//!
//! | bytes | |
//! |---|---|
//! | `ESC%-12345X` `ESCE` | leave any other language, reset: what an earlier job left set is gone. A device without the first takes it for a command it does not know |
//! | `ESC&l0O` | rows lie across the tape, whatever the device's own setting |
//! | `ESC&l0.16C` | at 300 dpi: a line of text is one row of dots, so that page lengths are exact |
//! | `ESC*t300R` | resolution |
//! | `ESC&l600p0l0E` | each page: 600 rows long, no perforation to skip, no top margin |
//! | `ESC*p0x0Y` | cursor to the corner of the page |
//! | `ESC*r384s600t1A` | raster of 384 dots and 600 rows, from the cursor on |
//! | `ESC*b5y3m12W`… | skip 5 rows, then a row in compression 3, 12 bytes; what does not change is left out |
//! | `ESC*rB` | end of the raster; the older of two such commands, which every level knows. Whether it sets the compression back does not matter: the first row of a page names its own |
//! | FF | the piece ends |
//! | `ESCE` `ESC%-12345X` | reset, and leave |
//!
//! Each row is written as it is, in PackBits, or as what differs from the row before, whichever is
//! shortest with the change of compression counted. Rows without ink are skipped, those at the end
//! of a page too, so that the rows of the stream are the rows of the tape.
//!
//! # Limits
//!
//! - There is one resolution for both directions: 75, 100, 150, 200, 300 or 600 dpi.
//! - No number is greater than 32767, so no page is longer: 2774 mm at 300 dpi, 1387 mm at
//!   600 dpi. A longer piece is refused. It is not broken into pages, as a device may feed or cut
//!   between them. How long a page a device really takes belongs in its profile, as
//!   `max_strip_mm`.
//! - The width of the paper cannot be said other than by the name of an office size; the width of
//!   the raster is said, from the left edge of what the device can print.
//! - Some devices know only a list of page lengths. Option `page-length = false` leaves the length
//!   to the device.
//! - Half cuts cannot be said. Whether the device cuts at the form feed is the device's own
//!   setting; readback counts each as a full cut.
//!
//! # Sources
//!
//! PCL 5 Printer Language Technical Reference Manual, chapters "Page Control" and "Raster
//! Graphics": from memory. Seen in the output of Ghostscript 10.00.0 (devices `ljet4`, `ljet3`,
//! `ljet2p`) and Netpbm 11.1.0 (`pbmtolj`), which the tests read: the three compressions, rows
//! shorter than the raster, skipped rows, that start of raster and skipping set the row before to
//! zeros, `ESC&l0l0E`, `ESC*p0x0Y`, `ESC*rB`, `ESCE` at both ends. Not seen anywhere, and so from
//! memory alone: the universal exit, line spacing and page length, width and height of the raster,
//! and that a form feed ends a page without ink as it ends any other.

#![forbid(unsafe_code)]

mod delta;
mod encoder;
mod language;
mod reader;
mod rows;
mod sequence;

use tapewright_kit::{Capabilities, Description, Driver, Family, Fault, OptionKind, OptionSpec, ReadbackKind};

/// The family `pcl`.
#[derive(Debug, Clone, Copy)]
pub enum Pcl {}

impl Family for Pcl {
    const DESCRIPTION: Description = Description {
        family: "pcl",
        title: "PCL raster graphics",
        version: env!("CARGO_PKG_VERSION"),
        description: "raster graphics of PCL 5, black, one page for each piece between full cuts",
        capabilities: Capabilities { half_cuts: false, inner_cuts: true, reads_replies: false },
        options: &[
            OptionSpec {
                id: "page",
                kind: OptionKind::Choice(&["tape", "head"]),
                default: "tape",
                help: "width of a page: the tape, or the whole head line",
            },
            OptionSpec {
                id: "page-length",
                kind: OptionKind::Bool,
                default: "true",
                help: "tell the device the length of each page; false: it has its own",
            },
        ],
        // Values of the command set from memory (PWG 5107.2, IEEE 1284 device id).
        patterns: &[("CMD", "PCL"), ("CMD", "PCL3"), ("CMD", "PCL5"), ("CMD", "PCL5e"), ("CMD", "PCL5c")],
    };

    const READBACK: Option<ReadbackKind> =
        Some(ReadbackKind { recognises: reader::recognises, create: || Box::new(reader::Reader::default()) });

    fn create() -> Result<Box<dyn Driver>, Fault> {
        Ok(Box::new(encoder::Encoder::new()))
    }
}

tapewright_kit::export_driver!(Pcl);
