//! The register through the whole program, and against readers and writers that are not ours.

use crate::jobs::demo_files;
use crate::program::{self, Ran, command, folder, run};
use crate::python;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Command, Stdio};
use tapewright::bitmap::Bitmap;
use tapewright::journal::{Note, What};
use tapewright::register::{Kept, KeptLabel, Order, Planned, Register};
use tapewright::unit::Dpi;
use tempfile::TempDir;

/// A folder with the demo's list in its register.
fn playhouse() -> TempDir {
    let folder = folder();
    demo_files(folder.path(), &["cables.csv", "job.toml"]);
    let ran = cables(folder.path(), &["import", "cables.csv", "--owner", "TWP"]).ended(0);
    assert!(ran.text().ends_with("24 rows: 24 new, 0 changed, 0 the same\n"), "{}", ran.text());
    folder
}

fn cables(folder: &Path, words: &[&str]) -> Ran {
    run(folder, [&["cables"], words].concat())
}

fn read(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Asks the program `sqlite3` (sqlite.org, "Command Line Shell For SQLite"); one answer a line.
fn sqlite3(file: &Path, question: &str) -> Vec<String> {
    let output = Command::new("sqlite3").arg("-readonly").arg(file).arg(question).output();
    let output = output.unwrap_or_else(|error| panic!("sqlite3: {error}: install the Debian package sqlite3"));
    assert!(output.status.success(), "sqlite3: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8").lines().map(str::to_owned).collect()
}

#[test]
fn a_day_with_the_register() {
    let folder = playhouse();
    let path = folder.path();
    assert!(path.join("data/register.db").is_file());
    let found = cables(path, &["find", "otter", "1040"]).ended(0);
    assert_eq!(found.text(), "#1  OTTER 1040  TWP, 15 ft, microphone cable, Stage left box to Desk 1\n");
    let added = cables(path, &["add", "MARTEN", "--count", "3", "--length", "50 ft", "--owner", "TWP"]).ended(0);
    assert_eq!(added.text(), "MARTEN 2009 to 2011: 3 new cables\n");
    let refused = cables(path, &["add", "marten", "--start", "2010"]).ended(2);
    assert!(refused.err.contains("marten 2010: found a cable of the register, wanted a number that is free"));
    let words = cables(path, &["words", "--count", "3"]).ended(0);
    assert_eq!(words.text().lines().count(), 3);
    let first = words.text().lines().next().expect("a word").to_owned();
    let propose = cables(path, &["add", "--propose", "--register", "other.db"]).ended(0);
    assert!(propose.text().ends_with(" 1: 1 new cable\n"), "{}", propose.text());
    cables(path, &["backup", "copy.db"]).ended(0);
    let propose = cables(path, &["add", "--propose", "--register", "copy.db"]).ended(0);
    assert_eq!(propose.text(), format!("{first} 2012: 1 new cable\n"), "the best of those proposed");
    let near = cables(path, &["add", "ODDER", "--register", "copy.db"]).ended(0);
    assert!(near.err.contains("`ODDER` is easily heard as `OTTER`, which is in use"), "{}", near.err);
    let retired = cables(path, &["retire", "marten", "2010"]).ended(0);
    assert_eq!(retired.text(), "MARTEN 2010 is retired\n");
    let refused = cables(path, &["add", "marten", "--start", "2010"]).ended(2);
    assert!(refused.err.contains("found a cable that was retired on "), "{}", refused.err);
    let listed = cables(path, &["list", "--batch", "marten"]).ended(0);
    assert_eq!(listed.text().lines().count(), 2);
    let listed = cables(path, &["list", "--batch", "marten", "--retired"]).ended(0);
    assert_eq!(listed.text().lines().count(), 3);
    let changed = cables(path, &["change", "otter", "1040", "length=25 ft", "--json"]).ended(0).json();
    assert_eq!(changed["changes"], json!([{"field": "length", "old": "15 ft", "new": "25 ft"}]));
    let batches = cables(path, &["batches"]).ended(0);
    assert!(batches.text().contains("MARTEN  2 cables, 1 retired  2009 to 2011\n"), "{}", batches.text());
    // What is exported is the same when it comes back, in either form.
    for name in ["out.csv", "out.tsv"] {
        assert_eq!(cables(path, &["export", name]).ended(0).text(), format!("{name}: 26 cables\n"));
        let again = cables(path, &["import", name]).ended(0);
        assert_eq!(again.text(), "26 rows: 0 new, 0 changed, 26 the same\n");
    }
    let few = cables(path, &["export", "-", "--batch", "OTTER", "1042"]).ended(0);
    assert_eq!(few.text().lines().count(), 2, "{}", few.text());
    let none = cables(path, &["find", "gonzo"]).ended(0);
    assert!(none.text().is_empty() && none.err.contains("found no cable with `gonzo`"), "{}", none.err);
}

#[test]
fn a_dry_run_shows_the_same_and_writes_nothing() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv"]);
    let dry = cables(path, &["import", "cables.csv", "--dry-run", "--json"]).ended(0).json();
    assert!(!path.join("data").exists(), "a dry run begins no register");
    let wet = cables(path, &["import", "cables.csv", "--json"]).ended(0).json();
    assert_eq!((&dry["rows"], &dry["adds"], &dry["written"]), (&wet["rows"], &json!(24), &json!(false)));
    assert_eq!(wet["written"], json!(true));
    std::fs::write(path.join("few.csv"), "batch,number,length\nOTTER,1040,20 ft\nOTTER,1041,15 ft\nOTTER,9,5 m\n")
        .unwrap();
    let dry = cables(path, &["import", "few.csv", "--dry-run", "--retire-missing"]).ended(0);
    let text = dry.text();
    for line in [
        "add     row 4  OTTER 9\n",
        "change  row 2  OTTER 1040: length `15 ft` -> `20 ft`\n",
        "retire  OTTER 1047: the list does not have it\n",
        "3 rows: 1 new, 1 changed, 1 the same, 6 retired (dry run: nothing was written)\n",
    ] {
        assert!(text.contains(line), "found {text}, wanted {line}");
    }
    assert_eq!(cables(path, &["list", "--batch", "otter"]).ended(0).text().lines().count(), 8);
}

