//! The largest legible text for a box: size, face and line breaks.

use super::{Design, Misfit, MisfitKind};
use crate::font::{Fonts, Measure, MissingGlyph, Style};
use crate::unit::{Dots, Dpi, Micrometres};

/// Never fewer dots of cap height than this: a 5 × 7 letter (ISO 9241-3 and BGI 650: 5 × 7 for
/// digits and capitals at the least).
pub(super) const LEAST_CAP_DOTS: i64 = 7;

/// One line of fitted text.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedLine {
    /// The text.
    pub text: String,
    /// From the left edge of the block to the pen's start, in dots along the text.
    pub left: Dots,
    /// From the bottom edge of the block to the baseline, in dots up the text.
    pub baseline: Dots,
}

/// Text at the size it will be printed in.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// Face.
    pub style: Style,
    /// Cap height in dots up the text.
    pub cap: Dots,
    /// 1000 × dots a length along the text over dots up it.
    pub ratio_milli: i64,
    /// Lines, top to bottom.
    pub lines: Vec<FittedLine>,
    /// Box along the text.
    pub width: Dots,
    /// Box up the text.
    pub height: Dots,
}

/// The box text must fit, in the text's own directions.
#[derive(Clone, Copy)]
pub(super) struct TextBox {
    /// Dots along the text; `None` when the label grows with it.
    pub(super) width: Option<Dots>,
    /// Dots up the text.
    pub(super) height: Dots,
    /// Resolution along the text.
    pub(super) along: Dpi,
    /// Resolution up the text.
    pub(super) up: Dpi,
}

/// Cap heights to keep to, printed (before shrinking).
#[derive(Clone, Copy)]
pub(super) struct Caps {
    pub(super) least: Micrometres,
    pub(super) aim: Micrometres,
    pub(super) most: Micrometres,
}

impl Caps {
    pub(super) fn of(design: &Design) -> Self {
        Self { least: design.least_cap(), aim: design.aim_cap(), most: design.most_cap() }
    }
}

/// Blank between two lines of text at a cap height: a third of it, at least two dots.
fn line_gap(cap: i64) -> i64 {
    ((cap + 2) / 3).max(2)
}

/// Whole dots that cover a fraction of the cap height.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
fn covering(cap: i64, part: f64) -> i64 {
    (cap as f64 * part - 1e-9).ceil() as i64
}

/// Dots that are inked for a fraction of the cap height: half a dot's overshoot leaves no ink.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
fn inked(cap: i64, part: f64) -> i64 {
    (cap as f64 * part + 0.5).floor() as i64
}

fn block_height(cap: i64, measures: &[Measure]) -> i64 {
    let lines: i64 = measures.iter().map(|m| cap + inked(cap, m.above) + inked(cap, m.below)).sum();
    lines + line_gap(cap) * (i64::try_from(measures.len()).unwrap_or(1) - 1)
}

/// The largest cap height at which the measured lines fit the box; zero or less if none does.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
fn largest(measures: &[Measure], space: &TextBox, most: i64) -> i64 {
    let ratio = f64::from(space.along.milli()) / f64::from(space.up.milli());
    let widest = measures.iter().map(|m| m.width).fold(0.0, f64::max);
    let mut cap = most.min(space.height.0 / i64::try_from(measures.len()).unwrap_or(1).max(1));
    if let Some(width) = space.width
        && widest > 0.0
    {
        cap = cap.min((width.0 as f64 / (widest * ratio)) as i64);
    }
    while cap > 0 && block_height(cap, measures) > space.height.0 {
        cap -= 1;
    }
    cap
}

fn measure(fonts: &Fonts, lines: &[String], style: Style) -> Result<Vec<Measure>, MissingGlyph> {
    lines.iter().map(|line| fonts.measure(line, style)).collect()
}

