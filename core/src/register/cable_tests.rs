//! Cables of the register: imports, batches, names, upkeep.

use super::*;
use crate::bitmap::Bitmap;
use crate::cable::{CableList, Column, Kinds};
use crate::error::Kind;
use crate::journal::{Note, What, day};
use crate::layout::Build;
use crate::unit::Dpi;
use std::collections::BTreeMap;
use tempfile::TempDir;

fn register() -> (TempDir, Register) {
    let folder = tempfile::tempdir().unwrap();
    let register = Register::open(&folder.path().join("register.db"), |_| ()).unwrap();
    (folder, register)
}

/// A list as CSV without quotes.
fn list(text: &str) -> CableList {
    let mut lines = text.lines();
    let headers = lines.next().unwrap().split(',').map(str::to_owned).collect();
    let mut list = CableList::builder(headers, &BTreeMap::new()).unwrap();
    for (row, line) in (2..).zip(lines) {
        list.push(row, line.split(','));
    }
    list.finish()
}

fn import<'a>(list: &'a CableList, kinds: &'a Kinds) -> Import<'a> {
    Import { list, kinds, owner: "TWP", retire_missing: false, only_new: false }
}

/// Takes a list in at a moment; what was told, as `row name: outcome`.
fn take(register: &mut Register, at: i64, text: &str) -> (Tally, Vec<String>) {
    let (list, kinds, mut told) = (list(text), Kinds::shipped(), Vec::new());
    let tally = register.import(at, &import(&list, &kinds), |one| told.push(in_short(one))).unwrap();
    (tally, told)
}

fn in_short(told: Told) -> String {
    let what = match told.outcome {
        Outcome::Add => "add".to_owned(),
        Outcome::Same => "same".to_owned(),
        Outcome::Retire => "retire".to_owned(),
        Outcome::Change(changes) => {
            changes.iter().map(|one| format!("{} {} -> {}", one.field, one.old, one.new)).collect::<Vec<_>>().join(", ")
        }
        Outcome::Clash(wrong) => {
            let wrong = wrong.iter().map(|one| format!("{}: {}", one.field.as_deref().unwrap_or("-"), one.text));
            wrong.collect::<Vec<_>>().join(" | ")
        }
    };
    format!("{} {}: {what}", told.row.unwrap_or(0), told.name)
}

/// Every row of the tables of cables.
fn all(register: &Register) -> Vec<Entry> {
    let mut all = Vec::new();
    let every = Selection { retired: true, ..Selection::default() };
    register
        .each(&every, |one| {
            all.push(one.clone());
            Ok(())
        })
        .unwrap();
    all
}

const LIST: &str = "batch,number,length,Colour,from,to\nOTTER,1040,15 ft,red,Stage left,Desk 1\nOTTER,1041,50 ft,,Stage left,Desk 2\nHERON,2001,10 m,blue,Foyer,Pit";

#[test]
fn a_list_adds_then_changes_then_is_the_same() {
    let (_folder, mut register) = register();
    let (tally, _) = take(&mut register, 7, LIST);
    assert_eq!(tally, Tally { adds: 3, ..Tally::default() });
    let (tally, _) = take(&mut register, 8, LIST);
    assert_eq!(tally, Tally { same: 3, ..Tally::default() });
    // Case of names and headers does not count, and what a list does not have stays.
    let (tally, told) =
        take(&mut register, 9, "owner,Number,BATCH,length,COLOUR\ntwp,1040,otter,25 ft,\nTWP,9,HERON,,");
    assert_eq!((tally.adds, tally.changes), (1, 1));
    assert_eq!(told, ["2 otter 1040: length 15 ft -> 25 ft, Colour red -> ", "3 HERON 9: add"]);
    let one = &register.named(&["otter".into(), "1040".into()]).unwrap()[0];
    assert_eq!((one.fields.name().as_str(), one.fields.text(Column::To)), ("OTTER 1040", "Desk 1"));
    assert_eq!((one.fields.text(Column::Owner), one.added, one.fields.more().len()), ("TWP", 7, 0));
}

