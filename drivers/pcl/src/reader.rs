//! From a stream to strips: a strict reader that holds one row.
//!
//! A page is a strip, and where the page ends the strip is cut: the language knows sheets, so a
//! full cut at the end is all it can mean. A page that does not say its raster width is refused.
//! Commands that only place the page on the paper are let through; all that would change which
//! dots come out, or how much is fed, is obeyed or refused.

use tapewright_kit::{Cut, CutKind, Events, Fault, Page, Readback, packbits, spare_mask};

use crate::delta::Patch;
use crate::language::{EXIT, FORM_FEED, GREATEST, Mode, RESET, SPACINGS_PER_INCH};
use crate::sequence::{Command, Found, Sequence};

/// Line spacing after a reset: 6 lines an inch (from memory).
const SPACING: u32 = SPACINGS_PER_INCH / 6;

/// How sure we are that a stream is ours.
pub(crate) fn recognises(first: &[u8]) -> u8 {
    let left_other = first.starts_with(EXIT);
    let rest = first.strip_prefix(EXIT).unwrap_or(first);
    match rest.strip_prefix(RESET) {
        Some([0x1B, b'&' | b'*', ..]) => 90,
        Some(_) if left_other => 80,
        // Another language has this sequence too.
        Some(_) => 30,
        // Any language may follow.
        None if left_other => 20,
        None => 0,
    }
}

/// Reads a stream in pieces that may end anywhere.
#[derive(Debug, Default)]
pub(crate) struct Reader {
    /// Bytes read before those at hand.
    offset: u64,
    state: State,
    sequence: Sequence,
    setup: Setup,
    /// Pages begun.
    pages: u64,
    page: Option<PageState>,
    /// The stream began with the universal exit, so it ends with it.
    left_other: bool,
    last: Last,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum State {
    /// Between commands.
    #[default]
    Ground,
    /// In an escape sequence.
    Sequence,
    /// Inside the bytes of a row, so many to come; then the sequence goes on or not.
    Row { left: usize, is_last: bool },
}

/// What was read last, as far as it may end a stream.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Last {
    /// Nothing was read.
    #[default]
    Nothing,
    Exit,
    Reset,
    Other,
}

/// What holds until it is changed or the device is reset.
#[derive(Debug, Clone, Copy)]
struct Setup {
    dpi: Option<u32>,
    width: Option<u32>,
    height: Option<u32>,
    mode: Mode,
    /// Line spacing in 1/480000 inch.
    spacing: u32,
    /// Page length in lines of text.
    page_length: Option<u32>,
}

impl Default for Setup {
    fn default() -> Setup {
        Setup { dpi: None, width: None, height: None, mode: Mode::Plain, spacing: SPACING, page_length: None }
    }
}

/// The page going on.
#[derive(Debug)]
struct PageState {
    dots: u32,
    height: Option<u32>,
    rows: u32,
    /// Between the start and the end of the raster.
    is_open: bool,
    /// The row before, turning into the row that comes in.
    row: Vec<u8>,
    taking: Taking,
}

/// How the row that comes in is read.
#[derive(Debug)]
enum Taking {
    Plain(usize),
    Packed(packbits::Unpacker),
    Delta(Patch),
}

impl PageState {
    fn begin(setup: &Setup) -> Result<PageState, String> {
        let dots = setup.width.ok_or("raster without a width, wanted ESC*r#S before it")?;
        if let (Some(rows), Some(lines), Some(dpi)) = (setup.height, setup.page_length, setup.dpi) {
            let page = u64::from(lines) * u64::from(setup.spacing) * u64::from(dpi);
            if page != u64::from(rows) * u64::from(SPACINGS_PER_INCH) {
                return Err(format!(
                    "page of {} rows, wanted the {rows} of the raster",
                    page / u64::from(SPACINGS_PER_INCH)
                ));
            }
        }
        let row = vec![0; dots.div_ceil(8) as usize];
        Ok(PageState { dots, height: setup.height, rows: 0, is_open: true, row, taking: Taking::Plain(0) })
    }

    /// Counts rows.
    fn count(&mut self, rows: u32) -> Result<(), String> {
        let most = self.height.unwrap_or(u32::MAX) - self.rows;
        if rows > most {
            return Err(format!("{rows} rows after {}, wanted at most {most}", self.rows));
        }
        self.rows += rows;
        Ok(())
    }

