//! Finding cables by scraps of what a label says, and naming one.

use super::Register;
use super::cables::{Entry, Fields, by_id, by_name};
use super::fault::fault;
use crate::cable::{Column, length_of};
use crate::error::{Error, Result};
use crate::unit::Micrometres;

/// Text reduced to what is compared: lower case, letters without their accents, one blank between words.
///
/// The letter under an accent is read from the character's name (Unicode Character Database, property
/// Name: `LATIN SMALL LETTER E WITH ACUTE`).
pub(super) fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            c if c.is_whitespace() || c.is_control() => {
                if !folded.ends_with(' ') {
                    folded.push(' ');
                }
            }
            c if c.is_ascii() => folded.push(c),
            '\u{2018}' | '\u{2019}' | '\u{2032}' => folded.push('\''),
            '\u{201c}' | '\u{201d}' | '\u{2033}' => folded.push('"'),
            '\u{300}'..='\u{36f}' => {}
            '×' => folded.push('x'),
            'ß' => folded.push_str("ss"),
            c => folded.push(base(c)),
        }
    }
    folded.trim().to_owned()
}

fn base(c: char) -> char {
    let name = unicode_names2::name(c).map(|name| name.to_string()).unwrap_or_default();
    let letter = name.strip_prefix("LATIN SMALL LETTER ").and_then(|rest| rest.split_once(" WITH "));
    match letter {
        Some((letter, _)) if letter.len() == 1 => letter.to_ascii_lowercase().chars().next().unwrap_or(c),
        _ => c,
    }
}

/// Ends the owner, batch and number of a cable in [`said`].
const NAME_END: &str = "\n";

/// All that can be searched for in a cable, folded: a blank, its name, [`NAME_END`], the rest, a blank.
pub(super) fn said(fields: &Fields) -> String {
    let mut said = String::from(" ");
    for column in [Column::Owner, Column::Batch, Column::Number] {
        said.push_str(&fold(fields.text(column)));
        said.push(' ');
    }
    said.push_str(NAME_END);
    said.push(' ');
    let units = [(Column::LengthFt, "ft"), (Column::LengthM, "m"), (Column::OdMm, "mm"), (Column::OdIn, "in")];
    for column in Column::ALL.into_iter().skip(3) {
        let text = fields.text(column);
        if text.is_empty() {
            continue;
        }
        said.push_str(&fold(text));
        let unit = units.iter().find(|(of, _)| *of == column).map(|(_, unit)| *unit);
        if let Some(unit) = unit.filter(|_| text.ends_with(|c: char| c.is_ascii_digit())) {
            said.push(' ');
            said.push_str(unit);
        }
        said.push(' ');
        if matches!(column, Column::Length | Column::LengthFt | Column::LengthM) {
            said.push_str(&dresses(&format!("{text} {}", unit.unwrap_or_default()), text));
        }
    }
    for text in fields.more().values() {
        said.push_str(&fold(text));
        said.push(' ');
    }
    said
}

/// Other ways to write a length: `50 ft` is looked for as `50ft` and `50'`, too.
fn dresses(with_unit: &str, text: &str) -> String {
    const FOOT: i64 = 304_800;
    const METRE: i64 = 1_000_000;
    match length_of(text).or_else(|| length_of(with_unit)) {
        Some(Micrometres(length)) if length % FOOT == 0 => format!("{0}ft {0}' ", length / FOOT),
        Some(Micrometres(length)) if length % METRE == 0 => format!("{}m ", length / METRE),
        _ => String::new(),
    }
}

/// A scrap, ready to be looked for.
struct Scrap {
    text: String,
    word: String,
    start: String,
}

impl Scrap {
    /// How well a cable's text has it: 0 is best; `None` where it does not.
    fn rank(&self, said: &str) -> Option<u32> {
        if !said.contains(&self.text) {
            return None;
        }
        let name = said.split_once(NAME_END).map_or(said, |(name, _)| name);
        Some(match () {
            () if name.contains(&self.word) => 0,
            () if said.contains(&self.word) => 1,
            () if said.contains(&self.start) => 2,
            () => 3,
        })
    }
}

