//! The client against a print queue of our own making, which does what real ones seldom do on demand.

use super::message::{Attribute, Message, Value, group, operation};
use super::{Activity, JobHandle, JobRequest, Printer, Stage, Timing};
use crate::error::{Error, Kind};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Short waits. Nothing here depends on how long they are but the tests' own time.
const TIMING: Timing =
    Timing { poll: Duration::from_millis(5), answer: Duration::from_secs(20), silence: Duration::from_secs(20) };

/// What a request had: the message and the document behind it, still to be read.
struct Seen<'c> {
    message: Message,
    document: &'c mut dyn Read,
}

/// What is said to it: a message, bytes as they are, or nothing for good.
enum Said {
    Message(Message),
    Bytes(Vec<u8>),
}

type Behaviour = dyn Fn(&mut Seen<'_>) -> Said + Send + Sync;

/// A print queue on loopback. Ends when it is dropped.
struct Queue {
    at: SocketAddr,
    ends: Arc<AtomicBool>,
    accepts: Option<JoinHandle<()>>,
}

impl Queue {
    fn new(behaviour: impl Fn(&mut Seen<'_>) -> Said + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let (at, ends) = (listener.local_addr().unwrap(), Arc::new(AtomicBool::new(false)));
        let (behaviour, end): (Arc<Behaviour>, _) = (Arc::new(behaviour), ends.clone());
        let accepts = std::thread::spawn(move || {
            let mut served = Vec::new();
            for stream in listener.incoming() {
                if end.load(Ordering::SeqCst) {
                    break;
                }
                let behaviour = behaviour.clone();
                // A client that gives up closes: no fault of the queue.
                served.push(std::thread::spawn(move || drop(serve(&stream.unwrap(), &*behaviour))));
            }
            served.into_iter().for_each(|thread| thread.join().unwrap());
        });
        Self { at, ends, accepts: Some(accepts) }
    }

    fn uri(&self) -> String {
        format!("ipp://{}/ipp/print", self.at)
    }

    fn printer(&self) -> Printer {
        Printer::connect_with(&self.uri(), TIMING).unwrap()
    }
}

impl Drop for Queue {
    fn drop(&mut self) {
        self.ends.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.at);
        let ended = self.accepts.take().map(JoinHandle::join);
        assert!(std::thread::panicking() || matches!(ended, Some(Ok(()))), "the queue panicked");
    }
}

/// Chunks of a request (RFC 9112, section 7.1).
struct Chunks<R> {
    from: R,
    left: usize,
    ended: bool,
}

impl<R: BufRead> Chunks<R> {
    fn next(&mut self) -> io::Result<()> {
        let mut line = String::new();
        self.from.read_line(&mut line)?;
        self.left = usize::from_str_radix(line.trim(), 16).map_err(|_| io::ErrorKind::UnexpectedEof)?;
        self.ended = self.left == 0;
        Ok(())
    }

    /// The rest of the chunk, and the line's end behind it.
    fn rest(&mut self) -> io::Result<Vec<u8>> {
        let mut bytes = vec![0; self.left + 2];
        self.from.read_exact(&mut bytes)?;
        bytes.truncate(self.left);
        self.left = 0;
        Ok(bytes)
    }
}

impl<R: BufRead> Read for Chunks<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 && !self.ended {
            self.next()?;
        }
        if self.ended {
            return Ok(0);
        }
        let most = self.left.min(buffer.len());
        let got = self.from.read(&mut buffer[..most])?;
        self.left -= got;
        if self.left == 0 {
            self.from.read_exact(&mut [0; 2])?;
        }
        if got == 0 { Err(io::ErrorKind::UnexpectedEof.into()) } else { Ok(got) }
    }
}

fn serve(stream: &TcpStream, behaviour: &Behaviour) -> io::Result<()> {
    let mut from = BufReader::new(stream);
    let (mut length, mut line) = (None, String::new());
    while from.read_line(&mut line)? > 2 {
        if let Some(value) = line.strip_prefix("Content-Length: ") {
            length = value.trim().parse().ok();
        }
        line.clear();
    }
    let said = if let Some(length) = length {
        let mut bytes = vec![0; length];
        from.read_exact(&mut bytes)?;
        let message = Message::parse(&bytes).expect("a message of the client's");
        behaviour(&mut Seen { message, document: &mut io::empty() })
    } else {
        let mut chunks = Chunks { from, left: 0, ended: false };
        chunks.next()?;
        let message = Message::parse(&chunks.rest()?).expect("the first chunk is the message");
        behaviour(&mut Seen { message, document: &mut chunks })
    };
    let bytes = match said {
        Said::Message(message) => {
            let body = message.to_bytes();
            let head =
                format!("HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: {}\r\n\r\n", body.len());
            [head.as_bytes(), &body].concat()
        }
        Said::Bytes(bytes) => bytes,
    };
    let mut to = stream;
    to.write_all(&bytes)?;
    // A connection closed with bytes unread may take the answer along: they are read.
    stream.shutdown(Shutdown::Write)?;
    io::copy(&mut to, &mut io::sink()).map(drop)
}