#[test]
fn every_clash_is_named_and_nothing_is_written() {
    let (_folder, mut register) = register();
    take(&mut register, 7, LIST);
    let gone = register.named(&["2001".into()]).unwrap()[0].id;
    register.retire(86_400, &[gone]).unwrap();
    let before = all(&register);
    let text = "owner,batch,number,length,od,build,id\n\
        TWP,PLOVER,1,15 ft,6.2 mm,flag,\n\
        TWP,plover,1,15 ft,6.2 mm,flag,\n\
        TWP,HERON,2001,,,,\n\
        GTC,OTTER,1040,,,,\n\
        TWP,OTTER,,,,,\n\
        TWP,OTTER,1050,15,6.2,ring,\n\
        TWP,OTTER,1041,,,,1\n\
        TWP,OTTER,1051,,,,1\n\
        TWP,OTTER,1052,,,,A-17\n\
        TWP,OTTER,1053,,,,99\n\
        TWP,OTTER,1054,,,,99\n\
        TWP,OTTER,#5,,,,";
    let (tally, told) = take(&mut register, 9, text);
    assert_eq!(tally, Tally { adds: 2, clashes: 10, ..Tally::default() });
    for (row, wanted) in [
        (3, "plover 1: -: found the same batch and number as in row 2, wanted each cable once"),
        (4, "HERON 2001: number: found a cable that was retired on 1970-01-02, wanted a number of its own"),
        (5, "OTTER 1040: owner: found `GTC`, wanted `TWP`, whose it is in the register"),
        (6, "OTTER: number: found no number, wanted one"),
        (7, "OTTER 1050: length: found `15`, wanted a length with its unit"),
        (7, "| od: found `6.2`, wanted a diameter with its unit"),
        (7, "| build: found `ring`, wanted flag"),
        (8, "OTTER 1041: id: found 1, wanted 2: that is this cable's number in the register"),
        (9, "OTTER 1051: id: found 1, which is OTTER 1040 in the register"),
        (10, "OTTER 1052: id: found `A-17`, wanted the cable's number in the register"),
        (12, "OTTER 1054: id: found 99 a second time in the list"),
        (13, "OTTER #5: number: found `#5`, wanted a number that does not begin with #"),
    ] {
        let line = told.iter().find(|line| line.starts_with(&format!("{row} "))).unwrap();
        assert!(line.contains(wanted), "found {line}, wanted {wanted}");
    }
    assert_eq!(all(&register), before, "nothing was written");
    // The register goes on: a refused list is no failed write.
    assert_eq!(take(&mut register, 10, "batch,number\nPLOVER,1").0.adds, 1);
}

#[test]
fn a_comparison_says_the_same_and_writes_nothing() {
    let (_folder, mut register) = register();
    let (list, kinds) = (list(LIST), Kinds::shipped());
    let mut told = Vec::new();
    let dry = register.compare(&import(&list, &kinds), |one| told.push(in_short(one))).unwrap();
    assert_eq!(all(&register), []);
    let (tally, again) = take(&mut register, 7, LIST);
    assert_eq!((dry, told), (tally, again));
    let unwritten = Register::nowhere().unwrap().compare(&import(&list, &kinds), |_| ()).unwrap();
    assert_eq!(unwritten, tally);
}

#[test]
fn what_a_list_no_longer_has_is_retired_in_its_batches_only() {
    let (_folder, mut register) = register();
    take(&mut register, 7, LIST);
    let (short, kinds, mut told) = (list("batch,number\nOTTER,1041\nOTTER,1042"), Kinds::shipped(), Vec::new());
    let import = Import { retire_missing: true, ..import(&short, &kinds) };
    let tally = register.import(9, &import, |one| told.push(in_short(one))).unwrap();
    assert_eq!((tally.adds, tally.same, tally.retired), (1, 1, 1));
    assert_eq!(told.last().unwrap(), "0 OTTER 1040: retire");
    let gone: Vec<String> =
        all(&register).iter().filter(|one| one.retired.is_some()).map(|one| one.fields.name()).collect();
    assert_eq!(gone, ["OTTER 1040"]);
}

#[test]
fn a_number_of_the_register_stays_with_its_cable_in_another_register() {
    let (_folder, mut first) = register();
    take(&mut first, 7, LIST);
    let (_other, mut second) = register();
    take(&mut second, 7, "batch,number,id\nHERON,2001,3\nOTTER,1040,1");
    let ids: Vec<(i64, String)> = all(&second).iter().map(|one| (one.id, one.fields.name())).collect();
    assert_eq!(ids, [(3, "HERON 2001".to_owned()), (1, "OTTER 1040".to_owned())]);
    take(&mut second, 8, "batch,number\nPLOVER,1");
    assert_eq!(second.named(&["plover".into(), "1".into()]).unwrap()[0].id, 4, "no id is given again");
}

