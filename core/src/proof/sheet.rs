//! All labels at true size on paper, with a bar to hold a ruler against.

use super::lettering::Lettering;
use super::outline::{Corner, outlines};
use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::media::{Form, Printer, Stock};
use crate::unit::{Dots, Micrometres};
use krilla::color::luma;
use krilla::geom::{PathBuilder, Rect};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;
use krilla::{Document, SerializeSettings};

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
    const fn size(self) -> (f32, f32) {
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
    /// Which cable and end; build and reading; notes.
    pub caption: Vec<String>,
}

/// A piece of a label that fits the page's width, ready to be drawn.
struct Piece {
    caption: Vec<String>,
    /// The ink, in corners of dots.
    ink: Vec<Vec<Corner>>,
    /// Lines and dots of the piece.
    grid: (usize, usize),
    /// Tape and zone in millimetres: width of the piece, width of the tape, zone from the tape's
    /// upper edge, width of the zone.
    along: f32,
    tape: f32,
    zone_top: f32,
    zone: f32,
    cut_left: bool,
    cut_right: bool,
}

/// Labels gathered; [`Sheet::finish`] sets them on pages.
pub struct Sheet {
    paper: Paper,
    title: String,
    pieces: Vec<Piece>,
    sleeves: bool,
}

/// Points in a millimetre.
const POINT: f32 = 72.0 / 25.4;
/// Blank around the page, millimetres.
const EDGE: f32 = 14.0;
/// Height of the page's head and foot, millimetres.
const HEAD: f32 = 24.0;
const FOOT: f32 = 22.0;
/// Caption size in points, and the height of its lines in millimetres.
const TEXT: f32 = 8.0;
const LINE: f32 = 3.6;
/// Length of the bar, millimetres.
const BAR: f32 = 100.0;

const IDENTITY_NOTE: &str = "A label names a cable. It does not say that the cable is safe, tested or switched off.";
const CAUTIONS: [&str; 5] = [
    "Before you sleeve: unplug both ends and check that the cable is dead. Local codes come first; licensed work stays with licensed people.",
    "Slide the sleeve on before the plug, and check which way the text reads.",
    "Heat only until the sleeve is snug; keep the gun moving; stop if the jacket shines or smells. Coax and foam soften near that heat: short bursts, let it cool before bending.",
    "A hot nozzle and a hot sleeve burn skin: gloves, a stand for the gun, nothing flammable near.",
    "Work with fresh air; never use a flame.",
];

#[allow(clippy::cast_possible_truncation, reason = "millimetres on paper")]
fn mm(length: Micrometres) -> f32 {
    length.mm() as f32
}

impl Sheet {
    /// An empty sheet.
    pub fn new(paper: Paper, title: &str) -> Self {
        Self { paper, title: title.to_owned(), pieces: Vec::new(), sleeves: false }
    }

    /// Adds a label after those before it.
    pub fn add(&mut self, label: &SheetLabel<'_>) {
        let (printer, stock) = (label.printer, label.stock);
        self.sleeves |= matches!(stock.form, Form::Sleeve(_));
        let room = self.paper.size().0 - 2.0 * EDGE;
        let room =
            usize::try_from(printer.along.dots_within(Micrometres::from_mm(f64::from(room))).0).unwrap_or(1).max(1);
        let lines = label.bitmap.lines();
        let zone = label.bitmap.size().0;
        let first = printer.zone(stock).map_or(Dots::ZERO, |(first, _)| first) - printer.stock_edge(stock);
        let (tape, across) = (stock.width, |dots| printer.across.length(dots));
        for start in (0..lines).step_by(room) {
            let end = (start + room).min(lines);
            self.pieces.push(Piece {
                caption: if start == 0 { label.caption.clone() } else { Vec::new() },
                ink: outlines(label.bitmap, start..end),
                grid: (end - start, label.bitmap.dots()),
                along: mm(printer.along.length(Dots(i64::try_from(end - start).unwrap_or(0)))),
                tape: mm(tape),
                zone_top: mm(tape - across(first + zone)),
                zone: mm(across(zone)),
                cut_left: start > 0,
                cut_right: end < lines,
            });
        }
    }

