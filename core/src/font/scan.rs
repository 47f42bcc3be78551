//! Polygons to dots: a dot is inked where enough of it is covered, and no stroke is lost.

use super::outline::{Outline, Point, sides};
use crate::bitmap::Bitmap;

/// Parts of a dot. All of it is whole numbers, so every machine inks the same dots.
pub(super) const DOT: i64 = 256;

/// Scan lines in a row of dots.
const SCANS: i64 = 16;

/// Ink, and where its first line and dot stand against the origin.
pub(super) struct Ink {
    pub(super) ink: Bitmap,
    pub(super) left: i64,
    pub(super) bottom: i64,
}

/// A side that crosses scan lines: from its lower to its upper end, and which way it winds.
struct Side {
    from: Point,
    to: Point,
    winding: i64,
}

fn rising(outline: &Outline, along: usize) -> Vec<Side> {
    // `along` is the axis scan lines run on; the other one is climbed.
    let turn = |point: &Point| [point[along], point[1 - along]];
    let mut all: Vec<Side> = outline
        .contours
        .iter()
        .flat_map(|contour| sides(contour))
        .filter_map(|(a, b)| {
            let (from, to) = (turn(a), turn(b));
            match from[1].cmp(&to[1]) {
                std::cmp::Ordering::Less => Some(Side { from, to, winding: 1 }),
                std::cmp::Ordering::Greater => Some(Side { from: to, to: from, winding: -1 }),
                std::cmp::Ordering::Equal => None,
            }
        })
        .collect();
    all.sort_unstable_by_key(|side| side.from[1]);
    all
}

/// Runs over scan lines from the lowest to the highest.
struct Sweep<'s> {
    /// Sides not met yet, by their lower end.
    ahead: std::slice::Iter<'s, Side>,
    met: Vec<&'s Side>,
    crossings: Vec<(i64, i64)>,
}

impl<'s> Sweep<'s> {
    fn new(sides: &'s [Side]) -> Self {
        Self { ahead: sides.iter(), met: Vec::new(), crossings: Vec::new() }
    }

    /// Stretches of the scan line at a height inside the outline, by the non-zero rule. Heights must rise.
    fn spans(&mut self, at: i64, mut each: impl FnMut(i64, i64)) {
        while let Some(side) = self.ahead.as_slice().first().filter(|side| side.from[1] <= at) {
            self.met.push(side);
            self.ahead.next();
        }
        self.met.retain(|side| at < side.to[1]);
        self.crossings.clear();
        self.crossings.extend(self.met.iter().map(|side| {
            let (rise, run) = (side.to[1] - side.from[1], side.to[0] - side.from[0]);
            (side.from[0] + ((at - side.from[1]) * run).div_euclid(rise), side.winding)
        }));
        self.crossings.sort_unstable();
        let (mut winding, mut start) = (0, 0);
        for &(place, turn) in &self.crossings {
            if winding == 0 {
                start = place;
            }
            winding += turn;
            if winding == 0 && place > start {
                each(start, place);
            }
        }
    }
}

/// Inks an outline given in 1/256 dots. A dot is inked when at least `least` of its 4096 parts are
/// covered; where the outline is so thin that no dot on its way is, the one nearest its middle is.
pub(super) fn convert(outline: &Outline, least: i64) -> Ink {
    let (Some(x), Some(y)) = (outline.extent(0), outline.extent(1)) else {
        return Ink { ink: Bitmap::new(0, 0), left: 0, bottom: 0 };
    };
    let (left, bottom) = (x.0.div_euclid(DOT), y.0.div_euclid(DOT));
    let size = |from: i64, to: i64| usize::try_from(to.div_euclid(DOT) - from + 1).unwrap_or(0);
    let (lines, dots) = (size(left, x.1), size(bottom, y.1));
    let mut ink = Bitmap::new(dots, lines);
    let mut covered = vec![0_i64; lines];
    let across = rising(outline, 0);
    let mut sweep = Sweep::new(&across);
    for dot in 0..dots {
        covered.fill(0);
        let row = (bottom + index(dot)) * DOT;
        for scan in 0..SCANS {
            sweep.spans(row + (2 * scan + 1) * DOT / (2 * SCANS), |from, to| {
                let (mut at, end) = (from - left * DOT, to - left * DOT);
                while at < end {
                    let line = at / DOT;
                    let next = end.min((line + 1) * DOT);
                    covered[place(line)] += next - at;
                    at = next;
                }
            });
        }
        for (line, _) in covered.iter().enumerate().filter(|(_, part)| **part >= least) {
            ink.set(line, dot);
        }
    }
    // Drop-outs: a stroke met on the middle of a row, or of a column, without a dot of ink on it.
    let mut sweep = Sweep::new(&across);
    for dot in 0..dots {
        sweep.spans((bottom + index(dot)) * DOT + DOT / 2, |from, to| {
            let mut lines = from.div_euclid(DOT) - left..=(to - 1).div_euclid(DOT) - left;
            if !lines.any(|line| ink.get(place(line), dot)) {
                ink.set(place((from + to).div_euclid(2 * DOT) - left), dot);
            }
        });
    }
    let up = rising(outline, 1);
    let mut sweep = Sweep::new(&up);
    for line in 0..lines {
        sweep.spans((left + index(line)) * DOT + DOT / 2, |from, to| {
            let mut dots = from.div_euclid(DOT) - bottom..=(to - 1).div_euclid(DOT) - bottom;
            if !dots.any(|dot| ink.get(line, place(dot))) {
                ink.set(line, place((from + to).div_euclid(2 * DOT) - bottom));
            }
        });
    }
    Ink { ink, left, bottom }
}

fn index(place: usize) -> i64 {
    i64::try_from(place).unwrap_or(i64::MAX)
}

/// A line or dot of the ink; all crossings lie inside its bounds.
fn place(index: i64) -> usize {
    usize::try_from(index).unwrap_or(0)
}
