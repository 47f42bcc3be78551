//! The cables as rows of the register: read, added and changed one at a time.

use super::Register;
use super::fault::fault;
use super::find::said;
use crate::cable::{CableList, Column};
use crate::error::{Error, Result};
use crate::journal::day;
use rusqlite::{Connection, OptionalExtension, Row, params_from_iter, types::Value};
use std::collections::{BTreeMap, HashMap};

/// The fields of a cable: trimmed text, as its list has it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields {
    known: [String; 16],
    more: BTreeMap<String, String>,
}

impl Fields {
    /// A column we know; empty where nothing is there.
    pub fn text(&self, column: Column) -> &str {
        &self.known[column as usize]
    }

    /// Other columns by their header, none of them blank.
    pub const fn more(&self) -> &BTreeMap<String, String> {
        &self.more
    }

    /// Sets a column we know.
    pub(super) fn set(&mut self, column: Column, text: &str) {
        text.clone_into(&mut self.known[column as usize]);
    }

    /// Sets another column; blank takes it away.
    pub(super) fn set_more(&mut self, header: &str, text: &str) {
        if text.is_empty() {
            self.more.remove(header);
        } else {
            self.more.insert(header.to_owned(), text.to_owned());
        }
    }

    /// What a person calls the cable: batch word and number.
    pub fn name(&self) -> String {
        format!("{} {}", self.text(Column::Batch), self.text(Column::Number)).trim().to_owned()
    }
}

/// A cable of the register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its number in the register, never given again: what a code says as `#17`.
    pub id: i64,
    /// What is known of it.
    pub fields: Fields,
    /// When it was added, seconds since 1970, UTC.
    pub added: i64,
    /// When it was retired.
    pub retired: Option<i64>,
}

impl Entry {
    /// ``OTTER 1040``, and when it was retired.
    pub(super) fn retired_words(&self) -> Option<String> {
        self.retired.map(|at| format!("{}, which was retired on {}", self.fields.name(), day(at)))
    }
}

/// Columns as [`entry`] reads them.
pub(super) const ENTRY: &str = "SELECT cable.id, coalesce(owner.mark, ''), batch.word, number, length, length_ft, length_m, od, \
    od_mm, od_in, kind, \"from\", \"to\", terminated, stock, build, note, more, cable.added, retired \
    FROM cable JOIN batch ON batch.id = cable.batch LEFT JOIN owner ON owner.id = cable.owner";

/// Reads a row of [`ENTRY`].
pub(super) fn entry(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let mut fields = Fields::default();
    for (nth, text) in fields.known.iter_mut().enumerate() {
        *text = row.get(nth + 1)?;
    }
    let more = row.get_ref(17)?.as_str()?;
    if more != "{}" {
        let wrong = |error| rusqlite::Error::FromSqlConversionFailure(17, rusqlite::types::Type::Text, Box::new(error));
        fields.more = serde_json::from_str(more).map_err(wrong)?;
    }
    Ok(Entry { id: row.get(0)?, fields, added: row.get(18)?, retired: row.get(19)? })
}

/// The cable with this number.
pub(super) fn by_id(db: &Connection, id: i64) -> Result<Option<Entry>> {
    db.prepare_cached(&format!("{ENTRY} WHERE cable.id = ?1"))
        .and_then(|mut get| get.query_row([id], entry).optional())
        .map_err(fault)
}

/// The cable with this name; case does not count, in ASCII.
pub(super) fn by_name(db: &Connection, word: &str, number: &str) -> Result<Option<Entry>> {
    db.prepare_cached(&format!("{ENTRY} WHERE batch.word = ?1 AND number = ?2"))
        .and_then(|mut get| get.query_row([word, number], entry).optional())
        .map_err(fault)
}

/// The columns of a cable that are texts of its own.
const OWN: [(Column, &str); 14] = [
    (Column::Number, "number"),
    (Column::Length, "length"),
    (Column::LengthFt, "length_ft"),
    (Column::LengthM, "length_m"),
    (Column::Od, "od"),
    (Column::OdMm, "od_mm"),
    (Column::OdIn, "od_in"),
    (Column::Kind, "kind"),
    (Column::From, "\"from\""),
    (Column::To, "\"to\""),
    (Column::Terminated, "terminated"),
    (Column::Stock, "stock"),
    (Column::Build, "build"),
    (Column::Note, "note"),
];

/// Writes cables; remembers the ids of words and owners.
pub(super) struct Writer<'d> {
    db: &'d Connection,
    at: i64,
    insert: String,
    update: String,
    words: HashMap<String, i64>,
    marks: HashMap<String, i64>,
}

impl<'d> Writer<'d> {
    pub(super) fn new(db: &'d Connection, at: i64) -> Self {
        let names = OWN.map(|(_, name)| name);
        let places: Vec<String> = (6..6 + names.len()).map(|nth| format!("?{nth}")).collect();
        let sets: Vec<String> = names.iter().zip(&places).map(|(name, place)| format!("{name} = {place}")).collect();
        Self {
            db,
            at,
            insert: format!(
                "INSERT INTO cable (id, owner, batch, more, said, {}, added) VALUES (?1, ?2, ?3, ?4, ?5, {}, ?{})",
                names.join(", "),
                places.join(", "),
                6 + names.len()
            ),
            update: format!(
                "UPDATE cable SET owner = ?2, batch = ?3, more = ?4, said = ?5, {} WHERE id = ?1",
                sets.join(", ")
            ),
            words: HashMap::new(),
            marks: HashMap::new(),
        }
    }

