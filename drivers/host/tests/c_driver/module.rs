//! A module written in C, found in a folder, loaded, and used.

use std::convert::Infallible;
use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use tapewright_host::{
    Cut, CutKind, Driver, Events, Failure, FaultKind, HostError, JobSpec, Module, Outcome, Page, Place, StripSpec,
    ToWriter, check, find,
};

fn library(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{DLL_PREFIX}tapewright_driver_{name}{DLL_SUFFIX}"))
}

fn source(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/c_driver").join(name)
}

fn set_mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

fn plain(folder: &Path) -> PathBuf {
    let path = library(folder, "plain");
    crate::compile(&source("plain.c"), &path, &["-shared", "-fPIC"]);
    set_mode(&path, 0o755);
    path
}

fn job() -> JobSpec {
    JobSpec {
        name: "dress rehearsal".into(),
        strips: 1,
        dpi_across_milli: 180_000,
        dpi_along_milli: 180_000,
        dots: 8,
        web_dots: 8,
        options: vec![("greeting".into(), "J".into())],
        ..JobSpec::default()
    }
}

#[derive(Default)]
struct Told(String);

impl Events for Told {
    type Error = Infallible;
    fn strip_begin(&mut self, page: &Page) -> Result<(), Infallible> {
        self.0 += &format!("{:?} of {} at {:?};", page.lines, page.dots, page.dpi_along_milli);
        Ok(())
    }
    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Infallible> {
        self.0 += &format!("{count} {rows:?};");
        Ok(())
    }
    fn blank(&mut self, count: u32) -> Result<(), Infallible> {
        self.0 += &format!("{count} blank;");
        Ok(())
    }
    fn cut(&mut self, cut: Cut) -> Result<(), Infallible> {
        self.0 += &format!("{:?} {};", cut.kind, cut.line);
        Ok(())
    }
    fn strip_end(&mut self) -> Result<(), Infallible> {
        self.0 += "end";
        Ok(())
    }
}

