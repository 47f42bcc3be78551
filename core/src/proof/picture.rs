//! A strip as a picture: true dots on the tape; names, cuts, waste and a ruler beside it, never on it.

use super::canvas::{BLACK, Canvas, TAPE, broken, width_of};
use super::caption::{Captions, Part, captions};
use super::legend::{self, Mark};
use super::stretch::{Waste, lines, rows, wastes};
use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::Fonts;
use crate::mark::snip_guide;
use crate::media::{Printer, Stock};
use crate::strip::Strip;
use crate::unit::{Dots, Dpi, Micrometres};
use std::fmt::Write as _;
use std::ops::Range;

/// A label on a strip.
pub struct PictureLabel {
    /// As sent to the head: the printable zone, mirrored where the stock is.
    pub bitmap: Bitmap,
    /// Which cable, which end.
    pub caption: String,
    /// How well it can be read, in words; stands under the strip, once for labels alike.
    pub legibility: String,
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
/// Least room for words.
const LEAST: Micrometres = Micrometres(100_000);

const MIRRORED: &str = "Mirrored print: shown as it is printed, it reads right from the other side.";

/// Sizes off the tape in pixels, so that at any density they print alike.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sizes {
    /// Blank around everything.
    edge: usize,
    /// Cap heights: of captions, of the title, of the ruler's numbers.
    pub(super) cap: usize,
    title: usize,
    small: usize,
    /// Between words and their neighbours.
    pub(super) gap: usize,
    /// Cuts: how far they reach out above and below the tape, and how thick they are.
    notch: usize,
    cuts: usize,
    pub(super) thin: usize,
    pub(super) thick: usize,
    /// Bars of waste: height, and period of their pattern.
    pub(super) bar: usize,
    pub(super) pattern: usize,
    /// The longest tick of the ruler.
    tick: usize,
    /// Arrows; and the width of a mark in the legend.
    pub(super) arrow: usize,
    pub(super) mark: usize,
    /// Between two rows.
    between: usize,
}

impl Sizes {
    /// Sizes for a density in pixels a metre.
    fn new(density: u32) -> Self {
        let micrometres =
            |length: u64| usize::try_from((u64::from(density) * length + 500_000) / 1_000_000).unwrap_or(1).max(1);
        Self {
            edge: micrometres(4000),
            cap: micrometres(1900),
            title: micrometres(2700),
            small: micrometres(1500),
            gap: micrometres(900),
            notch: micrometres(1100),
            cuts: micrometres(2000),
            thin: micrometres(210),
            thick: micrometres(420),
            bar: micrometres(1100),
            pattern: micrometres(560).max(3),
            tick: micrometres(1200),
            arrow: micrometres(1600) | 1,
            mark: micrometres(3000),
            between: micrometres(3000),
        }
    }

    /// From one baseline to the next.
    const fn line(cap: usize) -> usize {
        cap * 17 / 10
    }

    /// Height of a row below the tape.
    const fn below(&self) -> usize {
        self.cuts + self.bar + self.gap / 2 + self.tick + self.small * 2
    }
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

/// What the strip is and where its tape goes, in words.
fn head(picture: &StripPicture<'_>) -> Vec<String> {
    let (strip, along) = (picture.strip, picture.printer.along);
    let mm = |length: Dots| format!("{:.1}", along.length(length).mm());
    let count = strip.starts.len();
    let mut sum = format!(
        "{count} {} on {} mm of tape: labels {}",
        if count == 1 { "label" } else { "labels" },
        mm(strip.length),
        mm(strip.ledger.label)
    );
    for kind in Waste::ALL.into_iter().filter(|kind| kind.of(strip) > Dots::ZERO) {
        let _ = write!(sum, ", {} {}", kind.name(), mm(kind.of(strip)));
    }
    let mut head = vec![sum];
    if picture.stock.mirrored {
        head.push(MIRRORED.to_owned());
    }
    head
}

/// How well labels can be read: those alike one after another together.
fn legible(labels: &[PictureLabel]) -> Vec<String> {
    let groups: Vec<&[PictureLabel]> = labels.chunk_by(|a, b| a.legibility == b.legibility).collect();
    let name = |group: &[PictureLabel]| match group {
        [first, .., last] if groups.len() > 1 => format!("{} to {}: ", first.caption, last.caption),
        [_, ..] if group.len() == labels.len() && labels.len() > 1 => "Every label: ".to_owned(),
        [one, ..] => format!("{}: ", one.caption),
        [] => String::new(),
    };
    let told = groups.iter().filter_map(|group| Some((name(group), &group.first()?.legibility)));
    told.filter(|(_, words)| !words.is_empty()).map(|(name, words)| format!("{name}{words}")).collect()
}

/// Draws a strip as PNG, its words in the job's fonts, at whole pixels a dot and with its pixel density,
/// so that it prints true.
///
/// # Errors
/// Kind `Limit`: too large a picture. Kind `Bug`: not one label for each start of the strip.
pub fn strip_png(picture: &StripPicture<'_>, fonts: &Fonts) -> Result<Vec<u8>> {
    let setting = Setting::new(picture, fonts)?;
    setting.drawn(fonts).png(setting.density)
}

/// One row of the picture: a stretch of the strip, and where its tape stands.
struct Frame {
    row: Range<usize>,
    x: usize,
    /// The upper edge of the tape.
    top: usize,
    scale: usize,
}

impl Frame {
    /// The pixel column of a line, if the row shows it; the end of the row counts.
    fn column(&self, line: usize) -> Option<usize> {
        (self.row.start..=self.row.end).contains(&line).then(|| self.x + (line - self.row.start) * self.scale)
    }