/// Words broken into `count` lines so that the widest is as narrow as can be.
fn balanced(words: &[&str], widths: &[f64], blank: f64, count: usize) -> Vec<String> {
    // best[k][i]: widest line when words[i..] stand on k lines, and where the first of them ends.
    let n = words.len();
    let mut best = vec![vec![(f64::INFINITY, n); n + 1]; count + 1];
    best[0][n] = (0.0, n);
    for k in 1..=count {
        for i in (0..n).rev() {
            let mut line = -blank;
            for end in i + 1..=n {
                line += widths[end - 1] + blank;
                let widest = best[k - 1][end].0.max(line);
                if widest < best[k][i].0 {
                    best[k][i] = (widest, end);
                }
            }
        }
    }
    let (mut lines, mut i, mut k) = (Vec::with_capacity(count), 0, count);
    while k > 0 && i < n {
        let end = best[k][i].1;
        lines.push(words[i..end].join(" "));
        (i, k) = (end, k - 1);
    }
    lines
}

/// The most lines a block is broken into.
const MOST_LINES: usize = 4;

/// Fits lines of text into a box.
///
/// The lines are kept as given while they reach the cap height to aim at. Below that, the
/// condensed face is tried, then other line breaks at spaces; the largest result wins, the
/// earlier kind on a tie.
///
/// # Errors
/// A character without a glyph, or text that stays below the least cap height.
pub(super) fn fit(fonts: &Fonts, lines: &[String], space: TextBox, caps: Caps) -> Result<Fitted, Misfit> {
    let most = space.up.dots_within(caps.most).0.max(1);
    let aim = space.up.dots_covering(caps.aim).0.min(most);
    let least = space.up.dots_covering(caps.least).0.max(LEAST_CAP_DOTS);
    let glyph = |MissingGlyph(c)| Misfit {
        kind: MisfitKind::Glyph,
        field: "text",
        found: format!("{c:?} (U+{:04X}) in `{}`", u32::from(c), lines.join(" / ")),
        wanted: "characters the embedded fonts have".into(),
    };
    let measures = measure(fonts, lines, Style::Normal).map_err(glyph)?;
    let mut best = (largest(&measures, &space, most), Style::Normal, None::<Vec<String>>, measures);
    if best.0 < aim {
        let given = measure(fonts, lines, Style::Condensed).map_err(glyph)?;
        let cap = largest(&given, &space, most);
        if cap > best.0 {
            best = (cap, Style::Condensed, None, given);
        }
        let words: Vec<&str> = lines.iter().flat_map(|line| line.split_whitespace()).collect();
        for style in [Style::Normal, Style::Condensed] {
            let widths = words.iter().map(|word| fonts.measure(word, style).map(|m| m.width));
            let widths: Vec<f64> = widths.collect::<Result<_, _>>().map_err(glyph)?;
            let blank = fonts.measure(" ", style).map_err(glyph)?.width;
            for count in 1..=words.len().min(MOST_LINES) {
                if count == 1 && space.width.is_none() && lines.len() == 1 {
                    continue;
                }
                let broken = balanced(&words, &widths, blank, count);
                let given = measure(fonts, &broken, style).map_err(glyph)?;
                let cap = largest(&given, &space, most);
                if cap > best.0 {
                    best = (cap, style, Some(broken), given);
                }
            }
        }
    }
    let (cap, style, broken, measures) = best;
    if cap < least {
        let reached = space.up.length(Dots(cap.max(0)));
        return Err(Misfit {
            kind: MisfitKind::Legibility,
            field: "text",
            found: format!("`{}` at {reached} cap height ({} dots)", lines.join(" / "), cap.max(0)),
            wanted: format!("at least {} ({least} dots)", space.up.length(Dots(least))),
        });
    }
    Ok(settle(cap, style, broken.as_deref().unwrap_or(lines), &measures, &space))
}

