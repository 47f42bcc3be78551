//! The largest code for a room: which form, and how many dots a module.

use super::symbol::Symbol;
use super::{Ecc, Form, Symbology, code128, datamatrix, micro, qr, rmqr};
use crate::bitmap::Bitmap;
use crate::unit::{Dots, Dpi, Micrometres};

/// Modules below this are refused unless the wish says otherwise: 0.25 mm, what hand-held scanners
/// ask for (common practice, from public guides to print sizes; no standard).
pub const LEAST_MODULE: Micrometres = Micrometres(250);

/// Fewer dots a module are refused unless the wish says otherwise. At two dots a simulated camera
/// loses Micro QR and rMQR often (measured; `tests/suite/codes.rs` states the rates).
pub const LEAST_DOTS: i64 = 3;

/// Where a label grows with its code, modules do not grow beyond the first whole dots of this:
/// 0.5 mm (common practice on receipts; telephones ask for 0.4 mm, both from public sources).
pub const AIM_MODULE: Micrometres = Micrometres(500);

/// Bars lower than this are refused: 5 mm (from memory: the least height for reading by hand in
/// application standards of linear codes).
const LEAST_BAR: Micrometres = Micrometres(5_000);

/// The direction of a box that runs round the cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum RoundAxis {
    /// Its width, the direction in which text runs.
    Along,
    /// Its height.
    Up,
}

/// What a box lies on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Facing {
    /// A flag or a plate.
    Flat,
    /// A cable.
    Round {
        /// Of what the label lies on.
        diameter: Micrometres,
        /// Which direction of the box runs round it.
        axis: RoundAxis,
    },
}

/// The box a code must fit with its quiet zone, in the text's own directions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Room {
    /// Dots along the text; `None` when the label grows with it.
    pub width: Option<Dots>,
    /// Dots up the text.
    pub height: Dots,
    /// Resolution along the text.
    pub along: Dpi,
    /// Resolution up the text.
    pub up: Dpi,
    /// Whether it is flat or bent.
    pub facing: Facing,
}

/// What is to be printed as a code.
#[derive(Clone, Copy, Debug)]
pub struct Wish<'a> {
    /// The text to be read from it.
    pub content: &'a str,
    /// Kinds of code, the one that is liked best first: the first that fits is taken.
    pub symbologies: &'a [Symbology],
    /// Smaller modules are refused.
    pub least_module: Micrometres,
    /// Fewer dots a module, in either direction, are refused.
    pub least_dots: i64,
    /// Where the width is open, modules stay at the first whole dots of this length.
    pub aim_module: Micrometres,
    /// The least level of the QR family; a higher one is taken where it costs no module.
    /// rMQR has M and H only; Data Matrix and Code 128 have no choice.
    pub ecc: Ecc,
}

impl<'a> Wish<'a> {
    /// A wish with the usual limits: [`LEAST_MODULE`], [`LEAST_DOTS`], [`AIM_MODULE`], level M.
    pub const fn new(content: &'a str, symbologies: &'a [Symbology]) -> Self {
        Self {
            content,
            symbologies,
            least_module: LEAST_MODULE,
            least_dots: LEAST_DOTS,
            aim_module: AIM_MODULE,
            ecc: Ecc::M,
        }
    }
}

/// A code in dots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Its kind.
    pub symbology: Symbology,
    /// Its form: size and level.
    pub form: Form,
    /// The code with its quiet zone: lines are columns of the box, dot 0 is its bottom row.
    pub ink: Bitmap,
    /// The smaller side of a module.
    pub module: Micrometres,
    /// Dots of a module along and up the text; of a linear code the second is the height of its bars.
    pub dots_per_module: (i64, i64),
    /// How far modules are from square, in thousandths of the smaller side: dots of unequal sides
    /// seldom make a square. 0 for bars.
    pub off_square_permille: i64,
    /// Modules from left to right, without the quiet zone.
    pub columns: usize,
    /// Modules from top to bottom, without the quiet zone; 1 for bars.
    pub rows: usize,
}

/// Why there is no code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unfit {
    /// What was found.
    pub found: String,
    /// What was wanted, with a hint.
    pub wanted: String,
}

