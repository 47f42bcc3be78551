//! The work sheet for the bench: strip by strip in peeling order, each label drawn from its own dots,
//! with its cable, its end, where it goes, and boxes to tick.
//!
//! Rows are values: whoever has them (a plan, a journal) gets the same sheet.

mod advice;
mod flow;

use super::lettering::Lettering;
use super::oncable::{OnCable, Reads, View};
use super::outline::outlines;
use super::scene::{ink, paint_polygons};
use super::sheet::{EDGE, LINE, NAME, NAME_LINE, POINT, Paper, TEXT, TITLE, fill, mm, scale_bar};
use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::Fonts;
use crate::layout::Build;
use crate::media::{Printer, Stock};
use crate::unit::{Dots, Micrometres};
use flow::{Flow, Page};
use krilla::geom::Transform;
use krilla::graphic::Graphic;
use krilla::page::PageSettings;
use krilla::surface::Surface;
use krilla::{Document, SerializeSettings};
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// What stands at the head of a work sheet.
#[derive(Clone, Debug, Default)]
pub struct BenchHead {
    /// The job.
    pub title: String,
    /// What tells this sheet from any other: a number, a digest of the plan. Stands on every page.
    pub reference: String,
    /// Printer, stocks, cartridges, labels, strips, tape: a line each.
    pub facts: Vec<String>,
}

/// A label of a work sheet.
#[derive(Clone)]
pub struct BenchRow<'a> {
    /// Which label, as the sheet counts them.
    pub nth: usize,
    /// Which strip; rows one after another with the same stand under one heading.
    pub strip: usize,
    /// The strip in words: which of how many, stock, cartridge, length.
    pub heading: String,
    /// The printer, for its resolutions.
    pub printer: &'a Printer,
    /// The stock, for the tape's width.
    pub stock: &'a Stock,
    /// The printable zone as it reads (not mirrored).
    pub bitmap: &'a Bitmap,
    /// The cable.
    pub cable: String,
    /// Which end, one word.
    pub end: &'a str,
    /// Where that end belongs; empty where nobody said.
    pub place: String,
    /// Its build.
    pub build: Build,
    /// Which way it reads on the cable, where it does.
    pub reads: Option<Reads>,
    /// The cable's diameter, where known.
    pub diameter: Option<Micrometres>,
    /// What else a person should know.
    pub notes: Vec<String>,
    /// The label on its cable, drawn at the strip's head for the first label of a build on a stock.
    pub view: Option<OnCable<'a>>,
}

/// A label's picture on the page, without its place.
struct Drawing {
    /// Which of the sheet's bitmaps.
    picture: usize,
    /// Width and height of the tape as drawn, millimetres.
    size: (f32, f32),
    /// Where the ink lies on the tape as drawn: from the upper edge, width and height.
    zone: (f32, f32, f32),
    /// Smaller than it is, in percent; nothing at true size.
    percent: Option<u32>,
}

/// A row as it will be set.
struct Entry {
    nth: usize,
    strip: usize,
    heading: String,
    drawing: Drawing,
    name: String,
    lines: Vec<String>,
    views: Vec<View>,
}

/// Rows gathered; [`Bench::finish`] sets them on pages.
pub struct Bench {
    paper: Paper,
    entries: Vec<Entry>,
    /// Labels that look alike are drawn once and shown wherever they stand.
    pictures: Vec<Bitmap>,
    known: HashMap<u64, Vec<usize>>,
    shown: Vec<(Build, String)>,
    builds: Vec<Build>,
}

/// Room for a label on the page, millimetres: what is larger is drawn smaller.
const PICTURE: (f32, f32) = (82.0, 40.0);

impl Bench {
    /// An empty sheet.
    pub fn new(paper: Paper) -> Self {
        let (entries, pictures, known) = (Vec::new(), Vec::new(), HashMap::new());
        Self { paper, entries, pictures, known, shown: Vec::new(), builds: Vec::new() }
    }

