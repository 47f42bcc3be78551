//! Batches one after another onto the cartridges of a choice, one cartridge after another: a batch is
//! parted only where a cartridge ends. Which batch comes next is searched.
//!
//! `n` batches on `m` cartridges have `n + m − 1` strips so, the fewest that any connected group has,
//! and fewer where a cartridge ends with a batch.

use super::choice::{Choice, Limits};
use super::groups::mounts;
use super::kinds::{Content, Load, Work};
use super::realise::{Left, Manner};
use super::sums::{Prefer, mixed};

/// Places tried for one limit of cost.
const NODES: u32 = 6_000;

struct Search<'w, 'g> {
    work: &'w Work,
    strip: i64,
    /// Batches as they are tried.
    order: Vec<usize>,
    seed: u32,
    mounts: Vec<(usize, bool)>,
    counts: Vec<u32>,
    loads: Vec<Vec<Content>>,
    /// Cost if no strip were parted and no tape left over.
    base: i64,
    below: i64,
    /// What parted strips and tape left over cost at least, spread over the ends of cartridges: no
    /// end may cost more than its share and what the limit allows beyond. 0 to let any.
    share: i64,
    nodes: u32,
    found: Option<Vec<Load>>,
    go_on: &'g mut dyn FnMut() -> bool,
}

/// Loads of this choice that cost less than `below`, if some are found; `least` is a bound. Each `seed`
/// tries batches in another order, 0 in their own.
pub(super) fn chain(
    work: &Work,
    limits: &Limits,
    choice: &Choice,
    (least, below): (i64, i64),
    seed: u32,
    go_on: &mut dyn FnMut() -> bool,
) -> Option<Vec<Load>> {
    let mounts = mounts(choice);
    let cost = |&(class, kept): &(usize, bool)| {
        let it = &work.classes[class];
        if kept { it.keep } else { it.discard - it.usable }
    };
    let strips: i64 = (0..work.batches.len()).map(|batch| fewest(work, limits.strip, &work.counts(), batch)).sum();
    let base =
        mounts.iter().map(cost).sum::<i64>() + choice.idle(work) + work.volume - work.label + work.extra * strips;
    let mut order: Vec<usize> = (0..work.batches.len()).collect();
    if seed > 0 {
        order.sort_by_key(|&batch| mixed(seed, batch as u32));
    }
    let mut search = Search {
        work,
        order,
        seed,
        strip: limits.strip,
        loads: vec![Vec::new(); mounts.len()],
        mounts,
        counts: work.counts(),
        base,
        below,
        share: 0,
        nodes: 0,
        found: None,
        go_on,
    };
    // Tight limits first: they cut off most.
    let mut more = 1;
    loop {
        let limit = (least + more).min(below);
        search.below = limit;
        for share in [(least - base).max(0), 0] {
            search.share = share;
            search.nodes = 0;
            search.mount(0, None, 0);
            if search.found.is_some() || share == 0 {
                break;
            }
        }
        if search.found.is_some() || limit == below || !(search.go_on)() {
            return search.found;
        }
        more *= 4;
    }
}

fn volume(work: &Work, counts: &[u32], batch: usize) -> i64 {
    work.batches[batch].clone().map(|kind| work.kinds[kind].size * i64::from(counts[kind])).sum()
}

fn fewest(work: &Work, strip: i64, counts: &[u32], batch: usize) -> i64 {
    (volume(work, counts, batch) + strip - 1) / strip.max(1)
}

impl Search<'_, '_> {
    fn over(&mut self) -> bool {
        self.nodes += 1;
        if self.nodes.is_multiple_of(256) && !(self.go_on)() {
            self.nodes = NODES;
        }
        self.nodes >= NODES || self.found.is_some()
    }

    /// Starts a cartridge; `begun` is a batch that the one before could not end.
    fn mount(&mut self, at: usize, begun: Option<usize>, loss: i64) {
        let ends = self.mounts.len() as i64 - 1;
        let ahead = if ends > 0 { self.share * (ends - at as i64) / ends } else { 0 };
        if self.base + loss + ahead >= self.below {
            return;
        }
        if let Some(&(class, kept)) = self.mounts.get(at) {
            let it = &self.work.classes[class];
            self.next(at, if kept { it.keeps.max(0) } else { it.usable }, 0, begun, loss);
        }
    }

    fn next(&mut self, at: usize, room: i64, from: usize, begun: Option<usize>, loss: i64) {
        if self.base + loss >= self.below || self.over() {
            return;
        }
        if self.counts.iter().all(|&count| count == 0) {
            return self.offer();
        }
        let work = self.work;
        for place in 0..self.order.len() {
            let batch = self.order[place];
            if begun.is_some_and(|begun| begun != batch) {
                continue;
            }
            let volume = volume(work, &self.counts, batch);
            if volume == 0 {
                continue;
            }
            let fewest = fewest(work, self.strip, &self.counts, batch);
            let whole = volume + work.extra * fewest <= room;
            let last = at + 1 == self.mounts.len();
            // Whole batches stand in their order: another is the same plan.
            if if whole { begun.is_none() && place < from } else { last } {
                continue;
            }
            let third = if self.seed == 0 { Prefer::Small } else { Prefer::Mixed(self.seed) };
            let prefers = if whole { &[Prefer::Large][..] } else { &[Prefer::Large, Prefer::Even, third] };
            let mut tried: Vec<Vec<Content>> = Vec::new();
            for &prefer in prefers {
                let mut left = Left::new(work, self.only(batch));
                let manner = Manner { prefer, long_first: false, finish: false, searched: 24 };
                let strips = if whole { left.strips(manner) } else { left.load(room, self.strip, manner) };
                let tape = work.tape(&strips);
                if strips.is_empty() || tape > room || tried.contains(&strips) {
                    continue;
                }
                let rest = left.volume;
                let count = strips.len() as i64 + (rest + self.strip - 1) / self.strip.max(1);
                let pad = tape - (volume - rest) - work.extra * strips.len() as i64;
                let loss = loss + pad + work.extra * (count - fewest);
                for &(kind, count) in strips.iter().flatten() {
                    self.counts[kind] -= count;
                }
                self.loads[at].extend(strips.iter().cloned());
                if rest == 0 {
                    let from = if begun.is_some() { 0 } else { place + 1 };
                    self.next(at, room - tape, from, None, loss);
                } else {
                    let waste = if self.mounts[at].1 { 0 } else { room - tape };
                    self.mount(at + 1, Some(batch), loss + waste);
                }
                let before = self.loads[at].len() - strips.len();
                self.loads[at].truncate(before);
                for &(kind, count) in strips.iter().flatten() {
                    self.counts[kind] += count;
                }
                tried.push(strips);
            }
        }
        if begun.is_none() && !self.loads[at].is_empty() {
            let waste = if self.mounts[at].1 { 0 } else { room };
            self.mount(at + 1, None, loss + waste);
        }
    }

    fn only(&self, batch: usize) -> Vec<u32> {
        let mut counts = vec![0; self.counts.len()];
        for kind in self.work.batches[batch].clone() {
            counts[kind] = self.counts[kind];
        }
        counts
    }

    fn offer(&mut self) {
        let loads = self.mounts.iter().zip(&self.loads);
        let loads: Vec<Load> = loads.map(|(&(class, _), strips)| Load { class, strips: strips.clone() }).collect();
        if self.work.cost(&loads).is_some_and(|cost| cost < self.below) {
            self.found = Some(loads);
        }
    }
}
