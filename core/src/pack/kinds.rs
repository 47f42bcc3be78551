//! Items that are alike, for tasks whose order is free.

use super::class::{Class, Handout};
use super::{Mount, Task};
use std::collections::BTreeMap;

/// Units that are alike. A unit is what a strip is made of: an item, or in [`Work::single`] a strip.
#[derive(Clone, Debug)]
pub(super) struct Kind {
    pub(super) size: i64,
    pub(super) labels: u32,
    pub(super) batch: usize,
    pub(super) count: u32,
    units: Vec<Vec<usize>>,
}

/// A task whose order is free, seen as kinds and classes.
#[derive(Clone, Debug)]
pub(super) struct Work {
    /// By batch, the largest first in each.
    pub(super) kinds: Vec<Kind>,
    pub(super) classes: Vec<Class>,
    /// Kinds of each batch, as ranges.
    pub(super) batches: Vec<std::ops::Range<usize>>,
    /// What a strip costs beyond its sizes; negative where cutting is cheaper than chaining.
    pub(super) extra: i64,
    /// Largest total size of a strip.
    pub(super) capacity: i64,
    /// Most labels of a strip.
    pub(super) labels: u32,
    pub(super) min_piece: i64,
    /// All sizes, and what a strip costs beyond them, are multiples of this.
    pub(super) grid: i64,
    /// Sum of all sizes.
    pub(super) volume: i64,
    /// Sum of all label lengths.
    pub(super) label: i64,
    /// Units are whole strips; what is called a strip is all that is on a cartridge.
    pub(super) single: bool,
}

/// How many units of which kinds.
pub(super) type Content = Vec<(usize, u32)>;

/// A class and the strips printed from one of it.
#[derive(Clone, Debug)]
pub(super) struct Load {
    pub(super) class: usize,
    pub(super) strips: Vec<Content>,
}

impl Work {
    /// Items as units.
    pub(super) fn chained(task: &Task, classes: &[Class]) -> Self {
        let units = (0..task.items.len()).map(|item| vec![item]).collect();
        let size = |unit: &[usize]| task.medium.size(&task.items[unit[0]]);
        let mut work = Self::new(task, classes, units, size);
        work.extra = task.medium.extra();
        // No strip holds more than there is, whatever it may hold: totals are listed up to here.
        work.capacity = task.medium.capacity().min(work.volume);
        work.labels = task.medium.most_labels();
        work.min_piece = task.medium.min_piece;
        work.grid = work.common();
        work
    }

    /// Strips as units: nothing is left but to choose their cartridges.
    pub(super) fn single(task: &Task, classes: &[Class], strips: Vec<Vec<usize>>) -> Self {
        let size =
            |strip: &[usize]| task.medium.piece(strip.iter().map(|&item| task.medium.size(&task.items[item])).sum());
        let mut work = Self::new(task, classes, strips, size);
        work.single = true;
        for kind in &mut work.kinds {
            kind.batch = 0;
        }
        work.kinds.sort_by_key(|kind| -kind.size);
        work.batches = std::iter::once(0..work.kinds.len()).collect();
        work.capacity = classes.iter().map(|class| class.usable).max().unwrap_or(0);
        work.grid = work.common();
        work
    }

    fn common(&self) -> i64 {
        let mut common = self.extra.abs();
        for kind in &self.kinds {
            let mut other = kind.size;
            while other != 0 {
                (common, other) = (other, common % other);
            }
        }
        common.max(1)
    }

