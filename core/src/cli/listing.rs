//! What is known: stocks, printers, driver modules.

use super::streams::found_modules;
use super::{Done, Talk, answer, answer_json, shelf};
use crate::error::Error;
use crate::media::{Form, Printer, Stock, WrapAxis};
use crate::run::{check_module, driver_folders, load_module};
use crate::settings::{Known, ShelfFile, user_folder};
use serde_json::{Value, json};
use std::path::Path;
use tapewright_host::{Outcome, Place};

fn stock_json(stock: &Stock) -> Value {
    let form = match stock.form {
        Form::Tape => json!({}),
        Form::Wrap { axis, overlap } => json!({
            "axis": if axis == WrapAxis::Along { "along" } else { "across" },
            "overlap_mm": overlap.mm(),
        }),
        Form::Sleeve(sleeve) => json!({
            "supplied_mm": sleeve.supplied.mm(),
            "recovered_mm": sleeve.recovered.mm(),
            "wall_mm": sleeve.wall.mm(),
            "slack_percent": sleeve.slack_percent,
        }),
    };
    json!({
        "id": stock.id, "title": stock.title, "kind": stock.form.word(), "width_mm": stock.width.mm(),
        "zone_mm": stock.zone.mm(), "thickness_mm": stock.thickness.mm(), "mirrored": stock.mirrored,
        "length_m": stock.length.mm() / 1000.0, "price": stock.price,
        "cutting": format!("{:?}", stock.cutting).to_lowercase(), "form": form,
    })
}

#[allow(clippy::cast_precision_loss, reason = "milliseconds of one act")]
fn seconds(milliseconds: i64) -> f64 {
    milliseconds as f64 / 1000.0
}

fn printer_json(printer: &Printer) -> Value {
    json!({
        "id": printer.id, "title": printer.title,
        "dpi_across": f64::from(printer.across.milli()) / 1000.0, "dpi_along": f64::from(printer.along.milli()) / 1000.0,
        "head_dots": printer.head.0, "widest_mm": printer.widest.mm(), "lead_mm": printer.lead.mm(),
        "gap_mm": printer.gap.mm(), "trail_mm": printer.trail.mm(), "min_piece_mm": printer.min_piece.mm(),
        "max_strip_mm": printer.max_strip.mm(), "max_labels": printer.max_labels,
        "cutter": printer.cutter.word(), "load_mm": printer.load.mm(),
        "tail_mm": printer.tail.mm(), "reserve_mm": printer.reserve.mm(), "min_remnant_mm": printer.min_remnant.mm(),
        "speed_mm_s": printer.speed.mm(), "cut_s": seconds(printer.cut_ms), "swap_s": seconds(printer.swap_ms),
        "driver": printer.driver, "options": printer.options,
    })
}

/// An object as lines `name: value`, nested ones indented.
fn lines(value: &Value, indent: usize) -> String {
    let Value::Object(fields) = value else { return String::new() };
    let mut text = String::new();
    for (name, value) in fields {
        match value {
            Value::Object(inner) if inner.is_empty() => {}
            Value::Object(_) => text.push_str(&format!("{:indent$}{name}:\n{}", "", lines(value, indent + 2))),
            Value::String(value) => text.push_str(&format!("{:indent$}{name}: {value}\n", "")),
            value => text.push_str(&format!("{:indent$}{name}: {value}\n", "")),
        }
    }
    text
}

fn show(all: Vec<Value>, one: bool, json: bool, table: impl Fn(&Value) -> String) -> Done {
    match (json, one) {
        (true, true) => answer_json(&all[0]),
        (true, false) => answer_json(&all),
        (false, true) => answer(&lines(&all[0], 0)),
        (false, false) => answer(&all.iter().map(table).collect::<String>()),
    }
}

fn text<'v>(value: &'v Value, field: &str) -> &'v str {
    value[field].as_str().unwrap_or_default()
}

pub(super) fn stocks(known: &Known, on: Option<&ShelfFile>, id: Option<&str>, json: bool) -> Done {
    let with_shelf = |stock: &Stock| {
        let mut value = stock_json(stock);
        if let Some(file) = on {
            let all = file.shelf().cartridges().iter().filter(|one| one.stock == stock.id);
            value["cartridges"] = all.map(shelf::json).collect();
        }
        value
    };
    let all = match id {
        Some(id) => vec![with_shelf(known.catalogue.stock(id)?)],
        None => known.catalogue.stocks.iter().map(with_shelf).collect(),
    };
    if let (Some(id), false) = (id, json) {
        let mut one = all[0].clone();
        if let Value::Object(fields) = &mut one {
            fields.remove("cartridges");
        }
        let there = shelf::lines(on, id, 1);
        let there = if there.is_empty() { there } else { format!("on the shelf:\n{there}") };
        return answer(&format!("{}{there}", lines(&one, 0)));
    }
    show(all, id.is_some(), json, |stock| {
        let price = stock["price"].as_f64().map_or("no price".to_owned(), |price| format!("{price:.2} a cartridge"));
        format!(
            "{:12} {:7} {} ({} m, {price})\n{}",
            text(stock, "id"),
            text(stock, "kind"),
            text(stock, "title"),
            stock["length_m"],
            shelf::lines(on, text(stock, "id"), 20)
        )
    })
}

