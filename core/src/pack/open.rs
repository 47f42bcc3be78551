//! A choice of cartridges that is not settled yet, and all the ways to settle it: each raises what the
//! choice costs at least, or finds a plan, or both.

use super::choice::{Choice, Limits};
use super::contents::{self, Effort, contents};
use super::cover::{self, cover};
use super::drift::Drift;
use super::forest::{self, forest};
use super::generate::Program;
use super::groups;
use super::kinds::{Load, Work};
use super::realise::Manner;
use super::structure::{self, structure};
use super::sums::Prefer;
use super::{Mount, NEVER};

/// Fills of known strips in a turn.
const FILLS: u32 = 40;
/// Changes of loads of a choice in a turn.
const CHANGES: u32 = 240;
/// Steps of the search for full strips in the first turn, twice as many in each after it.
const COVERED: u64 = 20_000_000;
/// The last turn with such a search.
const LAST_COVER: u32 = 4;

/// The best plan so far.
pub(super) struct Best {
    pub(super) cost: i64,
    pub(super) mounts: Vec<Mount>,
    pub(super) loads: Vec<Load>,
}

impl Best {
    pub(super) fn offer(&mut self, work: &Work, loads: &[Load]) {
        if let Some(cost) = work.cost(loads).filter(|&cost| cost < self.cost) {
            self.cost = cost;
            self.mounts = work.mounts(loads);
            self.loads = loads.to_vec();
        }
    }
}

/// Ways to take units, the most promising first.
pub(super) fn manners(work: &Work) -> Vec<Manner> {
    let searched = if work.kinds.len() <= 24 { 24 } else { 40 };
    [
        (Prefer::Large, false),
        (Prefer::Even, false),
        (Prefer::Many, false),
        (Prefer::Large, true),
        (Prefer::Small, false),
        (Prefer::Many, true),
    ]
    .into_iter()
    .map(|(prefer, long_first)| Manner {
        prefer,
        long_first,
        finish: matches!(prefer, Prefer::Many | Prefer::Even) || long_first,
        searched,
    })
    .collect()
}

/// A choice that is not settled yet.
pub(super) struct Open<'w> {
    pub(super) choice: Choice,
    /// Strips on each mount in the way that costs least, if known.
    strips: Vec<i64>,
    program: Option<Program<'w>>,
    /// What a plan costs at least in which batches and cartridges hang together in a circle; 0 if not known.
    circle: i64,
    drift: Option<Drift>,
    /// A strip of a plan on one cartridge can have too many contents to list them.
    crowded: bool,
}

impl<'w> Open<'w> {
    pub(super) const fn new(choice: Choice) -> Self {
        Self { choice, strips: Vec::new(), program: None, circle: 0, drift: None, crowded: false }
    }

    /// Raises the bound by how many strips there must be, and looks for a plan with no more.
    pub(super) fn shape(&mut self, work: &Work, limits: &Limits, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
        let choice = &mut self.choice;
        let fixed = fixed(work, choice);
        if let Some(least) = groups::least_kept(work, limits, choice) {
            let cost = |tape: i64| if tape < NEVER { fixed + tape } else { NEVER };
            choice.bound = choice.bound.max(cost(least.any));
            self.circle = cost(least.circle);
        }
        if choice.bound >= best.cost || !go_on() {
            return;
        }
        let found = structure(work, limits, choice, best.cost - fixed);
        choice.bound = choice.bound.max(found.as_ref().map_or(0, |found| fixed + found.tape));
        if choice.bound >= best.cost || !go_on() {
            return;
        }
        if (2..=12).contains(&work.batches.len()) {
            self.hang(work, limits, 0, best, go_on);
        } else if let Some(found) = found.filter(|_| work.batches.len() == 1) {
            self.strips = found.strips;
            let prefers = [Prefer::Even, Prefer::Large, Prefer::Many].into_iter().chain((0..4).map(Prefer::Mixed));
            self.fill(work, limits, prefers, best, go_on);
        }
    }

    /// Looks for plans whose batches hang together without a circle, and raises the bound by what they and
    /// others cost at least.
    fn hang(&mut self, work: &Work, limits: &Limits, turn: u32, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
        while self.choice.bound < best.cost && go_on() {
            match forest(work, limits, &self.choice, (self.choice.bound, best.cost), turn, go_on) {
                forest::End::Found(loads) => best.offer(work, &loads),
                forest::End::Least(cost) => {
                    self.choice.bound = self.choice.bound.max(self.circle.min(cost));
                    return;
                }
            }
        }
    }

    /// Looks for a plan with the known strips.
    fn fill(
        &self,
        work: &Work,
        limits: &Limits,
        prefers: impl Iterator<Item = Prefer>,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        for prefer in prefers {
            let manner = Manner { prefer, long_first: false, finish: false, searched: 24 };
            if self.choice.bound >= best.cost || !go_on() {
                return;
            }
            if let Some(loads) = structure::loads(work, &self.choice, &self.strips, limits.strip, manner) {
                best.offer(work, &loads);
            }
            if work.labels == u32::MAX
                && self.choice.kept.iter().sum::<u32>() <= 1
                && let Some(loads) = structure::parted(work, &self.choice, &self.strips, manner)
            {
                best.offer(work, &loads);
            }
        }
    }

