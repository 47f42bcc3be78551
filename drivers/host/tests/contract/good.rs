//! A module made with the kit, driven through the host.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tapewright_host::{
    Cut, CutKind, Failure, FaultKind, HostError, JobSpec, LogLevel, Module, OptionType, Pattern, Session, Sink,
    StripSpec,
};
use tapewright_kit::{
    Capabilities, Description, Driver, Families, Family, FamilyEntry, Fault, Job, OptionKind, OptionSpec, Out, Strip,
    entry,
};

/// Writes what it is told as text, asks for a reply at the start of a strip.
struct Teller;

impl Driver for Teller {
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
        out.log(LogLevel::Warning, "job begins");
        let stock = job.stock;
        let text = format!(
            "job {:?} strips {:?} dpi {}x{} dots {} web {}+{} {:?} {} {} ink {} speed {}\n",
            job.name,
            job.strips,
            job.dpi_across_milli,
            job.dpi_along_milli,
            job.dots,
            stock.web_first_dot,
            stock.web_dots,
            stock.width_um,
            stock.kind,
            stock.title,
            job.options.text("ink"),
            job.options.int("speed"),
        );
        out.extend(text.as_bytes());
        Ok(())
    }
    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
        if strip.labels == 99 {
            return Err(Fault::limit("99 labels, wanted at most 98").with_code(3).with_retry());
        }
        out.extend(b"ready?\n");
        out.wait(Duration::from_millis(20));
        out.wait_reply(2, Duration::from_millis(500));
        let (cuts, lead, trail) = (strip.cuts, strip.lead_lines, strip.trail_lines);
        out.extend(format!("strip {} {lead} {trail} {cuts:?}\n", strip.lines).as_bytes());
        Ok(())
    }
    fn lines(&mut self, rows: &[u8], count: u32, out: &mut Out) -> Result<(), Fault> {
        out.extend(format!("{count} lines {rows:?}\n").as_bytes());
        Ok(())
    }
    fn blank(&mut self, count: u32, out: &mut Out) -> Result<(), Fault> {
        out.extend(format!("{count} blank\n").as_bytes());
        Ok(())
    }
    fn end_strip(&mut self, out: &mut Out) -> Result<(), Fault> {
        // More than one buffer of the host.
        out.extend(&vec![b'.'; 150_000]);
        Ok(())
    }
    fn end_job(&mut self, _: &mut Out) -> Result<(), Fault> {
        Ok(())
    }
    fn cancel(&mut self, out: &mut Out) -> Result<(), Fault> {
        out.extend(b"reset\n");
        Ok(())
    }
    fn reply(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        out.extend(format!("reply {bytes:?}\n").as_bytes());
        Ok(())
    }
}

impl Family for Teller {
    const DESCRIPTION: Description = Description {
        family: "teller",
        title: "Teller",
        version: "3.1.4",
        description: "writes what it is told",
        capabilities: Capabilities { half_cuts: true, inner_cuts: true, reads_replies: false },
        options: &[
            OptionSpec { id: "ink", kind: OptionKind::Choice(&["thin", "thick"]), default: "thin", help: "how thick" },
            OptionSpec { id: "speed", kind: OptionKind::Int { min: 1, max: 9 }, default: "5", help: "how fast" },
        ],
        patterns: &[("CMD", "TELL")],
    };
    fn create() -> Result<Box<dyn Driver>, Fault> {
        Ok(Box::new(Teller))
    }
}

enum TellerModule {}

impl tapewright_kit::Module for TellerModule {
    fn families() -> &'static Families {
        static FAMILIES: Families = Families::new(&[FamilyEntry::of::<Teller>()]);
        &FAMILIES
    }
}

fn module() -> Module {
    Module::from_entry("teller", entry::<TellerModule>()).unwrap()
}

/// Keeps the stream; answers `ok`; fails when `room` is used up.
struct Tape {
    stream: Vec<u8>,
    waited: Duration,
    room: usize,
}

impl Default for Tape {
    fn default() -> Self {
        Tape { stream: Vec::new(), waited: Duration::ZERO, room: usize::MAX }
    }
}

