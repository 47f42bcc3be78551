//! A pipe from whoever pushes a stream to whoever reads it, a few chunks long.

use std::io::{self, ErrorKind, Read, Write};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Chunks that wait at most.
const CHUNKS: usize = 4;
/// Bytes of a chunk.
const CHUNK: usize = 64 << 10;

enum Piece {
    Bytes(Vec<u8>),
    End,
}

/// Makes a pipe. It holds 384 KiB at most: four chunks that wait, one being filled, one being read.
#[must_use]
pub fn pipe() -> (Intake, Outlet) {
    let (to, from) = sync_channel(CHUNKS);
    (Intake { to, chunk: Vec::with_capacity(CHUNK) }, Outlet { from, chunk: Vec::new(), at: 0, ended: false })
}

/// The end of a pipe that is written to. A stream is whole only after [`Intake::finish`]: dropped before,
/// it breaks off at the other end.
pub struct Intake {
    to: SyncSender<Piece>,
    chunk: Vec<u8>,
}

impl Intake {
    /// Hands over what is left and says that the stream is whole.
    ///
    /// # Errors
    /// `BrokenPipe`: nobody reads any more.
    pub fn finish(mut self) -> io::Result<()> {
        self.flush()?;
        self.give(Piece::End)
    }

    fn give(&self, piece: Piece) -> io::Result<()> {
        self.to.send(piece).map_err(|_| io::Error::new(ErrorKind::BrokenPipe, "nobody takes the stream any more"))
    }
}

impl Write for Intake {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let taken = bytes.len().min(CHUNK - self.chunk.len());
        self.chunk.extend(&bytes[..taken]);
        if self.chunk.len() == CHUNK {
            self.flush()?;
        }
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.chunk.is_empty() {
            return Ok(());
        }
        let chunk = std::mem::replace(&mut self.chunk, Vec::with_capacity(CHUNK));
        self.give(Piece::Bytes(chunk))
    }
}

/// The end of a pipe that is read from.
pub struct Outlet {
    from: Receiver<Piece>,
    chunk: Vec<u8>,
    at: usize,
    ended: bool,
}

impl Read for Outlet {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.at == self.chunk.len() && !self.ended {
            match self.from.recv() {
                Ok(Piece::Bytes(chunk)) => (self.chunk, self.at) = (chunk, 0),
                Ok(Piece::End) => self.ended = true,
                Err(_) => return Err(io::Error::new(ErrorKind::UnexpectedEof, "it was not written to its end")),
            }
        }
        let rest = &self.chunk[self.at..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        self.at += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_come_through_in_order_and_an_end_is_an_end() {
        let sent: Vec<u8> = (0..1_000_000_u32).map(|nth| nth.to_le_bytes()[usize::from(nth % 3 == 0)]).collect();
        let (mut intake, mut outlet) = pipe();
        let (got, written) = std::thread::scope(|scope| {
            let writer = scope.spawn(|| {
                for piece in sent.chunks(777) {
                    intake.write_all(piece)?;
                }
                intake.finish()
            });
            let mut got = Vec::new();
            outlet.read_to_end(&mut got).unwrap();
            (got, writer.join().unwrap())
        });
        written.unwrap();
        assert!(got == sent);
        assert_eq!(outlet.read(&mut [0; 4]).unwrap(), 0);
    }

    #[test]
    fn a_stream_that_is_not_finished_breaks_off() {
        let (mut intake, mut outlet) = pipe();
        intake.write_all(b"half").unwrap();
        intake.flush().unwrap();
        drop(intake);
        let mut got = Vec::new();
        assert_eq!(outlet.read_to_end(&mut got).unwrap_err().kind(), ErrorKind::UnexpectedEof);
        assert_eq!(got, b"half");
    }

    #[test]
    fn a_writer_hears_that_nobody_reads() {
        let (mut intake, outlet) = pipe();
        drop(outlet);
        intake.write_all(b"x").unwrap();
        assert_eq!(intake.finish().unwrap_err().kind(), ErrorKind::BrokenPipe);
    }
}
