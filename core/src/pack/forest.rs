//! Batches on the cartridges of a choice, with no more strips than must be: which batches are whole on
//! which cartridge, and which one is parted where it ends.
//!
//! Take batches and cartridges as points, joined where a strip of the one is on the other. With the fewest
//! strips these hang together without a circle. If one cartridge is kept at most, some emptied one then holds
//! whole batches and a part of one at most. It is filled and taken away, what is left of the parted batch is
//! a batch of its own, and so on until one cartridge is left, which takes all. Ways to do that are tried that
//! may cost less than a known plan, and where none was left out, no such plan costs less.
//!
//! The search knows of a batch what totals its units reach. Units are chosen once all of it is placed.

use super::choice::{Choice, Limits};
use super::groups::mounts;
use super::kinds::{Content, Load, Work};
use super::realise::{Left, Manner};
use super::sums::{Prefer, Sums, mixed};
use std::collections::HashMap;

/// Places tried in one search in the first turn, twice as many in each after it up to the tenth.
const NODES: u32 = 100_000;
/// Ways to part a batch with so many strips that are tried in the first turn, four more in each after it.
const PARTS: usize = 4;
/// Steps to find whether several parts of one batch go together, in the first turn, twice as many in each after it.
const APART: u32 = 16_000;
/// Small steps between two questions to `go_on`: some milliseconds.
const ASK: u32 = 4096;
/// What an offer takes of such steps.
const OFFER: u32 = 512;
/// Most volumes held from where all was tried.
const HELD: usize = 200_000;
/// Most cartridges: the search goes as deep.
const MOUNTS: usize = 64;

/// What is on a cartridge of one batch.
#[derive(Clone, Copy)]
struct Part {
    batch: usize,
    volume: i64,
    strips: i64,
    /// All that was left of it.
    last: bool,
}

/// What a search ended with.
pub(super) enum End {
    /// Loads that cost less.
    Found(Vec<Load>),
    /// No loads without a circle, and with one strip of a batch on a cartridge at most, cost less than this.
    Least(i64),
}

struct Search<'w, 'g> {
    work: &'w Work,
    strip: i64,
    /// Batches as they are tried.
    order: Vec<usize>,
    seed: u32,
    /// Emptied cartridges of each class that are not filled yet.
    emptied: Vec<u32>,
    /// Classes of the kept ones.
    kept: Vec<usize>,
    /// Cartridges of both sorts.
    mounts: usize,
    /// Totals that each batch reaches.
    sums: Vec<Sums>,
    /// Volume left of each batch.
    left: Vec<i64>,
    filled: Vec<(usize, Vec<Part>)>,
    /// Cost if no strip were parted and no tape left over.
    base: i64,
    below: i64,
    /// What parted strips and tape left over cost at least, spread over the ends of cartridges: no
    /// end may cost more than its share and what the limit allows beyond. 0 to let any.
    share: i64,
    nodes: u32,
    /// Small steps since `go_on` was asked.
    steps: u32,
    /// It said no.
    stopped: bool,
    most_nodes: u32,
    most_parts: usize,
    most_apart: u32,
    /// Something was left out.
    cut: bool,
    /// The least loss with which these cartridges and volumes were left. Batches parted more than once count
    /// with their parts, as what can be parted from them next depends on those.
    seen: HashMap<(Vec<u32>, Vec<i64>), i64>,
    found: Option<Vec<Load>>,
    go_on: &'g mut dyn FnMut() -> bool,
}