pub(super) fn printers(known: &Known, id: Option<&str>, json: bool) -> Done {
    let all = match id {
        Some(id) => vec![printer_json(known.catalogue.printer(id)?)],
        None => known.catalogue.printers.iter().map(printer_json).collect(),
    };
    show(all, id.is_some(), json, |printer| {
        format!(
            "{:12} {} (up to {} mm, driver {})\n",
            text(printer, "id"),
            text(printer, "title"),
            printer["widest_mm"],
            text(printer, "driver")
        )
    })
}

pub(super) fn drivers(place: &Place, json: bool, talk: &Talk) -> Done {
    let (found, folders) = found_modules(place, talk);
    let mut all = Vec::new();
    for module in &found {
        for family in module.families() {
            let options: Vec<Value> = family
                .options
                .iter()
                .map(|option| json!({"id": option.id, "default": option.default, "help": option.help}))
                .collect();
            all.push(json!({
                "family": family.id, "title": family.title, "version": family.version, "description": family.description,
                "file": module.path().map(|path| path.display().to_string()), "half_cuts": family.carries_half_cuts(),
                "options": options,
            }));
        }
    }
    if json {
        return answer_json(&all);
    }
    if all.is_empty() {
        let folders: Vec<String> = folders.iter().map(|folder| folder.display().to_string()).collect();
        talk.warn(&format!("found no driver module in {}", folders.join(" or ")));
    }
    let mut lines = String::new();
    for family in &all {
        lines.push_str(&format!("{:8} {} ({})\n", text(family, "family"), text(family, "title"), text(family, "file")));
        for option in family["options"].as_array().into_iter().flatten() {
            lines.push_str(&format!(
                "         {} = {}: {}\n",
                text(option, "id"),
                text(option, "default"),
                text(option, "help")
            ));
        }
    }
    answer(&lines)
}

/// Checks the module in a file, or the one that has a family, and tells what was found.
pub(super) fn check(what: &Path, family: Option<&str>, place: &Place, json: bool, talk: &Talk) -> Done {
    let (module, family) = if what.is_file() {
        (load_module(what, &driver_folders(user_folder()), place)?, family.map(str::to_owned))
    } else {
        let id = what.to_string_lossy().into_owned();
        if family.is_some_and(|family| family != id) {
            return Err(Error::input(format!("found `{id}`, which is no file, and --family: give one of them")).into());
        }
        let (found, _) = found_modules(place, talk);
        let known: Vec<&str> = found.iter().flat_map(|module| module.families()).map(|f| f.id.as_str()).collect();
        let known = known.join(", ");
        let Some(module) = found.into_iter().find(|module| module.family(&id).is_some()) else {
            return Err(Error::input(format!(
                "found no file and no family `{id}`, wanted a module's file or one of {known}"
            ))
            .into());
        };
        (module, Some(id))
    };
    let ids: Vec<&str> = match &family {
        Some(id) => vec![id],
        None => module.families().iter().map(|family| family.id.as_str()).collect(),
    };
    let (mut lines, mut all, mut failed) = (String::new(), Vec::new(), 0);
    for id in ids {
        lines.push_str(&format!("{id} of {}\n", module.name()));
        for check in check_module(&module, id)? {
            let (word, text) = match &check.outcome {
                Outcome::Passed(text) => ("ok", text),
                Outcome::Failed(text) => ("FAILED", text),
                Outcome::NotChecked(text) => ("not checked", text),
            };
            failed += usize::from(word == "FAILED");
            lines.push_str(&format!("  {word:11} {}: {text}\n", check.name));
            all.push(json!({"family": id, "check": check.name, "result": word, "text": text}));
        }
    }
    if json {
        answer_json(&all)?;
    } else {
        answer(&lines)?;
    }
    match failed {
        0 => Ok(()),
        1 => Err(Error::driver(format!("{}: one check failed", module.name())).into()),
        _ => Err(Error::driver(format!("{}: {failed} checks failed", module.name())).into()),
    }
}
