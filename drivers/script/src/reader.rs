//! From a stream back to lines and cuts.

use std::collections::VecDeque;
use std::sync::Arc;

use tapewright_kit::{Cut, CutKind, Events, Fault, Page, Readback};

use crate::item::{Form, Item, Number, Pad};
use crate::language::{Command, Language, Packing};
use crate::packbits;
use crate::quantity::{Named, Quantity, nearest};
use crate::row::Moves;
use crate::status::hex;
use crate::unique::{prefix, read_commands};

/// No command is longer; the longest is the start of a strip with a list of cuts.
const LONGEST_COMMAND: usize = 1 << 20;

/// Reads one stream. Holds one command and what stands behind it in the last piece.
#[derive(Debug)]
pub(crate) struct Reader {
    language: Arc<Language>,
    moves: Moves,
    held: Vec<u8>,
    /// Offset in the stream of the first byte held.
    offset: u64,
    state: State,
    strips: u32,
    /// Of the strip going on.
    at: u32,
    lines: Option<u32>,
    /// Cuts listed at the start of the strip and not told yet, ascending.
    listed: VecDeque<Cut>,
    /// The least line a cut may have.
    least_cut: u32,
    dpi: (Option<u32>, Option<u32>),
    bits: Vec<u8>,
    row: Vec<u8>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Before a job, or after one.
    Outside,
    Job,
    Strip,
}

/// How sure the family is that these are the first bytes of its stream.
pub(crate) fn recognises(language: &Language, first: &[u8]) -> u8 {
    let wanted = prefix(language.items(Command::JobStart));
    if !first.starts_with(wanted) {
        return 0;
    }
    // Each constant byte makes chance less likely; four are as sure as a known word.
    match wanted.len() {
        0 => 0,
        1 => 30,
        2 => 60,
        3 => 75,
        _ => 95,
    }
}

/// What a command says.
#[derive(Debug, Default)]
struct Found {
    numbers: Vec<(Named, u32)>,
    cuts: Vec<Cut>,
    data: (usize, usize),
}

impl Found {
    fn get(&self, name: Named) -> Option<u32> {
        self.numbers.iter().rev().find(|(known, _)| *known == name).map(|(_, value)| *value)
    }
}

/// Why a command cannot be read: more bytes are needed, or it is wrong.
enum Stop {
    More,
    Wrong(String),
}

impl Reader {
    pub(crate) fn new(language: Arc<Language>) -> Reader {
        let moves = language.order.unsent();
        // A family with one resolution need not say it.
        let only = |list: &[u32]| if let [dpi] = list { Some(*dpi) } else { None };
        let dpi = (only(&language.dpi_across), only(&language.dpi_along));
        Reader {
            language,
            moves,
            held: Vec::new(),
            offset: 0,
            state: State::Outside,
            strips: 0,
            at: 0,
            lines: None,
            listed: VecDeque::new(),
            least_cut: 0,
            dpi,
            bits: Vec::new(),
            row: Vec::new(),
        }
    }

    fn fault(&self, at: usize, what: &str) -> Fault {
        let offset = self.offset + at as u64;
        match self.strips {
            0 => Fault::device(format!("byte {offset}: {what}")),
            strip => Fault::device(format!("byte {offset}, strip {strip}: {what}")),
        }
    }

    /// The command that stands at the beginning of `bytes`.
    fn command(&self, bytes: &[u8]) -> Result<Command, Stop> {
        let mut may_come = false;
        for command in read_commands(&self.language) {
            let prefix = prefix(self.language.items(command));
            if bytes.starts_with(prefix) {
                return Ok(command);
            }
            may_come |= prefix.starts_with(bytes);
        }
        if may_come {
            return Err(Stop::More);
        }
        Err(Stop::Wrong(format!(
            "found {}, wanted a command of {}",
            hex(&bytes[..bytes.len().min(8)]),
            self.language.description.family
        )))
    }

