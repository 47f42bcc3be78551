//! The jobs of the journal: what became of their labels, and what a person says of them.

use super::answer::plural;
use super::args::PaperArg;
use super::{Done, Talk, answer, answer_json, now, sheets};
use crate::error::{Error, Result};
use crate::journal::{Fate, Note, What, minute, stretches};
use crate::register::{Printing, Register, Summary};
use serde_json::{Value, json};
use std::fmt::Write;
use std::ops::RangeInclusive;
use std::path::Path;

/// What a person says of a job's labels.
pub(super) struct Said<'s> {
    pub(super) last_good: Option<&'s str>,
    pub(super) spoilt: &'s [String],
    pub(super) write_off: bool,
}

/// The number of a label that a person names: by its number, or as `OTTER 1043 near`.
pub(super) fn label_named(labels: &[Printing], text: &str) -> Result<usize> {
    let wanted = text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let named = |one: &&Printing| one.label.name().to_lowercase() == wanted;
    let found = labels.iter().find(named).map(|one| one.place.1);
    let number = || wanted.parse().ok().filter(|nth| (1..=labels.len()).contains(nth));
    found.or_else(number).ok_or_else(|| {
        let shown = |at: Option<&Printing>| at.map_or(String::new(), |one| one.label.name());
        let half = labels.iter().find(|one| one.label.name().to_lowercase().starts_with(&format!("{wanted} ")));
        let hint = half.map_or(String::new(), |one| format!("; did you mean `{}`?", one.label.name()));
        Error::input(format!(
            "found `{text}`, wanted a label of the job: {} to {}, or 1 to {}{hint}",
            shown(labels.first()),
            shown(labels.last()),
            labels.len()
        ))
    })
}

/// What a person says of a job's labels, as notes.
pub(super) fn notes_of(register: &Register, job: &Summary, said: &Said<'_>) -> Result<Vec<Note>> {
    let labels = register.labels(job.job)?;
    let note =
        |what, labels: RangeInclusive<usize>, word: &str| Note { at: now(), what, labels, word: word.to_owned() };
    let mut notes = Vec::new();
    if let Some(last) = said.last_good {
        let last_good = if last.eq_ignore_ascii_case("none") { 0 } else { label_named(&labels, last)? };
        let word = format!("last good label: {last}");
        if last_good > 0 {
            notes.push(note(What::Good, 1..=last_good, &word));
        }
        // What has not left cannot be bad.
        let fates = register.fates(job.job, job.labels)?;
        let left = |nth: &usize| !matches!(fates[nth - 1], Fate::Never | Fate::Moved | Fate::WrittenOff);
        let bad = (last_good + 1..=labels.len()).filter(left);
        notes.extend(bad.map(|nth| note(What::Bad, nth..=nth, &word)));
    }
    for text in said.spoilt {
        let nth = label_named(&labels, text)?;
        if register.fates(job.job, job.labels)?[nth - 1] == Fate::Moved {
            return Err(Error::input(format!(
                "--spoilt: found `{text}`, which a later job has taken over; say it of that job: `tapewright jobs` lists them"
            )));
        }
        notes.push(note(What::Bad, nth..=nth, "spoilt"));
    }
    if said.write_off {
        let open = stretches(&register.fates(job.job, job.labels)?).into_iter().filter(|(fate, _)| fate.is_open());
        notes.extend(open.map(|(_, labels)| note(What::WrittenOff, labels, "nobody wants them")));
    }
    Ok(notes)
}

