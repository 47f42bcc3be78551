//! A driver module that crashes, hangs or talks nonsense takes nothing with it, and the program says
//! which labels left.

use crate::program::{Ran, command, files, folder, needs_modules};
use crate::python;
use std::io::Read;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::thread;
use tempfile::TempDir;

const LIST: &str = "owner,batch,number,length,od_mm\n\
    TWP,OTTER,1040,5 m,6.2\nTWP,OTTER,1041,5 m,6.2\nTWP,OTTER,1042,10 m,6.2\nTWP,OTTER,1043,10 m,6.2\n";

/// Labels of the list, both ends.
const LABELS: usize = 8;

/// The module, compiled once.
fn module() -> &'static Path {
    static MODULE: OnceLock<PathBuf> = OnceLock::new();
    MODULE.get_or_init(|| {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
        let name = format!("{}trouble{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
        let library = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let compiled = Command::new("cc")
            .args(["-std=gnu11", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-I"])
            .arg(root.join("drivers/abi"))
            .arg("-o")
            .arg(&library)
            .arg(root.join("tests/modules/trouble.c"))
            .output()
            .expect("this test needs a C compiler named cc: install gcc");
        assert!(compiled.status.success(), "cc: {}", String::from_utf8_lossy(&compiled.stderr));
        library
    })
}

/// A folder with the list and settings in which the module does `harm` at call `at`. Strips of two
/// labels, so that some are whole when the harm comes.
fn bench(harm: &str, at: u32) -> TempDir {
    let folder = folder();
    let drivers = folder.path().join("settings/drivers");
    std::fs::create_dir_all(&drivers).expect("a folder");
    let name = module().file_name().expect("a name").to_string_lossy().replace("trouble", "tapewright_driver_trouble");
    std::fs::copy(module(), drivers.join(name)).expect("a copy");
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("a file");
    write("cables.csv", LIST);
    write(
        "settings/printers.toml",
        &format!(
            "[[printer]]\nid = 'harmful'\ntitle = 'harmful'\ndpi_across = 180\ndpi_along = 180\nhead_dots = 128\n\
             widest_mm = 24\nlead_mm = 25\ngap_mm = 3\ntrail_mm = 1.5\nmin_piece_mm = 25\nmax_strip_mm = 1000\n\
             max_labels = 2\ncutter = 'half+full'\nload_mm = 25\nmin_remnant_mm = 150\nspeed_mm_s = 20\ncut_s = 0.5\n\
             swap_s = 30\ndriver = 'trouble'\n[printer.options]\nharm = '{harm}'\nat = '{at}'\n"
        ),
    );
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = command(folder);
    command.env("TAPEWRIGHT_CONFIG", folder.join("settings")).args(arguments);
    let output = command.output().expect("the program starts");
    Ran::new(&command, output)
}

fn print(folder: &Path, to: &str, more: &[&str]) -> Ran {
    let fixed = ["print", "cables.csv", "--printer", "harmful", "--to", to];
    run(folder, &[&fixed[..], more].concat())
}

/// Prints to a socket: the run, and what arrived.
fn print_to_socket(folder: &Path, more: &[&str]) -> (Ran, Vec<u8>) {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let to = format!("tcp:127.0.0.1:{}", listener.local_addr().expect("an address").port());
    let printer = thread::spawn(move || {
        let mut got = Vec::new();
        let (mut stream, _) = listener.accept().expect("a connection");
        // The program may end with the connection open: then what came is all there is.
        let _ = stream.read_to_end(&mut got);
        got
    });
    let ran = print(folder, &to, more);
    (ran, printer.join().expect("the printer's thread"))
}

/// Labels of strips that arrived whole.
fn arrived(stream: &[u8]) -> usize {
    let text = String::from_utf8_lossy(stream);
    text.lines().filter_map(|line| line.strip_prefix("end ")?.parse::<usize>().ok()).sum()
}

/// How many labels the program says were sent whole.
fn said(err: &str) -> usize {
    let from = |words: &str| err.split_once(words).map(|(_, rest)| rest.chars().take_while(char::is_ascii_digit));
    if err.contains("no label was handed over whole") {
        return 0;
    }
    let digits = from("labels 1 to ").unwrap_or_else(|| panic!("it does not say which labels were sent: {err}"));
    digits.collect::<String>().parse().unwrap_or_else(|_| panic!("no number of labels: {err}"))
}

/// Calls that a job of the list makes; the harm comes at each of them.
fn calls() -> u32 {
    let folder = bench("none", 0);
    let (ran, stream) = print_to_socket(folder.path(), &[]);
    let ran = ran.ended(0);
    assert_eq!(arrived(&stream), LABELS, "{}", ran.err);
    // begin_job and end_job; a strip of two flags is begin, lead, label, gap, label, trail, end.
    let strips = u32::try_from(LABELS / 2).expect("few");
    2 + strips * 7
}

#[test]
fn a_crash_at_any_call_ends_as_exit_code_5_and_says_what_left() {
    let calls = calls();
    let mut seen = Vec::new();
    for at in 1..=calls {
        let harm = ["segv", "kill", "abort", "exit"][at as usize % 4];
        let folder = bench(harm, at);
        let (ran, stream) = print_to_socket(folder.path(), &[]);
        let ran = ran.ended(5);
        let how = match harm {
            "segv" => "signal 11 (segmentation fault)",
            "kill" => "signal 9 (kill)",
            "abort" => "signal 6 (abort)",
            _ => "by itself with code 3",
        };
        assert!(ran.err.contains("driver module trouble died: its process"), "{harm} at {at}: {}", ran.err);
        assert!(ran.err.contains(how), "{harm} at {at}: {}", ran.err);
        // Sent means taken by the link: never more than arrived, and all of it but what the
        // process had already put out and died before it could say so.
        let (said, arrived) = (said(&ran.err), arrived(&stream));
        assert_eq!(said, arrived, "{harm} at {at}: {}", ran.err);
        seen.push(said);
    }
    seen.dedup();
    assert_eq!(seen, [0, 2, 4, 6, 8], "every place in the job was reached");
}

#[test]
fn a_module_that_hangs_is_stopped() {
    for at in [1, 12] {
        let folder = bench("loop", at);
        let (ran, stream) = print_to_socket(folder.path(), &["--patience", "1"]);
        let ran = ran.ended(5);
        assert!(ran.err.contains("trouble died: it did not answer within 1 s and was stopped"), "{}", ran.err);
        assert_eq!(said(&ran.err), arrived(&stream), "{}", ran.err);
    }
}

#[test]
fn a_module_that_is_slow_but_works_is_not_stopped() {
    // To a file, all steps go to the module at once: together they take longer than one may.
    let folder = bench("slow", 0);
    print(folder.path(), "file:out.bin", &["--patience", "2"]).ended(0);
    let stream = std::fs::read(folder.path().join("out.bin")).expect("a stream");
    assert_eq!(arrived(&stream), LABELS);
}

#[test]
fn a_module_that_closes_its_way_out_and_goes_on_is_stopped() {
    let folder = bench("close", 4);
    let (ran, _) = print_to_socket(folder.path(), &["--patience", "1"]);
    let ran = ran.ended(5);
    assert!(ran.err.contains("trouble died: it did not answer within 1 s and was stopped"), "{}", ran.err);
}

#[test]
fn a_module_that_asks_for_ever_comes_to_an_end() {
    let folder = bench("ask", 6);
    let ran = print(folder.path(), "file:out.bin", &[]).ended(5);
    assert!(ran.err.contains("broke the contract: one step led to 20001 actions"), "{}", ran.err);
    // The link breaks while it asks: the link's error is what ends the job.
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let to = format!("tcp:127.0.0.1:{}", listener.local_addr().expect("an address").port());
    let printer = thread::spawn(move || drop(listener.accept().expect("a connection")));
    let ran = print(folder.path(), &to, &[]);
    printer.join().expect("the printer's thread");
    assert!(matches!(ran.code, Some(4 | 5)), "{:?}: {}", ran.code, ran.err);
}

#[test]
fn a_module_that_prints_breaks_the_contract() {
    let folder = bench("print", 10);
    let (ran, _) = print_to_socket(folder.path(), &[]);
    let ran = ran.ended(5);
    assert!(ran.err.contains("trouble broke the contract: it wrote `hello fr` to standard output"), "{}", ran.err);
}

#[test]
fn a_forged_answer_reaches_no_memory() {
    let folder = bench("forge", 10);
    let (ran, stream) = print_to_socket(folder.path(), &[]);
    let ran = ran.ended(5);
    assert!(ran.err.contains("trouble broke the contract: its process answered `stored"), "{}", ran.err);
    assert_eq!(said(&ran.err), arrived(&stream), "{}", ran.err);
}

/// The program and the module see the same head lines; only the program may write them.
#[cfg(target_os = "linux")]
#[test]
fn a_module_that_writes_to_the_lines_it_is_handed_is_ended() {
    let folder = bench("scribble", 10);
    let (ran, stream) = print_to_socket(folder.path(), &[]);
    let ran = ran.ended(5);
    assert!(ran.err.contains("trouble died: its process was ended by signal 11"), "{}", ran.err);
    assert_eq!(said(&ran.err), arrived(&stream), "{}", ran.err);
}

#[test]
fn a_file_is_not_left_half_written() {
    let folder = bench("segv", 15);
    let before = files(folder.path());
    let ran = print(folder.path(), "file:out.bin", &[]).ended(5);
    assert!(ran.err.contains("tape-12 to file:out.bin"), "{}", ran.err);
    assert_eq!(files(folder.path()), before, "nothing is left");
}

#[test]
fn a_module_that_cannot_be_looked_at_is_refused_and_the_others_work() {
    let folder = bench("none", 0);
    let mut command = command(folder.path());
    command.env("TAPEWRIGHT_CONFIG", folder.path().join("settings")).env("TROUBLE_AT_LOAD", "1").args(["drivers"]);
    let output = command.output().expect("the program starts");
    let ran = Ran::new(&command, output).ended(0);
    assert!(ran.err.contains("refused: driver module trouble died: its process was ended by signal 11"), "{}", ran.err);
    assert!(ran.text().contains("PWG Raster"), "{}", ran.text());
}

/// Two processes, with and without memory that both see, and one: the stream is the same.
#[test]
fn inside_the_process_the_stream_is_the_same() {
    let folder = bench("none", 0);
    // More than waits at once on any way between two processes.
    let mut list = String::from("owner,batch,number,length,od_mm\n");
    list.extend((1000..1250).map(|number| format!("TWP,OTTER,{number},5 m,6.2\n")));
    std::fs::write(folder.path().join("cables.csv"), list).expect("a file");
    print(folder.path(), "file:inside.bin", &["--in-process"]).ended(0);
    let inside = std::fs::read(folder.path().join("inside.bin")).expect("a stream");
    assert!(inside.len() > 4_000_000, "a stream with labels in it");
    print(folder.path(), "file:apart.bin", &[]).ended(0);
    let read = |name: &str| std::fs::read(folder.path().join(name)).expect("a stream");
    assert!(read("apart.bin") == inside, "two streams of one job differ");

    if cfg!(target_os = "linux") {
        let settings = format!("TAPEWRIGHT_CONFIG={}", folder.path().join("settings").display());
        let (at, program) = (folder.path().display().to_string(), crate::program::path().display().to_string());
        let job = ["print", "cables.csv", "--printer", "harmful", "--to", "file:pipes.bin"];
        let words = ["env", "-C", &at, &settings, &program].into_iter().chain(job);
        python::check("no_memory_files.py", words);
        assert!(read("pipes.bin") == inside, "two streams of one job differ");
    }
}

#[test]
fn the_validator_passes_a_good_module_and_finds_what_a_bad_one_does() {
    needs_modules();
    let folder = bench("none", 0);
    let beside = crate::program::path().parent().expect("a folder");
    let name = |middle: &str| {
        format!("{}tapewright_driver_{middle}{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX)
    };
    let good = beside.join(name("pwg"));
    let ran = run(folder.path(), &["drivers", "check", &good.to_string_lossy()]).ended(0);
    assert!(ran.text().contains("memory over a long strip") && !ran.text().contains("FAILED"), "{}", ran.text());

    let bad = folder.path().join("settings/drivers").join(name("trouble"));
    let ran = run(folder.path(), &["drivers", "check", &bad.to_string_lossy(), "--json"]).ended(5);
    let checks = ran.json();
    let failed: Vec<&str> = checks
        .as_array()
        .expect("a list")
        .iter()
        .filter(|check| check["result"] == "FAILED")
        .filter_map(|check| check["text"].as_str())
        .collect();
    let all = failed.join("\n");
    for wanted in ["begin_strip outside a job returned 0, wanted 2", "end_strip before its lines returned 0, wanted 2"]
    {
        assert!(all.contains(wanted), "found {all}, wanted `{wanted}`");
    }

    let missing = run(folder.path(), &["drivers", "check", "nothing.so"]).ended(2);
    assert!(missing.err.contains("found no file and no family `nothing.so`"), "{}", missing.err);
}
