//! Print queues: the client of IPP against a printer and a print server of other people's making
//! (`ippeveprinter` and `cupsd` of CUPS 2.4), both started here, on loopback.

use crate::program::{self, folder, needs_modules};
use crate::rig::{Roll, Server};
use std::io::Read;
use std::net::TcpListener;
use std::path::Path;
use std::time::Duration;
use tapewright::error::{Error, Kind};
use tapewright::media::{Catalogue, Cutter};
use tapewright::transport::ipp::{Activity, JobRequest, Printer, Progress, Stage, Timing};
use tapewright::unit::Micrometres;

/// Asks often; the other times only end a test that hangs.
const TIMING: Timing =
    Timing { poll: Duration::from_millis(20), answer: Duration::from_secs(30), silence: Duration::from_secs(60) };

#[track_caller]
fn connect(uri: &str) -> Printer {
    Printer::connect_with(uri, TIMING).unwrap_or_else(|error| panic!("{error}"))
}

fn request(name: &str) -> JobRequest {
    let size = (Micrometres::from_mm(12.0), Micrometres::from_mm(900.0));
    JobRequest { size: Some(size), ..JobRequest::new(name, "stagehand") }
}

/// The demo's labels on 12 mm tape as a stream, printed with a printer of a person's own.
fn stream(folder: &Path, printer: &str, profile: &str) -> Vec<u8> {
    needs_modules();
    let demo = crate::sources::root().join("core/data/demo");
    std::fs::copy(demo.join("cables.csv"), folder.join("cables.csv")).expect("the demo's cables");
    std::fs::write(folder.join("printers.toml"), profile).expect("a file can be written");
    let job = format!(
        "list = 'cables.csv'\nowner = 'TWP'\nprinter_files = ['printers.toml']\nprinter = '{printer}'\nstock = 'tape-12'\n\
         build = 'flag'\ntext = ['{{owner}} {{batch}}', '{{number}} {{length}}']\n"
    );
    std::fs::write(folder.join("job.toml"), job).expect("a file can be written");
    program::run(folder, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    std::fs::read(folder.join("out.pwg")).expect("the stream")
}

/// The same for the shipped printer.
fn shipped_stream() -> Vec<u8> {
    let folder = folder();
    stream(folder.path(), "bench-180", "")
}

#[test]
fn a_printer_tells_of_itself_and_prints_with_the_profile_made_of_it() {
    let roll = Roll::start();
    let printer = connect(&roll.uri());
    let told = printer.attributes();
    assert_eq!(told.name.as_deref(), Some("Playhouse Roll"));
    assert_eq!(told.make_and_model.as_deref(), Some("Playhouse Roll"));
    assert_eq!(told.device_id.as_deref(), Some("MFG:Playhouse;MDL:Roll;CMD:PWGRaster;"));
    assert!(told.uuid.as_ref().is_some_and(|uuid| uuid.starts_with("urn:uuid:")), "{:?}", told.uuid);
    assert_eq!((told.activity, told.accepting, told.conditions.len()), (Activity::Idle, true, 0));
    assert!(told.formats.iter().any(|format| format == "image/pwg-raster"), "{:?}", told.formats);
    let resolutions: Vec<String> = told.resolutions.iter().map(ToString::to_string).collect();
    assert_eq!(resolutions, ["180 × 180 dpi", "360 × 360 dpi"]);
    let mm = Micrometres::from_mm;
    assert_eq!(told.media[0].across, (mm(6.0), mm(24.0)));
    assert_eq!(told.media[0].along, (mm(10.0), mm(1000.0)));
    assert_eq!(told.margins.top, Some(mm(0.0)));
    assert_eq!(
        told.cuts(),
        ["trim", "trim-after-pages", "trim-after-documents", "trim-after-copies", "trim-after-job"]
    );
    let profile = told.profile();
    let mut catalogue = Catalogue::shipped();
    catalogue.add_printers(&profile).unwrap_or_else(|error| panic!("{error}:\n{profile}"));
    let made = catalogue.printer("playhouse-roll").unwrap_or_else(|error| panic!("{error}:\n{profile}"));
    assert_eq!((made.across.milli(), made.along.milli(), made.cutter), (180_000, 180_000, Cutter::Full));
    assert_eq!((made.widest, made.max_strip, made.min_piece), (mm(24.0), mm(1000.0), mm(10.0)));
    for said in ["# it can also do 360 × 360 dpi", "lead_mm = 25  # unknown", "# it names trim, trim-after-pages"] {
        assert!(profile.contains(said), "found no `{said}` in:\n{profile}");
    }

    let folder = folder();
    let sent = stream(folder.path(), "playhouse-roll", &profile);
    let mut job = printer
        .print(&JobRequest { finishing: Some(62), ..request("OTTER") }, &sent[..], &mut |_| ())
        .unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(job.doubts, Vec::<String>::new());
    let mut said = Vec::new();
    let ended = printer.follow(&mut job, &mut |progress| said.push(progress.stage)).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!((ended.stage, said.last()), (Stage::Completed, Some(&Stage::Completed)));
    let received = roll.received();
    assert_eq!(received.len(), 1);
    let (document, settings) = &received[0];
    assert!(*document == sent, "found {} bytes, wanted {}", document.len(), sent.len());
    assert!(crate::strict::pages("through a queue", document) > 1);
    for setting in [
        "IPP_JOB_NAME=OTTER",
        "IPP_JOB_ORIGINATING_USER_NAME=stagehand",
        "IPP_DOCUMENT_FORMAT_SUPPLIED=image/pwg-raster",
        "IPP_PRINT_COLOR_MODE=bi-level",
        "IPP_FINISHINGS=trim-after-copies",
        "x-dimension=1200",
        "y-dimension=90000",
    ] {
        assert!(settings.contains(setting), "found no {setting} in:\n{settings}");
    }
}

#[test]
fn used_up_tape_is_told_and_waited_for() {
    let roll = Roll::start();
    let printer = connect(&roll.uri());
    let sent = shipped_stream();
    let mut job = printer.print(&request("empty"), &sent[..], &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
    let mut said: Vec<Progress> = Vec::new();
    let ended = printer.follow(&mut job, &mut |progress| {
        // The tape is changed when the printer has asked for it, and never before.
        if progress.wants().is_some_and(|wants| wants.keyword.starts_with("media-")) {
            roll.give("refilled");
        }
        said.push(progress.clone());
    });
    let ended = ended.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(ended.stage, Stage::Completed);
    let wanted = said.iter().find_map(Progress::wants).unwrap_or_else(|| panic!("nothing was wanted: {said:?}"));
    assert_eq!(wanted.to_error().kind().exit_code(), 3);
    assert!(wanted.sentence.contains("tape"), "{wanted}");
    assert!(roll.received()[0].0 == sent);
}

#[test]
fn used_up_tape_is_told_through_a_print_server_too() {
    let roll = Roll::start();
    let server = Server::start();
    let printer = connect(&server.queue("roll", &roll.uri()));
    let mut job = printer.print(&request("empty"), &b"RaS2"[..], &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
    let mut wanted = None;
    let ended = printer.follow(&mut job, &mut |progress| {
        if let Some(wants) = progress.wants().filter(|wants| wants.keyword.starts_with("media-")) {
            wanted = Some(wants.clone());
            roll.give("refilled");
        }
    });
    assert_eq!(ended.unwrap_or_else(|error| panic!("{error}; {}", server.said())).stage, Stage::Completed);
    assert_eq!(wanted.expect("it was told").kind, Kind::Supply);
}

#[test]
fn a_job_the_printer_aborts_is_an_error() {
    let roll = Roll::start();
    let printer = connect(&roll.uri());
    let mut job = printer.print(&request("jam"), &b"RaS2"[..], &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
    let error = printer.follow(&mut job, &mut |_| ()).unwrap_err();
    assert_eq!(error.kind().exit_code(), 4);
    let text = error.to_string();
    for said in [
        &roll.uri(),
        "was aborted by the printer: the tape is in knots",
        "aborted-by-system",
        "the tape is jammed, clear its path",
    ] {
        assert!(text.contains(said), "found no `{said}` in: {text}");
    }
}

#[test]
fn a_job_can_be_canceled() {
    let roll = Roll::start();
    let printer = connect(&roll.uri());
    let mut job = printer.print(&request("slow"), &b"RaS2"[..], &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
    let same = job.clone();
    let mut asked = false;
    let ended = printer.follow(&mut job, &mut |progress| {
        if progress.stage == Stage::Processing && !asked {
            printer.cancel(&same).unwrap_or_else(|error| panic!("{error}"));
            asked = true;
            // The printer ends a canceled job when its command has ended.
            roll.give("go");
        }
    });
    let error = ended.unwrap_err();
    assert!(asked && error.to_string().contains("was canceled"), "{error}");
    assert_eq!(error.kind(), Kind::Device);
    let again = printer.cancel(&job).unwrap_err();
    assert!(again.to_string().contains("not possible now"), "{again}");
}

#[test]
fn a_print_server_passes_a_stream_on() {
    let roll = Roll::start();
    let server = Server::start();
    let sent = shipped_stream();

    let printer = connect(&server.queue("roll", &roll.uri()));
    let pushed = printer.print_pushed(&request("OTTER"), &mut |_| (), |to| {
        let each = sent.chunks(4000).try_for_each(|piece| to.write_all(piece));
        each.map_err(|error| Error::new(Kind::Device, error.to_string()))
    });
    let mut job = pushed.unwrap_or_else(|error| panic!("{error}; {}", server.said()));
    let ended = printer.follow(&mut job, &mut |_| ()).unwrap_or_else(|error| panic!("{error}; {}", server.said()));
    assert_eq!(ended.stage, Stage::Completed);
    let received = roll.received();
    assert_eq!(received.len(), 1);
    assert!(received[0].0 == sent, "found {} bytes, wanted {}", received[0].0.len(), sent.len());
    assert!(crate::strict::pages("through a server", &received[0].0) > 1);

    // To a raw TCP port.
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("its number").port();
    let sink = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        listener.accept().and_then(|(mut link, _)| link.read_to_end(&mut bytes)).map(|_| bytes)
    });
    let printer = connect(&server.queue("raw", &format!("socket://127.0.0.1:{port}")));
    let mut job = printer.print(&request("OTTER"), &sent[..], &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
    printer.follow(&mut job, &mut |_| ()).unwrap_or_else(|error| panic!("{error}; {}", server.said()));
    let raw = sink.join().expect("the sink").expect("the raw port was written to");
    assert!(raw == sent, "found {} bytes, wanted {}", raw.len(), sent.len());
}

#[test]
fn a_format_the_printer_does_not_take_is_refused_before_anything_is_sent() {
    let roll = Roll::start();
    let printer = connect(&roll.uri());
    let request = JobRequest { format: "image/x-other".into(), ..request("OTTER") };
    let error = printer.print(&request, &b"x"[..], &mut |_| ()).unwrap_err();
    assert_eq!(error.kind().exit_code(), 2, "{error}");
    let text = error.to_string();
    for said in ["it refuses document-format", "image/pwg-raster", "wanted image/x-other"] {
        assert!(text.contains(said), "found no `{said}` in: {text}");
    }
    assert_eq!(roll.received().len(), 0);
}

#[test]
fn a_wrong_address_is_told_in_a_sentence() {
    let roll = Roll::start();
    let server = Server::start();
    let closed = TcpListener::bind("127.0.0.1:0").and_then(|port| port.local_addr()).expect("a free port").port();
    // A label of more than 63 bytes is no name: nobody on a network is asked for it (RFC 1035, section 2.3.4).
    let nobody = "x".repeat(64);
    for (uri, wanted) in [
        (format!("ipp://localhost:{}/no/such/queue", roll.port()), "the printer knows no such queue or job"),
        (format!("{}/printers/none", server.address()), "the printer knows no such queue or job"),
        (format!("ipp://127.0.0.1:{closed}/ipp/print"), "is the printer on and the port right?"),
        (format!("ipp://{nobody}.invalid/ipp/print"), "on the network"),
    ] {
        let error = Printer::connect_with(&uri, TIMING).expect_err("no queue is there");
        assert_eq!(error.kind().exit_code(), 4, "{error}");
        let text = error.to_string();
        assert!(text.starts_with(&uri) && text.contains(wanted), "found {text}, wanted {wanted}");
    }
}
