//! Fits an outline to the dots: stems of equal whole width, edges on whole dots, heights as asked.
//!
//! Each axis is bent by one rising, piecewise straight line through *anchors*: places of the outline
//! that stand on a whole dot. What lies between anchors keeps its proportions, and since the line
//! rises, no contour can cross another by it.
//!
//! Small letters are held at all their strokes, along and up. From [`LOOSE`] dots up there are dots
//! enough for the design itself: only heights and the widths of upright stems are held.

use super::outline::{Outline, Point, UNIT, rounded, sides};
use super::scan::DOT;
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, GlyphId, MetadataProvider};

/// Cap height in dots from which letters are fitted loosely.
pub(super) const LOOSE: i64 = 14;

/// Widest usual stem in dots by which loosely fitted stems are evened out; wider, a dot is not seen.
const EVEN: i64 = 8;

/// What a face's letters have in common, in 1/64 font units.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    /// Height of `H`.
    cap: i64,
    /// Heights at which letters end: where flat ones do, and where round ones do.
    zones: Vec<Zone>,
    /// Width of an upright stem and of a level bar.
    stems: [i64; 2],
    /// Glyphs that are built of such strokes, in order.
    letters: Vec<u32>,
}

/// Whether letters of a block share the heights and strokes of the capitals: Latin, Greek and Cyrillic
/// with their marks, figures, punctuation and signs (Unicode 16, Blocks.txt). Others have heights of
/// their own, or join their neighbours at their edges, and are drawn as designed.
const fn is_of_strokes(code: u32) -> bool {
    matches!(code, 0x20..=0x52F | 0x1D00..=0x25FF | 0x2C60..=0x2C7F | 0xA720..=0xA7FF)
}

#[derive(Clone, Copy, Debug)]
struct Zone {
    flat: i64,
    round: i64,
}

/// A scale: dots a 1/64 font unit, as a fraction.
#[derive(Clone, Copy)]
struct Scale {
    dots: i64,
    units: i64,
}

impl Scale {
    /// A length in whole dots.
    const fn whole(self, length: i64) -> i64 {
        rounded(length * self.dots, self.units)
    }

    /// A length in parts of a dot.
    const fn parts(self, length: i64) -> i64 {
        rounded(length * self.dots * DOT, self.units)
    }
}

/// Edge of ink along one axis: an upright or level piece of contour.
#[derive(Clone, Copy, Debug)]
struct Edge {
    at: i64,
    /// Where it runs on the other axis.
    from: i64,
    to: i64,
    /// Ink lies on its greater side.
    opens: bool,
}

/// A stroke between two edges.
#[derive(Clone, Copy, Debug)]
struct Stem {
    low: i64,
    high: i64,
    length: i64,
}

/// Steepest slant of an edge: one in this many, about 7 degrees; the legs of an A slant by 20.
const SLANT: i64 = 8;

impl Grid {
    /// Studies a face's letters; its capitals are `cap` font units high.
    #[allow(clippy::cast_possible_truncation, reason = "font units are 16 bits wide")]
    pub(super) fn of(font: &FontRef<'_>, cap: f64) -> Self {
        let charmap = font.charmap();
        let glyph = |c: char| charmap.map(c).filter(|glyph| glyph.to_u32() != 0);
        let outline = |c: char| glyph(c).map(|id| Outline::of(font, id)).filter(|o| !o.contours.is_empty());
        let top = |c: char| outline(c).and_then(|o| o.extent(1)).map(|e| e.1);
        let bottom = |c: char| outline(c).and_then(|o| o.extent(1)).map(|e| e.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "font units are 16 bits wide")]
        let cap = ((cap * UNIT as f64) as i64).max(1);
        // Some faces have their capitals off the baseline.
        let low = bottom('H').unwrap_or(0);
        let high = low + cap;
        let mut zones = vec![
            Zone { flat: low, round: bottom('o').unwrap_or(low).min(bottom('O').unwrap_or(low)).min(low) },
            Zone { flat: high, round: top('O').unwrap_or(high).max(high) },
        ];
        let mut add = |flat: Option<i64>, round: Option<i64>| {
            if let Some(flat) = flat
                && zones.iter().all(|zone| (zone.flat - flat).abs() * 40 > cap)
            {
                zones.push(Zone { flat, round: round.unwrap_or(flat) });
            }
        };
        add(top('x'), top('o'));
        add(top('l'), top('f'));
        add(top('1'), top('0'));
        add(bottom('p'), bottom('g'));
        let thickness = |c: char, axis: usize| {
            let outline = outline(c)?;
            stems(&edges(&outline, axis, cap), cap, cap / 2).iter().map(|stem| stem.high - stem.low).min()
        };
        let upright = thickness('H', 0).unwrap_or(cap / 6);
        let level = thickness('E', 1).unwrap_or(upright);
        let strokes = charmap.mappings().filter(|&(code, _)| is_of_strokes(code));
        let mut letters: Vec<u32> = strokes.map(|(_, glyph)| glyph.to_u32()).collect();
        letters.sort_unstable();
        Self { cap, zones, stems: [upright, level], letters }
    }
}