fn new(word: &str, count: u32) -> NewBatch {
    NewBatch { word: word.into(), count, start: None, step: 1, fields: vec![(Column::Length, "50 ft".into())] }
}

#[test]
fn numbers_go_on_and_are_never_given_twice() {
    let (_folder, mut register) = register();
    let kinds = Kinds::shipped();
    let mut add = |new: &NewBatch| register.add(7, new, &kinds);
    assert_eq!(add(&new("OTTER", 2)).unwrap().numbers, ["1", "2"]);
    let first = NewBatch { start: Some((1040, 4)), step: 10, ..new("HERON", 3) };
    assert_eq!(add(&first).unwrap().numbers, ["1040", "1050", "1060"]);
    assert_eq!(add(&new("PLOVER", 1)).unwrap().numbers, ["1061"], "after the largest of all");
    let on = add(&new("otter", 2)).unwrap();
    assert_eq!((on.word.as_str(), on.numbers.join(" ").as_str(), on.goes_on), ("OTTER", "3 4", true));
    let padded = add(&NewBatch { start: Some((3, 4)), ..new("MARTEN", 2) }).unwrap();
    assert_eq!((padded.numbers.join(" ").as_str(), padded.also_in.len()), ("0003 0004", 0));
    let also = add(&NewBatch { start: Some((3, 1)), ..new("CURLEW", 1) }).unwrap();
    assert_eq!(also.also_in, ["OTTER"]);
    let ids: Vec<i64> =
        all(&register).iter().filter(|one| one.fields.text(Column::Batch) == "HERON").map(|one| one.id).collect();
    register.retire(8, &ids).unwrap();
    let refused = register.add(9, &NewBatch { start: Some((1049, 4)), ..new("heron", 2) }, &kinds).unwrap_err();
    assert!(refused.to_string().contains("number: heron 1050: found a cable that was retired"), "{refused}");
    assert_eq!(register.add(9, &new("HERON", 1), &kinds).unwrap().numbers, ["1061"], "retired ones keep theirs");
    let wrong = NewBatch { fields: vec![(Column::Length, "50".into())], ..new("WALRUS", 2) };
    let refused = register.add(9, &wrong, &kinds).unwrap_err().to_string();
    assert!(refused.starts_with("length: WALRUS 1062: found `50`"), "{refused}");
    assert!(register.batches().unwrap().iter().all(|one| one.word != "WALRUS"), "all or nothing");
}

#[test]
fn names_are_understood_and_wrong_ones_helped_with() {
    let (_folder, mut register) = register();
    take(&mut register, 7, "batch,number\nBLUE OTTER,7\nHERON,7\nHERON,8\n,77");
    let named = |words: &[&str]| -> std::result::Result<Vec<String>, String> {
        let words: Vec<String> = words.iter().map(|&word| word.to_owned()).collect();
        register
            .named(&words)
            .map(|all| all.iter().map(|one| one.fields.name()).collect())
            .map_err(|error| error.to_string())
    };
    assert_eq!(named(&["blue", "otter", "7", "heron 7", "#3"]).unwrap(), ["BLUE OTTER 7", "HERON 7", "HERON 8"]);
    assert_eq!(named(&["8", "77"]).unwrap(), ["HERON 8", "77"]);
    assert_eq!(named(&["heron 8 near"]).unwrap(), ["HERON 8"]);
    assert_eq!(named(&["7"]).unwrap_err(), "found `7`, wanted one of BLUE OTTER 7, HERON 7");
    assert_eq!(named(&["#9"]).unwrap_err(), "found #9, wanted a number of the register");
    assert!(named(&["heron", "9"]).unwrap_err().contains("did you mean HERON 7 or HERON 8"));
}

