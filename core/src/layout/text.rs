//! The text of a label, and where sense lets its lines be broken.

/// A blank at which a line may be broken, from the best place to the worst.
///
/// A blank between a number and its unit is none of these: it stays whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Seam {
    /// Between two values that do not belong together.
    Group,
    /// Between two values that people say in one breath: owner and batch, number and length.
    Field,
    /// Between two words of one value, or a fixed word and its value.
    Word,
    /// Between a word and its numeral: `Desk 3`.
    Numeral,
}

impl Seam {
    /// Whether breaking here tears a value apart, which a person should know.
    pub const fn tears(self) -> bool {
        matches!(self, Self::Word | Self::Numeral)
    }
}

/// Lines of text, none empty, each with its seams.
///
/// # Guarantees
/// Words stand one blank apart; no blank at an end of a line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text {
    lines: Vec<String>,
    /// For each line the bytes of its blanks that are seams, in order.
    seams: Vec<Vec<(usize, Seam)>>,
}

/// Units a number is not parted from: of length first, then of what cables carry.
const UNITS: [&str; 36] = [
    "mm", "cm", "m", "km", "metre", "metres", "meter", "meters", "in", "inch", "inches", "ft", "foot", "feet", "yd",
    "mm²", "mm2", "sqmm", "AWG", "A", "mA", "V", "kV", "W", "kW", "VA", "kVA", "Ω", "ohm", "Hz", "kHz", "MHz", "GHz",
    "°", "°C", "%",
];

/// Feet, after which inches may follow.
const FEET: [&str; 3] = ["ft", "foot", "feet"];

fn is_numeral(word: &str) -> bool {
    let word = word.strip_prefix(['±', '−', '-', 'Ø', '~']).unwrap_or(word);
    word.starts_with(|c: char| c.is_ascii_digit() || "½¼¾⅛⅜⅝⅞".contains(c))
        && word.chars().all(|c| c.is_ascii_digit() || ".,/'\"′″’”½¼¾⅛⅜⅝⅞".contains(c))
}

/// Whether two words are a number and its unit.
pub fn quantity(before: &str, after: &str) -> bool {
    is_numeral(before.trim_start_matches('(')) && UNITS.contains(&after.trim_end_matches(['.', ',', ')']))
}

/// The seam at the blank between two words of one value; nothing between a number and its unit.
pub fn seam_within(before: &str, after: &str) -> Option<Seam> {
    if quantity(before, after) {
        None
    } else if is_numeral(after) && (FEET.contains(&before) || before.ends_with(['\'', '′', '’']) || after.contains('/'))
    {
        // Feet and inches, a number and its fraction.
        None
    } else if is_numeral(after) {
        Some(if is_numeral(before) { Seam::Word } else { Seam::Numeral })
    } else {
        Some(Seam::Word)
    }
}

impl Text {
    /// No lines yet.
    pub const fn new() -> Self {
        Self { lines: Vec::new(), seams: Vec::new() }
    }

    /// Adds a line with the bytes of its seams, in order. An empty line is left out.
    ///
    /// # Panics
    /// Where a seam is no blank inside the line.
    pub fn push(&mut self, line: String, seams: Vec<(usize, Seam)>) {
        let blank = |&(at, _): &(usize, Seam)| at > 0 && at + 1 < line.len() && line.as_bytes()[at] == b' ';
        assert!(seams.iter().all(blank), "`{line}` has no blanks at {seams:?}");
        if !line.is_empty() {
            self.lines.push(line);
            self.seams.push(seams);
        }
    }

    /// Adds a line of plain words: one value.
    pub fn add(&mut self, line: &str) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let mut seams = Vec::new();
        let mut at = 0;
        for pair in words.windows(2) {
            at += pair[0].len();
            seams.extend(seam_within(pair[0], pair[1]).map(|seam| (at, seam)));
            at += 1;
        }
        self.push(words.join(" "), seams);
    }

    /// The lines as asked for.
    pub fn lines(&self) -> &[String] {
        &self.lines
    }

    /// Bytes of the seams of a line, in order.
    ///
    /// # Panics
    /// Where there is no such line.
    pub fn seams(&self, line: usize) -> &[(usize, Seam)] {
        &self.seams[line]
    }

    /// Whether there is nothing to print.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// The same with numbers of two values further apart: see [`blank`].
    pub(super) fn spaced(&self) -> Self {
        let mut spaced = Self::new();
        for (line, seams) in self.lines.iter().zip(&self.seams) {
            let (mut wide, mut moved, mut start) = (String::with_capacity(line.len() + 2), Vec::new(), 0);
            for &(at, seam) in seams {
                wide.push_str(&line[start..at]);
                moved.push((wide.len(), seam));
                start = at + 1;
                wide.push_str(if seam.tears() { " " } else { blank(&line[..at], &line[start..]) });
            }
            wide.push_str(&line[start..]);
            spaced.push(wide, moved);
        }
        spaced
    }

    /// Everything cut at the seams that are no worse than `worst`: the pieces in order, and for each
    /// whether its line ends with it, and the seam it ends at otherwise.
    pub(super) fn pieces(&self, worst: Seam) -> Vec<Piece<'_>> {
        let mut pieces = Vec::new();
        for (line, seams) in self.lines.iter().zip(&self.seams) {
            let mut start = 0;
            for &(at, seam) in seams.iter().filter(|(_, seam)| *seam <= worst) {
                pieces.push(Piece { text: &line[start..at], seam: Some(seam) });
                start = at + line[at..].len() - line[at..].trim_start_matches(' ').len();
            }
            pieces.push(Piece { text: &line[start..], seam: None });
        }
        pieces
    }
}

/// What stands between two values on a line. Two numbers would run into one at a distance: `5 50 ft`
/// is read as 550, so they stand two blanks apart. Not so in the condensed face: its blank is as wide
/// as a digit.
pub(super) fn blank(before: &str, after: &str) -> &'static str {
    let numbers = before.ends_with(|c: char| c.is_numeric()) && after.starts_with(|c: char| c.is_numeric());
    if numbers { "  " } else { " " }
}

/// A stretch of text that is not broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Piece<'t> {
    pub(super) text: &'t str,
    /// The seam after it; `None` where the line ends.
    pub(super) seam: Option<Seam>,
}

/// Lines of plain words: each line one value.
impl<S: AsRef<str>> FromIterator<S> for Text {
    fn from_iter<I: IntoIterator<Item = S>>(lines: I) -> Self {
        let mut text = Self::new();
        for line in lines {
            text.add(line.as_ref());
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(line: &str, worst: Seam) -> Vec<String> {
        let text: Text = [line].into_iter().collect();
        text.pieces(worst).iter().map(|piece| piece.text.to_owned()).collect()
    }

    #[test]
    fn a_number_keeps_its_unit_and_a_word_its_numeral_to_the_last() {
        assert_eq!(cut("Stage left box 3", Seam::Field), ["Stage left box 3"]);
        assert_eq!(cut("Stage left box 3", Seam::Word), ["Stage", "left", "box 3"]);
        assert_eq!(cut("Desk 3", Seam::Numeral), ["Desk", "3"]);
        for whole in ["10 m", "50 ft", "12′ 6″", "12' 6\"", "1 1/2 in", "12 ft 6 in", "63 A", "1.5 mm²", "75 Ω"] {
            let pieces = cut(whole, Seam::Word);
            assert_eq!(pieces, [whole], "{whole}");
        }
        assert_eq!(cut("spare  10 m   long", Seam::Numeral), ["spare", "10 m", "long"]);
        assert_eq!(cut("Block A West", Seam::Word), ["Block", "A", "West"]);
    }
}
