//! Which totals can be reached: sets of lengths as bits, and the units that reach one.

use super::kinds::{Content, Work};

/// A set of lengths from 0 to a limit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Sums {
    words: Vec<u64>,
    limit: i64,
}

impl Sums {
    /// The set that holds nothing but 0.
    pub(super) fn new(limit: i64) -> Self {
        let mut words = vec![0; limit.max(0) as usize / 64 + 1];
        words[0] = 1;
        Self { words, limit: limit.max(0) }
    }

    pub(super) fn has(&self, sum: i64) -> bool {
        (0..=self.limit).contains(&sum) && self.words[sum as usize / 64] >> (sum % 64) & 1 == 1
    }

    /// Adds to the set each of its members plus `by`.
    pub(super) fn extend(&mut self, by: i64) {
        if by > self.limit || by <= 0 {
            return;
        }
        let (words, bits) = (by as usize / 64, by % 64);
        for to in (words..self.words.len()).rev() {
            let from = to - words;
            let mut moved = self.words[from] << bits;
            if bits > 0 && from > 0 {
                moved |= self.words[from - 1] >> (64 - bits);
            }
            self.words[to] |= moved;
        }
        self.trim();
    }

    /// Adds up to `count` copies of a length to each member.
    pub(super) fn extend_times(&mut self, by: i64, count: i64) {
        if by <= 0 {
            return;
        }
        let mut left = count.min(self.limit / by);
        let mut times = 1;
        while left > 0 {
            let now = times.min(left);
            self.extend(by * now);
            left -= now;
            times *= 2;
        }
    }

    /// The sums of a member of this set and one of another.
    pub(super) fn plus(&self, other: &Self) -> Self {
        let mut all = Self { words: vec![0; self.words.len()], limit: self.limit };
        for by in other.members() {
            let (words, bits) = (by as usize / 64, by % 64);
            for to in words..all.words.len() {
                let from = to - words;
                let mut moved = self.words[from] << bits;
                if bits > 0 && from > 0 {
                    moved |= self.words[from - 1] >> (64 - bits);
                }
                all.words[to] |= moved;
            }
        }
        all.trim();
        all
    }

    /// Adds the members of another set of the same limit, as far as this one's reaches.
    pub(super) fn join(&mut self, other: &Self) {
        for (to, from) in self.words.iter_mut().zip(&other.words) {
            *to |= from;
        }
        self.trim();
    }

    fn trim(&mut self) {
        let over = self.limit % 64;
        if let Some(last) = self.words.last_mut() {
            *last &= u64::MAX >> (63 - over);
        }
    }

    /// The largest member that is at most `limit`.
    pub(super) fn best(&self, limit: i64) -> i64 {
        let limit = limit.min(self.limit);
        if limit < 0 {
            return -1;
        }
        let mut at = limit as usize / 64;
        let mut word = self.words[at] & (u64::MAX >> (63 - limit % 64));
        while word == 0 && at > 0 {
            at -= 1;
            word = self.words[at];
        }
        if word == 0 { -1 } else { at as i64 * 64 + 63 - i64::from(word.leading_zeros()) }
    }

    pub(super) fn members(&self) -> impl Iterator<Item = i64> + '_ {
        self.words.iter().enumerate().flat_map(|(at, &word)| {
            let mut word = word;
            std::iter::from_fn(move || {
                (word != 0).then(|| {
                    let bit = i64::from(word.trailing_zeros());
                    word &= word - 1;
                    at as i64 * 64 + bit
                })
            })
        })
    }

    pub(super) fn len(&self) -> usize {
        self.words.iter().map(|word| word.count_ones() as usize).sum()
    }
}

/// Which units to prefer among those that reach the same total.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Prefer {
    Large,
    Small,
    /// The kinds with most units left.
    Many,
    /// Of each kind its share of what is left, so that no kind is used up before the others.
    Even,
    /// In an order of its own for each number.
    Mixed(u32),
}

