//! A print is killed at every write to disk and link, or the disk fails there; then it is resumed. No label
//! is lost, and none comes out twice without being named.
//!
//! `tests/crash/fuse.c` does the killing, from outside the program: SIGKILL before a call, or after half of
//! its bytes. The printer is a socket that keeps what it is sent; what left is read back from that.

use crate::program::{Ran, command, folder, needs_modules, path};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::rc::Rc;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use tapewright::bitmap::Bitmap;
use tapewright::error::Result;
use tapewright::journal::{Fate, What};
use tapewright::media::Catalogue;
use tapewright::register::{Printing, Register};
use tapewright::run::{
    Batch, Lines, Rows as Labelled, StripRead, Watch, module_for, modules, open, print, read_back, recognise,
};
use tapewright::settings::{Flags, Known, load_job};
use tapewright::transport::{Delivery, Recorder};
use tapewright::unit::Dots;
use tapewright_host::Place;

/// Each label of this list is unlike the others from its first letters on.
const LIST: &str = "owner,batch,number,od_mm\n\
    TWP,OTTER,1040,6.2\nTWP,BADGER,308,6.2\nTWP,HERON,77,6.2\nTWP,MAPLE,512,6.2\nTWP,WALNUT,9,6.2\n";

/// Labels of the list, both ends.
const LABELS: usize = 10;

const JOB: &str = "list = 'cables.csv'\nprinter = 'bench-180'\nstock = 'tape-12'\nbuild = 'flag'\n\
    text_near = ['{batch}', 'near {number}']\ntext_far = ['far {number}', '{batch}']\n[plan]\nlabels_a_strip = 2\n";

/// Rows of a label that tell it from the others.
const TELLING: usize = 60;

/// The fuse, compiled once.
fn fuse() -> &'static Path {
    static FUSE: OnceLock<PathBuf> = OnceLock::new();
    FUSE.get_or_init(|| {
        let library = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuse.so");
        let compiled = Command::new("cc")
            .args(["-O1", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o"])
            .arg(&library)
            .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/crash/fuse.c"))
            .arg("-ldl")
            .output()
            .expect("this test needs a C compiler named cc: install gcc");
        assert!(compiled.status.success(), "cc: {}", String::from_utf8_lossy(&compiled.stderr));
        library
    })
}

/// What the fuse does to a run.
#[derive(Clone, Copy, Debug)]
enum Harm {
    None,
    Kill(usize),
    Tear(usize),
    Full(usize),
    Fail(usize),
}

/// A bench: a folder with the job and its register.
struct Bench<'b> {
    folder: &'b Path,
}

impl<'b> Bench<'b> {
    fn new(folder: &'b Path) -> Self {
        std::fs::write(folder.join("cables.csv"), LIST).expect("a file");
        std::fs::write(folder.join("job.toml"), JOB).expect("a file");
        Self { folder }
    }

    fn register(&self) -> PathBuf {
        self.folder.join("data/register.db")
    }

    /// Runs the program with a fuse; what it says, and how many calls it made.
    fn run(&self, arguments: &[&str], harm: Harm) -> (Ran, usize) {
        let mut command = command(self.folder);
        let count = self.folder.join("calls");
        let _ = std::fs::remove_file(&count);
        command.args(arguments).arg("--in-process").env("LD_PRELOAD", fuse()).env("FUSE_COUNT", &count);
        let (word, at) = match harm {
            Harm::None => ("nothing", 0),
            Harm::Kill(at) => ("kill", at),
            Harm::Tear(at) => ("tear", at),
            Harm::Full(at) => ("full", at),
            Harm::Fail(at) => ("fail", at),
        };
        if at > 0 {
            command.env("FUSE_HOW", word).env("FUSE_AT", at.to_string());
        }
        let output = command.output().expect("the program starts");
        let calls = std::fs::read_to_string(&count).ok().and_then(|text| text.trim().parse().ok()).unwrap_or(0);
        (Ran::new(&command, output), calls)
    }

    /// Runs the program against a printer of its own; also what that was sent.
    fn print(&self, arguments: &[&str], harm: Harm) -> (Ran, usize, Vec<u8>) {
        let printer = TcpListener::bind("127.0.0.1:0").expect("a port on loopback");
        let address = printer.local_addr().expect("its address");
        let link = format!("tcp:127.0.0.1:{}", address.port());
        let took = thread::spawn(move || {
            let mut bytes = Vec::new();
            // A program that ends before it connects is followed by a connection that says nothing.
            let (mut stream, _) = printer.accept().expect("a connection");
            let _ = stream.read_to_end(&mut bytes);
            bytes
        });
        let words: Vec<&str> = arguments.iter().copied().chain(["--to", &link]).collect();
        let (ran, calls) = self.run(&words, harm);
        drop(std::net::TcpStream::connect(address));
        (ran, calls, took.join().expect("the printer ends"))
    }

