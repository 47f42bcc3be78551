//! What the program tells a driver about a job and its strips.

use tapewright_abi::value::Cut;

/// What is true for all strips of a job.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct JobSpec {
    /// For the device's display or log; no NUL inside.
    pub name: String,
    /// Strips in the whole job; 0 when not known yet.
    pub strips: u32,
    /// Resolution across the tape in thousandths of a dot per inch: 203200 is 8 dots/mm.
    pub dpi_across_milli: u32,
    /// Resolution along the tape in thousandths of a line per inch.
    pub dpi_along_milli: u32,
    /// Width of a head line in dots, at least 1.
    pub dots: u32,
    /// Where the tape's edge on the dot 0 side lies on the head, in dots; negative when the tape
    /// is wider than the head.
    pub web_first_dot: i32,
    /// Width of the tape in dots, at least 1.
    pub web_dots: u32,
    /// Nominal width of the tape in micrometres; 0 when not known.
    pub width_um: u32,
    /// `tape`, `wrap`, `sleeve`, …; no NUL inside.
    pub stock_kind: String,
    /// The stock as a person calls it; no NUL inside.
    pub stock_title: String,
    /// Options of the family as key and value; those not listed take their defaults.
    pub options: Vec<(String, String)>,
}

impl JobSpec {
    /// Bytes of a head line: ⌈dots / 8⌉.
    pub fn bytes_per_line(&self) -> u32 {
        self.dots.div_ceil(8)
    }
}

/// One piece of tape.
///
/// Its lines are all lines of the piece in feed order as measured at the cutter: first
/// `lead_lines` blank ones, then labels and gaps, then `trail_lines` blank ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StripSpec<'a> {
    /// From 0, without holes.
    pub index: u32,
    /// All lines, lead and trail included; at least 1.
    pub lines: u32,
    /// Blank lines that stood between head and cutter.
    pub lead_lines: u32,
    /// Blank lines after the last label: trail and pad.
    pub trail_lines: u32,
    /// Labels on this strip.
    pub labels: u32,
    /// Strictly ascending by line. A full cut at the end has `line == lines`; without a cutter
    /// there is none.
    pub cuts: &'a [Cut],
}
