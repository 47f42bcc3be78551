//! What one label says: its lines, its code, and the signs beside them.

use super::choose::Shortened;
use super::{End, Job, Problem, Template, add};
use crate::cable::{Cable, CableLength, CableList, length_of};
use crate::error::{Error, Result};
use crate::font::bidi;
use crate::layout::{Emphasis, Signs, Text};
use crate::mark::{Direction, Pattern};
use crate::unit::Micrometres;
use std::fmt;

/// What a person asks of labels beside text, that differs from cable to cable.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SignWishes {
    /// What codes say, as a template; needs a code among the parts.
    pub code: Option<String>,
    /// Arrows on labels of the near and the far end.
    pub arrows: [Option<Direction>; 2],
    /// A column whose field is printed white on black.
    pub inverse: Option<String>,
    /// Lengths, as a list writes them, and what stands for each.
    pub lengths: Vec<(String, LengthMark)>,
}

/// What stands for a length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LengthMark {
    /// A pattern beside the text.
    Pattern(Pattern),
    /// A line of text below the others.
    Text(String),
}

/// As a job file writes it.
impl fmt::Display for LengthMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pattern(pattern) => write!(f, "`{}`", pattern.word()),
            Self::Text(text) => write!(f, "`text: {text}`"),
        }
    }
}

impl LengthMark {
    /// Reads `bars-1`, or `text: short`.
    ///
    /// # Errors
    /// Kind `Input`: no pattern, and no text.
    pub fn named(text: &str) -> Result<Self> {
        if let Some(words) = text.trim().strip_prefix("text:") {
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            if !words.is_empty() {
                return Ok(Self::Text(words));
            }
        }
        Pattern::named(text.trim()).map(Self::Pattern).ok_or_else(|| {
            let patterns: Vec<&str> = Pattern::ALL.into_iter().map(Pattern::word).collect();
            Error::input(format!("found `{text}`, wanted {} or `text: some words`", patterns.join(", ")))
        })
    }
}

/// The signs of a job, their columns found in its list.
pub(super) struct SignRules {
    code: Option<Template>,
    arrows: [Option<Direction>; 2],
    inverse: Option<Template>,
    lengths: Vec<(Micrometres, LengthMark)>,
}

impl SignRules {
    /// Settles wishes against a list and the text of the labels.
    ///
    /// # Errors
    /// Kind `Input`: a column the list does not have, a column to turn white on black that the text
    /// does not show, a length that is none.
    pub(super) fn new(
        wishes: SignWishes,
        list: &CableList,
        text: [&[Template]; 2],
        may_drop: &[String],
    ) -> Result<Self> {
        let code = match &wishes.code {
            Some(content) => {
                let code = Template::new(content, list, &[]).map_err(|error| error.doing("code: content"))?;
                if code.is_without_columns() {
                    return Err(Error::input(format!(
                        "code: content: found `{content}`, wanted columns of the list: {}",
                        list.headers().join(", ")
                    )));
                }
                Some(code)
            }
            None => None,
        };
        let inverse = match &wishes.inverse {
            Some(column) => {
                let place = Template::new(&format!("{{{column}}}"), list, may_drop)
                    .map_err(|error| error.doing("marks: inverse"))?;
                if !text.iter().copied().flatten().any(|line| line.before(&place).is_some()) {
                    return Err(Error::input(format!(
                        "marks: inverse: found `{column}`, wanted a column that the text shows"
                    )));
                }
                Some(place)
            }
            None => None,
        };
        let length = |(text, mark): (String, LengthMark)| match length_of(&text) {
            Some(length) => Ok((length, mark)),
            None => {
                Err(Error::input(format!("length_marks: found `{text}`, wanted a length such as `50 ft` or `15 m`")))
            }
        };
        let lengths: Vec<(Micrometres, LengthMark)> = wishes.lengths.into_iter().map(length).collect::<Result<_>>()?;
        for (nth, (length, mark)) in lengths.iter().enumerate() {
            if let Some((_, before)) = lengths[..nth].iter().find(|(its, before)| its == length && before != mark) {
                return Err(Error::input(format!(
                    "length_marks: found {before} and {mark} for {length}, wanted one mark for a length"
                )));
            }
        }
        Ok(Self { code, arrows: wishes.arrows, inverse, lengths })
    }

    /// Whether both ends of a cable always carry the same.
    pub(super) fn alike(&self) -> bool {
        self.arrows[0] == self.arrows[1] && !self.code.as_ref().is_some_and(Template::says_end)
    }
}

/// What one label says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Wording {
    pub(super) text: Text,
    pub(super) signs: Signs,
}

/// Reads a template of one label as plain text.
struct Reading<'a> {
    job: &'a Job,
    cable: Cable<'a>,
    end: End,
    dropped: usize,
}

