//! From a job to a stream.

use tapewright_kit::{Crop, Driver, Fault, Job, Out, Pages, Strip};

use crate::language::{EXIT, FORM_FEED, GREATEST, RESET, RESOLUTIONS, SPACINGS_PER_INCH};
use crate::rows::{MOST_OVER, Rows, number};

/// The state of a job. Holds one row, the row before it, and the row in two encoded forms,
/// whatever the length of the strip.
#[derive(Debug)]
pub(crate) struct Encoder {
    geometry: Geometry,
    phase: Phase,
    /// Pages of the strip going on.
    pages: Pages,
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
            pages: Pages::default(),
            rows: Rows::default(),
            row: Vec::new(),
        }
    }

    /// Begins the page that is first in `pages`.
    fn begin_page(&mut self, out: &mut Out) {
        let Some(page) = self.pages.page() else {
            return;
        };
        let rows = page.lines_left;
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

    /// Counts rows of the page going on; at its end comes the next page.
    fn advance(&mut self, count: u32, out: &mut Out) {
        if !self.pages.advance(count) {
            return;
        }
        self.rows.end(out);
        out.extend(b"\x1B*rB");
        out.byte(FORM_FEED);
        self.phase = Phase::Job;
        self.begin_page(out);
    }
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
        self.pages = Pages::default();
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
        let pages = Pages::between_cuts(strip, "pcl")?;
        let rows = pages.longest();
        if rows > GREATEST {
            return Err(Fault::limit(format!(
                "strip {} has a piece of {rows} lines, pcl says at most {GREATEST} lines a page; set a smaller max_strip_mm in the printer profile",
                strip.index
            )));
        }
        self.pages = pages;
        self.begin_page(out);
        Ok(())
    }

    fn lines(&mut self, mut lines: &[u8], mut count: u32, out: &mut Out) -> Result<(), Fault> {
        let Geometry { crop, line_bytes, .. } = self.geometry;
        while count > 0 && self.pages.page().is_some() {
            let now = self.pages.lines_of_page(count);
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
        while count > 0 && self.pages.page().is_some() {
            let now = self.pages.lines_of_page(count);
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
        self.pages = Pages::default();
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