    /// Looks for a plan once more, in ways that `turn` varies.
    pub(super) fn vary(
        &mut self,
        work: &Work,
        limits: &Limits,
        turn: u32,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        if (2..=12).contains(&work.batches.len()) && turn > 0 {
            self.hang(work, limits, turn, best, go_on);
        } else if !self.strips.is_empty() {
            let seeds = (4 + turn * FILLS)..(4 + (turn + 1) * FILLS);
            self.fill(work, limits, seeds.map(Prefer::Mixed), best, go_on);
        }
    }

    /// Changes loads of the choice a little, many times.
    pub(super) fn drift(
        &mut self,
        work: &Work,
        limits: &Limits,
        turn: u32,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        if self.drift.is_none() && self.choice.bound < best.cost {
            self.drift = Drift::start(work, &self.choice, limits.strip, &manners(work), go_on);
        }
        if self.drift.as_ref().is_none_or(|drift| drift.cost() > best.cost) {
            self.drift = Drift::of(work, &self.choice, &best.loads).or(self.drift.take());
        }
        let Some(drift) = &mut self.drift else {
            return;
        };
        // A cartridge takes as many fills as there are batches.
        let changes = (CHANGES / work.batches.len() as u32).max(1);
        for seed in turn * changes..(turn + 1) * changes {
            if self.choice.bound >= best.cost || !go_on() {
                return;
            }
            if let Some(loads) = drift.step(work, &self.choice, limits.strip, seed) {
                best.offer(work, loads);
            }
        }
    }

    /// Looks for the fewest strips on one cartridge where they leave little room, and settles whether there are.
    pub(super) fn fill_up(
        &mut self,
        work: &Work,
        limits: &Limits,
        turn: u32,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        let choice = &mut self.choice;
        let alone = choice.emptied.iter().all(|&count| count == 0) && choice.kept.iter().sum::<u32>() == 1;
        let Some(class) = choice.kept.iter().position(|&count| count > 0).filter(|_| alone) else {
            return;
        };
        if work.single || work.extra <= 0 || self.crowded || turn > LAST_COVER {
            return;
        }
        let fixed = fixed(work, choice);
        let strips = (choice.bound.max(fixed) - fixed - work.volume) / work.extra;
        let count = strips.max(limits.strips);
        let effort = cover::Effort { steps: COVERED << turn, seed: turn };
        match cover(work, limits.strip, count, effort, go_on) {
            cover::End::Found(strips) => best.offer(work, &[Load { class, strips }]),
            cover::End::None => choice.bound = choice.bound.max(fixed + work.volume + (count + 1) * work.extra),
            cover::End::TooMany => self.crowded = true,
            cover::End::Unknown => {}
        }
    }

    /// Tries what the emptied cartridges can hold, and settles the choice where all has been tried.
    pub(super) fn exhaust(
        &mut self,
        work: &Work,
        limits: &Limits,
        turn: u32,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        let effort = Effort { width: 16 << (2 * turn), nodes: 500 << turn, seed: turn };
        let fixed = fixed(work, &self.choice);
        while self.choice.bound < best.cost {
            match contents(work, limits, &self.choice, best.cost - 1 - fixed, effort, go_on) {
                contents::End::Found(loads) => {
                    let before = best.cost;
                    best.offer(work, &loads);
                    if best.cost == before {
                        return;
                    }
                }
                contents::End::None => self.choice.bound = best.cost,
                contents::End::Unknown => return,
            }
        }
    }

    /// Raises the bound, and looks for plans, until one meets the other.
    pub(super) fn settle(
        &mut self,
        work: &'w Work,
        limits: &Limits,
        turn: usize,
        best: &mut Best,
        go_on: &mut dyn FnMut() -> bool,
    ) {
        let choice = &mut self.choice;
        let fixed = fixed(work, choice);
        let kept = choice.kept.iter().any(|&count| count > 0);
        if self.program.is_none() {
            let mut program = Program::new(work, choice, limits);
            let mut tape = program.relax(go_on, if kept { best.cost - fixed } else { 1 });
            let never_padded = work.piece(work.smallest()) == work.extra + work.smallest();
            if choice.emptied.iter().all(|&count| count == 0) && work.extra > 0 && never_padded {
                // Whole strips only, and nothing but them and the volume.
                let strips = (tape - work.volume + work.extra - 1).div_euclid(work.extra);
                tape = tape.max(work.volume + strips * work.extra);
            }
            choice.bound = choice.bound.max(if kept || tape <= 0 { fixed + tape } else { NEVER });
            self.program = Some(program);
        }
        if choice.bound >= best.cost || !go_on() {
            return;
        }
        if let Some(loads) = self.program.clone().and_then(|program| program.dive(choice, limits.strip, turn, go_on)) {
            best.offer(work, &loads);
        }
    }
}

/// Cost of a choice beyond the tape of its kept cartridges.
pub(super) fn fixed(work: &Work, choice: &Choice) -> i64 {
    let sum = |costs: &dyn Fn(usize) -> i64| (0..work.classes.len()).map(costs).sum::<i64>();
    sum(&|class| i64::from(choice.emptied[class]) * work.classes[class].discard)
        + sum(&|class| i64::from(choice.kept[class]) * work.classes[class].keep)
        + choice.idle(work)
        - work.label
}