/// Words of scraps, and the register's numbers among them (`#17`).
fn scraps(texts: &[String]) -> (Vec<Scrap>, Vec<i64>) {
    let folded = fold(&texts.join(" "));
    let (mut scraps, mut ids) = (Vec::new(), Vec::new());
    for word in folded.split(' ').filter(|word| !word.is_empty()) {
        match word.strip_prefix('#').and_then(|digits| digits.parse().ok()) {
            Some(id) => ids.push(id),
            None => {
                scraps.push(Scrap { text: word.to_owned(), word: format!(" {word} "), start: format!(" {word}") });
            }
        }
    }
    (scraps, ids)
}

/// Cables that were found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// The best, the best first: whole words before parts of words, names before other fields.
    pub cables: Vec<Entry>,
    /// How many there are in all.
    pub all: usize,
    /// How many more are retired, where those are not asked for.
    pub retired: usize,
}

impl Register {
    /// Finds the cables that have every scrap in what is known of them: owner, batch, number, length and
    /// so on. Case and accents do not count. `#17` is the cable with this number in the register.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn find(&self, texts: &[String], retired: bool, most: usize) -> Result<Found> {
        let (ranked, others) = self.ranked(texts, retired)?;
        let mut found = Found { cables: Vec::new(), all: ranked.len(), retired: others };
        for &(_, id) in ranked.iter().take(most) {
            found.cables.extend(by_id(self.read(), id)?);
        }
        Ok(found)
    }

    /// The numbers of all cables with these scraps.
    pub(super) fn matches(&self, texts: &[String], retired: bool) -> Result<Vec<i64>> {
        Ok(self.ranked(texts, retired)?.0.into_iter().map(|(_, id)| id).collect())
    }

    /// Ranks and numbers, the best first; and how many retired ones were left out.
    fn ranked(&self, texts: &[String], retired: bool) -> Result<(Vec<(u32, i64)>, usize)> {
        let (scraps, ids) = scraps(texts);
        let (mut ranked, mut others) = (Vec::new(), 0);
        let mut look = |id: i64, said: &str, gone: bool| {
            let ranks = scraps.iter().map(|scrap| scrap.rank(said));
            if let Some(rank) = ranks.sum::<Option<u32>>() {
                if gone && !retired { others += 1 } else { ranked.push((rank, id)) }
            }
        };
        let sql = match ids.first() {
            Some(_) => "SELECT id, said, retired IS NOT NULL FROM cable WHERE id = ?1",
            None => "SELECT id, said, retired IS NOT NULL FROM cable WHERE ?1 IS NULL",
        };
        let mut get = self.read().prepare_cached(sql).map_err(fault)?;
        let asked: Vec<Option<i64>> = if ids.is_empty() { vec![None] } else { ids.into_iter().map(Some).collect() };
        for id in asked {
            let mut rows = get.query([id]).map_err(fault)?;
            while let Some(row) = rows.next().map_err(fault)? {
                let said = row.get_ref(1).map_err(fault)?.as_str().unwrap_or_default();
                look(row.get(0).map_err(fault)?, said, row.get(2).map_err(fault)?);
            }
        }
        ranked.sort_unstable();
        ranked.dedup();
        Ok((ranked, others))
    }

    /// The cables a person names, one after another: `OTTER 1040` in one word or two, `#17`, or a number
    /// alone where only one cable has it. `near` and `far` after a name count for nothing.
    ///
    /// # Errors
    /// Kind `Input`: no such cable, or more than one; cables like it are named.
    pub fn named(&self, words: &[String]) -> Result<Vec<Entry>> {
        Ok(self.names(words)?.into_iter().map(|(one, _)| one).collect())
    }

    /// The cables a person names, each with `near` or `far` where that stands after it.
    pub(super) fn names<'w>(&self, words: &'w [String]) -> Result<Vec<(Entry, Option<&'w str>)>> {
        let words: Vec<&str> = words.iter().flat_map(|word| word.split_whitespace()).collect();
        let mut found = Vec::new();
        let mut at = 0;
        while at < words.len() {
            let (one, used) = self.name_at(&words[at..])?;
            at += used;
            let end = words.get(at).copied().filter(|word| ["near", "far"].contains(word));
            at += usize::from(end.is_some());
            found.push((one, end));
        }
        Ok(found)
    }

    /// The cable that the first of these words name, and how many words that takes.
    fn name_at(&self, words: &[&str]) -> Result<(Entry, usize)> {
        let db = self.read();
        if let Some(id) = words[0].strip_prefix('#').and_then(|digits| digits.parse().ok()) {
            let one = by_id(db, id)?;
            return one
                .map(|one| (one, 1))
                .ok_or_else(|| Error::input(format!("found #{id}, wanted a number of the register")));
        }
        // Words of a batch may have blanks: the longest name counts.
        for count in (2..=words.len().min(6)).rev() {
            for of_number in 1..count {
                let (word, number) = words[..count].split_at(count - of_number);
                if let Some(one) = by_name(db, &word.join(" "), &number.join(" "))? {
                    return Ok((one, count));
                }
            }
        }
        let mut get = db.prepare_cached("SELECT id FROM cable WHERE number = ?1").map_err(fault)?;
        let ids = get.query_map([words[0]], |row| row.get(0)).map_err(fault)?;
        let ids: Vec<i64> = ids.collect::<rusqlite::Result<_>>().map_err(fault)?;
        match ids.as_slice() {
            [id] => by_id(db, *id)?.map(|one| (one, 1)).ok_or_else(|| Error::bug("a cable went while it was read")),
            [] => Err(self.unnamed(words)?),
            ids => {
                let names = ids.iter().take(8).map(|&id| Ok(by_id(db, id)?.map(|one| one.fields.name())));
                let names: Vec<String> = names.collect::<Result<Vec<_>>>()?.into_iter().flatten().collect();
                Err(Error::input(format!("found `{}`, wanted one of {}", words[0], names.join(", "))))
            }
        }
    }

    fn unnamed(&self, words: &[&str]) -> Result<Error> {
        let texts: Vec<String> = words.iter().take(2).map(|&word| word.to_owned()).collect();
        let mut like = self.find(&texts, true, 5)?.cables;
        if like.is_empty() {
            like = self.find(&texts[..1], true, 5)?.cables;
        }
        let like: Vec<String> = like.iter().map(|one| one.fields.name()).collect();
        let hint = if like.is_empty() { String::new() } else { format!("; did you mean {}?", like.join(" or ")) };
        Ok(Error::input(format!("found `{}`, wanted a cable of the register{hint}", texts.join(" "))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_accents_do_not_count() {
        assert_eq!(
            fold("  Bühne\tLINKS, Café é\u{301} Ångström Straße 12′6″ 3×1.5"),
            "buhne links, cafe e angstrom strasse 12'6\" 3x1.5"
        );
        assert_eq!(fold("\u{e9}"), fold("e\u{301}"));
        assert_eq!(fold("ケーブル Ж"), "ケーブル ж");
    }

    #[test]
    fn a_length_is_found_in_any_dress() {
        for (column, text, dresses) in [
            (Column::Length, "50 ft", ["50", "ft", "50ft", "50'"]),
            (Column::Length, "50'", ["50'", "50ft", "50", "'"]),
            (Column::LengthFt, "50", ["50", "ft", "50ft", "50'"]),
            (Column::LengthM, "15", ["15", "m", "15m", "5"]),
        ] {
            let mut fields = Fields::default();
            fields.set(column, text);
            let said = said(&fields);
            for dress in dresses {
                let (scraps, _) = scraps(&[dress.to_owned()]);
                assert!(scraps[0].rank(&said).is_some(), "{dress} in {said:?}");
            }
        }
    }

    #[test]
    fn whole_words_rank_before_parts_and_names_before_notes() {
        let rank = |scrap: &str, batch: &str, note: &str| {
            let mut fields = Fields::default();
            fields.set(Column::Batch, batch);
            fields.set(Column::Note, note);
            scraps(&[scrap.to_owned()]).0[0].rank(&said(&fields))
        };
        assert_eq!(rank("otter", "OTTER", ""), Some(0));
        assert_eq!(rank("otter", "HERON", "beside Otter 7"), Some(1));
        assert_eq!(rank("otter", "OTTERS", ""), Some(2));
        assert_eq!(rank("otter", "SEAOTTER", ""), Some(3));
        assert_eq!(rank("otter", "HERON", ""), None);
    }
}