    fn new(task: &Task, classes: &[Class], units: Vec<Vec<usize>>, size: impl Fn(&[usize]) -> i64) -> Self {
        let mut grouped: BTreeMap<(Option<u32>, i64, u32), Vec<Vec<usize>>> = BTreeMap::new();
        let mut volume = 0;
        for unit in units {
            let labels = unit.iter().map(|&item| task.items[item].labels).sum();
            let size = size(&unit);
            volume += size;
            grouped.entry((task.items[unit[0]].batch, -size, labels)).or_default().push(unit);
        }
        let mut kinds: Vec<Kind> = Vec::with_capacity(grouped.len());
        let mut batches: Vec<std::ops::Range<usize>> = Vec::new();
        let mut last = None;
        for ((batch, size, labels), mut units) in grouped {
            if last != Some(batch) {
                batches.push(kinds.len()..kinds.len());
                last = Some(batch);
            }
            let count = units.len() as u32;
            units.reverse();
            kinds.push(Kind { size: -size, labels, batch: batches.len() - 1, count, units });
            if let Some(range) = batches.last_mut() {
                range.end = kinds.len();
            }
        }
        let label = task.items.iter().map(|item| item.length).sum();
        Self {
            kinds,
            classes: classes.to_vec(),
            batches,
            extra: 0,
            capacity: 0,
            labels: u32::MAX,
            min_piece: 0,
            grid: 1,
            volume,
            label,
            single: false,
        }
    }

    pub(super) fn counts(&self) -> Vec<u32> {
        self.kinds.iter().map(|kind| kind.count).collect()
    }

    pub(super) fn smallest(&self) -> i64 {
        self.kinds.iter().map(|kind| kind.size).min().unwrap_or(0)
    }

    pub(super) fn size(&self, strip: &Content) -> i64 {
        strip.iter().map(|&(kind, count)| self.kinds[kind].size * i64::from(count)).sum()
    }

    pub(super) fn piece(&self, size: i64) -> i64 {
        self.min_piece.max(self.extra + size)
    }

    pub(super) fn tape(&self, strips: &[Content]) -> i64 {
        strips.iter().map(|strip| self.piece(self.size(strip))).sum()
    }

    /// Whether labels can bind before the length does, on a strip of several kinds too: where no kind
    /// has more labels for its size than `labels + 1` on a full strip, no mix has.
    pub(super) fn labels_bind(&self) -> bool {
        let more = i128::from(self.labels) + 1;
        let many = |kind: &Kind| i128::from(self.capacity) * i128::from(kind.labels) >= more * i128::from(kind.size);
        self.labels != u32::MAX && self.kinds.iter().any(many)
    }

    /// Cost of loads, labels not counted; `None` if a load is too much for its cartridge.
    pub(super) fn cost(&self, loads: &[Load]) -> Option<i64> {
        let used = |class: usize| loads.iter().any(|load| load.class == class && !load.strips.is_empty());
        let idle = (0..self.classes.len()).filter(|&class| self.classes[class].mounted && !used(class));
        let mut cost = idle.map(|class| self.classes[class].idle).sum::<i64>() - self.label;
        for load in loads.iter().filter(|load| !load.strips.is_empty()) {
            let (class, tape) = (&self.classes[load.class], self.tape(&load.strips));
            if tape > class.usable {
                return None;
            }
            cost += class.cost(tape);
        }
        Some(cost)
    }

    /// Loads as mounts of the task's cartridges, the one in the printer first.
    pub(super) fn mounts(&self, loads: &[Load]) -> Vec<Mount> {
        let mut handout = Handout::new(&self.classes);
        let mut used = vec![0; self.kinds.len()];
        let mut mounts = Vec::new();
        let mut loads: Vec<&Load> = loads.iter().filter(|load| !load.strips.is_empty()).collect();
        loads.sort_by_key(|load| !self.classes[load.class].mounted);
        for load in loads {
            let mut strips = Vec::new();
            for content in &load.strips {
                let mut strip = Vec::new();
                for &(kind, count) in content {
                    for _ in 0..count {
                        // Units stand reversed, so that the first of the list are taken first.
                        let units = &self.kinds[kind].units;
                        let unit = &units[units.len() - 1 - used[kind]];
                        used[kind] += 1;
                        if self.single {
                            strips.push(unit.clone());
                        } else {
                            strip.extend_from_slice(unit);
                        }
                    }
                }
                if !self.single {
                    strip.sort_unstable();
                    strips.push(strip);
                }
            }
            strips.sort_unstable();
            mounts.push(Mount { cartridge: handout.take(load.class), strips });
        }
        mounts
    }
}
