//! From a stream to strips: a strict reader that holds one line and one batch of lines.

use tapewright_kit::{Events, Fault, Page, Readback, spare_mask};

use crate::header::{self, PageHead, SIZE, SYNC};

/// Lines are reported together up to about this many bytes.
const BATCH: usize = 64 * 1024;

/// How sure we are that a stream is ours.
pub(crate) fn recognises(first: &[u8]) -> u8 {
    match first.strip_prefix(SYNC) {
        Some(header) if header.starts_with(b"PwgRaster\0") => 100,
        // Other raster streams of the same descent share the word.
        Some(_) => 20,
        None => 0,
    }
}

/// Reads a stream in pieces that may end anywhere.
#[derive(Debug)]
pub(crate) struct Reader {
    /// Bytes read before those at hand.
    offset: u64,
    state: State,
    header: Vec<u8>,
    /// Pages begun.
    pages: u64,
    total_pages: Option<u32>,
    page: PageState,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// In the word that begins the stream; so many bytes were read.
    Sync(usize),
    /// In a page header.
    Header,
    /// Before the first byte of a group of lines.
    Group,
    /// Before a run or literal.
    Code,
    /// Before the byte that stands so many times.
    Run(usize),
    /// Inside a literal, so many bytes to come.
    Literal(usize),
}

/// The page going on.
#[derive(Debug, Default)]
struct PageState {
    dots: u32,
    height: u32,
    done: u32,
    /// Lines the group stands for.
    repeat: u32,
    /// The group's line; so many bytes are known.
    line: Vec<u8>,
    filled: usize,
    /// Not reported yet: lines, or blank ones; never both.
    batch: Vec<u8>,
    batched: u32,
    blank: u32,
}

impl Reader {
    pub(crate) fn new() -> Reader {
        Reader {
            offset: 0,
            state: State::Sync(0),
            header: Vec::with_capacity(SIZE),
            pages: 0,
            total_pages: None,
            page: PageState::default(),
        }
    }

    /// A fault at `at` bytes into the bytes at hand.
    fn fault(&self, at: usize, text: &str) -> Fault {
        let page = match self.pages {
            0 => String::new(),
            page => format!(", page {page}"),
        };
        Fault::device(format!("byte {}{page}: {text}", self.offset + at as u64))
    }

    /// Takes the header that was collected; `end` is where it ends in the bytes at hand.
    fn begin_page(&mut self, end: usize, events: &mut dyn Events) -> Result<(), Fault> {
        self.pages += 1;
        let start = (self.offset + end as u64).saturating_sub(SIZE as u64);
        let place = |at: usize| format!("byte {}, page {}", start + at as u64, self.pages);
        let bytes: &[u8; SIZE] =
            self.header.as_slice().try_into().map_err(|_| Fault::device("header of the wrong size"))?;
        let head = header::read(bytes).map_err(|(at, text)| Fault::device(format!("{}: {text}", place(at))))?;
        let total = *self.total_pages.get_or_insert(head.total_pages);
        if head.total_pages != total {
            return Err(Fault::device(format!(
                "{}: TotalPageCount is {}, wanted {total} as on the first page",
                place(0),
                head.total_pages
            )));
        }
        self.header.clear();
        self.page.begin(&head, events)
    }
}

impl PageState {
    fn begin(&mut self, head: &PageHead, events: &mut dyn Events) -> Result<(), Fault> {
        let bytes = head.width.div_ceil(8) as usize;
        self.dots = head.width;
        self.height = head.height;
        self.done = 0;
        self.line.clear();
        self.line.resize(bytes, 0);
        events.strip_begin(&Page {
            lines: Some(head.height),
            dots: head.width,
            dpi_across_milli: Some(head.dpi_milli.0),
            dpi_along_milli: Some(head.dpi_milli.1),
        })?;
        for cut in &head.cuts {
            events.cut(*cut)?;
        }
        Ok(())
    }

    fn line_is_full(&self) -> bool {
        self.filled == self.line.len()
    }

    /// The group's line is complete: keeps its lines for the next report.
    fn end_group(&mut self, events: &mut dyn Events) -> Result<(), Fault> {
        self.done += self.repeat;
        self.filled = 0;
        if self.line.iter().all(|byte| *byte == 0) {
            self.report_lines(events)?;
            self.blank += self.repeat;
            return Ok(());
        }
        self.report_blank(events)?;
        for _ in 0..self.repeat {
            self.batch.extend_from_slice(&self.line);
            self.batched += 1;
            if self.batch.len() >= BATCH {
                self.report_lines(events)?;
            }
        }
        Ok(())
    }

    fn report_lines(&mut self, events: &mut dyn Events) -> Result<(), Fault> {
        if self.batched > 0 {
            events.lines(&self.batch, self.batched)?;
            self.batch.clear();
            self.batched = 0;
        }
        Ok(())
    }

