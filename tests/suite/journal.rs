//! What was printed is known: jobs, resuming by a person's word, the same bits once more.

use crate::pbm::Pbm;
use crate::program::{Ran, folder, needs_modules, run};
use std::io::Read;
use std::net::TcpListener;
use std::path::Path;
use std::thread;
use tempfile::TempDir;

const LIST: &str =
    "owner,batch,number,length,od_mm\nTWP,OTTER,1040,5 m,6.2\nTWP,OTTER,1041,5 m,6.2\nTWP,BADGER,308,10 m,6.2\n";

const JOB: &str = "list = 'cables.csv'\nstock = 'tape-12'\nbuild = 'flag'\n[plan]\nlabels_a_strip = 2\n";

fn bench() -> TempDir {
    needs_modules();
    let folder = folder();
    std::fs::write(folder.path().join("cables.csv"), LIST).expect("a file");
    std::fs::write(folder.path().join("job.toml"), JOB).expect("a file");
    folder
}

/// Prints to a file that stands for the printer.
fn printed(folder: &Path) -> Ran {
    run(folder, ["print", "job.toml", "--to", "file:out.pwg", "--take"]).ended(0)
}

/// Prints to a printer that takes so many bytes and goes away.
fn broken(folder: &Path, bytes: usize) -> Ran {
    let printer = TcpListener::bind("127.0.0.1:0").expect("a port on loopback");
    let link = format!("tcp:{}", printer.local_addr().expect("its address"));
    let took = thread::spawn(move || {
        let (mut stream, _) = printer.accept().expect("a connection");
        stream.read_exact(&mut vec![0; bytes]).expect("so many bytes");
    });
    let ran = run(folder, ["print", "job.toml", "--to", &link]).ended(4);
    took.join().expect("the printer ends");
    ran
}

fn states(folder: &Path, job: &str) -> Vec<(String, String)> {
    let shown = run(folder, ["jobs", job, "--json"]).ended(0).json();
    let labels = shown["labels"].as_array().expect("labels");
    let text = |value: &serde_json::Value| value.as_str().expect("a text").to_owned();
    labels.iter().map(|one| (text(&one["label"]), text(&one["state"]))).collect()
}

fn strips(folder: &Path, stream: &str, into: &str) -> Vec<Pbm> {
    let read = run(folder, ["readback", stream, "--json", "--pbm", into]).ended(0).json();
    let count = read["strips"].as_array().map_or(0, Vec::len);
    (1..=count).map(|nth| Pbm::read(&folder.join(into).join(format!("strip-{nth:04}.pbm")))).collect()
}

#[test]
fn the_same_bits_come_out_whatever_the_job_says_now() {
    let folder = bench();
    let path = folder.path();
    printed(path);
    let first = strips(path, "out.pwg", "first");
    assert_eq!(first.len(), 3, "two labels a strip");
    // The list and the design are of another day.
    std::fs::write(path.join("cables.csv"), LIST.replace("5 m", "7 m")).expect("a file");
    std::fs::write(path.join("job.toml"), JOB.replace("tape-12", "tape-18")).expect("a file");
    let said =
        run(path, ["reprint", "--strip-of", "otter 1041 far", "--to", "file:again.pwg", "--json"]).ended(0).json();
    assert_eq!(said["planned"][0]["labels"], serde_json::json!(["OTTER 1041 near", "OTTER 1041 far"]), "{said}");
    assert!(said["planned"][0]["cost"].as_f64() > Some(0.0), "{said}");
    let again = strips(path, "again.pwg", "again");
    assert_eq!((again.len(), &again[0]), (1, &first[1]), "the strip comes out as it did");
    // One end: the lead, and then the label as it was.
    run(path, ["reprint", "OTTER", "1041", "--end", "near", "--to", "file:one.pwg"]).ended(0);
    let one = strips(path, "one.pwg", "one");
    let same = one[0].rows.iter().zip(&first[1].rows).take_while(|(this, that)| this == that).count();
    assert!(same * 10 > one[0].rows.len() * 9, "the label is the first of its strip: {same} lines of it");
    let batch = run(path, ["reprint", "--batch", "otter", "--dry-run", "--json"]).ended(0).json();
    assert_eq!(batch["planned"][0]["labels"].as_array().map(Vec::len), Some(4), "{batch}");
    let jobs = run(path, ["jobs", "--json"]).ended(0).json();
    assert_eq!(jobs.as_array().map(Vec::len), Some(3), "a dry run is no job: {jobs}");
}

