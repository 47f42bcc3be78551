//! A cable list against the register: what it adds, changes, leaves and clashes with, row by row.

use super::Register;
use super::cables::{Entry, Fields, Writer, by_id, by_name};
use super::fault::fault;
use crate::cable::{Cable, CableList, Column, ColumnIndex, Kinds};
use crate::error::{Error, Result};
use crate::journal::day;
use crate::layout::Build;
use rusqlite::Connection;
use std::collections::hash_map::Entry as Place;
use std::collections::{HashMap, HashSet};
use std::hash::{BuildHasher, RandomState};

/// A list to take in.
pub struct Import<'a> {
    /// The list.
    pub list: &'a CableList,
    /// What kinds of cable are known.
    pub kinds: &'a Kinds,
    /// Owner mark of cables whose row has none.
    pub owner: &'a str,
    /// Retire cables of the list's batches that the list does not have.
    pub retire_missing: bool,
    /// Every row must be a new cable.
    pub only_new: bool,
}

/// A field that becomes another.
#[derive(Clone, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the words of the answer")]
pub struct Change {
    pub field: String,
    pub old: String,
    pub new: String,
}

/// What stands against a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The header, where one field is at fault.
    pub field: Option<String>,
    /// What was found, what was wanted, a hint.
    pub text: String,
}

/// What becomes of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// A new cable.
    Add,
    /// A cable that is known, with other fields.
    Change(Vec<Change>),
    /// A cable that is known, and nothing new.
    Same,
    /// A cable that the list no longer has.
    Retire,
    /// It cannot be taken: all that stands against it.
    Clash(Vec<Clash>),
}

/// One row's outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The row of the list, see [`Cable::row`]; `None` for a cable that the list does not have.
    pub row: Option<u32>,
    /// Batch and number; may be blank in a row that clashes.
    pub name: String,
    /// What becomes of it.
    pub outcome: Outcome,
}

/// How many rows of each outcome.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs, reason = "the outcomes")]
pub struct Tally {
    pub adds: usize,
    pub changes: usize,
    pub same: usize,
    pub retired: usize,
    pub clashes: usize,
}

/// Where the fields of a cable stand in a list.
struct Shape {
    known: Vec<Column>,
    more: Vec<(ColumnIndex, String)>,
    id: Option<(ColumnIndex, String)>,
}

/// The column of the register's numbers.
const ID: &str = "id";

impl Shape {
    fn of(list: &CableList, db: &Connection) -> Result<Self> {
        let known: Vec<Column> = Column::ALL.into_iter().filter(|&column| list.header(column).is_some()).collect();
        // A header is written as the register has it already.
        let mut spelt: HashMap<String, String> = HashMap::new();
        let mut keys = db
            .prepare("SELECT DISTINCT one.key FROM cable, json_each(cable.more) AS one WHERE cable.more <> '{}'")
            .map_err(fault)?;
        let mut rows = keys.query([]).map_err(fault)?;
        while let Some(row) = rows.next().map_err(fault)? {
            let key: String = row.get(0).map_err(fault)?;
            spelt.insert(plain(&key), key);
        }
        let mut shape = Self { known, more: Vec::new(), id: None };
        for header in list.headers().iter().filter(|header| !header.is_empty()) {
            if Column::ALL.iter().any(|&column| list.header(column) == Some(header)) {
                continue;
            }
            if let Some(column) = Column::named(header) {
                return Err(Error::input(format!(
                    "found the header `{header}` beside `{}`, which --column makes {}, wanted one of them; rename the other",
                    list.header(column).unwrap_or_default(),
                    column.name()
                )));
            }
            let Some(index) = list.column(header) else { continue };
            if plain(header) == ID {
                shape.id = Some((index, header.clone()));
            } else {
                shape.more.push((index, spelt.get(&plain(header)).unwrap_or(header).clone()));
            }
        }
        Ok(shape)
    }

    /// Puts what a row says over the fields; the owner only where it says one.
    fn put(&self, cable: Cable<'_>, fields: &mut Fields) {
        for &column in &self.known {
            let text = cable.text(column);
            if column != Column::Owner || !text.is_empty() {
                fields.set(column, text);
            }
        }
        for (index, header) in &self.more {
            fields.set_more(header, cable.field(*index));
        }
    }
}

