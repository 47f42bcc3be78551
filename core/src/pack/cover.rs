//! Units on a given number of strips that have little room to lose, all on one cartridge.
//!
//! A strip of such a plan is almost full, and with few units on it there are few contents it can have. All
//! are listed, and some are chosen that use every unit: an exact cover with counts (Knuth, Dancing links,
//! 2000, for the rule to branch on what has the fewest ways left; Boussemart and others, Boosting
//! systematic search by weighting constraints, 2004, for the weights; both from memory). Where no choice
//! of them does, there must be one strip more.

use super::kinds::{Content, Work};
use super::sums::{Sums, mixed};

/// How far a search goes.
#[derive(Clone, Copy)]
pub(super) struct Effort {
    /// Contents met with the kinds that strips took, in all.
    pub(super) steps: u64,
    /// Varies which are tried first.
    pub(super) seed: u32,
}

/// What a search ended with.
pub(super) enum End {
    /// Strips that hold all.
    Found(Vec<Content>),
    /// So many strips do not hold all.
    None,
    /// A strip can have too many contents to list them.
    TooMany,
    /// It was given up.
    Unknown,
}

/// Most contents listed.
const CONTENTS: usize = 20_000;
/// Most steps of the listing.
const STEPS: u32 = 2_000_000;
/// Most words that the totals of the listing may take, 64 in each.
const WORDS: i64 = 250_000;
/// Steps before the search starts afresh, in the first runs.
const RUN: u64 = 150_000;
/// Runs before they get twice as long.
const RUNS: u32 = 48;
/// Steps between two questions to `go_on`: some milliseconds.
const ASK: u64 = 1 << 20;
/// Steps of the listing between two.
const ASK_LISTING: u32 = 1 << 13;
/// Most strips and most kinds: the searches go as deep.
const DEEP: usize = 2_000;

/// Looks for `count` strips of at most `strip` each that hold all units.
pub(super) fn cover(work: &Work, strip: i64, count: i64, effort: Effort, go_on: &mut dyn FnMut() -> bool) -> End {
    let lose = strip * count - work.volume;
    if lose < 0 {
        return End::None;
    }
    if count > DEEP as i64 || work.kinds.len() > DEEP {
        return End::TooMany;
    }
    let contents = match listed(work, strip, lose, go_on) {
        Listed::All(contents) => contents,
        Listed::TooMany => return End::TooMany,
        Listed::Stopped => return End::Unknown,
    };
    let mut search = Search::new(work, contents, strip, lose, effort.seed, go_on);
    let (mut left, mut run) = (effort.steps, 0);
    while left > 0 {
        search.steps = (RUN << (run / RUNS).min(20)).min(left);
        left -= search.steps;
        search.seed = mixed(effort.seed, run);
        search.forget();
        run += 1;
        match search.strip() {
            Some(true) => return End::Found(search.chosen()),
            Some(false) => return End::None,
            None if search.stopped => return End::Unknown,
            None => {}
        }
    }
    End::Unknown
}

enum Listed {
    All(Vec<Content>),
    TooMany,
    Stopped,
}

/// All contents of a strip that lose no more than `lose`.
fn listed(work: &Work, strip: i64, lose: i64, go_on: &mut dyn FnMut() -> bool) -> Listed {
    if (strip / 64 + 1) * work.kinds.len() as i64 > WORDS {
        return Listed::TooMany;
    }
    let mut contents = Vec::new();
    let mut steps = 0;
    let mut stopped = false;
    let mut go_on = || {
        stopped = stopped || !go_on();
        !stopped
    };
    for batch in &work.batches {
        // Totals that the kinds from each on reach.
        let mut sums = vec![Sums::new(strip)];
        for kind in work.kinds[batch.clone()].iter().rev() {
            let mut with = sums[sums.len() - 1].clone();
            with.extend_times(kind.size, i64::from(kind.count));
            sums.push(with);
        }
        sums.reverse();
        let mut listing =
            Listing { work, first: batch.start, end: batch.end, sums, lose, contents, steps, go_on: &mut go_on };
        let whole = listing.list(batch.start, strip, work.labels, &mut Vec::new());
        (contents, steps) = (listing.contents, listing.steps);
        if !whole {
            return if stopped { Listed::Stopped } else { Listed::TooMany };
        }
    }
    Listed::All(contents)
}

