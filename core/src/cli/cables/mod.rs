//! The cables of the register: taken in, written out, found, added, changed.

pub(super) mod args;
mod import;
mod show;
mod upkeep;
mod words;

pub(super) use upkeep::until;

use super::answer::plural;
use super::{Done, Talk, answer, answer_json, known, waiting};
use crate::cable::Column;
use crate::error::{Error, Result};
use crate::register::{Entry, NewBatch, Register, Selection};
use crate::settings::remapped;
use crate::store::table::{TableOptions, read};
use args::{AddArgs, CablesCommand, WhichArgs};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::PathBuf;

/// What every command of the group works with.
pub(super) struct Cables<'a> {
    /// The register's file.
    pub(super) path: PathBuf,
    /// Seconds since 1970, UTC.
    pub(super) now: i64,
    pub(super) json: bool,
    pub(super) talk: &'a Talk,
}

/// Most cables that `find` shows unasked.
const MOST_FOUND: usize = 50;

impl Cables<'_> {
    fn open(&self) -> Result<Register> {
        Register::open(&self.path, waiting(self.talk))
    }

    fn existing(&self) -> Result<Register> {
        Register::existing(&self.path, waiting(self.talk))
    }

    pub(super) fn run(&self, command: &CablesCommand) -> Done {
        match command {
            CablesCommand::Import { list, sheet, column, owner, dry_run, retire_missing } => {
                let columns = remapped(column)?;
                let read = read(list, &TableOptions { sheet: sheet.clone(), columns, delimiter: None })?;
                if read.header(Column::Number).is_none() {
                    return Err(Error::input(format!(
                        "{}: found the columns {}, wanted `number` among them; --column number=\"Cable no.\" takes another",
                        list.display(),
                        read.headers().join(", ")
                    ))
                    .into());
                }
                let near = read.near_misses();
                for (header, column) in &near {
                    self.talk
                        .warn(&format!("note: column `{header}` is kept as it is; did you mean `{}`?", column.name()));
                }
                let told = |header: &&str| near.iter().any(|(near, _)| near == header);
                let own: Vec<String> =
                    read.others().filter(|header| !told(header)).map(|header| format!("`{header}`")).collect();
                if !own.is_empty() {
                    self.talk.say(&format!(
                        "note: kept as columns of your own: {}; --column od_mm=\"Outside dia\" makes such a column one of ours",
                        own.join(", ")
                    ));
                }
                let (kinds, retire_missing, dry_run) = (known()?.kinds, *retire_missing, *dry_run);
                let asked = import::Asked { path: list, list: &read, kinds: &kinds, owner, retire_missing, dry_run };
                let used = if self.path.exists() { words::in_use(&self.existing()?)? } else { Vec::new() };
                import::import(self, &asked)?;
                self.warn_near_each(&read, used);
                Ok(())
            }
            CablesCommand::Export { file, which } => import::export(self, file, &selection(which, false)),
            CablesCommand::Find { scraps, retired, all } => self.find(scraps, *retired, *all),
            CablesCommand::List { which, retired } => self.list(&selection(which, *retired)),
            CablesCommand::Batches => self.batches(),
            CablesCommand::Words { count } => self.words(*count),
            CablesCommand::Show { name } => show::show(self, name),
            CablesCommand::Add(new) => self.add(new),
            CablesCommand::Change { words } => self.change(words),
            CablesCommand::Retire { names, batch } => self.retire(names, batch.as_deref()),
            CablesCommand::Due { within, place } => upkeep::due(self, within.as_deref(), place.as_deref()),
            CablesCommand::Seen { names, end, word } => upkeep::seen(self, names, end, word),
            CablesCommand::Renewal { build, time, stock } => {
                upkeep::renewal(self, build.as_deref().zip(time.as_deref()), stock.as_deref())
            }
            CablesCommand::Backup { file } => {
                self.existing()?.back_up(file)?;
                if self.json {
                    return answer_json(&json!({ "file": file.display().to_string() }));
                }
                answer(&format!("{}: the register as it is now\n", file.display()))
            }
        }
    }

    fn find(&self, scraps: &[String], retired: bool, all: bool) -> Done {
        let found = self.existing()?.find(scraps, retired, if all { usize::MAX } else { MOST_FOUND })?;
        if self.json {
            let cables: Vec<Value> = found.cables.iter().map(entry_json).collect();
            return answer_json(&json!({ "cables": cables, "all": found.all, "retired": found.retired }));
        }
        answer(&lines(&found.cables))?;
        if found.all > found.cables.len() {
            self.talk.warn(&format!("… and {} more; --all shows them", found.all - found.cables.len()));
        }
        match (found.all, found.retired) {
            (0, 0) => self.talk.warn(&format!(
                "found no cable with `{}`, wanted one that has every scrap; fewer or shorter ones find more",
                scraps.join(" ")
            )),
            (_, 0) => {}
            (_, 1) => self.talk.warn("1 retired cable is not shown; --retired shows it"),
            (_, retired) => self.talk.warn(&format!("{retired} retired cables are not shown; --retired shows them")),
        }
        Ok(())
    }

    fn list(&self, which: &Selection) -> Done {
        let register = self.existing()?;
        let mut cables = Vec::new();
        register.each(which, |one| {
            cables.push(one.clone());
            Ok(())
        })?;
        if self.json {
            return answer_json(&cables.iter().map(entry_json).collect::<Vec<_>>());
        }
        answer(&lines(&cables))
    }

    fn batches(&self) -> Done {
        let batches = self.existing()?.batches()?;
        if self.json {
            let all: Vec<Value> = batches
                .iter()
                .map(|one| {
                    json!({"word": one.word, "cables": one.cables, "retired": one.retired, "smallest": one.smallest,
                           "largest": one.largest})
                })
                .collect();
            return answer_json(&all);
        }
        let width = batches.iter().map(|one| one.word.chars().count()).max().unwrap_or(0).max(6);
        let mut text = String::new();
        for one in &batches {
            let word = if one.word.is_empty() { "(none)" } else { &one.word };
            let numbers = one.smallest.zip(one.largest).map_or(String::new(), |(from, to)| format!("  {from} to {to}"));
            let retired = if one.retired > 0 { format!(", {} retired", one.retired) } else { String::new() };
            let count = usize::try_from(one.cables).unwrap_or(0);
            let _ = writeln!(text, "{word:width$}  {}{retired}{numbers}", plural(count, "cable"));
        }
        answer(&text)
    }

    fn add(&self, new: &AddArgs) -> Done {
        let known = known()?;
        let mut register = self.open()?;
        let used = words::in_use(&register)?;
        let word = match &new.word {
            Some(word) => word.split_whitespace().collect::<Vec<_>>().join(" "),
            None => words::best(&used)?,
        };
        if word.is_empty() || word.starts_with('#') {
            return Err(Error::input(format!("found the word `{word}`, wanted one that people can say")).into());
        }
        let start = match &new.start {
            None => None,
            Some(text) => {
                let number = text.parse::<i64>().ok().filter(|_| text.len() <= 12 && !text.starts_with(['-', '+']));
                let number = number.ok_or_else(|| {
                    Error::input(format!("--start: found `{text}`, wanted a whole number of up to 12 digits"))
                })?;
                Some((number, text.len()))
            }
        };
        let fields = [
            (Column::Owner, &new.owner),
            (Column::Length, &new.length),
            (Column::Kind, &new.kind),
            (Column::Od, &new.od),
            (Column::From, &new.from),
            (Column::To, &new.to),
            (Column::Terminated, &new.terminated),
            (Column::Build, &new.build),
            (Column::Stock, &new.stock),
            (Column::Note, &new.note),
        ];
        let fields = fields.into_iter().filter_map(|(column, text)| Some((column, text.as_ref()?.trim().to_owned())));
        let new = NewBatch { word, count: new.count, start, step: new.step, fields: fields.collect() };
        let added = register.add(self.now, &new, &known.kinds)?;
        if !added.goes_on {
            self.warn_near(&added.word, &used);
        }
        if added.goes_on {
            self.talk.say(&format!("note: {} was there already: its numbers go on", added.word));
        }
        if !added.also_in.is_empty() {
            self.talk.warn(&format!(
                "note: some of these numbers are in use in {}, too: say the word with the number",
                added.also_in.join(", ")
            ));
        }
        if self.json {
            return answer_json(&json!({ "word": added.word, "numbers": added.numbers, "goes_on": added.goes_on,
                "also_in": added.also_in }));
        }
        let (first, last) = (&added.numbers[0], &added.numbers[added.numbers.len() - 1]);
        let to = if first == last { String::new() } else { format!(" to {last}") };
        answer(&format!("{} {first}{to}: {}\n", added.word, plural(added.numbers.len(), "new cable")))
    }

    fn change(&self, words: &[String]) -> Done {
        let first = words.iter().position(|word| word.contains('=')).unwrap_or(words.len());
        let mut fields = Vec::new();
        for word in &words[first..] {
            let Some((field, value)) = word.split_once('=') else {
                return Err(Error::input(format!("found `{word}`, wanted FIELD=VALUE such as length=\"25 ft\"")).into());
            };
            fields.push((field.trim().to_owned(), value.trim().to_owned()));
        }
        if fields.is_empty() || first == 0 {
            return Err(Error::input(
                "found no cable and field, wanted NAME FIELD=VALUE such as otter 1040 length=\"25 ft\"",
            )
            .into());
        }
        let known = known()?;
        let mut register = self.existing()?;
        let one = single(register.named(&words[..first])?, &words[..first])?;
        let changes = register.change(self.now, one.id, &fields, &known.kinds)?;
        if self.json {
            let all = changes.iter().map(|one| json!({"field": one.field, "old": one.old, "new": one.new}));
            return answer_json(
                &json!({ "id": one.id, "cable": one.fields.name(), "changes": all.collect::<Vec<_>>() }),
            );
        }
        let changes: Vec<String> =
            changes.iter().map(|one| format!("{} `{}` -> `{}`", one.field, one.old, one.new)).collect();
        let changes = if changes.is_empty() { "nothing new".to_owned() } else { changes.join(", ") };
        answer(&format!("{}: {changes}\n", one.fields.name()))
    }

    fn retire(&self, names: &[String], batch: Option<&str>) -> Done {
        let mut register = self.existing()?;
        let cables = match batch {
            Some(word) => {
                let mut cables = Vec::new();
                register.each(&Selection { batches: vec![word.to_owned()], ..Selection::default() }, |one| {
                    cables.push(one.clone());
                    Ok(())
                })?;
                cables
            }
            None => register.named(names)?,
        };
        let ids: Vec<i64> = cables.iter().filter(|one| one.retired.is_none()).map(|one| one.id).collect();
        for gone in cables.iter().filter(|one| one.retired.is_some()) {
            self.talk.say(&format!("note: {} was retired before", gone.fields.name()));
        }
        register.retire(self.now, &ids)?;
        if self.json {
            return answer_json(&json!({ "retired": ids }));
        }
        let names =
            cables.iter().filter(|one| ids.contains(&one.id)).map(|one| format!("{} is retired\n", one.fields.name()));
        answer(&names.collect::<String>())
    }
}