/// A header as headers are compared.
fn plain(header: &str) -> String {
    let kept = header.chars().filter(|c| !c.is_whitespace() && !matches!(c, '_' | '-' | '\u{2010}' | '\u{2011}'));
    kept.flat_map(char::to_lowercase).collect()
}

/// The fields that differ, in the order of the columns.
pub(super) fn changes(old: &Fields, new: &Fields) -> Vec<Change> {
    let change = |field: &str, old: &str, new: &str| {
        (old != new).then(|| Change { field: field.to_owned(), old: old.to_owned(), new: new.to_owned() })
    };
    let known = Column::ALL.into_iter().filter_map(|column| change(column.name(), old.text(column), new.text(column)));
    let headers: std::collections::BTreeSet<&String> = old.more().keys().chain(new.more().keys()).collect();
    let of = |fields: &Fields, header: &String| fields.more().get(header).cloned().unwrap_or_default();
    let more = headers.into_iter().filter_map(|header| change(header, &of(old, header), &of(new, header)));
    known.chain(more).collect()
}

fn clash(field: Option<&str>, text: impl Into<String>) -> Clash {
    Clash { field: field.map(str::to_owned), text: text.into() }
}

/// What is wrong with a row in itself.
///
/// An unknown kind is none: a register may know cables that no label can be made for yet.
pub(super) fn faults(cable: Cable<'_>, kinds: &Kinds) -> Vec<Clash> {
    let list = cable.list();
    let mut wrong = Vec::new();
    let header = |column: Column| list.header(column).unwrap_or(column.name());
    if cable.text(Column::Number).is_empty() {
        let at = header(Column::Number);
        wrong.push(clash(Some(at), "found no number, wanted one: batch and number name a cable"));
    }
    for column in [Column::Owner, Column::Batch, Column::Number] {
        let text = cable.text(column);
        if text.chars().any(char::is_control) {
            let shown: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(60).collect();
            wrong.push(clash(Some(header(column)), format!("found `{shown}` on several lines, wanted one line")));
        }
        if column == Column::Number && text.starts_with('#') {
            let what =
                format!("found `{text}`, wanted a number that does not begin with #: that is how the register counts");
            wrong.push(clash(Some(header(column)), what));
        }
    }
    if let Err(error) = cable.length() {
        wrong.push(clash(Some(&error.field), error.to_string()));
    }
    if let Err(error) = cable.diameter(kinds)
        && Some(error.field.as_str()) != list.header(Column::Kind)
    {
        wrong.push(clash(Some(&error.field), error.to_string()));
    }
    let build = cable.text(Column::Build);
    if !build.is_empty() && !build.eq_ignore_ascii_case("auto") && Build::named(build).is_none() {
        let text = format!("found `{build}`, wanted flag, wrap, band, sleeve, plate or auto");
        wrong.push(clash(Some(header(Column::Build)), text));
    }
    wrong
}

/// The state of one walk over a list.
struct Walk<'w, 'a> {
    import: &'w Import<'a>,
    db: &'w Connection,
    writer: Option<Writer<'w>>,
    shape: Shape,
    hasher: RandomState,
    /// Rows by what their names hash to: 12 bytes a row.
    names: HashMap<u64, u32>,
    /// Numbers of the register that rows claim for new cables.
    claimed: HashSet<i64>,
    /// Cables the list has: those it adds, and all of them where the others are retired.
    seen: HashSet<i64>,
    tally: Tally,
}