    fn word(&mut self, word: &str) -> Result<i64> {
        let key = word.to_ascii_lowercase();
        if let Some(id) = self.words.get(&key) {
            return Ok(*id);
        }
        let add = "INSERT INTO batch (word, added) VALUES (?1, ?2) ON CONFLICT (word) DO NOTHING";
        self.db.prepare_cached(add).and_then(|mut add| add.execute((word, self.at))).map_err(fault)?;
        let id = self.id("SELECT id FROM batch WHERE word = ?1", word)?;
        self.words.insert(key, id);
        Ok(id)
    }

    fn mark(&mut self, mark: &str) -> Result<Option<i64>> {
        if mark.is_empty() {
            return Ok(None);
        }
        let key = mark.to_ascii_lowercase();
        if let Some(id) = self.marks.get(&key) {
            return Ok(Some(*id));
        }
        let add = "INSERT INTO owner (mark) VALUES (?1) ON CONFLICT (mark) DO NOTHING";
        self.db.prepare_cached(add).and_then(|mut add| add.execute([mark])).map_err(fault)?;
        let id = self.id("SELECT id FROM owner WHERE mark = ?1", mark)?;
        self.marks.insert(key, id);
        Ok(Some(id))
    }

    fn id(&self, sql: &str, text: &str) -> Result<i64> {
        self.db.prepare_cached(sql).and_then(|mut get| get.query_row([text], |row| row.get(0))).map_err(fault)
    }

    fn values(&mut self, id: Option<i64>, fields: &Fields) -> Result<Vec<Value>> {
        let more = serde_json::to_string(&fields.more).map_err(|error| Error::bug(format!("JSON: {error}")))?;
        let mut values = vec![
            id.into(),
            self.mark(fields.text(Column::Owner))?.into(),
            self.word(fields.text(Column::Batch))?.into(),
            more.into(),
            said(fields).into(),
        ];
        values.extend(OWN.iter().map(|(column, _)| Value::from(fields.text(*column).to_owned())));
        Ok(values)
    }

    /// Adds a cable, with this id if one is given; its id.
    pub(super) fn add(&mut self, id: Option<i64>, fields: &Fields) -> Result<i64> {
        let mut values = self.values(id, fields)?;
        values.push(self.at.into());
        self.db
            .prepare_cached(&self.insert)
            .and_then(|mut insert| insert.insert(params_from_iter(values)))
            .map_err(fault)
    }

    /// Changes what is known of a cable.
    pub(super) fn change(&mut self, id: i64, fields: &Fields) -> Result<()> {
        let values = self.values(Some(id), fields)?;
        self.db
            .prepare_cached(&self.update)
            .and_then(|mut update| update.execute(params_from_iter(values)))
            .map(|_| ())
            .map_err(fault)
    }

    /// Retires a cable.
    pub(super) fn retire(&self, id: i64) -> Result<()> {
        let retire = "UPDATE cable SET retired = ?2 WHERE id = ?1 AND retired IS NULL";
        self.db.prepare_cached(retire).and_then(|mut retire| retire.execute([id, self.at])).map(|_| ()).map_err(fault)
    }
}

/// Which cables.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Selection {
    /// Of these words; of all where there is none.
    pub batches: Vec<String>,
    /// With all of these scraps in what is known of them.
    pub scraps: Vec<String>,
    /// Only these.
    pub ids: Option<Vec<i64>>,
    /// Retired ones, too.
    pub retired: bool,
}

/// By word in the order in which they were added, then by number.
const IN_ORDER: &str = "ORDER BY batch.id, length(number), number, cable.id";