    fn begin_row(&mut self, mode: Mode, bytes: u32) -> Result<(), String> {
        if bytes > GREATEST || mode == Mode::Plain && bytes as usize > self.row.len() {
            return Err(format!("row of {bytes} bytes, wanted at most {}", self.row.len()));
        }
        self.count(1)?;
        self.taking = match mode {
            Mode::Plain => Taking::Plain(0),
            Mode::Packed => Taking::Packed(packbits::Unpacker::default()),
            Mode::Delta => Taking::Delta(Patch::default()),
        };
        Ok(())
    }

    /// Takes bytes of the row; the error says where in them.
    fn take(&mut self, bytes: &[u8]) -> Result<(), (usize, String)> {
        match &mut self.taking {
            Taking::Plain(filled) => {
                self.row[*filled..*filled + bytes.len()].copy_from_slice(bytes);
                *filled += bytes.len();
                Ok(())
            }
            Taking::Packed(unpacker) => {
                unpacker.push(bytes, &mut self.row).map_err(|damage| (damage.at, damage.kind.to_string()))
            }
            Taking::Delta(patch) => patch.push(bytes, &mut self.row),
        }
    }

    fn end_row(&mut self, events: &mut dyn Events) -> Result<(), RowFault> {
        // Bytes a row does not reach are 0, but for the delta row.
        let filled = match &self.taking {
            Taking::Plain(filled) => *filled,
            Taking::Packed(unpacker) => unpacker.finish(0).map_err(|damage| damage.kind.to_string())?,
            Taking::Delta(patch) => {
                patch.finish()?;
                self.row.len()
            }
        };
        self.row[filled..].fill(0);
        let spare = self.row.last().map_or(0, |last| last & !spare_mask(self.dots));
        if spare != 0 {
            let row = self.rows - 1;
            return Err(format!("row {row} has bits {spare:#04x} beyond its {} dots, wanted 0", self.dots).into());
        }
        Ok(events.lines(&self.row, 1)?)
    }

    fn skip(&mut self, rows: u32, events: &mut dyn Events) -> Result<(), RowFault> {
        self.count(rows)?;
        self.row.fill(0);
        if rows > 0 {
            events.blank(rows)?;
        }
        Ok(())
    }

    fn end(&self, events: &mut dyn Events) -> Result<(), RowFault> {
        if self.is_open {
            return Err("the page ends inside the raster, wanted ESC*rB or ESC*rC".to_owned().into());
        }
        let wanted = self.height.unwrap_or(self.rows.max(1));
        if self.rows != wanted {
            return Err(format!("the page ends after {} rows, wanted {wanted}", self.rows).into());
        }
        events.cut(Cut { line: self.rows, kind: CutKind::Full })?;
        Ok(events.strip_end()?)
    }
}

/// What is wrong at the byte being read, or a fault of the host, which is passed on as it is.
enum RowFault {
    Here(String),
    Host(Fault),
}

impl From<String> for RowFault {
    fn from(text: String) -> RowFault {
        RowFault::Here(text)
    }
}

impl From<Fault> for RowFault {
    fn from(fault: Fault) -> RowFault {
        RowFault::Host(fault)
    }
}

impl Reader {
    /// A fault at `at` bytes into the bytes at hand.
    fn fault(&self, at: usize, text: &str) -> Fault {
        let page = match self.pages {
            0 => String::new(),
            page => format!(", page {page}"),
        };
        Fault::device(format!("byte {}{page}: {text}", self.offset + at as u64))
    }

    fn located<T>(&self, at: usize, result: Result<T, RowFault>) -> Result<T, Fault> {
        result.map_err(|fault| match fault {
            RowFault::Here(text) => self.fault(at, &text),
            RowFault::Host(fault) => fault,
        })
    }

    /// Ends the page going on, if there is one.
    fn end_page(&mut self, events: &mut dyn Events) -> Result<bool, RowFault> {
        let Some(page) = self.page.take() else {
            return Ok(false);
        };
        page.end(events)?;
        Ok(true)
    }

