//! Jobs as values: written through the host, read back through the host.

use std::convert::Infallible;
use std::io;

use tapewright_host::{Cut, Events, Failure, HostError, JobSpec, Module, Page, StripSpec, ToWriter};

/// A strip with its lines one by one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Piece {
    pub(crate) dots: u32,
    pub(crate) rows: Vec<Vec<u8>>,
    pub(crate) cuts: Vec<Cut>,
}

pub(crate) fn module() -> Module {
    Module::from_entry("pcl", tapewright_driver_pcl::linked_entry()).unwrap()
}

/// Writes a job. `split(n)` says how many of `n` lines to hand over next, and whether blank ones
/// may go as blank lines.
pub(crate) fn write(
    job: &JobSpec,
    pieces: &[Piece],
    mut split: impl FnMut(usize) -> (usize, bool),
) -> Result<Vec<u8>, HostError> {
    let mut session = module().open("pcl")?;
    let mut sink = ToWriter(Vec::new());
    let drained = |result: Result<(), Failure<io::Error>>| match result {
        Ok(()) => Ok(()),
        Err(Failure::Host(error)) => Err(error),
        Err(Failure::Caller(error)) => panic!("a Vec does not fail: {error}"),
    };
    session.begin_job(job)?;
    drained(session.drain(&mut sink))?;
    for (index, piece) in (0..).zip(pieces) {
        session.begin_strip(&StripSpec {
            index,
            lines: u32::try_from(piece.rows.len()).unwrap(),
            cuts: &piece.cuts,
            ..StripSpec::default()
        })?;
        drained(session.drain(&mut sink))?;
        let mut rest = piece.rows.as_slice();
        while !rest.is_empty() {
            let (now, may_blank) = split(rest.len());
            let (rows, after) = rest.split_at(now.clamp(1, rest.len()));
            let bytes = rows.concat();
            let count = u32::try_from(rows.len()).unwrap();
            if may_blank && bytes.iter().all(|byte| *byte == 0) {
                session.blank(count)?;
            } else {
                session.lines(&bytes, count)?;
            }
            drained(session.drain(&mut sink))?;
            rest = after;
        }
        session.end_strip()?;
        drained(session.drain(&mut sink))?;
    }
    session.end_job()?;
    drained(session.drain(&mut sink))?;
    Ok(sink.0)
}

/// Collects what a decoder finds.
#[derive(Debug, Default)]
pub(crate) struct Collect {
    pub(crate) pages: Vec<Page>,
    pub(crate) pieces: Vec<Piece>,
}

impl Collect {
    fn piece(&mut self) -> &mut Piece {
        self.pieces.last_mut().unwrap()
    }
}

impl Events for Collect {
    type Error = Infallible;

    fn strip_begin(&mut self, page: &Page) -> Result<(), Infallible> {
        self.pages.push(*page);
        self.pieces.push(Piece { dots: page.dots, ..Piece::default() });
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], _count: u32) -> Result<(), Infallible> {
        let bytes = self.piece().dots.div_ceil(8) as usize;
        let rows = rows.chunks_exact(bytes).map(<[u8]>::to_vec);
        self.piece().rows.extend(rows);
        Ok(())
    }

    fn blank(&mut self, count: u32) -> Result<(), Infallible> {
        let row = vec![0; self.piece().dots.div_ceil(8) as usize];
        let blank = std::iter::repeat_n(row, count as usize);
        self.piece().rows.extend(blank);
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<(), Infallible> {
        self.piece().cuts.push(cut);
        Ok(())
    }

    fn strip_end(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Reads a stream in pieces of `step` bytes.
pub(crate) fn read(stream: &[u8], step: usize) -> Result<Collect, HostError> {
    let host = |failure: Failure<Infallible>| match failure {
        Failure::Host(error) => error,
        Failure::Caller(never) => match never {},
    };
    let mut decoder = module().readback("pcl")?.unwrap().decoder()?;
    let mut found = Collect::default();
    for bytes in stream.chunks(step) {
        decoder.push(bytes, &mut found).map_err(host)?;
    }
    decoder.finish(&mut found).map_err(host)?;
    Ok(found)
}

/// Numbers that look random and are the same on every machine (xorshift64*, from memory).
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Random {
        Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 16
    }

    /// 0 … end − 1, as a count.
    pub(crate) fn count_below(&mut self, end: u64) -> usize {
        usize::try_from(self.below(end)).unwrap()
    }

    /// 0 … end − 1.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }
}
