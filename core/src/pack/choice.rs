//! Choices of cartridges: how many of each class are emptied, how many are kept, and what a choice
//! costs at least.
//!
//! An emptied cartridge costs all its tape whatever is printed on it, a kept one what is taken. So a
//! choice costs at least its emptied cartridges, the handling of its kept ones, and the tape of what
//! does not fit the emptied ones filled as far as any units could fill them.

use super::NEVER;
use super::kinds::Work;
use super::sums::Sums;

/// How many cartridges of each class are emptied and kept.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Choice {
    /// No plan with this choice costs less.
    pub(super) bound: i64,
    pub(super) emptied: Vec<u32>,
    pub(super) kept: Vec<u32>,
}

impl Choice {
    /// Cost of leaving the cartridge in the printer unused.
    pub(super) fn idle(&self, work: &Work) -> i64 {
        let unused = |class: &usize| self.emptied[*class] + self.kept[*class] == 0;
        (0..work.classes.len()).filter(unused).map(|class| work.classes[class].idle).sum()
    }
}

/// What can be put on strips and cartridges at most.
pub(super) struct Limits {
    /// Largest total size of a strip.
    pub(super) strip: i64,
    /// Largest total size on a cartridge of each class that is emptied, and that is kept.
    pub(super) emptied: Vec<i64>,
    pub(super) kept: Vec<i64>,
    /// Fewest strips of all units together.
    pub(super) strips: i64,
    /// Fewest strips of each batch.
    pub(super) batches: Vec<i64>,
}

/// Work the sum sets may take, in words of 64 sums.
const WORDS: usize = 4_000_000;

impl Limits {
    pub(super) fn new(work: &Work) -> Self {
        let strips = strip_sums(work);
        let strip = strips.best(work.capacity.min(longest_by_labels(work))).max(1);
        let longest = work.classes.iter().map(|class| class.usable).max().unwrap_or(0);
        let mut all = Sums::new(longest);
        for kind in &work.kinds {
            all.extend_times(kind.size, i64::from(kind.count));
        }
        let fullest = fullest_by_strips(work, &strips, strip, longest);
        let volume = |tape: i64| fullest(tape).min(all.best(tape)).max(0);
        let closed = |tape: i64| all.best(volume(tape)).max(0);
        let per_batch = work.batches.iter().map(|batch| {
            let kinds = &work.kinds[batch.clone()];
            let volume: i64 = kinds.iter().map(|kind| kind.size * i64::from(kind.count)).sum();
            let labels: i64 = kinds.iter().map(|kind| i64::from(kind.labels) * i64::from(kind.count)).sum();
            let by_size = (volume + strip - 1) / strip;
            let by_labels = (labels + i64::from(work.labels) - 1) / i64::from(work.labels);
            by_size.max(if work.single { 1 } else { by_labels }).max(big(work, batch.clone()))
        });
        let batches: Vec<i64> = per_batch.collect();
        Self {
            strip,
            emptied: work.classes.iter().map(|class| closed(class.usable)).collect(),
            kept: work.classes.iter().map(|class| closed(class.keeps)).collect(),
            strips: batches.iter().sum(),
            batches,
        }
    }
}

/// Fewest strips by the bound L2 of Martello and Toth (Knapsack Problems, 1990, section 8.3.3; from
/// memory): units that share no strip, and what does not fit beside them.
fn big(work: &Work, batch: std::ops::Range<usize>) -> i64 {
    let (kinds, c) = (&work.kinds[batch], work.capacity);
    let mut best = 0;
    for least in kinds.iter().map(|kind| kind.size).filter(|&size| 2 * size <= c) {
        let (mut huge, mut large, mut beside, mut small) = (0, 0, 0, 0);
        for kind in kinds {
            let count = i64::from(kind.count);
            if kind.size > c - least {
                huge += count;
            } else if 2 * kind.size > c {
                large += count;
                beside += (c - kind.size) * count;
            } else if kind.size >= least {
                small += kind.size * count;
            }
        }
        best = best.max(huge + large + (small - beside).max(0).div_ceil_of(c));
    }
    best.max(kinds.iter().filter(|kind| 2 * kind.size > c).map(|kind| i64::from(kind.count)).sum())
}

trait DivCeil {
    fn div_ceil_of(self, by: i64) -> i64;
}

impl DivCeil for i64 {
    fn div_ceil_of(self, by: i64) -> i64 {
        (self + by - 1) / by.max(1)
    }
}

