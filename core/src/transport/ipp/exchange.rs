//! One request and its reply over HTTP/1.1 (RFC 8010, section 4; RFC 9112).
//!
//! Each exchange has its own connection. All waits are short turns on the socket; between them the
//! caller is asked whether to go on. So a printer that takes no more bytes because its tape is used up
//! holds the stream for as long as the caller wants, and no byte is sent twice or lost.

use super::address::Address;
use crate::error::{Error, Kind, Result};
use std::io::{self, ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// How an error begins when the document, not the link, failed.
pub(super) const BROKE_OFF: &str = "the stream broke off";
/// Bytes of a document sent at a time.
const CHUNK: usize = 32 << 10;
/// Most interim answers before the one that counts.
const INTERIM_MOST: usize = 8;

/// Longest head of a reply; real ones have some hundred bytes.
const HEAD_MOST: usize = 64 << 10;
/// Longest reply: a list of some thousand media sizes fits several times.
const BODY_MOST: usize = 8 << 20;

/// A turn in which nothing moved.
#[derive(Clone, Copy, Debug)]
pub(super) struct Still {
    /// Since something did. Counted in turns, not taken from a clock.
    pub(super) since: Duration,
    /// Whether all of the request has been sent and only the answer is awaited.
    pub(super) whole: bool,
}

/// Asked after each turn in which nothing moved: go on, or fail with the error.
pub(super) type Idle<'i> = &'i mut dyn FnMut(Still) -> Result<()>;

/// How long the parts of an exchange wait.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turns {
    /// For a connection.
    pub(super) connect: Duration,
    /// For bytes to move, before `Idle` is asked.
    pub(super) turn: Duration,
}

fn device(text: impl Into<String>) -> Error {
    Error::new(Kind::Device, text)
}

/// The body of a reply.
pub(super) struct Reply {
    pub(super) bytes: Vec<u8>,
    /// Whether all of the request was sent before it.
    pub(super) whole: bool,
}

/// Sends a request, with a document behind it if there is one, and reads the reply's body.
///
/// A printer that refuses a document may answer before it has all of it, and close.
///
/// # Errors
/// Kind `Device`: no connection, no answer that is HTTP, another status than 200, another content than
/// IPP; or the document cannot be read, and the printer is given no end of it. Whatever `idle` fails with.
pub(super) fn exchange(
    address: &Address,
    message: &[u8],
    document: Option<&mut dyn Read>,
    turns: Turns,
    idle: Idle<'_>,
) -> Result<Reply> {
    let stream = connect(address, turns.connect)?;
    let mut link = Link { stream, turn: turns.turn, still: Still { since: Duration::ZERO, whole: false }, idle };
    link.stream
        .set_nodelay(true)
        .and_then(|()| link.stream.set_write_timeout(Some(turns.turn)))
        .and_then(|()| link.stream.set_read_timeout(Some(turns.turn)))
        .map_err(|error| device(format!("the link cannot be set up: {error}")))?;
    let length = match document {
        None => format!("Content-Length: {}", message.len()),
        Some(_) => "Transfer-Encoding: chunked".to_owned(),
    };
    let head = format!(
        "POST {} HTTP/1.1\r\nHost: {}\r\nUser-Agent: tapewright\r\nContent-Type: application/ipp\r\nConnection: close\r\n{length}\r\n\r\n",
        address.path(),
        address.authority(),
    );
    let sent = match document {
        None => link.send(&[head.as_bytes(), message].concat()),
        Some(document) => link.send_chunked(head.as_bytes(), message, document),
    };
    let (reply, whole) = match sent {
        Ok(()) => {
            link.still.whole = true;
            (link.reply(Vec::new()), true)
        }
        Err(Stopped::Answered) => (link.reply(Vec::new()), false),
        Err(Stopped::Gone(error)) => {
            let gone = |_| device(format!("the printer broke off while it was sent to: {error}"));
            (link.reply(Vec::new()).map_err(gone), false)
        }
        Err(Stopped::Failed(error)) => return Err(error),
    };
    Ok(Reply { bytes: reply?, whole })
}