struct Listing<'w, 'g> {
    work: &'w Work,
    first: usize,
    end: usize,
    sums: Vec<Sums>,
    lose: i64,
    contents: Vec<Content>,
    steps: u32,
    go_on: &'g mut dyn FnMut() -> bool,
}

impl Listing<'_, '_> {
    /// Lists the contents that go on with the kinds from this one on. False if there are too many.
    fn list(&mut self, kind: usize, room: i64, labels: u32, content: &mut Content) -> bool {
        self.steps += 1;
        if self.steps > STEPS || self.steps.is_multiple_of(ASK_LISTING) && !(self.go_on)() {
            return false;
        }
        // 0 is always among the totals: nothing more is taken.
        if self.sums[kind - self.first].best(room) < room - self.lose {
            return true;
        }
        if kind == self.end {
            if !content.is_empty() {
                self.contents.push(content.clone());
            }
            return self.contents.len() <= CONTENTS;
        }
        let it = &self.work.kinds[kind];
        let most = i64::from(it.count).min(room / it.size.max(1)).min(i64::from(labels / it.labels)) as u32;
        for count in (0..=most).rev() {
            let before = content.len();
            if count > 0 {
                content.push((kind, count));
            }
            let whole = self.list(kind + 1, room - it.size * i64::from(count), labels - it.labels * count, content);
            content.truncate(before);
            if !whole {
                return false;
            }
        }
        true
    }
}

struct Search<'g> {
    contents: Vec<Content>,
    /// What each content loses.
    losses: Vec<i64>,
    /// Contents with each kind, and how many of it they need.
    with: Vec<Vec<(usize, u32)>>,
    /// Units left.
    counts: Vec<u32>,
    /// Contents with each kind for which enough is left.
    ways: Vec<u32>,
    /// Reasons why a content cannot be chosen: kinds of which too few are left, and that all was tried with it.
    barred: Vec<u32>,
    /// How often of late a kind was left without a way: those are looked after first.
    weights: Vec<f64>,
    /// Units left of all kinds.
    units: u32,
    lose: i64,
    taken: Vec<usize>,
    /// Steps left in this run.
    steps: u64,
    /// Steps since `go_on` was asked.
    since: u64,
    /// It said no.
    stopped: bool,
    seed: u32,
    go_on: &'g mut dyn FnMut() -> bool,
}

impl<'g> Search<'g> {
    fn new(
        work: &Work,
        contents: Vec<Content>,
        strip: i64,
        lose: i64,
        seed: u32,
        go_on: &'g mut dyn FnMut() -> bool,
    ) -> Self {
        let mut with = vec![Vec::new(); work.kinds.len()];
        for (at, content) in contents.iter().enumerate() {
            for &(kind, count) in content {
                with[kind].push((at, count));
            }
        }
        let counts = work.counts();
        Self {
            losses: contents.iter().map(|content| strip - work.size(content)).collect(),
            ways: with.iter().map(|with| with.len() as u32).collect(),
            barred: vec![0; contents.len()],
            weights: vec![1.0; counts.len()],
            units: counts.iter().sum(),
            contents,
            with,
            counts,
            lose,
            taken: Vec::new(),
            steps: 0,
            since: 0,
            stopped: false,
            seed,
            go_on,
        }
    }

    fn chosen(&self) -> Vec<Content> {
        self.taken.iter().map(|&at| self.contents[at].clone()).collect()
    }

    fn bar(&mut self, content: usize) {
        self.barred[content] += 1;
        if self.barred[content] == 1 {
            for &(kind, _) in &self.contents[content] {
                self.ways[kind] -= 1;
            }
        }
    }

    fn free(&mut self, content: usize) {
        self.barred[content] -= 1;
        if self.barred[content] == 0 {
            for &(kind, _) in &self.contents[content] {
                self.ways[kind] += 1;
            }
        }
    }

