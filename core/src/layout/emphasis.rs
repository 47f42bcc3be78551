//! Words of a text printed white on black: where their fields stand.

use super::fit::Fitted;
use super::{Area, Emphasis};
use crate::font::{Fonts, Size};
use crate::unit::Dots;

/// The fields of the words in a fitted text, in its own box, `halo` dots larger each side at most:
/// one field a line the words stand on. None where the text does not have them.
pub(super) fn fields(fonts: &Fonts, text: &Fitted, emphasis: &Emphasis, halo: Dots) -> Vec<Area> {
    // Lines may have been broken anew; the words keep their order.
    let joined: Vec<&str> = text.lines.iter().map(|line| line.text.as_str()).collect();
    let joined = joined.join(" ");
    let Some((start, words)) = joined.match_indices(emphasis.text.as_str()).nth(emphasis.nth) else {
        return Vec::new();
    };
    let (start, end) = (start, start + words.len());
    let (mut fields, mut before) = (Vec::new(), 0);
    for line in &text.lines {
        let from = start.clamp(before, before + line.text.len()) - before;
        let to = end.clamp(before, before + line.text.len()) - before;
        before += line.text.len() + 1;
        let inside = line.text[from..to].trim();
        if inside.is_empty() {
            continue;
        }
        let from = from + (line.text[from..to].len() - line.text[from..to].trim_start().len());
        let size = Size { style: text.style, cap: text.cap.0, ratio_milli: text.ratio_milli };
        let dots = |part: &str| fonts.dots_wide(part, size);
        let (left, right) = (dots(&line.text[..from]), dots(&line.text[..from + inside.len()]));
        // Half of the blank between words, so that the neighbour keeps its own half.
        let aside = halo.0.min((dots(" ") / 2).max(1));
        // The line gap is a third of the cap height: a third of that stays blank between two fields.
        let over = halo.0.min((text.cap.0 / 9).max(1));
        let ink = fonts.measure(inside, text.style).unwrap_or_default();
        #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "label sizes")]
        let [above, below] = [ink.above, ink.below].map(|part| (part * text.cap.0 as f64 + 0.5).floor() as i64);
        fields.push(Area {
            left: line.left + Dots(left - aside),
            bottom: line.baseline - Dots(over + below),
            width: Dots(right - left + 2 * aside),
            height: text.cap + Dots(2 * over + above + below),
        });
    }
    fields
}

#[cfg(test)]
mod tests {
    use super::super::fit::FittedLine;
    use super::*;
    use crate::font::Style;

    fn fitted(lines: &[&str]) -> Fitted {
        let line = |(nth, text): (usize, &&str)| FittedLine {
            text: (*text).to_owned(),
            left: Dots(3),
            baseline: Dots(30 - 30 * i64::try_from(nth).unwrap()),
        };
        Fitted {
            style: Style::Normal,
            cap: Dots(20),
            ratio_milli: 1000,
            lines: lines.iter().enumerate().map(line).collect(),
            width: Dots(200),
            height: Dots(50),
            notes: Vec::new(),
        }
    }

    fn emphasis(text: &str, nth: usize) -> Emphasis {
        Emphasis { text: text.into(), nth }
    }

    #[test]
    fn the_field_covers_its_words_and_no_neighbour() {
        let fonts = Fonts::embedded();
        let width = |text: &str| 20.0 * fonts.measure(text, Style::Normal).unwrap().width;
        let fields = fields(&fonts, &fitted(&["OTTER 50 ft 7"]), &emphasis("50 ft", 0), Dots(2));
        let [field] = fields[..] else { panic!("one field: {fields:?}") };
        #[allow(clippy::cast_precision_loss)]
        let (left, right) = (field.left.0 as f64 - 3.0, (field.left + field.width).0 as f64 - 3.0);
        assert!(left < width("OTTER ") && left > width("OTTER"), "{left}");
        assert!(right > width("OTTER 50 ft") && right < width("OTTER 50 ft "), "{right}");
        // An f reaches above a capital.
        assert_eq!((field.bottom, field.height), (Dots(28), Dots(24 + 1)));
    }

    #[test]
    fn the_nth_of_equal_words_is_found_and_words_over_two_lines_have_two_fields() {
        let fonts = Fonts::embedded();
        let found = |lines: &[&str], text, nth| fields(&fonts, &fitted(lines), &emphasis(text, nth), Dots(2)).len();
        assert_eq!(found(&["50", "50 ft"], "50 ft", 0), 1);
        assert_eq!(found(&["A 50", "ft B"], "50 ft", 0), 2);
        assert_eq!(found(&["A"], "50 ft", 0), 0);
        let second = fields(&fonts, &fitted(&["7 7"]), &emphasis("7", 1), Dots(2));
        assert!(second[0].left > Dots(20), "{second:?}");
    }
}
