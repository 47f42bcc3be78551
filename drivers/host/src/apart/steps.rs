//! The steps of a job on their way to the module's process: a batch of them is one request.

use std::ops::Range;

use super::area::{self, Writable};
use super::wire::{Put, Take};
use crate::{JobSpec, Step, StripSpec};

/// Steps that wait to be sent.
#[derive(Debug)]
pub(super) struct Batch {
    put: Put,
    /// Where rows are put, if there is such memory.
    area: Option<Writable>,
    /// Bytes of the area that hold rows of this batch.
    used: usize,
    /// Where the rows of its last lines stand, in the area or else in the batch; empty for none.
    rows: Range<usize>,
}

impl Batch {
    pub(super) fn new(area: Option<Writable>) -> Self {
        Self { put: Put::default(), area, used: 0, rows: 0..0 }
    }

    /// Whether a step is better added to the next batch: its rows fit into the area, but not with
    /// those that are there.
    pub(super) fn is_full_for(&self, step: &Step<'_>) -> bool {
        let (Step::Lines { rows, .. }, Some(area)) = (step, &self.area) else { return false };
        (area::SIZE - self.used + 1..=area::SIZE).contains(&rows.len()) && !area.holds(self.rows.clone(), rows)
    }

    /// What is sent.
    pub(super) fn bytes(&self) -> &[u8] {
        &self.put.0
    }

    pub(super) fn clear(&mut self) {
        self.put.0.clear();
        self.used = 0;
        self.rows = 0..0;
    }

    /// Appends a step.
    pub(super) fn add(&mut self, step: &Step<'_>) {
        let put = &mut self.put;
        match step {
            Step::BeginJob(job) => {
                put.byte(0);
                put.text(&job.name);
                for number in
                    [job.strips, job.dpi_across_milli, job.dpi_along_milli, job.dots, job.web_dots, job.width_um]
                {
                    put.number(number);
                }
                put.signed(job.web_first_dot.into());
                put.text(&job.stock_kind);
                put.text(&job.stock_title);
                put.list(&job.options, |put, (key, value)| {
                    put.text(key);
                    put.text(value);
                });
            }
            Step::BeginStrip(strip) => {
                put.byte(1);
                for number in [strip.index, strip.lines, strip.lead_lines, strip.trail_lines, strip.labels] {
                    put.number(number);
                }
                put.list(strip.cuts, Put::cut);
            }
            Step::Lines { rows, count } => {
                // Both ends of a cable often have the same label: what is not written again costs
                // nothing.
                let in_area = self.area.as_mut().is_some_and(|area| {
                    let held = area.holds(self.rows.clone(), rows);
                    let fits = rows.len() <= area::SIZE - self.used;
                    if !held && fits {
                        area.write(self.used, rows);
                        self.rows = self.used..self.used + rows.len();
                        self.used = self.rows.end;
                    }
                    held || fits
                });
                if in_area {
                    put.byte(9);
                    put.number(*count);
                    put.count(self.rows.start);
                    put.count(self.rows.len());
                } else if !rows.is_empty() && put.0.get(self.rows.clone()) == Some(rows) {
                    put.byte(8);
                    put.number(*count);
                    put.count(self.rows.start);
                    put.count(self.rows.len());
                } else {
                    put.byte(2);
                    put.number(*count);
                    put.bytes(rows);
                    self.rows = put.0.len() - rows.len()..put.0.len();
                }
            }
            Step::Blank(count) => {
                put.byte(3);
                put.number(*count);
            }
            Step::EndStrip => put.byte(4),
            Step::EndJob => put.byte(5),
            Step::Cancel => put.byte(6),
            Step::PortStatus(status) => {
                put.byte(7);
                put.byte(*status);
            }
        }
    }
}

