//! All that the emptied cartridges of a choice can hold, one cartridge after another, for a plan that
//! costs less than a known one.
//!
//! Such a plan has little tape to lose, so what an emptied cartridge holds comes close to its length.
//! Contents of such a size are listed by the totals that the units still can reach, parted into the
//! fewest strips, and what is left goes to the next cartridge. Where that ends without a plan, there
//! is none with this choice. Strong for few large units, which leave strips far from full.

use super::choice::{Choice, Limits};
use super::kinds::{Content, Load, Work};
use super::realise::{Left, Manner, rest};
use super::sums::{Prefer, Sums, mixed};
use std::collections::{HashMap, HashSet};

/// How far a search goes.
#[derive(Clone, Copy)]
pub(super) struct Effort {
    /// Contents tried on one cartridge after the same ones before it.
    pub(super) width: usize,
    /// Contents tried in all.
    pub(super) nodes: u32,
    /// Varies which are tried first.
    pub(super) seed: u32,
}

/// What a search ended with.
pub(super) enum End {
    /// Loads that cost less.
    Found(Vec<Load>),
    /// No loads of the choice cost less.
    None,
    /// It was given up.
    Unknown,
}

/// Places tried to part one content into strips.
const PLACES: u32 = 20_000;
/// Most units parted.
const UNITS: u32 = 400;
/// Most emptied cartridges of a choice.
const CARTRIDGES: usize = 8;
/// Most words that the totals of one cartridge may take, 64 in each.
const WORDS: i64 = 250_000;
/// Small steps between two questions to `go_on`: some milliseconds.
const STEPS: u32 = 2048;
/// Most answers held of each sort.
const HELD: usize = 50_000;

struct Search<'w, 'g> {
    work: &'w Work,
    strip: i64,
    /// Classes of the emptied cartridges, in the order they are filled.
    mounts: Vec<usize>,
    choice: &'w Choice,
    /// Most tape on kept cartridges.
    kept: i64,
    counts: Vec<u32>,
    loads: Vec<Load>,
    /// Counts left before a cartridge, from where all has been tried.
    failed: HashSet<(usize, Vec<u32>)>,
    parted: HashMap<Vec<u32>, Option<Vec<Content>>>,
    effort: Effort,
    nodes: u32,
    /// Small steps since `go_on` was asked.
    steps: u32,
    /// Something was left out.
    cut: bool,
    found: Option<Vec<Load>>,
    go_on: &'g mut dyn FnMut() -> bool,
}

/// Looks for loads of a choice with no more than `kept` tape on its kept cartridges.
pub(super) fn contents(
    work: &Work,
    limits: &Limits,
    choice: &Choice,
    kept: i64,
    effort: Effort,
    go_on: &mut dyn FnMut() -> bool,
) -> End {
    let mut mounts: Vec<usize> = Vec::new();
    for (class, &count) in choice.emptied.iter().enumerate() {
        mounts.extend(std::iter::repeat_n(class, count as usize));
    }
    let never_padded = work.piece(work.smallest()) == work.extra + work.smallest();
    let longest = mounts.iter().map(|&class| work.classes[class].usable).max().unwrap_or(0);
    let words = longest / 64 * work.kinds.len() as i64;
    let few = mounts.len() <= CARTRIDGES && (!mounts.is_empty() || choice.kept.iter().sum::<u32>() == 1);
    if !few || words > WORDS || !never_padded {
        return End::Unknown;
    }
    // Short ones first: they can hold the fewest contents.
    mounts.sort_by_key(|&class| (work.classes[class].usable, class));
    let room = (0..work.classes.len()).map(|class| i64::from(choice.kept[class]) * work.classes[class].keeps.max(0));
    let mut search = Search {
        work,
        strip: limits.strip,
        mounts,
        choice,
        kept: kept.min(room.sum()).max(0),
        counts: work.counts(),
        loads: Vec::new(),
        failed: HashSet::new(),
        parted: HashMap::new(),
        effort,
        nodes: 0,
        steps: 0,
        cut: false,
        found: None,
        go_on,
    };
    search.cartridge(0);
    match search.found {
        Some(loads) => End::Found(loads),
        None if search.cut => End::Unknown,
        None => End::None,
    }
}

impl Search<'_, '_> {
    fn volume(&self) -> i64 {
        self.counts.iter().zip(&self.work.kinds).map(|(&count, kind)| kind.size * i64::from(count)).sum()
    }

