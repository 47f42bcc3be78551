//! How many strips of which batch are on which cartridge of a choice: all ways that may cost less
//! than a known plan, each bounded by what its strips can hold.
//!
//! With the strips counted, what the emptied cartridges can take is a largest flow from batches to
//! cartridges, and so a least cut (Ford and Fulkerson, Maximal flow through a network, 1956; from
//! memory): over every set of cartridges, their room and what the batches can send to the others.

use super::NEVER;
use super::choice::{Choice, Limits};
use super::groups::mounts;
use super::kinds::{Content, Load, Work};
use super::realise::{Left, Manner};
use super::sums::Prefer;

/// Ways tried before it is given up.
const WAYS: u32 = 60_000;
/// Most batches times mounts: the search goes as deep.
const DEEP: usize = 2_000;

struct Search<'w> {
    work: &'w Work,
    strip: i64,
    /// Tape and volume at most of each, and whether it is kept.
    mounts: Vec<(i64, i64, bool)>,
    volumes: Vec<i64>,
    fewest: Vec<i64>,
    /// Strips of each batch, on each mount.
    counts: Vec<Vec<i64>>,
    /// Tape of the emptied cartridges.
    emptied: i64,
    below: i64,
    least: i64,
    /// Strips on each mount in the best way.
    best: Vec<i64>,
    ways: u32,
}

/// What the best way needs.
pub(super) struct Structure {
    /// Least tape on the kept cartridges, or the limit if it is no less.
    pub(super) tape: i64,
    /// Strips on each mount, in the order of [`mounts`]; empty if no way is below the limit.
    pub(super) strips: Vec<i64>,
}

/// The way with the least tape on the kept cartridges of a choice; `None` if there are too many ways.
pub(super) fn structure(work: &Work, limits: &Limits, choice: &Choice, below: i64) -> Option<Structure> {
    let held = mounts(choice);
    if work.single || work.extra <= 0 || held.len() > 6 || held.len() * work.batches.len() > DEEP {
        return None;
    }
    let mounts: Vec<(i64, i64, bool)> = held
        .iter()
        .map(|&(class, kept)| {
            let it = &work.classes[class];
            if kept { (it.keeps.max(0), limits.kept[class], kept) } else { (it.usable, limits.emptied[class], kept) }
        })
        .collect();
    let volume = |batch: &std::ops::Range<usize>| {
        work.kinds[batch.clone()].iter().map(|kind| kind.size * i64::from(kind.count)).sum()
    };
    let mut search = Search {
        work,
        strip: limits.strip,
        emptied: mounts.iter().filter(|mount| !mount.2).map(|mount| mount.0).sum(),
        counts: vec![vec![0; mounts.len()]; work.batches.len()],
        mounts,
        volumes: work.batches.iter().map(volume).collect(),
        fewest: limits.batches.clone(),
        below,
        least: below,
        best: Vec::new(),
        ways: 0,
    };
    let strips = limits.strips;
    let more = search.more(strips);
    search.place(0, 0, 0, more);
    (search.ways < WAYS).then_some(Structure { tape: search.least, strips: search.best })
}

/// Loads with so many strips on each mount; `None` if not all fits in this manner. For one batch.
pub(super) fn loads(work: &Work, choice: &Choice, strips: &[i64], strip: i64, manner: Manner) -> Option<Vec<Load>> {
    let mut left = Left::new(work, work.counts());
    let mut loads = Vec::new();
    for (&(class, kept), &count) in mounts(choice).iter().zip(strips) {
        let it = &work.classes[class];
        if !kept {
            loads.push(Load { class, strips: left.load(it.usable, strip, manner) });
            continue;
        }
        let (mut tape, mut contents) = (it.keeps - work.extra * count, Vec::new());
        for _ in 0..count {
            let (size, content) = left.fullest(tape.min(work.capacity), manner);
            if !content.is_empty() {
                left.take(&content);
                tape -= size;
                contents.push(content);
            }
        }
        loads.push(Load { class, strips: contents });
    }
    (left.volume == 0).then_some(loads)
}

/// The same, with the units of each emptied cartridge chosen first and parted into strips then: for
/// large units that leave strips far from full.
pub(super) fn parted(work: &Work, choice: &Choice, strips: &[i64], manner: Manner) -> Option<Vec<Load>> {
    let mut left = Left::new(work, work.counts());
    let mut loads = Vec::new();
    for (&(class, kept), &count) in mounts(choice).iter().zip(strips) {
        let room = work.classes[class].usable - work.extra * count;
        let all = if kept { left.counts.clone() } else { counts(work, &left.fullest(room, manner).1) };
        let mut chosen = Left::new(work, all);
        let contents = chosen.strips(Manner { prefer: Prefer::Large, ..manner });
        if work.tape(&contents) > work.classes[class].usable {
            return None;
        }
        for content in &contents {
            left.take(content);
        }
        loads.push(Load { class, strips: contents });
    }
    (left.volume == 0).then_some(loads)
}

fn counts(work: &Work, content: &Content) -> Vec<u32> {
    let mut counts = vec![0; work.kinds.len()];
    for &(kind, count) in content {
        counts[kind] += count;
    }
    counts
}