impl Register {
    /// The cable with this number in the register.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn cable(&self, id: i64) -> Result<Option<Entry>> {
        by_id(self.read(), id)
    }

    /// Shows cables one after another: by word in the order in which words were added, then by number.
    ///
    /// # Errors
    /// Those of `show`. Kind `Input`: a word that no batch has. Kind `Storage`.
    pub fn each(&self, selection: &Selection, mut show: impl FnMut(&Entry) -> Result<()>) -> Result<()> {
        let db = self.read();
        for word in &selection.batches {
            let there = "SELECT 1 FROM batch WHERE word = ?1";
            if !db.prepare_cached(there).and_then(|mut there| there.exists([word.trim()])).map_err(fault)? {
                return Err(self.no_batch(word)?);
            }
        }
        let mut wanted: Option<Vec<i64>> = selection.ids.clone();
        if !selection.scraps.is_empty() {
            let found: Vec<i64> = self.matches(&selection.scraps, selection.retired)?;
            wanted = Some(match wanted {
                Some(ids) => ids.into_iter().filter(|id| found.contains(id)).collect(),
                None => found,
            });
        }
        if let Some(wanted) = &mut wanted {
            wanted.sort_unstable();
        }
        let mut get = db.prepare_cached(&format!("{ENTRY} {IN_ORDER}")).map_err(fault)?;
        let mut rows = get.query([]).map_err(fault)?;
        while let Some(row) = rows.next().map_err(fault)? {
            let id: i64 = row.get(0).map_err(fault)?;
            let word = row.get_ref(2).map_err(fault)?.as_str().unwrap_or_default();
            let retired: Option<i64> = row.get(19).map_err(fault)?;
            let of_batch = |named: &String| named.trim().eq_ignore_ascii_case(word);
            if (retired.is_none() || selection.retired)
                && wanted.as_ref().is_none_or(|wanted| wanted.binary_search(&id).is_ok())
                && (selection.batches.is_empty() || selection.batches.iter().any(of_batch))
            {
                show(&entry(row).map_err(fault)?)?;
            }
        }
        Ok(())
    }

    /// The columns that some of these cables have: ours in their order, then others by name.
    ///
    /// # Errors
    /// As [`Register::each`].
    pub fn columns(&self, selection: &Selection) -> Result<(Vec<Column>, Vec<String>)> {
        let always = [Column::Owner, Column::Batch, Column::Number, Column::Length];
        let mut used = Column::ALL.map(|column| always.contains(&column));
        let mut more = std::collections::BTreeSet::new();
        self.each(selection, |one| {
            for (nth, text) in one.fields.known.iter().enumerate() {
                used[nth] |= !text.is_empty();
            }
            for header in one.fields.more.keys().filter(|header| !more.contains(*header)).cloned().collect::<Vec<_>>() {
                more.insert(header);
            }
            Ok(())
        })?;
        let known = Column::ALL.into_iter().zip(used).filter_map(|(column, used)| used.then_some(column));
        Ok((known.collect(), more.into_iter().collect()))
    }

    /// A list of cables for a job: the register's number as `id`, then the columns in use. The row of a
    /// cable is its number in the register.
    ///
    /// # Errors
    /// As [`Register::each`]; kind `Input` where there is none; kind `Limit`: more than a list holds.
    pub fn list(&self, selection: &Selection) -> Result<CableList> {
        let (known, more) = self.columns(selection)?;
        let headers: Vec<String> = std::iter::once("id".to_owned())
            .chain(known.iter().map(|column| column.name().to_owned()))
            .chain(more.iter().cloned())
            .collect();
        let mut list = CableList::builder(headers, &BTreeMap::new())?;
        self.each(selection, |one| {
            let id = one.id.to_string();
            let row = u32::try_from(one.id).unwrap_or(u32::MAX);
            let more = more.iter().map(|header| one.fields.more.get(header).map_or("", String::as_str));
            let known = known.iter().map(|column| one.fields.text(*column));
            list.push(row, std::iter::once(id.as_str()).chain(known).chain(more));
            list.room()
        })?;
        if list.is_empty() {
            return Err(Error::input("found no such cable in the register, wanted at least one"));
        }
        Ok(list.finish())
    }

    /// The batches with a word: word, cables in use, retired ones.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn batches(&self) -> Result<Vec<Batch>> {
        let sql = "SELECT batch.word, count(cable.id) - count(retired), count(retired), \
                   max(CASE WHEN number NOT GLOB '*[^0-9]*' AND length(number) <= 15 THEN CAST(number AS INTEGER) END), \
                   min(CASE WHEN number NOT GLOB '*[^0-9]*' AND length(number) <= 15 THEN CAST(number AS INTEGER) END) \
                   FROM batch LEFT JOIN cable ON cable.batch = batch.id GROUP BY batch.id ORDER BY batch.id";
        let mut get = self.read().prepare_cached(sql).map_err(fault)?;
        let rows = get.query_map([], |row| {
            Ok(Batch {
                word: row.get(0)?,
                cables: row.get(1)?,
                retired: row.get(2)?,
                largest: row.get(3)?,
                smallest: row.get(4)?,
            })
        });
        rows.map_err(fault)?.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    fn no_batch(&self, word: &str) -> Result<Error> {
        let known: Vec<String> =
            self.batches()?.into_iter().map(|one| one.word).filter(|word| !word.is_empty()).collect();
        let wanted = match known.as_slice() {
            [] => {
                "one of the register: it has none yet, `tapewright cables import` or `cables add` adds some".to_owned()
            }
            known if known.len() > 30 => format!("one of the register's {}: `tapewright cables batches`", known.len()),
            known => format!("one of {}", known.join(", ")),
        };
        Ok(Error::input(format!("found batch `{word}`, wanted {wanted}")))
    }
}

/// A batch in short.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Its word; blank for cables without one.
    pub word: String,
    /// Cables in use.
    pub cables: i64,
    /// Retired ones; their numbers stay taken.
    pub retired: i64,
    /// Its largest number, of those that are digits only, retired ones too.
    pub largest: Option<i64>,
    /// And its smallest.
    pub smallest: Option<i64>,
}
