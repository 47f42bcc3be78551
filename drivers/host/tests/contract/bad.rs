//! The host finds each broken promise, names the module, and is done with the session.

use std::time::Duration;

use tapewright_host::raw::{self, Sized32};
use tapewright_host::{Cut, Events, Failure, FaultKind, HostError, JobSpec, LinkedEntry, Module, Page, Session, Sink};

use crate::rubbish;

pub(crate) fn job() -> JobSpec {
    JobSpec { dpi_across_milli: 180_000, dpi_along_milli: 180_000, dots: 8, web_dots: 8, ..JobSpec::default() }
}

/// Takes everything, answers nothing.
struct Mute;

impl Sink for Mute {
    type Error = &'static str;
    fn bytes(&mut self, _: &[u8]) -> Result<(), &'static str> {
        Ok(())
    }
    fn wait(&mut self, _: Duration) -> Result<(), &'static str> {
        Ok(())
    }
    fn reply(&mut self, _: usize, _: Duration, _: &mut Vec<u8>) -> Result<(), &'static str> {
        Ok(())
    }
}

fn open(family: &str) -> Result<Session, HostError> {
    Module::from_entry("rubbish", rubbish::entry()).unwrap().open(family)
}

fn broken(error: &HostError) -> &str {
    match error {
        HostError::Broken { module, what } if module == "rubbish" => what,
        other => panic!("not a broken contract: {other}"),
    }
}

fn drain(session: &mut Session) -> Result<(), HostError> {
    session.drain(&mut Mute).map_err(|failure| match failure {
        Failure::Host(error) => error,
        Failure::Caller(error) => panic!("{error}"),
    })
}

#[test]
fn what_take_says() {
    for (family, text) in [
        ("too-many-bytes", "take says 65537 bytes, wanted 1 to 65536"),
        ("no-bytes", "take says 0 bytes, wanted 1 to 65536"),
        ("unknown-action", "take says action 17, wanted 1 to 5"),
        ("wait-nothing", "take says wait 0 ms, wanted at least 1"),
        ("reply-nothing", "take waits for a reply of 0 bytes, wanted 1 to 65536"),
        ("reply-huge", "take waits for a reply of 18446744073709551615 bytes, wanted 1 to 65536"),
        ("done-too-early", "take says done inside a job, wanted more input"),
    ] {
        let mut session = open(family).unwrap();
        session.begin_job(&job()).unwrap();
        let error = drain(&mut session).unwrap_err();
        assert_eq!(broken(&error), text);
        assert_eq!(error.to_string(), format!("driver module rubbish broke the contract: {text}"));
        assert_eq!(broken(&session.cancel().unwrap_err()), "it was called again after it broke the contract");
        assert!(matches!(drain(&mut session), Err(HostError::Misuse { .. })));
    }
}

#[test]
fn more_input_after_the_end() {
    let mut session = open("more-too-late").unwrap();
    session.begin_job(&job()).unwrap();
    drain(&mut session).unwrap();
    session.end_job().unwrap();
    let error = drain(&mut session).unwrap_err();
    assert_eq!(broken(&error), "take says more input after the end of the job, wanted done");
}

#[test]
fn what_a_failed_call_leaves() {
    let mut session = open("unknown-status").unwrap();
    let error = session.begin_job(&job()).unwrap_err();
    assert_eq!(broken(&error), "begin_job returned status 99, wanted 0 to 6");
    let mut session = open("endless-fault-text").unwrap();
    let error = session.begin_job(&job()).unwrap_err();
    assert_eq!(broken(&error), "begin_job failed with a fault text without end or not in UTF-8");
    for family in ["mute-fault", "fault-without-record"] {
        let mut session = open(family).unwrap();
        match session.begin_job(&job()).unwrap_err() {
            HostError::Fault(fault) => {
                assert_eq!(fault.kind, FaultKind::Limit);
                assert_eq!(fault.text, "begin_job failed (Limit) without saying why");
            }
            other => panic!("{other}"),
        }
    }
    let mut session = open("status-text").unwrap();
    let error = session.status().unwrap_err();
    assert_eq!(broken(&error), "status gives a text without end or not in UTF-8");
}

#[test]
fn what_create_gives() {
    let text = |family| broken(&open(family).unwrap_err()).to_owned();
    assert_eq!(text("create-null"), "the instance is NULL, wanted a pointer");
    let size = raw::tw_driver::SIZE;
    assert_eq!(text("create-small"), format!("the instance has 12 bytes, wanted at least {size}"));
    assert_eq!(text("create-lacking"), "its instance lacks a function, wanted all of them");
    assert_eq!(text("create-status"), "create returned status -5, wanted 0 to 6");
    match open("missing").unwrap_err() {
        HostError::NoFamily { module, known, .. } => {
            assert_eq!((module.as_str(), known.len()), ("rubbish", rubbish::FAMILIES.len()));
        }
        other => panic!("{other}"),
    }
}

fn with_entry(entry: raw::tw_entry) -> String {
    let entry: &'static raw::tw_entry = Box::leak(Box::new(entry));
    // SAFETY: what is wrong with it is what the host finds without touching memory it may not.
    let entry = unsafe { LinkedEntry::new(entry) };
    Module::from_entry("bad", entry).unwrap_err().to_string()
}

unsafe extern "C" fn no_factory(_: *const std::ffi::c_char) -> *const std::ffi::c_void {
    std::ptr::null()
}
unsafe extern "C" fn crooked_factory(_: *const std::ffi::c_char) -> *const std::ffi::c_void {
    std::ptr::without_provenance(1)
}
unsafe extern "C" fn small_factory(_: *const std::ffi::c_char) -> *const std::ffi::c_void {
    static SMALL: u64 = 0;
    (&raw const SMALL).cast()
}