#[test]
fn a_list_that_clashes_is_refused_whole() {
    let folder = playhouse();
    let path = folder.path();
    let before = cables(path, &["list", "--json"]).ended(0).json();
    let list = "owner,batch,number,length,od\nTWP,PLOVER,1,15 ft,\nTWP,PLOVER,1,15 ft,\nGTC,OTTER,1040,15 ft,\nTWP,OTTER,,15 ft,\n\
                TWP,OTTER,1050,15,\nTWP,OTTER,1051,15 ft,6.2 mm,extra\n";
    std::fs::write(path.join("wrong.csv"), list).unwrap();
    for dry in [&["import", "wrong.csv", "--dry-run"][..], &["import", "wrong.csv"]] {
        let ran = cables(path, dry).ended(2);
        for line in [
            "wrong.csv: row 7: found `extra` in column 6, wanted nothing beyond the 5 columns that have a header",
            "wrong.csv: row 3: PLOVER 1: found the same batch and number as in row 2, wanted each cable once",
            "wrong.csv: row 4, owner: OTTER 1040: found `GTC`, wanted `TWP`, whose it is in the register",
            "wrong.csv: row 5, number: OTTER: found no number, wanted one",
            "wrong.csv: row 6, length: OTTER 1050: found `15`, wanted a length with its unit",
            "tapewright: wrong.csv: 5 rows clash, nothing was written",
        ] {
            assert!(ran.err.contains(line), "found {}, wanted {line}", ran.err);
        }
        assert!(ran.text().contains("add     row 2  PLOVER 1\n"), "{}", ran.text());
        assert_eq!(cables(path, &["list", "--json"]).ended(0).json(), before);
    }
    let all = cables(path, &["import", "wrong.csv", "--json"]).ended(2).json();
    assert_eq!((all["clashes"].as_u64(), all["rows"].as_array().map(Vec::len)), (Some(5), Some(6)));
}