    /// The part of a stretch the row shows, as pixel columns.
    fn columns(&self, stretch: &Range<usize>) -> Option<Range<usize>> {
        let (start, end) = (stretch.start.max(self.row.start), stretch.end.min(self.row.end));
        (start < end)
            .then(|| self.x + (start - self.row.start) * self.scale..self.x + (end - self.row.start) * self.scale)
    }
}

/// Where everything stands before anything is drawn.
struct Setting<'p> {
    picture: &'p StripPicture<'p>,
    density: (u32, u32),
    sizes: Sizes,
    scale: (usize, usize),
    width: usize,
    height: usize,
    /// Words with their cap height and baseline.
    words: Vec<(String, usize, (usize, usize))>,
    frames: Vec<Frame>,
    /// Pixel rows of tape.
    tape: usize,
    /// From the upper edge of the tape to that of the printable zone, in pixels.
    zone: usize,
    marks: Vec<(Mark, &'static str, (usize, usize))>,
    wastes: Vec<(Waste, Range<usize>)>,
}

impl<'p> Setting<'p> {
    fn new(picture: &'p StripPicture<'p>, fonts: &Fonts) -> Result<Self> {
        let (printer, strip) = (picture.printer, picture.strip);
        if picture.labels.len() != strip.starts.len() {
            return Err(Error::bug(format!(
                "{} labels for {} places on a strip",
                picture.labels.len(),
                strip.starts.len()
            )));
        }
        let ends: Vec<Dots> =
            strip.starts.iter().zip(&picture.labels).map(|(&start, label)| start + label.bitmap.size().1).collect();
        let scale = scale(printer);
        let density = (per_metre(printer.along, scale.0), per_metre(printer.across, scale.1));
        let sizes = Sizes::new(density.0.min(density.1));
        let rows = rows(strip, &ends, lines(printer.along.dots_within(ROW)));
        let widest = rows.iter().map(ExactSizeIterator::len).max().unwrap_or(0) * scale.0;
        let least = lines(printer.along.dots_within(LEAST)) * scale.0;
        let room = widest.max(least);
        let width = room + sizes.edge * 2;

        let mut words = Vec::new();
        let mut y = sizes.edge;
        let mut write = |y: &mut usize, text: &str, cap: usize| {
            for line in broken(fonts, text, cap, room) {
                words.push((line, cap, (sizes.edge, *y + cap)));
                *y += Sizes::line(cap);
            }
        };
        write(&mut y, &picture.title, sizes.title);
        for line in head(picture) {
            write(&mut y, &line, sizes.cap);
        }
        y += sizes.gap * 2;

        let mut frames: Vec<Frame> =
            rows.into_iter().map(|row| Frame { row, x: sizes.edge, top: 0, scale: scale.0 }).collect();
        let captions = Self::captions(picture, fonts, &sizes, &frames, &ends, width);
        let above = captions.lines * Sizes::line(sizes.cap) + sizes.gap / 2 + sizes.notch;
        let tape = lines(printer.across.dots_nearest(picture.stock.width)) * scale.1;
        for frame in &mut frames {
            frame.top = y + above;
            y += above + tape + sizes.below() + sizes.between;
        }
        for placed in &captions.placed {
            let base = frames[placed.row].top - sizes.notch - sizes.gap / 2;
            for (nth, line) in placed.lines.iter().rev().enumerate() {
                words.push((line.clone(), sizes.cap, (placed.x, base - nth * Sizes::line(sizes.cap))));
            }
        }
        y = Self::key(fonts, &captions.key, &sizes, (room, y), &mut words);

        for line in legible(&picture.labels).iter().flat_map(|text| broken(fonts, text, sizes.cap, room)) {
            words.push((line, sizes.cap, (sizes.edge, y + sizes.cap)));
            y += Sizes::line(sizes.cap);
        }

        let base = y + sizes.gap + sizes.cap;
        let marks: Vec<_> = legend::set(fonts, legend::marks(strip, frames.len()), &sizes, room)
            .into_iter()
            .map(|(mark, text, x, line)| (mark, text, (sizes.edge + x, base + line * Sizes::line(sizes.cap))))
            .collect();
        let height = marks.last().map_or(y, |&(_, _, (_, base))| base) + sizes.cap / 2 + sizes.edge;

        // The zone's upper edge is counted from the dot-0 side, which lies below.
        let zone_dots = picture.labels.first().map_or(0, |label| label.bitmap.dots());
        let first =
            printer.zone(picture.stock).map_or(Dots::ZERO, |(first, _)| first) - printer.stock_edge(picture.stock);
        let zone = tape.saturating_sub((lines(first) + zone_dots) * scale.1);
        let wastes = wastes(strip, &ends);
        Ok(Self { picture, density, sizes, scale, width, height, words, frames, tape, zone, marks, wastes })
    }