/// A number that looks like chance, the same on every machine.
pub(super) const fn mixed(seed: u32, of: u32) -> u32 {
    let mut x = seed.wrapping_mul(0x9e37_79b9) ^ of.wrapping_mul(0x85eb_ca6b).wrapping_add(0x7f4a_7c15);
    x ^= x >> 16;
    x = x.wrapping_mul(0x7feb_352d);
    x ^= x >> 15;
    x = x.wrapping_mul(0x846c_a68b);
    x ^ (x >> 16)
}

/// Units of one batch that fill a strip as far as they can: at most `room` and `labels`.
///
/// `left` is what there is of each kind. Exact if there are few kinds; of many, some are taken
/// without a search first, and those searched are the `searched` that have most units left.
pub(super) fn fill(
    work: &Work,
    left: &[u32],
    batch: usize,
    room: i64,
    prefer: Prefer,
    searched: usize,
) -> (i64, Content) {
    let mut kinds: Vec<usize> =
        work.batches[batch].clone().filter(|&kind| left[kind] > 0 && work.kinds[kind].size <= room).collect();
    match prefer {
        Prefer::Large => kinds.reverse(),
        Prefer::Small => {}
        Prefer::Many | Prefer::Even => kinds.sort_by_key(|&kind| (left[kind], kind)),
        Prefer::Mixed(seed) => kinds.sort_by_key(|&kind| mixed(seed, kind as u32)),
    }
    // The last kinds are the preferred ones.
    let mut taken = vec![0; kinds.len()];
    let (mut room_left, mut labels_left) = (room, work.labels);
    if prefer == Prefer::Even && kinds.len() <= searched {
        // Most of the share is taken; the search has the rest to choose from.
        let all: i64 = kinds.iter().map(|&kind| work.kinds[kind].size * i64::from(left[kind])).sum();
        for (taken, &kind) in taken.iter_mut().zip(&kinds) {
            let it = &work.kinds[kind];
            let share = (i128::from(left[kind]) * i128::from(room.min(all)) / i128::from(all.max(1))) as u32;
            *taken = share.saturating_sub(1 + share / 4).min(labels_left / it.labels.max(1));
            room_left -= it.size * i64::from(*taken);
            labels_left -= it.labels * *taken;
        }
    } else if kinds.len() > searched {
        let total: i64 = kinds.iter().map(|&kind| work.kinds[kind].size).sum();
        let spare = total / kinds.len() as i64 * 10;
        for (at, &kind) in kinds.iter().enumerate().rev() {
            let it = &work.kinds[kind];
            let fits = ((room_left - spare) / it.size.max(1)).max(0).min(i64::from(left[kind]));
            let few = if matches!(prefer, Prefer::Many | Prefer::Mixed(_)) { (fits + 1) / 2 } else { fits };
            let count = (few as u32).min(labels_left / it.labels.max(1));
            taken[at] = count;
            room_left -= it.size * i64::from(count);
            labels_left -= it.labels * count;
        }
    }
    let mut search: Vec<usize> = (0..kinds.len()).filter(|&at| left[kinds[at]] > taken[at]).collect();
    if search.len() > searched {
        search.sort_by_key(|&at| std::cmp::Reverse(left[kinds[at]] - taken[at]));
        // Of equally many, spread over all lengths.
        let step = search.len() as f64 / searched as f64;
        search = (0..searched).map(|i| search[(i as f64 * step) as usize]).collect();
        search.sort_unstable();
    }
    let available = |at: usize| i64::from(left[kinds[at]] - taken[at]);
    // Most labels that the room can take: the shortest a label first, the last in part.
    let binds = {
        let mut short: Vec<usize> = search.clone();
        short.sort_by(|&a, &b| {
            let (a, b) = (&work.kinds[kinds[a]], &work.kinds[kinds[b]]);
            (a.size * i64::from(b.labels)).cmp(&(b.size * i64::from(a.labels)))
        });
        let (mut room, mut labels) = (room_left, 0);
        for at in short {
            let it = &work.kinds[kinds[at]];
            let all = it.size * available(at);
            labels += if all <= room {
                i64::from(it.labels) * available(at)
            } else {
                room * i64::from(it.labels) / it.size.max(1) + 1
            };
            room -= all.min(room);
        }
        labels > i64::from(labels_left)
    };
    let chosen = if binds {
        reach_few(work, &kinds, &search, &available, room_left, labels_left)
    } else {
        reach(work, &kinds, &search, &available, room_left, prefer)
    };
    for (at, count) in chosen {
        taken[at] += count;
    }
    let content: Content = kinds.iter().copied().zip(taken).filter(|&(_, count)| count > 0).collect();
    (work.size(&content), content)
}