/// Lines at a chosen size, centred.
fn settle(cap: i64, style: Style, lines: &[String], measures: &[Measure], space: &TextBox) -> Fitted {
    let ratio = f64::from(space.along.milli()) / f64::from(space.up.milli());
    let width = |m: &Measure| covering(cap, m.width * ratio);
    let widest = measures.iter().map(width).max().unwrap_or(0);
    let height = block_height(cap, measures);
    let mut top = height;
    let fitted = lines.iter().zip(measures).map(|(text, m)| {
        let baseline = top - inked(cap, m.above) - cap;
        top = baseline - inked(cap, m.below) - line_gap(cap);
        FittedLine { text: text.clone(), left: Dots((widest - width(m)) / 2), baseline: Dots(baseline) }
    });
    Fitted {
        lines: fitted.collect(),
        style,
        cap: Dots(cap),
        ratio_milli: Micrometres::from_mm(ratio).0,
        width: Dots(widest),
        height: Dots(height),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn space(width: Option<i64>, height: i64) -> TextBox {
        let dpi = Dpi::from_milli(180_000).unwrap();
        TextBox { width: width.map(Dots), height: Dots(height), along: dpi, up: dpi }
    }

    fn texts(fitted: &Fitted) -> Vec<&str> {
        fitted.lines.iter().map(|line| line.text.as_str()).collect()
    }

    #[test]
    fn text_is_the_largest_that_fits() {
        let fonts = Fonts::embedded();
        let lines = ["TWP OTTER".to_owned(), "1040 50 ft".to_owned()];
        let caps = Caps { least: Micrometres(2327), aim: Micrometres(2909), most: Micrometres(20_000) };
        let fitted = fit(&fonts, &lines, space(None, 70), caps).unwrap();
        assert_eq!(texts(&fitted), ["TWP OTTER", "1040 50 ft"]);
        let measures = measure(&fonts, &lines, Style::Normal).unwrap();
        assert!(fitted.height.0 <= 70 && block_height(fitted.cap.0 + 1, &measures) > 70);
        for line in &fitted.lines {
            assert!(line.baseline.0 >= 0 && line.baseline + fitted.cap <= fitted.height);
        }
    }

    #[test]
    fn breaks_are_balanced_where_the_width_is_bounded() {
        let fonts = Fonts::embedded();
        let caps = Caps { least: Micrometres(1000), aim: Micrometres(4000), most: Micrometres(20_000) };
        let lines = ["TWP OTTER 1040 50 ft".to_owned()];
        let fitted = fit(&fonts, &lines, space(Some(120), 60), caps).unwrap();
        assert_eq!(fitted.lines.len(), 2, "{:?}", texts(&fitted));
        assert!(fitted.width.0 <= 120);
        assert_eq!(balanced(&["a", "b", "c"], &[1.0, 5.0, 2.0], 1.0, 2), ["a b", "c"]);
    }

    #[test]
    fn two_lines_become_one_where_two_would_be_too_small() {
        let fonts = Fonts::embedded();
        let caps = Caps { least: Micrometres(2327), aim: Micrometres(2909), most: Micrometres(9000) };
        let lines = ["TWP OTTER".to_owned(), "1040 50 ft".to_owned()];
        let fitted = fit(&fonts, &lines, space(None, 31), caps).unwrap();
        assert_eq!(texts(&fitted), ["TWP OTTER 1040 50 ft"]);
    }

    #[test]
    fn too_small_says_what_was_reached_and_what_is_needed() {
        let fonts = Fonts::embedded();
        let caps = Caps { least: Micrometres(2327), aim: Micrometres(2909), most: Micrometres(9000) };
        let misfit = fit(&fonts, &["OTTER".to_owned()], space(None, 14), caps).unwrap_err();
        assert_eq!(misfit.kind, MisfitKind::Legibility);
        assert_eq!(misfit.found, "`OTTER` at 1.976 mm cap height (14 dots)");
        assert_eq!(misfit.wanted, "at least 2.399 mm (17 dots)");
    }
}
