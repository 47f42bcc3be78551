//! All labels at true size on paper, with a bar to hold a ruler against.

use super::lettering::Lettering;
use super::outline::{Corner, outlines};
use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::Fonts;
use crate::media::{Form, Printer, Stock};
use crate::unit::{Dots, Dpi, Micrometres};
use krilla::color::luma;
use krilla::geom::{PathBuilder, Rect};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;
use krilla::{Document, SerializeSettings};
use std::ops::Range;

/// Paper of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    A4,
    /// 8.5 × 11 in.
    Letter,
}

impl Paper {
    /// Width and height in millimetres.
    pub(super) const fn size(self) -> (f32, f32) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// A label for the sheet.
pub struct SheetLabel<'a> {
    /// The printer, for its resolutions.
    pub printer: &'a Printer,
    /// The stock, for the tape's width.
    pub stock: &'a Stock,
    /// The printable zone as it reads (not mirrored).
    pub bitmap: &'a Bitmap,
    /// Which cable: labels with the same number one after another stay side by side where they fit.
    pub cable: u32,
    /// Which cable and which end, in words; stands over the label, whole.
    pub name: String,
    /// Why it is as it is, then its measures and notes. Labels one after another with the same stock
    /// and first line come under one heading, which has all lines they share.
    pub about: Vec<String>,
}

/// A label, or the part of one that fits the page.
struct Piece {
    /// The ink, in corners of dots.
    ink: Vec<Vec<Corner>>,
    /// Lines and dots of the ink.
    grid: (usize, usize),
    /// Tape and ink in millimetres: width of the piece, height of the tape, ink from the tape's
    /// upper edge, height of the ink.
    along: f32,
    tape: f32,
    zone_top: f32,
    zone: f32,
    /// Sides where the label goes on: left, right, upper, lower.
    open: [bool; 4],
}

/// A label with what is said about it.
struct Entry {
    cable: u32,
    name: String,
    about: Vec<String>,
    stock: (String, String),
    pieces: Vec<Piece>,
}

impl Entry {
    /// Whether both belong under one heading.
    fn joins(&self, other: &Self) -> bool {
        self.stock == other.stock && self.about.first() == other.about.first()
    }
}

/// Labels gathered; [`Sheet::finish`] sets them on pages.
pub struct Sheet {
    paper: Paper,
    title: String,
    entries: Vec<Entry>,
    sleeves: bool,
}

/// Points in a millimetre.
pub(super) const POINT: f32 = 72.0 / 25.4;
/// Blank around the page, millimetres.
pub(super) const EDGE: f32 = 14.0;
/// Height of the page's head and foot, millimetres.
const HEAD: f32 = 25.0;
const FOOT: f32 = 20.0;
/// Sizes in points: the page's title, headings and names, all else.
pub(super) const TITLE: f32 = 13.0;
pub(super) const NAME: f32 = 9.5;
pub(super) const TEXT: f32 = 8.0;
/// From one line to the next in millimetres: of names, of all else.
pub(super) const NAME_LINE: f32 = 4.1;
pub(super) const LINE: f32 = 3.5;
/// Between two labels side by side, between two rows, and before a heading, millimetres.
const GUTTER: f32 = 6.0;
const BETWEEN: f32 = 4.0;
const SECTION: f32 = 2.5;
/// A column is at least so wide, millimetres.
const COLUMN: f32 = 40.0;
/// Tape higher than this on the page is folded, millimetres: both papers then have room for its name.
const TALLEST: f32 = 150.0;
/// Length of the bar, millimetres.
const BAR: f32 = 100.0;

const ORDER: &str =
    "Order: stock by stock, cables as in the list, near end before far end; read each row from left to right.";
const IDENTITY_NOTE: &str = "A label names a cable. It does not say that the cable is safe, tested or switched off.";
const CAUTIONS: [&str; 5] = [
    "Before you sleeve: unplug both ends and check that the cable is dead. Local codes come first; licensed work stays with licensed people.",
    "Slide the sleeve on before the plug, and check which way the text reads.",
    "Heat only until the sleeve is snug; keep the gun moving; stop if the jacket shines or smells. Coax and foam soften near that heat: short bursts, let it cool before bending.",
    "A hot nozzle and a hot sleeve burn skin: gloves, a stand for the gun, nothing flammable near.",
    "Work with fresh air; never use a flame.",
];

