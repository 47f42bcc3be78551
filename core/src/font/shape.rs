//! Text to placed glyphs: a line is cut into runs of one face, one script and one direction, and
//! each run is shaped.

use super::face::Face;
use super::fallback::{Before, settle};
use super::{Fonts, MissingGlyph, Style, bidi};
use harfrust::{Direction, Feature, GlyphBuffer, ShapeOptions, ShapePlan, ShapePlanKey, Tag};
use skrifa::GlyphId;
use std::ops::Range;
use std::sync::{Arc, PoisonError};
use unicode_script::Script;
use unicode_segmentation::UnicodeSegmentation as _;

/// A glyph in its place on a line. Glyphs come left to right as printed; lengths are in cap heights.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Placed {
    /// Which face, counted as [`Fonts::file`] counts them.
    pub face: u8,
    /// The glyph's number in its face.
    pub glyph: u32,
    /// From this glyph's pen to the next one's.
    pub advance: f64,
    /// From the pen to the glyph's origin, rightwards.
    pub right: f64,
    /// From the baseline to the glyph's origin, upwards.
    pub up: f64,
    /// The byte of the text where the glyph's cluster begins.
    pub at: usize,
}

/// A stretch of a line that is shaped as one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// Bytes of the text.
    pub range: Range<usize>,
    /// The characters to set and the byte each belongs to: what no glyph is wanted for is left out,
    /// and a character may stand for another.
    pub letters: Vec<(usize, char)>,
    /// Which face.
    pub face: u8,
    /// ISO 15924 name of the script, such as `Arab`.
    pub script: &'static str,
    /// Whether it runs right to left.
    pub leftwards: bool,
    level: u8,
    way: Way,
}

impl Run {
    /// OpenType features that are switched off in this run.
    pub fn without(&self) -> &'static [&'static str] {
        if self.way.plain() { &PLAIN_OFF } else { &[] }
    }
}

/// Script and direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Way {
    script: Script,
    leftwards: bool,
}

/// Ligatures and alternates that would make a number or a name look like another.
const PLAIN_OFF: [&str; 3] = ["calt", "clig", "liga"];

fn tag(name: &str) -> Tag {
    Tag::new_checked(name.as_bytes()).expect("feature and script names have four letters")
}

impl Way {
    pub(super) const fn of(script: Script, leftwards: bool) -> Self {
        Self { script, leftwards }
    }

    /// Scripts whose letters stand alone: nothing is lost without ligatures.
    pub(super) const fn plain(self) -> bool {
        matches!(
            self.script,
            Script::Latin | Script::Greek | Script::Cyrillic | Script::Armenian | Script::Common | Script::Inherited
        )
    }

    fn features(self) -> Vec<Feature> {
        let off: &[&str] = if self.plain() { &PLAIN_OFF } else { &[] };
        off.iter().map(|name| Feature::new(tag(name), 0, ..)).collect()
    }

    fn script(self) -> Option<harfrust::Script> {
        harfrust::Script::from_iso15924_tag(tag(self.script.short_name()))
    }

    const fn direction(self) -> Direction {
        if self.leftwards { Direction::RightToLeft } else { Direction::LeftToRight }
    }
}

/// Shapes letters in a face. `around` is the text before and after, for letters that join.
fn shape(face: &Face, letters: impl Iterator<Item = (usize, char)>, around: [&str; 2], way: Way) -> GlyphBuffer {
    let font = face.font();
    let shaper = face.shaper().shaper(&font).build();
    let mut buffer = face.spare.lock().unwrap_or_else(PoisonError::into_inner).take().unwrap_or_default();
    for (at, c) in letters {
        buffer.add(c, u32::try_from(at).unwrap_or(u32::MAX));
    }
    buffer.set_pre_context(around[0]);
    buffer.set_post_context(around[1]);
    buffer.set_direction(way.direction());
    if let Some(script) = way.script() {
        buffer.set_script(script);
    }
    let features = way.features();
    let plan = {
        let mut plans = face.plans.lock().unwrap_or_else(PoisonError::into_inner);
        let key = ShapePlanKey::new(way.script(), way.direction()).features(&features);
        match plans.iter().find(|plan| key.matches(plan)) {
            Some(plan) => Arc::clone(plan),
            None => {
                let plan = ShapePlan::new(&shaper, way.direction(), way.script(), None, &features);
                let plan = Arc::new(plan);
                plans.push(Arc::clone(&plan));
                plan
            }
        }
    };
    shaper.shape(buffer, ShapeOptions::new().plan(Some(&plan)).features(&features))
}

