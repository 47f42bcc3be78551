//! Batches on the cartridges of one choice: which cartridges share batches, and so how many strips
//! there are at least.
//!
//! Take batches and cartridges as points, joined where a strip of the one is on the other. `n` batches
//! and `m` cartridges that hang together have at least `n + m − 1` strips, as any connected graph has
//! edges, and no fewer than the batches need alone. So every plan parts batches and cartridges into
//! groups, and the cheapest way to part them bounds all plans.

use super::NEVER;
use super::choice::{Choice, Limits};
use super::kinds::Work;

/// Steps that parting may take.
const STEPS: u64 = 40_000_000;

/// Some cartridges of a choice.
#[derive(Clone, Copy, Default)]
struct Held {
    count: i64,
    kept: i64,
    /// Tape and volume of the emptied ones at most, and of the kept ones.
    emptied: (i64, i64),
    keeps: (i64, i64),
}

/// Least tape on the kept cartridges of a choice; `NEVER` if it holds no plan at all.
#[derive(Clone, Copy)]
pub(super) struct Least {
    pub(super) any: i64,
    /// Of plans in which some group has more strips than it takes to hang together.
    pub(super) circle: i64,
}

/// Least tape on the kept cartridges of a choice; `None` if there is too much to try.
pub(super) fn least_kept(work: &Work, limits: &Limits, choice: &Choice) -> Option<Least> {
    let (batches, mounts) = (work.batches.len() as u32, mounts(choice));
    let count = mounts.len() as u32;
    if !(2..=12).contains(&batches) || count > 6 || work.single {
        return None;
    }
    if 3u64.pow(batches) * 3u64.pow(count) > STEPS {
        return None;
    }
    let volumes = sums(batches, |batch| {
        work.kinds[work.batches[batch].clone()].iter().map(|kind| kind.size * i64::from(kind.count)).sum()
    });
    let strips = sums(batches, |batch| limits.batches[batch]);
    let held: Vec<Held> = (0..1usize << count)
        .map(|some| {
            let mut held = Held::default();
            for (_, &(class, kept)) in mounts.iter().enumerate().filter(|(at, _)| some >> at & 1 == 1) {
                let it = &work.classes[class];
                held.count += 1;
                let (sum, tape, volume) = if kept {
                    held.kept += 1;
                    (&mut held.keeps, it.keeps.max(0), limits.kept[class])
                } else {
                    (&mut held.emptied, it.usable, limits.emptied[class])
                };
                sum.0 += tape;
                sum.1 += volume;
            }
            held
        })
        .collect();
    let least = |some: usize, held: &Held, more: i64| {
        let (volume, n) = (volumes[some], i64::from(some.count_ones()));
        let tape = volume + work.extra * strips[some].max(n + held.count - 1 + more);
        if tape > held.emptied.0 + held.keeps.0 || volume > held.emptied.1 + held.keeps.1 {
            return NEVER;
        }
        let over = (tape - held.emptied.0).max(volume - held.emptied.1).max(0);
        if held.kept == 0 { 0 } else { over.max(held.kept * work.piece(work.smallest())) }
    };
    let width = 1usize << batches;
    let alone: Vec<Least> = held
        .iter()
        .flat_map(|held| (0..width).map(move |some| (some, held)))
        .map(|(some, held)| Least { any: least(some, held, 0), circle: least(some, held, 1) })
        .collect();
    // Best for each set of cartridges and of batches; the group of the lowest cartridge is chosen.
    let mut best = vec![Least { any: NEVER, circle: NEVER }; held.len() * width];
    best[0].any = 0;
    for all in 1..held.len() {
        let lowest = all & all.wrapping_neg();
        let others = all ^ lowest;
        let mut with = others;
        loop {
            let group = with | lowest;
            let (alone, rest) = (&alone[group * width..][..width], (all ^ group) * width);
            for some in 1..width {
                let mut part = some;
                while part > 0 {
                    let (one, others) = (alone[part], best[rest + (some ^ part)]);
                    let to = &mut best[all * width + some];
                    to.any = to.any.min(one.any + others.any);
                    to.circle = to.circle.min(one.circle + others.any).min(one.any + others.circle);
                    part = (part - 1) & some;
                }
            }
            if with == 0 {
                break;
            }
            with = (with - 1) & others;
        }
    }
    let Least { any, circle } = best[best.len() - 1];
    Some(Least { any: any.min(NEVER), circle: circle.min(NEVER) })
}

/// The cartridges of a choice one by one, the kept ones last: class, and whether it is kept.
pub(super) fn mounts(choice: &Choice) -> Vec<(usize, bool)> {
    let each = |counts: &[u32], kept: bool| -> Vec<(usize, bool)> {
        let classes = counts.iter().enumerate();
        classes.flat_map(|(class, &count)| std::iter::repeat_n((class, kept), count as usize)).collect()
    };
    let mut all = each(&choice.emptied, false);
    all.extend(each(&choice.kept, true));
    all
}

/// Sums over all sets of these few.
fn sums(count: u32, of: impl Fn(usize) -> i64) -> Vec<i64> {
    let mut sums = vec![0; 1 << count];
    for some in 1..sums.len() {
        let lowest = some.trailing_zeros() as usize;
        sums[some] = sums[some & (some - 1)] + of(lowest);
    }
    sums
}