    /// Fewest strips of units with these counts.
    fn strips(&self, counts: &[u32]) -> i64 {
        let work = self.work;
        if work.single {
            return 0;
        }
        let of = |batch: &std::ops::Range<usize>| {
            let (mut volume, mut labels, mut large) = (0, 0, 0);
            for kind in batch.clone() {
                let (it, count) = (&work.kinds[kind], i64::from(counts[kind]));
                volume += it.size * count;
                labels += i64::from(it.labels) * count;
                large += if 2 * it.size > work.capacity { count } else { 0 };
            }
            let by_labels = (labels + i64::from(work.labels) - 1) / i64::from(work.labels);
            ((volume + self.strip - 1) / self.strip).max(by_labels).max(large)
        };
        work.batches.iter().map(of).sum()
    }

    /// Tries all contents of this cartridge and those after it. False if something was left out.
    fn cartridge(&mut self, at: usize) -> bool {
        let volume = self.volume();
        let Some(&class) = self.mounts.get(at) else {
            return self.rest(volume);
        };
        let work = self.work;
        let usable = work.classes[class].usable;
        let room: i64 = self.mounts[at..].iter().map(|&class| work.classes[class].usable).sum::<i64>() + self.kept;
        // Tape for strips beyond their units, and to lose.
        let spare = room - volume;
        let strips = self.strips(&self.counts);
        if spare < work.extra * strips {
            return true;
        }
        let key = (at, self.counts.clone());
        if self.failed.contains(&key) {
            return true;
        }
        let windows = self.windows(at, usable, volume, spare, strips);
        let Some(most) = windows.last().map(|window| window.1) else {
            return true;
        };
        let mut order: Vec<usize> = (0..self.counts.len()).filter(|&kind| self.counts[kind] > 0).collect();
        if self.effort.seed > 0 {
            order.sort_by_key(|&kind| mixed(self.effort.seed, kind as u32));
        }
        let mut sums = vec![Sums::new(most)];
        for &kind in order.iter().rev() {
            let mut with = sums[sums.len() - 1].clone();
            with.extend_times(work.kinds[kind].size, i64::from(self.counts[kind]));
            sums.push(with);
        }
        sums.reverse();
        self.steps += STEPS / 64;
        let listing = Listing { order, sums, windows, share: usable as f64 / room.max(1) as f64 };
        let (mut chosen, mut tried) = (vec![0; self.counts.len()], 0);
        let whole = self.list(at, &listing, 0, 0, &mut chosen, &mut tried);
        if whole && self.found.is_none() && self.failed.len() < HELD {
            self.failed.insert(key);
        }
        whole
    }

    /// Totals that this cartridge may hold, as ranges that rise.
    ///
    /// With `k` strips on it and `rest` on those after it, it holds at most `usable − k · extra`, and
    /// leaves `spare` for the other strips only if it holds `usable − spare + rest · extra`.
    fn windows(&self, at: usize, usable: i64, volume: i64, spare: i64, strips: i64) -> Vec<(i64, i64)> {
        let (extra, strip) = (self.work.extra, if self.work.single { usable } else { self.strip });
        let after = (self.mounts.len() - at - 1) as i64;
        let units: i64 = self.counts.iter().map(|&count| i64::from(count)).sum();
        let mut windows: Vec<(i64, i64)> = Vec::new();
        for count in 1..=units {
            let most = (usable - extra * count).min(strip * count);
            if most <= 0 {
                break;
            }
            let rest = (strips - count).max(after).max((volume - most + strip - 1) / strip);
            let least = (usable - spare + extra * rest).max(1);
            if least <= most {
                windows.push((least, most));
            }
            if extra == 0 && strip * count >= usable {
                break;
            }
        }
        windows.sort_unstable();
        let mut joined: Vec<(i64, i64)> = Vec::new();
        for window in windows {
            match joined.last_mut() {
                Some(last) if window.0 <= last.1 + 1 => last.1 = last.1.max(window.1),
                _ => joined.push(window),
            }
        }
        joined
    }

    /// Chooses how many units of the kinds from `next` on; `size` is that of those before.
    fn list(
        &mut self,
        at: usize,
        listing: &Listing,
        next: usize,
        size: i64,
        chosen: &mut Vec<u32>,
        tried: &mut usize,
    ) -> bool {
        let Some(&kind) = listing.order.get(next) else {
            *tried += 1;
            return self.put(at, size, chosen);
        };
        let mut whole = true;
        let each = self.work.kinds[kind].size.max(1);
        let most = i64::from(self.counts[kind]).min((listing.most() - size) / each);
        let share = (f64::from(self.counts[kind]) * listing.share + 0.5) as i64;
        // The kind's share first, then more and less of it by turns.
        for step in 0..=2 * most.max(share) {
            let count = share + if step % 2 == 1 { (step + 1) / 2 } else { -step / 2 };
            if !(0..=most).contains(&count) {
                continue;
            }
            let size = size + count * each;
            if !listing.reaches(next + 1, size) {
                continue;
            }
            if *tried >= self.effort.width || self.over() {
                self.cut = true;
                return false;
            }
            chosen[kind] = count as u32;
            whole &= self.list(at, listing, next + 1, size, chosen, tried);
            if self.found.is_some() {
                return whole;
            }
        }
        chosen[kind] = 0;
        whole
    }

