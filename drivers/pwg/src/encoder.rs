//! From a job to a stream.

use tapewright_kit::{Crop, Cut, CutKind, Driver, Fault, Job, Out, Pages, Strip, StripPage};

use crate::header::{Header, SYNC, whole_dpi};
use crate::recent::{Recent, Slot, equal};
use crate::runs;
use crate::vendor;

/// Lines that one group can stand for.
const LONGEST_GROUP: u32 = 256;

/// Rows are kept up to so many bytes, in case they come again: some metres of narrow tape.
const LONGEST_LAST: usize = 64 << 10;

/// The state of a job. Holds some recent lines and their codes, at most 64 KiB or two of them, and
/// what was added last, whatever the length of the strip.
#[derive(Debug)]
pub(crate) struct Encoder {
    geometry: Geometry,
    /// Pages of the strip going on.
    pages: Pages,
    group: Group,
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

/// Equal rows waiting to be written together. Rows are known by their codes: equal rows have equal
/// codes, and no others have.
#[derive(Debug)]
struct Group {
    recent: Recent,
    /// Where in `recent` the codes of the waiting row stand.
    waiting: Slot,
    /// 0: no row is waiting.
    count: u32,
    last: Last,
    /// A row of the page, and its codes.
    row: Vec<u8>,
    codes: Vec<u8>,
}

impl Group {
    /// For head lines of `line_bytes` that become rows of `row_bytes`.
    fn new(line_bytes: usize, row_bytes: usize) -> Group {
        let row = vec![0; row_bytes];
        let mut codes = Vec::with_capacity(runs::longest(row_bytes));
        runs::encode(&row, &mut codes);
        let recent = Recent::new(line_bytes, runs::longest(row_bytes), &codes);
        Group { waiting: recent.blank(), recent, count: 0, last: Last::default(), row, codes }
    }

    /// Adds `count` rows that equal the waiting one.
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

    /// The row of a head line waits from now on. Whether another one did before.
    fn begin(&mut self, line: &[u8], crop: &Crop, out: &mut Out) -> bool {
        let (slot, known) = self.recent.find(line);
        if known {
            return self.change(slot, out);
        }
        let row = if crop.is_identity() {
            line
        } else {
            crop.row(line, &mut self.row);
            &self.row
        };
        self.codes.clear();
        runs::encode(row, &mut self.codes);
        let changes = self.recent.codes(self.waiting) != self.codes;
        if changes {
            // What waits may stand in the very slot that is taken.
            self.write(out);
        }
        self.recent.put(slot, line, &self.codes);
        self.waiting = slot;
        changes
    }

    /// Adds rows of head lines, `rows` of whole lines.
    fn add(&mut self, rows: &[u8], line_bytes: usize, crop: &Crop, out: &mut Out) {
        if self.again(rows, line_bytes, crop, out) {
            return;
        }
        // Where the output behind the first group begins, and where the last group begins.
        let (mut start, mut end) = (None, None);
        let (mut first, mut last) = (0, 0);
        let mut rest = rows;
        while !rest.is_empty() {
            let equal = equal_lines(rest, line_bytes);
            let changes = self.begin(&rest[..line_bytes], crop, out);
            let place = changes.then(|| out.bytes().len());
            if first == 0 {
                first = equal;
            } else {
                if last == 0 {
                    start = place;
                }
                (last, end) = (equal, place);
            }
            self.repeat(equal, out);
            rest = &rest[equal as usize * line_bytes..];
        }
        self.last.first = 0;
        if let (Some(start), Some(end), true) = (start, end, rows.len() <= LONGEST_LAST) {
            self.last.keep(rows, first, last, &out.bytes()[start..end]);
        }
    }

    /// The same rows as the last time make the same output but for how their first and their last
    /// group go on. Whether they were the same, and are written.
    fn again(&mut self, rows: &[u8], line_bytes: usize, crop: &Crop, out: &mut Out) -> bool {
        if self.last.first == 0 || self.last.rows != rows {
            return false;
        }
        self.begin(&rows[..line_bytes], crop, out);
        self.repeat(self.last.first, out);
        self.write(out);
        out.extend(&self.last.between);
        self.begin(&rows[rows.len() - line_bytes..], crop, out);
        self.repeat(self.last.last, out);
        true
    }

    fn add_blank(&mut self, count: u32, out: &mut Out) {
        self.change(self.recent.blank(), out);
        self.repeat(count, out);
    }

    /// The row of `slot` waits from now on. Whether another one did before.
    fn change(&mut self, slot: Slot, out: &mut Out) -> bool {
        if slot == self.waiting {
            return false;
        }
        let changes = self.recent.codes(slot) != self.recent.codes(self.waiting);
        if changes {
            self.write(out);
        }
        self.waiting = slot;
        changes
    }

