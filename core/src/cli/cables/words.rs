//! Words of batches: proposed, and held against those in use.

use super::Cables;
use crate::cli::{Done, answer, answer_json};
use crate::error::{Error, Result};
use crate::register::Register;
use crate::word::{How, Words};

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
