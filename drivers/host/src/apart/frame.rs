//! Messages on a pipe: the length (4 bytes, little-endian), then the body; an answer has [`MARK`] in
//! front, so that what a module prints to standard output is told from an answer.

use std::io::{self, IoSlice, Read, Write};

/// Before every answer. No text begins like this.
pub(super) const MARK: [u8; 4] = [0xF5, b'T', b'W', 0x01];

/// No message is longer. What a driver puts out at once is 64 KiB; a batch of steps is held to a
/// few hundred.
pub(super) const LONGEST: usize = 64 << 20;

/// Writes one message: the head of its body, then the bytes it ends with, which are not copied.
pub(super) fn write(to: &mut impl Write, mark: &[u8], head: &[u8], bytes: &[u8]) -> io::Result<()> {
    let length = u32::try_from(head.len() + bytes.len()).map_err(|_| io::Error::other("a message of 4 GiB or more"))?;
    let mut first = Vec::with_capacity(mark.len() + 4 + head.len());
    first.extend_from_slice(mark);
    first.extend_from_slice(&length.to_le_bytes());
    first.extend_from_slice(head);
    // In one call, so that the other process is woken once, by a whole message.
    let sent = loop {
        match to.write_vectored(&[IoSlice::new(&first), IoSlice::new(bytes)]) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            sent => break sent?,
        }
    };
    to.write_all(first.get(sent..).unwrap_or_default())?;
    to.write_all(&bytes[sent.saturating_sub(first.len())..])
}

/// What came instead of a message.
#[derive(Debug)]
pub(super) enum NoMessage {
    /// The other side has gone.
    End,
    /// Something that is no message; the first bytes of it.
    Rubbish(Vec<u8>),
}

/// Reads one message into `body`.
pub(super) fn read(from: &mut impl Read, mark: &[u8], body: &mut Vec<u8>) -> Result<(), NoMessage> {
    let mut head = [0; 8];
    let head = &mut head[..mark.len() + 4];
    from.read_exact(head).map_err(|_| NoMessage::End)?;
    let (found, length) = head.split_at(mark.len());
    let length = u32::from_le_bytes(length.try_into().expect("four bytes are left"));
    let length = usize::try_from(length).ok().filter(|&length| length <= LONGEST);
    let (true, Some(length)) = (found == mark, length) else { return Err(NoMessage::Rubbish(head.to_vec())) };
    // What was there is written over: only growth is filled with zeros.
    body.resize(length, 0);
    from.read_exact(body).map_err(|_| NoMessage::End)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes so many bytes at a time, and is interrupted before each.
    struct Narrow(Vec<u8>, usize, bool);

    impl Write for Narrow {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.2 = !self.2;
            if self.2 {
                return Err(io::ErrorKind::Interrupted.into());
            }
            let taken = bytes.len().min(self.1);
            self.0.extend_from_slice(&bytes[..taken]);
            Ok(taken)
        }

        fn write_vectored(&mut self, parts: &[IoSlice<'_>]) -> io::Result<usize> {
            let all: Vec<u8> = parts.iter().flat_map(|part| part.iter().copied()).collect();
            self.write(&all)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_message_is_written_whole_whatever_a_pipe_takes() {
        for at_once in 1..30 {
            let mut to = Narrow(Vec::new(), at_once, false);
            write(&mut to, &MARK, b"head", b"and the bytes").unwrap();
            let mut body = Vec::new();
            read(&mut to.0.as_slice(), &MARK, &mut body).unwrap();
            assert_eq!(body, b"headand the bytes");
            assert_eq!(to.0.len(), 8 + body.len());
        }
    }

    #[test]
    fn what_a_module_prints_is_no_answer() {
        let mut body = Vec::new();
        let found = read(&mut &b"hello, world\n"[..], &MARK, &mut body);
        assert!(matches!(found, Err(NoMessage::Rubbish(bytes)) if bytes == b"hello, w"));
        assert!(matches!(read(&mut &MARK[..], &MARK, &mut body), Err(NoMessage::End)));
    }
}