/// Takes the next step of `batch` and makes it; `take` is what is left of the batch, `area` where
/// the program puts rows.
pub(super) fn take_step<T>(
    batch: &[u8],
    area: &[u8],
    take: &mut Take<'_>,
    make: impl FnOnce(&Step<'_>) -> T,
) -> Option<T> {
    match take.byte()? {
        0 => {
            let name = take.text()?;
            let mut number = || take.number();
            let (strips, dpi_across_milli, dpi_along_milli) = (number()?, number()?, number()?);
            let (dots, web_dots, width_um) = (number()?, number()?, number()?);
            let job = JobSpec {
                name,
                strips,
                dpi_across_milli,
                dpi_along_milli,
                dots,
                web_dots,
                width_um,
                web_first_dot: i32::try_from(take.signed()?).ok()?,
                stock_kind: take.text()?,
                stock_title: take.text()?,
                options: take.list(|take| Some((take.text()?, take.text()?)))?,
            };
            Some(make(&Step::BeginJob(&job)))
        }
        1 => {
            let mut number = || take.number();
            let (index, lines, lead_lines) = (number()?, number()?, number()?);
            let (trail_lines, labels) = (number()?, number()?);
            let cuts = take.list(Take::cut)?;
            let strip = StripSpec { index, lines, lead_lines, trail_lines, labels, cuts: &cuts };
            Some(make(&Step::BeginStrip(&strip)))
        }
        2 => {
            let count = take.number()?;
            Some(make(&Step::Lines { rows: take.bytes()?, count }))
        }
        3 => Some(make(&Step::Blank(take.number()?))),
        4 => Some(make(&Step::EndStrip)),
        5 => Some(make(&Step::EndJob)),
        6 => Some(make(&Step::Cancel)),
        7 => Some(make(&Step::PortStatus(take.byte()?))),
        again @ (8 | 9) => {
            let (count, start, length) = (take.number()?, take.size()?, take.size()?);
            let rows = if again == 8 { batch } else { area }.get(start..)?.get(..length)?;
            Some(make(&Step::Lines { rows, count }))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapewright_abi::value::{Cut, CutKind};

    #[test]
    fn a_step_there_and_back() {
        let cuts = [Cut { line: 9, kind: CutKind::Full }];
        let job = JobSpec {
            name: "n".into(),
            web_first_dot: -7,
            options: vec![("k".into(), "v".into())],
            ..JobSpec::default()
        };
        let strip = StripSpec { lines: 9, cuts: &cuts, ..StripSpec::default() };
        for step in [
            Step::BeginJob(&job),
            Step::BeginStrip(&strip),
            Step::Lines { rows: &[5; 4], count: 2 },
            Step::Blank(3),
            Step::EndStrip,
            Step::EndJob,
            Step::Cancel,
            Step::PortStatus(0x18),
        ] {
            let mut batch = Batch::new(None);
            batch.add(&step);
            let mut take = Take(batch.bytes());
            assert_eq!(take_step(batch.bytes(), &[], &mut take, |found| *found == step), Some(true));
            assert!(take.0.is_empty());
        }
    }

    #[test]
    fn lines_again_are_those_that_stand_before() {
        let steps = [2, 1].map(|count| Step::Lines { rows: &[5, 6], count });
        let mut batch = Batch::new(None);
        for step in &steps {
            batch.add(step);
        }
        assert!(batch.bytes().len() < 2 * 13, "the rows are sent once");
        let mut take = Take(batch.bytes());
        for step in steps {
            assert_eq!(take_step(batch.bytes(), &[], &mut take, |found| *found == step), Some(true));
        }
        assert!(take.0.is_empty());
        // Rows that do not stand in the batch.
        for (start, length) in [(0, 1000), (1000, 1), (u32::MAX, u32::MAX)] {
            let mut put = Put::default();
            put.byte(8);
            for number in [1, start, length] {
                put.number(number);
            }
            assert_eq!(take_step(&put.0, &[], &mut Take(&put.0), |_| ()), None, "{start} {length}");
        }
    }

    #[cfg(all(target_os = "linux", not(miri)))]
    #[test]
    fn rows_that_fit_into_the_area_are_not_in_the_batch() {
        use super::super::area::{Areas, SIZE};
        let (areas, _passed) = Areas::new().expect("this needs Linux 5.1 or newer");
        let mut batch = Batch::new(Some(areas.lines));
        let (most, wide) = (vec![7; SIZE - 10], vec![9; SIZE + 1]);
        let [first, small, large] = [&most[..], &most[..11], &wide].map(|rows| Step::Lines { rows, count: 1 });
        for step in [&first, &first] {
            assert!(!batch.is_full_for(step));
            batch.add(step);
        }
        assert_eq!(batch.bytes().len(), 2 * 13, "rows are in the area, once");
        assert!(batch.is_full_for(&small) && !batch.is_full_for(&large) && !batch.is_full_for(&Step::Blank(1)));
        // What fits nowhere goes with the batch, and so does a step that is added all the same.
        for step in [&large, &large, &small] {
            batch.add(step);
        }
        let mut area = most.clone();
        area.resize(SIZE, 0);
        let mut take = Take(batch.bytes());
        for step in [first, first, large, large, small] {
            assert_eq!(take_step(batch.bytes(), &area, &mut take, |found| *found == step), Some(true));
        }
        assert!(take.0.is_empty());
        batch.clear();
        assert!(!batch.is_full_for(&first) && !batch.is_full_for(&small));
    }
}