/// The edges of an outline along an axis.
fn edges(outline: &Outline, axis: usize, cap: i64) -> Vec<Edge> {
    let mut found = Vec::new();
    // Ink is to the right of a contour that turns right; measured upwards the sense is the other.
    let rightwards = (outline.area() < 0) == (axis == 0);
    for contour in &outline.contours {
        let pieces: Vec<(Point, Point)> =
            sides(contour).map(|(a, b)| ([a[axis], a[1 - axis]], [b[axis], b[1 - axis]])).collect();
        let class = |(a, b): &(Point, Point)| {
            let (du, dv) = (b[0] - a[0], b[1] - a[1]);
            if du.abs() * SLANT <= dv.abs() { dv.signum() } else { 0 }
        };
        let n = pieces.len();
        let Some(first) = (0..n).find(|&i| class(&pieces[i]) != class(&pieces[(i + n - 1) % n])) else { continue };
        let mut i = 0;
        while i < n {
            let kind = class(&pieces[(first + i) % n]);
            let start = i;
            while i < n && class(&pieces[(first + i) % n]) == kind {
                i += 1;
            }
            if kind == 0 {
                continue;
            }
            let run: Vec<&(Point, Point)> = (start..i).map(|k| &pieces[(first + k) % n]).collect();
            let ends = [run[0].0, run[run.len() - 1].1];
            let (from, to) = (ends[0][1].min(ends[1][1]), ends[0][1].max(ends[1][1]));
            if (to - from) * 25 < cap {
                continue;
            }
            let low = run.iter().map(|(a, b)| a[0].min(b[0])).min().unwrap_or(0);
            let high = run.iter().map(|(a, b)| a[0].max(b[0])).max().unwrap_or(0);
            // A curve's edge is where it turns; a straight one's, where the longest piece is.
            let at = if ends.iter().all(|end| end[0] > low) {
                low
            } else if ends.iter().all(|end| end[0] < high) {
                high
            } else {
                run.iter().max_by_key(|(a, b)| (b[1] - a[1]).abs()).map_or(low, |(a, b)| (a[0] + b[0]) / 2)
            };
            found.push(Edge { at, from, to, opens: (kind > 0) == rightwards });
        }
    }
    found
}

/// Pairs of edges that face each other over ink, nearest first come.
fn stems(edges: &[Edge], cap: i64, widest: i64) -> Vec<Stem> {
    let slack = cap / 30;
    let overlap = |a: &Edge, b: &Edge| a.to.min(b.to) - a.from.max(b.from) + slack;
    let fits = |a: &Edge, b: &Edge| a.opens && !b.opens && b.at > a.at && b.at - a.at <= widest && overlap(a, b) > 0;
    let mut found: Vec<Stem> = Vec::new();
    for a in edges.iter().filter(|edge| edge.opens) {
        let Some(b) = edges.iter().filter(|b| fits(a, b)).min_by_key(|b| b.at) else { continue };
        if edges.iter().any(|other| fits(other, b) && other.at > a.at) {
            continue;
        }
        let stem = Stem { low: a.at, high: b.at, length: (a.to - a.from).min(b.to - b.from) };
        // Strokes above one another, as in the two bowls of an 8, are one column.
        match found.iter_mut().find(|s| (s.low - stem.low).abs() * 14 < cap && (s.high - stem.high).abs() * 14 < cap) {
            Some(same) if same.length >= stem.length => same.length += stem.length,
            Some(same) => *same = Stem { length: same.length + stem.length, ..stem },
            None => found.push(stem),
        }
    }
    // Of columns that cut into each other the longer counts.
    found.sort_by_key(|stem| (-stem.length, stem.low));
    let mut kept: Vec<Stem> = Vec::new();
    for stem in found {
        if kept.iter().all(|other| stem.high <= other.low || other.high <= stem.low) {
            kept.push(stem);
        }
    }
    kept.sort_by_key(|stem| stem.low);
    kept
}