    fn read(&mut self, events: &mut dyn Events) -> Result<(), Fault> {
        let held = std::mem::take(&mut self.held);
        let mut at = 0;
        let result = loop {
            if at == held.len() {
                break Ok(());
            }
            let step = self.command(&held[at..]).and_then(|command| {
                let mut found = Found::default();
                let end = parse(&self.language, self.language.items(command), &held, at, &mut found)?;
                Ok((command, found, end))
            });
            match step {
                Ok((command, found, end)) => {
                    if let Err(fault) = self.act(command, &found, &held, at, events) {
                        break Err(fault);
                    }
                    at = end;
                }
                Err(Stop::More) if held.len() - at > LONGEST_COMMAND => {
                    break Err(self.fault(at, &format!("a command of more than {LONGEST_COMMAND} bytes, wanted less")));
                }
                Err(Stop::More) => break Ok(()),
                Err(Stop::Wrong(what)) => break Err(self.fault(at, &what)),
            }
        };
        self.held = held;
        self.held.drain(..at);
        self.offset += at as u64;
        result
    }

    fn act(
        &mut self,
        command: Command,
        found: &Found,
        held: &[u8],
        at: usize,
        events: &mut dyn Events,
    ) -> Result<(), Fault> {
        let wanted = match command {
            Command::JobStart => State::Outside,
            Command::StripStart | Command::JobEnd => State::Job,
            Command::Ask => self.state,
            _ => State::Strip,
        };
        if self.state != wanted {
            let place = match self.state {
                State::Outside => "outside a job",
                State::Job => "between strips",
                State::Strip => "inside a strip",
            };
            return Err(self.fault(at, &format!("{} {place}", command.word())));
        }
        match command {
            Command::JobStart => {
                self.state = State::Job;
                self.note_dpi(found);
            }
            Command::JobEnd => self.state = State::Outside,
            Command::StripStart => self.begin_strip(found, events)?,
            Command::StripEnd => self.end_strip(at, events)?,
            Command::Line => {
                self.check_place(found, at)?;
                self.line(&held[found.data.0..found.data.1], at, events)?;
            }
            Command::Blank => {
                self.check_place(found, at)?;
                let count = found.get(Named::Count).unwrap_or(1);
                self.advance(count, at)?;
                if count == 0 {
                    return Err(self.fault(at, "blank with a count of 0, wanted at least 1"));
                }
                events.blank(count)?;
            }
            Command::HalfCut => self.cut(CutKind::Half, found, at, events)?,
            Command::FullCut | Command::EndCut => self.cut(CutKind::Full, found, at, events)?,
            Command::Cancel | Command::Ask => {}
        }
        Ok(())
    }

    fn note_dpi(&mut self, found: &Found) {
        let milli = |name, known: &[u32]| {
            let whole = found.get(name)?;
            known.iter().copied().find(|milli| nearest(*milli) == i64::from(whole))
        };
        let (across, along) = (&self.language.dpi_across, &self.language.dpi_along);
        self.dpi.0 = milli(Named::DpiAcross, across).or(self.dpi.0);
        self.dpi.1 = milli(Named::DpiAlong, along).or(milli(Named::Dpi, along)).or(self.dpi.1);
    }

    fn begin_strip(&mut self, found: &Found, events: &mut dyn Events) -> Result<(), Fault> {
        self.note_dpi(found);
        self.state = State::Strip;
        self.strips = self.strips.saturating_add(1);
        let lead = found.get(Named::LeadLines).filter(|_| self.language.feeds_lead).unwrap_or(0);
        let sent = found.get(Named::SentLines).and_then(|sent| sent.checked_add(lead));
        self.lines = found.get(Named::Lines).or(sent).filter(|lines| *lines > 0);
        self.at = 0;
        events.strip_begin(&Page {
            lines: self.lines,
            dots: self.language.order.dots,
            dpi_across_milli: self.dpi.0,
            dpi_along_milli: self.dpi.1,
        })?;
        self.listed = found.cuts.iter().copied().collect();
        self.least_cut = 0;
        if lead > 0 {
            self.advance(lead, 0)?;
            events.blank(lead)?;
        }
        Ok(())
    }

