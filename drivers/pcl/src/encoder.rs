//! From a job to a stream.

use std::collections::VecDeque;

use tapewright_kit::{Crop, CutKind, Driver, Fault, Job, Out, Strip};

use crate::language::{EXIT, FORM_FEED, GREATEST, RESET, RESOLUTIONS, SPACINGS_PER_INCH};
use crate::rows::{MOST_OVER, Rows, number};

/// The state of a job. Holds one row, the row before it, and the row in two encoded forms,
/// whatever the length of the strip.
#[derive(Debug)]
pub(crate) struct Encoder {
    geometry: Geometry,
    phase: Phase,
    /// Rows left of the pages of the strip going on: the first is the one going on.
    pages: VecDeque<u32>,
    rows: Rows,
    /// Row of the page made of a head line.
    row: Vec<u8>,
}

#[derive(Debug)]
struct Geometry {
    crop: Crop,
    line_bytes: usize,
    width: u32,
    page_length: bool,
}

/// What the device may be in the middle of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Nothing,
    /// In a job between pages, or at its end.
    Job,
    Page,
}

impl Encoder {
    pub(crate) fn new() -> Encoder {
        Encoder {
            geometry: Geometry { crop: Crop::new(0, 8, 8), line_bytes: 1, width: 8, page_length: true },
            phase: Phase::Nothing,
            pages: VecDeque::new(),
            rows: Rows::default(),
            row: Vec::new(),
        }
    }

    /// Begins the page that is first in `pages`.
    fn begin_page(&mut self, out: &mut Out) {
        let Some(&rows) = self.pages.front() else {
            return;
        };
        self.phase = Phase::Page;
        out.extend(b"\x1B&l");
        if self.geometry.page_length {
            number(rows, b'p', out);
        }
        // A new page length brings its own margins, and so may a change of the perforation skip:
        // this order.
        out.extend(b"0l0E");
        // Without it the cursor stands where the first line of text would.
        out.extend(b"\x1B*p0x0Y");
        out.extend(b"\x1B*r");
        number(self.geometry.width, b's', out);
        number(rows, b't', out);
        out.extend(b"1A");
        self.rows.begin();
    }

    /// How many of `count` rows go to the page going on.
    fn rows_of_page(&self, count: u32) -> u32 {
        self.pages.front().map_or(0, |left| count.min(*left))
    }

    /// Counts rows of the page going on; at its end comes the next page.
    fn advance(&mut self, count: u32, out: &mut Out) {
        let Some(left) = self.pages.front_mut() else {
            return;
        };
        *left -= count;
        if *left > 0 {
            return;
        }
        self.rows.end(out);
        out.extend(b"\x1B*rB");
        out.byte(FORM_FEED);
        self.phase = Phase::Job;
        self.pages.pop_front();
        self.begin_page(out);
    }
}

/// Rows of the pieces of a strip between full cuts.
fn pages_between_cuts(strip: &Strip<'_>) -> Result<VecDeque<u32>, Fault> {
    let mut pages = VecDeque::new();
    let mut first = 0;
    for cut in strip.cuts {
        if cut.kind == CutKind::Half {
            return Err(Fault::unsupported(format!(
                "pcl cannot carry half cuts, found one at line {} of strip {}; set between = \"full\" or \"snip\" in the job, or another cutter in the printer profile",
                cut.line, strip.index
            )));
        }
        if cut.line == 0 {
            return Err(Fault::unsupported(format!(
                "pcl cannot carry a full cut before the first line, found one in strip {}; a page has at least 1 line",
                strip.index
            )));
        }
        pages.push_back(cut.line - first);
        first = cut.line;
    }
    if first < strip.lines {
        pages.push_back(strip.lines - first);
    }
    if let Some(rows) = pages.iter().find(|rows| **rows > GREATEST) {
        return Err(Fault::limit(format!(
            "strip {} has a piece of {rows} lines, pcl says at most {GREATEST} lines a page; set a smaller max_strip_mm in the printer profile",
            strip.index
        )));
    }
    Ok(pages)
}