impl std::fmt::Display for Unfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "found {}, wanted {}", self.found, self.wanted)
    }
}

/// Makes the code of a wish for a room: the first kind of code that can be read there, with the
/// largest modules; with equal modules the shortest, then the smallest.
///
/// Modules are whole dots in both directions and as square as the dots allow. Where the width is
/// open, the code is the shortest whose modules reach `aim_module`, or the one that comes closest.
/// On a cable a code must lie within 30° to each side of the line one looks at, so that its edge is
/// not foreshortened below a module (common practice of marking curved surfaces, from memory);
/// bars that stand like the rungs of a ladder along the cable are read on any line, and need not.
///
/// # Errors
/// - The content is empty, or no form of these codes holds it.
/// - The modules would be smaller or have fewer dots than the wish allows, or bars less than 5 mm.
/// - The cable is too thin.
///
/// ```
/// use tapewright::code::{Facing, Room, Symbology, Wish, fit};
/// use tapewright::unit::{Dots, Dpi, Micrometres};
/// let dpi = Dpi::from_milli(180_000).unwrap();
/// let room = Room { width: None, height: Dots(70), along: dpi, up: dpi, facing: Facing::Flat };
/// let placed = fit(&Wish::new("TWP OTTER 1040", &[Symbology::Qr, Symbology::Rmqr]), &room).unwrap();
/// // 29 modules of QR with its quiet zone have 2 dots each in 70: rMQR it is.
/// assert_eq!((placed.symbology, placed.dots_per_module), (Symbology::Rmqr, (4, 4)));
/// assert_eq!(placed.module, Micrometres(564));
/// ```
pub fn fit(wish: &Wish<'_>, room: &Room) -> Result<Placed, Unfit> {
    let mut refusals = Vec::new();
    for &symbology in wish.symbologies {
        match placed(wish, room, symbology) {
            Ok(placed) => return Ok(placed),
            Err(refusal) => refusals.push(refusal),
        }
    }
    // Asked for several, found all of it; what is wanted is said once.
    let wanted = refusals.first().map_or_else(|| "a kind of code".into(), |refusal| refusal.wanted.clone());
    let found: Vec<_> = refusals.into_iter().map(|refusal| refusal.found).collect();
    Err(Unfit { found: if found.is_empty() { "none".into() } else { found.join("; ") }, wanted })
}

/// A size of a code before its level is known.
#[derive(Clone, Copy)]
enum Size {
    Code128,
    Qr(usize),
    Micro(usize),
    Rmqr(usize),
    DataMatrix(usize),
}

/// A size and the dots of its modules in a room.
#[derive(Clone, Copy)]
struct Candidate {
    size: Size,
    along: i64,
    up: i64,
    /// The smaller side of a module, in one unit a room; cut to the aim where the width is open.
    worth: i64,
    off_square: i64,
    width: i64,
    area: i64,
}

/// Modules of a code, without its quiet zone.
#[derive(Clone, Copy)]
struct Shape {
    columns: i64,
    rows: i64,
    quiet: i64,
    linear: bool,
}

/// What is asked of modules; the second look, for the reason of a refusal, asks for less.
#[derive(Clone, Copy)]
struct Least {
    along: i64,
    up: i64,
    bar: i64,
    bent: bool,
}

const fn count(modules: usize) -> i64 {
    // At most a few thousand.
    #[allow(clippy::cast_possible_wrap, reason = "sizes of codes")]
    let count = modules as i64;
    count
}

fn shape(size: Size, bars: i64) -> Shape {
    let square = |side: usize, quiet| Shape { columns: count(side), rows: count(side), quiet, linear: false };
    match size {
        Size::Code128 => Shape { columns: bars, rows: 1, quiet: count(code128::QUIET), linear: true },
        Size::Qr(version) => square(qr::side(version), 4),
        Size::Micro(size) => square(micro::side(size), 2),
        Size::Rmqr(number) => {
            let size = &rmqr::SIZES[number];
            Shape { columns: count(size.columns), rows: count(size.rows), quiet: 2, linear: false }
        }
        Size::DataMatrix(number) => {
            let size = &datamatrix::SIZES[number];
            Shape { columns: count(size.columns), rows: count(size.rows), quiet: 1, linear: false }
        }
    }
}