    /// Adds a label after those before it.
    pub fn add(&mut self, row: &BenchRow<'_>) {
        if !self.builds.contains(&row.build) {
            self.builds.push(row.build);
        }
        let key = (row.build, row.stock.id.clone());
        let fresh = row.view.as_ref().filter(|_| !self.shown.contains(&key)).map(View::of);
        if fresh.is_some() {
            self.shown.push(key);
        }
        let drawing = self.drawing(row);
        let mut views: Vec<View> = fresh.into_iter().collect();
        views.iter_mut().for_each(|view| view.place = advice::place(row.build, row.reads));
        // Views of later labels of the strip stand at its head too.
        let first = self.entries.iter().rposition(|entry| entry.strip != row.strip).map_or(0, |before| before + 1);
        let entry = Entry {
            nth: row.nth,
            strip: row.strip,
            heading: row.heading.clone(),
            name: format!("{} {}", crate::font::bidi::apart(&row.cable), row.end),
            lines: advice::row(row, drawing.percent),
            drawing,
            views: Vec::new(),
        };
        self.entries.push(entry);
        self.entries[first].views.extend(views);
    }

    fn picture(&mut self, bitmap: &Bitmap) -> usize {
        let mut hasher = DefaultHasher::new();
        (bitmap.dots(), bitmap.lines()).hash(&mut hasher);
        (0..bitmap.lines()).for_each(|line| bitmap.line(line).hash(&mut hasher));
        let alike = self.known.entry(hasher.finish()).or_default();
        if let Some(&same) = alike.iter().find(|&&one| self.pictures[one] == *bitmap) {
            return same;
        }
        alike.push(self.pictures.len());
        self.pictures.push(bitmap.clone());
        self.pictures.len() - 1
    }