/// How much of the slanted stroke across a counter is left, in hundredths. Measured with tesseract on
/// 150 identifiers each at 12 to 32 dots: 7.3 wrong letters in a hundred with all of it, 6.9 with 80,
/// 6.2 with 60, 5.7 with 40; people still have to see it.
const STRUCK: i64 = 50;

/// Most dots a side of that stroke is moved up or down: large counters are open as they are.
const MOST: i64 = 2;

/// Farthest place of that stroke, in parts of a dot: 16,384 dots. Products of what is nearer fit 64 bits.
const FAR: i64 = 1 << 22;

/// The slanted stroke that parts two counters, as in a struck zero: contour and number of either side.
fn struck(outline: &Outline) -> Option<[(usize, usize); 2]> {
    let inside = -outline.area().signum();
    let slanted = |a: &Point, b: &Point| {
        let (run, rise) = ((b[0] - a[0]).abs(), (b[1] - a[1]).abs());
        run * SLANT > rise && rise * SLANT > run
    };
    let length = |a: &Point, b: &Point| (b[0] - a[0]).pow(2) + (b[1] - a[1]).pow(2);
    // A counter's straight, slanted side, at least 7/10 as long as the counter is high.
    let side = |(at, contour): (usize, &Vec<Point>)| {
        let counter = Outline { contours: vec![contour.clone()] };
        let (low, high) = counter.extent(1)?;
        let (nth, (a, b)) = sides(contour).enumerate().max_by_key(|(_, (a, b))| length(a, b))?;
        (counter.area().signum() == inside && slanted(a, b) && length(a, b) * 2 > (high - low).pow(2))
            .then_some((at, nth))
    };
    let found: Vec<_> = outline.contours.iter().enumerate().filter_map(side).collect();
    found.try_into().ok()
}

/// How thick such a stroke is, in parts of a dot: up the outline, and along the way it steps: a steep
/// one steps from row to row and is as wide as it is along them; a flat one, up. `None` once folded,
/// and farther off than any letter of a label, where a damaged font may put it.
fn thickness(outline: &Outline, struck: [(usize, usize); 2]) -> Option<[i64; 2]> {
    let [[a, b], [c, d]] = struck.map(|(contour, nth)| {
        let points = &outline.contours[contour];
        [points[nth], points[(nth + 1) % points.len()]]
    });
    let (run, rise) = ((b[0] - a[0]).abs(), (b[1] - a[1]).abs());
    let far = [a, b, c, d].into_iter().flatten().any(|part| part.abs() > FAR);
    if far || run == 0 || rise == 0 || c[0] == d[0] {
        return None;
    }
    // How far the second side is above the first, halfway along.
    let middle = (a[0] + b[0] + c[0] + d[0]) / 4;
    let height = |p: Point, q: Point| p[1] + (q[1] - p[1]) * (middle - p[0]) / (q[0] - p[0]);
    let up = height(c, d) - height(a, b);
    Some([up, (up.abs() * run / rise).min(up.abs())])
}

/// Thins that stroke of a fitted outline, evenly from both sides; `plain` is the same as designed.
///
/// At a few dots it fills the counter it crosses, and the zero is taken for a 9, a 6 or an 8. What is
/// left is a whole number of dots wide, as stems are: between one dot and two it would be now the one
/// and now the other, a row of knots. No stroke is lost by it: the scan converter keeps a dot of each.
fn thin(fitted: &mut Outline, plain: &Outline, struck: [(usize, usize); 2]) {
    let (Some([up, wide]), Some([designed, designed_wide])) = (thickness(fitted, struck), thickness(plain, struck))
    else {
        return;
    };
    let rest = |up: i64| (up.abs() * STRUCK / 100).max(up.abs() - 2 * MOST * DOT);
    let whole = designed_wide * rest(designed) / designed.abs().max(1) / DOT;
    let left = if whole > 0 { up.abs() * whole * DOT / wide.max(1) } else { rest(up) };
    let shift = (up.abs() - left).max(0) / 2 * up.signum();
    for ((contour, nth), shift) in struck.into_iter().zip([shift, -shift]) {
        let points = &mut fitted.contours[contour];
        let next = (nth + 1) % points.len();
        points[nth][1] += shift;
        points[next][1] += shift;
    }
}