impl Reading<'_> {
    fn fill(&self, template: &Template, to: &mut Text) -> std::result::Result<(), Problem> {
        template
            .fill((self.cable, self.end, &self.job.owner), self.dropped, to)
            .map_err(|error| Problem::of_cell(self.cable.row(), &self.job.name(self.cable), &error))
    }

    fn plain(&self, template: &Template) -> std::result::Result<String, Problem> {
        let mut text = Text::new();
        self.fill(template, &mut text)?;
        Ok(text.lines().join(" "))
    }

    /// The field that is printed white on black, if the label shows it.
    fn inverse(&self, templates: &[Template], place: &Template) -> std::result::Result<Option<Emphasis>, Problem> {
        let text = self.plain(place)?;
        if text.is_empty() {
            return Ok(None);
        }
        let mut before = String::new();
        for template in templates {
            if let Some(part) = template.before(place) {
                before.push_str(&self.plain(&part)?);
                let nth = before.matches(text.as_str()).count();
                return Ok(Some(Emphasis { text, nth }));
            }
            before.push_str(&self.plain(template)?);
            before.push(' ');
        }
        Ok(None)
    }

    /// What its code says.
    fn code(&self, template: &Template) -> std::result::Result<String, Problem> {
        let content = bidi::bare(&self.plain(template)?);
        if !content.is_empty() {
            return Ok(content);
        }
        let names = template.names().join(", ");
        Err(Problem {
            row: Some(self.cable.row()),
            field: template.names().first().cloned(),
            kind: "code",
            text: format!("{}: found nothing for its code in {names}, wanted a value", self.job.name(self.cable)),
        })
    }
}

impl Job {
    /// What the label of one cable's end says without the first `dropped` columns that may be left
    /// out; or all that is wrong with it. Its code says all of it in any case.
    pub(super) fn wording(
        &self,
        cable: Cable<'_>,
        end: End,
        dropped: usize,
    ) -> std::result::Result<Wording, Vec<Problem>> {
        let templates = match end {
            End::Near => &self.near,
            End::Far => &self.far,
        };
        let reading = Reading { job: self, cable, end, dropped };
        let mut problems = Vec::new();
        let mut text = Text::new();
        for template in templates {
            if let Err(problem) = reading.fill(template, &mut text) {
                add(&mut problems, problem);
            }
        }
        let mut signs = Signs { arrow: self.signs.arrows[usize::from(end == End::Far)], ..Signs::default() };
        if let Some(place) = &self.signs.inverse {
            match reading.inverse(templates, place) {
                Ok(inverse) => signs.inverse = inverse,
                Err(problem) => add(&mut problems, problem),
            }
        }
        if !self.signs.lengths.is_empty() {
            match cable.length() {
                Ok(length) => {
                    let known = |length: &CableLength| self.signs.lengths.iter().find(|(its, _)| *its == length.length);
                    match length.as_ref().and_then(known) {
                        Some((_, LengthMark::Pattern(pattern))) => signs.pattern = Some(*pattern),
                        Some((_, LengthMark::Text(words))) => text.add(words),
                        None => {}
                    }
                }
                Err(error) => add(&mut problems, Problem::of_cell(cable.row(), &self.name(cable), &error)),
            }
        }
        if let Some(template) = &self.signs.code {
            match (Reading { dropped: 0, ..reading }).code(template) {
                Ok(content) => signs.code = Some(content),
                Err(problem) => add(&mut problems, problem),
            }
        }
        if problems.is_empty() { Ok(Wording { text, signs }) } else { Err(problems) }
    }

    /// What a label says, then with more and more left out of what may be; each shorter than the one
    /// before, none without text but the first.
    pub(super) fn wordings(&self, cable: Cable<'_>, end: End) -> std::result::Result<Vec<Shortened>, Vec<Problem>> {
        let mut wordings = vec![Shortened { wording: self.wording(cable, end, 0)?, dropped: 0 }];
        for dropped in 1..=self.may_drop.len() {
            let wording = self.wording(cable, end, dropped)?;
            if !wording.text.is_empty() && wordings.last().is_none_or(|before| before.wording != wording) {
                wordings.push(Shortened { wording, dropped });
            }
        }
        Ok(wordings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_mark_is_a_pattern_or_words() {
        assert_eq!(LengthMark::named("text:  very  short ").unwrap(), LengthMark::Text("very short".into()));
        assert!(
            matches!(LengthMark::named("bars-2").unwrap(), LengthMark::Pattern(pattern) if pattern.word() == "bars-2")
        );
        for wrong in ["text:", "red", ""] {
            let error = LengthMark::named(wrong).unwrap_err().to_string();
            assert!(error.starts_with(&format!("found `{wrong}`, wanted ")) && error.contains("bars-1"), "{error}");
        }
    }
}