impl Sink for Tape {
    type Error = &'static str;
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), &'static str> {
        if self.stream.len() + bytes.len() > self.room {
            return Err("link down");
        }
        self.stream.extend(bytes);
        Ok(())
    }
    fn wait(&mut self, time: Duration) -> Result<(), &'static str> {
        self.waited += time;
        Ok(())
    }
    fn reply(&mut self, count: usize, _: Duration, reply: &mut Vec<u8>) -> Result<(), &'static str> {
        reply.extend(&b"ok"[..count]);
        Ok(())
    }
}

fn job() -> JobSpec {
    JobSpec {
        name: "ütest".into(),
        strips: 1,
        dpi_across_milli: 203_200,
        dpi_along_milli: 180_000,
        dots: 12,
        web_first_dot: -2,
        web_dots: 16,
        width_um: 6_000,
        stock_kind: "tape".into(),
        stock_title: "6 mm".into(),
        options: vec![("speed".into(), "7".into())],
    }
}

fn misuse(result: Result<(), HostError>) -> String {
    match result {
        Err(HostError::Misuse { what }) => what,
        other => panic!("not misuse: {other:?}"),
    }
}

#[test]
fn a_whole_job() {
    let log = Arc::new(Mutex::new(Vec::new()));
    let kept = Arc::clone(&log);
    let mut session = module()
        .open_with_log("teller", move |level, text| kept.lock().unwrap().push((level, text.to_owned())))
        .unwrap();
    let mut tape = Tape::default();
    session.begin_job(&job()).unwrap();
    assert_eq!(*log.lock().unwrap(), [(LogLevel::Warning, "job begins".to_owned())]);
    session.drain(&mut tape).unwrap();
    let cuts = [Cut { line: 2, kind: CutKind::Half }, Cut { line: 5, kind: CutKind::Full }];
    let strip = StripSpec { index: 0, lines: 5, lead_lines: 1, trail_lines: 2, labels: 1, cuts: &cuts };
    session.begin_strip(&strip).unwrap();
    session.drain(&mut tape).unwrap();
    assert_eq!(tape.waited, Duration::from_millis(20));
    session.lines(&[1, 16, 2, 32], 2).unwrap();
    session.drain(&mut tape).unwrap();
    session.blank(3).unwrap();
    session.blank(0).unwrap_err();
    session.drain(&mut tape).unwrap();
    session.blank(0).unwrap();
    session.end_strip().unwrap();
    session.drain(&mut tape).unwrap();
    session.end_job().unwrap();
    session.drain(&mut tape).unwrap();
    let (text, dots) = tape.stream.split_at(tape.stream.len() - 150_000);
    assert!(dots.iter().all(|byte| *byte == b'.'));
    assert_eq!(
        str::from_utf8(text).unwrap(),
        "job \"ütest\" strips Some(1) dpi 203200x180000 dots 12 web -2+16 Some(6000) tape 6 mm ink thin speed 7\n\
         ready?\n\
         strip 5 1 2 [Cut { line: 2, kind: Half }, Cut { line: 5, kind: Full }]\n\
         reply [111, 107]\n\
         2 lines [1, 16, 2, 32]\n\
         3 blank\n"
    );
    session.begin_job(&job()).unwrap();
}

#[test]
fn calls_out_of_order() {
    let mut session = module().open("teller").unwrap();
    let mut tape = Tape::default();
    assert_eq!(misuse(session.blank(1)), "blank outside a job");
    session.begin_job(&job()).unwrap();
    assert_eq!(
        misuse(session.begin_strip(&StripSpec::default())),
        "begin_strip before the output of the last step was drained"
    );
    session.drain(&mut tape).unwrap();
    assert_eq!(misuse(session.end_job()), "end_job after 0 strips, wanted 1");
    let strip = StripSpec { lines: 3, ..StripSpec::default() };
    assert_eq!(
        misuse(session.begin_strip(&StripSpec { index: 1, ..strip })),
        "begin_strip with index 1, wanted 0 of 1"
    );
    assert!(
        misuse(session.begin_strip(&StripSpec { lead_lines: 2, trail_lines: 2, ..strip }))
            .contains("lead 2 and trail 2")
    );
    let cut = |line| Cut { line, kind: CutKind::Half };
    for cuts in [&[cut(4)][..], &[cut(2), cut(2)], &[cut(2), cut(1)]] {
        assert!(
            misuse(session.begin_strip(&StripSpec { cuts, ..strip })).contains("ascend strictly to at most line 3")
        );
    }
    session.begin_strip(&strip).unwrap();
    session.drain(&mut tape).unwrap();
    assert_eq!(misuse(session.lines(&[0; 3], 2)), "lines with 3 bytes for 2 lines, wanted 2 a line");
    assert_eq!(misuse(session.lines(&[0; 8], 4)), "lines with 4 lines, wanted at most the 3 left of the strip");
    assert_eq!(misuse(session.end_strip()), "end_strip with 3 lines to come, wanted 0");
    let bad = JobSpec { name: "a\0b".into(), ..job() };
    assert_eq!(
        misuse(module().open("teller").unwrap().begin_job(&bad)),
        "job name \"a\\0b\" has a NUL at byte 1, wanted none"
    );
}