    fn open(&self) -> Register {
        Register::existing(&self.register(), |_| ()).unwrap_or_else(|error| panic!("{error}"))
    }
}

/// Dots of the stock under the head, and where the first of them and of its zone lie.
fn web() -> (usize, usize) {
    let catalogue = Catalogue::shipped();
    let (printer, stock) =
        (catalogue.printer("bench-180").expect("shipped"), catalogue.stock("tape-12").expect("shipped"));
    let (zone, _) = printer.zone(stock).expect("under the head");
    let few = |dots: Dots| usize::try_from(dots.0).expect("few");
    (few(printer.across.dots_nearest(stock.width)), few(zone - printer.stock_edge(stock)))
}

/// Lines of a stream over the width of the stock, as far as it goes.
#[derive(Default)]
struct Rows(Vec<Vec<u8>>);

impl Lines for Rows {
    fn begin(&mut self, _: usize, dots: u32, _: Option<u32>) -> Result<()> {
        assert_eq!(dots as usize, web().0, "a page is as wide as the stock");
        Ok(())
    }

    fn rows(&mut self, rows: &[u8]) -> Result<()> {
        let width = web().0.div_ceil(8);
        self.0.extend(rows.chunks(width).map(<[u8]>::to_vec));
        Ok(())
    }

    fn end(&mut self, _: &StripRead) -> Result<()> {
        Ok(())
    }
}

/// The rows a printer got.
fn rows(stream: &[u8]) -> Vec<Vec<u8>> {
    let mut rows = Rows::default();
    if stream.is_empty() {
        return rows.0;
    }
    let beside = path().parent().expect("the program lies in a folder").to_owned();
    let (found, _) = modules(&[beside], &Place::Here);
    if let Ok(mut decoder) = recognise(&found, stream, Some("pwg")) {
        // A stream that breaks off ends in an error; what came before it was printed.
        let _ = read_back(&mut decoder, &mut std::io::empty(), stream, &mut rows);
    }
    rows.0
}

/// How much of a label came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Out {
    Nothing,
    Part,
    Whole,
}

/// A label's own rows, blank ones at its ends left away.
fn own_rows(bits: &Bitmap) -> Vec<Vec<u8>> {
    let (dots, from) = web();
    let mut rows = Vec::new();
    bits.append_head_lines(dots, from, &mut rows);
    let rows: Vec<Vec<u8>> = rows.chunks(dots.div_ceil(8)).map(<[u8]>::to_vec).collect();
    let inked = |row: &Vec<u8>| row.iter().any(|&byte| byte != 0);
    let (first, last) = (rows.iter().position(inked).expect("ink"), rows.iter().rposition(inked).expect("ink"));
    rows[first..=last].to_vec()
}

fn out(label: &[Vec<u8>], stream: &[Vec<u8>]) -> Out {
    let holds = |rows: &[Vec<u8>]| stream.windows(rows.len()).any(|window| window == rows);
    match (holds(label), holds(&label[..TELLING])) {
        (true, _) => Out::Whole,
        (_, true) => Out::Part,
        _ => Out::Nothing,
    }
}

/// A job of the journal: its labels, what became of them, and how much of each came out of a stream.
struct Told {
    labels: Vec<Printing>,
    fates: Vec<Fate>,
    out: Vec<Out>,
}

fn told(register: &Register, job: i64, stream: &[u8]) -> Told {
    let labels = register.labels(job).unwrap_or_else(|error| panic!("{error}"));
    let fates = register.fates(job, labels.len()).unwrap_or_else(|error| panic!("{error}"));
    let stream = rows(stream);
    let bits = |one: &Printing| register.bits(one).unwrap_or_else(|error| panic!("{error}")).bitmap();
    let out = labels.iter().map(|one| out(&own_rows(&bits(one)), &stream)).collect();
    Told { labels, fates, out }
}

/// What the journal says of a job must be so. `moved` are labels a later job has.
#[track_caller]
fn honest(told: &Told, what: &str) {
    for ((one, fate), out) in told.labels.iter().zip(&told.fates).zip(&told.out) {
        let name = one.label.name();
        match fate {
            Fate::Left | Fate::Good => assert_eq!(*out, Out::Whole, "{what}: {name} is said to have left"),
            Fate::Never => assert_eq!(*out, Out::Nothing, "{what}: {name} is said not to have left"),
            _ => {}
        }
    }
}