fn reply(status: u16) -> Message {
    let mut reply = Message { code: status, id: 1, groups: Vec::new() };
    reply.add(group::OPERATION, "attributes-charset", Value::charset("utf-8"));
    reply
}

fn printer_reply(operations: &[u16], state: i32, reasons: &str) -> Said {
    let mut reply = reply(0);
    for operation in operations {
        reply.add(group::PRINTER, "operations-supported", Value::Enum(i32::from(*operation)));
    }
    reply.add(group::PRINTER, "printer-state", Value::Enum(state));
    reply.add(group::PRINTER, "printer-state-reasons", Value::keyword(reasons));
    reply.add(group::PRINTER, "media-left-margin-supported", Value::Integer(0));
    reply.add(group::PRINTER, "print-color-mode-supported", Value::keyword("bi-level"));
    Said::Message(reply)
}

fn job_reply(state: i32) -> Said {
    let mut reply = reply(0);
    reply.add(group::JOB, "job-id", Value::Integer(7));
    reply.add(group::JOB, "job-state", Value::Enum(state));
    Said::Message(reply)
}

const ALL: [u16; 7] = [
    operation::PRINT_JOB,
    operation::VALIDATE_JOB,
    operation::CREATE_JOB,
    operation::SEND_DOCUMENT,
    operation::CANCEL_JOB,
    operation::GET_JOB_ATTRIBUTES,
    operation::GET_PRINTER_ATTRIBUTES,
];

/// What a queue in order says, with a job that has just been taken.
fn usual(seen: &mut Seen<'_>) -> Said {
    match seen.message.code {
        operation::GET_PRINTER_ATTRIBUTES => printer_reply(&ALL, 3, "none"),
        operation::VALIDATE_JOB | operation::CANCEL_JOB => Said::Message(reply(0)),
        operation::GET_JOB_ATTRIBUTES => job_reply(5),
        _ => io::copy(seen.document, &mut io::sink()).map_or(Said::Bytes(Vec::new()), |_| job_reply(9)),
    }
}

fn request() -> JobRequest {
    JobRequest::new("OTTER", "TWP")
}

/// Bytes that tell when some are lost, doubled or moved.
fn document(length: usize) -> Vec<u8> {
    (0..length).map(|nth| (nth * 31 + nth / 251).to_le_bytes()[0]).collect()
}

#[test]
fn a_printer_that_stops_for_tape_in_the_middle_gets_every_byte_once() {
    // Far more than the buffers of a connection hold (seen: below 7 MB).
    let sent = Arc::new(document(24 << 20));
    let got = Arc::new(Mutex::new(Vec::new()));
    let asked = Arc::new(AtomicUsize::new(0));
    let (queue_got, queue_asked) = (got.clone(), asked.clone());
    let queue = Queue::new(move |seen| match seen.message.code {
        operation::SEND_DOCUMENT => {
            let mut part = vec![0; 1 << 20];
            seen.document.read_exact(&mut part).unwrap();
            // Takes no more until it has said three times that its tape is used up.
            while queue_asked.load(Ordering::SeqCst) < 3 {
                std::thread::yield_now();
            }
            seen.document.read_to_end(&mut part).unwrap();
            *queue_got.lock().unwrap() = part;
            job_reply(5)
        }
        operation::GET_JOB_ATTRIBUTES => {
            let before = queue_asked.fetch_add(1, Ordering::SeqCst);
            let whole = !queue_got.lock().unwrap().is_empty();
            job_reply(if whole {
                9
            } else if before < 3 {
                6
            } else {
                5
            })
        }
        operation::GET_PRINTER_ATTRIBUTES if (1..=3).contains(&queue_asked.load(Ordering::SeqCst)) => {
            printer_reply(&ALL, 5, "media-empty-error")
        }
        _ => usual(seen),
    });
    let printer = queue.printer();
    let mut said = Vec::new();
    let mut job = printer.print(&request(), &sent[..], &mut |progress| said.push(progress.clone())).unwrap();
    assert_eq!(job.id, 7);
    assert_eq!((said[0].job, said[0].stage), (Some(7), Stage::Sending));
    assert_eq!((said[1].stage, said[1].printer), (Stage::Stopped, Activity::Stopped));
    assert_eq!(said[1].wants().unwrap().kind, Kind::Supply);
    assert!(*got.lock().unwrap() == *sent, "the document came through changed");
    let ended = printer.follow(&mut job, &mut |_| ()).unwrap();
    assert_eq!(ended.stage, Stage::Completed);
}

