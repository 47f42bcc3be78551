//! A label to boxes in dots: which build, how long, which text how large and where.
//!
//! Everything here is geometry: lengths in, dots out. What cannot be made is a [`Misfit`], never an error.

mod band;
mod fit;
mod flag;
mod legibility;
mod plate;
mod sleeve;
mod wrap;

pub use fit::{Fitted, FittedLine};
pub use legibility::{arc_minutes_milli, cap_height};

use crate::cable::{Diameter, Plug};
use crate::font::Fonts;
use crate::media::{Printer, Stock};
use crate::unit::{Dots, Dpi, Micrometres};
use std::fmt;

/// How a label sits on its cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Build {
    /// Folded round the cable, two faces back to back.
    Flag,
    /// Self-laminating: printed zone, then a clear tail over it.
    Wrap,
    /// Plain tape round the cable, text repeated.
    Band,
    /// Printed heat-shrink tube.
    Sleeve,
    /// A flat tag for a panel, a reel or a tie.
    Plate,
}

impl Build {
    /// Every build, in the order people meet them.
    pub const ALL: [Self; 5] = [Self::Flag, Self::Wrap, Self::Band, Self::Sleeve, Self::Plate];

    /// Its word in files and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Flag => "flag",
            Self::Wrap => "wrap",
            Self::Band => "band",
            Self::Sleeve => "sleeve",
            Self::Plate => "plate",
        }
    }

    /// The build with this word, in any case.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|build| build.word().eq_ignore_ascii_case(word.trim()))
    }
}

impl fmt::Display for Build {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Which way the text of a flag runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Runs {
    /// Along the tape: for a cable that hangs; both faces upright as printed.
    Tape,
    /// Parallel to the cable: for a flag that hangs from a level cable; face 2 is turned by 180°.
    Cable,
}

/// What a person may set about the labels of a job. All lengths are on the finished label.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// Distance the label is read from.
    pub reading: Micrometres,
    /// Cap height beyond which a label is not made larger; `None` for twice the least legible.
    pub largest_cap: Option<Micrometres>,
    /// Which way flags read.
    pub flag_runs: Runs,
    /// Least length of one face of a flag.
    pub flag_face: Micrometres,
    /// Least length of sleeves, plates and wraps along the cable.
    pub least_length: Micrometres,
    /// Blank kept beside text at a label's ends.
    pub margin: Micrometres,
    /// Turns of a band round its cable, in percent.
    pub band_turns_percent: i64,
}

impl Default for Design {
    fn default() -> Self {
        Self {
            reading: Micrometres::from_mm(500.0),
            largest_cap: None,
            flag_runs: Runs::Tape,
            flag_face: Micrometres::from_mm(20.0),
            least_length: Micrometres::from_mm(15.0),
            margin: Micrometres::from_mm(1.5),
            band_turns_percent: 125,
        }
    }
}

impl Design {
    /// The least cap height that can be read: 16′ at the reading distance.
    pub fn least_cap(&self) -> Micrometres {
        cap_height(self.reading, 16)
    }

    /// The cap height to aim at: 20′ at the reading distance.
    pub fn aim_cap(&self) -> Micrometres {
        cap_height(self.reading, 20)
    }

    /// The cap height beyond which only tape is spent.
    pub fn most_cap(&self) -> Micrometres {
        self.largest_cap.unwrap_or(self.least_cap() * 2).max(self.least_cap())
    }
}

/// One label to be laid out.
pub struct Request<'a> {
    /// The build wanted.
    pub build: Build,
    /// On this stock.
    pub stock: &'a Stock,
    /// By this printer.
    pub printer: &'a Printer,
    /// The cable's outside diameter, where known.
    pub diameter: Option<&'a Diameter>,
    /// What is on the cable's end.
    pub plug: &'a Plug,
    /// The lines of text, none empty.
    pub lines: &'a [String],
    /// The job's wishes.
    pub design: &'a Design,
}

/// A turn of a block of text against the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Reads along the tape, left to right.
    Along,
    /// Reads across the tape, from dot 0 up; its top is towards the first line.
    Up,
    /// Reads across the tape, from the last dot down; its top is towards the last line.
    Down,
}

/// A block of text and the places it stands at.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// The text as fitted.
    pub text: Fitted,
    /// Copies: turn, first line, first dot (of the block's box) in the label.
    pub copies: Vec<(Turn, Dots, Dots)>,
}

/// A label in dots: `along` head lines of `across` dots (the stock's printable zone on the head).
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Its build.
    pub build: Build,
    /// Dots across: the zone.
    pub across: Dots,
    /// Lines along.
    pub along: Dots,
    /// Text and its places.
    pub block: Block,
    /// Cap height on the finished label (after shrinking).
    pub cap: Micrometres,
    /// What a person should know, in sentences.
    pub notes: Vec<String>,
}

