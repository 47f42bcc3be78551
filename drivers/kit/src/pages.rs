//! From a strip to pages.

use std::collections::VecDeque;

use crate::{CutKind, Fault, Strip};

/// A page of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StripPage {
    /// Lines still to come, at least 1; all of them when the page begins.
    pub lines_left: u32,
    /// A full cut comes after the last line.
    pub cut_after: bool,
}

/// The pages that a strip becomes, for command languages that cut at the end of a page and nowhere
/// else. The first page is the one going on.
///
/// ```
/// use tapewright_kit::{Cut, CutKind, Pages, Strip};
///
/// let cuts = [Cut { line: 4, kind: CutKind::Full }];
/// let strip = Strip { index: 0, lines: 10, lead_lines: 0, trail_lines: 0, labels: 1, cuts: &cuts };
/// let mut pages = Pages::between_cuts(&strip, "my language").unwrap();
///
/// // Of 7 lines 4 are for the first page, which has a cut at its end.
/// assert_eq!(pages.lines_of_page(7), 4);
/// assert!(pages.page().unwrap().cut_after);
/// assert!(pages.advance(4));
/// assert_eq!(pages.page().unwrap().lines_left, 6);
/// ```
#[derive(Debug, Clone, Default)]
pub struct Pages(VecDeque<StripPage>);

impl Pages {
    /// The whole strip as one page.
    pub fn whole(strip: &Strip<'_>, cut_after: bool) -> Pages {
        Pages(VecDeque::from([StripPage { lines_left: strip.lines, cut_after }]))
    }

    /// The pieces of a strip between full cuts, a page each. `language` begins the text of a fault.
    ///
    /// # Errors
    ///
    /// A [`Fault`] of kind `Unsupported`:
    ///
    /// - a half cut;
    /// - a full cut before the first line.
    pub fn between_cuts(strip: &Strip<'_>, language: &str) -> Result<Pages, Fault> {
        let mut pages = VecDeque::new();
        let mut first = 0;
        for cut in strip.cuts {
            if cut.kind == CutKind::Half {
                return Err(Fault::unsupported(format!(
                    "{language} cannot carry half cuts, found one at line {} of strip {}; set between = \"full\" or \"snip\" in the job, or another cutter in the printer profile",
                    cut.line, strip.index
                )));
            }
            if cut.line == 0 {
                return Err(Fault::unsupported(format!(
                    "{language} cannot carry a full cut before the first line, found one in strip {}; a page has at least 1 line",
                    strip.index
                )));
            }
            pages.push_back(StripPage { lines_left: cut.line - first, cut_after: true });
            first = cut.line;
        }
        if first < strip.lines {
            pages.push_back(StripPage { lines_left: strip.lines - first, cut_after: false });
        }
        Ok(Pages(pages))
    }

    /// The page going on; `None` at the end of the strip.
    pub fn page(&self) -> Option<StripPage> {
        self.0.front().copied()
    }

    /// Lines still to come of the longest page.
    pub fn longest(&self) -> u32 {
        self.0.iter().map(|page| page.lines_left).max().unwrap_or(0)
    }

    /// How many of `count` lines go to the page going on; 0 at the end of the strip.
    pub fn lines_of_page(&self, count: u32) -> u32 {
        self.0.front().map_or(0, |page| page.lines_left.min(count))
    }

    /// Counts lines of the page going on, at most those left. Whether that was its end; then the
    /// next page goes on.
    pub fn advance(&mut self, count: u32) -> bool {
        let Some(page) = self.0.front_mut() else {
            return false;
        };
        page.lines_left = page.lines_left.saturating_sub(count);
        if page.lines_left > 0 {
            return false;
        }
        self.0.pop_front();
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Cut, FaultKind};

    fn strip(cuts: &[Cut]) -> Strip<'_> {
        Strip { index: 3, lines: 10, lead_lines: 2, trail_lines: 0, labels: 1, cuts }
    }

    fn full(line: u32) -> Cut {
        Cut { line, kind: CutKind::Full }
    }

    fn pages(cuts: &[Cut]) -> Vec<(u32, bool)> {
        let pages = Pages::between_cuts(&strip(cuts), "x").unwrap();
        pages.0.iter().map(|page| (page.lines_left, page.cut_after)).collect()
    }

    #[test]
    fn a_page_for_each_piece() {
        assert_eq!(pages(&[]), [(10, false)]);
        assert_eq!(pages(&[full(10)]), [(10, true)]);
        assert_eq!(pages(&[full(1), full(9)]), [(1, true), (8, true), (1, false)]);
        assert_eq!(pages(&[full(4), full(10)]), [(4, true), (6, true)]);
        assert_eq!(Pages::between_cuts(&strip(&[full(4)]), "x").unwrap().longest(), 6);
        let whole = Pages::whole(&strip(&[full(4)]), true);
        assert_eq!((whole.page(), whole.longest()), (Some(StripPage { lines_left: 10, cut_after: true }), 10));
    }

    #[test]
    fn cuts_that_no_page_can_carry() {
        let refused = |cut: Cut| Pages::between_cuts(&strip(&[full(5), cut][usize::from(cut.line == 0)..]), "x");
        let half = refused(Cut { line: 7, kind: CutKind::Half }).unwrap_err();
        assert_eq!(half.kind, FaultKind::Unsupported);
        assert_eq!(
            half.text,
            "x cannot carry half cuts, found one at line 7 of strip 3; set between = \"full\" or \"snip\" in the job, or another cutter in the printer profile"
        );
        let first = refused(full(0)).unwrap_err();
        assert_eq!(
            first.text,
            "x cannot carry a full cut before the first line, found one in strip 3; a page has at least 1 line"
        );
    }

    /// Lines handed over in parts of any length fill the pages one after the other.
    #[test]
    fn lines_fill_the_pages() {
        for part in 1..=10 {
            let mut pages = Pages::between_cuts(&strip(&[full(3), full(4)]), "x").unwrap();
            let (mut sent, mut ends) = (0, Vec::new());
            while sent < 10 {
                let mut count = part.min(10 - sent);
                while count > 0 {
                    let now = pages.lines_of_page(count);
                    assert!(now > 0, "parts of {part}: no page for line {sent}");
                    (sent, count) = (sent + now, count - now);
                    if pages.advance(now) {
                        ends.push(sent);
                    }
                }
            }
            assert_eq!(ends, [3, 4, 10], "parts of {part}");
            assert_eq!((pages.page(), pages.lines_of_page(5), pages.advance(1)), (None, 0, false));
        }
    }
}
