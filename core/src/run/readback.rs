//! Reading a stream back: strips, cuts and lines, as a printer would have them.

use super::CHUNK;
use super::modules::host_error;
use crate::error::{Error, Result};
use crate::unit::Dpi;
use std::io;
use tapewright_host::{Cut, CutKind, Decoding, Driver, Events, Failure, HostError, Page};

/// One strip as a stream says it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StripRead {
    /// Head lines.
    pub lines: u64,
    /// Dots in a line.
    pub dots: u32,
    /// Resolution along, thousandths of a dot per inch.
    pub along: Option<Dpi>,
    /// Lines before which half cuts fall.
    pub half_cuts: Vec<u32>,
    /// Lines before which full cuts fall; the end of the strip counts as its number of lines.
    pub full_cuts: Vec<u32>,
    /// Inked dots.
    pub ink: u64,
}

/// What to do with the lines of a stream that is read back.
pub trait Lines {
    /// A strip begins, numbered from 1.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn begin(&mut self, strip: usize, dots: u32, lines: Option<u32>) -> Result<()>;

    /// Rows of `ceil(dots / 8)` bytes.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn rows(&mut self, rows: &[u8]) -> Result<()>;

    /// The strip ends.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn end(&mut self, strip: &StripRead) -> Result<()>;
}

struct Reader<'l> {
    strips: usize,
    open: StripRead,
    row_bytes: usize,
    lines: &'l mut dyn Lines,
}

impl Events for Reader<'_> {
    type Error = Error;

    fn strip_begin(&mut self, page: &Page) -> Result<()> {
        self.strips += 1;
        self.row_bytes = page.bytes_per_line() as usize;
        self.open = StripRead {
            dots: page.dots,
            along: page.dpi_along_milli.and_then(Dpi::from_milli),
            ..StripRead::default()
        };
        self.lines.begin(self.strips, page.dots, page.lines)
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<()> {
        self.open.lines += u64::from(count);
        self.open.ink += rows.iter().map(|byte| u64::from(byte.count_ones())).sum::<u64>();
        self.lines.rows(rows)
    }

    fn blank(&mut self, count: u32) -> Result<()> {
        self.open.lines += u64::from(count);
        let mut left = count as usize;
        let blank = vec![0; self.row_bytes * left.min(256)];
        while left > 0 {
            let some = left.min(256);
            self.lines.rows(&blank[..some * self.row_bytes])?;
            left -= some;
        }
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<()> {
        match cut.kind {
            CutKind::Half => self.open.half_cuts.push(cut.line),
            CutKind::Full => self.open.full_cuts.push(cut.line),
        }
        Ok(())
    }

    fn strip_end(&mut self) -> Result<()> {
        self.lines.end(&self.open)
    }
}

/// Finds the family a stream is of, by its first bytes.
///
/// # Errors
/// Kind `Input`: no module knows it. Kind `Driver`: a module broke its contract.
pub fn recognise(modules: &[Driver], first: &[u8], family: Option<&str>) -> Result<Decoding> {
    let mut best = (0, None);
    for module in modules {
        for info in module.families().iter().filter(|info| family.is_none_or(|family| family == info.id)) {
            let score = module.recognises(&info.id, first).map_err(host_error)?;
            // A family that was asked for reads the stream whatever it looks like.
            let score = if family.is_some() { score.map(|_| 101) } else { score };
            if score.is_some_and(|score| score > best.0) {
                best = (score.unwrap_or(0), Some((module, &info.id)));
            }
        }
    }
    let decoder = best.1.map(|(module, id)| module.decoder(id)).transpose().map_err(host_error)?.flatten();
    decoder.ok_or_else(|| match family {
        Some(family) => Error::input(format!("found no driver family `{family}` that can read streams")),
        None => Error::input("found a stream no driver module knows, wanted one that a module wrote"),
    })
}

/// Reads a stream back in one pass.
///
/// # Errors
/// Kind `Input`: the stream is not in order; kind `Driver`: the module is not.
pub fn read_back(decoder: &mut Decoding, stream: &mut dyn io::Read, first: &[u8], lines: &mut dyn Lines) -> Result<()> {
    let mut reader = Reader { strips: 0, open: StripRead::default(), row_bytes: 0, lines };
    let failed = |failure: Failure<Error>| match failure {
        Failure::Host(HostError::Fault(fault)) => Error::input(fault.text),
        Failure::Host(error) => host_error(error),
        Failure::Caller(error) => error,
    };
    decoder.push(first, &mut reader).map_err(failed)?;
    let mut buffer = vec![0; CHUNK];
    loop {
        let got = match stream.read(&mut buffer) {
            Ok(0) => break,
            Ok(got) => got,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(Error::storage(format!("the stream cannot be read: {error}"))),
        };
        decoder.push(&buffer[..got], &mut reader).map_err(failed)?;
    }
    decoder.finish(&mut reader).map_err(failed)
}