/// Totals that one strip can have.
fn strip_sums(work: &Work) -> Sums {
    let mut all = Sums::new(work.capacity);
    for batch in &work.batches {
        let kinds = &work.kinds[batch.clone()];
        let mut sums = Sums::new(work.capacity);
        for kind in kinds {
            let most = i64::from(kind.count).min(i64::from(work.labels / kind.labels.max(1)));
            sums.extend_times(kind.size, if work.single { i64::from(kind.count) } else { most });
        }
        all.join(&sums);
    }
    all
}

/// The largest total of units with no more labels than a strip may have.
fn longest_by_labels(work: &Work) -> i64 {
    if work.single || work.labels == u32::MAX {
        return i64::MAX;
    }
    let batches = work.batches.iter().map(|batch| {
        let mut kinds: Vec<_> = work.kinds[batch.clone()].iter().collect();
        // Most size a label first; the last may be taken in part.
        kinds.sort_by(|a, b| (b.size * i64::from(a.labels)).cmp(&(a.size * i64::from(b.labels))));
        let (mut left, mut total) = (i64::from(work.labels), 0);
        for kind in kinds {
            let labels = left.min(i64::from(kind.labels) * i64::from(kind.count));
            total += (kind.size * labels).div_ceil_of(i64::from(kind.labels));
            left -= labels;
        }
        total
    });
    batches.max().unwrap_or(0)
}

/// The largest volume for an amount of tape, as far as the number of strips tells.
fn fullest_by_strips(work: &Work, strips: &Sums, strip: i64, longest: i64) -> Box<dyn Fn(i64) -> i64> {
    let extra = work.extra;
    let most = (longest / (extra + strip).max(1) + 1).max(1);
    let exact = strips.len() * (longest as usize / 64 + 1) * most as usize <= WORDS;
    if exact && !work.single {
        let mut of = vec![Sums::new(longest)];
        let mut members = Sums::new(longest);
        members.join(strips);
        for _ in 0..=most {
            let next = of[of.len() - 1].plus(&members);
            of.push(next);
        }
        // More strips than were added up hold no more than the tape they leave.
        return Box::new(move |tape| {
            let few = (0_i64..).zip(&of).map(|(count, sums)| sums.best(tape - count * extra)).max();
            few.unwrap_or(0).max(tape - of.len() as i64 * extra)
        });
    }
    Box::new(move |tape| {
        let few = tape / (extra + strip).max(1);
        (few * strip).max((tape - (few + 1) * extra).min((few + 1) * strip))
    })
}

/// All choices that may cost less than `below`, the least bound first.
///
/// Also says what is the least bound of those left out, when there are more than `most` or the search was too long.
pub(super) fn choices(work: &Work, limits: &Limits, below: i64, most: usize) -> (Vec<Choice>, i64) {
    let classes = work.classes.len();
    let mut order: Vec<usize> = (0..classes).collect();
    order.sort_by_key(|&class| (work.classes[class].count, -limits.emptied[class]));
    // Least cost of a unit of volume on this class and those after it, beyond the volume itself.
    let mut rates = vec![f64::INFINITY; classes + 1];
    let mut volumes = vec![0i64; classes + 1];
    for at in (0..classes).rev() {
        let class = order[at];
        let it = &work.classes[class];
        let mut rate = rates[at + 1];
        if limits.emptied[class] > 0 {
            rate = rate.min((it.discard - limits.emptied[class]) as f64 / limits.emptied[class] as f64);
        }
        if limits.kept[class] > 0 {
            // What is kept gives its tape to strips, of which each costs something too.
            let strips = work.extra as f64 / limits.strip as f64;
            rate = rate.min(it.keep as f64 / limits.kept[class] as f64 + strips);
        }
        rates[at] = rate;
        let count = i64::from(it.count).min(work.volume / limits.emptied[class].max(1) + 2);
        volumes[at] = volumes[at + 1].saturating_add(limits.emptied[class] * count);
    }
    let mut search = Search {
        work,
        limits,
        order,
        rates,
        volumes,
        below,
        most,
        found: Vec::new(),
        left_out: NEVER,
        looked: 0,
        now: Choice { bound: 0, emptied: vec![0; classes], kept: vec![0; classes] },
    };
    search.class(0, 0, 0, 0, 0);
    let Search { mut found, left_out, .. } = search;
    found.sort();
    (found, left_out)
}

