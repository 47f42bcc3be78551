//! From a job to a stream.

use std::collections::VecDeque;

use tapewright_kit::{Crop, Cut, CutKind, Driver, Fault, Job, Out, Strip};

use crate::header::{Header, SYNC, whole_dpi};
use crate::runs;
use crate::vendor;

/// Lines that one group can stand for.
const LONGEST_GROUP: u32 = 256;

/// The state of a job. Holds one line and its encoded form, whatever the length of the strip.
#[derive(Debug)]
pub(crate) struct Encoder {
    geometry: Geometry,
    /// Pages of the strip going on: the first is the one going on.
    pages: VecDeque<Page>,
    group: Group,
    /// Row of the page made of a head line.
    row: Vec<u8>,
}

#[derive(Debug)]
struct Geometry {
    crop: Crop,
    line_bytes: usize,
    width: u32,
    dpi_across_milli: u32,
    dpi_along_milli: u32,
    media_type: String,
    total_pages: u32,
    cut_list: bool,
}

#[derive(Debug, Clone, Copy)]
struct Page {
    lines_left: u32,
    cut_after: bool,
}

/// Equal lines waiting to be written together.
#[derive(Debug, Default)]
struct Group {
    line: Vec<u8>,
    is_blank: bool,
    /// 0: no line is waiting.
    count: u32,
    /// `line` in run lengths; empty until it is needed.
    encoded: Vec<u8>,
}

impl Group {
    /// Adds `count` lines that equal the waiting one.
    fn repeat(&mut self, mut count: u32, out: &mut Out) {
        while count > 0 {
            if self.count == LONGEST_GROUP {
                self.write(out);
            }
            let added = count.min(LONGEST_GROUP - self.count);
            self.count += added;
            count -= added;
        }
    }

    fn add(&mut self, line: &[u8], out: &mut Out) {
        if self.count == 0 || self.line != line {
            self.write(out);
            self.line.copy_from_slice(line);
            self.is_blank = line.iter().all(|byte| *byte == 0);
            self.encoded.clear();
        }
        self.repeat(1, out);
    }

    fn add_blank(&mut self, count: u32, out: &mut Out) {
        if self.count == 0 || !self.is_blank {
            self.write(out);
            self.line.fill(0);
            self.is_blank = true;
            self.encoded.clear();
        }
        self.repeat(count, out);
    }

    /// Writes what is waiting.
    fn write(&mut self, out: &mut Out) {
        let Some(before_last) = self.count.checked_sub(1) else {
            return;
        };
        if self.encoded.is_empty() {
            runs::encode(&self.line, &mut self.encoded);
        }
        out.byte(u8::try_from(before_last).expect("a group has at most 256 lines"));
        out.extend(&self.encoded);
        self.count = 0;
    }
}

impl Encoder {
    pub(crate) fn new() -> Encoder {
        Encoder {
            geometry: Geometry {
                crop: Crop::new(0, 8, 8),
                line_bytes: 1,
                width: 8,
                dpi_across_milli: 1,
                dpi_along_milli: 1,
                media_type: String::new(),
                total_pages: 0,
                cut_list: true,
            },
            pages: VecDeque::new(),
            group: Group::default(),
            row: Vec::new(),
        }
    }

    fn write_header(&self, page: Page, vendor_data: &[u8], out: &mut Out) {
        let geometry = &self.geometry;
        let header = Header {
            width: geometry.width,
            height: page.lines_left,
            dpi_across_milli: geometry.dpi_across_milli,
            dpi_along_milli: geometry.dpi_along_milli,
            media_type: &geometry.media_type,
            cut_after: page.cut_after,
            total_pages: geometry.total_pages,
            vendor_data,
        };
        out.extend(&header.to_bytes());
    }

    /// How many of `count` lines go to the page going on.
    fn lines_of_page(&self, count: u32) -> u32 {
        self.pages.front().map_or(0, |page| page.lines_left.min(count))
    }

    /// Counts lines of the page going on; at its end comes the next page.
    fn advance(&mut self, count: u32, out: &mut Out) {
        let Some(page) = self.pages.front_mut() else {
            return;
        };
        page.lines_left -= count;
        if page.lines_left > 0 {
            return;
        }
        self.group.write(out);
        self.pages.pop_front();
        if let Some(next) = self.pages.front() {
            self.write_header(*next, &[], out);
        }
    }
}