/// The resolution of both directions in dots per inch.
fn resolution(job: &Job<'_>) -> Result<u32, Fault> {
    let said = |milli: u32| {
        let part = format!(".{:03}", milli % 1000);
        format!("{}{}", milli / 1000, part.trim_end_matches('0').trim_end_matches('.'))
    };
    let (across, along) = (job.dpi_across_milli, job.dpi_along_milli);
    if across != along {
        return Err(Fault::unsupported(format!(
            "the printer has {} dpi across and {} dpi along the tape, pcl says one resolution for both; set the same dpi_across and dpi_along in the printer profile",
            said(across),
            said(along)
        )));
    }
    RESOLUTIONS.into_iter().find(|dpi| dpi * 1000 == across).ok_or_else(|| {
        let known = RESOLUTIONS.map(|dpi| dpi.to_string()).join(", ");
        Fault::unsupported(format!(
            "the printer has {} dpi, pcl says one of {known}; set dpi_across and dpi_along in the printer profile, or another driver",
            said(across)
        ))
    })
}

impl Driver for Encoder {
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
        self.phase = Phase::Nothing;
        self.pages.clear();
        let dpi = resolution(job)?;
        let (first, width) = match job.options.text("page") {
            "head" => (0, job.dots),
            _ => (job.stock.web_first_dot, job.stock.web_dots),
        };
        if width > GREATEST {
            return Err(Fault::limit(format!("page of {width} dots, pcl says at most {GREATEST} dots a row")));
        }
        let bytes = width.div_ceil(8) as usize;
        self.geometry = Geometry {
            crop: Crop::new(first, job.dots, width),
            line_bytes: job.bytes_per_line,
            width,
            page_length: job.options.bool("page-length"),
        };
        self.rows = Rows::new(bytes);
        self.row = vec![0; bytes];
        self.phase = Phase::Job;
        out.extend(EXIT);
        out.extend(RESET);
        // Orientation sets page length and margins back, so it comes first.
        out.extend(b"\x1B&l0O");
        if self.geometry.page_length {
            // A line of text is a row of dots: the page length, in lines of text, is exact.
            let spacing = SPACINGS_PER_INCH / dpi;
            let text = format!("\x1B&l{}.{:04}", spacing / 10_000, spacing % 10_000);
            out.extend(text.trim_end_matches('0').as_bytes());
            out.byte(b'C');
        }
        out.extend(b"\x1B*t");
        number(dpi, b'R', out);
        Ok(())
    }

    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
        self.pages = pages_between_cuts(strip)?;
        self.begin_page(out);
        Ok(())
    }

    fn lines(&mut self, mut lines: &[u8], mut count: u32, out: &mut Out) -> Result<(), Fault> {
        let Geometry { crop, line_bytes, .. } = self.geometry;
        while count > 0 && !self.pages.is_empty() {
            let now = self.rows_of_page(count);
            let (these, rest) = lines.split_at(now as usize * line_bytes);
            if crop.is_identity() {
                for line in these.chunks_exact(line_bytes) {
                    self.rows.add(line, out);
                }
            } else {
                let mut last: &[u8] = &[];
                for line in these.chunks_exact(line_bytes) {
                    // An equal line makes an equal row.
                    if line == last {
                        self.rows.repeat(1, out);
                        continue;
                    }
                    crop.row(line, &mut self.row);
                    self.rows.add(&self.row, out);
                    last = line;
                }
            }
            self.advance(now, out);
            lines = rest;
            count -= now;
        }
        Ok(())
    }

    fn blank(&mut self, mut count: u32, out: &mut Out) -> Result<(), Fault> {
        while count > 0 && !self.pages.is_empty() {
            let now = self.rows_of_page(count);
            self.rows.skip(now);
            self.advance(now, out);
            count -= now;
        }
        Ok(())
    }

    fn end_strip(&mut self, _out: &mut Out) -> Result<(), Fault> {
        Ok(())
    }

    fn end_job(&mut self, out: &mut Out) -> Result<(), Fault> {
        out.extend(RESET);
        out.extend(EXIT);
        Ok(())
    }

    /// Part of what was put out, the end of the job too, may not have reached the device, which may
    /// then wait for the rest of a row. Zeros end any row or command; where none is open they say nothing.
    fn cancel(&mut self, out: &mut Out) -> Result<(), Fault> {
        let phase = std::mem::replace(&mut self.phase, Phase::Nothing);
        self.pages.clear();
        if phase == Phase::Nothing {
            return Ok(());
        }
        self.row.fill(0);
        out.extend(&self.row);
        out.extend(&[0; MOST_OVER]);
        out.extend(b"\x1B*rB");
        if phase == Phase::Page {
            out.byte(FORM_FEED);
        }
        out.extend(RESET);
        out.extend(EXIT);
        Ok(())
    }
}