/// The best dots a module for a shape: the larger smaller side, then the squarer, then the shorter.
fn best(size: Size, shape: Shape, room: &Room, least: Least, aim: Micrometres) -> Option<Candidate> {
    // Lengths are compared exactly, in a unit of which a dot along has as many as there are dots up in
    // a thousand inches, and the other way round.
    let (along, up) = (i64::from(room.up.milli()), i64::from(room.along.milli()));
    let units = |length: Micrometres| {
        let units = i128::from(length.0) * i128::from(along) * i128::from(up) / 25_400_000;
        i64::try_from(units).unwrap_or(i64::MAX)
    };
    let aim_units = units(aim);
    let (wide, high) = (shape.columns + 2 * shape.quiet, shape.rows + if shape.linear { 0 } else { 2 * shape.quiet });
    // What may run round the cable: a sixth of its circumference (π is 355/113).
    let arc = |axis: RoundAxis| match room.facing {
        Facing::Round { diameter, axis: round } if round == axis && least.bent => {
            units(Micrometres(diameter.0 * 355 / (113 * 6)))
        }
        _ => i64::MAX,
    };
    let most_along =
        room.width.map_or(i64::MAX, |width| width.0 / wide).min(arc(RoundAxis::Along) / (shape.columns * along));
    let candidate = |along_dots: i64, up_dots: i64, side: i64, other: i64| Candidate {
        size,
        along: along_dots,
        up: up_dots,
        worth: if room.width.is_none() { side.min(aim_units) } else { side },
        off_square: ((other - side) * 1000 + side / 2) / side,
        width: wide * along_dots,
        area: wide * along_dots * if shape.linear { 1 } else { high * up_dots },
    };
    let reach = |dot: i64| aim_units.div_euclid(dot).max(1) + 1;
    if shape.linear {
        let enough = match room.width {
            Some(_) => i64::MAX,
            None => room.along.dots_covering(aim).0.max(least.along),
        };
        let dots = most_along.min(enough);
        let tall = room.height.0 >= least.bar;
        return (tall && dots >= least.along).then(|| candidate(dots, room.height.0, dots * along, dots * along));
    }
    let mut most_up = (room.height.0 / high).min(arc(RoundAxis::Up) / (shape.rows * up));
    if room.width.is_none() {
        most_up = most_up.min(reach(up).max(least.up));
    } else {
        // One dot more than square at the widest is as far as it pays to look.
        most_up = most_up.min((most_along.saturating_add(1)).saturating_mul(along) / up + 1);
    }
    let mut found: Option<Candidate> = None;
    for up_dots in (least.up..=most_up).rev() {
        if found.is_some_and(|found| found.worth > up_dots * up) {
            break;
        }
        let square = up_dots * up / along;
        for along_dots in [square, square + 1] {
            if along_dots < least.along || along_dots > most_along {
                continue;
            }
            let sides = (along_dots * along, up_dots * up);
            let this = candidate(along_dots, up_dots, sides.0.min(sides.1), sides.0.max(sides.1));
            if found.is_none_or(|found| {
                (found.worth, -found.off_square, -found.width) < (this.worth, -this.off_square, -this.width)
            }) {
                found = Some(this);
            }
        }
    }
    found
}

/// Content measured once for all sizes of a code.
struct Content<'a> {
    text: &'a str,
    ecc: Ecc,
    /// Bits by the three widths of QR's counts.
    qr_bits: [Option<Option<usize>>; 3],
    words: Option<usize>,
}

