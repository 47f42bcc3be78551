//! `tapewright print` to devices: a network port, an emulated USB printer behind the real libusb, a
//! printer and a print server of other people's making. What arrives is what a file would hold.

use crate::program::{self, Ran, folder, needs_modules};
use crate::rig::{Roll, Server};
use std::fs;
use std::io::Read;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// A folder with a list of ten cables, and the stream a file gets.
fn bench() -> (TempDir, Vec<u8>) {
    needs_modules();
    let folder = folder();
    let mut list = String::from("owner,batch,number,length,od_mm\n");
    for number in 1040..1050 {
        list.push_str(&format!("TWP,OTTER,{number},5 m,6.2\n"));
    }
    fs::write(folder.path().join("cables.csv"), list).expect("a file can be written");
    program::run(folder.path(), ["print", "cables.csv", "--to", "file:wanted.pwg"]).ended(0);
    let wanted = fs::read(folder.path().join("wanted.pwg")).expect("the stream");
    assert!(wanted.len() > 50_000, "a stream of {} bytes, wanted one of several chunks", wanted.len());
    (folder, wanted)
}

/// Runs a command with an emulated printer plugged in; what the printer took is in `taken`.
fn with_printer(folder: &Path, options: &[&str], command: &[&str]) -> Ran {
    let emulator = program::path().with_file_name("usb-printer");
    assert!(emulator.is_file(), "found no {}: run `cargo build --workspace` first", emulator.display());
    let mut run = Command::new(emulator);
    program::apart(&mut run, folder);
    run.args(["--out", "taken"]).args(options).arg("--").args(command);
    let output = run.output().expect("the emulator starts");
    let ran = Ran::new(&run, output);
    assert_ne!(ran.code, Some(125), "the emulated printer did not come up: {}", ran.err);
    ran
}

fn print_to_usb(folder: &Path, options: &[&str]) -> Ran {
    let program = program::path().to_string_lossy().into_owned();
    with_printer(folder, options, &[&program, "print", "cables.csv", "--to", "usb:"])
}

fn taken(folder: &Path) -> Vec<u8> {
    fs::read(folder.join("taken")).expect("what the printer took")
}

/// Labels of the strips that are whole in the first `taken` bytes of a stream.
fn whole_labels(folder: &Path, taken: usize, stream: &[u8]) -> usize {
    let read = program::run(folder, ["readback", "wanted.pwg", "--json"]).ended(0).json();
    let strips = read["strips"].as_array().expect("strips");
    // A half cut before each label.
    let labels: Vec<usize> = strips.iter().map(|strip| strip["half_cuts_mm"].as_array().expect("cuts").len()).collect();
    assert_eq!(labels.iter().sum::<usize>(), 20, "two labels a cable");
    // A strip is a page, and a page begins with this word (PWG 5102.4-2012, from memory).
    let word = b"PwgRaster\0";
    let begins = (1..stream.len() - word.len()).filter(|&at| stream[at..].starts_with(word));
    let ends: Vec<usize> = begins.skip(1).chain([stream.len()]).collect();
    assert_eq!(ends.len(), labels.len(), "a page a strip");
    ends.iter().zip(&labels).filter(|(end, _)| **end <= taken).map(|(_, labels)| labels).sum()
}

#[test]
fn a_network_port_gets_the_stream() {
    let (folder, wanted) = bench();
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let to = format!("tcp:127.0.0.1:{}", listener.local_addr().expect("an address").port());
    let printer = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        listener.accept().and_then(|(mut stream, _)| stream.read_to_end(&mut bytes)).map(|_| bytes)
    });
    program::run(folder.path(), ["print", "cables.csv", "--to", &to]).ended(0);
    assert!(printer.join().expect("the printer").expect("a connection") == wanted);
    // Nobody listens any more.
    let ran = program::run(folder.path(), ["print", "cables.csv", "--to", &to]).ended(4);
    assert!(ran.err.contains("cannot be reached"), "{}", ran.err);
}

