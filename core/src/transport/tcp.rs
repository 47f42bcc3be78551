//! A printer's raw port on the network.
//!
//! Bytes go out as they are, and what the printer says comes back on the same connection. Port 9100
//! is registered for it (IANA service names: `pdl-datastream`, TCP 9100).
#![allow(clippy::disallowed_methods, reason = "a door: deadlines of the network; no output depends on them")]

use super::{Delivery, Port, Say, Word};
use crate::error::{Error, Kind, Result};
use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

/// The port where none is given.
pub const RAW_PORT: u16 = 9100;

/// Most time for a connection to come about.
const CONNECT: Duration = Duration::from_secs(5);

/// Most time the printer may take to close its side after ours.
const GOODBYE: Duration = Duration::from_secs(5);

fn device(text: String) -> Error {
    Error::new(Kind::Device, text)
}

/// An open connection.
pub(super) struct Tcp<'s> {
    stream: TcpStream,
    say: Say<'s>,
    patience: Duration,
    sent: u64,
}

impl<'s> Tcp<'s> {
    /// Connects. `patience` is the most time in which the printer must take at least one byte.
    ///
    /// # Errors
    /// Kind `Device`: no such host, nobody listens, no answer in 5 s.
    pub(super) fn connect(host: &str, port: u16, patience: Duration, say: Say<'s>) -> Result<Self> {
        let failed = |error: &io::Error| device(format!("{host} port {port} cannot be reached: {error}"));
        let mut last = io::Error::other("the name has no address");
        for address in (host, port).to_socket_addrs().map_err(|error| failed(&error))? {
            match TcpStream::connect_timeout(&address, CONNECT) {
                Ok(stream) => {
                    let set = stream.set_write_timeout(Some(patience)).and_then(|()| stream.set_nodelay(true));
                    set.map_err(|error| failed(&error))?;
                    return Ok(Self { stream, say, patience, sent: 0 });
                }
                Err(error) => last = error,
            }
        }
        Err(failed(&last))
    }

    fn lost(&self, error: &io::Error) -> Error {
        let sent = self.sent;
        device(match error.kind() {
            io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => format!(
                "the printer took no byte for {} s, after {sent} bytes; look whether it is out of tape or its cover is open",
                self.patience.as_secs()
            ),
            _ => format!("the connection to the printer was lost after {sent} bytes: {error}"),
        })
    }
}

impl Port for Tcp<'_> {
    fn delivery(&self) -> Delivery {
        Delivery::HandedOver
    }

    fn send(&mut self, mut bytes: &[u8]) -> Result<()> {
        while !bytes.is_empty() {
            match self.stream.write(bytes) {
                Ok(0) => return Err(self.lost(&io::ErrorKind::WriteZero.into())),
                Ok(taken) => {
                    self.sent += taken as u64;
                    bytes = &bytes[taken..];
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.lost(&error)),
            }
        }
        Ok(())
    }

    fn pause(&mut self, time: Duration) -> Result<()> {
        std::thread::sleep(time);
        Ok(())
    }

    fn receive(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<()> {
        let until = Instant::now() + time;
        let wanted = reply.len() + count;
        let mut buffer = [0; 4096];
        while reply.len() < wanted {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                break;
            }
            self.stream.set_read_timeout(Some(left)).map_err(|error| self.lost(&error))?;
            let most = buffer.len().min(wanted - reply.len());
            match self.stream.read(&mut buffer[..most]) {
                Ok(0) => break,
                Ok(got) => reply.extend_from_slice(&buffer[..got]),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => break,
                Err(error) => return Err(self.lost(&error)),
            }
        }
        Ok(())
    }

    /// Closes our side and waits a little for the printer to close its own, as most do when they
    /// have read everything. One that resets the connection has not; of one that keeps its side
    /// open nobody knows: the network may still hold a short job.
    fn finish(&mut self) -> Result<()> {
        self.stream.shutdown(Shutdown::Write).map_err(|error| self.lost(&error))?;
        let until = Instant::now() + GOODBYE;
        let mut rest = [0; 4096];
        loop {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                (self.say)(Word::Wants(
                    "the printer has not said that it took everything: look whether the last label has come",
                ));
                return Ok(());
            }
            self.stream.set_read_timeout(Some(left)).map_err(|error| self.lost(&error))?;
            match self.stream.read(&mut rest) {
                Ok(0) => return Ok(()),
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {}
                Err(error) => return Err(self.lost(&error)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;
    use std::thread;

    fn listener() -> (TcpListener, u16) {
        let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        (listener, port)
    }

    #[test]
    fn bytes_arrive_and_answers_come_back() {
        let (listener, port) = listener();
        let printer = thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let mut first = [0; 3];
            stream.read_exact(&mut first).unwrap();
            stream.write_all(b"ready").unwrap();
            let mut rest = Vec::new();
            stream.read_to_end(&mut rest).unwrap();
            (first.to_vec(), rest)
        });
        let mut tcp = Tcp::connect("127.0.0.1", port, Duration::from_secs(10), &|_| ()).unwrap();
        tcp.send(b"ask").unwrap();
        let mut reply = Vec::new();
        tcp.receive(5, Duration::from_secs(10), &mut reply).unwrap();
        assert_eq!(reply, b"ready");
        let job: Vec<u8> = (0..300_000_u32).map(|n| n.to_le_bytes()[0]).collect();
        tcp.send(&job).unwrap();
        tcp.finish().unwrap();
        assert_eq!(printer.join().unwrap(), (b"ask".to_vec(), job));
    }

    #[test]
    fn nothing_said_is_no_error() {
        let (listener, port) = listener();
        let mut tcp = Tcp::connect("127.0.0.1", port, Duration::from_secs(10), &|_| ()).unwrap();
        let printer = listener.accept().unwrap();
        let mut reply = Vec::new();
        tcp.receive(5, Duration::from_millis(1), &mut reply).unwrap();
        assert!(reply.is_empty());
        drop(printer);
        tcp.receive(5, Duration::from_secs(10), &mut reply).unwrap();
        assert!(reply.is_empty());
    }

    #[test]
    fn a_printer_that_reads_nothing_is_not_taken_for_one_that_has_printed() {
        let (listener, port) = listener();
        let said = std::sync::Mutex::new(Vec::new());
        let say = |word: Word<'_>| said.lock().unwrap().push(format!("{word:?}"));
        let mut tcp = Tcp::connect("127.0.0.1", port, Duration::from_secs(1), &say).unwrap();
        let printer = listener.accept().unwrap();
        tcp.send(b"a short job").unwrap();
        tcp.finish().unwrap();
        let said = said.lock().unwrap().join("");
        assert!(said.contains("Wants(\"the printer has not said that it took everything"), "{said}");
        drop(printer);
    }

    #[test]
    fn nobody_there_and_nobody_taking() {
        let (taken, port) = listener();
        drop(taken);
        let refused = Tcp::connect("127.0.0.1", port, Duration::from_secs(1), &|_| ()).err().unwrap();
        assert!(refused.to_string().contains(&format!("127.0.0.1 port {port} cannot be reached")), "{refused}");

        let (listener, port) = listener();
        let mut tcp = Tcp::connect("127.0.0.1", port, Duration::from_millis(50), &|_| ()).unwrap();
        let printer = listener.accept().unwrap();
        // More than any buffer between the two holds.
        let full = tcp.send(&vec![0; 64 << 20]).err().unwrap();
        assert!(full.to_string().contains("the printer took no byte for"), "{full}");
        assert_eq!(full.kind(), crate::error::Kind::Device);
        drop(printer);
    }
}