impl Content<'_> {
    /// The form of a size that holds the content, at the highest level there is room for.
    fn form(&mut self, size: Size) -> Option<Form> {
        let levels = Ecc::ALL.into_iter().rev().filter(|&ecc| ecc >= self.ecc);
        match size {
            Size::Code128 => Some(Form::Code128),
            Size::Qr(version) => {
                let class = usize::from(version > 9) + usize::from(version > 26);
                let text = self.text;
                let bits = *self.qr_bits[class]
                    .get_or_insert_with(|| super::segment::bits(text, &qr::modes(version)).map(|bits| bits.len()));
                let bits = bits?;
                let ecc = levels.into_iter().find(|&ecc| bits <= qr::data_words(version, ecc) * 8)?;
                Some(Form::Qr { version, ecc })
            }
            Size::Micro(size) => {
                let bits = micro::length(self.text, size)?;
                let fits = |&ecc: &Ecc| micro::kind(size, ecc).is_some_and(|(_, room, _)| bits <= room);
                levels.into_iter().find(fits).map(|ecc| Form::MicroQr { size, ecc })
            }
            Size::Rmqr(number) => {
                let bits = rmqr::length(self.text, number)?;
                let levels = [Ecc::H, Ecc::M].into_iter().filter(|&ecc| ecc >= self.ecc || self.ecc == Ecc::L);
                let ecc = levels.into_iter().find(|&ecc| bits <= rmqr::SIZES[number].data_bits(ecc))?;
                Some(Form::Rmqr { rows: rmqr::SIZES[number].rows, columns: rmqr::SIZES[number].columns, ecc })
            }
            Size::DataMatrix(number) => {
                let text = self.text;
                let words = *self.words.get_or_insert_with(|| datamatrix::least(text));
                let size = &datamatrix::SIZES[number];
                (words <= size.data).then_some(Form::DataMatrix { rows: size.rows, columns: size.columns })
            }
        }
    }
}

/// The sizes of a kind of code.
fn sizes(symbology: Symbology) -> Vec<Size> {
    match symbology {
        Symbology::Code128 => vec![Size::Code128],
        Symbology::Qr => (1..=qr::LAST_VERSION).map(Size::Qr).collect(),
        Symbology::MicroQr => (1..=4).map(Size::Micro).collect(),
        Symbology::Rmqr => (0..rmqr::SIZES.len()).map(Size::Rmqr).collect(),
        Symbology::DataMatrix => (0..datamatrix::SIZES.len()).map(Size::DataMatrix).collect(),
    }
}

/// The best size in a room that holds the content, drawn in modules.
fn chosen(
    content: &mut Content<'_>,
    symbology: Symbology,
    bars: Option<&Symbol>,
    room: &Room,
    least: Least,
    aim: Micrometres,
) -> Option<(Candidate, Form, Symbol)> {
    let wide = bars.map_or(0, |bars| count(bars.columns()));
    let candidates = sizes(symbology).into_iter().filter_map(|size| best(size, shape(size, wide), room, least, aim));
    let mut candidates: Vec<Candidate> = candidates.collect();
    candidates.sort_by_key(|c| (-c.worth, c.width, c.area, c.off_square));
    candidates.into_iter().find_map(|candidate| {
        let form = content.form(candidate.size)?;
        let symbol = match bars {
            Some(bars) => bars.clone(),
            None => super::encode(content.text, form)?,
        };
        Some((candidate, form, symbol))
    })
}

fn placed(wish: &Wish<'_>, room: &Room, symbology: Symbology) -> Result<Placed, Unfit> {
    let mut content = Content { text: wish.content, ecc: wish.ecc, qr_bits: [None; 3], words: None };
    let bars = match symbology {
        Symbology::Code128 => Some(code128::symbol(wish.content).ok_or_else(|| unheld(wish, symbology))?),
        _ => None,
    };
    let dots = |dpi: Dpi| dpi.dots_covering(wish.least_module).0.max(wish.least_dots).max(1);
    let least =
        Least { along: dots(room.along), up: dots(room.up), bar: room.up.dots_covering(LEAST_BAR).0, bent: true };
    let Some((candidate, form, symbol)) = chosen(&mut content, symbology, bars.as_ref(), room, least, wish.aim_module)
    else {
        return Err(refusal(wish, room, symbology, bars.as_ref(), least, &mut content));
    };
    let dots = |dots: i64| usize::try_from(dots).unwrap_or(0);
    let sides = [room.along.length(Dots(candidate.along)), room.up.length(Dots(candidate.up))];
    Ok(Placed {
        symbology,
        form,
        ink: symbol.drawn(dots(candidate.along), dots(candidate.up)),
        module: if symbol.linear() { sides[0] } else { sides[0].min(sides[1]) },
        dots_per_module: (candidate.along, candidate.up),
        off_square_permille: if symbol.linear() { 0 } else { candidate.off_square },
        columns: symbol.columns(),
        rows: symbol.rows(),
    })
}

