//! Upkeep at the command line: what is due, what was seen, how long labels last.

use super::{Cables, Done, answer, answer_json, entry_json};
use crate::error::{Error, Result};
use crate::journal::day;
use crate::layout::Build;
use crate::register::{Due, days_of, end_of, in_words};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Seconds since 1970 after a time from now; nothing said is now.
pub(in crate::cli) fn until(now: i64, flag: &str, within: Option<&str>) -> Result<i64> {
    let Some(text) = within.filter(|text| !text.is_empty()) else { return Ok(now) };
    let days = days_of(text).ok_or_else(|| {
        Error::input(format!("{flag}: found `{text}`, wanted a time such as 30d, 6 weeks, 18months or 2y"))
    })?;
    Ok(now.saturating_add(days.saturating_mul(86_400)))
}

fn due_json(due: &Due) -> Value {
    json!({ "id": due.cable.id, "cable": due.cable.fields.name(), "end": due.end, "place": due.place,
            "due": day(due.at), "why": due.why })
}

pub(super) fn due(cables: &Cables<'_>, within: Option<&str>, place: Option<&str>) -> Done {
    let until = until(cables.now, "--within", within)?;
    let upkeep = cables.existing()?.due(until, place)?;
    if cables.json {
        let due: Vec<Value> = upkeep.due.iter().map(due_json).collect();
        let bare: Vec<Value> = upkeep.bare.iter().map(entry_json).collect();
        return answer_json(&json!({ "until": day(until), "due": due, "no_label": bare }));
    }
    let mut text = String::new();
    let mut before: Option<&str> = None;
    for due in &upkeep.due {
        if before != Some(due.place.as_str()) {
            let _ = writeln!(text, "{}", if due.place.is_empty() { "(no place)" } else { &due.place });
            before = Some(&due.place);
        }
        let name = format!("{} {}", due.cable.fields.name(), due.end);
        let _ = writeln!(text, "  {}  {name}  {}", day(due.at), due.why);
    }
    if !upkeep.bare.is_empty() {
        text.push_str("no label yet:\n");
        for one in &upkeep.bare {
            let _ = writeln!(text, "  {}", one.fields.name());
        }
    }
    answer(&text)?;
    if upkeep.due.is_empty() {
        cables.talk.say(&format!("no label is due until {}", day(until)));
    }
    Ok(())
}

pub(super) fn seen(cables: &Cables<'_>, names: &[String], end: &str, word: &str) -> Done {
    let (end, word) = (end_of(end)?, word.trim());
    if word.is_empty() {
        return Err(Error::input("--word: found nothing, wanted what was seen").into());
    }
    let mut register = cables.existing()?;
    let all = register.named_ends(names)?;
    let ends: Vec<(i64, Option<&str>)> = all.iter().map(|(one, own)| (one.id, own.or(end))).collect();
    register.inspect(cables.now, &ends, word)?;
    if cables.json {
        let all: Vec<Value> = ends.iter().map(|(id, end)| json!({ "id": id, "end": end, "word": word })).collect();
        return answer_json(&all);
    }
    let mut text = String::new();
    for ((one, _), (_, end)) in all.iter().zip(&ends) {
        let end = end.map_or("both ends".to_owned(), |end| format!("{end} end"));
        let _ = writeln!(text, "{}, {end}: {word}", one.fields.name());
    }
    answer(&text)
}

pub(super) fn renewal(cables: &Cables<'_>, new: Option<(&str, &str)>, stock: Option<&str>) -> Done {
    let stock = stock.map(|id| super::known()?.catalogue.stock(id).map(|stock| stock.id.clone())).transpose()?;
    let register = if let Some((word, time)) = new {
        let build = Build::named(word).ok_or_else(|| {
            Error::input(format!("found the build `{word}`, wanted flag, wrap, band, sleeve or plate"))
        })?;
        let days = match time.trim() {
            "usual" => None,
            "never" => Some(None),
            time => Some(Some(days_of(time).ok_or_else(|| {
                Error::input(format!("found `{time}`, wanted a time such as 18months, 2years or 90d, never, or usual"))
            })?)),
        };
        let mut register = cables.open()?;
        register.set_renewal(build, stock.as_deref().unwrap_or_default(), days)?;
        register
    } else {
        cables.existing()?
    };
    let renewals = register.renewals()?;
    if cables.json {
        let all = renewals
            .iter()
            .map(|one| json!({ "build": one.build, "stock": one.stock, "days": one.days, "own": one.own }));
        return answer_json(&all.collect::<Vec<_>>());
    }
    let mut text = String::new();
    for one in renewals {
        let what = if one.stock.is_empty() { one.build } else { format!("{} on {}", one.build, one.stock) };
        let time = one.days.map_or("never".to_owned(), in_words);
        let _ = writeln!(text, "{what:20}  {time}{}", if one.own { "" } else { " (usual)" });
    }
    answer(&text)
}
