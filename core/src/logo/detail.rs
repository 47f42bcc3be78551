//! What is too fine for the dots.

use super::plane::{Plane, Span};
use crate::unit::Micrometres;
use std::fmt;

/// What was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// Ink that no dot shows.
    Stroke,
    /// Paper between ink that no dot shows.
    Gap,
}

/// Detail that fell below a dot: strokes that vanished, or gaps that closed.
///
/// Prints a sentence for the author of the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Detail {
    /// What was lost most.
    pub part: Part,
    /// How wide it would be on the label: the middle one of all widths lost.
    pub width: Micrometres,
    /// The larger pitch of the dots.
    pub dot: Micrometres,
}

impl Detail {
    /// Tenths by which the picture must be larger so that this detail is a dot wide; rounded up.
    pub fn factor_tenths(&self) -> i64 {
        let width = self.width.0.max(1);
        (10 * self.dot.0 + width - 1) / width
    }
}

impl fmt::Display for Detail {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match self.part {
            Part::Stroke => "strokes",
            Part::Gap => "gaps",
        };
        let mm = |length: Micrometres| {
            let hundredths = (length.0 + 5) / 10;
            format!("{}.{:02}", hundredths / 100, hundredths % 100)
        };
        let (width, dot, factor) = (mm(self.width), mm(self.dot), self.factor_tenths());
        write!(f, "{what} of about {width} mm are below one dot ({dot} mm): ")?;
        // Rare, and of no help as a factor: a hairline.
        if factor > 50 {
            return write!(f, "simplify the logo");
        }
        write!(f, "make the logo {}.{} times as large or simplify it", factor / 10, factor % 10)
    }
}

/// Coverage from which a pixel belongs to a stroke. Below that it is the rim of one, or the seam
/// that two smoothed edges leave where they meet.
const SEEN: u8 = 80;

/// Pieces of so many dots are named; smaller ones are what every pointed shape loses.
const SPECK: usize = 4;

/// Compares coverage (0 paper, 255 ink) with the dots it became, `pitch` micrometres along and up.
///
/// Ink counts as lost where neither its dot nor one of the eight around is inked, so what an edge
/// loses by rounding does not count; paper likewise. Less than [`SPECK`] dots in one piece
/// are the tip of a wedge, or a speck.
pub(super) fn lost(coverage: &Plane, ink: &[bool], along: Span, up: Span, pitch: (f64, f64)) -> Option<Detail> {
    let strokes = missing(coverage, ink, along, up, pitch);
    let mut inverted = [0; 256];
    inverted.iter_mut().rev().zip(0..=u8::MAX).for_each(|(value, tone)| *value = tone);
    let paper: Vec<bool> = ink.iter().map(|ink| !ink).collect();
    let gaps = missing(&coverage.mapped(&inverted), &paper, along, up, pitch);
    let (part, (_, width)) = match (strokes, gaps) {
        (Some(strokes), Some(gaps)) if gaps.0 > strokes.0 => (Part::Gap, gaps),
        (Some(strokes), _) => (Part::Stroke, strokes),
        (None, Some(gaps)) => (Part::Gap, gaps),
        (None, None) => return None,
    };
    let dot = Micrometres::from_mm(pitch.0.max(pitch.1) / 1000.0);
    // What is as wide as a dot and was lost all the same lay across a border of dots.
    let width = Micrometres::from_mm(width / 1000.0).min(Micrometres(dot.0 - 1)).max(Micrometres(1));
    Some(Detail { part, width, dot })
}

