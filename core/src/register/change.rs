//! Single cables: changing and retiring them.

use super::Register;
use super::cables::{Fields, Selection, Writer, by_id};
use super::import::{Change, changes, faults};
use crate::cable::{CableList, Column, Kinds};
use crate::error::{Error, Result};
use std::collections::BTreeMap;

impl Register {
    /// Changes fields of one cable, checked as those of a list; what has changed.
    ///
    /// # Errors
    /// Kind `Input`: the cable is retired, a column that nothing is known of, batch or number, or a value
    /// that is wrong. Kind `Storage`.
    pub fn change(&mut self, at: i64, id: i64, new: &[(String, String)], kinds: &Kinds) -> Result<Vec<Change>> {
        let others = self.columns(&Selection { retired: true, ..Selection::default() })?.1;
        self.write(|db| {
            // As it is now, whoever changed it meanwhile.
            let one =
                by_id(db, id)?.ok_or_else(|| Error::input(format!("found #{id}, wanted a number of the register")))?;
            if let Some(gone) = one.retired_words() {
                return Err(Error::input(format!("found {gone}, wanted a cable in use")));
            }
            let mut fields = one.fields.clone();
            for (field, value) in new {
                put(&mut fields, field, value.trim(), &others)?;
            }
            let headers = Column::ALL.map(|column| column.name().to_owned()).to_vec();
            let mut row = CableList::builder(headers, &BTreeMap::new())?;
            row.push(1, Column::ALL.map(|column| fields.text(column)));
            if let Some(wrong) = faults(row.finish().cable(0), kinds).first() {
                let field = wrong.field.as_deref().unwrap_or_default();
                return Err(Error::input(format!("{}, {field}: {}", one.fields.name(), wrong.text)));
            }
            let changed = changes(&one.fields, &fields);
            if !changed.is_empty() {
                Writer::new(db, at).change(id, &fields)?;
            }
            Ok(changed)
        })
    }

    /// Retires cables: their numbers stay taken.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn retire(&mut self, at: i64, ids: &[i64]) -> Result<()> {
        self.write(|db| {
            let writer = Writer::new(db, at);
            ids.iter().try_for_each(|&id| writer.retire(id))
        })
    }
}

/// Sets a field by its name; `others` are the columns the register has beside ours.
fn put(fields: &mut Fields, field: &str, value: &str, others: &[String]) -> Result<()> {
    match Column::named(field) {
        Some(column @ (Column::Batch | Column::Number)) => Err(Error::input(format!(
            "{}: found a new one for {}, wanted it to stay: it stands on labels and in the journal; `cables retire` and `cables add` make another cable",
            column.name(),
            fields.name()
        ))),
        Some(column) => {
            fields.set(column, value);
            Ok(())
        }
        None => {
            let Some(header) = others.iter().find(|header| header.eq_ignore_ascii_case(field.trim())) else {
                let ours = Column::ALL.map(Column::name).join(", ");
                let theirs = if others.is_empty() { String::new() } else { format!(", {}", others.join(", ")) };
                return Err(Error::input(format!("found the field `{field}`, wanted one of {ours}{theirs}")));
            };
            fields.set_more(header, value);
            Ok(())
        }
    }
}
