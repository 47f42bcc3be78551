//! Cartridges that are alike.

use super::{Aside, Cartridge, Task};

/// Cartridges of one kind and the cost of using one.
#[derive(Clone, Debug)]
pub(super) struct Class {
    /// Indices into the task's cartridges, once for each copy taken from there, with copies.
    pub(super) of: Vec<(usize, u32)>,
    pub(super) count: u32,
    /// Tape on one.
    pub(super) length: i64,
    pub(super) fixed: i64,
    /// Most tape its strips may take.
    pub(super) usable: i64,
    /// Most tape its strips may take so that the rest is kept; negative if that cannot be.
    pub(super) keeps: i64,
    /// Cost of one that is kept, without the tape of its strips.
    pub(super) keep: i64,
    /// Cost of one that is thrown away.
    pub(super) discard: i64,
    /// In the printer; it can only be the first mount.
    pub(super) mounted: bool,
    /// Cost of plans that do not begin with it; 0 if it is not mounted.
    pub(super) idle: i64,
}

impl Class {
    fn new(task: &Task, index: usize, cartridge: &Cartridge, count: u32, mounted: bool) -> Self {
        let medium = &task.medium;
        let (load, fixed) = if mounted { (0, 0) } else { (medium.load, cartridge.fixed) };
        Self {
            of: vec![(index, count)],
            count,
            length: cartridge.length,
            fixed,
            usable: cartridge.length - load - medium.reserve,
            keeps: (cartridge.length - load - medium.least_kept()).min(cartridge.length - load - medium.reserve),
            keep: fixed + load + medium.tail + medium.keep_cost,
            discard: fixed + cartridge.length,
            mounted,
            idle: if mounted { task.aside().map_or(0, |aside| aside.cost()) } else { 0 },
        }
    }

    /// The cartridge in the printer as one that was taken out and comes later: without the tail it lost,
    /// and with mounting it again paid for by [`Self::idle`].
    pub(super) fn unmounted(task: &Task) -> Option<Self> {
        let Aside { cartridge, tail, again } = task.aside()?;
        let there = &task.cartridges[cartridge];
        let mut class =
            Self::new(task, cartridge, &Cartridge { length: there.length - tail, ..there.clone() }, 1, false);
        class.keep -= again;
        class.discard -= again;
        Some(class)
    }

    /// The classes of a task, the one in the printer first; with `regroup`, equal cartridges are one.
    pub(super) fn of(task: &Task, regroup: bool) -> Vec<Self> {
        let mut classes: Vec<Self> = Vec::new();
        let first = task.aside().map(|aside| aside.cartridge);
        if let Some(index) = first {
            classes.push(Self::new(task, index, &task.cartridges[index], 1, true));
        }
        for (index, cartridge) in task.cartridges.iter().enumerate() {
            let count = cartridge.count - u32::from(first == Some(index));
            // No plan mounts more than there are items.
            let count = count.min(task.items.len() as u32);
            let class = Self::new(task, index, cartridge, count, false);
            if count == 0 || class.usable <= 0 {
                continue;
            }
            let same = |other: &&mut Self| {
                regroup && !other.mounted && (other.length, other.fixed) == (class.length, class.fixed)
            };
            if let Some(other) = classes.iter_mut().find(same) {
                other.count = other.count.saturating_add(count);
                other.of.push((index, count));
            } else {
                classes.push(class);
            }
        }
        classes
    }

    /// Cost of one that gives this much tape to strips, all tape counted.
    pub(super) const fn cost(&self, tape: i64) -> i64 {
        if tape <= self.keeps { self.keep + tape } else { self.discard }
    }

    /// The task's cartridge that the `nth` copy is.
    pub(super) fn cartridge(&self, mut nth: u32) -> usize {
        for &(index, count) in &self.of {
            if nth < count {
                return index;
            }
            nth -= count;
        }
        unreachable!("copy {nth} of a class of {}", self.count)
    }
}

/// Copies handed out, by class.
pub(super) struct Handout<'c> {
    classes: &'c [Class],
    next: Vec<u32>,
}

impl<'c> Handout<'c> {
    pub(super) fn new(classes: &'c [Class]) -> Self {
        Self { classes, next: vec![0; classes.len()] }
    }

    /// One more cartridge of the class.
    pub(super) fn take(&mut self, class: usize) -> usize {
        self.next[class] += 1;
        self.classes[class].cartridge(self.next[class] - 1)
    }
}