#[test]
fn a_usb_printer_gets_the_stream_whatever_the_bus_does() {
    let (folder, wanted) = bench();
    for options in [
        &[][..],
        &["--unidirectional"],
        &["--fault", "stall@20000"],
        &["--fault", "short@3001", "--fault", "short@40000"],
        &["--two-settings"],
    ] {
        print_to_usb(folder.path(), options).ended(0);
        assert!(taken(folder.path()) == wanted, "{options:?}: other bytes");
    }
}

#[test]
fn a_usb_printer_that_is_unplugged_ends_as_exit_code_4_and_says_what_left() {
    let (folder, wanted) = bench();
    for at in [0, 1, 2000, 20_000, wanted.len() / 2, wanted.len() - 1] {
        for how in ["unplug", "vanish"] {
            let fault = format!("{how}@{at}");
            let ran = print_to_usb(folder.path(), &["--fault", &fault]).ended(4);
            assert!(ran.err.contains("the printer is gone"), "{fault}: {}", ran.err);
            let took = taken(folder.path());
            assert!(wanted.starts_with(&took), "{fault}: what the printer took is no part of the stream");
            let said = match ran.err.split_once("labels 1 to ") {
                Some((_, rest)) => rest.split(' ').next().and_then(|n| n.parse().ok()).expect("a number"),
                None => {
                    assert!(ran.err.contains("no label was sent whole"), "{fault}: {}", ran.err);
                    0
                }
            };
            let whole = whole_labels(folder.path(), took.len(), &wanted);
            // What vanished is not known to have arrived; short of that, all that is whole is told.
            assert!(how == "vanish" || at + 1 == wanted.len() || said == whole, "{fault}: {}", ran.err);
            assert!(said <= whole, "{fault}: it says {said} labels left, the printer has {whole}: {}", ran.err);
        }
    }
}

#[test]
fn after_a_job_that_broke_off_the_next_one_is_whole() {
    let (folder, wanted) = bench();
    let program = program::path().to_string_lossy().into_owned();
    // The printer halts for good in the middle of a page, is told to forget it, and prints again.
    let shell = format!(
        "'{program}' print cables.csv --to usb: --link-patience 1; echo first $? >said;
         python3 resume.py && '{program}' print cables.csv --to usb:"
    );
    let script = "
import os, socket
link = socket.socket(socket.AF_UNIX)
link.connect(os.environ['USB_PRINTER_CONTROL'])
lines = link.makefile('rw')
for word in ('resets', 'resume', 'taken'):
    lines.write(word + '\\n')
    lines.flush()
    print(word, lines.readline().strip(), file=open('said', 'a'))
";
    fs::write(folder.path().join("resume.py"), script).expect("a file can be written");
    with_printer(folder.path(), &["--fault", "hang@30000"], &["sh", "-c", &shell]).ended(0);
    let said = fs::read_to_string(folder.path().join("said")).expect("what was said");
    assert!(said.contains("first 4") && said.contains("resets 1"), "{said}");
    assert!(taken(folder.path()).ends_with(&wanted), "the second job is not whole");
}

#[test]
fn a_usb_printer_without_tape_is_waited_for() {
    let (folder, wanted) = bench();
    // Loads tape when the program has asked for it.
    let script = "
import os, socket, sys
link = socket.socket(socket.AF_UNIX)
link.connect(os.environ['USB_PRINTER_CONTROL'])
lines = link.makefile('rw')
while 'out of tape' not in open('said').read():
    os.kill(int(sys.argv[1]), 0)
lines.write('resume\\n')
lines.flush()
lines.readline()
";
    fs::write(folder.path().join("load.py"), script).expect("a file can be written");
    let program = program::path().to_string_lossy().into_owned();
    let shell = format!(
        "'{program}' print cables.csv --to usb: --link-patience 1 2>said & job=$!; python3 load.py $job || exit 99; wait $job"
    );
    let ran = with_printer(folder.path(), &["--fault", "paper@30000"], &["sh", "-c", &shell]);
    let said = fs::read_to_string(folder.path().join("said")).expect("what it said");
    assert_eq!(ran.code, Some(0), "{said}; this test needs python3 (Debian package python3): {}", ran.err);
    assert!(taken(folder.path()) == wanted, "other bytes");
    assert!(said.contains("the printer is out of tape: load some, the job goes on"), "{said}");
}