/// No size of a code holds the content.
fn unheld(wish: &Wish<'_>, symbology: Symbology) -> Unfit {
    let characters = wish.content.chars().count();
    let odd = wish.content.chars().find(|c| !c.is_ascii());
    match (symbology, odd) {
        _ if characters == 0 => {
            Unfit { found: format!("no content for {}", symbology.word()), wanted: "text to read from the code".into() }
        }
        (Symbology::Code128 | Symbology::MicroQr, Some(odd)) => Unfit {
            found: format!("{odd:?} (U+{:04X}) in the content of {}", u32::from(odd), symbology.word()),
            wanted: "ASCII characters; qr, rmqr and data-matrix take all".into(),
        },
        _ => Unfit {
            found: format!("{characters} characters for {}", symbology.word()),
            wanted: "content that one of its sizes holds; shorten it or choose another code".into(),
        },
    }
}

/// Why nothing was chosen: what would stand here if nobody had to read it.
fn refusal(
    wish: &Wish<'_>,
    room: &Room,
    symbology: Symbology,
    bars: Option<&Symbol>,
    least: Least,
    content: &mut Content<'_>,
) -> Unfit {
    let word = symbology.word();
    let mut look = |room: &Room, least: Least| chosen(content, symbology, bars, room, least, wish.aim_module);
    let any = Least { along: 1, up: 1, bar: 1, bent: true };
    let describe = |symbol: &Symbol| match bars {
        Some(bars) => format!("{word} of {} modules", bars.columns()),
        None => format!("{word} of {} × {} modules", symbol.columns(), symbol.rows()),
    };
    // Read flat it would do: the cable is too thin.
    if let Facing::Round { diameter, .. } = room.facing
        && let Some((candidate, _, symbol)) = look(room, Least { bent: false, ..least })
    {
        let module = room.along.length(Dots(candidate.along)).min(room.up.length(Dots(candidate.up)));
        let module = if bars.is_some() { room.along.length(Dots(candidate.along)) } else { module };
        return Unfit {
            found: format!("{} of {module} on a cable of {diameter}", describe(&symbol)),
            wanted: format!(
                "the code within 30° to each side, {} round the cable; a flag, a shorter content or a code with fewer rows",
                Micrometres(diameter.0 * 355 / (113 * 6))
            ),
        };
    }
    let asked = format!(
        "modules of at least {} and {} dots; more room, a shorter content or another code",
        wish.least_module, wish.least_dots
    );
    if let Some((candidate, _, symbol)) = look(room, any) {
        if bars.is_some() && room.height.0 < least.bar {
            return Unfit {
                found: format!("{word} with bars of {}", room.up.length(room.height)),
                wanted: format!("bars of at least {LEAST_BAR}; wider tape or another code"),
            };
        }
        let (along, up) = (room.along.length(Dots(candidate.along)), room.up.length(Dots(candidate.up)));
        let (side, dots) = if bars.is_some() || along <= up { (along, candidate.along) } else { (up, candidate.up) };
        return Unfit {
            found: format!("{} at {side} ({dots} dot{}) a module", describe(&symbol), if dots == 1 { "" } else { "s" }),
            wanted: asked,
        };
    }
    // Not even one dot a module: the smallest that holds it, in a room without bounds.
    let endless = Room { width: None, height: Dots(1_000), facing: Facing::Flat, ..*room };
    match look(&endless, any) {
        Some((_, _, symbol)) => {
            let quiet = 2 * symbol.quiet();
            let wide = symbol.columns() + quiet;
            let high = if symbol.linear() { 1 } else { symbol.rows() + quiet };
            let width = room.width.map_or("any".into(), |width| width.0.to_string());
            Unfit {
                found: format!(
                    "{word} of {wide} × {high} modules with its quiet zone in {width} × {} dots",
                    room.height.0.max(0)
                ),
                wanted: asked,
            }
        }
        None => unheld(wish, symbology),
    }
}