struct Search<'w> {
    work: &'w Work,
    limits: &'w Limits,
    order: Vec<usize>,
    rates: Vec<f64>,
    volumes: Vec<i64>,
    below: i64,
    most: usize,
    found: Vec<Choice>,
    left_out: i64,
    looked: u64,
    now: Choice,
}

/// Nodes looked at before the rest is bounded as a whole.
const LOOKED: u64 = 3_000_000;

impl Search<'_> {
    /// Chooses for the class at this place of the order: `cost` is beyond the volume so far, `room` the
    /// tape of the emptied ones and `sunk` what they hold at most.
    fn class(&mut self, at: usize, cost: i64, volume: i64, room: i64, sunk: i64) {
        self.looked += 1;
        let base = self.work.volume - self.work.label;
        let open = (self.work.volume - volume).max(0);
        if open > self.volumes[at] {
            return;
        }
        let rest = if open > 0 { (open as f64 * self.rates[at]) as i64 - 1 } else { 0 };
        // What chosen cartridges keep costs strips there, or goes to later ones after all.
        let strips = (self.work.extra as f64 / self.limits.strip as f64).min(self.rates[at]);
        let held = (volume - sunk).min(self.work.volume - sunk).max(0);
        let strips = if held > 0 { ((held as f64 * strips) as i64 - 1).max(0) } else { 0 };
        let least = base + cost + (rest.max(0) + strips).max(sunk - self.work.volume);
        if least >= self.below {
            return;
        }
        if self.looked > LOOKED {
            self.left_out = self.left_out.min(least);
            return;
        }
        if at == self.order.len() {
            self.finish(cost, room);
            return;
        }
        let class = self.order[at];
        let (it, full, part) = (&self.work.classes[class], self.limits.emptied[class], self.limits.kept[class]);
        let most = i64::from(it.count);
        for emptied in 0..=if full > 0 { most } else { 0 } {
            // Fewer leave more than the classes after this one can hold.
            let short = self.work.volume - volume - self.volumes[at + 1] - emptied * full;
            let least = if short > 0 && part > 0 { short.div_ceil_of(part) } else { 0 };
            if short > 0 && part <= 0 {
                continue;
            }
            for kept in least..=if part > 0 { most - emptied } else { 0 } {
                let idle = if emptied + kept == 0 { it.idle } else { 0 };
                let more = emptied * (it.discard - full) + kept * it.keep + idle;
                let over = (sunk + emptied * full - self.work.volume).max(0);
                if base + cost + more + over >= self.below {
                    // More cost more, but for the one in the printer, which costs less if it is used.
                    if idle > 0 {
                        continue;
                    }
                    break;
                }
                self.now.emptied[class] = emptied as u32;
                self.now.kept[class] = kept as u32;
                let volume = volume + emptied * full + kept * part;
                self.class(at + 1, cost + more, volume, room + emptied * it.usable, sunk + emptied * full);
            }
        }
        self.now.emptied[class] = 0;
        self.now.kept[class] = 0;
    }

    fn finish(&mut self, cost: i64, room: i64) {
        let (work, limits) = (self.work, self.limits);
        let emptied: i64 = self.now.emptied.iter().zip(&limits.emptied).map(|(&n, v)| i64::from(n) * v).sum();
        let kept = self.now.kept.iter().map(|&n| i64::from(n)).sum::<i64>();
        let open = work.volume - emptied;
        let bound = if kept == 0 {
            if open > 0 {
                return;
            }
            cost + emptied - work.label
        } else {
            let volume = open.max(kept * work.smallest());
            let strips = kept.max(volume.div_ceil_of(limits.strip));
            let tape = (volume + work.extra * strips).max(work.volume + work.extra * limits.strips - room);
            cost + emptied - work.label + tape.max(kept * work.min_piece)
        };
        if bound >= self.below {
            return;
        }
        let choice = Choice { bound, ..self.now.clone() };
        if self.found.len() < self.most {
            self.found.push(choice);
            return;
        }
        if self.found.len() == self.most {
            self.found.sort();
        }
        // Keep the cheapest; the rest is told by its least bound.
        if let Some(last) = self.found.last().filter(|last| last.bound > choice.bound) {
            self.left_out = self.left_out.min(last.bound);
            self.found.pop();
            let place = self.found.partition_point(|other| *other < choice);
            self.found.insert(place, choice);
        } else {
            self.left_out = self.left_out.min(bound);
        }
    }
}
