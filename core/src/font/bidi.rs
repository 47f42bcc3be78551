//! Which way text runs: the order of a line's parts as printed, by the Unicode Bidirectional Algorithm.
//!
//! A line of a label is a paragraph of its own: it runs right to left if its first letter does
//! (UAX #9, rules P2 and P3). The levels are those of the crate `unicode-bidi`.

use std::borrow::Cow;
use unicode_bidi::{Level, ParagraphBidiInfo};

/// Whether a character could raise the level of any part of a line that runs left to right.
///
/// Every letter, number and control that does lies in these blocks (Unicode 16, DerivedBidiClass:
/// classes R, AL, AN, the embeddings and overrides, the isolates, and unassigned places that default
/// to R or AL).
const fn turns(c: char) -> bool {
    matches!(c,
        '\u{0590}'..='\u{08FF}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}'
        | '\u{FB1D}'..='\u{FDFF}' | '\u{FE70}'..='\u{FEFF}'
        | '\u{10800}'..='\u{10FFF}' | '\u{1E800}'..='\u{1EFFF}')
}

/// Words for a line that runs left to right whatever they are: where they could turn what stands beside
/// them, in an isolate of their own (UAX #9, 2.4), with a left-to-right mark in front for a line that begins
/// with them.
pub fn apart(words: &str) -> String {
    match isolated(words) {
        Cow::Borrowed(words) => words.to_owned(),
        Cow::Owned(words) => format!("\u{200E}{words}"),
    }
}

/// Words in an isolate of their own where they could turn what stands beside them: `صقر` before
/// `42` stays before it, and `15 ft` after it stays whole.
pub fn isolated(words: &str) -> Cow<'_, str> {
    if words.chars().any(turns) { Cow::Owned(format!("\u{2068}{words}\u{2069}")) } else { Cow::Borrowed(words) }
}

/// The words without what [`isolated`] and [`apart`] put round them.
pub fn bare(words: &str) -> String {
    words.replace(['\u{200E}', '\u{2068}', '\u{2069}'], "")
}

/// The embedding level of each byte of a line, after rule L1; odd levels run right to left.
/// `None`: all of it runs left to right.
///
/// `base` is 0 or 1 for a line that runs left to right or right to left whatever its letters,
/// `None` to go by the first strong one.
pub fn levels(line: &str, base: Option<u8>) -> Option<Vec<u8>> {
    if base.unwrap_or(0) == 0 && !line.chars().any(turns) {
        return None;
    }
    let info = ParagraphBidiInfo::new(line, base.and_then(|base| Level::new(base).ok()));
    Some(info.reordered_levels(0..line.len()).iter().map(Level::number).collect())
}

/// Ranges of one level each, in the order they stand in print, left to right (rule L2).
pub fn in_print<T>(runs: &mut Vec<T>, level: impl Fn(&T) -> u8) {
    let levels: Vec<Level> = runs.iter().map(|run| Level::new(level(run)).unwrap_or_else(|_| Level::ltr())).collect();
    let order = ParagraphBidiInfo::reorder_visual(&levels);
    let mut taken: Vec<Option<T>> = runs.drain(..).map(Some).collect();
    runs.extend(order.into_iter().filter_map(|nth| taken[nth].take()));
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::ops::Range;

    /// The line as it stands in print: characters left to right.
    fn printed(line: &str) -> String {
        let levels = levels(line, None).unwrap_or_else(|| vec![0; line.len()]);
        let mut runs: Vec<(u8, Range<usize>)> =
            line.char_indices().map(|(at, c)| (levels[at], at..at + c.len_utf8())).collect();
        in_print(&mut runs, |run| run.0);
        runs.into_iter().map(|(_, range)| &line[range]).collect()
    }

    #[test]
    fn lines_stand_in_the_order_of_the_algorithm() {
        for (line, wanted) in [
            ("TWP OTTER", "TWP OTTER"),
            // P3: the first letter is Latin, so the line runs left to right; R and AL letters turn (L2).
            ("TWP \u{5D0}\u{5D1} 12", "TWP 12 \u{5D1}\u{5D0}"),
            // W2, I1: a number after an Arabic letter is AN and stands left of it, its digits in order.
            ("\u{645}\u{646} 1040", "1040 \u{646}\u{645}"),
            // W4, N1: the stop inside a number stays in it.
            ("\u{5D0} 1.5", "1.5 \u{5D0}"),
            // L1: blanks at the end of the line take the line's own level.
            ("\u{5D0}\u{5D1} ", " \u{5D1}\u{5D0}"),
        ] {
            assert_eq!(printed(line), wanted, "{line:?}");
        }
    }

    #[test]
    fn plain_lines_need_no_levels() {
        assert_eq!(levels("Ärger Кабель Ωμ 漢字 1040", None), None);
        assert_eq!(levels("A", Some(1)), Some(vec![2]));
        assert!(levels("A\u{202E}BC", None).is_some());
    }
}