/// Every label came out whole somewhere; one that came out in two streams was named before.
#[track_caller]
fn nothing_lost(jobs: &[Told], said: &str, what: &str) {
    let whole: BTreeSet<String> = jobs
        .iter()
        .flat_map(|job| job.labels.iter().zip(&job.out))
        .filter(|(_, out)| **out == Out::Whole)
        .map(|(one, _)| one.label.name())
        .collect();
    assert_eq!(whole.len(), LABELS, "{what}: only these came out: {whole:?}");
    for (nth, later) in jobs.iter().enumerate().skip(1) {
        for (one, _) in later.labels.iter().zip(&later.out).filter(|(_, out)| **out != Out::Nothing) {
            let name = one.label.name();
            let earlier = jobs[..nth].iter().flat_map(|job| job.labels.iter().zip(&job.out));
            let twice = earlier.filter(|(other, out)| other.label.name() == name && **out != Out::Nothing).count() > 0;
            if twice {
                assert!(one.perhaps_twice, "{what}: {name} came out twice and the journal does not say so");
                assert!(said.contains(&name), "{what}: {name} came out twice and nobody was told: {said}");
            }
        }
    }
}

/// Does `work` for every number up to `most`, on both processors.
fn for_each(most: usize, work: impl Fn(usize) + Sync) {
    let next = AtomicUsize::new(1);
    thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let nth = next.fetch_add(1, Ordering::Relaxed);
                    if nth > most {
                        break;
                    }
                    work(nth);
                }
            });
        }
    });
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to.join("data")).expect("a folder");
    for entry in std::fs::read_dir(from.join("data")).expect("a folder") {
        let entry = entry.expect("an entry");
        std::fs::copy(entry.path(), to.join("data").join(entry.file_name())).expect("a copy");
    }
}

/// Harms by number: killed before a call and in the middle of it, in turn over all calls.
fn harm(nth: usize) -> Harm {
    if nth % 2 == 1 { Harm::Kill(nth.div_ceil(2)) } else { Harm::Tear(nth / 2) }
}

#[test]
fn a_print_killed_anywhere_is_resumed_and_nothing_is_lost() {
    needs_modules();
    let whole = folder();
    let (ran, calls, stream) = Bench::new(whole.path()).print(&["print", "job.toml"], Harm::None);
    ran.ended(0);
    let (register, none) =
        (Bench::new(whole.path()).open(), Told { labels: Vec::new(), fates: Vec::new(), out: Vec::new() });
    nothing_lost(&[told(&register, 1, &stream), none], "", "without harm");
    assert!(calls >= 250, "a whole print makes {calls} calls");
    for_each(2 * calls, |nth| {
        let (harm, folder) = (harm(nth), folder());
        let bench = Bench::new(folder.path());
        let what = format!("{harm:?}");
        let (ran, _, first) = bench.print(&["print", "job.toml"], harm);
        assert_eq!(ran.code, None, "{what}: the program was to be killed: {}", ran.err);
        let jobs = if bench.register().exists() {
            bench.open().jobs(9).unwrap_or_else(|e| panic!("{what}: {e}"))
        } else {
            Vec::new()
        };
        let Some(job) = jobs.first() else {
            // Killed before anything was written down: nothing may have left.
            assert!(rows(&first).is_empty(), "{what}: something left that is not in the journal");
            return;
        };
        let before = told(&bench.open(), job.job, &first);
        honest(&before, &what);
        let (ran, _, second) = bench.print(&["resume"], Harm::None);
        let ran = ran.ended(0);
        let register = bench.open();
        assert_eq!(register.open_jobs().unwrap_or_else(|e| panic!("{what}: {e}")).len(), 0, "{what}: labels are left");
        let mut all = vec![told(&register, job.job, &first)];
        if register.jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).len() > 1 {
            all.push(told(&register, job.job + 1, &second));
            honest(&all[1], &what);
        }
        nothing_lost(&all, &ran.err, &what);
    });
}