    fn captions(
        picture: &StripPicture<'_>,
        fonts: &Fonts,
        sizes: &Sizes,
        frames: &[Frame],
        ends: &[Dots],
        width: usize,
    ) -> Captions {
        let starts = &picture.strip.starts;
        let mut parts = Vec::new();
        for (row, frame) in frames.iter().enumerate() {
            let first = ends.partition_point(|&end| lines(end) <= frame.row.start);
            for label in first..starts.len() {
                let Some(columns) = frame.columns(&(lines(starts[label])..lines(ends[label]))) else { break };
                parts.push(Part { label, row, columns });
            }
        }
        let texts: Vec<&str> = picture.labels.iter().map(|label| label.caption.as_str()).collect();
        let at = |label: usize| format!("at {:.1} mm", picture.printer.along.length(starts[label]).mm());
        captions(fonts, &parts, &texts, (sizes.cap, sizes.gap, width - sizes.edge / 2), at)
    }

    /// Sets the key in columns from row `y` down; the row below it.
    fn key(
        fonts: &Fonts,
        key: &[String],
        sizes: &Sizes,
        (room, mut y): (usize, usize),
        words: &mut Vec<(String, usize, (usize, usize))>,
    ) -> usize {
        let Some(widest) = key.iter().map(|entry| width_of(fonts, entry, sizes.cap)).max() else { return y };
        let column = (widest + sizes.gap * 3).min(room);
        let columns = (room / column).max(1);
        for entries in key.chunks(columns) {
            let mut deepest = 0;
            for (nth, entry) in entries.iter().enumerate() {
                let entry = broken(fonts, entry, sizes.cap, room);
                for (line, text) in entry.iter().enumerate() {
                    let base = y + sizes.cap + line * Sizes::line(sizes.cap);
                    words.push((text.clone(), sizes.cap, (sizes.edge + nth * column, base)));
                }
                deepest = deepest.max(entry.len());
            }
            y += deepest * Sizes::line(sizes.cap);
        }
        y + sizes.between
    }

