//! Looking for printers: on the USB, and behind the address of a print queue.

use super::streams::found_modules;
use super::{Done, PATIENCE, Talk, answer, answer_json};
use crate::run::{apart, takers};
use crate::transport::ipp::Printer;
use serde_json::json;

/// Lists what is plugged in, with the families that take it.
pub(super) fn attached(json: bool, talk: &Talk) -> Done {
    let printers = crate::transport::attached()?;
    let (modules, _) = found_modules(&apart(PATIENCE)?, talk);
    let mut all = Vec::new();
    let mut lines = String::new();
    for printer in &printers {
        let families = takers(&modules, |key, value| printer.says(key, value));
        let id = printer.id.as_ref().map(|id| id.text().to_owned());
        lines.push_str(&format!("{}  {}\n", printer.link, printer.title));
        if let Some(id) = &id {
            lines.push_str(&format!("    says {id}\n"));
        }
        match (&printer.trouble, families.is_empty()) {
            (Some(trouble), _) => lines.push_str(&format!("    {trouble}\n")),
            (None, false) => {
                lines.push_str(&format!("    driver = \"{}\" in its profile\n", families.join("\" or \"")))
            }
            (None, true) => {
                lines.push_str("    no driver module knows it by its device id; DEVELOPERS.md tells how to add one\n")
            }
        }
        lines.push_str(&format!("    access on Linux: {}", printer.rule));
        all.push(json!({
            "link": printer.link, "title": printer.title, "device_id": id, "families": families,
            "trouble": printer.trouble, "udev_rule": printer.rule.trim_end(),
        }));
    }
    if json {
        return answer_json(&all);
    }
    if printers.is_empty() {
        talk.warn("found no printer on the USB; is it switched on and plugged in?");
    }
    answer(&lines)
}

/// The profile of a print queue, to be put into a person's own file.
pub(super) fn ask(uri: &str, json: bool) -> Done {
    let printer = Printer::connect(uri)?;
    let profile = printer.attributes().profile();
    if json { answer_json(&json!({ "profile": profile })) } else { answer(&profile) }
}