#[test]
fn a_resume_killed_anywhere_is_resumed_in_its_turn() {
    needs_modules();
    let start = folder();
    let bench = Bench::new(start.path());
    // Broken off in the middle of the third strip.
    let (ran, calls, first) = bench.print(&["print", "job.toml"], Harm::Kill(170));
    assert_eq!(ran.code, None, "of {calls} calls");
    let tried = folder();
    Bench::new(tried.path());
    copy(start.path(), tried.path());
    let (ran, calls, _) = Bench { folder: tried.path() }.print(&["resume"], Harm::None);
    ran.ended(0);
    assert!(calls >= 150, "a whole resume makes {calls} calls");
    for_each(2 * calls, |nth| {
        let (harm, folder) = (harm(nth), folder());
        let bench = Bench::new(folder.path());
        copy(start.path(), folder.path());
        let what = format!("{harm:?} of a resume");
        let (ran, _, second) = bench.print(&["resume"], harm);
        assert_eq!(ran.code, None, "{what}: the program was to be killed: {}", ran.err);
        let said = ran.err;
        let jobs = bench.open().jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).len();
        if jobs > 1 {
            honest(&told(&bench.open(), 2, &second), &what);
        } else {
            assert!(rows(&second).is_empty(), "{what}: something left that is not in the journal");
        }
        let (ran, _, third) = bench.print(&["resume"], Harm::None);
        let ran = ran.ended(0);
        let register = bench.open();
        assert_eq!(register.open_jobs().unwrap_or_else(|e| panic!("{what}: {e}")).len(), 0, "{what}: labels are left");
        let streams = [&first, &second, &third];
        let streams = if jobs > 1 { &streams[..] } else { &[&first, &third] };
        let count = register.jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).len();
        let all: Vec<Told> = (1..).zip(streams).take(count).map(|(job, stream)| told(&register, job, stream)).collect();
        nothing_lost(&all, &format!("{said}{}", ran.err), &what);
    });
}

/// Killed while it prints to a file that stands for the printer: the file is whole or not there.
#[test]
fn a_print_to_a_file_killed_anywhere_is_resumed() {
    needs_modules();
    let arguments = ["print", "job.toml", "--to", "file:out.pwg", "--take"];
    let whole = folder();
    let (ran, calls) = Bench::new(whole.path()).run(&arguments, Harm::None);
    ran.ended(0);
    // With those of the two tests before, more than a thousand points at which the program is killed.
    assert!(calls >= 110, "a whole print to a file makes {calls} calls");
    for_each(2 * calls, |nth| {
        let (harm, folder) = (harm(nth), folder());
        let bench = Bench::new(folder.path());
        let what = format!("{harm:?} to a file");
        let (ran, _) = bench.run(&arguments, harm);
        assert_eq!(ran.code, None, "{what}: the program was to be killed: {}", ran.err);
        let first = std::fs::read(folder.path().join("out.pwg")).unwrap_or_default();
        if !bench.register().exists() || bench.open().jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).is_empty() {
            assert!(first.is_empty(), "{what}: a file that is not in the journal");
            return;
        }
        honest(&told(&bench.open(), 1, &first), &what);
        let (ran, _) = bench.run(&["resume", "--to", "file:rest.pwg"], Harm::None);
        let said = ran.ended(0).err;
        let register = bench.open();
        let mut all = vec![told(&register, 1, &first)];
        if register.jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).len() > 1 {
            let second = std::fs::read(folder.path().join("rest.pwg")).expect("the rest");
            all.push(told(&register, 2, &second));
        }
        nothing_lost(&all, &said, &what);
    });
}

/// A disk that is full, or fails, from any write on: the program says so, and the register is whole.
#[test]
fn a_disk_that_fails_anywhere_leaves_the_register_whole() {
    needs_modules();
    let whole = folder();
    let (ran, calls, _) = Bench::new(whole.path()).print(&["print", "job.toml"], Harm::None);
    ran.ended(0);
    for_each(2 * calls, |nth| {
        let harm = if nth % 2 == 1 { Harm::Full(nth.div_ceil(2)) } else { Harm::Fail(nth / 2) };
        let what = format!("{harm:?}");
        let folder = folder();
        let bench = Bench::new(folder.path());
        let (ran, _, first) = bench.print(&["print", "job.toml"], harm);
        assert!(!ran.err.contains("panicked"), "{what}: {}", ran.err);
        // A write that SQLite can do without may fail unseen; nothing else may.
        assert!(matches!(ran.code, Some(0 | 4 | 6)), "{what}: ended with {:?}: {}", ran.code, ran.err);
        if ran.code == Some(0) {
            honest(&told(&bench.open(), 1, &first), &what);
            return;
        }
        if !bench.register().exists() {
            assert!(rows(&first).is_empty(), "{what}: something left that is not in the journal");
            return;
        }
        let register = bench.open();
        assert!(
            register.is_whole().unwrap_or_else(|error| panic!("{what}: {error}")),
            "{what}: the register is damaged"
        );
        match register.jobs(9).unwrap_or_else(|e| panic!("{what}: {e}")).first() {
            Some(job) => honest(&told(&register, job.job, &first), &what),
            None => assert!(rows(&first).is_empty(), "{what}: something left that is not in the journal"),
        }
    });
}