    fn over(&mut self) -> bool {
        self.steps += 1;
        if self.steps >= STEPS {
            self.steps = 0;
            if !(self.go_on)() {
                self.nodes = self.effort.nodes;
            }
        }
        self.nodes >= self.effort.nodes
    }

    /// Goes on with these units on this cartridge.
    fn put(&mut self, at: usize, size: i64, chosen: &[u32]) -> bool {
        self.nodes += 1;
        let class = self.mounts[at];
        let usable = self.work.classes[class].usable;
        if size + self.work.extra * self.strips(chosen).max(1) > usable {
            return true;
        }
        let Some(strips) = self.parted(chosen) else {
            self.cut = true;
            return false;
        };
        if self.work.tape(&strips) > usable {
            return true;
        }
        for (count, chosen) in self.counts.iter_mut().zip(chosen) {
            *count -= chosen;
        }
        self.loads.push(Load { class, strips });
        let whole = self.cartridge(at + 1);
        self.loads.pop();
        for (count, chosen) in self.counts.iter_mut().zip(chosen) {
            *count += chosen;
        }
        whole
    }

    /// Puts the rest on the kept cartridges.
    fn rest(&mut self, volume: i64) -> bool {
        let work = self.work;
        if volume + work.extra * self.strips(&self.counts) > self.kept {
            return true;
        }
        let mut loads = self.loads.clone();
        if volume == 0 {
            self.found = Some(loads);
            return true;
        }
        let counts = self.counts.clone();
        let parted = if work.single { None } else { self.parted(&counts) };
        if parted.as_ref().is_some_and(|strips| work.tape(strips) > self.kept) {
            return true;
        }
        if let Some(more) = parted.and_then(|strips| self.share_out(strips)) {
            loads.extend(more);
            self.found = Some(loads);
            return true;
        }
        let manner = Manner { prefer: Prefer::Large, long_first: false, finish: true, searched: 40 };
        let mut left = Left::new(work, counts);
        let fits = rest(work, &mut left, &self.choice.kept, self.strip, manner, &mut loads);
        let tape: i64 = loads[self.loads.len()..].iter().map(|load| work.tape(&load.strips)).sum();
        if fits.is_none() || tape > self.kept {
            self.cut = true;
            return false;
        }
        self.found = Some(loads);
        true
    }

    /// Strips on the kept cartridges, long ones first where they fit; `None` if one fits nowhere.
    fn share_out(&self, mut strips: Vec<Content>) -> Option<Vec<Load>> {
        let work = self.work;
        let mut loads: Vec<(i64, Load)> = Vec::new();
        for (class, &count) in self.choice.kept.iter().enumerate() {
            let load = (work.classes[class].keeps, Load { class, strips: Vec::new() });
            loads.extend(std::iter::repeat_n(load, count as usize));
        }
        strips.sort_by_key(|strip| -work.size(strip));
        for strip in strips {
            let piece = work.piece(work.size(&strip));
            let (room, load) = loads.iter_mut().find(|(room, _)| *room >= piece)?;
            *room -= piece;
            load.strips.push(strip);
        }
        Some(loads.into_iter().map(|(_, load)| load).collect())
    }

    /// These units on the fewest strips; `None` if that is not known.
    fn parted(&mut self, counts: &[u32]) -> Option<Vec<Content>> {
        if let Some(known) = self.parted.get(counts) {
            return known.clone();
        }
        let work = self.work;
        let content = |batch: std::ops::Range<usize>| -> Content {
            batch.map(|kind| (kind, counts[kind])).filter(|&(_, count)| count > 0).collect()
        };
        let strips = if work.single {
            Some(vec![content(0..work.kinds.len())])
        } else {
            let steps = &mut self.steps;
            let each = work.batches.iter().map(|batch| fewest(work, self.strip, &content(batch.clone()), steps));
            each.collect::<Option<Vec<_>>>().map(|all| all.into_iter().flatten().collect())
        };
        if self.parted.len() < HELD {
            self.parted.insert(counts.to_vec(), strips.clone());
        }
        strips
    }
}

/// How contents of one cartridge are listed.
struct Listing {
    /// Kinds in the order they are chosen.
    order: Vec<usize>,
    /// Totals that the kinds from each place of the order on can reach.
    sums: Vec<Sums>,
    /// Totals wanted, as ranges that rise.
    windows: Vec<(i64, i64)>,
    /// Part of the tape left that this cartridge has.
    share: f64,
}

impl Listing {
    fn most(&self) -> i64 {
        self.windows.last().map_or(0, |window| window.1)
    }

