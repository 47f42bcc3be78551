//! The largest legible text for a box: size, face and line breaks.

use super::text::{Piece, Seam, Text, blank};
use super::{Design, Misfit, MisfitKind};
use crate::font::{Fonts, Measure, MissingGlyph, Size, Style};
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
    /// What a person should know of how it was fitted, in sentences.
    pub notes: Vec<String>,
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
    /// Width of letters over that of the face: less than 1 where only their height shrinks later.
    pub(super) letters: f64,
}

impl TextBox {
    /// Dots a length along the text over dots up it, as letters take them.
    fn ratio(&self) -> f64 {
        self.letters * f64::from(self.along.milli()) / f64::from(self.up.milli())
    }
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

/// Dots that are inked for a fraction of the cap height: half a dot's overshoot leaves no ink.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
fn inked(cap: i64, part: f64) -> i64 {
    (cap as f64 * part + 0.5).floor() as i64
}

/// From baseline to baseline, for all lines alike: what the two that need most take. Where one of three
/// lines has descenders, the eye would take uneven lines for groups.
fn lead(cap: i64, measures: &[Measure]) -> i64 {
    let apart = |m: &[Measure]| inked(cap, m[0].below) + line_gap(cap) + inked(cap, m[1].above) + cap;
    measures.windows(2).map(apart).max().unwrap_or(0)
}

fn block_height(cap: i64, measures: &[Measure]) -> i64 {
    let (Some(first), Some(last)) = (measures.first(), measures.last()) else { return 0 };
    let leads = i64::try_from(measures.len()).unwrap_or(1) - 1;
    inked(cap, first.above) + cap + lead(cap, measures) * leads + inked(cap, last.below)
}

/// The size of a cap height in the box's resolutions.
fn size(style: Style, cap: i64, space: &TextBox) -> Size {
    Size { style, cap, ratio_milli: Micrometres::from_mm(space.ratio()).0 }
}

/// The largest cap height at which the measured lines fit the box, their advances whole dots; zero
/// or less if none does.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
fn largest(fonts: &Fonts, lines: &[String], style: Style, measures: &[Measure], space: &TextBox, most: i64) -> i64 {
    let mut cap = most.min(space.height.0 / i64::try_from(measures.len()).unwrap_or(1).max(1));
    while cap > 0 && block_height(cap, measures) > space.height.0 {
        cap -= 1;
    }
    let Some(width) = space.width else { return cap };
    let ratio = space.ratio();
    // Rounding moves a line by half a dot a letter at most.
    let slack = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0) as f64 / 2.0;
    let widest = measures.iter().map(|m| m.width).fold(0.0, f64::max) * ratio;
    if widest > 0.0 {
        cap = cap.min(((width.0 as f64 + slack) / widest) as i64);
    }
    let wide = |cap| lines.iter().map(|line| fonts.dots_wide(line, size(style, cap, space))).max().unwrap_or(0);
    while cap > 0 && widest * cap as f64 + slack > width.0 as f64 && wide(cap) > width.0 {
        cap -= 1;
    }
    cap
}

fn measure(fonts: &Fonts, lines: &[String], style: Style) -> Result<Vec<Measure>, MissingGlyph> {
    lines.iter().map(|line| fonts.measure(line, style)).collect()
}

