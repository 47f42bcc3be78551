//! The floors of `core`: a part imports only from floors below its own.

use crate::sources::{Piece, Source, assert_none, core, names_after, pieces};
use std::collections::BTreeSet;

/// The floors, lowest first.
const FLOORS: [&[&str]; 11] = [
    &["unit", "error", "digest"],
    &["cable", "media", "bitmap"],
    &["font", "code", "journal", "logo", "mark", "pack", "word"],
    &["layout"],
    &["raster"],
    &["strip"],
    &["shelf"],
    &["job", "proof"],
    &["store", "register", "transport", "settings"],
    &["run"],
    &["cli"],
];

/// Doors to the outside, files, network, clock and environment, open from this floor on.
const DOORS: usize = 8;

/// Neighbours on one floor that see each other, and why.
const NEIGHBOURS: [(&str, &str, &str); 6] = [
    ("unit", "error", "the ground floor: a length may be refused"),
    ("error", "unit", "the ground floor: an error may name a length"),
    ("transport", "store", "a file is a link, and appears when it is whole"),
    ("register", "store", "the register's folder is made by the store's doors"),
    ("settings", "register", "the shelf stands in the register where there is no file of it"),
    ("settings", "store", "a job file is a file: settings read it through the store's doors"),
];

/// Parts that only these may use, and why.
const RESERVED: [(&str, &[&str], &str); 1] =
    [("proof", &["cli"], "a proof is a face of the program; nothing that prints may depend on it")];

/// Parts that may name the crate that loads driver modules.
const HOSTS: [&str; 2] = ["run", "cli"];

fn floor(part: &str) -> Option<usize> {
    FLOORS.iter().position(|floor| floor.contains(&part))
}

/// The module path of a file below `core/src`; empty for `lib.rs` and `main.rs`.
fn module(path: &str) -> Vec<&str> {
    let inner = path.strip_prefix("core/src/").unwrap_or(path).trim_end_matches(".rs");
    let mut names: Vec<&str> = inner.split('/').collect();
    if matches!(names.last(), Some(&("mod" | "lib" | "main"))) {
        names.pop();
    }
    names
}

/// Every name of the crate's root that a file uses, with its line: through `crate::`, and through
/// `super::` where that leads to the root.
fn root_names(path: &str, text: &str) -> Vec<(usize, String)> {
    let pieces = pieces(text);
    let word = |i: usize| match pieces.get(i) {
        Some((_, Piece::Word(word))) => word.as_str(),
        _ => "",
    };
    let is = |i: usize, piece: &Piece| pieces.get(i).is_some_and(|(_, found)| found == piece);
    let depth = module(path).len();
    let (mut names, mut braces, mut inline) = (Vec::new(), 0_usize, Vec::new());
    for i in 0..pieces.len() {
        match &pieces[i].1 {
            Piece::Sign('{') => {
                braces += 1;
                if i >= 2 && word(i - 2) == "mod" {
                    inline.push(braces);
                }
            }
            Piece::Sign('}') => {
                if inline.last() == Some(&braces) {
                    inline.pop();
                }
                braces = braces.saturating_sub(1);
            }
            Piece::Word(first) if first == "crate" && is(i + 1, &Piece::Path) => {
                names.extend(names_after(&pieces, i + 2));
            }
            Piece::Word(first) if first == "super" && !(i >= 2 && word(i - 2) == "super") => {
                let supers =
                    (0..).take_while(|n| word(i + 2 * n) == "super" && is(i + 2 * n + 1, &Piece::Path)).count();
                if supers > 0 && supers >= depth + inline.len() {
                    names.extend(names_after(&pieces, i + 2 * supers));
                }
            }
            _ => {}
        }
    }
    names
}

/// What is wrong with one part's use of another.
fn arrow(part: &str, used: &str) -> Result<(), String> {
    if used == part {
        return Ok(());
    }
    let (Some(own), Some(its)) = (floor(part), floor(used)) else {
        let unknown = if floor(part).is_none() { part } else { used };
        return Err(format!("`{unknown}` has no floor; give it one in tests/suite/floors.rs"));
    };
    if let Some((_, may, why)) = RESERVED.iter().find(|(reserved, may, _)| *reserved == used && !may.contains(&part)) {
        return Err(format!("`{part}` uses `{used}`, which only {} may use: {why}", may.join(" and ")));
    }
    let allowed = NEIGHBOURS.iter().any(|&(from, to, _)| (from, to) == (part, used));
    if its < own || allowed {
        return Ok(());
    }
    Err(format!("`{part}` (floor {own}) uses `{used}` (floor {its}), wanted a part from a floor below {own}"))
}