#[test]
fn a_printer_of_one_operation_is_printed_to() {
    let got = Arc::new(Mutex::new((Vec::new(), None)));
    let queue_got = got.clone();
    let queue = Queue::new(move |seen| match seen.message.code {
        operation::GET_PRINTER_ATTRIBUTES => printer_reply(&[operation::PRINT_JOB], 3, "none"),
        operation::PRINT_JOB => {
            let mut document = Vec::new();
            seen.document.read_to_end(&mut document).unwrap();
            *queue_got.lock().unwrap() = (document, Some(seen.message.clone()));
            job_reply(5)
        }
        code => panic!("asked for operation {code}"),
    });
    let mut request = request();
    request.size = Some((crate::unit::Micrometres::from_mm(12.0), crate::unit::Micrometres::from_mm(345.678)));
    let sent = document(100_000);
    queue.printer().print(&request, &sent[..], &mut |_| ()).unwrap();
    let (document, message) = std::mem::take(&mut *got.lock().unwrap());
    assert!(document == sent);
    let message = message.unwrap();
    for (name, wanted) in
        [("job-name", "OTTER"), ("requesting-user-name", "TWP"), ("document-format", "image/pwg-raster")]
    {
        assert_eq!(message.text(group::OPERATION, name).as_deref(), Some(wanted));
    }
    assert_eq!(message.text(group::JOB, "print-color-mode").as_deref(), Some("bi-level"));
    let media = message.values(group::JOB, "media-col").next().unwrap();
    let size =
        [Attribute::new("x-dimension", Value::Integer(1200)), Attribute::new("y-dimension", Value::Integer(34_568))];
    assert_eq!(media.member("media-size"), [Value::Collection(size.into())]);
    assert_eq!(media.member("media-left-margin"), [Value::Integer(0)]);
    assert_eq!(media.member("media-top-margin"), []);
}

#[test]
fn a_busy_printer_is_asked_again() {
    let asked = Arc::new(AtomicUsize::new(0));
    let count = asked.clone();
    let queue = Queue::new(move |seen| match seen.message.code {
        operation::CREATE_JOB if count.fetch_add(1, Ordering::SeqCst) < 2 => Said::Message(reply(0x0507)),
        _ => usual(seen),
    });
    let mut said = Vec::new();
    queue.printer().print(&request(), &b"x"[..], &mut |progress| said.push(progress.to_string())).unwrap();
    assert_eq!(asked.load(Ordering::SeqCst), 3);
    assert_eq!(said[..2], ["pending", "job 7: sending"]);
}