    fn drawn<'f>(&self, fonts: &'f Fonts) -> Canvas<'f> {
        let mut canvas = Canvas::new(self.width, self.height, fonts);
        for (text, cap, at) in &self.words {
            canvas.text(text, *at, *cap);
        }
        let last = self.frames.len().saturating_sub(1);
        for (nth, frame) in self.frames.iter().enumerate() {
            self.tape(&mut canvas, frame);
            self.beside(&mut canvas, frame);
            self.ruler(&mut canvas, frame);
            let middle = frame.top + (self.tape.saturating_sub(self.sizes.arrow)) / 2;
            let off = (self.sizes.edge - self.sizes.arrow.min(self.sizes.edge)) / 2;
            if nth < last {
                let end = frame.x + frame.row.len() * frame.scale;
                canvas.arrow((end + off, middle), self.sizes.arrow, false);
            }
            if nth > 0 {
                canvas.arrow((off, middle), self.sizes.arrow, false);
            }
        }
        for &(mark, text, (x, y)) in &self.marks {
            legend::mark(&mut canvas, mark, x, y, &self.sizes);
            canvas.text(text, (x + self.sizes.mark + self.sizes.gap, y), self.sizes.cap);
        }
        canvas
    }

    /// The tape and the ink on it, nothing else.
    fn tape(&self, canvas: &mut Canvas<'_>, frame: &Frame) {
        let strip = self.picture.strip;
        canvas.fill(frame.x, frame.top, frame.row.len() * frame.scale, self.tape, TAPE);
        let zone_top = frame.top + self.zone;
        for (label, &start) in self.picture.labels.iter().zip(&strip.starts) {
            let (start, end) = (lines(start), lines(start) + label.bitmap.lines());
            let Some(columns) = frame.columns(&(start..end)) else { continue };
            let shown = start.max(frame.row.start) - start..end.min(frame.row.end) - start;
            canvas.dots(&label.bitmap, shown, (columns.start, zone_top), self.scale);
        }
        let zone_dots = self.picture.labels.first().map_or(0, |label| label.bitmap.dots());
        for guide in strip.guides.iter().map(|&guide| lines(guide)).filter(|guide| frame.row.contains(guide)) {
            if let Some(x) = frame.column(guide) {
                canvas.dots(&snip_guide(zone_dots), 0..1, (x, zone_top), self.scale);
            }
        }
    }

    /// Cuts and waste.
    fn beside(&self, canvas: &mut Canvas<'_>, frame: &Frame) {
        let (strip, sizes) = (self.picture.strip, &self.sizes);
        let below = frame.top + self.tape;
        for &(at, kind) in &strip.cuts {
            let Some(x) = frame.column(lines(at)) else { continue };
            // Where the strip is folded at a cut, the end of the upper row shows it.
            if frame.row.start == lines(at) && frame.row.start > 0 {
                continue;
            }
            legend::cut(canvas, kind, x, frame.top - sizes.notch, sizes.notch, sizes);
            legend::cut(canvas, kind, x, below, sizes.cuts - sizes.gap / 3, sizes);
        }
        for guide in strip.guides.iter().map(|&guide| lines(guide)).filter(|guide| frame.row.contains(guide)) {
            if let Some(x) = frame.column(guide) {
                let x = (x + frame.scale / 2).saturating_sub(sizes.arrow / 2);
                canvas.arrow((x, below + sizes.thin), sizes.arrow, true);
            }
        }
        for (kind, stretch) in &self.wastes {
            if let Some(columns) = frame.columns(stretch) {
                legend::bar(canvas, *kind, &columns, below + sizes.cuts, sizes);
            }
        }
    }

    fn ruler(&self, canvas: &mut Canvas<'_>, frame: &Frame) {
        let (sizes, along) = (&self.sizes, self.picture.printer.along);
        let y = frame.top + self.tape + sizes.cuts + sizes.bar + sizes.gap / 2;
        let from = along.length(Dots(i64::try_from(frame.row.start).unwrap_or(0)));
        for mm in from.0 / 1000.. {
            let line = lines(along.dots_nearest(Micrometres(mm * 1000)));
            if line > frame.row.end {
                break;
            }
            let Some(x) = frame.column(line) else { continue };
            let (tick, thick) = match mm {
                mm if mm % 10 == 0 => (sizes.tick, sizes.thin),
                mm if mm % 5 == 0 => (sizes.tick * 3 / 4, (sizes.thin / 2).max(1)),
                _ => (sizes.tick / 2, (sizes.thin / 2).max(1)),
            };
            canvas.fill(x.saturating_sub(thick / 2), y, thick, tick, BLACK);
            if mm % 10 == 0 {
                let text = if mm == 0 { "0 mm".to_owned() } else { mm.to_string() };
                // The number stands under its tick; the unit hangs over.
                let wide = width_of(canvas.fonts(), &mm.to_string(), sizes.small);
                canvas.text(&text, (x.saturating_sub(wide / 2), y + sizes.tick + sizes.small * 3 / 2), sizes.small);
            }
        }
    }
}

#[cfg(test)]
mod tests;
