//! The command line as its users rely on it: answers, exit codes, help, pipes.

use crate::program::{self, Ran, folder, needs_modules, run};
use crate::sources;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Stdio;

/// A list of one cable, good for a flag on the shipped tape.
const ONE: &str = "owner,batch,number,length,od\nTWP,OTTER,1040,50 ft,6.15 mm\n";

/// The shipped demo, copied as a person would find it.
fn demo_in(folder: &Path) {
    for name in ["cables.csv", "job.toml"] {
        let from = sources::root().join("core/data/demo").join(name);
        std::fs::copy(&from, folder.join(name)).unwrap_or_else(|error| panic!("{}: {error}", from.display()));
    }
}

fn one_in(folder: &Path) {
    std::fs::write(folder.join("one.csv"), ONE).expect("a file can be written");
}

/// Millimetres as whole thousandths; anything finer than a thousandth fails.
#[track_caller]
fn thousandths(value: &Value) -> i64 {
    let mm = value.as_f64().unwrap_or_else(|| panic!("found {value}, wanted a number of millimetres"));
    let text = value.to_string();
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    assert!(decimals <= 3 && !text.contains('e'), "found {text}, wanted three decimals at most");
    #[allow(clippy::cast_possible_truncation)]
    let rounded = (mm * 1000.0).round() as i64;
    rounded
}

/// The type each key must have.
#[derive(Clone, Copy, Debug)]
enum Kind {
    Count,
    Mm,
    NumberOrNull,
    Number,
    Text,
    TextOrNull,
    CountOrNull,
    Bool,
    List,
    Object,
}

#[track_caller]
fn shape(what: &str, value: &Value, keys: &[(&str, Kind)]) {
    let object = value.as_object().unwrap_or_else(|| panic!("{what}: found {value}, wanted an object"));
    let found: BTreeSet<&str> = object.keys().map(String::as_str).collect();
    let wanted: BTreeSet<&str> = keys.iter().map(|(key, _)| *key).collect();
    assert_eq!(found, wanted, "{what}: keys");
    for &(key, kind) in keys {
        let value = &object[key];
        let right = match kind {
            Kind::Count => value.is_u64(),
            Kind::CountOrNull => value.is_u64() || value.is_null(),
            Kind::Mm => value.is_number() && thousandths(value) >= 0,
            Kind::Number => value.is_number(),
            Kind::NumberOrNull => value.is_number() || value.is_null(),
            Kind::Text => value.as_str().is_some_and(|text| !text.is_empty()),
            Kind::TextOrNull => value.is_string() || value.is_null(),
            Kind::Bool => value.is_boolean(),
            Kind::List => value.is_array(),
            Kind::Object => value.is_object(),
        };
        assert!(right, "{what}: {key}: found {value}, wanted {kind:?}");
    }
}

const WASTE: [&str; 7] = ["lead", "gap", "trail", "pad", "load", "tail", "scrap"];