/// How many dots hold what the dots do not show, and its width in micrometres.
fn missing(coverage: &Plane, shown: &[bool], along: Span, up: Span, pitch: (f64, f64)) -> Option<(usize, f64)> {
    let near = spread(shown, along.dots, up.dots);
    let columns: Vec<usize> = (0..coverage.width).map(|x| along.dot_of(x, coverage.width)).collect();
    let step = (step(along, coverage.width) * pitch.0, step(up, coverage.height) * pitch.1);
    let mut dots = vec![false; shown.len()];
    let mut pixels = Vec::new();
    for y in 0..coverage.height {
        let row = up.dot_of(y, coverage.height) * along.dots;
        for (x, column) in columns.iter().enumerate() {
            let dot = row + column;
            if coverage.tones[y * coverage.width + x] >= SEEN && !near[dot] {
                dots[dot] = true;
                pixels.push((dot, x, y));
            }
        }
    }
    let dots = pieces(dots, along.dots, up.dots);
    let count = dots.iter().filter(|dot| **dot).count();
    let pixels = pixels.into_iter().filter(|&(dot, _, _)| dots[dot]);
    let mut widths: Vec<f64> = pixels.map(|(_, x, y)| width(coverage, x, y, step)).collect();
    if widths.is_empty() {
        return None;
    }
    let middle = widths.len() / 2;
    let (_, median, _) = widths.select_nth_unstable_by(middle, f64::total_cmp);
    Some((count, *median))
}

/// The dots that hang together with at least [`SPECK`], corners included.
fn pieces(mut dots: Vec<bool>, width: usize, height: usize) -> Vec<bool> {
    let mut kept = vec![false; dots.len()];
    for start in 0..dots.len() {
        let mut piece = Vec::new();
        let mut open = Vec::new();
        if std::mem::take(&mut dots[start]) {
            open.push(start);
        }
        while let Some(dot) = open.pop() {
            piece.push(dot);
            for y in around(dot / width, height) {
                for x in around(dot % width, width) {
                    if std::mem::take(&mut dots[y * width + x]) {
                        open.push(y * width + x);
                    }
                }
            }
        }
        if piece.len() >= SPECK {
            piece.into_iter().for_each(|dot| kept[dot] = true);
        }
    }
    kept
}

/// A place and its neighbours within `0..end`.
fn around(at: usize, end: usize) -> std::ops::Range<usize> {
    at.saturating_sub(1)..(at + 2).min(end)
}

/// Dots of a pixel's side.
#[allow(clippy::cast_precision_loss, reason = "sizes are far below 2^53")]
fn step(span: Span, pixels: usize) -> f64 {
    span.quarters() as f64 / (4 * pixels) as f64
}

/// Dots with one shown among them and the eight around.
fn spread(shown: &[bool], width: usize, height: usize) -> Vec<bool> {
    let near = |x: usize, y: usize| around(y, height).any(|y| around(x, width).any(|x| shown[y * width + x]));
    (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| near(x, y)).collect()
}

/// Width of the stroke a pixel lies in: the least of its extents in four directions, each the
/// coverage summed up until paper.
fn width(coverage: &Plane, x: usize, y: usize, step: (f64, f64)) -> f64 {
    let slant = (step.0 * step.0 + step.1 * step.1).sqrt();
    let ways = [((1, 0), step.0), ((0, 1), step.1), ((1, 1), slant), ((1, -1), slant)];
    let extent = |(dx, dy): (isize, isize), step: f64| {
        let mut sum = u32::from(coverage.tones[y * coverage.width + x]);
        for sign in [1, -1] {
            let (mut to_x, mut to_y) = (x, y);
            loop {
                let next = (to_x.checked_add_signed(dx * sign), to_y.checked_add_signed(dy * sign));
                let (Some(next_x), Some(next_y)) = next else { break };
                if next_x >= coverage.width || next_y >= coverage.height {
                    break;
                }
                (to_x, to_y) = (next_x, next_y);
                let tone = coverage.tones[to_y * coverage.width + to_x];
                sum += u32::from(tone);
                if tone < SEEN {
                    break;
                }
            }
        }
        f64::from(sum) / 255.0 * step
    };
    ways.into_iter().map(|(way, step)| extent(way, step)).fold(f64::INFINITY, f64::min)
}