fn connect(address: &Address, deadline: Duration) -> Result<TcpStream> {
    let found = (address.host(), address.port()).to_socket_addrs();
    let addresses = found.map_err(|error| {
        device(format!("found no host `{}` on the network ({error}), is its name right?", address.host()))
    })?;
    let mut last = None;
    for socket in addresses {
        match TcpStream::connect_timeout(&socket, deadline) {
            Ok(stream) => return Ok(stream),
            Err(error) => last = Some(error),
        }
    }
    let port = address.port();
    Err(device(match last {
        Some(error) if error.kind() == ErrorKind::ConnectionRefused => {
            format!("nothing answers at port {port}, is the printer on and the port right?")
        }
        Some(error) if is_timeout(&error) => {
            format!("no answer from port {port} within {} s, is the printer on and in reach?", deadline.as_secs_f32())
        }
        Some(error) => format!("no connection to port {port}: {error}"),
        None => format!("found no address of host `{}`", address.host()),
    }))
}

fn is_timeout(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut)
}

/// Why sending stopped.
enum Stopped {
    /// The printer answers already.
    Answered,
    /// The connection is gone; an answer may lie there still.
    Gone(io::Error),
    Failed(Error),
}

struct Link<'i> {
    stream: TcpStream,
    turn: Duration,
    still: Still,
    idle: Idle<'i>,
}