/// Checks the shape of an estimate, and that its sums are sums.
fn check_estimate(estimate: &Value) {
    use Kind::{Bool, Count, CountOrNull, List, Mm, Number, NumberOrNull, Object, Text, TextOrNull};
    shape(
        "estimate",
        estimate,
        &[
            ("cables", Count),
            ("labels", Count),
            ("problems", List),
            ("legibility", List),
            ("stocks", List),
            ("tape_mm", Mm),
            ("label_mm", Mm),
            ("waste_mm", Mm),
            ("singly_mm", Mm),
        ],
    );
    for short in list(&estimate["legibility"]) {
        shape(
            "legibility",
            short,
            &[
                ("batch", Text),
                ("stock", Text),
                ("labels", Count),
                ("cap_mm", Mm),
                ("cap_dots", Count),
                ("good_to_mm", Mm),
                ("readable_to_mm", Mm),
                ("asked_mm", Mm),
                ("stroke_dots", Count),
                ("module_mm", NumberOrNull),
                ("text", Text),
            ],
        );
    }
    for problem in list(&estimate["problems"]) {
        shape("problem", problem, &[("row", CountOrNull), ("field", TextOrNull), ("kind", Text), ("text", Text)]);
    }
    let mut sums = [0; 4];
    let mut labels = 0;
    for stock in list(&estimate["stocks"]) {
        let id = stock["stock"].as_str().unwrap_or("?");
        shape(
            id,
            stock,
            &[
                ("stock", Text),
                ("labels", Count),
                ("strips", Count),
                ("tape_mm", Mm),
                ("label_mm", Mm),
                ("waste_mm", Object),
                ("singly_mm", Mm),
                ("cartridges", Count),
                ("cost", NumberOrNull),
                ("seconds", Number),
                ("optimal", Bool),
                ("bound_mm", Mm),
            ],
        );
        let waste = &stock["waste_mm"];
        let keys: Vec<(&str, Kind)> = WASTE.into_iter().chain(["total"]).map(|key| (key, Mm)).collect();
        shape(&format!("waste of {id}"), waste, &keys);
        let total = thousandths(&waste["total"]);
        assert_eq!(
            WASTE.map(|key| thousandths(&waste[key])).iter().sum::<i64>(),
            total,
            "{id}: the parts of the waste"
        );
        let [tape, label, singly, bound] =
            ["tape_mm", "label_mm", "singly_mm", "bound_mm"].map(|key| thousandths(&stock[key]));
        assert_eq!(tape, label + total, "{id}: tape is label and waste");
        assert!(
            bound <= tape && (stock["optimal"] == Value::Bool(true)) == (bound == tape),
            "{id}: bound {bound}, tape {tape}"
        );
        assert!(label > 0 && singly >= tape, "{id}: singly {singly}, tape {tape}, label {label}");
        let labels_here = stock["labels"].as_i64().unwrap_or(0);
        assert!((1..=labels_here).contains(&stock["strips"].as_i64().unwrap_or(0)), "{id}: strips");
        labels += labels_here;
        for (sum, part) in sums.iter_mut().zip([tape, label, total, singly]) {
            *sum += part;
        }
    }
    assert_eq!(estimate["labels"].as_i64(), Some(labels), "labels of all stocks");
    let top = ["tape_mm", "label_mm", "waste_mm", "singly_mm"].map(|key| thousandths(&estimate[key]));
    assert_eq!(top, sums, "tape, label, waste, singly of all stocks");
    assert_eq!(top[0], top[1] + top[2], "tape is label and waste");
}

#[track_caller]
fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap_or_else(|| panic!("found {value}, wanted a list"))
}

#[test]
fn the_estimate_has_its_shape_and_its_sums() {
    let folder = folder();
    demo_in(folder.path());
    let estimate = run(folder.path(), ["estimate", "job.toml", "--json"]).ended(0).json();
    check_estimate(&estimate);
    assert_eq!((estimate["cables"].as_u64(), estimate["labels"].as_u64()), (Some(24), Some(44)));
    assert_eq!(list(&estimate["stocks"]).len(), 3);
    // Row 8 asks for a sleeve over a plug that is on; row 9 has neither diameter nor kind.
    let problems: Vec<(Option<u64>, Option<&str>, Option<&str>)> = list(&estimate["problems"])
        .iter()
        .map(|problem| (problem["row"].as_u64(), problem["field"].as_str(), problem["kind"].as_str()))
        .collect();
    assert_eq!(
        problems,
        [(Some(8), Some("terminated"), Some("does-not-pass")), (Some(9), Some("od"), Some("no-diameter"))]
    );
}

