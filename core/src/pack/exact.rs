//! Small tasks by trying all there is: units one after another onto every strip, every new strip and
//! every new cartridge, cut off where the cost so far is no better than a plan that is known.
//!
//! The cost of a cartridge never falls with what is put on it, so the cost so far is a bound.

use super::kinds::{Content, Load, Work};

struct Strip {
    size: i64,
    labels: u32,
    batch: usize,
    content: Content,
}

struct Search<'w, 'g> {
    work: &'w Work,
    /// Kinds of the units, in the order they are placed.
    units: Vec<usize>,
    mounts: Vec<(usize, i64, Vec<Strip>)>,
    used: Vec<u32>,
    cost: i64,
    best: i64,
    found: Option<Vec<Load>>,
    nodes: u32,
    go_on: &'g mut dyn FnMut() -> bool,
    /// Every unit alone on its strip.
    alone: bool,
}

/// Most units searched.
pub(super) const UNITS: usize = 14;
/// Places tried before the search is given up.
const NODES: u32 = 400_000;

/// Looks for a plan that costs less than `below`. `Some` if all has been tried: the best, if any.
///
/// `alone` says that every unit is a strip of its own.
pub(super) fn search(
    work: &Work,
    below: i64,
    alone: bool,
    go_on: &mut dyn FnMut() -> bool,
) -> Option<Option<(i64, Vec<Load>)>> {
    let mut units: Vec<usize> = Vec::new();
    for (kind, it) in work.kinds.iter().enumerate() {
        units.extend(std::iter::repeat_n(kind, it.count as usize));
    }
    units.sort_by_key(|&kind| (-work.kinds[kind].size, kind));
    let mut search = Search {
        work,
        units,
        mounts: Vec::new(),
        used: vec![0; work.classes.len()],
        cost: -work.label,
        best: below,
        found: None,
        nodes: 0,
        go_on,
        alone,
    };
    let whole = search.place(0, (0, 0));
    whole.then(|| search.found.take().map(|loads| (search.best, loads)))
}

impl Search<'_, '_> {
    /// Places the units from this one on; `from` is the first place for one like the one before.
    fn place(&mut self, unit: usize, from: (usize, usize)) -> bool {
        if self.cost >= self.best {
            return true;
        }
        let Some(&kind) = self.units.get(unit) else {
            let classes = self.work.classes.iter().zip(&self.used);
            let idle: i64 = classes.filter(|(_, used)| **used == 0).map(|(class, _)| class.idle).sum();
            if self.cost + idle >= self.best {
                return true;
            }
            self.best = self.cost + idle;
            let loads = self.mounts.iter().map(|(class, _, strips)| Load {
                class: *class,
                strips: strips.iter().map(|strip| strip.content.clone()).collect(),
            });
            self.found = Some(loads.collect());
            return true;
        };
        self.nodes += 1;
        if self.nodes > NODES || self.nodes.is_multiple_of(4096) && !(self.go_on)() {
            return false;
        }
        let like_before = unit > 0 && self.units[unit - 1] == kind;
        let it = &self.work.kinds[kind];
        let (size, labels, batch) = (it.size, it.labels, it.batch);
        for mount in 0..self.mounts.len() {
            let strips = self.mounts[mount].2.len();
            for strip in 0..=strips {
                if like_before && (mount, strip) < from {
                    continue;
                }
                if strip < strips {
                    let there = &self.mounts[mount].2[strip];
                    let same = |other: &Strip| {
                        (other.size, other.labels, other.batch) == (there.size, there.labels, there.batch)
                    };
                    let fits = !self.alone
                        && there.batch == batch
                        && there.size + size <= self.work.capacity
                        && there.labels + labels <= self.work.labels;
                    if !fits || !like_before && self.mounts[mount].2[..strip].iter().any(same) {
                        continue;
                    }
                } else if size > self.work.capacity {
                    continue;
                }
                if !self.put(unit, kind, mount, strip) {
                    return false;
                }
            }
        }
        for class in 0..self.work.classes.len() {
            if self.used[class] == self.work.classes[class].count {
                continue;
            }
            self.used[class] += 1;
            self.mounts.push((class, 0, Vec::new()));
            let whole = size > self.work.capacity || self.put(unit, kind, self.mounts.len() - 1, 0);
            self.mounts.pop();
            self.used[class] -= 1;
            if !whole {
                return false;
            }
        }
        true
    }

    /// Puts a unit somewhere, goes on with the next, and takes it away again.
    fn put(&mut self, unit: usize, kind: usize, mount: usize, strip: usize) -> bool {
        let it = &self.work.kinds[kind];
        let (class, tape, strips) = &mut self.mounts[mount];
        let class = &self.work.classes[*class];
        let before = *tape;
        let old = strips.get(strip).map_or(0, |there| self.work.piece(there.size));
        let size = strips.get(strip).map_or(0, |there| there.size) + it.size;
        let after = before - old + self.work.piece(size);
        if after > class.usable {
            return true;
        }
        let cost = class.cost(after) - if before == 0 { 0 } else { class.cost(before) };
        *tape = after;
        if strip == strips.len() {
            strips.push(Strip { size: 0, labels: 0, batch: it.batch, content: Vec::new() });
        }
        let there = &mut strips[strip];
        there.size = size;
        there.labels += it.labels;
        there.content.push((kind, 1));
        self.cost += cost;
        let whole = self.place(unit + 1, (mount, strip));
        self.cost -= cost;
        let (_, tape, strips) = &mut self.mounts[mount];
        *tape = before;
        let there = &mut strips[strip];
        there.size -= it.size;
        there.labels -= it.labels;
        there.content.pop();
        if there.content.is_empty() {
            strips.pop();
        }
        whole
    }
}