    /// Writes what is waiting.
    fn write(&mut self, out: &mut Out) {
        let Some(before_last) = self.count.checked_sub(1) else {
            return;
        };
        out.byte(u8::try_from(before_last).expect("a group has at most 256 lines"));
        self.recent.write(self.waiting, out);
        self.count = 0;
    }
}

/// Rows added last and what they became: both ends of a cable mostly have the same label.
#[derive(Debug, Default)]
struct Last {
    rows: Vec<u8>,
    /// Lines of the first group; 0: nothing is kept.
    first: u32,
    /// Lines of the last group.
    last: u32,
    /// The output of the groups between.
    between: Vec<u8>,
}

impl Last {
    fn keep(&mut self, rows: &[u8], first: u32, last: u32, between: &[u8]) {
        self.rows.clear();
        self.rows.extend_from_slice(rows);
        self.between.clear();
        self.between.extend_from_slice(between);
        (self.first, self.last) = (first, last);
    }
}

/// How many head lines at the beginning equal the first; `rows` holds whole lines, at least one.
#[inline]
fn equal_lines(rows: &[u8], line_bytes: usize) -> u32 {
    let first = &rows[..line_bytes];
    (0..)
        .zip(rows.chunks_exact(line_bytes))
        .find_map(|(at, line)| (!equal(line, first)).then_some(at))
        .unwrap_or_else(|| u32::try_from(rows.len() / line_bytes).expect("the lines were counted in 32 bits"))
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
            pages: Pages::default(),
            group: Group::new(1, 1),
        }
    }

    fn write_header(&self, page: StripPage, vendor_data: &[u8], out: &mut Out) {
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

    /// Counts lines of the page going on; at its end comes the next page.
    fn advance(&mut self, count: u32, out: &mut Out) {
        if !self.pages.advance(count) {
            return;
        }
        self.group.write(out);
        if let Some(next) = self.pages.page() {
            self.write_header(next, &[], out);
        }
    }
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
        self.pages = Pages::default();
        self.group = Group::new(job.bytes_per_line, row_bytes);
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
            self.pages = Pages::whole(strip, cut_after);
        } else {
            self.pages = Pages::between_cuts(strip, "pwg without the cut list")?;
        }
        if let Some(page) = self.pages.page() {
            self.write_header(page, &vendor_data, out);
        }
        Ok(())
    }

    fn lines(&mut self, mut rows: &[u8], mut count: u32, out: &mut Out) -> Result<(), Fault> {
        let line_bytes = self.geometry.line_bytes;
        let crop = self.geometry.crop;
        while count > 0 && self.pages.page().is_some() {
            let now = self.pages.lines_of_page(count);
            let (these, rest) = rows.split_at(now as usize * line_bytes);
            self.group.add(these, line_bytes, &crop, out);
            self.advance(now, out);
            rows = rest;
            count -= now;
        }
        Ok(())
    }

    fn blank(&mut self, mut count: u32, out: &mut Out) -> Result<(), Fault> {
        while count > 0 && self.pages.page().is_some() {
            let now = self.pages.lines_of_page(count);
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Labels of a few lines, some again and again, handed over whole and a line at a time.
    #[test]
    fn rows_that_come_again_change_nothing() {
        let mut state = 1u32;
        let mut next = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            u32::from(state.to_be_bytes()[0])
        };
        let mut agains = 0;
        for round in 0..400 {
            // The web leaves out the first dots of the head: different lines may make equal rows.
            let (line_bytes, crop) =
                if round % 2 == 0 { (2, Crop::new(8, 16, 8)) } else { (16, Crop::new(22, 128, 85)) };
            let row_bytes = if line_bytes == 2 { 1 } else { 11 };
            let (mut whole, mut lines) = (Group::new(line_bytes, row_bytes), Group::new(line_bytes, row_bytes));
            let (mut whole_out, mut lines_out) = (Out::new(), Out::new());
            let mut label: Vec<u8> = Vec::new();
            for _ in 0..30 {
                if next() % 3 == 0 {
                    label.clear();
                    for _ in 0..=next() % 5 {
                        let line: Vec<u8> = (0..line_bytes).map(|_| if next() % 4 == 0 { 1 } else { 0 }).collect();
                        // Some longer than a group.
                        let times = if next() % 8 == 0 { 100 + next() } else { 1 + next() % 3 };
                        (0..times).for_each(|_| label.extend_from_slice(&line));
                    }
                } else if next() % 3 == 0 {
                    let count = 1 + next() * 2;
                    whole.add_blank(count, &mut whole_out);
                    lines.add_blank(count, &mut lines_out);
                }
                if !label.is_empty() {
                    agains += u32::from(whole.last.first > 0 && whole.last.rows == label);
                    whole.add(&label, line_bytes, &crop, &mut whole_out);
                    label.chunks_exact(line_bytes).for_each(|line| lines.add(line, line_bytes, &crop, &mut lines_out));
                }
            }
            whole.write(&mut whole_out);
            lines.write(&mut lines_out);
            assert!(whole_out.bytes() == lines_out.bytes(), "round {round}");
        }
        assert!(agains > 1000, "only {agains} labels came again");
    }
}