#[test]
fn the_stock_program_reads_the_register() {
    let folder = playhouse();
    let path = folder.path();
    cables(path, &["backup", "copy.db"]).ended(0);
    for file in [path.join("data/register.db"), path.join("copy.db")] {
        assert_eq!(sqlite3(&file, "PRAGMA integrity_check"), ["ok"]);
        assert_eq!(sqlite3(&file, "PRAGMA foreign_key_check"), [""; 0]);
        let counts = "SELECT count(*) FROM cable; SELECT count(*) FROM batch; SELECT count(*) FROM owner";
        assert_eq!(sqlite3(&file, counts), ["24", "3", "1"]);
        let one = "SELECT mark, word, number, length, \"to\" FROM cable JOIN batch ON batch.id = cable.batch \
                   JOIN owner ON owner.id = cable.owner WHERE number = '2005'";
        assert_eq!(sqlite3(&file, one), ["TWP|HERON|2005|25 m|Router 5"]);
    }
    let refused = cables(path, &["backup", "copy.db"]).ended(2);
    assert!(refused.err.contains("copy.db: found a file, wanted a name that is free"), "{}", refused.err);
    let copy = run(path, ["--register", "copy.db", "cables", "find", "2005"]).ended(0);
    assert_eq!(copy.text(), cables(path, &["find", "2005"]).ended(0).text());
}

#[test]
fn a_spreadsheet_of_another_program_comes_in_and_goes_out_as_it_was() {
    let folder = folder();
    let path = folder.path();
    let book = path.join("store.xlsx");
    python::check("cable_lists.py", ["write".as_ref(), book.as_os_str()]);
    let words = ["import", "store.xlsx", "--sheet", "Cables", "--column", "od_mm=Outside dia"];
    let ran = cables(path, &words).ended(0);
    assert!(ran.text().ends_with("3 rows: 3 new, 0 changed, 0 the same\n"), "{}", ran.text());
    for name in ["out.csv", "out.tsv"] {
        cables(path, &["export", name]).ended(0);
        let rows: Value =
            serde_json::from_str(&python::check("cable_lists.py", ["rows".as_ref(), path.join(name).as_os_str()]))
                .unwrap();
        let row = |id: &str, batch: &str, number: &str, length: &str, od: &str, colour: &str, note: &str| {
            json!({"id": id, "owner": "TWP", "batch": batch, "number": number, "length": length, "od_mm": od,
                   "Colour": colour, "note": note})
        };
        let wanted = json!([
            row("1", "OTTER", "1040", "50 ft", "6.15", "red", "says \"left\", 12'6\""),
            row("2", "OTTER", "1041", "50 ft", "6.15", "", "two\nlines"),
            row("3", "HERON", "0007", "15 m", "8.3", "blue, dark", "Bühne"),
        ]);
        assert_eq!(rows, wanted, "{name}");
        let again = cables(path, &["import", name]).ended(0);
        assert_eq!(again.text(), "3 rows: 0 new, 0 changed, 3 the same\n");
    }
    let found = cables(path, &["find", "buhne"]).ended(0);
    assert_eq!(found.text(), "#3  HERON 0007  TWP, 15 m\n");
}