/// The largest total at most `room`, and units that reach it, the last kinds preferred.
fn reach(
    work: &Work,
    kinds: &[usize],
    search: &[usize],
    available: &dyn Fn(usize) -> i64,
    room: i64,
    prefer: Prefer,
) -> Vec<(usize, u32)> {
    let mut layers = vec![Sums::new(room)];
    for &at in search {
        let mut sums = layers[layers.len() - 1].clone();
        sums.extend_times(work.kinds[kinds[at]].size, available(at));
        let full = sums.has(room) && prefer != Prefer::Large;
        layers.push(sums);
        if full {
            break;
        }
    }
    let mut sum = layers[layers.len() - 1].best(room);
    let mut chosen = Vec::new();
    for layer in (1..layers.len()).rev() {
        let at = search[layer - 1];
        let size = work.kinds[kinds[at]].size.max(1);
        let most = available(at).min(sum / size);
        let count = (0..=most).rev().find(|count| layers[layer - 1].has(sum - count * size)).unwrap_or(0);
        if count > 0 {
            chosen.push((at, count as u32));
            sum -= count * size;
        }
    }
    chosen
}

/// The same with a limit of labels: the fewest labels for each total.
fn reach_few(
    work: &Work,
    kinds: &[usize],
    search: &[usize],
    available: &dyn Fn(usize) -> i64,
    room: i64,
    labels: u32,
) -> Vec<(usize, u32)> {
    let width = room.max(0) as usize + 1;
    let mut layers: Vec<Vec<u32>> = Vec::with_capacity(search.len() + 1);
    let mut first = vec![u32::MAX; width];
    first[0] = 0;
    layers.push(first);
    for &at in search {
        let it = &work.kinds[kinds[at]];
        let mut least = layers[layers.len() - 1].clone();
        let mut left = available(at).min(room / it.size.max(1));
        let mut times = 1;
        while left > 0 {
            let now = times.min(left);
            let (step, more) = ((it.size * now) as usize, it.labels * now as u32);
            for to in (step..width).rev() {
                least[to] = least[to].min(least[to - step].saturating_add(more));
            }
            left -= now;
            times *= 2;
        }
        layers.push(least);
    }
    let last = &layers[layers.len() - 1];
    let mut sum = (0..width).rev().find(|&sum| last[sum] <= labels).unwrap_or(0);
    let mut few = last[sum];
    let mut chosen = Vec::new();
    for layer in (1..layers.len()).rev() {
        let at = search[layer - 1];
        let it = &work.kinds[kinds[at]];
        let size = it.size.max(1) as usize;
        let most = (available(at) as usize).min(sum / size);
        let count = (0..=most).find(|&count| {
            let labels = it.labels.saturating_mul(count as u32);
            layers[layer - 1][sum - count * size].checked_add(labels) == Some(few)
        });
        if let Some(count) = count.filter(|&count| count > 0) {
            chosen.push((at, count as u32));
            sum -= count * size;
            few -= it.labels * count as u32;
        }
    }
    chosen
}