    fn end_strip(&mut self, at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        if let Some(lines) = self.lines
            && lines != self.at
        {
            return Err(self.fault(at, &format!("strip-end after {} lines, wanted {lines}", self.at)));
        }
        if self.at == 0 {
            return Err(self.fault(at, "strip-end without a line, wanted at least 1"));
        }
        self.tell_listed(u32::MAX, at, events)?;
        if self.language.always_cuts {
            self.tell(Cut { line: self.at, kind: CutKind::Full }, at, events)?;
        }
        events.strip_end()?;
        self.state = State::Job;
        Ok(())
    }

    fn advance(&mut self, count: u32, at: usize) -> Result<(), Fault> {
        let most = self.lines.unwrap_or(u32::MAX);
        match self.at.checked_add(count).filter(|end| *end <= most) {
            Some(end) => self.at = end,
            None => {
                let left = most - self.at;
                return Err(
                    self.fault(at, &format!("{count} lines at line {}, wanted at most the {left} left", self.at))
                );
            }
        }
        Ok(())
    }

    /// A command that says its line says the right one.
    fn check_place(&self, found: &Found, at: usize) -> Result<(), Fault> {
        match found.get(Named::Line) {
            Some(line) if line != self.at => Err(self.fault(at, &format!("says line {line}, wanted {}", self.at))),
            _ => Ok(()),
        }
    }

    fn cut(&mut self, kind: CutKind, found: &Found, at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        self.check_place(found, at)?;
        self.tell_listed(self.at, at, events)?;
        self.tell(Cut { line: self.at, kind }, at, events)
    }

    /// Tells the listed cuts before `line`: cuts of both sorts come out in one rising order.
    fn tell_listed(&mut self, line: u32, at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        while let Some(cut) = self.listed.front().copied().filter(|cut| cut.line < line) {
            self.listed.pop_front();
            self.tell(cut, at, events)?;
        }
        Ok(())
    }

    fn tell(&mut self, cut: Cut, at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        let most = self.lines.unwrap_or(u32::MAX);
        if !(self.least_cut..=most).contains(&cut.line) {
            return Err(self.fault(at, &format!("a cut at line {}, wanted {} to {most}", cut.line, self.least_cut)));
        }
        self.least_cut = cut.line.saturating_add(1);
        events.cut(cut)
    }

    fn line(&mut self, data: &[u8], at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        self.advance(1, at)?;
        self.bits.clear();
        match self.language.packing {
            Packing::None => self.bits.extend(data),
            Packing::PackBits => {
                let mut bits = std::mem::take(&mut self.bits);
                let unpacked = packbits::decode(data, self.language.order.bytes(), &mut bits);
                self.bits = bits;
                unpacked.map_err(|what| self.fault(at, &format!("packed dots: {what}")))?;
            }
        }
        if self.language.order.low_bit_first {
            self.bits.iter_mut().for_each(|byte| *byte = byte.reverse_bits());
        }
        self.moves.row(&self.bits, &mut self.row);
        events.lines(&self.row, 1)
    }
}