/// Pieces set on `count` lines so that the widest is as narrow as can be; `kept` where every line
/// of the text as given also ends a line. Nothing where that cannot be.
fn balanced(
    pieces: &[Piece<'_>],
    widths: &[f64],
    (space, between): (f64, fn(&str, &str) -> &'static str),
    count: usize,
    kept: bool,
) -> Option<Broken> {
    // Blanks before each piece that does not begin a line.
    let before = |end: usize| between(pieces[end - 1].text, pieces[end].text);
    // best[k][i]: widest line when pieces[i..] stand on k lines, and where the first of them ends.
    let n = pieces.len();
    let mut best = vec![vec![(f64::INFINITY, n); n + 1]; count + 1];
    best[0][n] = (0.0, n);
    for k in 1..=count {
        for i in (0..n).rev() {
            let mut line = 0.0;
            for end in i + 1..=n {
                if end > i + 1 {
                    line += before(end - 1).len() as f64 * space;
                }
                line += widths[end - 1];
                let widest = best[k - 1][end].0.max(line);
                if widest < best[k][i].0 {
                    best[k][i] = (widest, end);
                }
                if kept && pieces[end - 1].seam.is_none() {
                    break;
                }
            }
        }
    }
    if best[count][0].0.is_infinite() {
        return None;
    }
    let mut broken = Broken { lines: Vec::with_capacity(count), torn: false };
    let (mut i, mut k) = (0, count);
    while k > 0 && i < n {
        let end = best[k][i].1;
        let mut line = pieces[i].text.to_owned();
        for pair in pieces[i..end].windows(2) {
            line.push_str(between(pair[0].text, pair[1].text));
            line.push_str(pair[1].text);
        }
        broken.lines.push(line);
        broken.torn |= end < n && pieces[end - 1].seam.is_some_and(Seam::tears);
        (i, k) = (end, k - 1);
    }
    Some(broken)
}

/// Text on other lines than given.
#[derive(Debug, PartialEq)]
struct Broken {
    lines: Vec<String>,
    /// Whether a value is broken between its words.
    torn: bool,
}

/// The most lines a block is broken into.
const MOST_LINES: usize = 4;

/// What is said of a label on which a value had to be broken.
const TORN: &str = "a value is broken between its words: there is no room for it on one line";

/// The best found so far.
struct Found {
    cap: i64,
    style: Style,
    broken: Option<Broken>,
    measures: Vec<Measure>,
}

/// Fits lines of text into a box.
///
/// The lines are kept as given while they reach the cap height to aim at, in the plain face or else
/// in the condensed one. Below that other breaks are tried: first between groups of values, then
/// between any two values; the first way that reaches the aim is taken, else the largest, the
/// earlier on a tie. Only where all that cannot be read is a value broken between its words, and a
/// note says so. A number is never parted from its unit.
///
/// # Errors
/// A character without a glyph, or text that stays below the least cap height.
pub(super) fn fit(fonts: &Fonts, text: &Text, space: TextBox, caps: Caps) -> Result<Fitted, Misfit> {
    let spaced = text.spaced();
    let of = |style| if style == Style::Normal { &spaced } else { text };
    let most = space.up.dots_within(caps.most).0.max(1);
    let aim = space.up.dots_covering(caps.aim).0.min(most);
    let least = space.up.dots_covering(caps.least).0.max(LEAST_CAP_DOTS);
    let glyph = |missing: MissingGlyph| Misfit {
        kind: MisfitKind::Glyph,
        field: "text",
        found: format!("{missing} in `{}`", text.lines().join(" / ")),
        wanted: format!(
            "characters the fonts have; name a font file with {} in the job file, fonts = [\"FILE.ttf\"], \
             or put it into `fonts` in your settings folder",
            missing.writing().map_or_else(|| "that sign".into(), |writing| format!("{writing} letters"))
        ),
    };
    let lines = of(Style::Normal).lines();
    let measures = measure(fonts, lines, Style::Normal).map_err(glyph)?;
    let cap = largest(fonts, lines, Style::Normal, &measures, &space, most);
    let mut best = Found { cap, style: Style::Normal, broken: None, measures };
    if best.cap < aim {
        let lines = of(Style::Condensed).lines();
        let measures = measure(fonts, lines, Style::Condensed).map_err(glyph)?;
        let cap = largest(fonts, lines, Style::Condensed, &measures, &space, most);
        if cap > best.cap {
            best = Found { cap, style: Style::Condensed, broken: None, measures };
        }
    }
    for seam in [Seam::Group, Seam::Field, Seam::Word, Seam::Numeral] {
        let enough = if seam.tears() { least } else { aim };
        if best.cap >= enough {
            break;
        }
        best = rebroken(fonts, |style| of(style).pieces(seam), &space, (most, enough), best).map_err(glyph)?;
    }
    let set = best.broken.as_ref().map_or(of(best.style).lines(), |broken| &broken.lines);
    if best.cap < least {
        let reached = space.up.length(Dots(best.cap.max(0)));
        return Err(Misfit {
            kind: MisfitKind::Legibility,
            field: "text",
            found: format!("`{}` at {reached} cap height ({} dots)", text.lines().join(" / "), best.cap.max(0)),
            wanted: format!("at least {} ({least} dots)", space.up.length(Dots(least))),
        });
    }
    let mut fitted = settle(fonts, size(best.style, best.cap, &space), set, &best.measures);
    if best.broken.is_some_and(|broken| broken.torn) {
        fitted.notes.push(TORN.to_owned());
    }
    Ok(fitted)
}

/// The largest of `best` and the pieces on any number of lines, in either face: the plain face
/// where it reaches `enough`. Breaks that keep the lines as given come first on a tie.
fn rebroken<'t>(
    fonts: &Fonts,
    pieces: impl Fn(Style) -> Vec<Piece<'t>>,
    space: &TextBox,
    (most, enough): (i64, i64),
    mut best: Found,
) -> Result<Found, MissingGlyph> {
    for style in [Style::Normal, Style::Condensed] {
        let pieces = pieces(style);
        let between = if style == Style::Normal { blank } else { |_: &str, _: &str| " " };
        let widths = pieces.iter().map(|piece| fonts.measure(piece.text, style).map(|m| m.width));
        let widths: Vec<f64> = widths.collect::<Result<_, _>>()?;
        let space_width = fonts.measure(" ", style)?.width;
        for kept in [true, false] {
            for count in 1..=pieces.len().min(MOST_LINES) {
                let Some(broken) = balanced(&pieces, &widths, (space_width, between), count, kept) else { continue };
                let measures = measure(fonts, &broken.lines, style)?;
                let cap = largest(fonts, &broken.lines, style, &measures, space, most);
                if cap > best.cap {
                    best = Found { cap, style, broken: Some(broken), measures };
                }
            }
        }
        if best.cap >= enough {
            break;
        }
    }
    Ok(best)
}

/// Lines at a chosen size, centred.
fn settle(fonts: &Fonts, size: Size, lines: &[String], measures: &[Measure]) -> Fitted {
    let Size { style, cap, ratio_milli } = size;
    let widest = lines.iter().map(|line| fonts.dots_wide(line, size)).max().unwrap_or(0);
    let height = block_height(cap, measures);
    let first = height - cap - measures.first().map_or(0, |m| inked(cap, m.above));
    let lead = lead(cap, measures);
    let fitted = lines.iter().zip(0..).map(|(text, nth)| {
        let baseline = first - lead * nth;
        FittedLine {
            text: text.clone(),
            left: Dots((widest - fonts.dots_wide(text, size)) / 2),
            baseline: Dots(baseline),
        }
    });
    Fitted {
        lines: fitted.collect(),
        style,
        cap: Dots(cap),
        ratio_milli,
        width: Dots(widest),
        height: Dots(height),
        notes: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn space(width: Option<i64>, height: i64) -> TextBox {
        let dpi = Dpi::from_milli(180_000).unwrap();
        TextBox { width: width.map(Dots), height: Dots(height), along: dpi, up: dpi, letters: 1.0 }
    }

    fn texts(fitted: &Fitted) -> Vec<&str> {
        fitted.lines.iter().map(|line| line.text.as_str()).collect()
    }

    /// Lines with `|` where groups part, `/` where fields part, `.` where words part, and `~` before numerals.
    fn text(lines: &[&str]) -> Text {
        let mut text = Text::new();
        for line in lines {
            let seams = line.char_indices().filter_map(|(at, c)| {
                let seam = match c {
                    '|' => Seam::Group,
                    '/' => Seam::Field,
                    '.' => Seam::Word,
                    '~' => Seam::Numeral,
                    _ => return None,
                };
                Some((at, seam))
            });
            text.push(line.replace(['|', '/', '.', '~'], " "), seams.collect());
        }
        text
    }

    /// Dots that the widest of these lines takes at a cap height.
    fn wide(fonts: &Fonts, lines: &[&str], style: Style, cap: i64) -> i64 {
        let size = Size { style, cap, ratio_milli: 1000 };
        lines.iter().map(|line| fonts.dots_wide(line, size)).max().unwrap()
    }

    fn caps(least: i64, aim: i64, most: i64) -> Caps {
        Caps { least: Micrometres(least), aim: Micrometres(aim), most: Micrometres(most) }
    }

    #[test]
    fn text_is_the_largest_that_fits() {
        let fonts = Fonts::embedded();
        let lines = text(&["TWP/OTTER", "1040/50 ft"]);
        let fitted = fit(&fonts, &lines, space(None, 70), caps(2327, 2909, 20_000)).unwrap();
        assert_eq!(texts(&fitted), ["TWP OTTER", "1040  50 ft"], "two numbers stand two blanks apart");
        let measures = measure(&fonts, lines.lines(), Style::Normal).unwrap();
        assert!(fitted.height.0 <= 70 && block_height(fitted.cap.0 + 1, &measures) > 70);
        for line in &fitted.lines {
            assert!(line.baseline.0 >= 0 && line.baseline + fitted.cap <= fitted.height);
        }
    }

    /// Owner and batch, number and length: broken between these, whatever the width; then between
    /// any two values; between the words of a value only where nothing else can be read.
    #[test]
    fn lines_are_broken_where_sense_lets_them() {
        let fonts = Fonts::embedded();
        let one = text(&["TWP/OTTER|1040/50 ft"]);
        let wide = |words: &[&str], cap| wide(&fonts, words, Style::Normal, cap);
        for (width, height, wanted) in [
            (wide(&["TWP OTTER 1040  50 ft"], 22), 30, &["TWP OTTER 1040  50 ft"][..]),
            (wide(&["TWP OTTER", "1040  50 ft"], 22), 60, &["TWP OTTER", "1040  50 ft"]),
            (wide(&["OTTER", "50 ft"], 17), 120, &["TWP", "OTTER", "1040", "50 ft"]),
        ] {
            let fitted = fit(&fonts, &one, space(Some(width), height), caps(2250, 2909, 20_000)).unwrap();
            assert_eq!(texts(&fitted), wanted, "{width} × {height}");
            assert!(fitted.width.0 <= width && fitted.height.0 <= height && fitted.notes.is_empty());
        }
    }

    #[test]
    fn a_value_is_broken_only_where_it_could_not_be_read_and_that_is_said() {
        let fonts = Fonts::embedded();
        let wide = |words: &str, cap| wide(&fonts, &[words], Style::Condensed, cap);
        let value = text(&["OTTER", "Stage.left.Desk~3"]);
        let width = wide("Stage left Desk 3", 12);
        // 12 dots and 16 dots at the least.
        let fits = |least| fit(&fonts, &value, space(Some(width), 90), caps(least, 6000, 20_000)).unwrap();
        let whole = fits(1650);
        assert_eq!((texts(&whole), whole.notes.len()), (vec!["OTTER", "Stage left Desk 3"], 0));
        let torn = fits(2250);
        assert_eq!(texts(&torn), ["OTTER", "Stage left", "Desk 3"]);
        assert_eq!(torn.notes, [TORN]);
        // A numeral stays with its word to the last, a unit with its number to the end.
        let width = wide("OTTER", 15);
        let fits = |line| fit(&fonts, &text(&[line]), space(Some(width), 90), caps(1960, 6000, 20_000));
        let numeral = fits("OTTER|Desk~3000").unwrap();
        assert_eq!((texts(&numeral), numeral.notes.len()), (vec!["OTTER", "Desk", "3000"], 1));
        assert_eq!(fits("3000 metres").unwrap_err().kind, MisfitKind::Legibility);
    }

    /// Lines stay as the person gave them while they reach the aim, condensed if need be.
    #[test]
    fn lines_as_given_come_first() {
        let fonts = Fonts::embedded();
        let given = text(&["TWP/OTTER|1040", "50 ft"]);
        for (words, style, wanted) in [
            (&["TWP OTTER 1040"][..], Style::Normal, &["TWP OTTER 1040", "50 ft"][..]),
            (&["TWP OTTER 1040"], Style::Condensed, &["TWP OTTER 1040", "50 ft"]),
            // Where a line must be broken, the other breaks stay.
            (&["TWP OTTER", "1040", "50 ft"], Style::Normal, &["TWP OTTER", "1040", "50 ft"]),
        ] {
            let width = wide(&fonts, words, style, 22);
            let fitted = fit(&fonts, &given, space(Some(width), 90), caps(2327, 2909, 20_000)).unwrap();
            assert_eq!((texts(&fitted), fitted.style), (wanted.to_vec(), style));
        }
    }

    #[test]
    fn breaks_are_balanced() {
        let pieces = [("a", Some(Seam::Group)), ("b", None), ("c", None)].map(|(text, seam)| Piece { text, seam });
        let lines =
            |count, kept| balanced(&pieces, &[1.0, 5.0, 2.0], (1.0, blank), count, kept).map(|broken| broken.lines);
        assert_eq!(lines(2, false).unwrap(), ["a b", "c"]);
        assert_eq!(lines(1, true), None);
        assert_eq!(lines(1, false).unwrap(), ["a b c"]);
        assert_eq!(lines(3, true).unwrap(), ["a", "b", "c"]);
        let even = ["a", "b", "c", "d"].map(|text| Piece { text, seam: Some(Seam::Word) });
        let broken = balanced(&even, &[1.0, 1.0, 1.0, 1.0], (0.5, blank), 2, false).unwrap();
        assert_eq!((broken.lines, broken.torn), (vec!["a b".to_owned(), "c d".to_owned()], true));
    }

    #[test]
    fn two_lines_become_one_where_two_would_be_too_small() {
        let fonts = Fonts::embedded();
        let lines = text(&["TWP/OTTER", "1040/50 ft"]);
        let fitted = fit(&fonts, &lines, space(None, 31), caps(2327, 2909, 9000)).unwrap();
        assert_eq!(texts(&fitted), ["TWP OTTER 1040  50 ft"]);
    }

    /// Three lines stand evenly, whichever of them have descenders; two need no more room than they take.
    #[test]
    fn lines_stand_evenly() {
        let fonts = Fonts::embedded();
        let fitted = fit(&fonts, &text(&["TWP", "Top", "RACK"]), space(None, 90), caps(2327, 2909, 20_000)).unwrap();
        let baselines: Vec<i64> = fitted.lines.iter().map(|line| line.baseline.0).collect();
        assert_eq!(baselines[0] - baselines[1], baselines[1] - baselines[2], "{baselines:?}");
        assert!(fitted.height.0 <= 90 && baselines[2] == 0 && baselines[0] + fitted.cap.0 == fitted.height.0);
        let gap = |second: &str| {
            let fitted = fit(&fonts, &text(&["TWP", second]), space(None, 60), caps(2250, 2600, 2600)).unwrap();
            fitted.lines[0].baseline.0 - fitted.lines[1].baseline.0
        };
        assert_eq!(gap("Top"), gap("RACK"), "what hangs below the last line parts no lines");
    }

    #[test]
    fn too_small_says_what_was_reached_and_what_is_needed() {
        let fonts = Fonts::embedded();
        let misfit = fit(&fonts, &text(&["OTTER"]), space(None, 14), caps(2327, 2909, 9000)).unwrap_err();
        assert_eq!(misfit.kind, MisfitKind::Legibility);
        assert_eq!(misfit.found, "`OTTER` at 1.976 mm cap height (14 dots)");
        assert_eq!(misfit.wanted, "at least 2.399 mm (17 dots)");
    }
}