#[test]
fn faults_keep_their_record() {
    let mut session = module().open("teller").unwrap();
    let mut tape = Tape::default();
    let options = vec![("ink".into(), "bold".into())];
    match session.begin_job(&JobSpec { options, ..job() }).unwrap_err() {
        HostError::Fault(fault) => {
            assert_eq!(fault.kind, FaultKind::BadArgument);
            assert_eq!(fault.text, r#"option ink is "bold", wanted one of: thin, thick"#);
        }
        other => panic!("{other}"),
    }
    assert_eq!(misuse(session.begin_job(&job())), "begin_job after a failure, wanted cancel");
    session.cancel().unwrap();
    session.drain(&mut tape).unwrap();
    assert_eq!(tape.stream, b"reset\n");
    session.begin_job(&job()).unwrap();
    session.drain(&mut tape).unwrap();
    let error = session.begin_strip(&StripSpec { lines: 1, labels: 99, ..StripSpec::default() }).unwrap_err();
    assert_eq!(error.to_string(), "driver module teller: 99 labels, wanted at most 98");
    match error {
        HostError::Fault(fault) => {
            assert_eq!((fault.kind, fault.code, fault.retry), (FaultKind::Limit, 3, true));
        }
        other => panic!("{other}"),
    }
}

/// A link that dies after any number of bytes: the error comes back, and cancel works.
#[test]
fn a_link_with_a_fuse() {
    // Miri takes seconds for each.
    let step = if cfg!(miri) { 37 } else { 1 };
    for room in (0..150).step_by(step) {
        let mut session = module().open("teller").unwrap();
        let mut tape = Tape { room, ..Tape::default() };
        let mut run = |session: &mut Session| -> Result<(), Failure<&'static str>> {
            session.begin_job(&job())?;
            session.drain(&mut tape)?;
            session.begin_strip(&StripSpec { lines: 1, ..StripSpec::default() })?;
            session.drain(&mut tape)
        };
        let result = run(&mut session);
        assert!(matches!(result, Err(Failure::Caller("link down"))) || room > 130, "{room}: {result:?}");
        session.cancel().unwrap();
        let mut after = Tape::default();
        session.drain(&mut after).unwrap();
        assert_eq!(after.stream, b"reset\n");
        session.begin_job(&job()).unwrap();
    }
}

#[test]
fn descriptions() {
    let module = module();
    assert_eq!((module.name(), module.path()), ("teller", None));
    let family = module.family("teller").unwrap();
    assert_eq!((family.title.as_str(), family.version.as_str()), ("Teller", "3.1.4"));
    assert!(family.carries_half_cuts() && family.carries_inner_cuts() && !family.reads_replies());
    let speed = family.option("speed").unwrap();
    assert_eq!((&speed.kind, speed.default.as_str()), (&OptionType::Int { min: 1, max: 9 }, "5"));
    let ink = &family.option("ink").unwrap().kind;
    assert_eq!(*ink, OptionType::Choice(vec!["thin".into(), "thick".into()]));
    assert_eq!(family.patterns, [Pattern { key: "CMD".into(), value: "TELL".into() }]);
    assert!(module.readback("teller").unwrap().is_none());
}