/// Why a label cannot be made as asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// What sort of reason, one word for programs.
    pub kind: MisfitKind,
    /// The column that would change it.
    pub field: &'static str,
    /// What was found.
    pub found: String,
    /// What was wanted.
    pub wanted: String,
}

/// Sorts of reasons a label cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MisfitKind {
    /// The build needs a diameter and none is known.
    NoDiameter,
    /// The diameter is outside what the stock fits.
    Diameter,
    /// A sleeve does not pass the plug or the cable.
    DoesNotPass,
    /// A sleeve does not shrink tight.
    DoesNotGrip,
    /// The text would be too small to read.
    Legibility,
    /// A character cannot be set.
    Glyph,
    /// The stock is of another kind, or does not fit the printer.
    Stock,
    /// There is no text to print.
    NoText,
    /// The label is longer than a strip may be.
    TooLong,
}

impl MisfitKind {
    /// Its word in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NoDiameter => "no-diameter",
            Self::Diameter => "diameter",
            Self::DoesNotPass => "does-not-pass",
            Self::DoesNotGrip => "does-not-grip",
            Self::Legibility => "legibility",
            Self::Glyph => "glyph",
            Self::Stock => "stock",
            Self::NoText => "no-text",
            Self::TooLong => "too-long",
        }
    }
}

/// The printable zone and the two resolutions a label is laid out in.
#[derive(Clone, Copy)]
struct Grid {
    zone: Dots,
    across: Dpi,
    along: Dpi,
}

/// Lays one label out.
///
/// # Errors
/// A [`Misfit`] when it cannot be made on this stock by this printer.
pub fn lay_out(request: &Request<'_>, fonts: &Fonts) -> Result<Layout, Misfit> {
    let printer = request.printer;
    let stock = request.stock;
    let misfit = |found: String, wanted: String| Misfit { kind: MisfitKind::Stock, field: "stock", found, wanted };
    if stock.width > printer.widest {
        return Err(misfit(
            format!("{} of {}", stock.id, stock.width),
            format!("stock up to {} for printer {}", printer.widest, printer.id),
        ));
    }
    let Some((_, zone)) = printer.zone(stock) else {
        return Err(misfit(
            stock.id.clone(),
            format!("stock whose printable zone lies under the head of printer {}", printer.id),
        ));
    };
    if request.lines.is_empty() {
        return Err(Misfit {
            kind: MisfitKind::NoText,
            field: "text",
            found: "no text".into(),
            wanted: "at least one line".into(),
        });
    }
    let grid = Grid { zone, across: printer.across, along: printer.along };
    let layout = match request.build {
        Build::Flag => flag::lay_out(request, grid, fonts),
        Build::Wrap => wrap::lay_out(request, grid, fonts),
        Build::Band => band::lay_out(request, grid, fonts),
        Build::Sleeve => sleeve::lay_out(request, grid, fonts),
        Build::Plate => plate::lay_out(request, grid, fonts),
    }?;
    Ok(layout)
}

impl Request<'_> {
    /// The diameter, or the misfit that says it is needed.
    fn needs_diameter(&self) -> Result<&Diameter, Misfit> {
        self.diameter.ok_or_else(|| Misfit {
            kind: MisfitKind::NoDiameter,
            field: "od",
            found: "no diameter".into(),
            wanted: format!("a measured od or a known kind, for a {}", self.build),
        })
    }

    /// The misfit for a stock of another form.
    fn wrong_form(&self, wanted: &str) -> Misfit {
        Misfit {
            kind: MisfitKind::Stock,
            field: "stock",
            found: format!("{} ({})", self.stock.id, self.stock.form.word()),
            wanted: format!("{wanted} stock for a {}", self.build),
        }
    }
}

/// Rounds a count of dots up to a length that is itself a whole number of millimetres, so that the
/// labels of a batch come out alike.
fn whole_millimetres(dpi: Dpi, dots: Dots) -> Dots {
    let mm = (dpi.length(dots).0 + 999) / 1000;
    dpi.dots_covering(Micrometres(mm * 1000)).max(dots)
}

/// Where a box of `inner` starts to stand in the middle of `outer`.
fn middle(outer: Dots, inner: Dots) -> Dots {
    Dots((outer.0 - inner.0).div_euclid(2))
}

/// A note when the text is legible but below what one aims at.
fn small_note(cap: Micrometres, design: &Design) -> Option<String> {
    (cap < design.aim_cap()).then(|| {
        format!("text is {cap} high: legible at {}, but below the {} to aim at", design.reading, design.aim_cap())
    })
}

#[cfg(test)]
mod tests;
