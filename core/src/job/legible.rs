//! Labels that fall short of what one aims at, gathered while a job is planned.

use super::Job;
use crate::cable::{Cable, Column};
use crate::font::Size;
use crate::layout::{Layout, Legibility, Strokes, is_thin};
use std::collections::BTreeMap;
use std::fmt;

/// Labels alike that fall short.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Short {
    /// Their batch; empty where the list has none.
    pub batch: String,
    /// Id of their stock.
    pub stock: String,
    /// How many.
    pub labels: usize,
    /// How each of them can be read.
    pub legibility: Legibility,
}

/// One sentence: how many of what, and how far they are good for.
impl fmt::Display for Short {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} label{}", self.labels, if self.labels == 1 { "" } else { "s" })?;
        if !self.batch.is_empty() {
            write!(f, " of {}", self.batch)?;
        }
        write!(f, " on {}: {}", self.stock, self.legibility)
    }
}

/// Gathers labels that fall short.
pub(super) struct Shorts<'f> {
    strokes: Strokes<'f>,
    groups: BTreeMap<(usize, String, Legibility), usize>,
}

impl<'f> Shorts<'f> {
    pub(super) const fn new(strokes: Strokes<'f>) -> Self {
        Self { strokes, groups: BTreeMap::new() }
    }

    /// Looks at a label of the job.
    pub(super) fn look(&mut self, job: &Job, cable: Cable<'_>, stock: usize, layout: &Layout) {
        let text = &layout.block.text;
        let size = Size { style: text.style, cap: text.cap.0, ratio_milli: text.ratio_milli };
        // Most labels are in order; a look at their size is enough to know.
        if layout.cap >= job.design.aim_cap() && !is_thin(self.strokes.of_size(size), text.cap) {
            return;
        }
        let legibility = Legibility::of(layout, &job.printer, &job.design, &mut self.strokes);
        if legibility.small() || legibility.thin() {
            *self.groups.entry((stock, cable.text(Column::Batch).to_owned(), legibility)).or_default() += 1;
        }
    }

    /// What was found: by stock and batch, the smallest first.
    pub(super) fn groups(self, job: &Job) -> Vec<Short> {
        let short = |((stock, batch, legibility), labels): ((usize, String, Legibility), usize)| Short {
            batch,
            stock: job.stocks[stock].id.clone(),
            labels,
            legibility,
        };
        self.groups.into_iter().map(short).collect()
    }
}