#[allow(clippy::cast_possible_truncation, reason = "millimetres on paper")]
pub(super) fn mm(length: Micrometres) -> f32 {
    length.mm() as f32
}

impl Sheet {
    /// An empty sheet.
    pub fn new(paper: Paper, title: &str) -> Self {
        Self { paper, title: title.to_owned(), entries: Vec::new(), sleeves: false }
    }

    /// Adds a label after those before it.
    pub fn add(&mut self, label: &SheetLabel<'_>) {
        self.sleeves |= matches!(label.stock.form, Form::Sleeve(_));
        let room = self.paper.size().0 - 2.0 * EDGE;
        self.entries.push(Entry {
            cable: label.cable,
            name: label.name.clone(),
            about: label.about.clone(),
            stock: (label.stock.id.clone(), label.stock.title.clone()),
            pieces: pieces(label, room),
        });
    }

    /// Sets everything on pages and writes the PDF, lettered in the job's fonts. The same labels give
    /// the same bytes.
    ///
    /// # Errors
    /// Kind `Bug`: the PDF library refuses what was drawn. Kind `Input`: it cannot hold a font of the user's.
    pub fn finish(self, fonts: &Fonts) -> Result<Vec<u8>> {
        let lettering = Lettering::new(fonts);
        let (width, height) = self.paper.size();
        let pages = self.pages(&lettering);
        let mut document = Document::new_with(SerializeSettings::default());
        let bug = |what: &str| Error::bug(format!("PDF: {what}"));
        for (number, page) in pages.iter().enumerate() {
            let settings = PageSettings::from_wh(width * POINT, height * POINT).ok_or_else(|| bug("page size"))?;
            let mut sheet = document.start_page_with(settings);
            let mut surface = sheet.surface();
            surface.set_fill(Some(black()));
            let of = format!("page {} of {}", number + 1, pages.len());
            let left = (width - EDGE) * POINT - lettering.width(&of, NAME);
            lettering.write(&mut surface, &of, left, 15.0 * POINT, NAME)?;
            let title = head(&lettering, &self.title, left - (EDGE + GUTTER) * POINT);
            lettering.write(&mut surface, &title, EDGE * POINT, 15.0 * POINT, TITLE)?;
            lettering.write(&mut surface, ORDER, EDGE * POINT, 20.0 * POINT, TEXT)?;
            for words in &page.words {
                lettering.write(&mut surface, &words.text, words.x * POINT, words.y * POINT, words.size)?;
            }
            for &(piece, x, y) in &page.pieces {
                draw_piece(&mut surface, piece, x, y)?;
            }
            scale_bar(&mut surface, &lettering, height - 12.0)?;
            surface.finish();
            sheet.finish();
        }
        document.finish().map_err(|error| bug(&format!("{error:?}")))
    }