#[test]
fn what_an_entry_says() {
    let entry = *rubbish::entry().entry();
    assert_eq!(
        with_entry(raw::tw_entry { major: 2, ..entry }),
        "driver module bad: speaks version 2.7 of the driver interface, wanted 1.x; get a module built for it"
    );
    assert_eq!(
        with_entry(raw::tw_entry { size: 4, ..entry }),
        format!("driver module bad: its entry has 4 bytes, wanted at least {}", raw::tw_entry::SIZE)
    );
    assert_eq!(
        with_entry(raw::tw_entry { get_factory: None, ..entry }),
        "driver module bad broke the contract: its entry has no get_factory"
    );
    assert_eq!(
        with_entry(raw::tw_entry { get_factory: Some(no_factory), ..entry }),
        "driver module bad: offers no factory driver-factory/1"
    );
    assert_eq!(
        with_entry(raw::tw_entry { get_factory: Some(crooked_factory), ..entry }),
        "driver module bad broke the contract: its factory is at 0x1, wanted an aligned address"
    );
    assert_eq!(
        with_entry(raw::tw_entry { get_factory: Some(small_factory), ..entry }),
        format!(
            "driver module bad broke the contract: its factory has 0 bytes, wanted at least {}",
            raw::tw_factory::SIZE
        )
    );
}

/// Counts what comes, and stops at a line when told to.
#[derive(Default)]
struct Count {
    calls: u32,
    stop: bool,
    panic: bool,
}

impl Events for Count {
    type Error = &'static str;
    fn strip_begin(&mut self, _: &Page) -> Result<(), &'static str> {
        self.calls += 1;
        Ok(())
    }
    fn lines(&mut self, _: &[u8], _: u32) -> Result<(), &'static str> {
        self.calls += 1;
        assert!(!self.panic, "enough");
        if self.stop { Err("disk full") } else { Ok(()) }
    }
    fn blank(&mut self, _: u32) -> Result<(), &'static str> {
        self.calls += 1;
        Ok(())
    }
    fn cut(&mut self, _: Cut) -> Result<(), &'static str> {
        self.calls += 1;
        Ok(())
    }
    fn strip_end(&mut self) -> Result<(), &'static str> {
        self.calls += 1;
        Ok(())
    }
}

fn readback() -> tapewright_host::Readback {
    let module = Module::from_entry("rubbish", rubbish::entry()).unwrap();
    assert!(module.readback("no-bytes").unwrap().is_none());
    module.readback("readback").unwrap().unwrap()
}

#[test]
fn what_a_decoder_reports() {
    for (stream, calls, text) in [
        ("l", 0, "readback reports lines outside a strip, wanted strip_begin"),
        ("((", 1, "readback reports strip_begin inside a strip, wanted strip_end"),
        ("w", 0, "readback reports lines of 4294967295 dots, wanted 1 to 1048576"),
        ("0", 0, "the page of strip_begin is NULL, wanted a pointer"),
        ("(L", 1, "readback reports 1 lines in 2 bytes at"),
        ("(n", 1, "readback reports 1 lines in 1 bytes at 0x0, wanted 1 bytes"),
        ("(lbB", 3, "readback reports 4294967295 blank lines, wanted 1 to the 1 left of the strip"),
        ("(cc", 2, "readback reports a cut at line 1, wanted 2 to 3"),
        ("(C", 1, "readback reports a cut at line 4, wanted 0 to 3"),
        ("(k", 1, "readback reports a cut of kind 3, wanted 1 or 2"),
        ("(l)", 2, "readback ends a strip after 1 lines, wanted 3"),
        // After the first of them nothing is reported any more.
        ("(l)(lll)", 2, "readback ends a strip after 1 lines, wanted 3"),
    ] {
        let mut decoder = readback().decoder().unwrap();
        let mut count = Count::default();
        match decoder.push(stream.as_bytes(), &mut count) {
            Err(Failure::Host(error)) => assert!(broken(&error).starts_with(text), "{stream}: {error}"),
            other => panic!("{stream}: {other:?}"),
        }
        assert_eq!(count.calls, calls, "{stream}");
        assert!(matches!(decoder.push(b"", &mut count), Err(Failure::Host(HostError::Misuse { .. }))));
    }
}

#[test]
fn what_a_decoder_may_do() {
    let mut decoder = readback().decoder().unwrap();
    let mut count = Count::default();
    decoder.push(b"(lcb", &mut count).unwrap();
    decoder.push(b"Nl)", &mut count).unwrap();
    decoder.finish(&mut count).unwrap();
    assert_eq!(count.calls, 6);

    let mut decoder = readback().decoder().unwrap();
    decoder.push(b"(", &mut count).unwrap();
    match decoder.finish(&mut count) {
        Err(Failure::Host(error)) => assert!(broken(&error).starts_with("readback finish left a strip open")),
        other => panic!("{other:?}"),
    }
    let readback = readback();
    assert_eq!(readback.recognises(&[100]).unwrap(), 100);
    assert_eq!(broken(&readback.recognises(&[101]).unwrap_err()), "recognises says 101, wanted 0 to 100");
}

#[test]
fn errors_and_panics_of_the_caller_come_back() {
    let mut decoder = readback().decoder().unwrap();
    let mut count = Count { stop: true, ..Count::default() };
    match decoder.push(b"(llb", &mut count) {
        Err(Failure::Caller("disk full")) => assert_eq!(count.calls, 2),
        other => panic!("{other:?}"),
    }
    let mut decoder = readback().decoder().unwrap();
    let mut count = Count { panic: true, ..Count::default() };
    let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        _ = decoder.push(b"(llb", &mut count);
    }));
    assert_eq!(*result.unwrap_err().downcast::<&str>().unwrap(), "enough");
}