/// The one cable of a name.
fn single(mut cables: Vec<Entry>, words: &[String]) -> Result<Entry> {
    match (cables.pop(), cables.is_empty()) {
        (Some(one), true) => Ok(one),
        _ => Err(Error::input(format!("found `{}`, wanted one cable", words.join(" ")))),
    }
}

fn selection(which: &WhichArgs, retired: bool) -> Selection {
    Selection { batches: which.batch.clone(), scraps: which.scraps.clone(), ids: None, retired }
}

/// The columns a line shows, in their order; the places stand apart.
const SHOWN: [Column; 5] = [Column::Owner, Column::Length, Column::LengthFt, Column::LengthM, Column::Kind];

/// Cables, a line each: number in the register, name, what tells them apart.
fn lines(cables: &[Entry]) -> String {
    let ids: Vec<String> = cables.iter().map(|one| format!("#{}", one.id)).collect();
    let id_width = ids.iter().map(String::len).max().unwrap_or(0);
    let name_width = cables.iter().map(|one| one.fields.name().chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for (one, id) in cables.iter().zip(ids) {
        let mut words: Vec<String> = Vec::new();
        for column in SHOWN {
            let unit = match column {
                Column::LengthFt => " ft",
                Column::LengthM => " m",
                _ => "",
            };
            match one.fields.text(column) {
                "" => {}
                text if text.ends_with(|c: char| c.is_ascii_digit()) => words.push(format!("{text}{unit}")),
                text => words.push(text.to_owned()),
            }
        }
        match (one.fields.text(Column::From), one.fields.text(Column::To)) {
            ("", "") => {}
            (from, "") => words.push(format!("from {from}")),
            ("", to) => words.push(format!("to {to}")),
            (from, to) => words.push(format!("{from} to {to}")),
        }
        if let Some(at) = one.retired {
            words.push(format!("retired {}", crate::journal::day(at)));
        }
        let line = format!("{id:id_width$}  {:name_width$}  {}", one.fields.name(), words.join(", "));
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}

/// A cable as JSON: fields that are not blank.
fn entry_json(one: &Entry) -> Value {
    let mut fields = serde_json::Map::new();
    for column in Column::ALL {
        let text = one.fields.text(column);
        if !text.is_empty() {
            fields.insert(column.name().to_owned(), text.into());
        }
    }
    for (header, text) in one.fields.more() {
        fields.insert(header.clone(), text.as_str().into());
    }
    json!({
        "id": one.id, "cable": one.fields.name(), "fields": fields, "added": crate::journal::day(one.added),
        "retired": one.retired.map(crate::journal::day),
    })
}