#[test]
fn scraps_find_and_whole_words_come_first() {
    let (_folder, mut register) = register();
    take(
        &mut register,
        7,
        "batch,number,length,kind,note\nOTTER,11040,50 ft,microphone cable,\nOTTER,1040,50 ft,microphone cable,\nHERON,2,10 m,RG-59,beside Bühne 1040",
    );
    let find = |scraps: &str| -> Vec<String> {
        register.find(&[scraps.to_owned()], false, 9).unwrap().cables.iter().map(|one| one.fields.name()).collect()
    };
    assert_eq!(find("1040"), ["OTTER 1040", "HERON 2", "OTTER 11040"]);
    assert_eq!(find("otter 1040"), ["OTTER 1040", "OTTER 11040"]);
    assert_eq!(find("50 ft mic"), ["OTTER 11040", "OTTER 1040"]);
    assert_eq!(find("50' MIC"), find("50ft mic"));
    assert_eq!(find("buhne"), ["HERON 2"]);
    assert_eq!(find("TWP OTTER 1040 #2"), ["OTTER 1040"], "what a code says");
    assert_eq!(find("TWP HERON 2 #2"), [""; 0], "a code of another register");
    register.retire(8, &[2]).unwrap();
    let found = register.find(&["otter".into(), "1040".into()], false, 9).unwrap();
    assert_eq!((found.all, found.retired), (1, 1));
    assert_eq!(register.find(&["otter".into()], true, 1).unwrap().all, 2);
}

#[test]
fn a_list_for_a_job_has_what_the_register_knows() {
    let (_folder, mut register) = register();
    take(&mut register, 7, LIST);
    let which = Selection { batches: vec!["otter".into()], ..Selection::default() };
    let list = register.list(&which).unwrap();
    assert_eq!(list.headers(), ["id", "owner", "batch", "number", "length", "from", "to", "Colour"]);
    let field = |nth: usize, name: &str| list.cable(nth).field(list.column(name).unwrap()).to_owned();
    assert_eq!(
        (list.len(), field(1, "id"), field(1, "number"), field(0, "colour")),
        (2, "2".into(), "1041".into(), "red".into())
    );
    let error = register.list(&Selection { batches: vec!["oter".into()], ..Selection::default() }).unwrap_err();
    assert_eq!(error.to_string(), "found batch `oter`, wanted one of OTTER, HERON");
    let none = Selection { scraps: vec!["gonzo".into()], ..Selection::default() };
    assert_eq!(register.list(&none).unwrap_err().kind(), Kind::Input);
}

#[test]
fn a_change_is_checked_as_a_list_is() {
    let (_folder, mut register) = register();
    take(&mut register, 7, LIST);
    let kinds = Kinds::shipped();
    let mut change = |field: &str, value: &str| {
        let new = [(field.to_owned(), value.to_owned())];
        register.change(9, 1, &new, &kinds).map(|changes| changes.len()).map_err(|error| error.to_string())
    };
    assert_eq!((change("length", "25 ft"), change("COLOUR", "green"), change("to", "Desk 1")), (Ok(1), Ok(1), Ok(0)));
    for (field, value, wanted) in [
        ("length", "25", "OTTER 1040, length: found `25`, wanted a length with its unit"),
        ("number", "7", "number: found a new one for OTTER 1040, wanted it to stay"),
        ("colur", "7", "found the field `colur`, wanted one of owner, batch"),
        ("build", "ring", "OTTER 1040, build: found `ring`, wanted flag"),
    ] {
        let error = change(field, value).unwrap_err();
        assert!(error.starts_with(wanted), "found {error}, wanted {wanted}");
    }
    assert_eq!(register.find(&["green".into()], false, 9).unwrap().all, 1, "what was changed is found");
    register.retire(9, &[1]).unwrap();
    let error = register.change(9, 1, &[("to".into(), "Pit".into())], &kinds).unwrap_err().to_string();
    assert!(error.contains("which was retired on 1970-01-01, wanted a cable in use"), "{error}");
}

const DAY: i64 = 86_400;

/// Prints both ends of a cable as flags: what the journal says of them after it.
fn print(register: &mut Register, at: i64, number: &str, what: &[What]) {
    let dpi = Dpi::from_milli(180_000).unwrap();
    let order = Order {
        kind: "print",
        name: "otters".into(),
        printer: "bench-180".into(),
        across: dpi,
        along: dpi,
        link: "usb:".into(),
        between: None,
        longest_strip: None,
        labels_a_strip: None,
    };
    let label = |end: &str| Planned {
        label: KeptLabel {
            cable: None,
            owner: "TWP".into(),
            batch: "otter".into(),
            number: number.into(),
            end: end.into(),
            build: "flag".into(),
            stock: "tape-12".into(),
            text: format!("TWP OTTER\n{number}"),
            diameter: None,
            joined: end == "near",
        },
        strip: 1,
        bits: Kept::of(&Bitmap::from("#")),
        again: None,
        perhaps_twice: false,
    };
    let job = register.plan(at, &order, [label("near"), label("far")].map(Ok)).unwrap();
    for &what in what {
        register.note(job, &Note { at, what, labels: 1..=2, word: String::new() }).unwrap();
    }
}