    fn report_blank(&mut self, events: &mut dyn Events) -> Result<(), Fault> {
        if self.blank > 0 {
            events.blank(self.blank)?;
            self.blank = 0;
        }
        Ok(())
    }
}

impl Readback for Reader {
    fn push(&mut self, bytes: &[u8], events: &mut dyn Events) -> Result<(), Fault> {
        let mut at = 0;
        while at < bytes.len() {
            let rest = &bytes[at..];
            match self.state {
                State::Sync(known) => {
                    if rest[0] != SYNC[known] {
                        let text = format!("{} instead of the word RaS2", rest[0].escape_ascii());
                        return Err(self.fault(at, &text));
                    }
                    at += 1;
                    self.state = match known + 1 {
                        4 => State::Header,
                        known => State::Sync(known),
                    };
                }
                State::Header => {
                    let taken = rest.len().min(SIZE - self.header.len());
                    self.header.extend_from_slice(&rest[..taken]);
                    at += taken;
                    if self.header.len() == SIZE {
                        self.begin_page(at, events)?;
                        self.state = State::Group;
                    }
                }
                State::Group => {
                    let page = &mut self.page;
                    page.repeat = u32::from(rest[0]) + 1;
                    let left = page.height - page.done;
                    if page.repeat > left {
                        let text = format!(
                            "group of {} lines at line {}, wanted at most the {left} left",
                            page.repeat, page.done
                        );
                        return Err(self.fault(at, &text));
                    }
                    at += 1;
                    self.state = State::Code;
                }
                State::Code => {
                    let left = self.page.line.len() - self.page.filled;
                    let code = usize::from(rest[0]);
                    let (length, next) = match code {
                        0..=127 => (code + 1, State::Run(code + 1)),
                        128 => {
                            let text = format!("code 128 at line {}, wanted a run or literal", self.page.done);
                            return Err(self.fault(at, &text));
                        }
                        _ => (257 - code, State::Literal(257 - code)),
                    };
                    if length > left {
                        let text = format!(
                            "{length} bytes at line {}, wanted at most the {left} left of the line",
                            self.page.done
                        );
                        return Err(self.fault(at, &text));
                    }
                    at += 1;
                    self.state = next;
                }
                State::Run(length) => {
                    let page = &mut self.page;
                    page.line[page.filled..page.filled + length].fill(rest[0]);
                    page.filled += length;
                    at += 1;
                    self.after_bytes(at, events)?;
                }
                State::Literal(length) => {
                    let taken = rest.len().min(length);
                    let page = &mut self.page;
                    page.line[page.filled..page.filled + taken].copy_from_slice(&rest[..taken]);
                    page.filled += taken;
                    at += taken;
                    if taken < length {
                        self.state = State::Literal(length - taken);
                    } else {
                        self.after_bytes(at, events)?;
                    }
                }
            }
        }
        self.offset += bytes.len() as u64;
        Ok(())
    }

    fn finish(&mut self, _events: &mut dyn Events) -> Result<(), Fault> {
        if self.state != State::Header || !self.header.is_empty() {
            let wanted = match self.state {
                State::Sync(_) => "the word RaS2".to_owned(),
                State::Header => format!("{} more bytes of a page header", SIZE - self.header.len()),
                _ => format!("line {} of {}", self.page.done, self.page.height),
            };
            return Err(self.fault(0, &format!("the stream ends, wanted {wanted}")));
        }
        match self.total_pages {
            None => Err(self.fault(0, "the stream ends, wanted a page")),
            Some(total) if total != 0 && u64::from(total) != self.pages => {
                let text = format!("the stream ends after {} pages, wanted {total}", self.pages);
                Err(self.fault(0, &text))
            }
            Some(_) => Ok(()),
        }
    }
}

impl Reader {
    /// After a run or literal: ends the line, the page, or neither. `at` is the next byte.
    fn after_bytes(&mut self, at: usize, events: &mut dyn Events) -> Result<(), Fault> {
        self.state = State::Code;
        if !self.page.line_is_full() {
            return Ok(());
        }
        let spare = self.page.line.last().map_or(0, |last| last & !spare_mask(self.page.dots));
        if spare != 0 {
            let text =
                format!("line {} has bits {spare:#04x} beyond its {} dots, wanted 0", self.page.done, self.page.dots);
            return Err(self.fault(at - 1, &text));
        }
        self.page.end_group(events)?;
        self.state = State::Group;
        if self.page.done == self.page.height {
            self.page.report_lines(events)?;
            self.page.report_blank(events)?;
            self.state = State::Header;
            events.strip_end()?;
        }
        Ok(())
    }
}