impl Walk<'_, '_> {
    /// The earlier row of the same cable.
    fn twice(&mut self, nth: usize, cable: Cable<'_>) -> Option<u32> {
        let name = |cable: Cable<'_>| {
            (cable.text(Column::Batch).to_ascii_lowercase(), cable.text(Column::Number).to_ascii_lowercase())
        };
        let mine = name(cable);
        match self.names.entry(self.hasher.hash_one(&mine)) {
            Place::Vacant(free) => {
                free.insert(u32::try_from(nth).unwrap_or(u32::MAX));
                None
            }
            Place::Occupied(earlier) => {
                let earlier = self.import.list.cable(*earlier.get() as usize);
                (name(earlier) == mine).then(|| earlier.row())
            }
        }
    }

    /// What the column of the register's numbers says, against what is known; the number a new cable takes.
    fn id(&mut self, cable: Cable<'_>, known: Option<&Entry>, wrong: &mut Vec<Clash>) -> Result<Option<i64>> {
        let Some((index, header)) = &self.shape.id else { return Ok(None) };
        let text = cable.field(*index);
        if text.is_empty() {
            return Ok(None);
        }
        let Some(id) = text.parse::<i64>().ok().filter(|id| (1..=i64::from(u32::MAX)).contains(id)) else {
            let hint = "leave it blank, or rename the column if it is your own";
            wrong.push(clash(
                Some(header),
                format!("found `{text}`, wanted the cable's number in the register; {hint}"),
            ));
            return Ok(None);
        };
        if let Some(known) = known {
            if known.id != id {
                let text = format!("found {id}, wanted {}: that is this cable's number in the register", known.id);
                wrong.push(clash(Some(header), text));
            }
            return Ok(None);
        }
        if !self.claimed.insert(id) {
            wrong.push(clash(Some(header), format!("found {id} a second time in the list, wanted it once")));
            return Ok(None);
        }
        if let Some(other) = by_id(self.db, id)? {
            let text = format!(
                "found {id}, which is {} in the register, wanted that name or no id: names on labels stay",
                other.fields.name()
            );
            wrong.push(clash(Some(header), text));
            return Ok(None);
        }
        Ok(Some(id))
    }

    fn outcome(&mut self, nth: usize, cable: Cable<'_>) -> Result<Outcome> {
        let (word, number) = (cable.text(Column::Batch), cable.text(Column::Number));
        let mut wrong = faults(cable, self.import.kinds);
        if number.is_empty() {
            return Ok(Outcome::Clash(wrong));
        }
        if let Some(row) = self.twice(nth, cable) {
            wrong.push(clash(None, format!("found the same batch and number as in row {row}, wanted each cable once")));
        }
        let known = by_name(self.db, word, number)?;
        let id = self.id(cable, known.as_ref(), &mut wrong)?;
        let Some(known) = known else {
            let mut fields = Fields::default();
            fields.set(Column::Owner, self.import.owner);
            self.shape.put(cable, &mut fields);
            if let (true, Some(writer)) = (wrong.is_empty(), &mut self.writer) {
                self.seen.insert(writer.add(id, &fields)?);
            }
            return Ok(if wrong.is_empty() { Outcome::Add } else { Outcome::Clash(wrong) });
        };
        if self.import.retire_missing {
            self.seen.insert(known.id);
        }
        match known.retired {
            Some(at) => wrong.push(clash(
                self.import.list.header(Column::Number),
                format!(
                    "found a cable that was retired on {}, wanted a number of its own: numbers are never given again",
                    day(at)
                ),
            )),
            None if self.import.only_new => {
                let header = self.import.list.header(Column::Number);
                wrong.push(clash(header, "found a cable of the register, wanted a number that is free"));
            }
            None => {}
        }
        let mut fields = known.fields.clone();
        self.shape.put(cable, &mut fields);
        // The name stays as it was written first.
        fields.set(Column::Batch, known.fields.text(Column::Batch));
        fields.set(Column::Number, known.fields.text(Column::Number));
        let (old, new) = (known.fields.text(Column::Owner), fields.text(Column::Owner));
        if old.eq_ignore_ascii_case(new) {
            let old = old.to_owned();
            fields.set(Column::Owner, &old);
        } else if !old.is_empty() {
            let hint = format!("`tapewright cables change \"{}\" owner={new}` gives it away", known.fields.name());
            let text = format!("found `{new}`, wanted `{old}`, whose it is in the register; {hint}");
            wrong.push(clash(self.import.list.header(Column::Owner), text));
        }
        if !wrong.is_empty() {
            return Ok(Outcome::Clash(wrong));
        }
        let changes = changes(&known.fields, &fields);
        if changes.is_empty() {
            return Ok(Outcome::Same);
        }
        if let Some(writer) = &mut self.writer {
            writer.change(known.id, &fields)?;
        }
        Ok(Outcome::Change(changes))
    }

    /// Cables of the list's batches that the list does not have.
    fn missing(&mut self, tell: &mut dyn FnMut(Told)) -> Result<()> {
        let words: HashSet<String> =
            self.import.list.iter().map(|cable| cable.text(Column::Batch).to_ascii_lowercase()).collect();
        let sql = "SELECT cable.id, trim(batch.word || ' ' || number), batch.word FROM cable JOIN batch ON batch.id = cable.batch \
                   WHERE retired IS NULL ORDER BY cable.id";
        let mut get = self.db.prepare(sql).map_err(fault)?;
        let mut rows = get.query([]).map_err(fault)?;
        let mut gone = Vec::new();
        while let Some(row) = rows.next().map_err(fault)? {
            let (id, word): (i64, String) = (row.get(0).map_err(fault)?, row.get(2).map_err(fault)?);
            if !self.seen.contains(&id) && words.contains(&word.to_ascii_lowercase()) {
                gone.push(id);
                tell(Told { row: None, name: row.get(1).map_err(fault)?, outcome: Outcome::Retire });
            }
        }
        self.tally.retired = gone.len();
        if let Some(writer) = &self.writer {
            for id in gone {
                writer.retire(id)?;
            }
        }
        Ok(())
    }

    fn run(mut self, tell: &mut dyn FnMut(Told)) -> Result<Tally> {
        let list = self.import.list;
        for fault in list.faults() {
            self.tally.clashes += 1;
            let wrong = Clash { field: fault.field.clone(), text: fault.text.clone() };
            tell(Told { row: Some(fault.row), name: String::new(), outcome: Outcome::Clash(vec![wrong]) });
        }
        for (nth, cable) in list.iter().enumerate() {
            let outcome = self.outcome(nth, cable)?;
            match &outcome {
                // Added ones are not known yet when the rest is retired.
                Outcome::Add => self.tally.adds += 1,
                Outcome::Change(_) => self.tally.changes += 1,
                Outcome::Same => self.tally.same += 1,
                Outcome::Retire => {}
                Outcome::Clash(_) => self.tally.clashes += 1,
            }
            let name = format!("{} {}", cable.text(Column::Batch), cable.text(Column::Number)).trim().to_owned();
            tell(Told { row: Some(cable.row()), name, outcome });
        }
        if self.import.retire_missing && self.tally.clashes == 0 {
            self.missing(tell)?;
        }
        Ok(self.tally)
    }
}

