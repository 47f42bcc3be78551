//! The cable list: what a register or a table says about each cable, as plain values.
//!
//! Text in, values out, no file is touched here. A [`CableList`] holds rows of text; a [`Cable`]
//! looks at one row and reads its length, its diameter and its plug on request. What one row says
//! badly is a [`FieldError`] of that cable; it does not stop the others.

mod column;
mod diameter;
mod entries;
mod kinds;
mod length;
mod list;
mod measure;
mod nearest;
mod plugs;

use std::fmt;

pub use column::{Column, ColumnIndex, is_list};
pub use diameter::{Diameter, DiameterSource};
pub use kinds::{CableKind, Kinds};
pub use length::{CableLength, length_of};
pub use list::{Cable, CableList, ListBuilder, MAX_COLUMNS, MAX_FIELDS, MAX_ROWS, MAX_TEXT_BYTES, RowFault};
pub use plugs::{Plug, PlugKind, Plugs};

/// One cell that cannot be understood: where it stands, what was found, what was wanted.
///
/// Prints as ``found `x`, wanted …; hint`` (without the field, which the caller shows in its own
/// column).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldError {
    /// The header of the column as it stands in the file.
    pub field: String,
    /// The text of the cell, shortened if it is very long.
    pub found: String,
    /// What would have been understood.
    pub wanted: String,
    /// What to do about it, if there is something to say.
    pub hint: Option<String>,
}

impl fmt::Display for FieldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found `{}`, wanted {}", self.found, self.wanted)?;
        match &self.hint {
            Some(hint) => write!(f, "; {hint}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for FieldError {}

/// The text on one line and at most 60 characters, for messages.
fn shortened(text: &str) -> String {
    const MOST: usize = 60;
    let mut short: String = text.chars().take(MOST).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}

/// Names in backquotes, with commas: `` `owner`, `batch` ``.
fn quoted<T: AsRef<str>>(names: impl IntoIterator<Item = T>) -> String {
    let names: Vec<String> = names.into_iter().map(|name| format!("`{}`", shortened(name.as_ref()))).collect();
    names.join(", ")
}