/// Two programs at once, while this test writes: both say that they wait, and then nothing is lost.
#[test]
fn two_programs_write_one_after_the_other() {
    let folder = playhouse();
    let path = folder.path();
    let file = path.join("data/register.db");
    let holder = rusqlite::Connection::open(&file).expect("the register opens");
    holder.execute_batch("BEGIN IMMEDIATE").expect("nobody else writes");
    let mut list = String::from("batch,number\n");
    (0..500).for_each(|nth| list.push_str(&format!("CURLEW,{nth}\n")));
    std::fs::write(path.join("more.csv"), list).unwrap();
    let start = |words: &[&str]| {
        let mut command = command(path);
        command.args([&["cables"], words].concat()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command.spawn().expect("the program starts")
    };
    let mut running = [start(&["add", "PLOVER", "--count", "200"]), start(&["import", "more.csv"])];
    for child in &mut running {
        let mut line = String::new();
        BufReader::new(child.stderr.as_mut().expect("a pipe")).read_line(&mut line).expect("it says something");
        assert_eq!(line, "waiting for another program that writes the register\n");
    }
    holder.execute_batch("COMMIT").expect("the place is given back");
    for mut child in running {
        let mut said = String::new();
        child.stdout.take().expect("a pipe").read_to_string(&mut said).expect("UTF-8");
        assert_eq!(child.wait().expect("it ends").code(), Some(0), "{said}");
    }
    assert_eq!(sqlite3(&file, "SELECT count(*) FROM cable"), ["724"]);
    assert_eq!(sqlite3(&file, "PRAGMA integrity_check"), ["ok"]);
}

/// Many programs add to one word at once: every number is given once.
#[test]
fn numbers_are_given_once_by_many_programs() {
    let folder = playhouse();
    let path = folder.path();
    let running: Vec<_> = (0..6)
        .map(|_| {
            let mut command = command(path);
            command.args(["cables", "add", "OTTER", "--count", "5", "-q"]).stdout(Stdio::null());
            command.spawn().expect("the program starts")
        })
        .collect();
    for mut child in running {
        assert_eq!(child.wait().expect("it ends").code(), Some(0));
    }
    let numbers = sqlite3(
        &path.join("data/register.db"),
        "SELECT DISTINCT number FROM cable WHERE CAST(number AS INTEGER) BETWEEN 1048 AND 1999",
    );
    let wanted: Vec<String> = (1048..1078).map(|number: u32| number.to_string()).collect();
    assert_eq!(numbers, wanted);
}

/// A disk that cannot be written: a bind mount of its own where root may, else a folder without leave.
#[cfg(target_os = "linux")]
#[test]
fn a_register_on_a_disk_that_cannot_be_written_is_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = playhouse();
    let path = folder.path();
    let data = path.join("data");
    let root = Command::new("id").arg("-u").output().expect("id runs").stdout == b"0\n";
    let allow = |folder_mode, file_mode| {
        let set = |path: &Path, mode| std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
        set(&data.join("register.db"), file_mode);
        set(&data, folder_mode);
    };
    let before = program::files(&data);
    let ask = |words: &[&str]| {
        let mut command = if root {
            let mut command = Command::new("unshare");
            command.args(["--mount", "sh", "-c"]);
            command
                .arg("mount --bind \"$1\" \"$1\" && mount -o remount,ro,bind \"$1\" && shift && exec \"$@\"")
                .arg("sh");
            command.arg(&data).arg(program::path());
            command
        } else {
            Command::new(program::path())
        };
        program::apart(&mut command, path);
        command.args(words);
        let output = command.output().expect("unshare runs: the Debian package util-linux has it");
        Ran::new(&command, output)
    };
    if !root {
        allow(0o555, 0o444);
    }
    let found = ask(&["cables", "find", "2005"]).ended(0);
    assert_eq!(found.text(), "#13  HERON 2005  TWP, 25 m, RG-59, Projector to Router 5\n");
    ask(&["cables", "export", "-"]).ended(0);
    ask(&["cables", "import", "cables.csv", "--dry-run"]).ended(0);
    let shown = ask(&["estimate", "job.toml", "--batch", "HERON", "--json"]).ended(0).json();
    assert_eq!(shown["labels"], json!(16));
    let refused = ask(&["cables", "add", "PLOVER"]).ended(6);
    assert!(refused.err.contains("found a register that can only be read, wanted one on a disk that can be written"));
    assert_eq!(program::files(&data), before, "nothing was left beside it");
    allow(0o755, 0o644);
}

/// A label of the demo's OTTER batch that left whole at a moment.
fn printed(register: &mut Register, at: i64, number: &str) {
    let dpi = Dpi::from_milli(180_000).expect("a resolution");
    let (name, printer, link) = ("otters".into(), "bench-180".into(), "usb:".into());
    let order = Order {
        kind: "print",
        name,
        printer,
        across: dpi,
        along: dpi,
        link,
        between: None,
        longest_strip: None,
        labels_a_strip: None,
    };
    let label = |end: &str| KeptLabel {
        cable: None,
        owner: "TWP".into(),
        batch: "OTTER".into(),
        number: number.into(),
        end: end.into(),
        build: "flag".into(),
        stock: "tape-12".into(),
        text: format!("TWP OTTER\n{number} 15 ft"),
        diameter: None,
        joined: end == "near",
    };
    let planned = |end| {
        Ok(Planned {
            label: label(end),
            strip: 1,
            bits: Kept::of(&Bitmap::from("#")),
            again: None,
            perhaps_twice: false,
        })
    };
    let job = register.plan(at, &order, ["near", "far"].map(planned)).expect("it is written");
    for what in [What::Leaving, What::Taken] {
        register.note(job, &Note { at, what, labels: 1..=2, word: String::new() }).expect("it is written");
    }
}