    /// Whether the kinds from this place on can bring this size to a total that is wanted.
    fn reaches(&self, place: usize, size: i64) -> bool {
        self.windows.iter().any(|&(least, most)| self.sums[place].best(most - size) >= (least - size).max(0))
    }
}

/// A strip being filled.
#[derive(Clone, Default)]
struct Bin {
    size: i64,
    labels: u32,
    content: Content,
}

/// Units of one batch on the fewest strips; `None` if that is not known.
fn fewest(work: &Work, strip: i64, content: &Content, steps: &mut u32) -> Option<Vec<Content>> {
    if content.iter().map(|unit| unit.1).sum::<u32>() > UNITS {
        return None;
    }
    let mut units: Vec<usize> = Vec::new();
    for &(kind, count) in content {
        units.extend(std::iter::repeat_n(kind, count as usize));
    }
    units.sort_by_key(|&kind| (-work.kinds[kind].size, kind));
    let labels: i64 = units.iter().map(|&kind| i64::from(work.kinds[kind].labels)).sum();
    let large = units.iter().filter(|&&kind| 2 * work.kinds[kind].size > work.capacity).count();
    let least =
        ((work.size(content) + strip - 1) / strip).max((labels + i64::from(work.labels) - 1) / i64::from(work.labels));
    for count in (least as usize).max(large)..=units.len() {
        let mut bins = vec![Bin::default(); count];
        let mut places = 0;
        let placed = place(work, &units, 0, &mut bins, &mut places);
        *steps += places / 16;
        if placed {
            return Some(bins.into_iter().map(|bin| bin.content).filter(|content| !content.is_empty()).collect());
        }
        if places > PLACES {
            return None;
        }
    }
    Some(Vec::new())
}

/// Puts the units from this one on into bins, the first that has room first.
fn place(work: &Work, units: &[usize], unit: usize, bins: &mut [Bin], places: &mut u32) -> bool {
    let Some(&kind) = units.get(unit) else {
        return true;
    };
    *places += 1;
    if *places > PLACES {
        return false;
    }
    let it = &work.kinds[kind];
    let (size, labels) = (it.size, it.labels);
    // One like the one before comes no earlier.
    let like = |bin: &Bin| bin.content.last().is_some_and(|last| last.0 == kind);
    let from = if unit > 0 && units[unit - 1] == kind { bins.iter().rposition(like).unwrap_or(0) } else { 0 };
    for at in from..bins.len() {
        let bin = &bins[at];
        let fits =
            bin.size + size <= work.capacity && i64::from(bin.labels) + i64::from(labels) <= i64::from(work.labels);
        let seen =
            bins[from..at].iter().any(|other| (other.size, other.labels) == (bin.size, bin.labels) && !like(other));
        if !fits || seen {
            continue;
        }
        let bin = &mut bins[at];
        bin.size += size;
        bin.labels += labels;
        match bin.content.last_mut() {
            Some(last) if last.0 == kind => last.1 += 1,
            _ => bin.content.push((kind, 1)),
        }
        if place(work, units, unit + 1, bins, places) {
            return true;
        }
        let bin = &mut bins[at];
        bin.size -= size;
        bin.labels -= labels;
        match bin.content.last_mut() {
            Some(last) if last.1 > 1 => last.1 -= 1,
            _ => drop(bin.content.pop()),
        }
        if *places > PLACES {
            return false;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::{Effort, End, contents};
    use crate::pack::drawn::{Small, small};
    use crate::pack::{choice, open};

    #[test]
    fn the_best_plan_is_found_and_no_better_one() {
        let (mut found, mut none, mut unknown) = (0, 0, 0);
        for seed in 0..1500 {
            let shape = Small { batches: 1 + seed % 2, padded: false, most_labels: 3, limited: true };
            let Some((task, work, cost)) = small(seed, shape) else { continue };
            let limits = choice::Limits::new(&work);
            let (choices, _) = choice::choices(&work, &limits, cost + 1, 20_000);
            let effort = Effort { width: 10_000, nodes: 100_000, seed: seed % 4 };
            let (mut reached, mut open) = (false, false);
            for choice in choices {
                let fixed = open::fixed(&work, &choice);
                match contents(&work, &limits, &choice, cost - fixed, effort, &mut || true) {
                    End::Found(loads) => {
                        let now = work.cost(&loads).expect("loads that fit");
                        assert!(now >= cost, "task {seed}: {now} is below the best plan, {cost}");
                        reached |= now == cost;
                        found += 1;
                    }
                    End::None => none += 1,
                    End::Unknown => open = true,
                }
            }
            unknown += u32::from(open);
            assert!(reached || open, "task {seed}: all choices are settled without the best plan, {cost}: {task:?}");
        }
        assert!(found > 500 && none > 100 && unknown < 400, "{found} found, {none} settled, {unknown} not known");
    }
}
