//! A strip as a picture: true dots on the tape; cuts, waste and a ruler beside it, never on it.

use super::canvas::{BLACK, Canvas, GREY, TAPE};
use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::Fonts;
use crate::media::{Printer, Stock};
use crate::raster::snip_guide;
use crate::strip::{Cut, Strip};
use crate::unit::{Dots, Dpi, Micrometres};
use std::ops::Range;

/// A label on a strip.
pub struct PictureLabel {
    /// As sent to the head: the printable zone, mirrored where the stock is.
    pub bitmap: Bitmap,
    /// Which cable, which end.
    pub caption: String,
}

/// A strip as it leaves the printer.
pub struct StripPicture<'a> {
    /// What it is, in one line.
    pub title: String,
    /// The printer.
    pub printer: &'a Printer,
    /// The stock.
    pub stock: &'a Stock,
    /// Positions, cuts and waste.
    pub strip: &'a Strip,
    /// One for each start of the strip.
    pub labels: Vec<PictureLabel>,
}

/// Longest piece of a strip in one row of the picture.
const ROW: Micrometres = Micrometres(180_000);
/// Pixels around everything.
const EDGE: usize = 40;
/// Cap height of captions, in pixels.
const CAP: usize = 16;
/// Of the title.
const TITLE_CAP: usize = 22;
/// From the tape to the marks below it, and their heights.
const TICKS: usize = 26;
const BARS: usize = 22;
const RULER: usize = 46;
/// Between two rows.
const BETWEEN: usize = 34;

/// Kinds of waste drawn as bars: name, and how its bar is filled.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Waste {
    Lead,
    Gap,
    Trail,
    Pad,
}

impl Waste {
    const fn name(self) -> &'static str {
        match self {
            Self::Lead => "lead",
            Self::Gap => "gap",
            Self::Trail => "trail",
            Self::Pad => "pad",
        }
    }

    /// Whether column `x` of row `y` of its bar is dark: told apart without colour.
    const fn dark(self, x: usize, y: usize) -> bool {
        match self {
            Self::Lead => (x + y) % 8 < 3,
            Self::Gap => true,
            Self::Trail => x % 6 < 2,
            Self::Pad => y % 6 < 2,
        }
    }
}

fn dots(length: Dots) -> usize {
    usize::try_from(length.0).unwrap_or(0)
}

/// Pixels a line and a dot take, whole numbers, so that dots stay true and lengths in proportion.
fn scale(printer: &Printer) -> (usize, usize) {
    let ratio = |a: Dpi, b: Dpi| ((2 * a.milli() + b.milli() / 2) / b.milli()).max(2) as usize;
    if printer.along >= printer.across {
        (2, ratio(printer.along, printer.across))
    } else {
        (ratio(printer.across, printer.along), 2)
    }
}

fn per_metre(dpi: Dpi, pixels: usize) -> u32 {
    let scaled = u64::from(dpi.milli()) * pixels as u64;
    u32::try_from((scaled * 10 + 127) / 254).unwrap_or(u32::MAX)
}

/// Height of the head of a picture.
const fn head(stock: &Stock) -> usize {
    EDGE + TITLE_CAP * 2 + if stock.mirrored { CAP * 3 } else { CAP }
}

/// Where the strip goes on in the next row: in the middle of gaps, or anywhere in a label that is too long.
fn rows(picture: &StripPicture<'_>, ends: &[Dots]) -> Vec<Range<usize>> {
    let longest = dots(picture.printer.along.dots_within(ROW)).max(1);
    let length = dots(picture.strip.length);
    let starts = &picture.strip.starts;
    let gaps: Vec<usize> =
        ends.iter().zip(starts.iter().skip(1)).map(|(&end, &start)| dots(Dots((end.0 + start.0) / 2))).collect();
    let mut rows = Vec::new();
    let mut at = 0;
    while at < length {
        let most = at + longest;
        let end = if most >= length {
            length
        } else {
            gaps.iter().copied().filter(|&gap| gap > at && gap <= most).max().unwrap_or(most)
        };
        rows.push(at..end);
        at = end;
    }
    rows
}