impl Link<'_> {
    fn rest(&mut self) -> Result<()> {
        self.still.since += self.turn;
        (self.idle)(self.still)
    }

    fn send(&mut self, mut bytes: &[u8]) -> std::result::Result<(), Stopped> {
        while !bytes.is_empty() {
            match self.stream.write(bytes) {
                Ok(0) => return Err(Stopped::Gone(ErrorKind::WriteZero.into())),
                Ok(sent) => {
                    self.still.since = Duration::ZERO;
                    bytes = &bytes[sent..];
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if is_timeout(&error) => {
                    if self.answers() {
                        return Err(Stopped::Answered);
                    }
                    self.rest().map_err(Stopped::Failed)?;
                }
                Err(error) => return Err(Stopped::Gone(error)),
            }
        }
        Ok(())
    }

    fn send_chunked(
        &mut self,
        head: &[u8],
        message: &[u8],
        document: &mut dyn Read,
    ) -> std::result::Result<(), Stopped> {
        let first = [head, format!("{:x}\r\n", message.len()).as_bytes(), message, b"\r\n"].concat();
        self.send(&first)?;
        let mut buffer = vec![0; CHUNK];
        let mut chunk = Vec::with_capacity(CHUNK + 16);
        loop {
            let got = match document.read(&mut buffer) {
                Ok(0) => return self.send(b"0\r\n\r\n"),
                Ok(got) => got,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                // No end is sent: the printer must not take the part for the whole.
                Err(error) => return Err(Stopped::Failed(device(format!("{BROKE_OFF}: {error}")))),
            };
            if self.answers() {
                return Err(Stopped::Answered);
            }
            chunk.clear();
            // RFC 9112, section 7.1.
            chunk.extend(format!("{got:x}\r\n").as_bytes());
            chunk.extend(&buffer[..got]);
            chunk.extend(b"\r\n");
            self.send(&chunk)?;
        }
    }

    /// Whether bytes of an answer lie there, or the end of the connection.
    fn answers(&self) -> bool {
        let mut byte = [0];
        if self.stream.set_nonblocking(true).is_err() {
            return false;
        }
        let seen = self.stream.peek(&mut byte).is_ok();
        seen & self.stream.set_nonblocking(false).is_ok()
    }

    /// The next bytes of the reply; none at its end.
    fn receive(&mut self, buffer: &mut [u8]) -> Result<usize> {
        loop {
            match self.stream.read(buffer) {
                Ok(got) => {
                    self.still.since = Duration::ZERO;
                    return Ok(got);
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if is_timeout(&error) => self.rest()?,
                Err(error) => return Err(device(format!("the printer broke off instead of answering: {error}"))),
            }
        }
    }

    /// Reads a reply, of which `bytes` have come.
    fn reply(&mut self, mut bytes: Vec<u8>) -> Result<Vec<u8>> {
        // Interim answers come before the one that counts (RFC 9110, section 15.2).
        for _ in 0..=INTERIM_MOST {
            let head = self.head(&mut bytes)?;
            if !(100..200).contains(&head.status) {
                return self.body(&head, bytes);
            }
        }
        Err(device(format!("found more than {INTERIM_MOST} interim answers, wanted the answer of a print queue")))
    }

    /// Reads a head and takes it off the bytes that have come.
    fn head(&mut self, bytes: &mut Vec<u8>) -> Result<Head> {
        let end = loop {
            if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
                break end;
            }
            let starts = bytes.len().min(5);
            if bytes[..starts] != b"HTTP/"[..starts] {
                let seen = bytes[..bytes.len().min(16)].escape_ascii();
                return Err(device(format!("found an answer that begins `{seen}`, wanted a print queue (HTTP)")));
            }
            if bytes.len() > HEAD_MOST {
                return Err(device(format!("found a head of more than {HEAD_MOST} bytes, wanted a print queue")));
            }
            if self.more(bytes)? == 0 {
                let found = bytes.len();
                return Err(device(format!("the printer closed the connection after {found} bytes of an answer")));
            }
        };
        let head = Head::parse(&bytes[..end])?;
        bytes.drain(..end + 4);
        Ok(head)
    }

    fn body(&mut self, head: &Head, mut bytes: Vec<u8>) -> Result<Vec<u8>> {
        head.judge()?;
        match head.body {
            Body::Chunked => self.chunked(bytes),
            Body::Length(length) if length > BODY_MOST => Err(too_long()),
            Body::Length(length) => {
                while bytes.len() < length {
                    if self.more(&mut bytes)? == 0 {
                        return Err(device(format!("found {} bytes of an answer, wanted {length}", bytes.len())));
                    }
                }
                bytes.truncate(length);
                Ok(bytes)
            }
            Body::ToEnd => {
                while self.more(&mut bytes)? > 0 {}
                Ok(bytes)
            }
        }
    }

    fn more(&mut self, bytes: &mut Vec<u8>) -> Result<usize> {
        let mut buffer = [0; 8 << 10];
        let got = self.receive(&mut buffer)?;
        bytes.extend(&buffer[..got]);
        if bytes.len() > BODY_MOST + HEAD_MOST { Err(too_long()) } else { Ok(got) }
    }

    fn chunked(&mut self, mut bytes: Vec<u8>) -> Result<Vec<u8>> {
        let mut body = Vec::new();
        loop {
            let line = self.line(&mut bytes)?;
            let digits = line.split(';').next().unwrap_or_default().trim();
            let length = usize::from_str_radix(digits, 16)
                .map_err(|_| device(format!("found a chunk of length `{}`, wanted a number", line.escape_debug())))?;
            if length == 0 {
                return Ok(body);
            }
            if length > BODY_MOST || body.len() + length > BODY_MOST {
                return Err(too_long());
            }
            while bytes.len() < length + 2 {
                if self.more(&mut bytes)? == 0 {
                    return Err(device("found an answer that ends inside a chunk"));
                }
            }
            body.extend(&bytes[..length]);
            bytes.drain(..length + 2);
        }
    }

    fn line(&mut self, bytes: &mut Vec<u8>) -> Result<String> {
        loop {
            if let Some(end) = bytes.windows(2).position(|two| two == b"\r\n") {
                let line = String::from_utf8_lossy(&bytes[..end]).into_owned();
                bytes.drain(..end + 2);
                return Ok(line);
            }
            if bytes.len() > 1024 || self.more(bytes)? == 0 {
                return Err(device("found an answer that ends between chunks"));
            }
        }
    }
}