/// A queue that notes whether the job was canceled.
fn noting_cancel(behaviour: fn(&mut Seen<'_>) -> Said) -> (Queue, Arc<AtomicBool>) {
    let canceled = Arc::new(AtomicBool::new(false));
    let note = canceled.clone();
    let queue = Queue::new(move |seen| {
        if seen.message.code == operation::CANCEL_JOB {
            note.store(seen.message.number(group::OPERATION, "job-id") == Some(7), Ordering::SeqCst);
        }
        behaviour(seen)
    });
    (queue, canceled)
}

#[test]
fn a_printer_that_refuses_in_the_middle_is_heard() {
    let (queue, canceled) = noting_cancel(|seen| match seen.message.code {
        operation::SEND_DOCUMENT => {
            let mut part = [0; 100];
            seen.document.read_exact(&mut part).unwrap();
            let mut no = reply(0x0411);
            no.add(group::OPERATION, "status-message", Value::name("line 3 is odd"));
            Said::Message(no)
        }
        _ => usual(seen),
    });
    let error = queue.printer().print(&request(), &document(3 << 20)[..], &mut |_| ()).unwrap_err();
    assert_eq!(error.kind(), Kind::Device);
    let text = error.to_string();
    assert!(text.contains("finds the document damaged (status 0x0411, it says: line 3 is odd)"), "{text}");
    assert!(text.ends_with("job 7 was canceled") && canceled.load(Ordering::SeqCst), "{text}");
}

#[test]
fn a_printer_that_prints_before_it_answers_is_believed() {
    let (got, asked) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
    let (whole, told) = (got.clone(), asked.clone());
    let queue = Queue::new(move |seen| match seen.message.code {
        operation::SEND_DOCUMENT => {
            io::copy(seen.document, &mut io::sink()).unwrap();
            whole.store(true, Ordering::SeqCst);
            while !told.load(Ordering::SeqCst) {
                std::thread::yield_now();
            }
            job_reply(9)
        }
        operation::GET_JOB_ATTRIBUTES if whole.load(Ordering::SeqCst) => {
            told.store(true, Ordering::SeqCst);
            job_reply(9)
        }
        _ => usual(seen),
    });
    assert_eq!(queue.printer().print(&request(), &b"x"[..], &mut |_| ()).unwrap().id, 7);
    assert!(asked.load(Ordering::SeqCst) && got.load(Ordering::SeqCst));
}

#[test]
fn a_printer_that_is_content_with_a_part_is_not_believed() {
    let (queue, canceled) = noting_cancel(|seen| match seen.message.code {
        operation::SEND_DOCUMENT => job_reply(9),
        _ => usual(seen),
    });
    let error = queue.printer().print(&request(), io::repeat(7), &mut |_| ()).unwrap_err();
    let text = error.to_string();
    assert!(text.ends_with("before it had all of the document; job 7 was canceled"), "{text}");
    assert!(canceled.load(Ordering::SeqCst));
}

#[test]
fn a_printer_that_takes_no_bytes_and_says_nothing_is_given_up() {
    let canceled = Arc::new(AtomicBool::new(false));
    let cancel = canceled.clone();
    let queue = Queue::new(move |seen| match seen.message.code {
        operation::SEND_DOCUMENT => {
            while !cancel.load(Ordering::SeqCst) {
                std::thread::yield_now();
            }
            Said::Bytes(Vec::new())
        }
        operation::GET_JOB_ATTRIBUTES => Said::Bytes(Vec::new()),
        operation::CANCEL_JOB => {
            cancel.store(true, Ordering::SeqCst);
            Said::Message(reply(0))
        }
        _ => usual(seen),
    });
    let timing = Timing { silence: Duration::from_millis(30), ..TIMING };
    let printer = Printer::connect_with(&queue.uri(), timing).unwrap();
    let error = printer.print(&request(), io::repeat(7), &mut |_| ()).unwrap_err();
    let text = error.to_string();
    assert!(text.contains("took no bytes and gave no answer for 0.03 s"), "{text}");
    assert!(text.ends_with("job 7 was canceled"), "{text}");
}

/// A document that cannot be read beyond its first bytes.
struct Torn(usize);

impl Read for Torn {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.0.min(buffer.len());
        self.0 -= got;
        if got == 0 { Err(io::Error::other("a torn page")) } else { Ok(got) }
    }
}

#[test]
fn a_document_that_breaks_off_is_canceled_and_never_ended() {
    let (queue, canceled) = noting_cancel(|seen| match seen.message.code {
        operation::SEND_DOCUMENT => {
            let error = seen.document.read_to_end(&mut Vec::new()).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::UnexpectedEof);
            Said::Bytes(Vec::new())
        }
        _ => usual(seen),
    });
    let error = queue.printer().print(&request(), Torn(70_000), &mut |_| ()).unwrap_err();
    assert!(error.to_string().ends_with("the stream broke off: a torn page; job 7 was canceled"), "{error}");
    assert!(canceled.load(Ordering::SeqCst));
}

#[test]
fn a_pushed_stream_comes_through_and_its_own_error_wins() {
    let (queue, canceled) = noting_cancel(usual);
    let printer = queue.printer();
    let sent = document(3 << 20);
    let job = printer.print_pushed(&request(), &mut |_| (), |to| {
        sent.chunks(1000).try_for_each(|piece| to.write_all(piece)).map_err(|error| Error::bug(error.to_string()))
    });
    assert_eq!(job.unwrap().id, 7);
    assert!(!canceled.load(Ordering::SeqCst));
    let error = printer.print_pushed(&request(), &mut |_| (), |to| {
        to.write_all(b"half").map_err(|error| Error::bug(error.to_string()))?;
        Err(Error::driver("the module gave up"))
    });
    assert_eq!(error.unwrap_err().kind(), Kind::Driver);
    assert!(canceled.load(Ordering::SeqCst), "a half document was left to print");
}