#[test]
fn a_person_says_what_came_out() {
    let folder = bench();
    let path = folder.path();
    let told = broken(path, 3000).err;
    assert!(told.contains("job 1 broke off; `tapewright resume` shows how far it was"), "{told}");
    let before = states(path, "1");
    assert!(before.iter().any(|(_, state)| state == "perhaps printed"), "{before:?}");
    // Asking changes nothing.
    let dry = run(path, ["resume", "--dry-run", "--last-good", "OTTER 1040 far"]).ended(0);
    assert!(dry.text().contains("1-2  seen good              OTTER 1040 near to OTTER 1040 far"), "{}", dry.text());
    assert_eq!(states(path, "1"), before);
    let done = run(path, ["resume", "--last-good", "OTTER 1040 far", "--to", "file:rest.pwg"]).ended(0);
    assert!(!done.err.contains("second time"), "what a person has not seen is not there: {}", done.err);
    assert_eq!(strips(path, "rest.pwg", "rest").len(), 2, "four labels, two a strip as the job had it");
    let state = |nth: usize, job: &str| states(path, job)[nth].1.clone();
    assert_eq!(
        (state(0, "1"), state(2, "1"), state(0, "2")),
        ("seen good".into(), "taken over by a later job".into(), "printed".into())
    );
    let nothing = run(path, ["resume", "--to", "file:x.pwg"]).ended(0);
    assert_eq!(nothing.text(), "nothing to resume: no label of any job is waited for\n");
    let moved = run(path, ["jobs", "1", "--spoilt", "badger 308 near"]).ended(2).err;
    assert!(moved.contains("which a later job has taken over"), "{moved}");
    // One label is spoilt on the bench.
    run(path, ["jobs", "2", "--spoilt", "badger 308 near"]).ended(0);
    let one = run(path, ["resume", "--to", "file:one.pwg", "--json"]).ended(0).json();
    assert_eq!(one["planned"][0]["labels"], serde_json::json!(["BADGER 308 near"]), "{one}");
}

#[test]
fn doubles_are_named() {
    let folder = bench();
    let path = folder.path();
    broken(path, 3000);
    let perhaps: Vec<String> =
        states(path, "1").into_iter().filter(|(_, state)| state == "perhaps printed").map(|(name, _)| name).collect();
    let done = run(path, ["resume", "--to", "file:rest.pwg"]).ended(0);
    assert!(!perhaps.is_empty());
    for name in &perhaps {
        assert!(done.err.contains(name), "{name} may come out twice: {}", done.err);
    }
    // The list printed anew says so, too.
    let again = printed(path);
    assert!(
        again.err.contains("note: printed before: 6 of 6 labels, the first is OTTER 1040 near on"),
        "{}",
        again.err
    );
}

#[test]
fn a_list_printed_anew_takes_over_what_a_job_left() {
    let folder = bench();
    let path = folder.path();
    broken(path, 3000);
    let again = printed(path);
    assert!(again.err.contains("of 6 labels still wait in an earlier job"), "{}", again.err);
    assert!(again.err.contains("look for doubles"), "{}", again.err);
    assert!(run(path, ["resume"]).ended(0).text().starts_with("nothing to resume"));
}

#[test]
fn a_job_is_given_up() {
    let folder = bench();
    let path = folder.path();
    broken(path, 3000);
    run(path, ["jobs", "1", "--write-off"]).ended(0);
    assert!(run(path, ["resume"]).ended(0).text().starts_with("nothing to resume"));
    assert!(states(path, "1").iter().all(|(_, state)| state == "written off"));
}