/// Looks for loads of this choice that cost less than `below`; `least` is a bound. Each `turn` tries more, and
/// batches in another order, 0 in their own.
pub(super) fn forest(
    work: &Work,
    limits: &Limits,
    choice: &Choice,
    (least, below): (i64, i64),
    turn: u32,
    go_on: &mut dyn FnMut() -> bool,
) -> End {
    let mounts = mounts(choice);
    if mounts.len() > MOUNTS {
        return End::Least(least);
    }
    let cost = |&(class, kept): &(usize, bool)| {
        let it = &work.classes[class];
        if kept { it.keep } else { it.discard - it.usable }
    };
    let volume = |kinds: &std::ops::Range<usize>| -> i64 {
        work.kinds[kinds.clone()].iter().map(|kind| kind.size * i64::from(kind.count)).sum()
    };
    let left: Vec<i64> = work.batches.iter().map(volume).collect();
    let strips: i64 = left.iter().map(|&volume| fewest(volume, limits.strip)).sum();
    let base =
        mounts.iter().map(cost).sum::<i64>() + choice.idle(work) + work.volume - work.label + work.extra * strips;
    let longest = mounts.iter().map(|&(class, _)| work.classes[class].usable).max().unwrap_or(0);
    let sums = work.batches.iter().zip(&left).map(|(kinds, &volume)| {
        let mut sums = Sums::new(volume.min(longest));
        for kind in &work.kinds[kinds.clone()] {
            sums.extend_times(kind.size, i64::from(kind.count));
        }
        sums
    });
    let mut order: Vec<usize> = (0..work.batches.len()).collect();
    if turn > 0 {
        order.sort_by_key(|&batch| mixed(turn, batch as u32));
    }
    let kept: Vec<usize> = mounts.iter().filter(|mount| mount.1).map(|mount| mount.0).collect();
    // Else the search does not meet every plan, and settles nothing.
    let whole = kept.len() <= 1 && limits.batches.iter().all(|&strips| strips == 1);
    let mut search = Search {
        work,
        order,
        seed: turn,
        strip: limits.strip,
        emptied: choice.emptied.clone(),
        kept,
        mounts: mounts.len(),
        sums: sums.collect(),
        left,
        filled: Vec::new(),
        base,
        below,
        share: 0,
        nodes: 0,
        steps: 0,
        stopped: false,
        most_nodes: NODES << turn.min(10),
        most_parts: PARTS * (1 + turn as usize),
        most_apart: APART << turn.min(10),
        cut: false,
        seen: HashMap::new(),
        found: None,
        go_on,
    };
    // Tight limits first: they cut off most.
    let (mut more, mut proven) = (1, least);
    loop {
        let limit = (least + more).min(below);
        search.below = limit;
        for share in [(least - base).max(0), 0] {
            search.share = share;
            search.nodes = 0;
            search.cut = !whole;
            search.seen.clear();
            search.cartridge(0);
            if let Some(loads) = search.found {
                return End::Found(loads);
            }
            if share == 0 || search.stopped {
                break;
            }
        }
        if !search.cut {
            proven = limit;
        }
        if limit == below || search.stopped {
            return End::Least(proven);
        }
        more *= 4;
    }
}

const fn fewest(volume: i64, strip: i64) -> i64 {
    (volume + strip - 1) / if strip > 0 { strip } else { 1 }
}

impl Search<'_, '_> {
    fn over(&mut self) -> bool {
        self.nodes += 1;
        self.steps += 1;
        if self.steps > ASK {
            self.steps = 0;
            self.stopped = self.stopped || !(self.go_on)();
        }
        let over = self.stopped || self.nodes >= self.most_nodes;
        self.cut |= over;
        over || self.found.is_some()
    }

    /// Fills the next cartridge, and so all.
    fn cartridge(&mut self, loss: i64) {
        let (at, ends) = (self.filled.len() as i64, self.mounts as i64 - 1);
        let ahead = if ends > 0 { self.share * (ends - at).max(0) / ends } else { 0 };
        if self.base + loss + ahead >= self.below || at > ends {
            return;
        }
        let key = (self.emptied.clone(), self.volumes());
        if self.seen.get(&key).is_some_and(|&least| least <= loss) {
            return;
        }
        if self.seen.len() < HELD {
            self.seen.insert(key, loss);
        }
        let mut emptied = false;
        for class in 0..self.emptied.len() {
            if self.emptied[class] > 0 {
                emptied = true;
                self.emptied[class] -= 1;
                self.fill(class, self.work.classes[class].usable, false, loss);
                self.emptied[class] += 1;
            }
        }
        if !emptied {
            let class = self.kept[self.filled.len() + self.kept.len() - self.mounts];
            self.fill(class, self.work.classes[class].keeps.max(0), true, loss);
        }
    }

    /// What is left of each batch, and the parts of those parted more than once.
    fn volumes(&self) -> Vec<i64> {
        let mut volumes = self.left.clone();
        for (batch, _) in self.left.iter().enumerate().filter(|(_, left)| **left > 0) {
            let mut parts = self.parts(batch);
            if parts.len() > 1 {
                parts.sort_unstable();
                volumes.extend([batch as i64, parts.len() as i64]);
                volumes.extend(parts);
            }
        }
        volumes
    }

    /// Volumes of the parts of a batch that are placed.
    fn parts(&self, batch: usize) -> Vec<i64> {
        let parts = self.filled.iter().flat_map(|(_, parts)| parts).filter(|part| part.batch == batch);
        parts.map(|part| part.volume).collect()
    }

    fn fill(&mut self, class: usize, room: i64, kept: bool, loss: i64) {
        self.filled.push((class, Vec::new()));
        if self.filled.len() == self.mounts {
            self.last(room, kept, loss);
        } else {
            self.batches(0, room, kept, loss);
        }
        self.filled.pop();
    }