pub(super) fn walk<'w>(
    import: &'w Import<'_>,
    db: &'w Connection,
    at: Option<i64>,
    tell: &mut dyn FnMut(Told),
) -> Result<Tally> {
    let walk = Walk {
        import,
        db,
        writer: at.map(|at| Writer::new(db, at)),
        shape: Shape::of(import.list, db)?,
        hasher: RandomState::new(),
        names: HashMap::new(),
        claimed: HashSet::new(),
        seen: HashSet::new(),
        tally: Tally::default(),
    };
    walk.run(tell)
}

impl Register {
    /// Says what a list would do, and writes nothing.
    ///
    /// # Errors
    /// Kind `Input`: two headers for one column. Kind `Storage`.
    pub fn compare(&self, import: &Import<'_>, mut tell: impl FnMut(Told)) -> Result<Tally> {
        // One state of the register for all rows, whoever writes meanwhile.
        let still = self.read().unchecked_transaction().map_err(fault)?;
        walk(import, &still, None, &mut tell)
    }

    /// Takes a list in: all of it, or nothing where a row clashes.
    ///
    /// # Errors
    /// As [`Register::compare`]; kind `Storage` also where it cannot be written.
    pub fn import(&mut self, at: i64, import: &Import<'_>, mut tell: impl FnMut(Told)) -> Result<Tally> {
        let mut tally = Tally::default();
        let done = self.write(|db| {
            tally = walk(import, db, Some(at), &mut tell)?;
            if tally.clashes > 0 { Err(Error::input("rows clash")) } else { Ok(()) }
        });
        match done {
            Err(error) if tally.clashes == 0 => Err(error),
            _ => Ok(tally),
        }
    }
}