/// What is printed again comes off the shelf as the first time, and nothing is printed that the shelf
/// has no tape for.
#[test]
fn printing_again_takes_tape_off_the_registers_shelf() {
    let folder = bench();
    let path = folder.path();
    printed(path);
    let left = || {
        let stock = run(path, ["stock", "tape-12", "--json"]).ended(0).json();
        let all = stock["cartridges"].as_array().expect("its cartridges").clone();
        all.iter().find(|one| one["cartridge"] == "tape-12-a").map(|one| one["length_mm"].as_f64().expect("a length"))
    };
    run(path, ["stock", "add", "tape-12", "--length", "3m"]).ended(0);
    run(path, ["stock", "mount", "tape-12-a", "--printer", "bench-180"]).ended(0);
    let before = left().expect("a cartridge");
    let printer = TcpListener::bind("127.0.0.1:0").expect("a port on loopback");
    let link = format!("tcp:{}", printer.local_addr().expect("its address"));
    let took = thread::spawn(move || {
        let (mut stream, _) = printer.accept().expect("a connection");
        stream.read_to_end(&mut Vec::new()).expect("a stream");
    });
    let done = run(path, ["reprint", "--batch", "OTTER", "--to", &link, "--json"]).ended(0).json();
    took.join().expect("the printer ends");
    let fed = done["sent"][0]["feed_mm"].as_f64().expect("what it fed");
    let after = left().expect("a cartridge");
    assert!(fed > 100.0 && (before - after - fed).abs() < 0.5, "{before} mm, then {after} mm; fed {fed} mm");
    // Too little for six labels, and no more of it.
    run(path, ["stock", "set", "tape-12-a", "--length", "20cm"]).ended(0);
    for more in [&["--dry-run"][..], &[]] {
        let ran = run(path, [&["reprint", "--batch", "OTTER", "--to", &link], more].concat()).ended(3);
        assert!(ran.err.contains("the shelf is not enough: tape-12: "), "{}", ran.err);
    }
    assert_eq!(left(), Some(200.0));
}

/// What is due is printed as it was: the one end that somebody has seen torn, and no other.
#[test]
fn what_is_due_is_printed_once_more() {
    let folder = bench();
    let path = folder.path();
    run(path, ["cables", "import", "cables.csv"]).ended(0);
    printed(path);
    let none = run(path, ["reprint", "--due", "--to", "file:again.pwg"]).ended(2).err;
    assert!(none.contains("found no label that is due until "), "{none}");
    run(path, ["cables", "seen", "OTTER", "1041", "near", "--word", "torn"]).ended(0);
    let said = run(path, ["reprint", "--due", "--to", "file:again.pwg", "--json"]).ended(0).json();
    assert_eq!(said["planned"][0]["labels"], serde_json::json!(["OTTER 1041 near"]), "{said}");
    assert_eq!(strips(path, "again.pwg", "again").len(), 1);
}

/// Off a terminal nobody changes cartridges: what is planned must be in the printer.
#[test]
fn a_cartridge_that_is_not_in_the_printer_is_asked_for() {
    let folder = bench();
    let path = folder.path();
    run(path, ["stock", "add", "tape-12", "--length", "3m"]).ended(0);
    let ran = run(path, ["print", "job.toml", "--to", "tcp:127.0.0.1:9"]).ended(3);
    assert!(ran.err.contains("wanted tape-12-a (3.00 m) in bench-180: put it in and say so with"), "{}", ran.err);
    assert!(ran.err.contains("`tapewright stock mount tape-12-a --printer bench-180`"), "{}", ran.err);
    assert_eq!(run(path, ["jobs", "--json"]).ended(0).json(), serde_json::json!([]), "it is no job yet");
}