/// Gives the buffer back for the next run.
fn done(face: &Face, buffer: GlyphBuffer) {
    *face.spare.lock().unwrap_or_else(PoisonError::into_inner) = Some(buffer.clear());
}

/// How well a face sets a cluster.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Grade {
    /// It lacks a glyph.
    Lacks,
    /// It has all, but a mark stays where the pen is, for want of a place on its letter.
    Loose,
    /// It has all, marks in their places.
    Whole,
}

pub(super) fn grade(face: &Face, cluster: &str, way: Way) -> Grade {
    let glyphs = shape(face, cluster.char_indices(), ["", ""], way);
    let lacks = glyphs.is_empty() || glyphs.glyph_infos().iter().any(|info| info.glyph_id == 0);
    // A mark that was placed, by anchors or by its size, has moved: its own place is after its letter.
    let font = face.font();
    let loose = glyphs.len() > 1
        && glyphs.glyph_infos().iter().zip(glyphs.glyph_positions()).any(|(info, position)| {
            (position.x_advance, position.x_offset, position.y_offset) == (0, 0, 0)
                && face.ink(&font, GlyphId::new(info.glyph_id)).is_some()
        });
    done(face, glyphs);
    match (lacks, loose) {
        (true, _) => Grade::Lacks,
        (_, true) => Grade::Loose,
        _ => Grade::Whole,
    }
}

/// Cuts a line into runs, left to right as printed; what cannot be set goes to `missing`.
pub(super) fn runs(fonts: &Fonts, text: &str, style: Style, mut missing: impl FnMut(usize, MissingGlyph)) -> Vec<Run> {
    let levels = bidi::levels(text, None);
    let mut runs: Vec<Run> = Vec::new();
    let mut before = Before::default();
    for (at, cluster) in text.grapheme_indices(true) {
        let found = match settle(fonts, cluster, fonts.order(style), before) {
            Ok(found) => found,
            Err(c) => {
                missing(at, MissingGlyph(c));
                continue;
            }
        };
        before.letter = cluster.chars().last();
        let Some(found) = found else { continue };
        (before.face, before.script) = (Some(found.face), Some(found.script));
        let level = levels.as_ref().map_or(0, |levels| levels[at]);
        let way = Way::of(found.script, level % 2 == 1);
        let end = at + cluster.len();
        let joins = runs.last().is_some_and(|run| (run.face, run.level, run.way) == (found.face, level, way));
        if !joins {
            let (letters, leftwards) = (Vec::new(), way.leftwards);
            let script = found.script.short_name();
            runs.push(Run { range: at..end, letters, face: found.face, script, leftwards, level, way });
        }
        if let Some(run) = runs.last_mut() {
            run.range.end = end;
            match found.instead {
                Some(c) => run.letters.push((at, c)),
                None => run.letters.extend(cluster.char_indices().map(|(nth, c)| (at + nth, c))),
            }
        }
    }
    if levels.is_some() {
        bidi::in_print(&mut runs, |run| run.level);
    }
    runs
}

/// Shapes a run of a line: its glyphs left to right.
pub(super) fn place(fonts: &Fonts, text: &str, run: &Run, each: &mut impl FnMut(Placed)) {
    let face = &fonts.faces[usize::from(run.face)];
    let around = [&text[..run.range.start], &text[run.range.end..]];
    let glyphs = shape(face, run.letters.iter().copied(), around, run.way);
    for (info, position) in glyphs.glyph_infos().iter().zip(glyphs.glyph_positions()) {
        let cap = |units: i32| f64::from(units) / face.cap;
        each(Placed {
            face: run.face,
            glyph: info.glyph_id,
            advance: face.advance(GlyphId::new(info.glyph_id), position.x_advance),
            right: cap(position.x_offset),
            up: cap(position.y_offset),
            at: usize::try_from(info.cluster).unwrap_or(0),
        });
    }
    done(face, glyphs);
}