/// Reads the items of a command from `at` on; where it ends.
fn parse(language: &Language, items: &[Item], bytes: &[u8], mut at: usize, found: &mut Found) -> Result<usize, Stop> {
    for item in items {
        match item {
            Item::Bytes(wanted) => {
                let rest = &bytes[at..];
                if !rest.starts_with(wanted) {
                    if wanted.starts_with(rest) {
                        return Err(Stop::More);
                    }
                    let rest = &rest[..rest.len().min(wanted.len())];
                    return Err(Stop::Wrong(format!("found {}, wanted {}", hex(rest), hex(wanted))));
                }
                at += wanted.len();
            }
            Item::Number(number) => {
                let value = parse_number(number, bytes, &mut at)?;
                if let Quantity::Named(name) = number.quantity
                    && number.divide == 1
                {
                    // Only what a reader needs must be a whole number; see `unique`.
                    let quantity = number.quantity_of(value);
                    if let Some(quantity) = quantity {
                        found.numbers.push((name, quantity));
                    } else if name != Named::TapeFirstDot {
                        return Err(Stop::Wrong(format!("{} cannot be sent as {value}", name.word())));
                    }
                }
            }
            Item::Data => {
                let length = match language.packing {
                    Packing::None => language.order.bytes(),
                    Packing::PackBits => found.get(Named::Bytes).unwrap_or(0) as usize,
                };
                let most = crate::language::longest_data(language);
                if length > most {
                    return Err(Stop::Wrong(format!("{length} bytes of dots, wanted at most {most}")));
                }
                if bytes.len() - at < length {
                    return Err(Stop::More);
                }
                found.data = (at, at + length);
                at += length;
            }
            Item::Wait(_) => {}
            Item::Each(kind, inner) => {
                let count = if *kind == CutKind::Half { Named::HalfCuts } else { Named::FullCuts };
                for _ in 0..found.get(count).unwrap_or(0) {
                    let mut each = Found::default();
                    at = parse(language, inner, bytes, at, &mut each)?;
                    let line = each.get(Named::Line).unwrap_or(0);
                    if found.cuts.last().is_some_and(|cut| cut.line >= line) {
                        return Err(Stop::Wrong(format!("a cut at line {line} after one there or later")));
                    }
                    found.cuts.push(Cut { line, kind: *kind });
                }
            }
        }
    }
    Ok(at)
}

fn parse_number(number: &Number, bytes: &[u8], at: &mut usize) -> Result<i128, Stop> {
    let take = |count: usize| bytes.get(*at..*at + count).ok_or(Stop::More);
    let (value, taken) = match number.form {
        Form::Big(count) => (take(count)?.iter().fold(0i128, |value, byte| value << 8 | i128::from(*byte)), count),
        Form::Little(count) => {
            (take(count)?.iter().rev().fold(0i128, |value, byte| value << 8 | i128::from(*byte)), count)
        }
        Form::Digits(count, pad) => {
            let field = match pad {
                Pad::None => {
                    let rest = &bytes[*at..];
                    let end = rest.iter().take(count + 1).position(|byte| !byte.is_ascii_digit());
                    match end {
                        Some(end) => &rest[..end],
                        None if rest.len() <= count => return Err(Stop::More),
                        None => return Err(Stop::Wrong(format!("more than {count} digits"))),
                    }
                }
                Pad::Zeros | Pad::Spaces => take(count)?,
            };
            let digits = if pad == Pad::Spaces { field.trim_ascii_start() } else { field };
            if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
                return Err(Stop::Wrong(format!("found {}, wanted digits", hex(field))));
            }
            (digits.iter().fold(0i128, |value, digit| value * 10 + i128::from(digit - b'0')), field.len())
        }
    };
    *at += taken;
    Ok(value)
}

impl Readback for Reader {
    fn push(&mut self, bytes: &[u8], events: &mut dyn Events) -> Result<(), Fault> {
        self.held.extend(bytes);
        self.read(events)
    }

    fn finish(&mut self, _events: &mut dyn Events) -> Result<(), Fault> {
        let end = self.held.len();
        if end > 0 {
            return Err(self.fault(end, "the stream ends, wanted the rest of a command"));
        }
        match self.state {
            State::Strip => Err(self.fault(0, "the stream ends, wanted strip-end")),
            State::Job if self.language.has(Command::JobEnd) => {
                Err(self.fault(0, "the stream ends, wanted job-end or another strip"))
            }
            State::Outside if self.offset == 0 => Err(self.fault(0, "the stream ends, wanted job-start")),
            _ => Ok(()),
        }
    }
}