/// The line an axis is bent by.
#[derive(Default)]
struct Bend {
    /// Place in the outline, and dot; both rise.
    anchors: Vec<(i64, i64)>,
}

impl Bend {
    /// Adds an anchor unless it would fold the axis.
    fn add(&mut self, at: i64, dot: i64) -> bool {
        let index = self.anchors.partition_point(|anchor| anchor.0 < at);
        let below = index.checked_sub(1).map(|i| self.anchors[i]);
        let above = self.anchors.get(index).copied();
        if above.is_some_and(|(place, _)| place == at)
            || below.is_some_and(|(_, d)| d > dot)
            || above.is_some_and(|(_, d)| d < dot)
        {
            return false;
        }
        self.anchors.insert(index, (at, dot));
        true
    }

    /// Adds a stroke `width` dots wide if it folds nothing and leaves `blank` dots on either side.
    fn add_stem(&mut self, stem: Stem, low: i64, width: i64, blank: i64) -> bool {
        if self.anchors.iter().any(|&(place, _)| place > stem.low && place < stem.high) {
            return false;
        }
        // What stands where an edge of the stroke is, is the stroke itself.
        let room = |&(place, dot): &(i64, i64)| {
            let (below, above) =
                (if place == stem.low { 0 } else { blank }, if place == stem.high { 0 } else { blank });
            if place <= stem.low { dot + below <= low } else { dot >= low + width + above }
        };
        if !self.anchors.iter().all(room) {
            return false;
        }
        self.anchors.retain(|&(place, _)| place != stem.low && place != stem.high);
        let index = self.anchors.partition_point(|anchor| anchor.0 < stem.low);
        self.anchors.splice(index..index, [(stem.low, low), (stem.high, low + width)]);
        true
    }

    /// Where a place comes to lie, in parts of a dot.
    fn bent(&self, at: i64, scale: Scale) -> i64 {
        let index = self.anchors.partition_point(|anchor| anchor.0 <= at);
        match (index.checked_sub(1).map(|i| self.anchors[i]), self.anchors.get(index)) {
            (Some((a, from)), Some(&(b, to))) => from * DOT + rounded((at - a) * (to - from) * DOT, b - a),
            (Some((a, from)), None) => from * DOT + scale.parts(at - a),
            (None, Some(&(b, to))) => to * DOT + scale.parts(at - b),
            (None, None) => scale.parts(at),
        }
    }
}

impl Grid {
    /// Width of a stroke in dots: strokes like the face's own are all alike.
    fn stroke(&self, axis: usize, width: i64, scale: Scale) -> i64 {
        let usual = self.stems[axis];
        if width * 10 >= usual * 7 && width * 10 <= usual * 14 {
            self.usual(axis, scale)
        } else {
            scale.whole(width).max(1)
        }
    }

    fn usual(&self, axis: usize, scale: Scale) -> i64 {
        scale.whole(self.stems[axis]).max(1)
    }

    fn zone(&self, at: i64, scale: Scale) -> Option<i64> {
        let slack = self.cap / 80;
        self.zones.iter().find_map(|zone| {
            let (low, high) = (zone.flat.min(zone.round) - slack, zone.flat.max(zone.round) + slack);
            (low..=high).contains(&at).then(|| {
                let flat = scale.whole(zone.flat);
                // Round letters overshoot once that is most of a dot; where fitted loosely, half of one.
                let over = zone.round - zone.flat;
                let part = if scale.whole(self.cap) < LOOSE { DOT / 4 } else { DOT / 2 };
                let nearer_round = (at - zone.flat).abs() * 2 > over.abs();
                let dots = (scale.parts(over.abs()) + part) / DOT;
                if nearer_round { flat + dots * over.signum() } else { flat }
            })
        })
    }