#[test]
fn labels_are_shown_seen_and_renewed() {
    let folder = playhouse();
    let path = folder.path();
    let mut register = Register::existing(&path.join("data/register.db"), |_| ()).expect("a register");
    // 2001-09-09: long ago on any day these tests run.
    printed(&mut register, 1_000_000_000, "1040");
    printed(&mut register, 1_000_000_000, "1042");
    drop(register);
    let shown = cables(path, &["show", "1040"]).ended(0);
    for line in [
        "OTTER 1040  #1\n",
        "near end, at Stage left box: `TWP OTTER / 1040 15 ft`\n  due 2003-09-09: flag on tape-12, printed 2001-09-09, lasts 24 months\n",
        "far end, at Desk 1: `TWP OTTER / 1040 15 ft`\n",
        "  2001-09-09  job 1, label 1  near  flag on tape-12  printed\n",
    ] {
        assert!(shown.text().contains(line), "found {}, wanted {line}", shown.text());
    }
    let due = cables(path, &["due", "--place", "stage left"]).ended(0);
    assert!(due.text().starts_with("Stage left box\n  2003-09-09  OTTER 1040 near  flag on tape-12, printed 2001-09-09, lasts 24 months\n  2003-09-09  OTTER 1042 near"), "{}", due.text());
    assert!(due.text().contains("no label yet:\n  OTTER 1041\n"), "{}", due.text());
    let due = cables(path, &["due", "--json"]).ended(0).json();
    assert_eq!((due["due"].as_array().map(Vec::len), due["no_label"].as_array().map(Vec::len)), (Some(4), Some(22)));
    // The job for it: both ends of both cables.
    let job = run(path, ["estimate", "job.toml", "--due", "--json"]).ended(0).json();
    assert_eq!((&job["cables"], &job["labels"]), (&json!(2), &json!(4)));
    cables(path, &["seen", "otter", "1040", "otter", "1042", "near"]).ended(0);
    let due = cables(path, &["due", "--json"]).ended(0).json();
    assert_eq!(due["due"].as_array().map(Vec::len), Some(1));
    assert_eq!((&due["due"][0]["cable"], &due["due"][0]["end"]), (&json!("OTTER 1042"), &json!("far")));
    let own = cables(path, &["renewal", "flag", "never"]).ended(0);
    assert!(own.text().contains("flag                  never\n"), "{}", own.text());
    let none = run(path, ["estimate", "job.toml", "--due"]).ended(2);
    assert!(none.err.contains("found no label that is due until "), "{}", none.err);
    cables(path, &["seen", "otter", "1040", "--end", "far", "--word", "flag torn"]).ended(0);
    let due = cables(path, &["due"]).ended(0);
    assert!(due.text().contains("Desk 1\n") && due.text().contains(": flag torn\n"), "{}", due.text());
}

#[test]
fn a_job_takes_its_cables_from_the_register() {
    let folder = playhouse();
    let path = folder.path();
    let of = |words: &[&str]| run(path, [&["estimate", "--json"], words].concat());
    assert_eq!(of(&["--batch", "heron", "--stock", "tape-12"]).ended(0).json()["cables"], json!(8));
    assert_eq!(of(&["job.toml", "--batch", "otter", "--batch", "badger"]).ended(0).json()["cables"], json!(16));
    assert_eq!(of(&["job.toml", "--find", "heron camera"]).ended(0).json()["cables"], json!(4));
    let refused = of(&["cables.csv", "--batch", "heron"]).ended(2);
    assert!(refused.err.contains("found the list cables.csv and cables of the register, wanted one of them"));
    let refused = of(&["--batch", "herring"]).ended(2);
    assert!(refused.err.contains("found batch `herring`, wanted one of OTTER, HERON, BADGER"), "{}", refused.err);
    let refused = of(&[]).ended(2);
    assert!(refused.err.contains("JOB"), "{}", refused.err);
}

