//! The outline of the ink of a bitmap: closed polygons along the edges of dots.
//!
//! Filled by the even-odd rule they are the dots exactly, without seams between neighbours, at any
//! zoom of a viewer.

use crate::bitmap::Bitmap;
use std::collections::BTreeMap;
use std::ops::Range;

/// A corner: line edge `0..=lines`, dot edge `0..=dots` counted from dot 0.
pub(super) type Corner = (usize, usize);

/// Traces lines `lines` and dots `dots` of a bitmap; corners count from the first of them. Each
/// polygon is closed, without its first corner repeated.
pub(super) fn outlines(bitmap: &Bitmap, lines: &Range<usize>, dots: &Range<usize>) -> Vec<Vec<Corner>> {
    let ink = |line: usize, dot: usize| {
        line < lines.len() && dot < dots.len() && bitmap.get(line + lines.start, dot + dots.start)
    };
    // Every edge between ink and blank, directed so that ink lies on its left.
    let mut edges: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
    let mut edge = |from: Corner, to: Corner| edges.entry(from).or_default().push(to);
    for line in 0..lines.len() {
        for dot in (0..dots.len()).filter(|&dot| ink(line, dot)) {
            if dot == 0 || !ink(line, dot - 1) {
                edge((line, dot), (line + 1, dot));
            }
            if !ink(line + 1, dot) {
                edge((line + 1, dot), (line + 1, dot + 1));
            }
            if !ink(line, dot + 1) {
                edge((line + 1, dot + 1), (line, dot + 1));
            }
            if line == 0 || !ink(line - 1, dot) {
                edge((line, dot + 1), (line, dot));
            }
        }
    }
    let mut polygons = Vec::new();
    while let Some((&start, _)) = edges.first_key_value() {
        let mut polygon = vec![start];
        let mut at = start;
        // Every corner has as many edges out as in, so a walk ends where it began.
        while let Some(ends) = edges.get_mut(&at) {
            let Some(next) = ends.pop() else { break };
            if ends.is_empty() {
                edges.remove(&at);
            }
            let straight = polygon.len() > 1 && {
                let before = polygon[polygon.len() - 2];
                (before.0 == at.0 && at.0 == next.0) || (before.1 == at.1 && at.1 == next.1)
            };
            if straight {
                polygon.pop();
            }
            if next == start {
                break;
            }
            polygon.push(next);
            at = next;
        }
        polygons.push(polygon);
    }
    polygons
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Even-odd fill of the polygons at the middle of a dot.
    fn filled(polygons: &[Vec<Corner>], line: usize, dot: usize) -> bool {
        let mut crossings = 0;
        for polygon in polygons {
            for (nth, &(a_line, a_dot)) in polygon.iter().enumerate() {
                let (b_line, b_dot) = polygon[(nth + 1) % polygon.len()];
                let upright = a_line == b_line && a_line > line;
                let spans = a_dot.min(b_dot) <= dot && dot < a_dot.max(b_dot);
                crossings += usize::from(upright && spans);
            }
        }
        crossings % 2 == 1
    }

    #[test]
    fn filling_the_outline_gives_the_dots_back() {
        let mut seed = 0x2545_F491_4F6C_DD1D_u64;
        for (dots, lines) in [(1, 1), (5, 7), (20, 13), (70, 9)] {
            let mut bitmap = Bitmap::new(dots, lines);
            for line in 0..lines {
                for dot in 0..dots {
                    seed ^= seed << 13;
                    seed ^= seed >> 7;
                    seed ^= seed << 17;
                    if seed & 1 == 1 {
                        bitmap.set(line, dot);
                    }
                }
            }
            for (part, across) in [(0..lines, 0..dots), (lines / 3..lines, dots / 4..dots - dots / 5)] {
                let polygons = outlines(&bitmap, &part, &across);
                for line in 0..part.len() {
                    for dot in 0..across.len() {
                        let wanted = bitmap.get(line + part.start, dot + across.start);
                        assert_eq!(filled(&polygons, line, dot), wanted, "{line} {dot}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_box_has_four_corners() {
        let mut bitmap = Bitmap::new(9, 9);
        bitmap.fill(2, 4, 3, 5);
        assert_eq!(outlines(&bitmap, &(0..9), &(0..9)), [vec![(2, 3), (6, 3), (6, 8), (2, 8)]]);
    }
}