    /// All that is left goes onto the last cartridge.
    fn last(&mut self, room: i64, kept: bool, loss: i64) {
        let rests: Vec<Part> =
            (0..self.left.len()).filter(|&batch| self.left[batch] > 0).map(|b| self.rest(b)).collect();
        let tape: i64 = rests.iter().map(|rest| self.tape(*rest)).sum();
        if tape > room {
            return;
        }
        let pads: i64 = rests.iter().map(|&rest| self.pad(rest)).sum();
        if self.base + loss + pads + if kept { 0 } else { room - tape } < self.below {
            if let Some((_, parts)) = self.filled.last_mut() {
                parts.extend(rests);
            }
            self.offer();
        }
    }

    /// Puts whole batches from this place of the order on the cartridge, and ends it with a part of one.
    fn batches(&mut self, from: usize, room: i64, kept: bool, loss: i64) {
        if self.base + loss >= self.below || self.over() {
            return;
        }
        for place in from..self.order.len() {
            let batch = self.order[place];
            let rest = self.rest(batch);
            let tape = self.tape(rest);
            if rest.volume > 0 && tape <= room {
                let loss = loss + self.pad(rest);
                self.put(rest, |search| search.batches(place + 1, room - tape, kept, loss));
            }
        }
        for batch in 0..self.left.len() {
            for (more, part) in self.ways(batch, room, kept) {
                if self.base + loss + more < self.below && self.together(part) {
                    self.put(part, |search| search.cartridge(loss + more));
                }
            }
        }
        let begun = self.filled.last().is_some_and(|(_, parts)| !parts.is_empty());
        if begun {
            self.cartridge(loss + if kept { 0 } else { room });
        }
    }

    fn rest(&self, batch: usize) -> Part {
        let volume = self.left[batch];
        Part { batch, volume, strips: fewest(volume, self.strip), last: true }
    }

    /// Ways to part what is left of a batch where a cartridge ends, and what each loses.
    fn ways(&mut self, batch: usize, room: i64, kept: bool) -> Vec<(i64, Part)> {
        let (extra, all) = (self.work.extra, self.left[batch]);
        let mut ways: Vec<(i64, Part)> = Vec::new();
        if all == 0 {
            return ways;
        }
        for strips in 1..=fewest(room.min(all), self.strip) {
            let mut most = (room - extra * strips).min(self.strip * strips).min(all - 1);
            for way in 0.. {
                let volume = self.sums[batch].best(most);
                let part = Part { batch, volume, strips, last: false };
                let tape = self.tape(part);
                // A total that fewer strips hold has been met with them.
                if volume <= self.strip * (strips - 1) {
                    break;
                }
                let waste = if kept { 0 } else { room - tape };
                let parted = strips + fewest(all - volume, self.strip) - fewest(all, self.strip);
                let loss = self.pad(part) + waste + extra * parted;
                if self.base + loss >= self.below {
                    break;
                }
                if way == self.most_parts {
                    self.cut = true;
                    break;
                }
                if tape <= room {
                    ways.push((loss, part));
                }
                most = volume - 1;
            }
        }
        ways.sort_by_key(|(loss, part)| (*loss, -part.volume));
        ways
    }

    fn tape(&self, part: Part) -> i64 {
        part.volume + self.work.extra * part.strips + self.pad(part)
    }

    /// What a part is padded to.
    fn pad(&self, part: Part) -> i64 {
        if part.strips == 1 { self.work.piece(part.volume) - self.work.extra - part.volume } else { 0 }
    }

    /// Goes on with this part on the cartridge.
    fn put(&mut self, part: Part, then: impl FnOnce(&mut Self)) {
        self.left[part.batch] -= part.volume;
        if let Some((_, parts)) = self.filled.last_mut() {
            parts.push(part);
        }
        then(self);
        if let Some((_, parts)) = self.filled.last_mut() {
            parts.pop();
        }
        self.left[part.batch] += part.volume;
    }

    /// Whether a batch has units for this part and those that were taken from it before.
    fn together(&mut self, part: Part) -> bool {
        let mut volumes = self.parts(part.batch);
        if volumes.is_empty() {
            return true;
        }
        volumes.push(part.volume);
        let kinds = self.work.batches[part.batch].clone();
        let mut counts: Vec<(i64, u32)> = self.work.kinds[kinds].iter().map(|kind| (kind.size, kind.count)).collect();
        let mut left = self.most_apart;
        let go_together = apart(&mut counts, &volumes, 0, &mut left);
        self.cut |= left == 0;
        self.steps += self.most_apart - left;
        go_together
    }