/// Every stretch of waste of the strip.
fn wastes(strip: &Strip, ends: &[Dots]) -> Vec<(Waste, Range<usize>)> {
    let mut wastes = vec![(Waste::Lead, 0..dots(strip.ledger.lead))];
    let gaps = i64::try_from(ends.len()).unwrap_or(1) - 1;
    let gap = if gaps > 0 { Dots(strip.ledger.gap.0 / gaps) } else { Dots::ZERO };
    let mut after = |from: Dots, to: Dots, kind: Waste, own: Dots| {
        // What is longer than its own share is pad, right after the label.
        let pad = (to - from - own).max(Dots::ZERO);
        wastes.push((Waste::Pad, dots(from)..dots(from + pad)));
        wastes.push((kind, dots(from + pad)..dots(to)));
    };
    for (&end, &start) in ends.iter().zip(strip.starts.iter().skip(1)) {
        after(end, start, Waste::Gap, gap);
    }
    if let Some(&end) = ends.last() {
        after(end, strip.length, Waste::Trail, strip.ledger.trail);
    }
    wastes.retain(|(_, range)| !range.is_empty());
    wastes
}

/// Draws a strip as PNG, at whole pixels a dot and with its pixel density, so that it prints true.
///
/// # Errors
/// Kind `Limit`: too large a picture.
pub fn strip_png(picture: &StripPicture<'_>) -> Result<Vec<u8>> {
    let (printer, strip) = (picture.printer, picture.strip);
    let ends: Vec<Dots> =
        strip.starts.iter().zip(&picture.labels).map(|(&start, label)| start + label.bitmap.size().1).collect();
    if ends.len() != strip.starts.len() {
        return Err(Error::bug(format!(
            "{} labels for {} places on a strip",
            picture.labels.len(),
            strip.starts.len()
        )));
    }
    let fonts = Fonts::embedded();
    let scale = scale(printer);
    let rows = rows(picture, &ends);
    let tape = dots(printer.across.dots_nearest(picture.stock.width)) * scale.1;
    let row_height = CAP * 2 + tape + TICKS + BARS + RULER + BETWEEN;
    let widest = rows.iter().map(ExactSizeIterator::len).max().unwrap_or(0) * scale.0;
    let head = head(picture.stock);
    let width = EDGE * 2 + widest.max(1400);
    let mut canvas = Canvas::new(width, head + row_height * rows.len() + CAP * 2 + EDGE, &fonts);
    canvas.text(&picture.title, (EDGE, EDGE + TITLE_CAP), TITLE_CAP, width - EDGE * 2);
    if picture.stock.mirrored {
        let note = "mirrored print: shown as it is printed, it reads right from the other side";
        canvas.text(note, (EDGE, EDGE + TITLE_CAP * 2 + CAP), CAP, width - EDGE * 2);
    }
    let wastes = wastes(strip, &ends);
    for (nth, row) in rows.iter().enumerate() {
        let frame = Frame { row, x: EDGE, y: head + nth * row_height, scale, tape };
        frame.draw(&mut canvas, picture, &ends, &wastes, nth + 1 == rows.len());
    }
    legend(&mut canvas, head + row_height * rows.len() + CAP, picture);
    canvas.png((per_metre(printer.along, scale.0), per_metre(printer.across, scale.1)))
}

/// One row of the picture: a stretch of the strip, and where it stands.
struct Frame<'r> {
    row: &'r Range<usize>,
    x: usize,
    y: usize,
    scale: (usize, usize),
    tape: usize,
}