impl Search<'_> {
    /// How many strips more than this many a plan below the limit may have: emptied cartridges take no
    /// more than their tape.
    fn more(&self, strips: i64) -> i64 {
        (self.below - 1 - (self.work.volume + self.work.extra * strips - self.emptied)).div_euclid(self.work.extra)
    }

    /// Chooses the strips of this batch on this mount, `so_far` on those before; `more` is how many
    /// strips beyond the fewest are left to give.
    fn place(&mut self, batch: usize, mount: usize, so_far: i64, more: i64) {
        if more < 0 || self.ways >= WAYS {
            return;
        }
        if batch == self.volumes.len() {
            self.ways += 1;
            let tape = self.tape();
            if tape < self.least {
                self.least = tape;
                self.best =
                    (0..self.mounts.len()).map(|mount| self.counts.iter().map(|counts| counts[mount]).sum()).collect();
            }
            return;
        }
        let most = self.fewest[batch] + more - so_far;
        let last = mount + 1 == self.mounts.len();
        let least = if last { (self.fewest[batch] - so_far).max(0) } else { 0 };
        for count in least..=most {
            if self.over(mount, count) {
                break;
            }
            if self.volumes.len() == 1 && self.idle(mount, count, most - count) {
                continue;
            }
            self.ways += 1;
            if self.ways >= WAYS {
                break;
            }
            self.counts[batch][mount] = count;
            if last {
                self.place(batch + 1, 0, 0, more - (so_far + count - self.fewest[batch]));
            } else {
                self.place(batch, mount + 1, so_far + count, more);
            }
        }
        self.counts[batch][mount] = 0;
    }

    /// With one batch: an emptied cartridge with more tape left over than a plan below the limit can
    /// have, more strips than on a like one before, or too few left (`rest`) for what is not held yet.
    fn idle(&self, mount: usize, count: i64, rest: i64) -> bool {
        let holds = |mount: usize, count: i64| {
            let (tape, volume, _) = self.mounts[mount];
            volume.min(self.strip * count).min(tape - self.work.extra * count)
        };
        let spare = self.below - 1 - (self.work.volume + self.work.extra * self.fewest[0] - self.emptied);
        let waste = self.mounts[mount].0 - self.work.extra * count - holds(mount, count);
        let before: i64 = (0..mount).map(|mount| holds(mount, self.counts[0][mount])).sum();
        let like = mount > 0 && self.mounts[mount - 1] == self.mounts[mount];
        !self.mounts[mount].2 && waste > spare
            || like && count > self.counts[0][mount - 1]
            || before + holds(mount, count) + self.strip * rest < self.work.volume
    }

    /// More strips than this mount has tape for.
    fn over(&self, mount: usize, count: i64) -> bool {
        let others: i64 = self.counts.iter().map(|counts| counts[mount]).sum();
        self.work.piece(self.work.smallest()) * (others.max(count)) > self.mounts[mount].0
    }

    /// Least tape on kept cartridges with these strips.
    fn tape(&self) -> i64 {
        let strips = |mount: usize| self.counts.iter().map(|counts| counts[mount]).sum::<i64>();
        let rooms: Vec<i64> = (0..self.mounts.len())
            .map(|mount| (self.mounts[mount].0 - self.work.extra * strips(mount)).min(self.mounts[mount].1))
            .collect();
        if rooms.iter().any(|&room| room < 0) || (0..rooms.len()).any(|mount| strips(mount) == 0) {
            return NEVER;
        }
        let all: usize = (1 << rooms.len()) - 1;
        if self.flow(&rooms, all) < self.work.volume {
            return NEVER;
        }
        let emptied = (0..rooms.len()).filter(|&mount| !self.mounts[mount].2).fold(0, |set, mount| set | 1 << mount);
        let kept: i64 = (0..rooms.len()).filter(|&mount| self.mounts[mount].2).map(strips).sum();
        self.work.volume - self.flow(&rooms, emptied) + self.work.extra * kept
    }

    /// The largest volume that strips on these mounts can hold.
    fn flow(&self, rooms: &[i64], set: usize) -> i64 {
        let mut least = NEVER;
        let mut cut = set;
        loop {
            let room: i64 = (0..rooms.len()).filter(|mount| cut >> mount & 1 == 1).map(|mount| rooms[mount]).sum();
            let sent = self.counts.iter().zip(&self.volumes).map(|(counts, &volume)| {
                let others = (0..rooms.len()).filter(|mount| (set & !cut) >> mount & 1 == 1);
                volume.min(self.strip * others.map(|mount| counts[mount]).sum::<i64>())
            });
            least = least.min(room + sent.sum::<i64>());
            if cut == 0 {
                return least;
            }
            cut = (cut - 1) & set;
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::pack::drawn::{Small, small};
    use crate::pack::{choice, groups, open};

    #[test]
    fn no_bound_by_strips_is_above_the_best_plan() {
        let (mut checked, mut raised) = (0, 0);
        for seed in 0..1500 {
            let shape = Small { batches: 1 + seed % 3, padded: true, most_labels: 1, limited: false };
            let Some((task, work, cost)) = small(seed, shape) else { continue };
            let limits = choice::Limits::new(&work);
            let (choices, left_out) = choice::choices(&work, &limits, cost + 1, 20_000);
            let mut least = left_out;
            for choice in choices {
                let fixed = open::fixed(&work, &choice);
                let by_groups = groups::least_kept(&work, &limits, &choice).map_or(0, |least| fixed + least.any);
                let by_strips =
                    super::structure(&work, &limits, &choice, cost + 1 - fixed).map_or(0, |it| fixed + it.tape);
                raised += u32::from(by_groups.max(by_strips) > choice.bound);
                least = least.min(choice.bound.max(by_groups).max(by_strips));
            }
            checked += 1;
            assert!(least <= cost, "a bound of {least} above the best plan of {cost} of task {seed}: {task:?}");
        }
        assert!(checked > 500, "checked {checked}");
        assert!(raised > 150, "raised {raised}");
    }
}