    fn reset(&mut self, events: &mut dyn Events) -> Result<(), RowFault> {
        self.end_page(events)?;
        self.setup = Setup::default();
        self.last = Last::Reset;
        Ok(())
    }

    /// A byte between commands.
    fn control(&mut self, byte: u8, events: &mut dyn Events) -> Result<(), RowFault> {
        match byte {
            0x1B => {
                self.sequence = Sequence::default();
                self.state = State::Sequence;
                Ok(())
            }
            // Says nothing.
            0 if self.last != Last::Nothing => Ok(()),
            FORM_FEED => {
                self.last = Last::Other;
                if self.end_page(events)? {
                    return Ok(());
                }
                Err("form feed without a raster before it, wanted a page".to_owned().into())
            }
            _ => {
                Err(format!("{} between commands, wanted an escape sequence or form feed", byte.escape_ascii()).into())
            }
        }
    }

    /// Obeys a command, and gives the number of bytes that follow it.
    fn obey(&mut self, command: &Command, events: &mut dyn Events) -> Result<Option<usize>, RowFault> {
        let Command { first, group, letter, value, .. } = *command;
        let refuse = |wanted: &str| Err(RowFault::Here(format!("{}, wanted {wanted}", command.text())));
        let in_raster = self.page.as_ref().is_some_and(|page| page.is_open);
        if first == b'%' {
            if (group, letter, value.sign, value.whole, value.part) != (0, b'X', b'-', 12_345, 0) || !command.is_last {
                return refuse("ESC%-12345X and no other language");
            }
            if self.page.is_some() {
                return refuse("the end of the page before it");
            }
            self.left_other |= self.last == Last::Nothing;
            self.last = Last::Exit;
            return Ok(None);
        }
        self.last = Last::Other;
        let of_raster = matches!((first, group, letter), (b'*', b'b', _) | (b'*', b'r', b'B' | b'C'));
        if in_raster && !of_raster {
            return refuse("the end of the raster before it");
        }
        let whole = value.plain().filter(|whole| *whole <= GREATEST);
        match (first, group, letter) {
            (b'*', b't', b'R') => match whole {
                Some(dpi @ 1..) => self.setup.dpi = Some(dpi),
                _ => return refuse("a resolution from 1 on"),
            },
            (b'*', b'r', b'S') => match whole {
                Some(width @ 1..) => self.setup.width = Some(width),
                _ => return refuse("a width of 1 to 32767 dots"),
            },
            (b'*', b'r', b'T') => match whole {
                Some(height @ 1..) => self.setup.height = Some(height),
                _ => return refuse("a height of 1 to 32767 rows"),
            },
            (b'*', b'r', b'A') => {
                if self.page.is_some() {
                    return refuse("one raster a page");
                }
                if !matches!(whole, Some(0 | 1)) {
                    return refuse("a raster that is not scaled, 0 or 1");
                }
                let page = PageState::begin(&self.setup)?;
                self.pages += 1;
                events.strip_begin(&Page {
                    lines: page.height,
                    dots: page.dots,
                    dpi_across_milli: self.setup.dpi.map(|dpi| dpi * 1000),
                    dpi_along_milli: self.setup.dpi.map(|dpi| dpi * 1000),
                })?;
                self.page = Some(page);
            }
            (b'*', b'r', b'B' | b'C') => {
                if let Some(page) = &mut self.page {
                    page.is_open = false;
                }
                if letter == b'C' {
                    self.setup.mode = Mode::Plain;
                }
            }
            (b'*', b'b', b'M') => match whole.and_then(Mode::from_number) {
                Some(mode) => self.setup.mode = mode,
                None => return refuse("compression 0, 2 or 3"),
            },
            (b'*', b'b', b'Y' | b'W') => {
                let Some(page) = self.page.as_mut().filter(|page| page.is_open) else {
                    return refuse("a raster around it");
                };
                let Some(whole) = whole else {
                    return refuse("0 to 32767");
                };
                if letter == b'Y' {
                    page.skip(whole, events)?;
                } else {
                    page.begin_row(self.setup.mode, whole)?;
                    return Ok(Some(whole as usize));
                }
            }
            (b'&', b'l', b'C') if value.sign == 0 => self.setup.spacing = value.whole * 10_000 + value.part,
            (b'&', b'l', b'P') => match whole {
                Some(lines @ 1..) => self.setup.page_length = Some(lines),
                _ => return refuse("a page length from 1 on"),
            },
            (b'&', b'l', b'O' | b'A') => {
                if letter == b'O' && whole != Some(0) {
                    return refuse("orientation 0");
                }
                // Both bring the length of a size of paper.
                self.setup.page_length = None;
            }
            (b'&', b'l', b'X') if whole != Some(1) => return refuse("1 copy"),
            (b'*', b'p', b'X' | b'Y') if whole != Some(0) => return refuse("the cursor at 0"),
            // Where the page lies on the paper: margins, skipping of the perforation, shifts,
            // tray, sides. How numbers of the cursor count, and what a row lies along.
            (b'&', b'l', b'E' | b'F' | b'H' | b'L' | b'S' | b'U' | b'X' | b'Z')
            | (b'&', b'u', b'D')
            | (b'*', b'p', b'X' | b'Y')
            | (b'*', b'r', b'F') => {}
            _ => return refuse("a command of raster graphics"),
        }
        Ok(None)
    }

