//! New batches: a word and numbers that no cable has ever had.

use super::Register;
use super::fault::fault;
use super::import::{Import, Outcome, walk};
use crate::cable::{CableList, Column, Kinds};
use crate::error::{Error, Result};
use rusqlite::Connection;
use std::collections::BTreeMap;

/// Most cables of one new batch.
pub const MOST_ADDED: u32 = 100_000;

/// A batch to be added, or to go on with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewBatch {
    /// Its word.
    pub word: String,
    /// How many cables; 1 to [`MOST_ADDED`].
    pub count: u32,
    /// The first number, and to how many digits zeros fill numbers up. Without it: the next after the
    /// largest of the word, or for a new word after the largest any cable has ever had, so that a number
    /// alone tells cables apart over an intercom.
    pub start: Option<(i64, usize)>,
    /// From one number to the next; 1 or more.
    pub step: i64,
    /// What all of them have.
    pub fields: Vec<(Column, String)>,
}

/// What was added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// Its word, as the register has it.
    pub word: String,
    /// The numbers, in order.
    pub numbers: Vec<String>,
    /// The word was there.
    pub goes_on: bool,
    /// Words that have one of these numbers, too.
    pub also_in: Vec<String>,
}

/// The number of a cable as a number, where it is digits only.
const AS_NUMBER: &str = "SELECT max(CAST(number AS INTEGER)) FROM cable JOIN batch ON batch.id = cable.batch \
     WHERE number NOT GLOB '*[^0-9]*' AND length(number) <= 15 AND (?1 IS NULL OR word = ?1)";

/// The largest number that any cable has ever had, of those that are digits only.
fn largest(db: &Connection, word: Option<&str>) -> Result<Option<i64>> {
    db.prepare_cached(AS_NUMBER).and_then(|mut get| get.query_row([word], |row| row.get(0))).map_err(fault)
}

/// Words of other batches that have one of these numbers on a cable in use.
fn also_in(db: &Connection, word: &str, numbers: &[String]) -> Result<Vec<String>> {
    let sql = "SELECT word FROM cable JOIN batch ON batch.id = cable.batch WHERE number = ?1 AND word <> ?2 \
               AND retired IS NULL";
    let mut get = db.prepare_cached(sql).map_err(fault)?;
    let mut words: Vec<String> = Vec::new();
    for number in numbers {
        for one in get.query_map([number.as_str(), word], |row| row.get::<_, String>(0)).map_err(fault)? {
            let one = one.map_err(fault)?;
            if !words.contains(&one) {
                words.push(one);
            }
        }
    }
    Ok(words)
}

impl NewBatch {
    fn numbers(&self, db: &Connection) -> Result<Vec<String>> {
        let (start, width) = match self.start {
            Some(start) => start,
            None => {
                let of_word = largest(db, Some(&self.word))?;
                let before = if of_word.is_some() { of_word } else { largest(db, None)? };
                (before.unwrap_or(0) + 1, 0)
            }
        };
        let last = i64::from(self.count - 1).checked_mul(self.step).and_then(|far| far.checked_add(start));
        if last.is_none_or(|last| last > 999_999_999_999) {
            return Err(Error::limit("found numbers beyond 999999999999, wanted smaller ones"));
        }
        Ok((0..i64::from(self.count)).map(|nth| format!("{:0width$}", start + nth * self.step)).collect())
    }

    fn list(&self, numbers: &[String]) -> Result<CableList> {
        let fields = self.fields.iter().filter(|(column, _)| !matches!(column, Column::Batch | Column::Number));
        let fields: Vec<&(Column, String)> = fields.collect();
        let names = [Column::Batch, Column::Number].into_iter().chain(fields.iter().map(|(column, _)| *column));
        let mut list = CableList::builder(names.map(|column| column.name().to_owned()).collect(), &BTreeMap::new())?;
        for (number, row) in numbers.iter().zip(1..) {
            let values = fields.iter().map(|(_, value)| value.as_str());
            list.push(row, [self.word.as_str(), number.as_str()].into_iter().chain(values));
        }
        Ok(list.finish())
    }
}

impl Register {
    /// Adds a batch, or goes on with one: all of its cables, or none. Its numbers are settled while nobody
    /// else writes.
    ///
    /// # Errors
    /// Kind `Input`: a number that a cable of the word has or had, or a field that is wrong. Kind
    /// `Limit`: numbers of more than 12 digits. Kind `Storage`.
    pub fn add(&mut self, at: i64, new: &NewBatch, kinds: &Kinds) -> Result<Added> {
        if !(1..=MOST_ADDED).contains(&new.count) || new.step < 1 {
            return Err(Error::input(format!(
                "found {} cables in steps of {}, wanted 1 to {MOST_ADDED} in steps of 1 or more",
                new.count, new.step
            )));
        }
        self.write(|db| {
            let there = "SELECT word FROM batch WHERE word = ?1";
            let mut there = db.prepare_cached(there).map_err(fault)?;
            let mut known = there.query_map([&new.word], |row| row.get::<_, String>(0)).map_err(fault)?;
            let known = known.next().transpose().map_err(fault)?;
            let numbers = new.numbers(db)?;
            let list = new.list(&numbers)?;
            let import = Import { list: &list, kinds, owner: "", retire_missing: false, only_new: true };
            let mut first = None;
            walk(&import, db, Some(at), &mut |told| {
                if let (Outcome::Clash(wrong), None) = (told.outcome, &first) {
                    first = wrong.into_iter().next().map(|clash| (told.name, clash));
                }
            })?;
            if let Some((name, clash)) = first {
                let field = clash.field.map_or(String::new(), |field| format!("{field}: "));
                return Err(Error::input(format!("{field}{name}: {}", clash.text)));
            }
            let also_in = also_in(db, &new.word, &numbers)?;
            let word = known.clone().unwrap_or_else(|| new.word.clone());
            Ok(Added { word, numbers, goes_on: known.is_some(), also_in })
        })
    }
}