/// Codes on labels say the register's number, and what they say finds their cable.
#[test]
fn a_code_finds_its_cable() {
    program::needs_modules();
    let folder = playhouse();
    let path = folder.path();
    let words = [
        "print",
        "--batch",
        "badger",
        "--stock",
        "tape-24",
        "--build",
        "flag",
        "--code",
        "qr",
        "--to",
        "file:out.pwg",
        "-q",
    ];
    run(path, words).ended(0);
    run(path, ["readback", "out.pwg", "--pbm", "lines"]).ended(0);
    let mut said = std::collections::BTreeSet::new();
    for name in program::files(&path.join("lines")) {
        let pbm = path.join("lines").join(name);
        let read = python::check("codes_read.py", ["strip".as_ref(), "qr".as_ref(), pbm.as_os_str()]);
        said.extend(read.lines().map(str::to_owned));
    }
    let wanted = (301..309).map(|number| format!("TWP BADGER {number} #{}", number - 284));
    assert_eq!(said, wanted.collect());
    for code in said {
        let found = cables(path, &["find", &code]).ended(0);
        let (name, id) = code.split_once('#').expect("a number of the register");
        let name = name.trim().trim_start_matches("TWP ");
        assert!(found.text().starts_with(&format!("#{id}  {name}  ")), "{code}: {}", found.text());
        assert_eq!(found.text().lines().count(), 1, "{code}: {}", found.text());
    }
}

/// A cable's own name means that cable, however many have its number in their lengths.
#[test]
fn a_name_finds_its_cable_alone() {
    let folder = folder();
    let path = folder.path();
    std::fs::write(path.join("c.csv"), "batch,number,length,od_mm\nSEAL,5,5 m,6.2\nSEAL,6,5 m,6.2\nSEAL,7,5 m,6.2\n")
        .unwrap();
    cables(path, &["import", "c.csv"]).ended(0);
    let labels = |scraps: &str| {
        let job = ["estimate", "--find", scraps, "--build", "flag", "--stock", "tape-12", "--json"];
        run(path, job).ended(0).json()["labels"].as_u64()
    };
    assert_eq!((labels("seal 5"), labels("seal 5 m"), labels("5 m")), (Some(2), Some(6), Some(6)));
}

/// What an import takes otherwise than a person may think is said.
#[test]
fn an_import_says_what_it_makes_of_columns_and_words() {
    let folder = folder();
    let path = folder.path();
    let list = "batch,Cable no.,Outside dia,Lenght\nOTTER,1,6.2,\nODDER,2,6.2,\nHERON,3,6.2,\n";
    std::fs::write(path.join("c.csv"), list).unwrap();
    let ran = cables(path, &["import", "c.csv"]).ended(2);
    assert!(
        ran.err.contains("c.csv: found the columns batch, Cable no., Outside dia, Lenght, wanted `number`"),
        "{}",
        ran.err
    );
    assert_eq!(ran.err.lines().count(), 1, "{}", ran.err);
    let ran = cables(path, &["import", "c.csv", "--column", "number=Cable no."]).ended(0);
    assert!(ran.err.contains("note: kept as columns of your own: `Outside dia`; --column od_mm="), "{}", ran.err);
    assert!(
        ran.err.contains("`ODDER` sounds like `OTTER`") || ran.err.contains("`ODDER` is easily heard as `OTTER`"),
        "{}",
        ran.err
    );
    assert!(!ran.err.contains("`HERON`"), "{}", ran.err);
    assert!(ran.err.contains("note: column `Lenght` is kept as it is; did you mean `length`?"), "{}", ran.err);
    let all = ["number=Cable no.", "od_mm=Outside dia", "length=Lenght"].map(|pair| ["--column", pair]).concat();
    let ran = cables(path, &[&["import", "c.csv"][..], &all].concat()).ended(0);
    assert!(!ran.err.contains("note: "), "{}", ran.err);
}