    /// A byte of an escape sequence.
    fn in_sequence(&mut self, byte: u8, events: &mut dyn Events) -> Result<(), RowFault> {
        match self.sequence.push(byte)? {
            Found::Nothing => {}
            Found::Single(b'E') => {
                self.state = State::Ground;
                self.reset(events)?;
            }
            Found::Single(byte) => {
                return Err(format!("ESC{}, wanted a command of raster graphics", byte.escape_ascii()).into());
            }
            Found::Command(command) => {
                let is_last = command.is_last;
                match self.obey(&command, events)? {
                    Some(left) => self.state = State::Row { left, is_last },
                    None if is_last => self.state = State::Ground,
                    None => {}
                }
                if matches!(self.state, State::Row { left: 0, .. }) {
                    self.end_row(events)?;
                }
            }
        }
        Ok(())
    }

    /// All bytes of a row have come.
    fn end_row(&mut self, events: &mut dyn Events) -> Result<(), RowFault> {
        if let State::Row { is_last, .. } = self.state {
            self.state = if is_last { State::Ground } else { State::Sequence };
        }
        match &mut self.page {
            Some(page) => page.end_row(events),
            None => Ok(()),
        }
    }
}

impl Readback for Reader {
    fn push(&mut self, bytes: &[u8], events: &mut dyn Events) -> Result<(), Fault> {
        let mut at = 0;
        while let Some(&byte) = bytes.get(at) {
            match self.state {
                State::Ground => {
                    let result = self.control(byte, events);
                    self.located(at, result)?;
                    at += 1;
                }
                State::Sequence => {
                    let result = self.in_sequence(byte, events);
                    self.located(at, result)?;
                    at += 1;
                }
                State::Row { left, is_last } => {
                    let taken = left.min(bytes.len() - at);
                    if let Some(page) = &mut self.page
                        && let Err((inside, text)) = page.take(&bytes[at..at + taken])
                    {
                        return Err(self.fault(at + inside, &text));
                    }
                    at += taken;
                    self.state = State::Row { left: left - taken, is_last };
                    if taken == left {
                        let result = self.end_row(events);
                        self.located(at - 1, result)?;
                    }
                }
            }
        }
        self.offset += bytes.len() as u64;
        Ok(())
    }

    fn finish(&mut self, _events: &mut dyn Events) -> Result<(), Fault> {
        let wanted = match self.state {
            State::Sequence => "the end of an escape sequence".to_owned(),
            State::Row { left, .. } => format!("{left} more bytes of a row"),
            State::Ground if self.last == Last::Nothing => "a command".to_owned(),
            State::Ground if self.page.is_some() => "the end of the page".to_owned(),
            State::Ground if self.pages == 0 => "a page".to_owned(),
            State::Ground if self.left_other && self.last != Last::Exit => "ESC%-12345X".to_owned(),
            State::Ground if self.last == Last::Other => "the reset ESCE".to_owned(),
            State::Ground => return Ok(()),
        };
        Err(self.fault(0, &format!("the stream ends, wanted {wanted}")))
    }
}