    /// Places everything between the heads and the feet of pages.
    fn pages(&self, lettering: &Lettering<'_>) -> Vec<Page<'_>> {
        let (width, height) = self.paper.size();
        let room = width - 2.0 * EDGE;
        let mut flow = Flow { pages: vec![Page::default()], at: HEAD, bottom: height - FOOT };
        let cautions = if self.sleeves { &CAUTIONS[..] } else { &[] };
        for text in [IDENTITY_NOTE].iter().chain(cautions) {
            flow.write(lettering.broken(text, TEXT, room * POINT), EDGE, TEXT);
        }
        if self.entries.is_empty() {
            flow.at += SECTION;
            flow.write(vec!["No labels: nothing would be printed.".to_owned()], EDGE, NAME);
        }
        for section in self.entries.chunk_by(Entry::joins) {
            flow.section(lettering, section, room);
        }
        flow.pages
    }
}

/// The head's line: what is at true size stays readable whatever the title.
fn head(lettering: &Lettering<'_>, title: &str, room: f32) -> String {
    const WHAT: &str = " · labels at true size";
    format!("{}{WHAT}", lettering.shortened(title, TITLE, room - lettering.width(WHAT, TITLE)))
}

/// Parts of at most `most` of `0..all`.
fn parts(all: usize, most: usize) -> impl DoubleEndedIterator<Item = Range<usize>> {
    let most = most.max(1);
    (0..all.div_ceil(most)).map(move |nth| nth * most..((nth + 1) * most).min(all))
}

/// A label folded to what fits the page: along the tape to `room` millimetres, across it to
/// [`TALLEST`], from left to right and in each part from the upper edge down.
fn pieces(label: &SheetLabel<'_>, room: f32) -> Vec<Piece> {
    let (printer, stock) = (label.printer, label.stock);
    let whole = |dots: Dots| usize::try_from(dots.0).unwrap_or(0);
    let dots = |count: usize| Dots(i64::try_from(count).unwrap_or(0));
    let most = |dpi: Dpi, length: f32| whole(dpi.dots_within(Micrometres::from_mm(f64::from(length))));
    let across = |count: usize| printer.across.length(dots(count));
    let (lines, zone) = (label.bitmap.lines(), label.bitmap.dots());
    let first = printer.zone(stock).map_or(Dots::ZERO, |(first, _)| first) - printer.stock_edge(stock);
    let first = whole(first);
    // The tape as dots counted from its lower edge; what rounding leaves belongs to the last.
    let tape = whole(printer.across.dots_nearest(stock.width)).max(first + zone);
    let mut pieces = Vec::new();
    for along in parts(lines, most(printer.along, room)) {
        for high in parts(tape, most(printer.across, TALLEST)).rev() {
            let ink = high.start.max(first).min(high.end)..high.end.min(first + zone).max(high.start);
            let ink = ink.start..ink.end.max(ink.start);
            let top = if high.end == tape { stock.width.max(across(first + zone)) } else { across(high.end) };
            let inked = ink.start.saturating_sub(first)..ink.end.saturating_sub(first);
            pieces.push(Piece {
                ink: outlines(label.bitmap, &along, &inked),
                grid: (along.len(), inked.len()),
                along: mm(printer.along.length(dots(along.len()))),
                tape: mm(top - across(high.start)),
                zone_top: mm(top - across(ink.end)),
                zone: mm(across(ink.end) - across(ink.start)),
                open: [along.start > 0, along.end < lines, high.end < tape, high.start > 0],
            });
        }
    }
    pieces
}

struct Words {
    text: String,
    /// Left end of the baseline, millimetres.
    x: f32,
    y: f32,
    size: f32,
}

/// What stands on a page, millimetres from its upper left corner.
#[derive(Default)]
struct Page<'s> {
    words: Vec<Words>,
    pieces: Vec<(&'s Piece, f32, f32)>,
}

/// One label or part of it with its words, as it stands in a row.
struct Cell<'s> {
    piece: &'s Piece,
    name: Vec<String>,
    about: Vec<String>,
    /// Where what is said about it goes on in the line of the name, if it fits there.
    beside: Option<f32>,
}

#[allow(clippy::cast_precision_loss, reason = "a few lines and columns")]
const fn times(count: usize, length: f32) -> f32 {
    count as f32 * length
}

impl Cell<'_> {
    fn words_height(&self) -> f32 {
        let under = if self.beside.is_some() { 0 } else { self.about.len() };
        times(self.name.len(), NAME_LINE) + times(under, LINE) + 0.8
    }
}

/// Pages being filled.
struct Flow<'s> {
    pages: Vec<Page<'s>>,
    /// How far down the last page is filled.
    at: f32,
    bottom: f32,
}

impl<'s> Flow<'s> {
    /// Writes lines from where the page is filled to.
    fn write(&mut self, lines: Vec<String>, x: f32, size: f32) {
        let line = if size > TEXT { NAME_LINE } else { LINE };
        if let Some(page) = self.pages.last_mut() {
            for text in lines {
                page.words.push(Words { text, x, y: self.at + line * 0.78, size });
                self.at += line;
            }
        }
    }