fn too_long() -> Error {
    device(format!("found an answer of more than {BODY_MOST} bytes, wanted a print queue"))
}

/// How the body of a reply ends (RFC 9112, section 6.3).
#[derive(Debug, PartialEq, Eq)]
enum Body {
    Chunked,
    Length(usize),
    ToEnd,
}

#[derive(Debug)]
struct Head {
    status: u16,
    content: String,
    body: Body,
}

impl Head {
    fn parse(bytes: &[u8]) -> Result<Self> {
        let text = String::from_utf8_lossy(bytes);
        let mut lines = text.split("\r\n");
        let first = lines.next().unwrap_or_default();
        let status = first.split(' ').nth(1).and_then(|word| word.parse().ok());
        let Some(status) = status else {
            return Err(device(format!("found `{}`, wanted an answer of a print queue", first.escape_debug())));
        };
        let (mut content, mut length, mut chunked) = (String::new(), None, false);
        for line in lines {
            let Some((name, value)) = line.split_once(':') else { continue };
            let value = value.trim().to_ascii_lowercase();
            match name.to_ascii_lowercase().as_str() {
                "content-type" => content = value.split(';').next().unwrap_or_default().trim().to_owned(),
                "content-length" => length = value.parse().ok(),
                "transfer-encoding" => chunked = value.split(',').any(|word| word.trim() == "chunked"),
                _ => {}
            }
        }
        let body = match length {
            _ if chunked => Body::Chunked,
            Some(length) => Body::Length(length),
            None => Body::ToEnd,
        };
        Ok(Self { status, content, body })
    }

    /// Whether it is the answer of a print queue.
    fn judge(&self) -> Result<()> {
        let Self { status, content, .. } = self;
        Err(device(match status {
            200 if content == "application/ipp" => return Ok(()),
            200 => format!("found a server of `{content}`, wanted a print queue (application/ipp), is the port right?"),
            401 | 403 | 407 => {
                format!("the printer refuses us (HTTP {status}), printing with a password is not supported")
            }
            404 => "found no print queue of this path (HTTP 404), printers often have /ipp/print".to_owned(),
            426 => "the printer wants an encrypted link (HTTP 426), which is not supported".to_owned(),
            _ => format!("found HTTP {status}, wanted the answer of a print queue"),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heads_are_judged() {
        for (head, wanted) in [
            ("HTTP/1.1 200 OK\r\nContent-Type: application/ipp; x=y\r\ncontent-length: 9", Ok(Body::Length(9))),
            ("HTTP/1.0 200 OK\r\nContent-Type: application/ipp", Ok(Body::ToEnd)),
            (
                "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nTransfer-Encoding: Chunked\r\nContent-Length: 9",
                Ok(Body::Chunked),
            ),
            ("HTTP/1.1 200 OK\r\nContent-Type: text/html", Err("found a server of `text/html`")),
            ("HTTP/1.1 404 Not Found", Err("/ipp/print")),
            ("HTTP/1.1 401 Unauthorized", Err("password")),
            ("HTTP/1.1 426 Upgrade Required", Err("encrypted")),
            ("HTTP/1.1 500 x", Err("found HTTP 500")),
            ("HTTP/1.1", Err("found `HTTP/1.1`")),
        ] {
            let found = Head::parse(head.as_bytes()).and_then(|head| head.judge().map(|()| head.body));
            match (found, wanted) {
                (Ok(body), Ok(wanted)) => assert_eq!(body, wanted, "{head}"),
                (Err(error), Err(wanted)) => {
                    assert_eq!(error.kind(), Kind::Device);
                    assert!(error.to_string().contains(wanted), "{head}: {error}");
                }
                (found, wanted) => panic!("{head}: found {found:?}, wanted {wanted:?}"),
            }
        }
    }
}
