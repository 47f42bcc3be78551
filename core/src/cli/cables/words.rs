//! Words of batches: proposed, and held against those in use.

use super::Cables;
use crate::cable::{CableList, Column};
use crate::cli::{Done, answer, answer_json};
use crate::error::{Error, Result};
use crate::register::Register;
use crate::word::{How, Words};

/// Most new words of a list that are held against the others: a list with more has one for each cable.
const MOST_HEARD: usize = 100;

/// The words of a register's batches.
pub(super) fn in_use(register: &Register) -> Result<Vec<String>> {
    Ok(register.batches()?.into_iter().map(|batch| batch.word).filter(|word| !word.is_empty()).collect())
}

/// The word that is most easily told from those in use.
pub(super) fn best(used: &[String]) -> Result<String> {
    let used: Vec<&str> = used.iter().map(String::as_str).collect();
    let best = Words::shipped().propose(&used, 1).first().map(|&word| word.to_owned());
    best.ok_or_else(|| Error::limit("found no word that is easily told from those in use, wanted one: give your own"))
}

impl Cables<'_> {
    /// Proposes words that are easily told from those in use.
    pub(super) fn words(&self, count: usize) -> Done {
        let used = if self.path.exists() { in_use(&self.existing()?)? } else { Vec::new() };
        let used: Vec<&str> = used.iter().map(String::as_str).collect();
        let found = Words::shipped().propose(&used, count);
        if found.len() < count {
            self.talk.say(&format!(
                "note: {} of {count} words: no others of the list are easily told from those in use",
                found.len()
            ));
        }
        if self.json {
            return answer_json(&found);
        }
        answer(&found.iter().map(|word| format!("{word}\n")).collect::<String>())
    }

    /// The same for the words that a list brings, each against those in use and those before it.
    pub(super) fn warn_near_each(&self, list: &CableList, mut used: Vec<String>) {
        let mut new = 0;
        for cable in list.iter() {
            let word = cable.text(Column::Batch);
            if word.is_empty() || used.iter().rev().any(|one| one.to_lowercase() == word.to_lowercase()) {
                continue;
            }
            new += 1;
            if new > MOST_HEARD {
                return;
            }
            self.warn_near(word, &used);
            used.push(word.to_owned());
        }
    }

    /// Warns of words in use that a new one is easily heard as.
    pub(super) fn warn_near(&self, word: &str, used: &[String]) {
        let used: Vec<&str> = used.iter().map(String::as_str).collect();
        let near = Words::shipped().near(word, &used);
        let near: Vec<_> = near.iter().filter(|one| one.how != How::Same).collect();
        for one in near.iter().take(3) {
            self.talk.warn(&format!("note: {}", one.text));
        }
        if !near.is_empty() {
            self.talk.warn("note: `tapewright cables words` proposes words that are easily told apart");
        }
    }
}