    fn drawing(&mut self, row: &BenchRow<'_>) -> Drawing {
        let (printer, stock, bitmap) = (row.printer, row.stock, row.bitmap);
        let dots = |count: usize| Dots(i64::try_from(count).unwrap_or(0));
        let first = printer.zone(stock).map_or(Dots::ZERO, |(first, _)| first) - printer.stock_edge(stock);
        let (up, zone) = (printer.across.length(first), printer.across.length(dots(bitmap.dots())));
        let along = mm(printer.along.length(dots(bitmap.lines()))).max(0.1);
        let tape = mm(stock.width.max(up + zone));
        let factor = (PICTURE.0 / along).min(PICTURE.1 / tape).min(1.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a percentage")]
        let percent = (factor < 1.0).then(|| (factor * 100.0).floor() as u32);
        // The factor that is said is the factor it is drawn with.
        #[allow(clippy::cast_precision_loss, reason = "a percentage")]
        let factor = percent.map_or(1.0, |percent| percent.max(1) as f32 / 100.0);
        let above = tape - mm(up + zone);
        Drawing {
            picture: self.picture(bitmap),
            size: (along * factor, tape * factor),
            zone: (above * factor, along * factor, mm(zone) * factor),
            percent,
        }
    }

    /// Sets everything on pages and writes the PDF, lettered in the job's fonts. The same rows
    /// and head give the same bytes.
    ///
    /// # Errors
    /// Kind `Bug`: the PDF library refuses what was drawn. Kind `Input`: it cannot hold a font of the
    /// user's.
    pub fn finish(self, head: &BenchHead, fonts: &Fonts) -> Result<Vec<u8>> {
        let lettering = Lettering::new(fonts);
        let (width, height) = self.paper.size();
        let pages = self.pages(&lettering, head);
        let mut document = Document::new_with(SerializeSettings::default());
        let bug = |what: &str| Error::bug(format!("PDF: {what}"));
        let mut graphics: Vec<Option<Graphic>> = vec![None; self.pictures.len()];
        for (number, page) in pages.iter().enumerate() {
            let settings = PageSettings::from_wh(width * POINT, height * POINT).ok_or_else(|| bug("page size"))?;
            let mut sheet = document.start_page_with(settings);
            let mut surface = sheet.surface();
            for words in &page.words {
                surface.set_fill(Some(ink(0)));
                lettering.write(&mut surface, &words.text, words.x * POINT, words.y * POINT, words.size)?;
            }
            for &(x, y, side) in &page.boxes {
                frame(&mut surface, (x, y), (side, side))?;
            }
            for &(drawing, x, y) in &page.drawings {
                self.draw(&mut surface, drawing, (x, y), &mut graphics)?;
            }
            for &(view, x, y, scale) in &page.views {
                #[allow(clippy::cast_possible_truncation, reason = "millimetres on paper")]
                let (left, top) = (view.bounds.left as f32 * scale, view.bounds.top as f32 * scale);
                let origin = ((x - left) * POINT, (y - top) * POINT);
                view.scene.draw(&mut surface, &lettering, origin, scale * POINT, TEXT)?;
            }
            scale_bar(&mut surface, &lettering, height - 14.0)?;
            let of = format!("page {} of {}", number + 1, pages.len());
            let right = (width - EDGE) * POINT - lettering.width(&of, NAME);
            lettering.write(&mut surface, &of, right, (height - 8.0) * POINT, NAME)?;
            let room = right - (EDGE + 4.0) * POINT;
            let reference = lettering.shortened(&head.reference, TEXT, room);
            lettering.write(&mut surface, &reference, EDGE * POINT, (height - 8.0) * POINT, TEXT)?;
            surface.finish();
            sheet.finish();
        }
        document.finish().map_err(|error| bug(&format!("{error:?}")))
    }

    /// Draws a label on its tape, the upper left corner at a place in millimetres.
    #[allow(clippy::cast_precision_loss, reason = "dots of a label")]
    fn draw(
        &self,
        surface: &mut Surface<'_>,
        drawing: &Drawing,
        (x, y): (f32, f32),
        graphics: &mut [Option<Graphic>],
    ) -> Result<()> {
        let bitmap = &self.pictures[drawing.picture];
        if bitmap.ink() > 0 {
            // In dots, so that its numbers are short and it serves at every scale.
            let graphic = if let Some(graphic) = &graphics[drawing.picture] {
                graphic.clone()
            } else {
                let mut builder = surface.stream_builder();
                let mut inner = builder.surface();
                let polygons = outlines(bitmap, &(0..bitmap.lines()), &(0..bitmap.dots()));
                let top = bitmap.dots();
                let corner = |(line, dot): (usize, usize)| (line as f32, (top - dot) as f32);
                paint_polygons(&mut inner, polygons.into_iter().map(|one| one.into_iter().map(corner)), 0)?;
                inner.finish();
                let graphic = Graphic::new(builder.finish(), false);
                graphics[drawing.picture] = Some(graphic.clone());
                graphic
            };
            let (top, wide, high) = drawing.zone;
            let scale = (wide / bitmap.lines() as f32, high / bitmap.dots() as f32);
            let (x, y) = (x * POINT, (y + top) * POINT);
            surface.push_transform(&Transform::from_row(scale.0 * POINT, 0.0, 0.0, scale.1 * POINT, x, y));
            surface.draw_graphic(graphic);
            surface.pop();
        }
        frame(surface, (x, y), drawing.size)
    }

    /// Places everything between the heads and the feet of pages.
    fn pages(&self, lettering: &Lettering<'_>, head: &BenchHead) -> Vec<Page<'_>> {
        let mut flow = Flow::new(lettering, self.paper, head);
        for caution in advice::cautions(&self.builds) {
            flow.bullet(caution);
        }
        if self.entries.is_empty() {
            flow.line("No labels: nothing would be printed.", NAME);
        }
        for strip in self.entries.chunk_by(|a, b| a.strip == b.strip) {
            flow.strip(strip);
        }
        flow.pages
    }
}

/// The edges of a box, outside it, millimetres.
fn frame(surface: &mut Surface<'_>, (x, y): (f32, f32), (wide, high): (f32, f32)) -> Result<()> {
    const THICK: f32 = 0.15;
    fill(surface, x - THICK, y - THICK, wide + 2.0 * THICK, THICK)?;
    fill(surface, x - THICK, y + high, wide + 2.0 * THICK, THICK)?;
    fill(surface, x - THICK, y, THICK, high)?;
    fill(surface, x + wide, y, THICK, high)
}

#[cfg(test)]
mod tests;