    fn offer(&mut self) {
        self.steps += OFFER;
        let third = if self.seed == 0 { Prefer::Small } else { Prefer::Mixed(self.seed) };
        for prefer in [Prefer::Large, Prefer::Even, third] {
            if let Some(loads) = self.loads(prefer)
                && self.work.cost(&loads).is_some_and(|cost| cost < self.below)
            {
                self.found = Some(loads);
                return;
            }
        }
        self.cut = true;
    }

    /// Units for all parts, if some are found in this manner.
    fn loads(&self, prefer: Prefer) -> Option<Vec<Load>> {
        let work = self.work;
        let manner = Manner { prefer, long_first: false, finish: false, searched: 24 };
        let mut counts = work.counts();
        let mut loads = Vec::new();
        for (class, parts) in &self.filled {
            let mut strips: Vec<Content> = Vec::new();
            for part in parts {
                let mut left = Left::new(work, self.only(&counts, part.batch));
                let contents = if part.last {
                    left.strips(manner)
                } else {
                    left.load(part.volume + work.extra * part.strips, self.strip, manner)
                };
                for &(kind, count) in contents.iter().flatten() {
                    counts[kind] -= count;
                }
                strips.extend(contents);
            }
            loads.push(Load { class: *class, strips });
        }
        counts.iter().all(|&count| count == 0).then_some(loads)
    }

    /// What is left of one batch.
    fn only(&self, counts: &[u32], batch: usize) -> Vec<u32> {
        let kinds = &self.work.batches[batch];
        counts.iter().enumerate().map(|(kind, &count)| if kinds.contains(&kind) { count } else { 0 }).collect()
    }
}

/// Whether units of these sizes and counts reach all these totals together; yes, if no steps are left to find it.
/// Units of the kinds before `kind` are settled for the first total.
fn apart(counts: &mut [(i64, u32)], totals: &[i64], kind: usize, steps: &mut u32) -> bool {
    if *steps == 0 {
        return true;
    }
    *steps -= 1;
    let [total, others @ ..] = totals else {
        return true;
    };
    if *total == 0 {
        return apart(counts, others, 0, steps);
    }
    let Some(&(size, count)) = counts.get(kind) else {
        return false;
    };
    let mut rest = totals.to_vec();
    for taken in (0..=i64::from(count).min(total / size.max(1))).rev() {
        counts[kind].1 = count - taken as u32;
        rest[0] = total - taken * size;
        if apart(counts, &rest, kind + 1, steps) {
            counts[kind].1 = count;
            return true;
        }
    }
    counts[kind].1 = count;
    false
}

#[cfg(test)]
mod tests {
    use super::{End, forest};
    use crate::pack::drawn::{Small, small};
    use crate::pack::{choice, groups, open};

    #[test]
    fn no_better_plan_is_found_and_the_best_one_is_not_ruled_out() {
        let (mut reached, mut none, mut checked) = (0, 0, 0);
        for seed in 0..3000 {
            let shape = Small { batches: 2 + seed % 3, padded: seed % 2 == 0, most_labels: 1, limited: seed % 5 == 0 };
            let Some((task, work, cost)) = small(seed, shape).filter(|(_, work, _)| work.batches.len() > 1) else {
                continue;
            };
            let limits = choice::Limits::new(&work);
            let (choices, left_out) = choice::choices(&work, &limits, cost + 1, 20_000);
            let (mut least, mut found) = (left_out, false);
            for choice in choices {
                let fixed = open::fixed(&work, &choice);
                let by_groups = groups::least_kept(&work, &limits, &choice).expect("few batches");
                let bound = choice.bound.max(fixed + by_groups.any);
                match forest(&work, &limits, &choice, (bound.min(cost), cost + 1), seed % 4, &mut || true) {
                    End::Found(loads) => {
                        let now = work.cost(&loads).expect("loads that fit");
                        assert!(now >= cost, "task {seed}: {now} is below the best plan, {cost}");
                        found = true;
                        least = cost;
                    }
                    End::Least(proven) => {
                        least = least.min(bound.max(proven.min(fixed + by_groups.circle)));
                        none += u32::from(proven > cost);
                    }
                }
            }
            checked += 1;
            reached += u32::from(found);
            assert!(least <= cost, "task {seed}: all choices are settled without the best plan, {cost}: {task:?}");
        }
        assert!(checked > 1000 && reached > 700 && none > 100, "{checked} checked, {reached} found, {none} settled");
    }
}
