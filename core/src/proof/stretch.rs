//! Stretches of a strip: the rows its picture is folded into, and where its waste lies.

use crate::strip::Strip;
use crate::unit::Dots;
use std::ops::Range;

/// Kinds of waste drawn as bars.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Waste {
    Lead,
    Gap,
    Trail,
    Pad,
}

impl Waste {
    pub(super) const ALL: [Self; 4] = [Self::Lead, Self::Gap, Self::Trail, Self::Pad];

    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Lead => "lead",
            Self::Gap => "gap",
            Self::Trail => "trail",
            Self::Pad => "pad",
        }
    }

    /// What the strip has of it, in all.
    pub(super) const fn of(self, strip: &Strip) -> Dots {
        match self {
            Self::Lead => strip.ledger.lead,
            Self::Gap => strip.ledger.gap,
            Self::Trail => strip.ledger.trail,
            Self::Pad => strip.ledger.pad,
        }
    }

    /// Whether column `x` of row `y` of its bar is dark, the pattern `size` pixels wide: told apart
    /// without colour.
    pub(super) const fn dark(self, x: usize, y: usize, size: usize) -> bool {
        match self {
            Self::Lead => (x + y) % size < size * 3 / 8,
            Self::Gap => true,
            Self::Trail => x % size < size / 3,
            Self::Pad => y % size < size / 3,
        }
    }
}

/// Lines of a length that is not negative.
pub(super) fn lines(length: Dots) -> usize {
    usize::try_from(length.0).unwrap_or(0)
}

/// Where the strip goes on in the next row, rows of at most `longest` lines, an eighth more where that ends a label: in the middle of
/// gaps; before the first label, where that keeps it whole; else anywhere, in a label that is too long.
pub(super) fn rows(strip: &Strip, ends: &[Dots], longest: usize) -> Vec<Range<usize>> {
    let (longest, length) = (longest.max(1), lines(strip.length));
    let mut folds: Vec<usize> =
        ends.iter().zip(strip.starts.iter().skip(1)).map(|(&end, &start)| lines(Dots((end.0 + start.0) / 2))).collect();
    if let Some(&start) = strip.starts.first() {
        let start = lines(start);
        let end = folds.first().copied().unwrap_or(length);
        if end > longest && end - start <= longest {
            folds.insert(0, start);
        }
    }
    let mut rows = Vec::new();
    let mut at = 0;
    while at < length {
        let most = at + longest;
        let last = |most: usize| folds.iter().copied().chain([length]).filter(|&fold| fold > at && fold <= most).max();
        // A row somewhat longer is better than a sliver of a label in a row of its own.
        let end = last(most).or_else(|| last(most + longest / 8)).unwrap_or(most);
        rows.push(at..end);
        at = end;
    }
    rows
}

/// Every stretch of waste of the strip.
pub(super) fn wastes(strip: &Strip, ends: &[Dots]) -> Vec<(Waste, Range<usize>)> {
    let mut wastes = vec![(Waste::Lead, 0..lines(strip.ledger.lead))];
    let gaps = i64::try_from(ends.len()).unwrap_or(1) - 1;
    let gap = if gaps > 0 { Dots(strip.ledger.gap.0 / gaps) } else { Dots::ZERO };
    let mut after = |from: Dots, to: Dots, kind: Waste, own: Dots| {
        // What is longer than its own share is pad, right after the label.
        let pad = (to - from - own).max(Dots::ZERO);
        wastes.push((Waste::Pad, lines(from)..lines(from + pad)));
        wastes.push((kind, lines(from + pad)..lines(to)));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::Catalogue;
    use crate::strip::{Between, Rules};

    fn strip(between: Between, lengths: &[i64]) -> (Strip, Vec<Dots>) {
        let catalogue = Catalogue::shipped();
        let (printer, stock) = (catalogue.printer("bench-180").unwrap(), catalogue.stock("tape-12").unwrap());
        let lengths: Vec<Dots> = lengths.iter().map(|&length| Dots(length)).collect();
        let strip = Strip::new(&Rules::new(printer, stock, Some(between)), &lengths);
        let ends = strip.starts.iter().zip(&lengths).map(|(&start, &length)| start + length).collect();
        (strip, ends)
    }

    #[test]
    fn rows_join_and_fold_in_gaps_or_before_a_label_that_would_be_split() {
        // Lead 178, gap 22, trail 11.
        let (five, ends) = strip(Between::Half, &[500; 5]);
        assert_eq!(rows(&five, &ends, 1275), [0..1211, 1211..2255, 2255..lines(five.length)]);
        let (long, ends) = strip(Between::Half, &[1250, 40]);
        assert_eq!(rows(&long, &ends, 1275), [0..178, 178..1439, 1439..lines(long.length)]);
        let (longer, ends) = strip(Between::Half, &[3000]);
        assert_eq!(rows(&longer, &ends, 1275), [0..1275, 1275..2550, 2550..3189]);
    }

    #[test]
    fn wastes_are_the_ledger() {
        for between in [Between::Half, Between::Full, Between::Snip] {
            for lengths in [&[500; 5][..], &[20, 30], &[1]] {
                let (strip, ends) = strip(between, lengths);
                let wastes = wastes(&strip, &ends);
                for kind in Waste::ALL {
                    let found: usize = wastes.iter().filter(|(k, _)| *k == kind).map(|(_, range)| range.len()).sum();
                    assert_eq!(found, lines(kind.of(&strip)), "{kind:?} {between:?} {lengths:?}");
                }
            }
        }
    }
}