    /// Labels under one heading, in columns as wide as the widest asks for.
    fn section(&mut self, lettering: &Lettering<'_>, entries: &'s [Entry], room: f32) {
        let Some(first) = entries.first() else { return };
        let shared: Vec<&String> =
            first.about.iter().filter(|line| entries.iter().all(|entry| entry.about.contains(line))).collect();
        let words = shared.iter().map(|line| line.as_str()).collect::<Vec<_>>().join(" · ");
        let words = lettering.broken(&words, TEXT, room * POINT);

        let names = || {
            entries.iter().flat_map(|entry| {
                let of = entry.pieces.len();
                (1..=of).map(move |part| match of {
                    1 => entry.name.clone(),
                    _ => format!("{}, part {part} of {of}", entry.name),
                })
            })
        };
        let widest = entries.iter().flat_map(|entry| &entry.pieces).map(|piece| piece.along).fold(COLUMN, f32::max);
        let mut column = widest.min(room);
        while column < room && names().any(|name| lettering.broken(&name, NAME, column * POINT).len() > 2) {
            column = (column + 5.0).min(room);
        }
        let mut columns = 1;
        while times(columns + 1, column + GUTTER) <= room + GUTTER {
            columns += 1;
        }

        let mut rows: Vec<Vec<Cell<'s>>> = Vec::new();
        let mut names = names();
        for cable in entries.chunk_by(|a, b| a.cable == b.cable) {
            let mut cells = Vec::new();
            for entry in cable {
                let own: Vec<&str> =
                    entry.about.iter().filter(|line| !shared.contains(line)).map(String::as_str).collect();
                for (nth, piece) in entry.pieces.iter().enumerate() {
                    let name = names.next().unwrap_or_default();
                    let about = if nth == 0 { own.join(" · ") } else { String::new() };
                    let name = lettering.broken(&name, NAME, column * POINT);
                    let about = lettering.broken(&about, TEXT, column * POINT);
                    let beside = match (&name[..], &about[..]) {
                        ([name], [about]) => Some(lettering.width(name, NAME) / POINT + 2.5)
                            .filter(|x| x + lettering.width(about, TEXT) / POINT <= column),
                        _ => None,
                    };
                    cells.push(Cell { piece, name, about, beside });
                }
            }
            // A cable's labels stand in one row, if a row can hold them.
            let left = rows.last().map_or(0, |row| columns - row.len());
            let mut fresh = left == 0 || (cells.len() > left && (cells.len() <= columns || left < columns));
            for cell in cells {
                match rows.last_mut() {
                    Some(row) if !fresh && row.len() < columns => row.push(cell),
                    _ => rows.push(vec![cell]),
                }
                fresh = false;
            }
        }

        let heading = SECTION + NAME_LINE + times(words.len(), LINE) + 1.5;
        for (nth, row) in rows.into_iter().enumerate() {
            let above = row.iter().map(Cell::words_height).fold(0.0, f32::max);
            let high = above + row.iter().map(|cell| cell.piece.tape).fold(0.0, f32::max);
            let wanted = high + if nth == 0 { heading } else { 0.0 };
            let turned = self.at + wanted > self.bottom && self.at > HEAD;
            if turned {
                self.pages.push(Page::default());
                self.at = HEAD - SECTION;
            }
            if nth == 0 || turned {
                let goes_on = if nth == 0 { "" } else { ", goes on" };
                self.at += SECTION;
                self.write(vec![format!("{}{goes_on}", first.stock.1)], EDGE, NAME);
                self.write(words.clone(), EDGE, TEXT);
                self.at += 1.5;
            }
            let top = self.at;
            for (nth, cell) in row.into_iter().enumerate() {
                let x = EDGE + times(nth, column + GUTTER);
                // Words stand on the label: those with fewer lines begin lower.
                self.at = top + above - cell.words_height();
                self.write(cell.name, x, NAME);
                if let Some(beside) = cell.beside {
                    // On the baseline of the name.
                    self.at -= LINE * 0.78 + NAME_LINE * 0.22;
                    self.write(cell.about, x + beside, TEXT);
                } else {
                    self.write(cell.about, x, TEXT);
                }
                if let Some(page) = self.pages.last_mut() {
                    page.pieces.push((cell.piece, x, top + above));
                }
            }
            self.at = top + high + BETWEEN;
        }
    }
}

