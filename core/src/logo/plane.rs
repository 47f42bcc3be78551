//! A grey picture, and its exact area average on a grid of dots.

use std::borrow::Cow;

/// Grey values row by row from the top, as an 8-bit sRGB picture counts them: 0 is black, 255 white.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Plane {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) tones: Vec<u8>,
}

/// A tone from which on a margin is paper: what JPEG leaves of white still counts as white.
pub(super) const PAPER: u8 = 247;

/// Columns from `left` to before `right`, rows from `top` to before `bottom`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Window {
    pub(super) left: usize,
    pub(super) top: usize,
    pub(super) right: usize,
    pub(super) bottom: usize,
}

impl Plane {
    /// What is not white margin; `None` if all is white.
    pub(super) fn inked(&self) -> Option<Window> {
        let ink = |tone: &u8| *tone < PAPER;
        let rows: Vec<&[u8]> = self.tones.chunks_exact(self.width.max(1)).collect();
        let top = rows.iter().position(|row| row.iter().any(ink))?;
        let bottom = 1 + rows.iter().rposition(|row| row.iter().any(ink))?;
        let left = rows.iter().filter_map(|row| row.iter().position(ink)).min()?;
        let right = 1 + rows.iter().filter_map(|row| row.iter().rposition(ink)).max()?;
        Some(Window { left, top, right, bottom })
    }

    /// A part of it.
    pub(super) fn part(&self, window: Window) -> Self {
        let Window { left, top, right, bottom } = window;
        let rows = self.tones.chunks_exact(self.width.max(1)).skip(top).take(bottom - top);
        let tones = rows.flat_map(|row| &row[left..right]).copied().collect();
        Self { width: right - left, height: bottom - top, tones }
    }

    /// The same with another value for each tone.
    pub(super) fn mapped(&self, map: &[u8; 256]) -> Self {
        Self { tones: self.tones.iter().map(|&tone| map[usize::from(tone)]).collect(), ..*self }
    }

    /// How many pixels have each tone.
    pub(super) fn histogram(&self) -> [u64; 256] {
        let mut counts = [0; 256];
        self.tones.iter().for_each(|&tone| counts[usize::from(tone)] += 1);
        counts
    }

    /// The same on a grid of at most so many pixels, averaged; a plane that is coarser stays as it is.
    pub(super) fn reduced(&self, width: usize, height: usize) -> Cow<'_, Self> {
        let (width, height) = (width.min(self.width), height.min(self.height));
        if (width, height) == (self.width, self.height) {
            return Cow::Borrowed(self);
        }
        let mean = |sum: u64, weight: u64| u8::try_from((2 * sum + weight) / (2 * weight)).unwrap_or(u8::MAX);
        let (sums, weight) = sums(self, Span::whole(width), Span::whole(height), &identity(), 255);
        Cow::Owned(Self { width, height, tones: sums.into_iter().map(|sum| mean(sum, weight)).collect() })
    }
}

/// How a picture lies on a row of dots: from `before` quarters of a dot after the first dot's start
/// to `after` quarters before the last one's end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) dots: usize,
    pub(super) before: usize,
    pub(super) after: usize,
}

impl Span {
    /// From end to end.
    pub(super) const fn whole(dots: usize) -> Self {
        Self { dots, before: 0, after: 0 }
    }

    /// Quarters of a dot that the picture covers.
    pub(super) const fn quarters(self) -> usize {
        4 * self.dots - self.before - self.after
    }

    /// For each dot the pixels it covers of `pixels`, with weights that sum up to `4 * pixels`
    /// with the paper beside the picture: (first pixel, weights).
    pub(super) fn cover(self, pixels: usize) -> Vec<(usize, Vec<u64>)> {
        // A pixel is `quarters` units long, a quarter of a dot `pixels` units.
        let unit = self.quarters();
        let cover = |dot: usize| {
            let start = (4 * dot).saturating_sub(self.before) * pixels;
            let end = ((4 * dot + 4).saturating_sub(self.before) * pixels).min(unit * pixels);
            let first = start / unit;
            let weights = (first..end.div_ceil(unit)).map(|pixel| {
                let overlap = ((pixel + 1) * unit).min(end) - (pixel * unit).max(start);
                u64::try_from(overlap).unwrap_or(u64::MAX)
            });
            (first, weights.collect())
        };
        (0..self.dots).map(cover).collect()
    }

    /// Where the borders of the dots lie on a row of `pixels`, ends included: whole pixels before it,
    /// and how much of the next one, in [`Span::quarters`] parts.
    pub(super) fn borders(self, pixels: usize) -> Vec<(usize, u64)> {
        let unit = self.quarters();
        let border = |dot: usize| {
            let at = (4 * dot).saturating_sub(self.before).min(unit) * pixels;
            (at / unit, u64::try_from(at % unit).unwrap_or(u64::MAX))
        };
        (0..=self.dots).map(border).collect()
    }

    /// The dot in which the middle of a pixel lies.
    pub(super) const fn dot_of(self, pixel: usize, pixels: usize) -> usize {
        ((2 * pixel + 1) * self.quarters() + 2 * self.before * pixels) / (8 * pixels)
    }
}

/// Each tone as it is.
pub(super) fn identity() -> [u32; 256] {
    let mut map = [0; 256];
    map.iter_mut().zip(0..).for_each(|(value, tone)| *value = tone);
    map
}

/// Sums over what each dot covers, row by row from the top, and the weight that they are sums of.
///
/// `map` gives the value of each tone, `paper` the value of what lies beside the picture. Whole
/// numbers throughout: below 2^16 for a value and 2^16 for either weight.
pub(super) fn sums(plane: &Plane, x: Span, y: Span, map: &[u32; 256], paper: u32) -> (Vec<u64>, u64) {
    let (columns, rows) = (x.cover(plane.width), y.cover(plane.height));
    let (wide, high) = (weight(plane.width), weight(plane.height));
    let mut sums = Vec::with_capacity(x.dots * y.dots);
    let mut line = vec![0_u64; x.dots];
    let mut across = vec![0_u64; x.dots];
    let mut at = None;
    for (first, weights) in &rows {
        let covered: u64 = weights.iter().sum();
        line.fill((high - covered) * wide * u64::from(paper));
        for (row, weight) in (*first..).zip(weights) {
            // Neighbours share the row their border runs through.
            if at != Some(row) {
                let tones = &plane.tones[row * plane.width..(row + 1) * plane.width];
                row_sums(tones, &columns, map, wide, paper, &mut across);
                at = Some(row);
            }
            line.iter_mut().zip(&across).for_each(|(sum, value)| *sum += weight * value);
        }
        sums.extend_from_slice(&line);
    }
    (sums, wide * high)
}

fn weight(pixels: usize) -> u64 {
    4 * u64::try_from(pixels).unwrap_or(u64::MAX)
}

/// Sums over what each dot of a row covers of a row of pixels.
fn row_sums(tones: &[u8], columns: &[(usize, Vec<u64>)], map: &[u32; 256], wide: u64, paper: u32, to: &mut [u64]) {
    for (sum, (first, weights)) in to.iter_mut().zip(columns) {
        let mut covered = 0;
        *sum = 0;
        for (tone, weight) in tones[*first..].iter().zip(weights) {
            *sum += weight * u64::from(map[usize::from(*tone)]);
            covered += weight;
        }
        *sum += (wide - covered) * u64::from(paper);
    }
}
