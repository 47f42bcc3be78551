//! What goes to a printer in one stream: strips of labels, from a job's plan or from kept bits.

use crate::bitmap::Bitmap;
use crate::error::{Error, Result};
use crate::font::Pen;
use crate::job::{Job, StockPlan};
use crate::layout::Layout;
use crate::mark::snip_guide;
use crate::media::{Printer, Stock};
use crate::raster::Raster;
use crate::strip::{Rules, Strip};
use crate::unit::Dots;
use std::ops::Range;

/// Strips of labels on one stock, for one printer.
#[derive(Clone, Copy)]
pub struct Batch<'b> {
    /// The printer.
    pub printer: &'b Printer,
    /// The stock in it.
    pub stock: &'b Stock,
    /// The rules strips keep.
    pub rules: &'b Rules,
    /// Labels of each strip.
    pub strips: &'b [Range<usize>],
    /// Length of each label.
    pub lengths: &'b [Dots],
    /// Labels of the stock that come out before these, by another batch.
    pub before: usize,
}

impl<'b> Batch<'b> {
    /// The labels of a plan on one stock.
    pub fn of(job: &'b Job, plan: &'b StockPlan) -> Self {
        Self {
            printer: &job.printer,
            stock: job.stock(plan),
            rules: job.rules(plan),
            strips: &plan.strips.strips,
            lengths: &plan.lengths,
            before: plan.before,
        }
    }

    /// One strip with all its positions.
    pub fn strip(&self, labels: &Range<usize>) -> Strip {
        Strip::new(self.rules, &self.lengths[labels.clone()])
    }

    /// Tape the strips feed, loading and remnants aside.
    pub fn feed(&self) -> Dots {
        self.strips.iter().map(|labels| self.strip(labels).length).sum()
    }

    /// Bytes of a head line.
    pub(super) fn row_bytes(&self) -> usize {
        usize::try_from(self.printer.head.0).unwrap_or(0).div_ceil(8)
    }

    /// The one head line of a snip guide.
    pub(super) fn guide(&self) -> Result<Vec<u8>> {
        let (head, from, dots) = zone(self.printer, self.stock)?;
        let mut row = Vec::new();
        snip_guide(dots).append_head_lines(head, from, &mut row);
        Ok(row)
    }
}

/// Dots of the head, the first one over the stock's zone, and dots of the zone.
fn zone(printer: &Printer, stock: &Stock) -> Result<(usize, usize, usize)> {
    let off = || Error::bug("the stock lies off the head");
    let (from, dots) = printer.zone(stock).ok_or_else(off)?;
    let count = |dots: Dots| usize::try_from(dots.0).map_err(|_| off());
    Ok((count(printer.head)?, count(from)?, count(dots)?))
}

/// Labels that can be drawn, one at a time.
pub trait Labels {
    /// What a person calls a label, by its place in the batch.
    fn name(&self, label: usize) -> String;

    /// Draws a label; its length.
    ///
    /// # Errors
    /// It does not come out as planned, or its bits cannot be read.
    fn draw(&mut self, label: usize) -> Result<Dots>;

    /// The head lines of the label drawn last, back to back.
    fn rows(&self) -> &[u8];
}

/// The head lines of a plan's labels, one label at a time.
pub struct Rows<'j> {
    job: &'j Job,
    plan: &'j StockPlan,
    raster: Raster<'j>,
    label: Bitmap,
    rows: Vec<u8>,
    /// What `rows` shows: the far end is often the same as the near one.
    held: Option<Layout>,
    head: usize,
    from: usize,
}

impl<'j> Rows<'j> {
    /// Nothing drawn yet.
    ///
    /// # Errors
    /// Kind `Bug`: the plan's stock does not lie under the head.
    pub fn new(job: &'j Job, plan: &'j StockPlan) -> Result<Self> {
        let (head, from, _) = zone(&job.printer, job.stock(plan))?;
        Ok(Self {
            job,
            plan,
            raster: Raster::new(Pen::new(job.fonts())),
            label: Bitmap::new(0, 0),
            rows: Vec::new(),
            held: None,
            head,
            from,
        })
    }

    /// The head lines of the label drawn last, back to back.
    pub fn rows(&self) -> &[u8] {
        &self.rows
    }

    /// Draws a label of the plan, by its place in the plan; its length.
    ///
    /// # Errors
    /// Kind `Bug`: the label does not come out as planned.
    pub fn draw(&mut self, label: usize) -> Result<Dots> {
        let slot = self.plan.slots[label];
        let layout = self.job.lay_out(self.plan, slot)?;
        let along = layout.along;
        if along != self.plan.lengths[label] {
            return Err(Error::bug(format!("a label planned at {} lays out to {along}", self.plan.lengths[label])));
        }
        if self.held.as_ref() != Some(&layout) {
            self.raster.draw(&layout, self.job.stock(self.plan).mirrored, &mut self.label);
            self.rows.clear();
            self.label.append_head_lines(self.head, self.from, &mut self.rows);
            self.held = Some(layout);
        }
        Ok(along)
    }

    /// The lines of text of the label drawn last.
    pub fn text(&self) -> Vec<&str> {
        let lines = self.held.iter().flat_map(|layout| &layout.block.text.lines);
        lines.map(|line| line.text.as_str()).collect()
    }

    /// The bits of the label drawn last, over the width of the stock's zone.
    pub fn bits(&self) -> &Bitmap {
        &self.label
    }
}

impl Labels for Rows<'_> {
    fn name(&self, label: usize) -> String {
        let slot = self.plan.slots[label];
        format!("{} {}", self.job.name(self.job.cable(slot)), slot.end.word())
    }

    fn draw(&mut self, label: usize) -> Result<Dots> {
        self.draw(label)
    }

    fn rows(&self) -> &[u8] {
        self.rows()
    }
}

/// Labels whose bits were kept.
pub struct Kept<'k> {
    names: &'k [String],
    /// Reads the bits of a label.
    read: Box<dyn FnMut(usize) -> Result<Bitmap> + 'k>,
    rows: Vec<u8>,
    head: usize,
    from: usize,
    dots: usize,
}

impl<'k> Kept<'k> {
    /// Labels with these names, whose bits `read` finds.
    ///
    /// # Errors
    /// Kind `Bug`: the stock does not lie under the head.
    pub fn new(
        printer: &Printer,
        stock: &Stock,
        names: &'k [String],
        read: impl FnMut(usize) -> Result<Bitmap> + 'k,
    ) -> Result<Self> {
        let (head, from, dots) = zone(printer, stock)?;
        Ok(Self { names, read: Box::new(read), rows: Vec::new(), head, from, dots })
    }
}

impl Labels for Kept<'_> {
    fn name(&self, label: usize) -> String {
        self.names[label].clone()
    }

    fn draw(&mut self, label: usize) -> Result<Dots> {
        let bits = (self.read)(label)?;
        if bits.dots() != self.dots {
            return Err(Error::bug(format!("kept bits are {} dots wide, the stock takes {}", bits.dots(), self.dots)));
        }
        self.rows.clear();
        bits.append_head_lines(self.head, self.from, &mut self.rows);
        Ok(bits.size().1)
    }

    fn rows(&self) -> &[u8] {
        &self.rows
    }
}
