//! Rows of a work sheet on pages, between head and foot.

use super::{BenchHead, Drawing, EDGE, Entry, LINE, NAME, NAME_LINE, PICTURE, POINT, Paper, TEXT, TITLE, View};
use crate::proof::lettering::Lettering;

/// Where the first line of a page's body stands, and how much of its lower end is the foot, millimetres.
const TOP: f32 = 21.0;
const FOOT: f32 = 22.0;
/// Side of a box to tick, and where the two stand from the left, millimetres.
const TICK: f32 = 4.5;
const TICKS: [(f32, &str); 2] = [(8.0, "printed"), (20.0, "applied")];
/// Where labels and the words beside them begin, from the page's left, millimetres.
const LABELS: f32 = EDGE + 32.0;
const WORDS: f32 = LABELS + PICTURE.0 + 4.0;
/// Between two rows, before a heading, and between two views, millimetres.
const BETWEEN: f32 = 2.5;
const SECTION: f32 = 4.0;
const GUTTER: f32 = 8.0;
/// Highest view of a label on its cable, millimetres: what is larger is drawn smaller.
const TALLEST: f32 = 52.0;

/// Between a heading and its views, millimetres.
const ABOVE: f32 = 2.0;
/// Least room for the words under a view, millimetres.
const VIEW_WORDS: f32 = 80.0;

/// Words with the left end of their baseline, millimetres.
pub(super) struct Words {
    pub(super) text: String,
    pub(super) x: f32,
    pub(super) y: f32,
    pub(super) size: f32,
}

/// What stands on a page, millimetres from its upper left corner.
#[derive(Default)]
pub(super) struct Page<'s> {
    pub(super) words: Vec<Words>,
    /// Boxes to tick, with their side.
    pub(super) boxes: Vec<(f32, f32, f32)>,
    pub(super) drawings: Vec<(&'s Drawing, f32, f32)>,
    /// With the factor they are drawn at.
    pub(super) views: Vec<(&'s View, f32, f32, f32)>,
}

/// Pages being filled.
pub(super) struct Flow<'s, 'l> {
    lettering: &'l Lettering<'l>,
    room: f32,
    bottom: f32,
    running: String,
    /// How far down the last page is filled.
    at: f32,
    pub(super) pages: Vec<Page<'s>>,
}

#[allow(clippy::cast_precision_loss, reason = "a few lines")]
const fn times(count: usize, length: f32) -> f32 {
    count as f32 * length
}

/// A view with its factor, size and words, all in millimetres.
struct Placed<'s> {
    view: &'s View,
    scale: f32,
    size: (f32, f32),
    /// Room for words that hang below it.
    below: f32,
    words: Vec<String>,
}

impl<'s, 'l> Flow<'s, 'l> {
    /// The first page, with the sheet's head.
    pub(super) fn new(lettering: &'l Lettering<'l>, paper: Paper, head: &BenchHead) -> Self {
        let (width, height) = paper.size();
        let room = width - 2.0 * EDGE;
        let title = format!("Work sheet: {}", crate::font::bidi::apart(&head.title));
        let running = lettering.shortened(&title, TITLE, room * POINT);
        let mut flow =
            Self { lettering, room, bottom: height - FOOT, running: title, at: 15.0, pages: vec![Page::default()] };
        flow.word(running, EDGE, 15.0, TITLE);
        flow.at = 18.0;
        for fact in &head.facts {
            flow.line(fact, TEXT);
        }
        flow.at += 1.0;
        flow
    }

    fn word(&mut self, text: String, x: f32, y: f32, size: f32) {
        if let Some(page) = self.pages.last_mut() {
            page.words.push(Words { text, x, y, size });
        }
    }

    fn turn(&mut self) {
        self.pages.push(Page::default());
        let running = self.lettering.shortened(&self.running, NAME, self.room * POINT);
        self.word(running, EDGE, 14.0, NAME);
        self.at = TOP - SECTION;
    }

    /// A line over the page's whole width, broken where it must be.
    pub(super) fn line(&mut self, text: &str, size: f32) {
        let high = if size > TEXT { NAME_LINE } else { LINE };
        for line in self.lettering.broken(text, size, self.room * POINT) {
            if self.at + high > self.bottom {
                self.turn();
            }
            self.word(line, EDGE, self.at + high * 0.78, size);
            self.at += high;
        }
    }

    /// A line with a mark before it.
    pub(super) fn bullet(&mut self, text: &str) {
        let mut mark = Some("-".to_owned());
        for line in self.lettering.broken(text, TEXT, (self.room - 3.0) * POINT) {
            if self.at + LINE > self.bottom {
                self.turn();
            }
            let y = self.at + LINE * 0.78;
            if let Some(mark) = mark.take() {
                self.word(mark, EDGE, y, TEXT);
            }
            self.word(line, EDGE + 3.0, y, TEXT);
            self.at += LINE;
        }
    }