/// What became of a job's labels, one line for each stretch of them.
pub(super) fn state(job: &Summary, labels: &[Printing], fates: &[Fate], notes: &[Note]) -> String {
    let mut text = format!(
        "job {}, {} of `{}` on {}, {}, {} to {}\n",
        job.job,
        job.order.kind,
        job.order.name,
        minute(job.at),
        plural(job.labels, "label"),
        job.order.printer,
        job.order.link
    );
    for (fate, range) in stretches(fates) {
        let (first, last) = (range.start() - 1, range.end() - 1);
        let names = if first == last {
            labels[first].label.name()
        } else {
            format!("{} to {}", labels[first].label.name(), labels[last].label.name())
        };
        let numbers = if first == last { format!("{}", first + 1) } else { format!("{}-{}", first + 1, last + 1) };
        let _ = writeln!(text, "  {numbers:>9}  {:<22} {names}", fate.word());
    }
    if let Some(note) = notes.iter().rfind(|note| note.what == What::BrokeOff) {
        let _ = writeln!(text, "  it broke off on {}: {}", minute(note.at), note.word);
    }
    text
}

/// The same for programs.
pub(super) fn state_json(job: &Summary, labels: &[Printing], fates: &[Fate]) -> Value {
    let labels: Vec<Value> = labels
        .iter()
        .zip(fates)
        .map(|(one, fate)| {
            json!({
                "nth": one.place.1, "strip": one.strip, "label": one.label.name(), "stock": one.label.stock, "build": one.label.build,
                "text": one.label.text, "state": fate.word(), "perhaps_twice": one.perhaps_twice,
                "again": one.again.map(|(job, nth)| json!({"job": job, "nth": nth})),
            })
        })
        .collect();
    json!({ "job": job.job, "kind": job.order.kind, "name": job.order.name, "at": minute(job.at), "printer": job.order.printer, "to": job.order.link, "labels": labels })
}

/// A job's state in a few words.
fn short(fates: &[Fate]) -> String {
    let count = |wanted: fn(Fate) -> bool| fates.iter().filter(|&&fate| wanted(fate)).count();
    let parts = [
        (count(|fate| fate == Fate::Never), "not printed"),
        (count(|fate| fate == Fate::Perhaps), "perhaps printed"),
        (count(|fate| fate == Fate::Bad), "spoilt"),
        (count(|fate| fate == Fate::WrittenOff), "written off"),
        (count(|fate| fate == Fate::Moved), "taken over by a later job"),
    ];
    let parts: Vec<String> =
        parts.iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!("{count} {word}")).collect();
    if parts.is_empty() { "all printed".to_owned() } else { parts.join(", ") }
}

/// Jobs shown in a list.
const MOST_SHOWN: usize = 50;

/// Lists jobs, or shows one after what is said of it was written down, and writes its work sheet.
pub(super) fn run(
    register: &mut Register,
    job: Option<i64>,
    said: &Said<'_>,
    sheet: Option<(&Path, PaperArg)>,
    as_json: bool,
    talk: &Talk,
) -> Done {
    let Some(job) = job else {
        let jobs = register.jobs(MOST_SHOWN)?;
        let mut rows = Vec::new();
        let mut text = String::new();
        for job in &jobs {
            let fates = register.fates(job.job, job.labels)?;
            let state = short(&fates);
            let _ = writeln!(
                text,
                "{:>5}  {}  {:8} {:20} {:>14}  {state}",
                job.job,
                minute(job.at),
                job.order.kind,
                job.order.name,
                plural(job.labels, "label")
            );
            rows.push(json!({"job": job.job, "at": minute(job.at), "kind": job.order.kind, "name": job.order.name, "labels": job.labels, "state": state}));
        }
        if jobs.is_empty() {
            talk.say("the journal has no jobs yet: it is kept of what goes to a printer");
        }
        return if as_json { answer_json(&rows) } else { answer(&text) };
    };
    let job = register.job(job)?;
    let notes = notes_of(register, &job, said)?;
    register.note_all(job.job, &notes)?;
    let (labels, notes) = (register.labels(job.job)?, register.notes(job.job)?);
    let fates = register.fates(job.job, job.labels)?;
    if let Some((out, paper)) = sheet {
        sheets::of_job(register, &job, out, paper, &fates)?;
        talk.say(&format!("work sheet: {}", out.display()));
    }
    if as_json {
        return answer_json(&state_json(&job, &labels, &fates));
    }
    answer(&state(&job, &labels, &fates, &notes))
}