    /// Fits loosely upwards: the heights at which letters end.
    fn ends(&self, outline: &Outline, scale: Scale) -> Bend {
        let mut bend = Bend::default();
        let ends = outline.extent(1).map_or([None; 2], |(low, high)| [Some(low), Some(high)]);
        for at in edges(outline, 1, self.cap).iter().map(|edge| edge.at).chain(ends.into_iter().flatten()) {
            if let Some(dot) = self.zone(at, scale) {
                bend.add(at, dot);
            }
        }
        bend
    }

    /// Fits loosely along the line: stems of whole dots where they come to lie.
    fn columns(&self, outline: &Outline, scale: Scale) -> Bend {
        let mut bend = Bend::default();
        let usual = self.usual(0, scale);
        for stem in stems(&edges(outline, 0, self.cap), self.cap, self.stems[0] * 9 / 4) {
            // Large stems of other widths keep them, so that nothing is moved by more than a dot.
            let width = scale.whole(stem.high - stem.low);
            let width = if (width - usual).abs() <= 1 && usual <= EVEN { usual } else { width.max(1) };
            place(&mut bend, stem, width, scale);
        }
        bend
    }

    /// Fits upwards: heights at which letters end, then bars between them.
    fn upwards(&self, outline: &Outline, scale: Scale) -> Bend {
        let mut bend = Bend::default();
        let Some((low, high)) = outline.extent(1) else { return bend };
        let edges = edges(outline, 1, self.cap);
        let stems = stems(&edges, self.cap, self.stems[1] * 9 / 4);
        let mut width = self.usual(1, scale);
        // Bars one above the other need blank rows between them.
        let end = |at| self.zone(at, scale).unwrap_or_else(|| scale.whole(at));
        let rows = end(high) - end(low);
        let count = i64::try_from(stems.len()).unwrap_or(0);
        while width > 1 && rows - count * width < count - 1 {
            width -= 1;
        }
        let wide = |stem: &Stem| self.stroke(1, stem.high - stem.low, scale).min(width.max(1)).max(1);
        let mut free = Vec::new();
        for stem in &stems {
            let w = wide(stem);
            let put = match (self.zone(stem.low, scale), self.zone(stem.high, scale)) {
                (Some(dot), _) if stem.low <= self.cap / 20 => bend.add_stem(*stem, dot, w, 0),
                (_, Some(dot)) => bend.add_stem(*stem, dot - w, w, 0),
                _ => false,
            };
            if !put {
                free.push(*stem);
            }
        }
        for edge in &edges {
            if let Some(dot) = self.zone(edge.at, scale) {
                bend.add(edge.at, dot);
            }
        }
        for end in [low, high] {
            let dot = self.zone(end, scale).unwrap_or_else(|| rounded(bend.bent(end, scale), DOT));
            bend.add(end, dot);
        }
        for stem in free {
            place(&mut bend, stem, wide(&stem), scale);
        }
        bend
    }