    /// The labels of a strip under its heading. A row stands whole on a page.
    pub(super) fn strip(&mut self, rows: &'s [Entry]) {
        let Some(first) = rows.first() else { return };
        let views: Vec<Placed<'s>> = rows.iter().flat_map(|row| &row.views).map(|view| self.view(view)).collect();
        let mut views = Some(views);
        let mut fresh = true;
        for row in rows {
            let name = self.lettering.broken(&row.name, NAME, (self.room + EDGE - WORDS) * POINT);
            let mut lines = Vec::new();
            for line in &row.lines {
                lines.extend(self.lettering.broken(line, TEXT, (self.room + EDGE - WORDS) * POINT));
            }
            let words = times(name.len(), NAME_LINE) + times(lines.len(), LINE);
            let high = words.max(row.drawing.size.1).max(TICK);
            let heading = SECTION + NAME_LINE + LINE + 2.0;
            let head = if fresh { heading + views.as_ref().map_or(0.0, |views| self.views_high(views)) } else { 0.0 };
            let mut turned = false;
            if self.at + head + high > self.bottom && self.at > TOP {
                self.turn();
                turned = true;
            }
            if fresh || turned {
                let goes_on = if fresh { "" } else { ", goes on" };
                self.at += SECTION;
                let text = format!("{}{goes_on}", first.heading);
                let text = self.lettering.shortened(&text, NAME, self.room * POINT);
                self.word(text, EDGE, self.at + NAME_LINE * 0.78, NAME);
                self.at += NAME_LINE;
                for views in views.take().into_iter().filter(|views| !views.is_empty()) {
                    self.set_views(views);
                }
                for (x, what) in TICKS {
                    self.word(what.to_owned(), EDGE + x, self.at + LINE * 0.78, TEXT);
                }
                self.at += LINE + 2.0;
            }
            fresh = false;
            self.row(row, name, lines);
            self.at += high + BETWEEN;
        }
    }

    fn row(&mut self, row: &'s Entry, name: Vec<String>, lines: Vec<String>) {
        let top = self.at;
        self.word(row.nth.to_string(), EDGE, top + NAME_LINE * 0.78, NAME);
        if let Some(page) = self.pages.last_mut() {
            page.boxes.extend(TICKS.map(|(x, _)| (EDGE + x, top, TICK)));
            page.drawings.push((&row.drawing, LABELS, top));
        }
        let mut y = top;
        for line in name {
            self.word(line, WORDS, y + NAME_LINE * 0.78, NAME);
            y += NAME_LINE;
        }
        for line in lines {
            self.word(line, WORDS, y + LINE * 0.78, TEXT);
            y += LINE;
        }
    }

    /// A view and its words, as large as there is room for.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "millimetres on paper")]
    #[allow(clippy::cast_precision_loss, reason = "a percentage")]
    fn view(&self, view: &'s View) -> Placed<'s> {
        let (wide, high) = (view.bounds.width() as f32, view.bounds.height() as f32);
        let factor = (self.room / wide).min(TALLEST / high).min(1.0);
        let percent = ((factor * 100.0).floor() as u32).max(1);
        let scale = percent as f32 / 100.0;
        let below = view.scene.labels.iter().map(|one| one.at.1 - view.bounds.bottom).fold(0.0, f64::max) as f32;
        let size = if percent == 100 { "at true size".to_owned() } else { format!("drawn at {percent} %") };
        let text = format!("{}; {size}", view.words);
        let room = (wide * scale).max(VIEW_WORDS).min(self.room) * POINT;
        let mut words = self.lettering.broken(&text, TEXT, room);
        words.extend(self.lettering.broken(&view.place, TEXT, room));
        Placed { view, scale, size: (wide * scale, high * scale), below: below * scale + 1.5, words }
    }

    fn views_high(&self, views: &[Placed<'_>]) -> f32 {
        let rows = self.rows(views);
        rows.iter().map(|row| high(row) + 2.0).sum()
    }

    /// Views side by side where there is room.
    fn rows<'v>(&self, views: &'v [Placed<'s>]) -> Vec<&'v [Placed<'s>]> {
        let mut rows = Vec::new();
        let mut start = 0;
        let mut wide = 0.0;
        for (nth, view) in views.iter().enumerate() {
            let more = view.wide();
            if nth > start && wide + GUTTER + more > self.room {
                rows.push(&views[start..nth]);
                (start, wide) = (nth, 0.0);
            }
            wide += more + if nth > start { GUTTER } else { 0.0 };
        }
        rows.push(&views[start..]);
        rows
    }

    fn set_views(&mut self, views: Vec<Placed<'s>>) {
        let rows: Vec<usize> = self.rows(&views).iter().map(|row| row.len()).collect();
        let mut views = views.into_iter();
        for count in rows {
            let row: Vec<Placed<'s>> = views.by_ref().take(count).collect();
            let tall = row.iter().map(|one| one.size.1 + one.below).fold(0.0, f32::max);
            let whole = high(&row);
            let mut x = EDGE;
            for one in row {
                let wide = one.wide();
                if let Some(page) = self.pages.last_mut() {
                    page.views.push((one.view, x, self.at + ABOVE, one.scale));
                }
                let mut y = self.at + ABOVE + tall;
                for line in one.words {
                    y += LINE;
                    self.word(line, x, y, TEXT);
                }
                x += wide + GUTTER;
            }
            self.at += whole + 2.0;
        }
    }
}

impl Placed<'_> {
    fn wide(&self) -> f32 {
        self.size.0.max(VIEW_WORDS)
    }
}

fn high(row: &[Placed<'_>]) -> f32 {
    let tall = row.iter().map(|one| one.size.1 + one.below).fold(0.0, f32::max);
    ABOVE + tall + times(row.iter().map(|one| one.words.len()).max().unwrap_or(0), LINE) + 1.0
}