/// The harness itself can fail: a journal that says too much, or too little, is found out.
#[test]
fn a_journal_that_lies_is_found_out() {
    needs_modules();
    let folder = folder();
    let bench = Bench::new(folder.path());
    let (ran, _, stream) = bench.print(&["print", "job.toml"], Harm::None);
    ran.ended(0);
    let register = bench.open();
    let caught =
        |told: &Told| std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| honest(told, "a lie"))).is_err();
    let told_whole = told(&register, 1, &stream);
    assert!(!caught(&told_whole));
    assert!(
        caught(&told(&register, 1, &stream[..stream.len() / 2])),
        "labels that never came out are said to have left"
    );
    let never = Told { fates: vec![Fate::Never; LABELS], ..told(&register, 1, &stream) };
    assert!(caught(&never), "labels that came out are said not to have left");
    let lost = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        nothing_lost(&[told(&register, 1, &stream[..stream.len() / 2])], "", "a loss");
    }));
    assert!(lost.is_err(), "lost labels go unseen");
    let twice = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        nothing_lost(&[told(&register, 1, &stream), told(&register, 1, &stream)], "", "a double");
    }));
    assert!(twice.is_err(), "doubles go unseen");
}

/// Hears what is said of labels, with the bytes the link has by then.
struct Heard {
    sent: Rc<RefCell<Vec<u8>>>,
    notes: Vec<(What, RangeInclusive<usize>, usize)>,
}

impl Watch for Heard {
    fn note(&mut self, what: What, labels: RangeInclusive<usize>, _: &str) -> Result<()> {
        self.notes.push((what, labels, self.sent.borrow().len()));
        Ok(())
    }

    fn handed(&mut self) -> Result<()> {
        Ok(())
    }
}

/// A device's end of a link.
struct Device(Rc<RefCell<Vec<u8>>>);

impl Write for Device {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Whatever the link: a label is said to be leaving before any of it has left, and to be taken after.
#[test]
fn labels_are_noted_before_they_leave_and_after_they_are_taken() {
    needs_modules();
    let folder = folder();
    Bench::new(folder.path());
    let job = load_job(&folder.path().join("job.toml"), &Flags::default(), Known::load(None).expect("shipped"))
        .unwrap_or_else(|error| panic!("{error}"));
    let plan = job.plan();
    let stock = &plan.stocks[0];
    let beside = path().parent().expect("the program lies in a folder").to_owned();
    let (found, _) = modules(std::slice::from_ref(&beside), &Place::Here);
    let module = module_for(&found, &job.printer.driver, &[beside]).unwrap_or_else(|error| panic!("{error}"));
    let mut drawn = Labelled::new(&job, stock).unwrap_or_else(|error| panic!("{error}"));
    let labels: Vec<_> = (0..stock.slots.len())
        .map(|nth| {
            drawn.draw(nth).unwrap_or_else(|error| panic!("{error}"));
            own_rows(drawn.bits())
        })
        .collect();
    for delivery in [Delivery::AsSent, Delivery::HandedOver, Delivery::Queue, Delivery::WhenWhole] {
        let sent = Rc::new(RefCell::new(Vec::new()));
        let mut heard = Heard { sent: Rc::clone(&sent), notes: Vec::new() };
        let mut port = Recorder(Device(Rc::clone(&sent)), delivery);
        let work = open(module, &job.printer.driver, |_| {}).unwrap_or_else(|error| panic!("{error}"));
        print(&Batch::of(&job, stock), &mut drawn, work, "otters", &mut port, &mut heard)
            .unwrap_or_else(|error| panic!("{error}"));
        let stream = sent.borrow();
        let mut leaving = 0;
        for (what, range, bytes) in &heard.notes {
            let got = rows(&stream[..*bytes]);
            for nth in range.clone() {
                let wanted = if *what == What::Leaving { Out::Nothing } else { Out::Whole };
                assert_eq!(out(&labels[nth - 1], &got), wanted, "{delivery:?}: label {nth} is {}", what.word());
            }
            leaving += if *what == What::Leaving { range.clone().count() } else { 0 };
        }
        assert_eq!(leaving, LABELS, "{delivery:?}: every label is said to be leaving once");
        let taken = match delivery {
            Delivery::AsSent => What::Taken,
            Delivery::HandedOver | Delivery::Queue => What::Given,
            Delivery::WhenWhole => What::Leaving,
        };
        assert!(heard.notes.iter().any(|(what, ..)| *what == taken), "{delivery:?}: {:?}", heard.notes);
    }
}