impl Frame<'_> {
    /// The pixel column of a line, if the row shows it; the end of the row counts.
    fn column(&self, line: usize) -> Option<usize> {
        (self.row.start..=self.row.end).contains(&line).then(|| self.x + (line - self.row.start) * self.scale.0)
    }

    /// The part of a stretch the row shows, as pixel columns.
    fn columns(&self, stretch: &Range<usize>) -> Option<Range<usize>> {
        let (start, end) = (stretch.start.max(self.row.start), stretch.end.min(self.row.end));
        (start < end)
            .then(|| self.x + (start - self.row.start) * self.scale.0..self.x + (end - self.row.start) * self.scale.0)
    }

    fn draw(
        &self,
        canvas: &mut Canvas<'_>,
        picture: &StripPicture<'_>,
        ends: &[Dots],
        wastes: &[(Waste, Range<usize>)],
        last: bool,
    ) {
        let (strip, printer) = (picture.strip, picture.printer);
        let top = self.y + CAP * 2;
        canvas.fill(self.x, top, self.row.len() * self.scale.0, self.tape, TAPE);
        // From the tape's upper edge down to the upper edge of the zone.
        let zone_dots = picture.labels.first().map_or(0, |label| label.bitmap.dots());
        let edge = printer.stock_edge(picture.stock).0;
        let first = printer.zone(picture.stock).map_or(0, |(first, _)| first.0 - edge);
        let below = usize::try_from(first).unwrap_or(0) * self.scale.1;
        let zone_top = top + self.tape.saturating_sub(below + zone_dots * self.scale.1);
        for ((label, &start), &end) in picture.labels.iter().zip(&strip.starts).zip(ends) {
            let (start, end) = (dots(start), dots(end));
            let Some(columns) = self.columns(&(start..end)) else { continue };
            let shown = start.max(self.row.start) - start..end.min(self.row.end) - start;
            canvas.dots(&label.bitmap, shown, (columns.start, zone_top), self.scale);
            canvas.text(&label.caption, (columns.start, self.y + CAP + CAP / 4), CAP, columns.len());
        }
        for &guide in &strip.guides {
            if self.row.contains(&dots(guide))
                && let Some(x) = self.column(dots(guide))
            {
                canvas.dots(&snip_guide(zone_dots), 0..1, (x, zone_top), self.scale);
            }
        }
        self.marks(canvas, strip, wastes, top + self.tape);
        self.ruler(canvas, printer.along, top + self.tape + TICKS + BARS);
        if !last {
            canvas.text(
                "continues below",
                (self.x + self.row.len() * self.scale.0 - 190, self.y + CAP + CAP / 4),
                CAP - 4,
                190,
            );
        }
    }

    fn marks(&self, canvas: &mut Canvas<'_>, strip: &Strip, wastes: &[(Waste, Range<usize>)], y: usize) {
        for &(at, cut) in &strip.cuts {
            let Some(x) = self.column(dots(at)) else { continue };
            if self.row.start == dots(at) && self.row.start > 0 {
                continue;
            }
            match cut {
                Cut::Full => canvas.fill(x.saturating_sub(2), y + 3, 4, TICKS - 6, BLACK),
                Cut::Half => {
                    for dash in 0..3 {
                        canvas.fill(x.saturating_sub(1), y + 3 + dash * 7, 2, 4, BLACK);
                    }
                }
            }
        }
        for (kind, stretch) in wastes {
            let Some(columns) = self.columns(stretch) else { continue };
            bar(canvas, *kind, &columns, y + TICKS);
            let (name, room) = (kind.name(), columns.len().saturating_sub(12));
            if canvas.width_of(name, CAP - 4) <= room {
                let wide = canvas.width_of(name, CAP - 4);
                canvas.fill(columns.start + 4, y + TICKS, wide + 4, BARS - 6, TAPE);
                canvas.text(name, (columns.start + 6, y + TICKS + BARS - 8), CAP - 4, room);
            }
        }
    }

    fn ruler(&self, canvas: &mut Canvas<'_>, along: Dpi, y: usize) {
        let mut mm = 0;
        loop {
            let line = dots(along.dots_nearest(Micrometres(mm * 1000)));
            if line > self.row.end {
                break;
            }
            if let Some(x) = self.column(line) {
                let tick = if mm % 10 == 0 {
                    14
                } else if mm % 5 == 0 {
                    10
                } else {
                    6
                };
                canvas.fill(x, y, 1, tick, BLACK);
                if mm % 10 == 0 {
                    canvas.text(&mm.to_string(), (x + 3, y + 28), CAP - 4, 80);
                }
            }
            mm += 1;
        }
    }
}

fn bar(canvas: &mut Canvas<'_>, kind: Waste, columns: &Range<usize>, y: usize) {
    for dy in 0..BARS - 6 {
        for x in columns.clone().filter(|&x| kind.dark(x, dy)) {
            canvas.fill(x, y + dy, 1, 1, GREY);
        }
    }
}