    /// Sets everything on pages and writes the PDF. The same labels give the same bytes.
    ///
    /// # Errors
    /// Kind `Bug`: the PDF library refuses what was drawn.
    pub fn finish(self) -> Result<Vec<u8>> {
        let lettering = Lettering::new()?;
        let (width, height) = self.paper.size();
        let room = (width - 2.0 * EDGE) * POINT;
        let mut cautions: Vec<String> = lettering.broken(IDENTITY_NOTE, TEXT, room);
        if self.sleeves {
            for text in CAUTIONS {
                cautions.extend(lettering.broken(text, TEXT, room));
            }
        }
        #[allow(clippy::cast_precision_loss, reason = "a few lines")]
        let lines = |count: usize| count as f32 * LINE;
        let first_top = HEAD + lines(cautions.len()) + 3.0;
        // Where each piece goes: page, and millimetres from the top.
        let captions: Vec<Vec<String>> = self
            .pieces
            .iter()
            .map(|piece| piece.caption.iter().flat_map(|line| lettering.broken(line, TEXT, room)).collect())
            .collect();
        let mut pages: Vec<Vec<(usize, f32)>> = vec![Vec::new()];
        let mut at = first_top;
        for (index, piece) in self.pieces.iter().enumerate() {
            let tall = lines(captions[index].len()) + piece.tape + 5.0;
            if at + tall > height - FOOT && pages.last().is_some_and(|page| !page.is_empty()) {
                pages.push(Vec::new());
                at = HEAD;
            }
            if let Some(page) = pages.last_mut() {
                page.push((index, at));
            }
            at += tall;
        }
        let mut document = Document::new_with(SerializeSettings::default());
        let count = pages.len();
        let bug = |what: &str| Error::bug(format!("PDF: {what}"));
        for (number, page) in pages.iter().enumerate() {
            let settings = PageSettings::from_wh(width * POINT, height * POINT).ok_or_else(|| bug("page size"))?;
            let mut sheet = document.start_page_with(settings);
            let mut surface = sheet.surface();
            surface.set_fill(Some(black()));
            let title = format!("{} · labels at true size", self.title);
            lettering.write(&mut surface, &title, EDGE * POINT, 15.0 * POINT, 12.0);
            let of = format!("page {} of {count}", number + 1);
            let left = (width - EDGE) * POINT - lettering.width(&of, 10.0);
            lettering.write(&mut surface, &of, left, 15.0 * POINT, 10.0);
            if number == 0 {
                for (nth, line) in cautions.iter().enumerate() {
                    lettering.write(&mut surface, line, EDGE * POINT, (21.0 + lines(nth)) * POINT, TEXT);
                }
            }
            for &(index, top) in page {
                for (nth, line) in captions[index].iter().enumerate() {
                    lettering.write(&mut surface, line, EDGE * POINT, (top + 2.8 + lines(nth)) * POINT, TEXT);
                }
                draw_piece(&mut surface, &self.pieces[index], EDGE, top + lines(captions[index].len()) + 0.6)?;
            }
            scale_bar(&mut surface, &lettering, height - 15.0)?;
            surface.finish();
            sheet.finish();
        }
        document.finish().map_err(|error| bug(&format!("{error:?}")))
    }
}

fn black() -> Fill {
    Fill { paint: luma::Color::new(0).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

/// A filled box, millimetres from the page's upper left corner.
fn fill(surface: &mut Surface<'_>, x: f32, y: f32, width: f32, height: f32) -> Result<()> {
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
    // The tape's outline lies outside it: its inner edges are the tape's.
    let line = 0.15;
    fill(surface, x - line, y - line, piece.along + 2.0 * line, line)?;
    fill(surface, x - line, y + piece.tape, piece.along + 2.0 * line, line)?;
    for (side, open) in [(x - line, piece.cut_left), (x + piece.along, piece.cut_right)] {
        if open {
            // A label that goes on in the next row has no edge here, but short marks.
            fill(surface, side, y, line, 1.0)?;
            fill(surface, side, y + piece.tape - 1.0, line, 1.0)?;
        } else {
            fill(surface, side, y, line, piece.tape)?;
        }
    }
    Ok(())
}

/// A bar of exactly 100 mm with a tick each 10 mm.
fn scale_bar(surface: &mut Surface<'_>, lettering: &Lettering, y: f32) -> Result<()> {
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
    lettering.write(surface, words, (EDGE + BAR + 3.0) * POINT, (y + 0.5) * POINT, TEXT);
    let words = "Each label is drawn on its tape, near end then far end of each cable, in the order of the strips.";
    lettering.write(surface, words, EDGE * POINT, (y + 5.0) * POINT, TEXT);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::Catalogue;

    fn sheet(labels: usize, lines: usize) -> Vec<u8> {
        let catalogue = Catalogue::shipped();
        let mut bitmap = Bitmap::new(70, lines);
        bitmap.fill(10, lines - 20, 10, 50);
        let mut sheet = Sheet::new(Paper::A4, "Tidewater Playhouse");
        for _ in 0..labels {
            let label = SheetLabel {
                printer: catalogue.printer("bench-180").unwrap(),
                stock: catalogue.stock("tape-12").unwrap(),
                bitmap: &bitmap,
                caption: vec!["row 2 · OTTER 1040 · near end".into(), "flag, good to 0.6 m at 20′".into()],
            };
            sheet.add(&label);
        }
        sheet.finish().unwrap()
    }

    #[test]
    fn pages_are_as_many_as_labels_need_and_bytes_are_the_same() {
        let one = sheet(1, 500);
        assert!(one.starts_with(b"%PDF-"));
        assert_eq!(one, sheet(1, 500));
        let pages = |pdf: &[u8]| {
            let text = String::from_utf8_lossy(pdf).into_owned();
            let count = text
                .split("/Count ")
                .nth(1)
                .and_then(|rest| rest.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok());
            count.unwrap_or(0)
        };
        assert_eq!(pages(&one), 1);
        assert_eq!(pages(&sheet(30, 500)), 3);
        assert_eq!(pages(&sheet(31, 500)), 4);
    }

    #[test]
    fn a_label_longer_than_the_page_goes_on_in_the_next_row() {
        let catalogue = Catalogue::shipped();
        let mut sheet = Sheet::new(Paper::Letter, "x");
        let bitmap = Bitmap::new(70, 3000);
        let label = SheetLabel {
            printer: catalogue.printer("bench-180").unwrap(),
            stock: catalogue.stock("tape-12").unwrap(),
            bitmap: &bitmap,
            caption: vec!["long".into()],
        };
        sheet.add(&label);
        assert_eq!(sheet.pieces.len(), 3);
        let total: usize = sheet.pieces.iter().map(|piece| piece.grid.0).sum();
        assert_eq!(total, 3000);
        assert!(sheet.pieces[1].cut_left && sheet.pieces[1].cut_right && !sheet.pieces[2].cut_right);
    }
}