/// What is wrong with the arrows of one file.
fn arrows(path: &str, text: &str) -> Vec<String> {
    let Some(&part) = module(path).first() else { return Vec::new() };
    let wrong = root_names(path, text).into_iter().filter_map(|(line, used)| {
        let used = used.trim_start_matches("r#");
        arrow(part, used).err().map(|error| format!("{path}:{line}: {error}"))
    });
    wrong.collect()
}

/// What a file names that only some parts may: doors of std, the crate that loads driver modules,
/// the program's own crate from inside.
fn doors(path: &str, text: &str) -> Vec<String> {
    let Some(&part) = module(path).first() else { return Vec::new() };
    let pieces = pieces(text);
    let mut wrong = Vec::new();
    for (i, (line, piece)) in pieces.iter().enumerate() {
        let Piece::Word(word) = piece else { continue };
        let leads = pieces.get(i + 1).is_some_and(|(_, next)| *next == Piece::Path);
        let begins = i == 0 || pieces[i - 1].1 != Piece::Path;
        match word.as_str() {
            "std" if leads && begins && floor(part).is_none_or(|floor| floor < DOORS) => {
                for (line, name) in names_after(&pieces, i + 2) {
                    if matches!(name.as_str(), "fs" | "net" | "time" | "env" | "*") {
                        wrong.push(format!(
                            "{path}:{line}: `{part}` uses std::{name}, wanted it only from floor {DOORS} on; take the value as an argument"
                        ));
                    }
                }
            }
            "tapewright_host" if !HOSTS.contains(&part) => {
                wrong.push(format!(
                    "{path}:{line}: `{part}` names tapewright_host, wanted it only in {}",
                    HOSTS.join(" and ")
                ));
            }
            "tapewright" if leads && begins => {
                wrong.push(format!(
                    "{path}:{line}: `{part}` names its own crate, wanted `crate::`, which the floors are read from"
                ));
            }
            _ => {}
        }
    }
    wrong
}

/// The modules `lib.rs` declares against the floors.
fn declared(lib: &str) -> Vec<String> {
    let pieces = pieces(lib);
    let mut wrong = Vec::new();
    let mut found = BTreeSet::new();
    for pair in pieces.windows(2) {
        if let [(_, Piece::Word(first)), (line, Piece::Word(name))] = pair
            && first == "mod"
        {
            if floor(name).is_none() {
                wrong.push(format!(
                    "core/src/lib.rs:{line}: `{name}` has no floor; give it one in tests/suite/floors.rs"
                ));
            }
            found.insert(name.clone());
        }
    }
    for part in FLOORS.concat() {
        if !found.contains(part) {
            wrong.push(format!(
                "core/src/lib.rs:1: found no module `{part}`, wanted it on floor {}",
                floor(part).unwrap_or(0)
            ));
        }
    }
    wrong
}

fn over_core(rule: fn(&str, &str) -> Vec<String>) -> Vec<String> {
    core().iter().flat_map(|Source { path, text }| rule(path, text)).collect()
}

#[test]
fn every_part_has_its_floor() {
    let lib = core().into_iter().find(|file| file.path == "core/src/lib.rs").expect("core has a lib.rs");
    assert_none(&declared(&lib.text));
}

#[test]
fn parts_import_only_from_floors_below() {
    let files = core();
    let arrows_found: usize = files.iter().map(|file| root_names(&file.path, &file.text).len()).sum();
    assert!(arrows_found > 100, "found only {arrows_found} imports in core/src: the reader is broken");
    assert_none(&over_core(arrows));
}

#[test]
fn doors_and_driver_modules_are_used_only_where_they_may_be() {
    assert_none(&over_core(doors));
}

#[test]
fn exceptions_have_reasons_and_stand_on_one_floor() {
    for (from, to, why) in NEIGHBOURS {
        assert!(why.len() > 20, "{from} to {to}: found no reason");
        assert_eq!(floor(from), floor(to), "{from} and {to} are no neighbours");
    }
}

/// The one complaint of a rule about a made-up file.
#[track_caller]
fn complaint(rule: fn(&str, &str) -> Vec<String>, path: &str, text: &str) -> String {
    let wrong = rule(path, text);
    assert_eq!(wrong.len(), 1, "{path}: {text}: {wrong:?}");
    wrong.into_iter().next().unwrap_or_default()
}

