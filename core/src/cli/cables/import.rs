//! Cable lists into the register, and out of it.

use super::Cables;
use crate::cable::{CableList, Column, Kinds};
use crate::cli::answer::plural;
use crate::cli::{Done, MOST_SHOWN, Stop, Talk, answer};
use crate::error::{Error, Result};
use crate::register::{Import, Outcome, Register, Selection, Tally, Told};
use crate::store::files::WholeFile;
use serde_json::json;
use std::fmt::Write as _;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// The rows of an answer as they come: for a person the first of each sort, for a program all.
struct Rows {
    json: Option<String>,
    adds: Vec<String>,
    changes: Vec<String>,
    retired: Vec<String>,
    clashes: Vec<String>,
}

fn first(of: &mut Vec<String>, line: impl FnOnce() -> String) {
    if of.len() < MOST_SHOWN {
        of.push(line());
    }
}

impl Rows {
    fn tell(&mut self, told: Told) {
        let Told { row, name, outcome } = told;
        let row = row.unwrap_or_default();
        if let Some(all) = &mut self.json {
            let value = match &outcome {
                Outcome::Add => json!({"row": row, "cable": name, "outcome": "add"}),
                Outcome::Same => json!({"row": row, "cable": name, "outcome": "same"}),
                Outcome::Retire => json!({"row": null, "cable": name, "outcome": "retire"}),
                Outcome::Change(changes) => {
                    let changes: Vec<_> = changes
                        .iter()
                        .map(|change| json!({"field": change.field, "old": change.old, "new": change.new}))
                        .collect();
                    json!({"row": row, "cable": name, "outcome": "change", "changes": changes})
                }
                Outcome::Clash(wrong) => {
                    let wrong: Vec<_> =
                        wrong.iter().map(|clash| json!({"field": clash.field, "text": clash.text})).collect();
                    json!({"row": row, "cable": name, "outcome": "clash", "clashes": wrong})
                }
            };
            if !all.is_empty() {
                all.push(',');
            }
            all.push_str(&value.to_string());
        }
        match outcome {
            Outcome::Add => first(&mut self.adds, || format!("add     row {row}  {name}")),
            Outcome::Same => {}
            Outcome::Retire => first(&mut self.retired, || format!("retire  {name}: the list does not have it")),
            Outcome::Change(changes) => first(&mut self.changes, || {
                let changes: Vec<String> = changes
                    .iter()
                    .map(|change| format!("{} `{}` -> `{}`", change.field, change.old, change.new))
                    .collect();
                format!("change  row {row}  {name}: {}", changes.join(", "))
            }),
            Outcome::Clash(wrong) => {
                for clash in wrong {
                    let field = clash.field.map_or(String::new(), |field| format!(", {field}"));
                    let name = if name.is_empty() { String::new() } else { format!("{name}: ") };
                    first(&mut self.clashes, || format!("row {row}{field}: {name}{}", clash.text));
                }
            }
        }
    }

    /// The lines of one sort, and how many are not shown.
    fn lines(text: &mut String, shown: &[String], all: usize, what: &str) {
        for line in shown {
            let _ = writeln!(text, "{line}");
        }
        if all > shown.len() {
            let _ = writeln!(text, "… and {} more {what}; --json lists them all", all - shown.len());
        }
    }
}

/// What an import is asked for.
pub(super) struct Asked<'a> {
    pub(super) path: &'a Path,
    pub(super) list: &'a CableList,
    pub(super) kinds: &'a Kinds,
    pub(super) owner: &'a str,
    pub(super) retire_missing: bool,
    pub(super) dry_run: bool,
}

pub(super) fn import(cables: &Cables<'_>, asked: &Asked<'_>) -> Done {
    let Asked { path, list, kinds, owner, retire_missing, dry_run } = *asked;
    let import = Import { list, kinds, owner: owner.trim(), retire_missing, only_new: false };
    let mut rows = Rows {
        json: cables.json.then(String::new),
        adds: Vec::new(),
        changes: Vec::new(),
        retired: Vec::new(),
        clashes: Vec::new(),
    };
    let tally = if dry_run {
        // Nothing is written, not even an empty register.
        let register = if cables.path.exists() { cables.existing()? } else { Register::nowhere()? };
        register.compare(&import, |told| rows.tell(told))?
    } else {
        cables.open()?.import(cables.now, &import, |told| rows.tell(told))?
    };
    let written = !dry_run && tally.clashes == 0;
    show(path, &rows, &tally, (dry_run, written), cables.talk)?;
    if tally.clashes > 0 {
        let word = if tally.clashes == 1 { "row clashes" } else { "rows clash" };
        let text = format!(
            "{}: {} {word}, nothing was written; put the list right and import it again",
            path.display(),
            tally.clashes
        );
        return Err(Error::input(text).into());
    }
    Ok(())
}