#[test]
fn printers_that_cannot_be_used_are_told_apart() {
    let (folder, _) = bench();
    for (options, words, code) in
        [(&["--no-usb"][..], "USB", 4), (&["--forbidden"], "udev", 4), (&["--printers", "2"], "1-2", 2)]
    {
        let ran = print_to_usb(folder.path(), options).ended(code);
        assert!(ran.err.contains(words), "{options:?}: {}", ran.err);
    }
    let program = program::path().to_string_lossy().into_owned();
    let second: [&str; 5] = [&program, "print", "cables.csv", "--to", "usb:1-2"];
    with_printer(folder.path(), &["--printers", "2"], &second).ended(0);
}

#[test]
fn what_is_attached_is_found_with_its_driver_and_how_to_reach_it() {
    let (folder, _) = bench();
    let program = program::path().to_string_lossy().into_owned();
    let find = |options: &[&str]| with_printer(folder.path(), options, &[&program, "printers", "--attached", "--json"]);
    let found = find(&["--id", "MFG:Playhouse;MDL:Roll;CMD:ABC,PWGRaster;"]).ended(0).json();
    assert_eq!(found[0]["link"], "usb:1209:0001:TWP0001");
    assert_eq!(found[0]["families"], serde_json::json!(["pwg"]));
    let rule = found[0]["udev_rule"].as_str().expect("a rule");
    assert!(rule.contains("ATTR{idVendor}==\"1209\"") && rule.contains("uaccess"), "{rule}");
    let found = find(&["--id", "MFG:Playhouse;MDL:Roll;CMD:XYZ;"]).ended(0).json();
    assert_eq!(found[0]["families"], serde_json::json!([]));
    let found = find(&["--forbidden"]).ended(0).json();
    assert!(found[0]["trouble"].as_str().is_some_and(|text| text.contains("udev")), "{found}");

    let roll = Roll::start();
    let ran = program::run(folder.path(), ["printers", "--ask", &roll.uri()]).ended(0);
    assert!(ran.text().contains("[[printer]]") && ran.text().contains("driver = \"pwg\""), "{}", ran.text());
}

#[test]
fn a_printer_of_the_network_and_a_print_server_get_the_stream() {
    let (folder, wanted) = bench();
    let roll = Roll::start();
    let ran = program::run(folder.path(), ["print", "cables.csv", "--to", &roll.uri()]).ended(0);
    assert!(ran.err.contains("completed"), "{}", ran.err);
    let server = Server::start();
    let queue = server.queue("roll", &roll.uri());
    program::run(folder.path(), ["print", "cables.csv", "--to", &queue]).ended(0);
    let received = roll.received();
    assert_eq!(received.len(), 2, "one job direct, one through the server");
    for (document, settings) in &received {
        assert!(*document == wanted, "other bytes");
        assert!(settings.contains("x-dimension=1200"), "{settings}");
    }
}

#[test]
fn several_stocks_do_not_go_to_one_printer_at_once() {
    needs_modules();
    let folder = folder();
    program::run(folder.path(), ["demo", "--out", "demo"]).ended(0);
    let job: PathBuf = folder.path().join("demo/job.toml");
    let ran = program::run(folder.path(), ["print", &job.to_string_lossy(), "--to", "usb:"]).ended(2);
    assert!(ran.err.contains("tape-12, wrap-24, sleeve-3/8") && ran.err.contains("--only"), "{}", ran.err);
}
