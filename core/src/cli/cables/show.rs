//! Whose label is this: a cable, its ends, what is printed on them, and what became of every label.

use super::{Cables, Done, answer, answer_json, entry_json, single};
use crate::cable::Column;
use crate::error::Result;
use crate::journal::{Fate, day};
use crate::register::{ENDS, Entry, Printing, Register};
use serde_json::{Value, json};
use std::collections::HashMap;
use std::fmt::Write as _;

/// A label that was printed, or was to be, and what became of it.
struct Past {
    printing: Printing,
    fate: Fate,
}

impl Past {
    fn is_good(&self) -> bool {
        matches!(self.fate, Fate::Left | Fate::Good)
    }

    fn text(&self) -> String {
        self.printing.label.text.replace('\n', " / ")
    }

    fn json(&self) -> Value {
        let label = &self.printing.label;
        json!({
            "job": self.printing.place.0, "label": self.printing.place.1, "day": day(self.printing.at),
            "end": label.end, "build": label.build, "stock": label.stock, "text": label.text,
            "fate": self.fate.word(), "perhaps_twice": self.printing.perhaps_twice,
            "again": self.printing.again.map(|(job, label)| json!({ "job": job, "label": label })),
        })
    }
}

/// All labels of a cable, the newest first.
fn past(register: &Register, one: &Entry) -> Result<Vec<Past>> {
    let mut fates: HashMap<i64, Vec<Fate>> = HashMap::new();
    let mut past = Vec::new();
    for printing in register.printings(one.fields.text(Column::Batch), one.fields.text(Column::Number))? {
        let (job, nth) = printing.place;
        if let std::collections::hash_map::Entry::Vacant(free) = fates.entry(job) {
            free.insert(register.fates(job, register.job(job)?.labels)?);
        }
        let fate = fates.get(&job).and_then(|fates| fates.get(nth.wrapping_sub(1))).copied().unwrap_or(Fate::Never);
        past.push(Past { printing, fate });
    }
    Ok(past)
}

/// What is on an end: the newest label that left well, else the newest of all.
fn on_end<'p>(past: &'p [Past], end: &str) -> Option<&'p Past> {
    let mut of_end = past.iter().filter(|one| one.printing.label.end == end);
    of_end.clone().find(|one| one.is_good()).or_else(|| of_end.next())
}

pub(super) fn show(cables: &Cables<'_>, name: &[String]) -> Done {
    let register = cables.existing()?;
    let one = single(register.named(name)?, name)?;
    let past = past(&register, &one)?;
    let seen = register.inspections(one.id)?;
    let due = register.due_of(&one)?;
    let due_of = |end: &str| due.iter().find(|due| due.end == end);
    if cables.json {
        let mut all = entry_json(&one);
        for (end, place) in ENDS {
            all[end] = json!({
                "place": one.fields.text(place), "label": on_end(&past, end).map(Past::json),
                "due": due_of(end).map(|due| day(due.at)), "why": due_of(end).map(|due| &due.why),
            });
        }
        all["history"] = past.iter().map(Past::json).collect();
        let seen = seen.iter().map(|seen| json!({ "day": day(seen.at), "end": seen.end, "word": seen.word }));
        all["seen"] = seen.collect();
        return answer_json(&all);
    }
    let mut text = format!("{}  #{}\n", one.fields.name(), one.id);
    if let Some(at) = one.retired {
        let _ = writeln!(text, "  retired: {}", day(at));
    }
    for column in Column::ALL {
        let value = one.fields.text(column);
        let apart = matches!(column, Column::Batch | Column::Number | Column::From | Column::To);
        if !value.is_empty() && !apart {
            let _ = writeln!(text, "  {}: {value}", column.name());
        }
    }
    for (header, value) in one.fields.more() {
        let _ = writeln!(text, "  {header}: {value}");
    }
    let _ = writeln!(text, "  added: {}", day(one.added));
    for (end, place) in ENDS {
        let place = one.fields.text(place);
        let place = if place.is_empty() { String::new() } else { format!(", at {place}") };
        let _ = match on_end(&past, end) {
            None => writeln!(text, "{end} end{place}: no label yet"),
            Some(on) if on.is_good() => writeln!(text, "{end} end{place}: `{}`", on.text()),
            Some(on) => writeln!(text, "{end} end{place}: `{}`, {}", on.text(), on.fate),
        };
        if let Some(due) = due_of(end) {
            let _ = writeln!(text, "  due {}: {}", day(due.at), due.why);
        }
    }
    if !past.is_empty() {
        text.push_str("labels, the newest first:\n");
    }
    for one in &past {
        let ((job, nth), label) = (one.printing.place, &one.printing.label);
        let _ = write!(
            text,
            "  {}  job {job}, label {nth}  {:4}  {} on {}  {}",
            day(one.printing.at),
            label.end,
            label.build,
            label.stock,
            one.fate
        );
        if let Some((job, nth)) = one.printing.again {
            let twice = if one.printing.perhaps_twice { ", which may have been printed, too" } else { "" };
            let _ = write!(text, "; again of job {job}, label {nth}{twice}");
        }
        text.push('\n');
    }
    if !seen.is_empty() {
        text.push_str("seen, the newest first:\n");
    }
    for seen in &seen {
        let _ = writeln!(text, "  {}  {:4}  {}", day(seen.at), seen.end.as_deref().unwrap_or("both"), seen.word);
    }
    answer(&text)
}