/// The pieces of a strip between full cuts.
fn pages_between_cuts(strip: &Strip<'_>) -> Result<VecDeque<Page>, Fault> {
    let mut pages = VecDeque::new();
    let mut first = 0;
    for cut in strip.cuts {
        if cut.kind == CutKind::Half {
            return Err(Fault::unsupported(format!(
                "pwg without the cut list cannot carry half cuts, found one at line {} of strip {}; set between = \"full\" or \"snip\" in the job, or another cutter in the printer profile",
                cut.line, strip.index
            )));
        }
        if cut.line == 0 {
            return Err(Fault::unsupported(format!(
                "pwg without the cut list cannot carry a full cut before the first line, found one in strip {}; a page has at least 1 line",
                strip.index
            )));
        }
        pages.push_back(Page { lines_left: cut.line - first, cut_after: true });
        first = cut.line;
    }
    if first < strip.lines {
        pages.push_back(Page { lines_left: strip.lines - first, cut_after: false });
    }
    Ok(pages)
}

impl Driver for Encoder {
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
        let (first, width) = match job.options.text("page") {
            "head" => (0, job.dots),
            _ => (job.stock.web_first_dot, job.stock.web_dots),
        };
        let row_bytes = usize::try_from(width.div_ceil(8))
            .map_err(|_| Fault::limit(format!("page of {width} dots, wanted less")))?;
        let cut_list = job.options.bool("cut-list");
        self.geometry = Geometry {
            crop: Crop::new(first, job.dots, width),
            line_bytes: job.bytes_per_line,
            width,
            dpi_across_milli: job.dpi_across_milli,
            dpi_along_milli: job.dpi_along_milli,
            media_type: job.stock.kind.to_owned(),
            // Without the cut list a strip may become several pages, known only strip by strip.
            total_pages: job.strips.filter(|_| cut_list).unwrap_or(0),
            cut_list,
        };
        self.pages.clear();
        self.row = vec![0; row_bytes];
        self.group = Group { line: vec![0; row_bytes], ..Group::default() };
        out.extend(SYNC);
        Ok(())
    }

    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
        let mut vendor_data = Vec::new();
        if self.geometry.cut_list {
            let at_end = Cut { line: strip.lines, kind: CutKind::Full };
            let (cut_after, inner) = match strip.cuts.split_last() {
                Some((last, inner)) if *last == at_end => (true, inner),
                _ => (false, strip.cuts),
            };
            let dpi = (self.geometry.dpi_across_milli, self.geometry.dpi_along_milli);
            let exact = |milli: u32| u64::from(whole_dpi(milli)) * 1000 == u64::from(milli);
            let lost = !(exact(dpi.0) && exact(dpi.1));
            vendor_data = vendor::encode(inner, lost.then_some(dpi))?;
            self.pages = VecDeque::from([Page { lines_left: strip.lines, cut_after }]);
        } else {
            self.pages = pages_between_cuts(strip)?;
        }
        if let Some(page) = self.pages.front() {
            self.write_header(*page, &vendor_data, out);
        }
        Ok(())
    }

    fn lines(&mut self, mut rows: &[u8], mut count: u32, out: &mut Out) -> Result<(), Fault> {
        let line_bytes = self.geometry.line_bytes;
        let crop = self.geometry.crop;
        while count > 0 && !self.pages.is_empty() {
            let now = self.lines_of_page(count);
            let (these, rest) = rows.split_at(now as usize * line_bytes);
            if crop.is_identity() {
                for line in these.chunks_exact(line_bytes) {
                    self.group.add(line, out);
                }
            } else {
                let mut last: &[u8] = &[];
                for line in these.chunks_exact(line_bytes) {
                    // An equal line makes an equal row.
                    if line == last {
                        self.group.repeat(1, out);
                        continue;
                    }
                    crop.row(line, &mut self.row);
                    self.group.add(&self.row, out);
                    last = line;
                }
            }
            self.advance(now, out);
            rows = rest;
            count -= now;
        }
        Ok(())
    }

    fn blank(&mut self, mut count: u32, out: &mut Out) -> Result<(), Fault> {
        while count > 0 && !self.pages.is_empty() {
            let now = self.lines_of_page(count);
            self.group.add_blank(now, out);
            self.advance(now, out);
            count -= now;
        }
        Ok(())
    }

    fn end_strip(&mut self, _out: &mut Out) -> Result<(), Fault> {
        Ok(())
    }

    fn end_job(&mut self, _out: &mut Out) -> Result<(), Fault> {
        Ok(())
    }
}