    /// Fits along the line: the advance is whole dots, and so are the blanks at either side.
    fn along(&self, outline: &Outline, advance: i64, scale: Scale) -> Bend {
        let dots = scale.whole(advance);
        let mut bend = Bend::default();
        let Some((low, high)) = outline.extent(0) else { return bend };
        let stems = stems(&edges(outline, 0, self.cap), self.cap, self.stems[0] * 9 / 4);
        let near = |a: i64, b: i64| (a - b).abs() * 20 < self.cap;
        let wide = |stem: &Stem| self.stroke(0, stem.high - stem.low, scale);
        let growth: i64 =
            stems.iter().map(|stem| wide(stem) * DOT - scale.parts(stem.high - stem.low)).max().unwrap_or(0);
        let ideal = rounded(scale.parts(high - low) + growth.max(0), DOT).max(1);
        let (before, after) = (low, advance - high);
        let single = stems.len() == 1 && near(stems[0].low, low) && near(stems[0].high, high);
        let mut width = if single {
            wide(&stems[0])
        } else if advance > 0 {
            (dots - scale.whole(before) - scale.whole(after)).clamp(ideal - 1, ideal + 1).max(1)
        } else {
            ideal
        };
        // A stem in the middle stands in the middle.
        if let Some(stem) = stems.iter().find(|stem| near(stem.low + stem.high, low + high))
            && !single
            && (width - wide(stem)) % 2 != 0
        {
            width += if scale.parts(high - low) + growth.max(0) > width * DOT { 1 } else { -1 };
        }
        // Stems need blank columns between them.
        let taken: i64 = stems.iter().map(wide).sum();
        let count = i64::try_from(stems.len()).unwrap_or(0);
        width = width.max(taken + (count - 1).max(0));
        let left = if advance > 0 {
            let blank = dots - width;
            let (b, a) = (before.max(0), after.max(0));
            if scale.whole(before) + width + scale.whole(after) == dots || before < 0 || after < 0 || a + b == 0 {
                scale.whole(before)
            } else {
                rounded(blank * b * 2 - 1, (a + b) * 2)
            }
        } else {
            scale.whole(low)
        };
        let mut free = Vec::new();
        for stem in &stems {
            let w = wide(stem);
            let put = if near(stem.low, low) {
                bend.add_stem(*stem, left, w, 0)
            } else if near(stem.high, high) {
                bend.add_stem(*stem, left + width - w, w, 0)
            } else {
                false
            };
            if !put {
                free.push(*stem);
            }
        }
        bend.add(low, left);
        bend.add(high, left + width);
        for stem in free {
            place(&mut bend, stem, wide(&stem), scale);
        }
        bend
    }

    /// Whether a glyph is fitted to the dots. Others are drawn as designed.
    pub(super) fn fits(&self, glyph: GlyphId) -> bool {
        self.letters.binary_search(&glyph.to_u32()).is_ok()
    }

    /// The outline in parts of a dot as designed, its capitals `cap` dots high.
    pub(super) fn plain(&self, outline: &Outline, cap: i64, ratio_milli: i64) -> Outline {
        let scales = [Scale { dots: cap * ratio_milli, units: self.cap * 1000 }, Scale { dots: cap, units: self.cap }];
        let point = |point: &Point| [0, 1].map(|axis| scales[axis].parts(point[axis]));
        Outline { contours: outline.contours.iter().map(|contour| contour.iter().map(point).collect()).collect() }
    }

    /// The outline in parts of a dot, its capitals `cap` dots high, from its pen on the baseline.
    pub(super) fn fitted(&self, outline: &Outline, advance: i64, cap: i64, ratio_milli: i64) -> Outline {
        let up = Scale { dots: cap, units: self.cap };
        let along = Scale { dots: cap * ratio_milli, units: self.cap * 1000 };
        let bends = if cap < LOOSE {
            [self.along(outline, advance, along), self.upwards(outline, up)]
        } else {
            [self.columns(outline, along), self.ends(outline, up)]
        };
        let point = |point: &Point| [bends[0].bent(point[0], along), bends[1].bent(point[1], up)];
        let contours = outline.contours.iter().map(|contour| contour.iter().map(point).collect()).collect();
        let mut fitted = Outline { contours };
        if let Some(struck) = struck(outline) {
            thin(&mut fitted, &self.plain(outline, cap, ratio_milli), struck);
        }
        fitted
    }
}

/// A glyph's advance in 1/64 font units.
#[allow(clippy::cast_possible_truncation, reason = "font units are 16 bits wide")]
pub(super) fn advance(font: &FontRef<'_>, glyph: GlyphId) -> i64 {
    let metrics = font.glyph_metrics(Size::unscaled(), LocationRef::default());
    (metrics.advance_width(glyph).unwrap_or(0.0) * UNIT as f32) as i64
}

/// Places a stroke that no edge of the letter holds: where it would lie, on the nearest whole dots,
/// with a blank dot on either side, thinner if need be.
fn place(bend: &mut Bend, stem: Stem, width: i64, scale: Scale) {
    for blank in [1, 0] {
        for width in (1..=width).rev() {
            let middle = bend.bent(stem.low, scale) + bend.bent(stem.high, scale);
            let low = rounded(middle - width * DOT, 2 * DOT);
            if [0, 1, -1].into_iter().any(|shift| bend.add_stem(stem, low + shift, width, blank)) {
                return;
            }
        }
    }
}
