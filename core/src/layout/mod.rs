//! A label to boxes in dots: which build, how long, which text how large and where, and what stands
//! beside it.
//!
//! Everything here is geometry: lengths in, dots out. What cannot be made is a [`Misfit`], never an error.

mod arc;
mod band;
mod emphasis;
mod fit;
mod flag;
mod legibility;
mod panel;
mod parts;
mod plate;
mod sleeve;
mod stroke;
mod text;
mod wrap;

pub use fit::{Fitted, FittedLine};
pub use flag::neck;
pub use legibility::{Legibility, arc_minutes_milli, cap_height, distance, thin as is_thin};
pub use parts::{CodeFacts, CodeWish, Emphasis, LogoWish, MOST_CODE, MarkWish, Parts, PartsWish, Signs};
pub use sleeve::height_scale;
pub use stroke::Strokes;
pub use text::{Seam, Text, quantity, seam_within};

use crate::bitmap::Bitmap;
use crate::cable::{Diameter, Plug};
use crate::font::Fonts;
use crate::media::{Printer, Stock};
use crate::unit::{Dots, Dpi, Micrometres};
use std::fmt;
use std::sync::Arc;

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
    /// Greatest length of sleeves, plates and wraps along the cable: text is broken into lines
    /// before a label grows longer.
    pub largest_length: Micrometres,
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
            // Longer sleeves do not bend with the cable, longer plates catch on things (a guess).
            largest_length: Micrometres::from_mm(150.0),
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
    /// The lines of text.
    pub lines: &'a Text,
    /// What this label carries beside its text.
    pub signs: &'a Signs,
    /// What all labels of the job carry beside text.
    pub parts: &'a Parts,
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

/// A rectangle of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Area {
    /// From the block's left edge.
    pub left: Dots,
    /// From the block's bottom edge.
    pub bottom: Dots,
    /// Dots along.
    pub width: Dots,
    /// Dots up.
    pub height: Dots,
}

/// Ink drawn beforehand (a logo, a code, an arrow, a pattern) and its place in a block.
///
/// Equal where the same dots stand at the same place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ink {
    /// The dots; shared by all labels that show the same.
    pub bits: Arc<Bitmap>,
    /// From the block's left edge.
    pub left: Dots,
    /// From the block's bottom edge.
    pub bottom: Dots,
    /// What stands there instead on the second face of a flag: an arrow that shows the same way from
    /// behind.
    pub behind: Option<Arc<Bitmap>>,
}

/// A panel in its own directions, and the places it stands at.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Its box along the text.
    pub width: Dots,
    /// Its box up the text.
    pub height: Dots,
    /// The text as fitted.
    pub text: Fitted,
    /// Where the text's own box stands in the block: from its left and its bottom edge.
    pub text_at: (Dots, Dots),
    /// Logo, code, arrow, pattern.
    pub inks: Vec<Ink>,
    /// Rules between parts: filled with ink.
    pub rules: Vec<Area>,
    /// A frame just inside the block's box: its thickness along and up.
    pub frame: Option<(Dots, Dots)>,
    /// Turned white on black once all else is drawn.
    pub inverse: Vec<Area>,
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
    /// What is shown, and where.
    pub block: Block,
    /// Lines on which a fold guide is printed.
    pub folds: Vec<Dots>,
    /// Cap height on the finished label (after shrinking).
    pub cap: Micrometres,
    /// The code, where it has one.
    pub code: Option<CodeFacts>,
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
    /// The code would be too small to scan, or does not fit.
    Code,
    /// The logo does not fit.
    Logo,
    /// An arrow or a length's pattern does not fit.
    Mark,
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
            Self::Code => "code",
            Self::Logo => "logo",
            Self::Mark => "mark",
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
    let mut layout = build(request, grid, fonts).map_err(|misfit| too_long(request, grid, fonts, misfit))?;
    layout.notes.append(&mut layout.block.text.notes);
    Ok(layout)
}

fn build(request: &Request<'_>, grid: Grid, fonts: &Fonts) -> Result<Layout, Misfit> {
    match request.build {
        Build::Flag => flag::lay_out(request, grid, fonts),
        Build::Wrap => wrap::lay_out(request, grid, fonts),
        Build::Band => band::lay_out(request, grid, fonts),
        Build::Sleeve => sleeve::lay_out(request, grid, fonts),
        Build::Plate => plate::lay_out(request, grid, fonts),
    }
}

/// Text that cannot be read for want of length, not of height, is too long rather than too small.
fn too_long(request: &Request<'_>, grid: Grid, fonts: &Fonts, misfit: Misfit) -> Misfit {
    if misfit.kind != MisfitKind::Legibility || !matches!(request.build, Build::Wrap | Build::Sleeve | Build::Plate) {
        return misfit;
    }
    let design = Design { largest_length: Micrometres::from_mm(100_000.0), ..request.design.clone() };
    match build(&Request { design: &design, ..*request }, grid, fonts) {
        Ok(long) => Misfit {
            kind: MisfitKind::TooLong,
            field: "text",
            found: format!(
                "`{}` on a {} of {}",
                request.lines.lines().join(" / "),
                request.build,
                grid.along.length(long.along)
            ),
            wanted: format!("at most {} (largest_length_mm in [design])", request.design.largest_length),
        },
        Err(_) => misfit,
    }
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

/// Room for text on a label that grows with it, margins taken off.
fn room_along(design: &Design, dpi: Dpi) -> Dots {
    dpi.dots_within(design.largest_length) - dpi.dots_covering(design.margin) * 2
}

#[cfg(test)]
mod tests;