/// The shelf stands in the register where there is no file of it.
#[test]
fn the_shelf_stands_in_the_register() {
    let folder = playhouse();
    let path = folder.path();
    let none = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    let on_shelf = |estimate: &Value| {
        estimate["stocks"].as_array().map(|all| all.iter().any(|one| one["shelf"]["on_shelf"] == true))
    };
    assert_eq!(on_shelf(&none), Some(false), "a register without cartridges says nothing of the shelf: {none}");
    let stock = |words: &[&str]| run(path, [&["stock"], words].concat());
    assert_eq!(stock(&["add", "wrap-24", "--length", "3.2m"]).ended(0).text(), "wrap-24-a (wrap-24): 3.20 m left\n");
    stock(&["add", "tape-12", "--sealed", "2", "--price", "16"]).ended(0);
    stock(&["add", "tape-12", "--length", "1.4m", "--estimated", "20cm"]).ended(0);
    stock(&["mount", "wrap-24-a", "--printer", "bench-180"]).ended(0);
    let rows = "SELECT place, id, stock, length_um, error_um, sealed, price, printer FROM cartridge ORDER BY place";
    assert_eq!(
        sqlite3(&path.join("data/register.db"), rows),
        [
            "1|wrap-24-a|wrap-24|3175000|0|||bench-180",
            "2|tape-12-sealed|tape-12|||2|16.0|",
            "3|tape-12-a|tape-12|1400000|200000|||"
        ]
    );
    let some = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    assert_eq!(on_shelf(&some), Some(true), "{some}");
    // A file that is named goes before it, and leaves it alone.
    std::fs::write(path.join("own.toml"), "").unwrap();
    stock(&["add", "tape-12", "--sealed", "1", "--shelf", "own.toml"]).ended(0);
    assert_eq!(sqlite3(&path.join("data/register.db"), "SELECT count(*) FROM cartridge"), ["3"]);
    stock(&["remove", "tape-12-a"]).ended(0);
    assert_eq!(sqlite3(&path.join("data/register.db"), "SELECT count(*) FROM cartridge"), ["2"]);
}

/// Memory beyond the list: what an import holds for each row.
#[cfg(target_os = "linux")]
#[test]
fn an_import_holds_little_more_than_its_list() {
    let folder = folder();
    let path = folder.path();
    let peak = |rows: usize| -> u64 {
        let mut list = String::from("owner,batch,number,length,kind\n");
        (0..rows).for_each(|nth| list.push_str(&format!("TWP,OTTER,{nth},50 ft,microphone cable\n")));
        let (name, register) = (path.join(format!("{rows}.csv")), path.join(format!("{rows}.db")));
        std::fs::write(&name, list).unwrap();
        let words =
            [program::path(), "--register".as_ref(), &register, "cables".as_ref(), "import".as_ref(), name.as_path()];
        let said = python::check("peak_memory.py", words);
        let peak = said.lines().last().and_then(|line| line.parse().ok());
        assert_eq!(sqlite3(&register, "SELECT count(*) FROM cable"), [rows.to_string()]);
        peak.unwrap_or_else(|| panic!("found {said:?}, wanted KiB"))
    };
    let (few, many) = (peak(2_000), peak(22_000));
    println!("peak memory: {few} KiB for 2,000 rows, {many} KiB for 22,000");
    // A row of this list is 58 bytes, twice that while it grows; its name takes some 40. SQLite keeps pages of
    // up to 2 MiB (its documentation, "PRAGMA cache_size"): 105 bytes for each of 20,000 rows.
    let bytes = many.saturating_sub(few) * 1024 / 20_000;
    assert!(few > 500 && bytes <= 265, "found {bytes} bytes a row, wanted 265 at most");
}

#[test]
fn what_is_written_to_a_list_is_read_back_from_it() {
    let folder = folder();
    let path = folder.path();
    std::fs::write(path.join("odd.csv"), "batch,number,note,Semi;colon\nOTTER,1,\"a;b;c;d\ne, \"\"f\"\"\",;;\n")
        .unwrap();
    cables(path, &["import", "odd.csv"]).ended(0);
    cables(path, &["export", "out.csv"]).ended(0);
    assert_eq!(
        read(path, "out.csv"),
        "id,owner,batch,number,length,note,Semi;colon\n1,,OTTER,1,,\"a;b;c;d\ne, \"\"f\"\"\",;;\n"
    );
    assert_eq!(cables(path, &["import", "out.csv"]).ended(0).text(), "1 row: 0 new, 0 changed, 1 the same\n");
    for name in ["out.xlsx", "out"] {
        let refused = cables(path, &["export", name]).ended(2);
        assert!(refused.err.contains("wanted a name that ends in .csv or .tsv"), "{}", refused.err);
    }
}