fn black() -> Fill {
    Fill { paint: luma::Color::new(0).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

/// A filled box, millimetres from the page's upper left corner.
pub(super) fn fill(surface: &mut Surface<'_>, x: f32, y: f32, width: f32, height: f32) -> Result<()> {
    let mut path = PathBuilder::new();
    path.push_rect(
        Rect::from_xywh(x * POINT, y * POINT, width * POINT, height * POINT)
            .ok_or_else(|| Error::bug("PDF: an empty box"))?,
    );
    surface.set_stroke(None);
    surface.set_fill(Some(black()));
    surface.draw_path(&path.finish().ok_or_else(|| Error::bug("PDF: an empty path"))?);
    Ok(())
}

fn draw_piece(surface: &mut Surface<'_>, piece: &Piece, x: f32, y: f32) -> Result<()> {
    if !piece.ink.is_empty() {
        #[allow(clippy::cast_precision_loss, reason = "dots of a label")]
        let place = |(line, dot): Corner| {
            let along = line as f32 * piece.along / piece.grid.0 as f32;
            let up = dot as f32 * piece.zone / piece.grid.1 as f32;
            ((x + along) * POINT, (y + piece.zone_top + piece.zone - up) * POINT)
        };
        let mut path = PathBuilder::new();
        for polygon in &piece.ink {
            for (nth, &corner) in polygon.iter().enumerate() {
                let (x, y) = place(corner);
                if nth == 0 {
                    path.move_to(x, y);
                } else {
                    path.line_to(x, y);
                }
            }
            path.close();
        }
        surface.set_stroke(None);
        surface.set_fill(Some(Fill { rule: FillRule::EvenOdd, ..black() }));
        surface.draw_path(&path.finish().ok_or_else(|| Error::bug("PDF: an empty label"))?);
    }
    // The tape's outline lies outside it: its inner edges are the tape's. A label that goes on
    // elsewhere has no edge there, but short marks.
    let line = 0.15;
    let [left, right, upper, lower] = piece.open;
    for (side, open) in [(x - line, left), (x + piece.along, right)] {
        if open {
            fill(surface, side, y, line, 1.0)?;
            fill(surface, side, y + piece.tape - 1.0, line, 1.0)?;
        } else {
            fill(surface, side, y, line, piece.tape)?;
        }
    }
    for (side, open) in [(y - line, upper), (y + piece.tape, lower)] {
        if open {
            fill(surface, x - line, side, 1.0, line)?;
            fill(surface, x + piece.along + line - 1.0, side, 1.0, line)?;
        } else {
            fill(surface, x - line, side, piece.along + 2.0 * line, line)?;
        }
    }
    Ok(())
}

/// A bar of exactly 100 mm with a tick each 10 mm.
pub(super) fn scale_bar(surface: &mut Surface<'_>, lettering: &Lettering<'_>, y: f32) -> Result<()> {
    fill(surface, EDGE, y, BAR, 0.5)?;
    for tick in 0..=10_u8 {
        let at = EDGE + f32::from(tick) * 10.0;
        // Ticks lie inside the bar, so that its ends are its length.
        let left = if tick == 10 {
            at - 0.2
        } else if tick == 0 {
            at
        } else {
            at - 0.1
        };
        fill(surface, left, y - 2.0, 0.2, 2.0)?;
    }
    surface.set_fill(Some(black()));
    let words = "100 mm: check with a ruler; print at 100 %, do not fit to page";
    lettering.write(surface, words, (EDGE + BAR + 3.0) * POINT, (y + 0.5) * POINT, TEXT)?;
    Ok(())
}
#[cfg(test)]
mod tests;
