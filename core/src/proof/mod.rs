//! What a person looks at before tape is used: a picture of every strip, a sheet of all labels at true
//! size, a label on its cable; and the work sheet for the bench. Values in, bytes out.

mod bench;
mod canvas;
mod caption;
mod legend;
mod lettering;
mod oncable;
mod outline;
mod picture;
mod scene;
mod sheet;
mod stretch;

pub use bench::{Bench, BenchHead, BenchRow};
pub use oncable::{OnCable, Reads, on_cable_png};
pub use picture::{PictureLabel, StripPicture, strip_png};
pub use sheet::{Paper, Sheet, SheetLabel};

/// Text broken at blanks into lines that fit, a word that does not fit alone between any two of its
/// characters. Nothing is lost but blanks at breaks; every line has a character at least.
fn broken(text: &str, fits: impl Fn(&str) -> bool) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if let Some(line) = lines.last_mut() {
            let longer = format!("{line} {word}");
            if fits(&longer) {
                *line = longer;
                continue;
            }
        }
        let mut part = String::new();
        for c in word.chars() {
            part.push(c);
            if part.len() > c.len_utf8() && !fits(&part) {
                part.pop();
                lines.push(std::mem::replace(&mut part, c.to_string()));
            }
        }
        lines.push(part);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::broken;

    #[test]
    fn lines_break_at_blanks_and_long_words_inside() {
        let fits = |most: usize| move |line: &str| line.chars().count() <= most;
        assert_eq!(broken("OTTER 1040 near", fits(10)), ["OTTER 1040", "near"]);
        assert_eq!(broken("OTTER 1040 near", fits(9)), ["OTTER", "1040 near"]);
        assert_eq!(broken("é NIGHTINGALE 7", fits(5)), ["é", "NIGHT", "INGAL", "E 7"]);
        assert_eq!(broken("ab", fits(0)), ["a", "b"]);
        assert!(broken("  ", fits(9)).is_empty());
    }
}