/// While a job is being printed, nobody else prints what it has.
#[test]
fn a_job_under_way_is_left_alone() {
    let folder = bench();
    let path = folder.path();
    let printer = TcpListener::bind("127.0.0.1:0").expect("a port on loopback");
    let link = format!("tcp:{}", printer.local_addr().expect("its address"));
    // The end of a connection is what the program waits for: until then the job is under way.
    let (began, begins) = std::sync::mpsc::channel();
    let (end, ends) = std::sync::mpsc::channel::<()>();
    let took = thread::spawn(move || {
        let (mut stream, _) = printer.accept().expect("a connection");
        stream.read_exact(&mut [0; 100]).expect("the stream begins");
        began.send(()).expect("someone waits");
        ends.recv().expect("a word to end");
        stream.read_to_end(&mut Vec::new()).expect("a stream");
    });
    let mut child =
        crate::program::command(path).args(["print", "job.toml", "--to", &link]).spawn().expect("it starts");
    begins.recv().expect("it begins");
    for arguments in [&["resume", "--to", "file:x.pwg"][..], &["resume", "1", "--to", "file:x.pwg"]] {
        let ran = run(path, arguments).ended(2);
        assert!(ran.err.contains("found job 1 being printed by another program now"), "{}", ran.err);
    }
    let ran = run(path, ["print", "job.toml", "--to", "file:y.pwg", "--take"]).ended(2);
    assert!(ran.err.contains("found job 1 being printed by another program now"), "{}", ran.err);
    end.send(()).expect("the printer waits");
    took.join().expect("the printer ends");
    assert!(child.wait().expect("it ends").success());
    assert!(run(path, ["resume"]).ended(0).text().starts_with("nothing to resume"));
    let hidden = std::fs::read_dir(path.join("data"))
        .expect("a folder")
        .filter(|entry| entry.as_ref().is_ok_and(|entry| entry.file_name().to_string_lossy().contains("job-")));
    assert_eq!(hidden.count(), 0, "nothing is left lying about");
}

#[test]
fn what_cannot_be_says_why() {
    let folder = bench();
    let path = folder.path();
    let none = run(path, ["resume"]).ended(2).err;
    assert!(none.contains("found no register, wanted one"), "{none}");
    printed(path);
    for (arguments, wanted) in [
        (&["reprint", "OTTER", "9"][..], "found no label of `OTTER 9` in the journal"),
        (&["reprint", "OTTER", "1040", "--end", "left"], "--end: found `left`, wanted near or far"),
        (&["reprint", "--batch", "HERON"], "found no batch `HERON` in the journal"),
        (
            &["reprint", "OTTER", "1040", "--printer", "wide-300"],
            "wanted 180 dpi by 180 dpi: the bits of these labels were made for that",
        ),
        (
            &["reprint", "OTTER", "1040", "--only", "tape-9"],
            "--only: found `tape-9`, wanted a stock of these labels: tape-12",
        ),
        (&["resume", "7"], "found no job 7"),
        (&["jobs", "1", "--last-good", "OTTER 1041"], "did you mean `OTTER 1041 near`?"),
    ] {
        let ran = run(path, arguments).ended(2);
        assert!(ran.err.contains(wanted), "{}: {}", ran.what, ran.err);
    }
}

/// A file takes nothing and is not written down, unless a person says that it will be printed.
#[test]
fn a_file_is_only_kept_where_asked() {
    let folder = bench();
    let path = folder.path();
    run(path, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    assert!(!path.join("data").exists(), "nobody asked for a register");
    run(path, ["print", "job.toml", "--to", "file:out.pwg", "--register", "ours.db"]).ended(0);
    let jobs = run(path, ["jobs", "--register", "ours.db", "--json"]).ended(0).json();
    assert_eq!((jobs[0]["labels"].as_u64(), jobs[0]["state"].as_str()), (Some(6), Some("all printed")), "{jobs}");
}

#[test]
fn a_job_has_a_work_sheet() {
    let folder = bench();
    let path = folder.path();
    printed(path);
    run(path, ["jobs", "1", "--sheet", "sheet.pdf", "--paper", "letter"]).ended(0);
    let pdf = std::fs::read(path.join("sheet.pdf")).expect("the sheet");
    assert!(pdf.starts_with(b"%PDF") && pdf.len() > 5000, "{} bytes", pdf.len());
}