fn show(path: &Path, rows: &Rows, tally: &Tally, (dry_run, written): (bool, bool), talk: &Talk) -> Done {
    let Tally { adds, changes, same, retired, clashes } = *tally;
    for clash in &rows.clashes {
        talk.warn(&format!("{}: {clash}", path.display()));
    }
    if clashes > rows.clashes.len() {
        talk.warn(&format!("… and {} more rows that clash; --json lists them all", clashes - rows.clashes.len()));
    }
    if let Some(all) = &rows.json {
        let list = serde_json::to_string(&path.display().to_string()).unwrap_or_default();
        return answer(&format!(
            "{{\"list\":{list},\"dry_run\":{dry_run},\"written\":{written},\"adds\":{adds},\"changes\":{changes},\
             \"same\":{same},\"retired\":{retired},\"clashes\":{clashes},\"rows\":[{all}]}}\n"
        ));
    }
    let mut text = String::new();
    Rows::lines(&mut text, &rows.adds, adds, "to add");
    Rows::lines(&mut text, &rows.changes, changes, "to change");
    Rows::lines(&mut text, &rows.retired, retired, "to retire");
    let retired = if retired > 0 { format!(", {retired} retired") } else { String::new() };
    let clash = if clashes > 0 { format!(", {clashes} clash") } else { String::new() };
    let _ = writeln!(
        text,
        "{}: {adds} new, {changes} changed, {same} the same{retired}{clash}{}",
        plural(adds + changes + same + clashes, "row"),
        match (dry_run, written) {
            (true, _) => " (dry run: nothing was written)",
            (false, true) => "",
            (false, false) => " (nothing was written)",
        }
    );
    answer(&text)
}

/// A field as RFC 4180, section 2, writes it: in quotes where it holds the delimiter, a quote or a line
/// break, and quotes twice.
fn field(text: &str, delimiter: char) -> String {
    if text.contains([delimiter, '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// Writes cables as a list; how many.
fn write(register: &Register, which: &Selection, delimiter: char, out: &mut dyn Write) -> io::Result<Result<usize>> {
    let (known, more) = match register.columns(which) {
        Ok(columns) => columns,
        Err(error) => return Ok(Err(error)),
    };
    let separator = delimiter.to_string();
    let headers = ["id"].into_iter().chain(known.iter().map(|column| column.name()));
    let headers: Vec<String> =
        headers.chain(more.iter().map(String::as_str)).map(|text| field(text, delimiter)).collect();
    out.write_all(format!("{}\n", headers.join(&separator)).as_bytes())?;
    let (mut count, mut failed) = (0, None);
    let done = register.each(which, |one| {
        let known = known.iter().map(|&column: &Column| one.fields.text(column));
        let more = more.iter().map(|header| one.fields.more().get(header).map_or("", String::as_str));
        let fields: Vec<String> = known.chain(more).map(|text| field(text, delimiter)).collect();
        count += 1;
        let line = format!("{}{separator}{}\n", one.id, fields.join(&separator));
        out.write_all(line.as_bytes()).map_err(|error| {
            let text = error.to_string();
            failed = Some(error);
            Error::storage(text)
        })
    });
    match failed {
        Some(error) => Err(error),
        None => Ok(done.map(|()| count)),
    }
}

pub(super) fn export(cables: &Cables<'_>, to: &Path, which: &Selection) -> Done {
    let register = cables.existing()?;
    let extension = to.extension().map(|end| end.to_string_lossy().to_lowercase());
    let delimiter = match extension.as_deref() {
        _ if to == Path::new("-") => ',',
        Some("csv") => ',',
        Some("tsv" | "tab") => '\t',
        _ => {
            let text = format!("{}: wanted a name that ends in .csv or .tsv, or - for standard output", to.display());
            return Err(Error::input(text).into());
        }
    };
    if to == Path::new("-") {
        let mut out = BufWriter::new(io::stdout().lock());
        let written = write(&register, which, delimiter, &mut out).and_then(|done| out.flush().map(|()| done));
        return match written {
            Ok(done) => Ok(done.map(|_| ())?),
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Err(Stop::Closed),
            Err(error) => Err(Error::storage(format!("standard output: {error}")).into()),
        };
    }
    let mut file = WholeFile::create(to)?;
    let written = write(&register, which, delimiter, &mut file);
    let count = written.map_err(|error| Error::storage(format!("{}: {error}", to.display())))??;
    file.finish()?;
    if cables.json {
        return super::answer_json(&json!({ "file": to.display().to_string(), "cables": count }));
    }
    answer(&format!("{}: {}\n", to.display(), plural(count, "cable")))
}

#[cfg(test)]
mod tests {
    use super::field;

    /// RFC 4180, section 2, rules 5 to 7.
    #[test]
    fn fields_are_quoted_where_they_must_be() {
        for (text, wanted) in [
            ("50 ft", "50 ft"),
            ("12'6\"", "\"12'6\"\"\""),
            ("left, pit", "\"left, pit\""),
            ("two\nlines", "\"two\nlines\""),
        ] {
            assert_eq!(field(text, ','), wanted);
        }
        assert_eq!(field("left, pit", '\t'), "left, pit");
    }
}
