//! A job that is given up leaves the device ready for the next one.

use tapewright_driver_tests::Piece;
use tapewright_host::{Session, Sink, StripSpec, ToWriter};

use crate::round_trip::job;
use crate::support::PCL;

const END: &[u8] = b"\x1BE\x1B%-12345X";

fn drain(session: &mut Session, to: &mut Vec<u8>) {
    session.drain(&mut ToWriter(to)).unwrap();
}

/// Takes so many bytes, then fails.
struct Fuse {
    taken: Vec<u8>,
    left: usize,
}

impl Sink for Fuse {
    type Error = ();
    fn bytes(&mut self, bytes: &[u8]) -> Result<(), ()> {
        let now = bytes.len().min(self.left);
        self.taken.extend_from_slice(&bytes[..now]);
        self.left -= now;
        if now < bytes.len() { Err(()) } else { Ok(()) }
    }
    fn wait(&mut self, _: std::time::Duration) -> Result<(), ()> {
        Ok(())
    }
    fn reply(&mut self, _: usize, _: std::time::Duration, _: &mut Vec<u8>) -> Result<(), ()> {
        Ok(())
    }
}

#[test]
fn between_the_steps() {
    let mut session = PCL.module().open("pcl").unwrap();
    let mut out = Vec::new();
    // Nothing was begun: nothing to say.
    session.cancel().unwrap();
    drain(&mut session, &mut out);
    assert_eq!(out, b"");
    // Between strips.
    session.begin_job(&job(16, 300)).unwrap();
    drain(&mut session, &mut out);
    out.clear();
    session.cancel().unwrap();
    drain(&mut session, &mut out);
    assert_eq!(out, [&[0; 4], &b"\x1B*rB"[..], END].concat());
    // Inside a page.
    session.begin_job(&job(16, 300)).unwrap();
    drain(&mut session, &mut out);
    session.begin_strip(&StripSpec { lines: 9, ..StripSpec::default() }).unwrap();
    drain(&mut session, &mut out);
    session.lines(&[1, 2, 3, 4], 2).unwrap();
    drain(&mut session, &mut out);
    out.clear();
    session.cancel().unwrap();
    drain(&mut session, &mut out);
    assert_eq!(out, [&[0; 4], &b"\x1B*rB\x0C"[..], END].concat());
    // And the next job is as any other.
    let pieces = [Piece { dots: 16, rows: vec![vec![5, 6]; 3], ..Piece::default() }];
    out.clear();
    session.begin_job(&job(16, 300)).unwrap();
    drain(&mut session, &mut out);
    session.begin_strip(&StripSpec { lines: 3, ..StripSpec::default() }).unwrap();
    drain(&mut session, &mut out);
    session.lines(&[5, 6, 5, 6, 5, 6], 3).unwrap();
    drain(&mut session, &mut out);
    session.end_strip().unwrap();
    drain(&mut session, &mut out);
    session.end_job().unwrap();
    drain(&mut session, &mut out);
    assert_eq!(out, PCL.write(&job(16, 300), &pieces, |lines| (lines, true)).unwrap());
}

/// How much of a stream of commands a device would still wait for: bytes of a row.
fn owed(stream: &[u8]) -> usize {
    let mut at = 0;
    while at < stream.len() {
        let rest = &stream[at..];
        at += 1;
        if !rest.starts_with(b"\x1B*b") {
            continue;
        }
        let Some(end) = rest.iter().position(u8::is_ascii_uppercase) else {
            return 0;
        };
        at += end;
        if rest[end] == b'W' {
            let number = rest[..end].rsplit(|byte| !byte.is_ascii_digit()).next().unwrap();
            at += std::str::from_utf8(number).unwrap().parse::<usize>().unwrap();
        }
    }
    at.saturating_sub(stream.len())
}

/// The link broke after any number of bytes and lives again: what comes then must not be taken for
/// the rest of a row.
#[test]
fn after_any_byte() {
    let rows: Vec<u8> = (0..10u32)
        .flat_map(|line| [line * 37 % 251, line * 101 % 241, line * 7])
        .map(|byte| byte.to_le_bytes()[0])
        .collect();
    let job = job(24, 300);
    let (mut rows_broken, mut most) = (0, usize::MAX);
    let mut fuse_length = 0;
    while fuse_length < most {
        let mut session = PCL.module().open("pcl").unwrap();
        let mut fuse = Fuse { taken: Vec::new(), left: fuse_length };
        let mut steps = |session: &mut Session| -> Result<(), ()> {
            session.begin_job(&job).unwrap();
            session.drain(&mut fuse).map_err(|_| ())?;
            session.begin_strip(&StripSpec { lines: 10, ..StripSpec::default() }).unwrap();
            session.drain(&mut fuse).map_err(|_| ())?;
            session.lines(&rows, 10).unwrap();
            session.drain(&mut fuse).map_err(|_| ())?;
            session.end_strip().unwrap();
            session.drain(&mut fuse).map_err(|_| ())?;
            session.end_job().unwrap();
            session.drain(&mut fuse).map_err(|_| ())
        };
        let done = steps(&mut session).is_ok();
        if done {
            most = fuse.taken.len();
        }
        let mut after = Vec::new();
        session.cancel().unwrap();
        drain(&mut session, &mut after);
        let owed = owed(&fuse.taken);
        rows_broken += usize::from(owed > 0);
        let zeros = after.iter().take_while(|byte| **byte == 0).count();
        assert!(owed <= zeros, "after {fuse_length} bytes: the device waits for {owed} bytes, found {zeros} zeros");
        // What is left once the device has what it waits for: zeros, then the way out.
        let rest = &after[after.len().min(zeros)..];
        let feeds = [&b"\x1B*rB\x0C"[..], END].concat();
        let resets = [&b"\x1B*rB"[..], END].concat();
        assert!(rest == feeds || rest == resets, "after {fuse_length} bytes: {}", rest.escape_ascii());
        fuse_length += 1;
    }
    assert!(rows_broken > 20, "only {rows_broken} fuses in a row");
}