#[test]
fn the_estimate_keeps_its_sums_with_every_printer_stock_and_way_of_parting() {
    let folder = folder();
    demo_in(folder.path());
    let mut checked = 0;
    for printer in ["bench-180", "fine-360", "wide-300", "field-203"] {
        for stock in ["tape-9", "tape-12", "tape-24"] {
            for more in [&[][..], &["--between", "snip"], &["--ends", "near"], &["--build", "plate"]] {
                let arguments =
                    ["estimate", "cables.csv", "--json", "--owner", "TWP", "--printer", printer, "--stock", stock];
                let ran = run(folder.path(), arguments.iter().chain(more)).ended(0);
                check_estimate(&ran.json());
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 48);
}

#[test]
fn a_price_that_is_not_known_is_null() {
    let folder = folder();
    one_in(folder.path());
    std::fs::write(
        folder.path().join("job.toml"),
        "list = 'one.csv'\nstock_files = ['stocks.toml']\nstock = 'shelf-12'\n",
    )
    .expect("a file can be written");
    std::fs::write(
        folder.path().join("stocks.toml"),
        "[[stock]]\nid = 'shelf-12'\ntitle = 'tape from the shelf'\nkind = 'tape'\nwidth_mm = 12\nzone_mm = 9\nlength_m = 8\ncutting = 'half'\n",
    )
    .expect("a file can be written");
    let estimate = run(folder.path(), ["estimate", "job.toml", "--json"]).ended(0).json();
    check_estimate(&estimate);
    assert!(estimate["stocks"][0]["cost"].is_null(), "{estimate}");
}

#[test]
fn readback_has_its_shape() {
    needs_modules();
    let folder = folder();
    demo_in(folder.path());
    run(folder.path(), ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    let read = run(folder.path(), ["readback", "out-tape-12.pwg", "--json"]).ended(0).json();
    shape("readback", &read, &[("strips", Kind::List), ("feed_mm", Kind::Mm)]);
    assert!(!list(&read["strips"]).is_empty());
    let mut sum = 0;
    for strip in list(&read["strips"]) {
        shape(
            "strip",
            strip,
            &[
                ("lines", Kind::Count),
                ("feed_mm", Kind::Mm),
                ("half_cuts_mm", Kind::List),
                ("full_cuts_mm", Kind::List),
                ("ink_dots", Kind::Count),
            ],
        );
        let feed = thousandths(&strip["feed_mm"]);
        for cuts in ["half_cuts_mm", "full_cuts_mm"] {
            let places: Vec<i64> = list(&strip[cuts]).iter().map(thousandths).collect();
            assert!(places.is_sorted() && places.iter().all(|place| (1..=feed).contains(place)), "{cuts}: {places:?}");
        }
        sum += feed;
    }
    assert_eq!(thousandths(&read["feed_mm"]), sum, "feed of all strips");
}

#[test]
fn whole_commands_answer_in_json() {
    needs_modules();
    let folder = folder();
    for arguments in [&["stock", "--json"][..], &["printers", "--json"], &["drivers", "--json"]] {
        let answer = run(folder.path(), arguments).ended(0).json();
        assert!(!list(&answer).is_empty(), "{arguments:?}");
    }
    for arguments in [&["stock", "tape-12", "--json"][..], &["printers", "bench-180", "--json"]] {
        assert!(run(folder.path(), arguments).ended(0).json().is_object(), "{arguments:?}");
    }
}

#[test]
fn exit_codes_are_as_documented() {
    needs_modules();
    let folder = folder();
    one_in(folder.path());
    // A record of more than 1 MiB is a stated limit.
    std::fs::write(
        folder.path().join("long.csv"),
        format!("batch,number,od\nOTTER,\"{}\",6 mm\n", "7".repeat(2 << 20)),
    )
    .expect("a file");
    std::fs::write(folder.path().join("in the way"), "").expect("a file");
    for (arguments, code) in [
        (&["estimate", "one.csv"][..], 0),
        (&["--help"], 0),
        (&["--version"], 0),
        (&["print", "--help"], 0),
        (&["estimate", "missing.csv"], 2),
        (&["estimate", "one.csv", "--no-such-flag"], 2),
        (&["estimate", "one.csv", "--build", "ring"], 2),
        (&["no-such-command"], 2),
        (&["print", "one.csv"], 2),
        (&["print", "one.csv", "--to", "nowhere:x"], 2),
        (&["print", "one.csv", "--to", "file:out.pwg", "--only", "tape-24"], 2),
        (&["stock", "no-such-stock"], 2),
        (&["printers", "no-such-printer"], 2),
        (&["readback", "one.csv"], 2),
        (&["readback", "missing.pwg"], 2),
        (&[], 2),
        (&["print", "one.csv", "--to", "file:in the way/out.pwg"], 6),
        (&["proof", "one.csv", "--out", "in the way/proof"], 6),
        (&["estimate", "long.csv"], 7),
    ] {
        let ran = run(folder.path(), arguments).ended(code);
        if code != 0 {
            assert!(ran.out.is_empty(), "{}: an answer besides an error: {}", ran.what, ran.text());
            assert!(!ran.err.is_empty(), "{}: says nothing", ran.what);
        }
    }
}

/// Alone in a folder, the program has no driver module: that is exit code 5, and says where it looked.
#[test]
fn no_driver_module_is_exit_code_5() {
    let folder = folder();
    one_in(folder.path());
    let alone = folder.path().join("alone");
    std::fs::create_dir(&alone).expect("a folder");
    let program = alone.join(program::path().file_name().expect("a file name"));
    std::fs::copy(program::path(), &program).expect("the program can be copied");
    let mut command = std::process::Command::new(&program);
    program::apart(&mut command, folder.path());
    let output = command.args(["print", "one.csv", "--to", "file:out.pwg"]).output().expect("the copy starts");
    let ran = Ran::new(&command, output).ended(5);
    assert!(ran.err.contains("found no driver family") && ran.err.contains("alone"), "{}", ran.err);
    assert!(!folder.path().join("out.pwg").exists() && !folder.path().join("out.pwg.part").exists());
}

/// The subcommands, as `--help` lists them.
fn subcommands(help: &str) -> Vec<String> {
    let listed = help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    listed.filter_map(|line| line.split_whitespace().next()).filter(|name| *name != "help").map(str::to_owned).collect()
}

#[test]
fn every_subcommand_has_help_with_an_example() {
    let folder = folder();
    let help = run(folder.path(), ["--help"]).ended(0);
    let all = subcommands(help.text());
    for wanted in [
        "demo", "estimate", "proof", "sheet", "print", "resume", "reprint", "jobs", "cables", "stock", "printers",
        "drivers", "readback",
    ] {
        assert!(all.iter().any(|name| name == wanted), "--help lists {all:?}, wanted {wanted}");
    }
    for code in [
        "0 done",
        "1 our fault",
        "2 the input is wrong",
        "3 supply",
        "4 device or link",
        "5 driver module",
        "6 storage",
        "7 a stated limit",
    ] {
        assert!(help.text().contains(code), "--help does not list exit code `{code}`");
    }
    let lacking: Vec<&String> = all
        .iter()
        .filter(|name| {
            let help = run(folder.path(), [name.as_str(), "--help"]).ended(0);
            assert!(help.err.is_empty() && help.text().contains("Usage:"), "{}: {}", help.what, help.err);
            let after = help.text().split_once("Example").map_or("", |(_, after)| after).to_owned();
            !after.contains(&format!("  tapewright {name}"))
        })
        .collect();
    assert!(
        lacking.is_empty(),
        "no example in --help of {lacking:?}, wanted `Example:` and a line `  tapewright NAME …`"
    );
}

#[test]
fn answers_go_to_stdout_and_talk_to_stderr() {
    needs_modules();
    let folder = folder();
    demo_in(folder.path());
    let path = folder.path();
    let words = run(path, ["estimate", "job.toml"]).ended(0);
    assert!(words.text().contains("44 labels") && words.text().contains("tape-12"), "{}", words.text());
    for problem in ["row 8, terminated:", "row 9, od:"] {
        assert!(words.err.contains(problem) && !words.text().contains(problem), "{}", words.err);
    }
    let quiet = run(path, ["estimate", "job.toml", "--quiet"]).ended(0);
    assert_eq!(quiet.text(), words.text(), "--quiet changes the answer");
    assert!(quiet.err.contains("row 8, terminated:") && quiet.err.len() < words.err.len(), "{}", quiet.err);
    let json = run(path, ["estimate", "job.toml", "--json"]).ended(0);
    json.json();
    assert!(json.err.is_empty(), "with --json the problems are in the answer: {}", json.err);
    let print = run(path, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    assert_eq!(print.text().lines().count(), 3, "a line a stock: {}", print.text());
    assert!(print.err.contains("row 9, od:"), "{}", print.err);
    let wrong = run(path, ["estimate", "missing.csv"]).ended(2);
    assert!(
        wrong.out.is_empty() && wrong.err.starts_with("tapewright: ") && wrong.err.lines().count() == 1,
        "{}",
        wrong.err
    );
}

#[test]
fn a_stream_goes_to_standard_output() {
    needs_modules();
    let folder = folder();
    demo_in(folder.path());
    let path = folder.path();
    run(path, ["print", "job.toml", "--only", "wrap-24", "--to", "file:out.pwg"]).ended(0);
    let file = std::fs::read(path.join("out.pwg")).expect("the stream");
    for arguments in [&["--to", "-"][..], &["--to", "stdout"], &["--to", "-", "--json"]] {
        let ran = run(path, ["print", "job.toml", "--only", "wrap-24"].iter().chain(arguments)).ended(0);
        assert!(ran.out == file, "{}: {} bytes, the file has {}", ran.what, ran.out.len(), file.len());
    }
    // Several stocks do not fit one stream.
    let ran = run(path, ["print", "job.toml", "--to", "-"]).ended(2);
    assert!(ran.out.is_empty() && ran.err.contains("--only"), "{}", ran.err);
    // And back from standard input.
    let mut command = program::command(path);
    command.args(["readback", "-", "--json"]).stdin(std::fs::File::open(path.join("out.pwg")).expect("the stream"));
    let output = command.output().expect("the program starts");
    let piped = Ran::new(&command, output).ended(0).json();
    assert_eq!(piped, run(path, ["readback", "out.pwg", "--json"]).ended(0).json());
}

/// Runs a command whose standard output nobody reads.
fn unread(folder: &Path, arguments: &[&str]) -> Ran {
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let mut command = program::command(folder);
    command.args(arguments).stdout(writer).stderr(Stdio::piped());
    let child = command.spawn().expect("the program starts");
    let output = child.wait_with_output().expect("the program ends");
    Ran::new(&command, output)
}

#[test]
fn a_closed_pipe_is_no_error() {
    needs_modules();
    let folder = folder();
    demo_in(folder.path());
    run(folder.path(), ["print", "job.toml", "--only", "wrap-24", "--to", "file:out.pwg"]).ended(0);
    for arguments in [
        &["estimate", "job.toml", "--quiet"][..],
        &["estimate", "job.toml", "--json"],
        &["stock"],
        &["printers", "--json"],
        &["drivers"],
        &["readback", "out.pwg"],
        &["--help"],
        &["proof", "job.toml", "--quiet"],
    ] {
        let ran = unread(folder.path(), arguments).ended(0);
        assert!(!ran.err.to_lowercase().contains("pipe"), "{}: {}", ran.what, ran.err);
    }
    // A stream that nobody takes is not printed: that is told, as a failure of the link.
    let ran = unread(folder.path(), &["print", "job.toml", "--only", "wrap-24", "--to", "-"]).ended(4);
    assert!(ran.err.contains("cannot be written"), "{}", ran.err);
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_a_print_in_order() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    let mut list = String::from("batch,number,length,od_mm\n");
    for number in 0..20_000 {
        list.push_str(&format!("OTTER,{number},5 m,6.2\n"));
    }
    std::fs::write(path.join("cables.csv"), list).expect("a file can be written");
    let before = crate::program::files(path);
    let mut command = crate::program::command(path);
    command.args(["print", "cables.csv", "--to", "file:out.pwg"]).stderr(std::process::Stdio::piped());
    let child = command.spawn().expect("the program starts");
    // It is at work when its part of a file has grown.
    let part = path.join(format!("out.pwg.{}.part", child.id()));
    while std::fs::metadata(&part).map_or(0, |part| part.len()) < 100_000 {
        std::thread::yield_now();
    }
    let kill = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("this test needs kill (Debian package procps)").success());
    let output = child.wait_with_output().expect("it ends");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(4), "{said}");
    assert!(said.contains("nothing was kept, it stopped at label") && said.contains("stopped by Ctrl-C"), "{said}");
    assert_eq!(crate::program::files(path), before, "nothing is left");
}