    fn take(&mut self, content: usize) {
        for at in 0..self.contents[content].len() {
            let (kind, count) = self.contents[content][at];
            let before = self.counts[kind];
            self.counts[kind] -= count;
            self.units -= count;
            let steps = self.with[kind].len() as u64;
            self.steps = self.steps.saturating_sub(steps);
            self.since += steps;
            for other in 0..self.with[kind].len() {
                let (other, needs) = self.with[kind][other];
                if needs <= before && needs > self.counts[kind] {
                    self.bar(other);
                }
            }
        }
        self.lose -= self.losses[content];
        self.taken.push(content);
    }

    fn give_back(&mut self, content: usize) {
        self.taken.pop();
        self.lose += self.losses[content];
        for at in (0..self.contents[content].len()).rev() {
            let (kind, count) = self.contents[content][at];
            let before = self.counts[kind];
            self.counts[kind] += count;
            self.units += count;
            for other in 0..self.with[kind].len() {
                let (other, needs) = self.with[kind][other];
                if needs > before && needs <= self.counts[kind] {
                    self.free(other);
                }
            }
        }
    }

    /// Halves what is remembered of kinds that were left without a way.
    fn forget(&mut self) {
        for weight in &mut self.weights {
            *weight = 1.0 + (*weight - 1.0) * 0.5;
        }
    }

    /// The kind with the fewest ways left for its units, by its weight; of equal ones as the seed says.
    fn scarcest(&self) -> Option<usize> {
        let kinds = self.counts.len();
        let first = mixed(self.seed, self.steps as u32) as usize % kinds;
        let scarce = |kind: usize| {
            let ways = self.ways[kind];
            // A kind with several units needs several of its ways; one way or none leaves nothing to choose.
            let ways = 2 * ways - u32::from(self.counts[kind] > 1 && ways > 0);
            if self.ways[kind] < 2 { f64::from(ways) } else { 2.0 + f64::from(ways) / self.weights[kind] }
        };
        let left = (first..kinds).chain(0..first).filter(|&kind| self.counts[kind] > 0);
        left.map(|kind| (scarce(kind), kind)).min_by(|a, b| a.0.total_cmp(&b.0)).map(|found| found.1)
    }

    /// Chooses the next strip. Whether all units have their strips, or `None` if it was given up.
    fn strip(&mut self) -> Option<bool> {
        if self.units == 0 {
            return Some(true);
        }
        let kind = self.scarcest()?;
        if self.ways[kind] == 0 {
            self.weights[kind] += 1.0;
            return Some(false);
        }
        if self.since > ASK {
            self.since = 0;
            self.stopped = !(self.go_on)();
        }
        if self.steps == 0 || self.stopped {
            return None;
        }
        let seed = mixed(self.seed, self.steps as u32);
        let mut ways: Vec<usize> =
            self.with[kind].iter().map(|way| way.0).filter(|&way| self.barred[way] == 0).collect();
        // Those first that other kinds need least.
        ways.sort_by_cached_key(|&way| {
            let others: u32 = self.contents[way].iter().map(|&(kind, _)| self.ways[kind]).sum();
            (others, mixed(seed, way as u32))
        });
        let mut end = Some(false);
        let mut tried = Vec::new();
        for way in ways {
            if self.losses[way] > self.lose {
                continue;
            }
            self.take(way);
            end = self.strip();
            if end == Some(true) {
                return end;
            }
            self.give_back(way);
            if end.is_none() {
                break;
            }
            // What follows need not try this one again.
            self.bar(way);
            tried.push(way);
        }
        for way in tried {
            self.free(way);
        }
        end
    }
}

#[cfg(test)]
mod tests {
    use super::{Effort, End, cover};
    use crate::pack::class::Class;
    use crate::pack::kinds::{Content, Work};
    use crate::pack::sums::mixed;
    use crate::pack::{Cartridge, Item, Medium, Order, Task};

    const ALL: Effort = Effort { steps: 500_000_000, seed: 0 };

    /// Units of these sizes, strips of this capacity, without limits else.
    fn work(sizes: &[i64], capacity: i64, labels: u32) -> Work {
        let medium = Medium {
            lead: 1,
            gap: 0,
            trail: 0,
            min_piece: 0,
            max_strip: capacity + 1,
            max_labels: labels,
            load: 0,
            tail: 0,
            reserve: 0,
            min_remnant: 0,
            keep_cost: 0,
        };
        let items = sizes.iter().map(|&length| Item { length, labels: 1, batch: None }).collect();
        let cartridges = vec![Cartridge { length: 1 << 20, count: 1, fixed: 0, sealed: false, mounted: false }];
        let task = Task { medium, items, cartridges, order: Order::Free };
        let classes = Class::of(&task, true);
        Work::chained(&task, &classes)
    }