#[test]
fn a_job_through_a_module_in_c() {
    let folder = crate::folder("module");
    let path = plain(&folder);
    let found = find(std::slice::from_ref(&folder));
    assert!(found.refused.is_empty(), "{:?}", found.refused);
    let [module] = found.modules[..] else { panic!("{:?}", found.modules) };
    assert_eq!((module.name(), module.path()), ("plain", Some(path.canonicalize().unwrap().as_path())));
    let family = module.family("plain-c").unwrap();
    assert_eq!((family.title.as_str(), family.description.as_str()), ("Plain", "a driver in C"));
    assert_eq!(family.options[0].help, "what to say first");

    let log = Arc::new(Mutex::new(String::new()));
    let kept = Arc::clone(&log);
    let mut session = module.open_with_log("plain-c", move |_, text| *kept.lock().unwrap() += text).unwrap();
    let mut sink = ToWriter(Vec::new());
    session.begin_job(&job()).unwrap();
    session.drain(&mut sink).unwrap();
    assert_eq!(*log.lock().unwrap(), "dress rehearsal");
    let cuts = [Cut { line: 2, kind: CutKind::Half }, Cut { line: 5, kind: CutKind::Full }];
    session.begin_strip(&StripSpec { lines: 5, cuts: &cuts, ..StripSpec::default() }).unwrap();
    session.drain(&mut sink).unwrap();
    session.lines(&[0x81, 0x42], 2).unwrap();
    session.drain(&mut sink).unwrap();
    session.blank(3).unwrap();
    session.drain(&mut sink).unwrap();
    session.end_strip().unwrap();
    session.drain(&mut sink).unwrap();
    session.end_job().unwrap();
    session.drain(&mut sink).unwrap();
    assert_eq!(sink.0, b"JJS\0\0\0\x05h\0\0\0\x02f\0\0\0\x05l\x81l\x42b\x03sj");
    let status = session.status().unwrap();
    assert!(status.known && status.ready && !status.busy);
    assert_eq!((status.found_width_um, status.found_kind.as_str(), status.text.as_str()), (6000, "tape", "ready"));

    match session.begin_job(&JobSpec { dots: 9, ..job() }).unwrap_err() {
        HostError::Fault(fault) => {
            assert_eq!((fault.kind, fault.code, fault.retry), (FaultKind::Unsupported, 7, true));
            assert_eq!(fault.text, "a line has more than 8 dots, wanted 1 to 8");
        }
        other => panic!("{other}"),
    }
    session.cancel().unwrap();
    let mut after = ToWriter(Vec::new());
    session.drain(&mut after).unwrap();
    assert_eq!(after.0, b"!");

    let readback = module.readback("plain-c").unwrap().unwrap();
    assert_eq!((readback.recognises(&sink.0).unwrap(), readback.recognises(b"x").unwrap()), (40, 0));
    let mut decoder = readback.decoder().unwrap();
    let mut told = Told::default();
    for byte in &sink.0 {
        decoder.push(std::slice::from_ref(byte), &mut told).unwrap();
    }
    decoder.finish(&mut told).unwrap();
    assert_eq!(told.0, "Some(5) of 8 at None;Half 2;Full 5;1 [129];1 [66];3 blank;end");
    let mut decoder = readback.decoder().unwrap();
    match decoder.push(b"?", &mut told) {
        Err(Failure::Host(error)) => assert_eq!(error.to_string(), "driver module plain: a letter is not known"),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_validator_finds_nothing() {
    let path = plain(&crate::folder("checked"));
    let (driver, refused) = Driver::load(&path, &[], &Place::Here).unwrap();
    assert!(refused.is_empty(), "{refused:?}");
    for check in check(&driver, "plain-c").unwrap() {
        assert!(!matches!(check.outcome, Outcome::Failed(_)), "{check:?}");
    }
}

#[test]
fn the_same_file_is_loaded_once() {
    let folder = crate::folder("once");
    let path = plain(&folder);
    let link = library(&folder, "alias");
    std::os::unix::fs::symlink(&path, &link).unwrap();
    let first = Module::load(&path).unwrap();
    let again = Module::load(&link).unwrap();
    assert!(std::ptr::eq(first.name(), again.name()), "two modules of one file");
}

#[test]
fn an_earlier_folder_hides_a_later_one() {
    let (near, far) = (crate::folder("near"), crate::folder("far"));
    let path = plain(&near);
    std::fs::copy(&path, library(&far, "plain")).unwrap();
    std::fs::copy(&path, library(&far, "other")).unwrap();
    let found = find(&[near.clone(), far.clone()]);
    let paths: Vec<_> = found.modules.iter().filter_map(Module::path).collect();
    assert_eq!(paths, [path.canonicalize().unwrap(), library(&far, "other").canonicalize().unwrap()]);
}

/// The host reads the files, in order, those of a nearer folder first; the module learns.
#[test]
fn families_from_files() {
    let (near, far) = (crate::folder("learn-near"), crate::folder("learn-far"));
    plain(&far);
    let put = |folder: &Path, name: &str, text: &str, mode: u32| {
        std::fs::write(folder.join(name), text).unwrap();
        set_mode(&folder.join(name), mode);
    };
    put(&near, "open.plain", "nobody", 0o666);
    put(&near, "same.plain", "from-near", 0o644);
    put(&far, "odd.plain", "odd", 0o644);
    put(&far, "same.plain", "hidden", 0o644);
    put(&far, "too-many.plain", "second", 0o644);
    put(&far, "other.toml", "not for this module", 0o644);
    std::fs::create_dir(far.join("folder.plain")).unwrap();
    let found = find(&[near.clone(), far.clone()]);
    let refused: Vec<String> = found.refused.iter().map(HostError::to_string).collect();
    let file = |folder: &Path, name: &str| format!("family file {}", folder.join(name).display());
    assert_eq!(
        refused,
        [
            format!("{}: may be written by anybody (mode 666); run chmod o-w on it", file(&near, "open.plain")),
            format!(
                "{}: driver module plain broke the contract: add returned status 99, wanted 0 to 6",
                file(&far, "odd.plain")
            ),
            format!("{}: line 1: found another family, wanted one", file(&far, "too-many.plain")),
        ]
    );
    let [module] = found.modules[..] else { panic!("{:?}", found.modules) };
    let ids: Vec<&str> = module.families().iter().map(|family| family.id.as_str()).collect();
    assert_eq!(ids, ["plain-c", "from-near"]);
    let mut session = module.open("from-near").unwrap();
    session.begin_job(&job()).unwrap();
    // Loaded once: a later search changes nothing and tells nothing again.
    put(&far, "zz.plain", "late", 0o644);
    let again = find(&[near, far]);
    assert!(again.refused.is_empty() && again.modules[0].families().len() == 2);
}

#[test]
fn files_that_are_no_modules() {
    let folder = crate::folder("refused");
    let text = |name: &str| Module::load(&library(&folder, name)).unwrap_err().to_string();

    let open = plain(&folder);
    set_mode(&open, 0o757);
    assert_eq!(
        text("plain"),
        format!(
            "driver module {}: may be written by anybody (mode 757); run chmod o-w on it",
            open.canonicalize().unwrap().display()
        )
    );
    assert_eq!(find(std::slice::from_ref(&folder)).refused.len(), 1);

    let noise = library(&folder, "noise");
    std::fs::write(&noise, "no library at all").unwrap();
    set_mode(&noise, 0o644);
    assert!(text("noise").contains("cannot be loaded"), "{}", text("noise"));

    for (name, body, wanted) in [
        ("silent", "int nothing; ", "does not export tapewright_driver_entry, as a driver module must"),
        (
            "null",
            "const tw_entry *tapewright_driver_entry(void); const tw_entry *tapewright_driver_entry(void) { return NULL; }",
            "its entry function returned 0x0, wanted a pointer to an entry",
        ),
        (
            "small",
            "const tw_entry *tapewright_driver_entry(void); const tw_entry *tapewright_driver_entry(void) { static const uint64_t e[4] = {0}; return (const tw_entry *)(const void *)e; }",
            "its entry has 0 bytes, wanted at least 24",
        ),
        (
            "next",
            "const tw_entry *tapewright_driver_entry(void); const tw_entry *tapewright_driver_entry(void) { static const tw_entry e = {.size = sizeof e, .major = TW_MAJOR + 1}; return &e; }",
            "speaks version 2.0 of the driver interface, wanted 1.x; get a module built for it",
        ),
    ] {
        let file = folder.join(format!("{name}.c"));
        std::fs::write(&file, format!("#include \"driver.h\"\n{body}\n")).unwrap();
        let path = library(&folder, name);
        crate::compile(&file, &path, &["-shared", "-fPIC"]);
        set_mode(&path, 0o755);
        let found = text(name);
        assert!(found.ends_with(wanted), "{name}: {found}");
    }
    assert!(text("missing").contains("No such file"), "{}", text("missing"));
}