#[test]
fn whoever_pushes_hears_of_a_printer_that_refuses() {
    let queue = Queue::new(|seen| match seen.message.code {
        operation::CREATE_JOB => Said::Message(reply(0x0506)),
        _ => usual(seen),
    });
    let error = queue.printer().print_pushed(&request(), &mut |_| (), |to| {
        // For ever, if nobody told it.
        loop {
            to.write_all(&[0; 4096]).map_err(|error| Error::new(Kind::Device, error.to_string()))?;
        }
    });
    let error = error.unwrap_err();
    assert!(error.to_string().contains("the printer takes no jobs now (status 0x0506)"), "{error}");
}

#[test]
fn a_job_that_ends_while_it_is_sent_is_not_sent_on() {
    let canceled = Arc::new(AtomicBool::new(false));
    let asked = canceled.clone();
    let queue = Queue::new(move |seen| match seen.message.code {
        // Takes nothing until the client has been told of the end.
        operation::SEND_DOCUMENT => {
            while !asked.load(Ordering::SeqCst) {
                std::thread::yield_now();
            }
            Said::Bytes(Vec::new())
        }
        operation::GET_JOB_ATTRIBUTES => {
            asked.store(true, Ordering::SeqCst);
            job_reply(7)
        }
        _ => usual(seen),
    });
    let error = queue.printer().print(&request(), io::repeat(7), &mut |_| ()).unwrap_err();
    assert!(error.to_string().ends_with("job 7 was canceled"), "{error}");
}

#[test]
fn answers_in_chunks_and_after_others_are_read() {
    let queue = Queue::new(|_| {
        let Said::Message(reply) = printer_reply(&ALL, 4, "none") else { unreachable!("a message") };
        let body = reply.to_bytes();
        let (first, second) = body.split_at(11);
        let mut bytes = b"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 200 OK\r\ncontent-type: application/ipp\r\ntransfer-encoding: chunked\r\n\r\n".to_vec();
        bytes.extend(b"b;x=y\r\n");
        bytes.extend(first);
        bytes.extend(format!("\r\n{:X}\r\n", second.len()).as_bytes());
        bytes.extend(second);
        bytes.extend(b"\r\n0\r\n\r\n");
        Said::Bytes(bytes)
    });
    assert_eq!(queue.printer().attributes().activity, Activity::Processing);
}

#[test]
fn what_is_no_print_queue_is_told_so() {
    let html = "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 2\r\n\r\nhi";
    for (answer, wanted) in [
        (
            &b"\x00\x01\x02hello\r\n"[..],
            "found an answer that begins `\\x00\\x01\\x02hello\\r\\n`, wanted a print queue",
        ),
        (html.as_bytes(), "found a server of `text/html`, wanted a print queue"),
        (b"", "closed the connection after 0 bytes"),
        (
            b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: 90\r\n\r\nhi",
            "found 2 bytes of an answer, wanted 90",
        ),
        (
            b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: 3\r\n\r\nABC",
            "no IPP: found version 65",
        ),
        (
            b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
            "a chunk of length `zz`",
        ),
        (
            b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: 99999999999\r\n\r\n",
            "an answer of more than",
        ),
    ] {
        let queue = Queue::new(move |_| Said::Bytes(answer.to_vec()));
        let error = Printer::connect_with(&queue.uri(), TIMING).unwrap_err();
        assert_eq!(error.kind(), Kind::Device, "{error}");
        let text = error.to_string();
        assert!(text.starts_with(&queue.uri()) && text.contains(wanted), "found {text}, wanted {wanted}");
    }
}

#[test]
fn a_printer_that_says_nothing_is_given_up() {
    // The connection is taken by the system and nobody answers.
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let uri = format!("ipp://{}/", listener.local_addr().unwrap());
    let timing = Timing { answer: Duration::from_millis(30), ..TIMING };
    let error = Printer::connect_with(&uri, timing).unwrap_err();
    assert!(error.to_string().contains("no answer within 0.03 s"), "{error}");
    assert_eq!(error.kind(), Kind::Device);
}

#[test]
fn a_job_of_a_printer_that_went_away_is_named() {
    let queue = Queue::new(usual);
    let timing = Timing { silence: Duration::from_millis(30), ..TIMING };
    let printer = Printer::connect_with(&queue.uri(), timing).unwrap();
    drop(queue);
    let error = printer.follow(&mut JobHandle::known(7, "TWP"), &mut |_| ()).unwrap_err();
    assert_eq!(error.kind(), Kind::Device);
    assert!(error.to_string().contains("job 7 may go on: look at the printer"), "{error}");
}