#[test]
fn a_wrong_arrow_is_found() {
    for (path, text, wanted) in [
        (
            "core/src/layout/fit.rs",
            "\nuse crate::raster::Raster;",
            "core/src/layout/fit.rs:2: `layout` (floor 3) uses `raster` (floor 4)",
        ),
        (
            "core/src/media.rs",
            "fn f() {\n    crate::cable::x()\n}",
            "core/src/media.rs:2: `media` (floor 1) uses `cable` (floor 1)",
        ),
        (
            "core/src/strip.rs",
            "use crate::{\n unit::Dots,\n job::Job};",
            "core/src/strip.rs:3: `strip` (floor 5) uses `job` (floor 7)",
        ),
        (
            "core/src/job/mod.rs",
            "use super::run::print;",
            "core/src/job/mod.rs:1: `job` (floor 7) uses `run` (floor 9)",
        ),
        (
            "core/src/job/mod.rs",
            "mod tests { use super::super::run; }",
            "core/src/job/mod.rs:1: `job` (floor 7) uses `run` (floor 9)",
        ),
        (
            "core/src/job/choose.rs",
            "mod tests { use super::super::super::cli::x; }",
            "`job` (floor 7) uses `cli` (floor 10)",
        ),
        ("core/src/proof/mod.rs", "use crate::job::Job;", "`proof` (floor 7) uses `job` (floor 7)"),
        ("core/src/run.rs", "use crate::proof::Sheet;", "`run` uses `proof`, which only cli may use"),
        ("core/src/store/mod.rs", "use crate::settings::Known;", "`store` (floor 8) uses `settings` (floor 8)"),
        ("core/src/font.rs", "use crate::util::x;", "`util` has no floor"),
        ("core/src/font.rs", "use crate::*;", "`*` has no floor"),
    ] {
        let found = complaint(arrows, path, text);
        assert!(found.contains(wanted), "found {found}, wanted {wanted}");
    }
    for (path, text) in [
        (
            "core/src/layout/fit.rs",
            "// use crate::raster::Raster;\nuse crate::font::Fonts; use super::raster_of; let x = \"crate::run\";",
        ),
        (
            "core/src/job/choose.rs",
            "use super::Job; use super::super::unit::Dots; mod tests { use super::super::Plan; }",
        ),
        ("core/src/settings.rs", "use crate::store::table;"),
        ("core/src/unit.rs", "pub(crate) fn f() -> crate::error::Error {}"),
        ("core/src/cli/demo.rs", "use super::answer; use crate::proof::Sheet;"),
        ("core/src/cable/list.rs", "mod a { fn f() {} } use super::job;"),
    ] {
        assert_none(&arrows(path, text));
    }
}

#[test]
fn a_wrong_door_is_found() {
    for (path, text, wanted) in [
        ("core/src/job/mod.rs", "\nuse std::fs::File;", "core/src/job/mod.rs:2: `job` uses std::fs"),
        ("core/src/font.rs", "use std::{fmt,\n time::Instant};", "core/src/font.rs:2: `font` uses std::time"),
        ("core/src/cable/list.rs", "let x = std::env::var(\"X\");", "`cable` uses std::env"),
        ("core/src/unit.rs", "use std::net;", "`unit` uses std::net"),
        ("core/src/store/mod.rs", "use tapewright_host::Module;", "`store` names tapewright_host"),
        ("core/src/run.rs", "use tapewright::job::Job;", "`run` names its own crate"),
    ] {
        let found = complaint(doors, path, text);
        assert!(found.contains(wanted), "found {found}, wanted {wanted}");
    }
    assert_none(&doors("core/src/run.rs", "use std::env; use tapewright_host::find; use std::time::Duration;"));
    assert_none(&doors("core/src/font.rs", "use std::fmt; // std::fs\nlet a = \"std::env\"; my::std::fs"));
}

#[test]
fn a_module_without_a_floor_is_found() {
    let mut lib: String = FLOORS.concat().iter().map(|part| format!("pub mod {part};\n")).collect();
    assert_none(&declared(&lib));
    lib.push_str("mod manager;\n");
    let wanted = format!(":{}: `manager` has no floor", FLOORS.concat().len() + 1);
    assert!(declared(&lib)[0].contains(&wanted), "{:?}", declared(&lib));
    assert!(declared(&lib.replace("pub mod run;", ""))[1].contains("found no module `run`"));
}