fn due(register: &Register, until: i64, place: Option<&str>) -> (Vec<String>, Vec<String>) {
    let upkeep = register.due(until, place).unwrap();
    // What is said of one cable is what is said of all.
    for one in all(register) {
        let mut of_all = register.due(i64::MAX, None).unwrap().due;
        of_all.retain(|due| due.cable.id == one.id);
        of_all.sort_by_key(|due| due.end == "far");
        assert_eq!(register.due_of(&one).unwrap(), of_all);
    }
    let due =
        upkeep.due.iter().map(|due| format!("{} {} {} {}", day(due.at), due.cable.fields.name(), due.end, due.place));
    (due.collect(), upkeep.bare.iter().map(|one| one.fields.name()).collect())
}

#[test]
fn labels_fall_due_by_build_and_what_was_seen() {
    let (_folder, mut register) = register();
    take(&mut register, 7, LIST);
    print(&mut register, 0, "1040", &[What::Leaving, What::Taken]);
    // What may have left is no label.
    print(&mut register, 0, "1041", &[What::Leaving]);
    let two_years = 730 * DAY;
    assert_eq!(due(&register, two_years - 1, None), (vec![], vec!["OTTER 1041".into(), "HERON 2001".into()]));
    let both = ["1972-01-01 OTTER 1040 far Desk 1", "1972-01-01 OTTER 1040 near Stage left"];
    assert_eq!(due(&register, two_years, None).0, both);
    assert_eq!(due(&register, two_years, Some("LEFT")).0, ["1972-01-01 OTTER 1040 near Stage left"]);
    // Seen good: its time begins anew, for that end.
    register.inspect(100 * DAY, &[(1, Some("near"))], SEEN_GOOD).unwrap();
    assert_eq!(due(&register, two_years, None).0, ["1972-01-01 OTTER 1040 far Desk 1"]);
    // Seen otherwise: it is due from then on, until it is printed again.
    register.inspect(200 * DAY, &[(1, Some("far"))], "flag torn").unwrap();
    assert_eq!(due(&register, 201 * DAY, None).0, ["1970-07-20 OTTER 1040 far Desk 1"]);
    print(&mut register, 300 * DAY, "1040", &[What::Leaving, What::Taken]);
    assert_eq!(due(&register, 301 * DAY, None).0, [""; 0]);
    // A person's own time for one stock goes before that for all.
    register.set_renewal(Build::Flag, "", Some(None)).unwrap();
    assert_eq!(due(&register, i64::MAX, None).0, [""; 0], "never");
    register.set_renewal(Build::Flag, "tape-12", Some(Some(10))).unwrap();
    assert_eq!(due(&register, i64::MAX, None).0.len(), 2);
    assert_eq!(due(&register, 310 * DAY - 1, None).0.len(), 0);
    register.set_renewal(Build::Flag, "tape-12", None).unwrap();
    register.set_renewal(Build::Flag, "", None).unwrap();
    assert!(register.renewals().unwrap().iter().all(|one| !one.own));
    register.retire(400 * DAY, &[1]).unwrap();
    assert_eq!(due(&register, i64::MAX, None).0, [""; 0], "retired ones need none");
}

/// Against SQLite's `strftime` (its documentation, "Date And Time Functions": proleptic Gregorian calendar,
/// UTC): a day in every 97 of the years 1600 to 2400.
#[test]
fn days_are_those_of_sqlite() {
    let (_folder, register) = register();
    let mut ask = register.read().prepare("SELECT strftime('%Y-%m-%d', ?1, 'unixepoch')").unwrap();
    for nth in (-135_140..157_054).step_by(97) {
        let at = nth * DAY + i64::from(nth % 2 == 0) * (DAY - 1);
        let wanted: String = ask.query_row([at], |row| row.get(0)).unwrap();
        assert_eq!(day(at), wanted, "{at}");
    }
}
