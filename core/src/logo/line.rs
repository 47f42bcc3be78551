//! Line art: where the picture lies on the dots, and which dots are ink.

use super::plane::{Plane, Span, identity, sums};

/// Lays a picture of coverage (0 paper, 255 ink) on so many dots, where its edges fall best on
/// borders of dots: (along, up).
///
/// The picture keeps all of the box but three quarters of a dot at most, so nothing is cut off.
pub(super) fn fitted(coverage: &Plane, along: usize, up: usize) -> (Span, Span) {
    let turned = Plane {
        width: coverage.height,
        height: coverage.width,
        tones: (0..coverage.width)
            .flat_map(|x| (0..coverage.height).map(move |y| coverage.tones[y * coverage.width + x]))
            .collect(),
    };
    (best(coverage, along), best(&turned, up))
}

/// The span of a row of dots that leaves the fewest of them half covered.
///
/// From end to end unless another span is better by a fifth: round shapes gain little anywhere, and
/// would only become uneven.
fn best(coverage: &Plane, dots: usize) -> Span {
    let whole = Span::whole(dots);
    if dots < 2 {
        return whole;
    }
    let shrunk = (1..4).flat_map(|shrunk| (0..=shrunk).map(move |before| (before, shrunk - before)));
    let spans = std::iter::once(whole).chain(shrunk.map(|(before, after)| Span { dots, before, after }));
    let spans: Vec<(Span, Vec<(usize, u64)>)> = spans.map(|span| (span, span.borders(coverage.width))).collect();
    let mut vague = vec![0_u64; spans.len()];
    let mut ink = vec![0_u64; coverage.width + 1];
    for row in coverage.tones.chunks_exact(coverage.width) {
        for (at, &tone) in row.iter().enumerate() {
            ink[at + 1] = ink[at] + u64::from(tone);
        }
        for ((span, borders), vague) in spans.iter().zip(&mut vague) {
            *vague += vagueness(row, &ink, *span, borders);
        }
    }
    let best = (0..spans.len()).min_by_key(|&at| vague[at]).unwrap_or(0);
    if 5 * vague[best] <= 4 * vague[0] { spans[best].0 } else { whole }
}

/// Sum over the dots of a row of the product of what is ink and what is paper.
///
/// `ink` sums up the row from its start.
fn vagueness(row: &[u8], ink: &[u64], span: Span, borders: &[(usize, u64)]) -> u64 {
    let unit = u64::try_from(span.quarters()).unwrap_or(u64::MAX);
    let full = 255 * 4 * u64::try_from(row.len()).unwrap_or(u64::MAX);
    let upto = |&(pixel, part): &(usize, u64)| {
        let tone = row.get(pixel).copied().unwrap_or(0);
        ink[pixel] * unit + part * u64::from(tone)
    };
    let mut before = 0;
    let mut vague = 0;
    for border in &borders[1..] {
        let sum = upto(border);
        let covered = (sum - before) * 256 / full;
        before = sum;
        vague += covered * (256 - covered);
    }
    vague
}

/// Dots of which at least half is ink, row by row from the top.
pub(super) fn inked(coverage: &Plane, along: Span, up: Span) -> Vec<bool> {
    let (sums, weight) = sums(coverage, along, up, &identity(), 0);
    sums.into_iter().map(|sum| 2 * sum >= 255 * weight).collect()
}