    fn assert_whole(work: &Work, strips: &[Content], capacity: i64) {
        let mut counts = work.counts();
        for strip in strips {
            assert!(work.size(strip) <= capacity, "{strip:?} is longer than {capacity}");
            let labels: u32 = strip.iter().map(|unit| unit.1).sum();
            assert!(labels <= work.labels, "{strip:?} has more than {} labels", work.labels);
            for &(kind, count) in strip {
                counts[kind] = counts[kind].checked_sub(count).expect("no unit on two strips");
            }
        }
        assert!(counts.iter().all(|&count| count == 0), "units without a strip: {counts:?}");
    }

    /// Whether units fit bins, by trying all.
    fn fit(sizes: &[i64], bins: &mut [(i64, u32)]) -> bool {
        let Some((&size, others)) = sizes.split_first() else {
            return true;
        };
        for at in 0..bins.len() {
            let (room, labels) = bins[at];
            if size <= room && labels > 0 && !bins[..at].contains(&bins[at]) {
                bins[at] = (room - size, labels - 1);
                if fit(others, bins) {
                    return true;
                }
                bins[at] = (room, labels);
            }
        }
        false
    }

    #[test]
    fn strips_are_found_exactly_where_there_are_some() {
        let (mut found, mut none) = (0, 0);
        for seed in 0..3000u32 {
            let capacity = 20 + i64::from(mixed(seed, 1) % 30);
            let count = 4 + mixed(seed, 2) % 8;
            let sizes: Vec<i64> =
                (0..count).map(|at| 3 + i64::from(mixed(seed, 10 + at)) % (capacity * 2 / 3)).collect();
            let labels = if seed % 3 == 0 { 3 } else { 0 };
            let work = work(&sizes, capacity, labels);
            let least = (work.volume + capacity - 1) / capacity;
            for strips in least..=least + 1 {
                let most = if labels == 0 { 99 } else { labels };
                let can = fit(&sizes, &mut vec![(capacity, most); usize::try_from(strips).unwrap()]);
                match cover(&work, capacity, strips, ALL, &mut || true) {
                    End::Found(contents) => {
                        assert!(can, "task {seed}: strips that cannot be");
                        assert!(contents.len() as i64 <= strips);
                        assert_whole(&work, &contents, capacity);
                        found += 1;
                    }
                    End::None => {
                        assert!(!can, "task {seed}: {sizes:?} fit {strips} strips of {capacity}");
                        none += 1;
                    }
                    End::TooMany | End::Unknown => panic!("task {seed} is small"),
                }
            }
        }
        assert!(found > 1000 && none > 300, "{found} found, {none} not");
    }

    #[test]
    fn strips_without_any_room_are_found() {
        let mut sizes = Vec::new();
        for strip in 0..60 {
            let first = 2500 + i64::from(mixed(1, strip) % 1500);
            let second = 2500 + i64::from(mixed(2, strip)) % (5000 - first);
            sizes.extend([first, second, 10_000 - first - second]);
        }
        let work = work(&sizes, 10_000, 0);
        let End::Found(strips) = cover(&work, 10_000, 60, ALL, &mut || true) else {
            panic!("the strips that the units were made from");
        };
        assert_eq!(strips.len(), 60);
        assert_whole(&work, &strips, 10_000);
    }

    #[test]
    fn a_search_that_is_stopped_settles_nothing() {
        let sizes: Vec<i64> = (0..90).map(|at| 2500 + i64::from(mixed(7, at) % 1600)).collect();
        let work = work(&sizes, 10_000, 0);
        let strips = (work.volume + 9_999) / 10_000;
        let mut asked = 0;
        let end = cover(&work, 10_000, strips, ALL, &mut || {
            asked += 1;
            false
        });
        assert!(matches!(end, End::Unknown), "so many units are not settled before it is asked");
        assert_eq!(asked, 1, "a no is taken for an answer");
    }
}