/// What the marks mean, in one line.
fn legend(canvas: &mut Canvas<'_>, y: usize, picture: &StripPicture<'_>) {
    let mut x = EDGE;
    let strip = picture.strip;
    let has = |cut| strip.cuts.iter().any(|&(_, kind)| kind == cut);
    let word = |canvas: &mut Canvas<'_>, x: &mut usize, text: &str| {
        *x += canvas.text(text, (*x, y + CAP), CAP - 2, 900) + 28;
    };
    if has(Cut::Half) {
        for dash in 0..3 {
            canvas.fill(x, y + dash * 7, 2, 4, BLACK);
        }
        x += 10;
        word(canvas, &mut x, "half cut");
    }
    if has(Cut::Full) {
        canvas.fill(x, y, 4, 20, BLACK);
        x += 12;
        word(canvas, &mut x, "full cut");
    }
    if !strip.guides.is_empty() {
        word(canvas, &mut x, "dashed line on the tape: cut here by hand");
    }
    for (kind, length) in [
        (Waste::Lead, strip.ledger.lead),
        (Waste::Gap, strip.ledger.gap),
        (Waste::Trail, strip.ledger.trail),
        (Waste::Pad, strip.ledger.pad),
    ] {
        if length > Dots::ZERO {
            bar(canvas, kind, &(x..x + 40), y);
            x += 48;
            word(canvas, &mut x, &format!("{} {:.1} mm", kind.name(), picture.printer.along.length(length).mm()));
        }
    }
    word(canvas, &mut x, "ruler in mm");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::Catalogue;
    use crate::strip::{Between, Rules};

    fn picture_of(printer: &str, between: Option<Between>, check: impl Fn(&StripPicture<'_>, &[u8])) {
        let catalogue = Catalogue::shipped();
        let (printer, stock) = (catalogue.printer(printer).unwrap(), catalogue.stock("tape-12").unwrap());
        let rules = Rules::new(printer, stock, between);
        let (_, zone) = printer.zone(stock).unwrap();
        let mut bitmap = Bitmap::new(dots(zone), 500);
        for line in (0..500).step_by(3) {
            bitmap.set(line, line % dots(zone));
        }
        let strip = Strip::new(&rules, &[Dots(500); 5]);
        let label = || PictureLabel { bitmap: bitmap.clone(), caption: "OTTER 1040 near".into() };
        let picture = StripPicture {
            title: "strip 1 of 1".into(),
            printer,
            stock,
            strip: &strip,
            labels: (0..5).map(|_| label()).collect(),
        };
        check(&picture, &strip_png(&picture).unwrap());
    }

    fn decode(bytes: &[u8]) -> (Vec<u8>, usize, png::Info<'static>) {
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        let info = reader.info().clone();
        (pixels, info.width as usize, info)
    }

    #[test]
    fn dots_are_true_and_nothing_else_is_on_the_tape() {
        for (printer, between) in
            [("bench-180", None), ("fine-360", None), ("field-203", None), ("bench-180", Some(Between::Full))]
        {
            picture_of(printer, between, |picture, bytes| {
                let (pixels, width, _) = decode(bytes);
                let (scale, tape) =
                    (scale(picture.printer), dots(picture.printer.across.dots_nearest(picture.stock.width)));
                let ends: Vec<Dots> = picture.strip.starts.iter().map(|&start| start + Dots(500)).collect();
                let rows = rows(picture, &ends);
                let row_height = CAP * 2 + tape * scale.1 + TICKS + BARS + RULER + BETWEEN;
                let mut ink = 0;
                for (nth, row) in rows.iter().enumerate() {
                    let top = head(picture.stock) + nth * row_height + CAP * 2;
                    for y in top..top + tape * scale.1 {
                        for x in EDGE..EDGE + row.len() * scale.0 {
                            match pixels[y * width + x] {
                                BLACK => ink += 1,
                                TAPE => {}
                                other => panic!("{other} on the tape at {x}, {y}"),
                            }
                        }
                    }
                }
                let zone = picture.labels[0].bitmap.dots();
                let wanted = picture.labels.iter().map(|label| label.bitmap.ink()).sum::<u64>()
                    + picture.strip.guides.len() as u64 * snip_guide(zone).ink();
                assert_eq!(ink, wanted * (scale.0 * scale.1) as u64, "{}", picture.printer.id);
            });
        }
    }

    #[test]
    fn the_density_makes_it_true_size() {
        picture_of("bench-180", None, |picture, bytes| {
            let (_, width, info) = decode(bytes);
            let dims = info.pixel_dims.unwrap();
            // 180 dpi at two pixels a dot: 360 / 0.0254.
            assert_eq!((dims.xppu, dims.yppu), (14_173, 14_173));
            assert!(width < 4000, "a row stays looked at: {width}");
            assert_eq!(picture.strip.starts.len(), 5);
        });
        picture_of("fine-360", None, |_, bytes| {
            let dims = decode(bytes).2.pixel_dims.unwrap();
            assert_eq!((dims.xppu, dims.yppu), (28_346, 28_346));
        });
    }
}
