//! Items in any order: cartridges are chosen by what a choice costs at least, the cheapest choice
//! first, until a plan costs no more than every choice not yet settled.

use super::choice::{Choice, Limits, choices};
use super::class::Class;
use super::contents::{self, Effort, contents};
use super::cover::{self, cover};
use super::exact;
use super::forest::{self, forest};
use super::generate::Program;
use super::groups;
use super::kinds::{Load, Work};
use super::realise::{Left, Manner, realise};
use super::repair::Drift;
use super::structure::{self, structure};
use super::sums::Prefer;
use super::{CartridgeOrder, Infeasible, Mount, Order, Plan, Task, subset};

/// Choices held at a time; the bound of the others is held as one number.
const CHOICES: usize = 20_000;

/// More than any plan costs.
const NEVER: i64 = i64::MAX / 4;

/// The best plan so far.
struct Best {
    cost: i64,
    mounts: Vec<Mount>,
    loads: Vec<Load>,
}

impl Best {
    fn offer(&mut self, work: &Work, loads: &[Load]) {
        if let Some(cost) = work.cost(loads).filter(|&cost| cost < self.cost) {
            self.cost = cost;
            self.mounts = work.mounts(loads);
            self.loads = loads.to_vec();
        }
    }
}

/// Ways to take units, the most promising first.
fn manners(work: &Work) -> Vec<Manner> {
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

pub(super) fn plan(task: &Task, classes: &[Class], go_on: &mut dyn FnMut() -> bool) -> Result<Plan, Infeasible> {
    let (work, fluid) = work(task, classes);
    let (mut best, short) = match listed(task, classes) {
        Ok((cost, mounts)) => (Best { cost, mounts, loads: Vec::new() }, 0),
        Err(Infeasible::NotEnough { short, .. }) => {
            (Best { cost: NEVER, mounts: Vec::new(), loads: Vec::new() }, short)
        }
        Err(other) => return Err(other),
    };
    let limits = Limits::new(&work);
    let mut ran_out = false;
    let mut go_on = || {
        ran_out |= !go_on();
        !ran_out
    };
    let (choices, left_out) = promising(&work, &limits, &mut best);
    let mut open: Vec<Open> = choices.into_iter().map(Open::new).collect();
    for manner in manners(&work) {
        try_manner(&work, &limits, &open, manner, &mut best, &mut go_on);
    }
    let bound = |open: &[Open], best: &Best| {
        let bounds = open.iter().map(|open| open.choice.bound);
        let bound = bounds.min().unwrap_or(NEVER).min(left_out).min(best.cost);
        fluid.map_or(bound, |volume| fluid_bound(&work, volume, best.cost))
    };
    let mut small = false;
    if task.items.len() <= exact::UNITS && bound(&open, &best) < best.cost {
        let units = Work::chained(task, classes);
        if let Some(found) = exact::search(&units, best.cost, task.medium.max_labels == 1, &mut go_on) {
            if let Some(loads) = found {
                best.offer(&units, &loads.1);
            }
            open.clear();
            small = true;
        }
    }
    for open in open.iter_mut().filter(|_| !work.labels_bind()) {
        if open.choice.bound < best.cost && go_on() {
            open.shape(&work, &limits, &mut best, &mut go_on);
        }
    }
    for turn in 0..TURNS {
        for open in &mut open {
            if open.choice.bound < best.cost && go_on() {
                open.fill_up(&work, &limits, turn as u32, &mut best, &mut go_on);
            }
        }
        open.sort_by_key(|open| open.choice.bound);
        for open in open.iter_mut().take(SEARCHED) {
            if turn < EXHAUSTED && open.choice.bound < best.cost && go_on() {
                open.exhaust(&work, &limits, turn as u32, &mut best, &mut go_on);
            }
        }
        for open in &mut open {
            if open.choice.bound >= best.cost {
                continue;
            }
            if !go_on() {
                break;
            }
            if !work.labels_bind() {
                open.vary(&work, &limits, turn as u32, &mut best, &mut go_on);
                if work.batches.len() == 1 || turn >= LATE {
                    open.settle(&work, &limits, turn, &mut best, &mut go_on);
                }
            }
        }
        for open in open.iter_mut().take(SEARCHED) {
            open.drift(&work, &limits, turn as u32, &mut best, &mut go_on);
        }
        for seed in 0..MIXES {
            let prefer = Prefer::Mixed(seed + turn as u32 * MIXES);
            let manner = Manner { prefer, long_first: seed % 2 == 1, finish: seed % 4 > 1, searched: 24 };
            try_manner(&work, &limits, &open, manner, &mut best, &mut go_on);
        }
    }
    let bound = if small { best.cost } else { bound(&open, &best) };
    if best.cost == NEVER {
        return Err(Infeasible::NotEnough { short, certain: bound == NEVER });
    }
    Ok(Plan::new(task, best.mounts, bound, ran_out))
}

/// The choices that may lead to a better plan than the best known; and a bound on those not listed.
fn promising(work: &Work, limits: &Limits, best: &mut Best) -> (Vec<Choice>, i64) {
    let manner = manners(work)[0];
    let mut step = 64;
    let mut least = i64::MIN;
    loop {
        let all = least == i64::MIN || step > 1 << 40;
        let below = if all { best.cost } else { best.cost.min(least + step) };
        let few = if least == i64::MIN { 1 } else { CHOICES };
        let (found, left_out) = choices(work, limits, below, few);
        let first = found.first().map_or(NEVER, |choice| choice.bound).min(left_out);
        // Nothing below a lower limit than the best plan's cost says nothing of what is between them.
        let whole = below >= best.cost;
        if whole && (least != i64::MIN || first >= best.cost) {
            return (found, left_out);
        }
        for choice in found.iter().take(3) {
            if let Some(loads) = realise(work, choice, limits.strip, manner) {
                best.offer(work, &loads);
            }
        }
        least = first.min(below);
        step *= 8;
    }
}

/// Makes plans of the most promising choices.
fn try_manner(
    work: &Work,
    limits: &Limits,
    open: &[Open],
    manner: Manner,
    best: &mut Best,
    go_on: &mut dyn FnMut() -> bool,
) {
    for open in open.iter().filter(|open| open.choice.bound < NEVER).take(TRIED) {
        if open.choice.bound >= best.cost {
            continue;
        }
        if !go_on() {
            return;
        }
        if let Some(loads) = realise(work, &open.choice, limits.strip, manner) {
            best.offer(work, &loads);
        }
    }
}

/// A choice that is not settled yet.
struct Open<'w> {
    choice: Choice,
    /// Strips on each mount in the way that costs least, if known.
    strips: Vec<i64>,
    program: Option<Program<'w>>,
    /// What a plan costs at least in which batches and cartridges hang together in a circle; 0 if not known.
    circle: i64,
    drift: Option<Drift>,
}

impl<'w> Open<'w> {
    const fn new(choice: Choice) -> Self {
        Self { choice, strips: Vec::new(), program: None, circle: 0, drift: None }
    }

    /// Raises the bound by how many strips there must be, and looks for a plan with no more.
    fn shape(&mut self, work: &Work, limits: &Limits, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
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
    fn vary(&mut self, work: &Work, limits: &Limits, turn: u32, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
        if (2..=12).contains(&work.batches.len()) && turn > 0 {
            self.hang(work, limits, turn, best, go_on);
        } else if !self.strips.is_empty() {
            let seeds = (4 + turn * FILLS)..(4 + (turn + 1) * FILLS);
            self.fill(work, limits, seeds.map(Prefer::Mixed), best, go_on);
        }
    }

    /// Changes loads of the choice a little, many times.
    fn drift(&mut self, work: &Work, limits: &Limits, turn: u32, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
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
        let changes = (REPAIRS / work.batches.len() as u32).max(1);
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
    fn fill_up(&mut self, work: &Work, limits: &Limits, turn: u32, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
        let choice = &mut self.choice;
        let alone = choice.emptied.iter().all(|&count| count == 0) && choice.kept.iter().sum::<u32>() == 1;
        let Some(class) = choice.kept.iter().position(|&count| count > 0).filter(|_| alone) else {
            return;
        };
        if work.single || work.extra <= 0 {
            return;
        }
        let fixed = fixed(work, choice);
        let strips = (choice.bound.max(fixed) - fixed - work.volume) / work.extra;
        let count = strips.max(limits.strips);
        let effort = cover::Effort { steps: COVERED << turn, seed: turn };
        match cover(work, limits.strip, count, effort, go_on) {
            cover::End::Found(strips) => best.offer(work, &[Load { class, strips }]),
            cover::End::None => choice.bound = choice.bound.max(fixed + work.volume + (count + 1) * work.extra),
            cover::End::Unknown => {}
        }
    }

    /// Tries what the emptied cartridges can hold, and settles the choice where all has been tried.
    fn exhaust(&mut self, work: &Work, limits: &Limits, turn: u32, best: &mut Best, go_on: &mut dyn FnMut() -> bool) {
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
    fn settle(
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

/// Ways to round a program's solution.
const TURNS: usize = 24;
/// The first of them where there are several batches, whose programs are slow and seldom settle anything.
const LATE: usize = 6;
/// Ways to mix units between two such ways.
const MIXES: u32 = 8;
/// Fills of known strips between two such ways.
const FILLS: u32 = 40;
/// Changes of loads of a choice between two such ways.
const REPAIRS: u32 = 240;
/// Turns in which the contents of cartridges are tried, with twice the effort in each.
const EXHAUSTED: usize = 11;
/// Contents of strips looked at in the first turn where they leave little room, twice as many in each after it.
const COVERED: u64 = 20_000_000;
/// Choices whose contents are tried in a turn.
const SEARCHED: usize = 8;
/// Choices tried in each manner.
const TRIED: usize = 24;

/// The units of a task; with its least volume, if strips had to be fixed that another plan may part
/// in a better way.
fn work(task: &Task, classes: &[Class]) -> (Work, Option<i64>) {
    let medium = &task.medium;
    let extra = medium.extra();
    if medium.max_labels == 1 {
        let strips = (0..task.items.len()).map(|item| vec![item]).collect();
        return (Work::single(task, classes, strips), None);
    }
    if extra >= 0 {
        return (Work::chained(task, classes), None);
    }
    // Cutting is cheaper than chaining, but for what the least piece would pad: with `whole` as the
    // size that needs no pad, a strip costs at least `min_piece / whole` of its size, and a larger
    // item at least a strip of its own.
    let whole = medium.min_piece - extra;
    let (large, small): (Vec<usize>, Vec<usize>) =
        (0..task.items.len()).partition(|&item| medium.size(&task.items[item]) >= whole);
    let mut strips: Vec<Vec<usize>> = large.iter().map(|&item| vec![item]).collect();
    let mut least: i64 = large.iter().map(|&item| extra + medium.size(&task.items[item])).sum();
    let sizes: i64 = small.iter().map(|&item| medium.size(&task.items[item])).sum();
    least += (sizes * medium.min_piece + whole - 1) / whole;
    if !small.is_empty() {
        let list = Task { items: small.iter().map(|&item| task.items[item].clone()).collect(), ..task.clone() };
        let mut chained = Work::chained(&list, classes);
        chained.capacity = chained.capacity.min(whole);
        let mut left = Left::new(&chained, chained.counts());
        let strips_of_small =
            left.strips(Manner { prefer: Prefer::Large, long_first: false, finish: false, searched: 40 });
        let load = Load { class: 0, strips: strips_of_small };
        for mount in chained.mounts(std::slice::from_ref(&load)) {
            strips.extend(mount.strips.into_iter().map(|strip| strip.into_iter().map(|item| small[item]).collect()));
        }
    }
    let work = Work::single(task, classes, strips);
    // Small ones may be parted in another way that suits the cartridges better.
    let fluid = (!small.is_empty()).then_some(least);
    (work, fluid)
}

/// Least bound of all choices if units could be parted at will.
fn fluid_bound(work: &Work, volume: i64, below: i64) -> i64 {
    let mut fluid = Work { volume, ..work.clone() };
    fluid.kinds.clear();
    let limits = Limits {
        strip: work.capacity,
        emptied: work.classes.iter().map(|class| class.usable).collect(),
        kept: work.classes.iter().map(|class| class.keeps.max(0)).collect(),
        strips: 0,
        batches: Vec::new(),
    };
    let (choices, left_out) = choices(&fluid, &limits, below, 1);
    choices.first().map_or(below, |choice| choice.bound).min(left_out)
}

/// A plan of the items as a list, large ones first or as they come.
fn listed(task: &Task, classes: &[Class]) -> Result<(i64, Vec<Mount>), Infeasible> {
    let mut best = Err(Infeasible::NotEnough { short: 1, certain: false });
    let label: i64 = task.items.iter().map(|item| item.length).sum();
    for large_first in [true, false] {
        let mut order: Vec<usize> = (0..task.items.len()).collect();
        order.sort_by_key(|&item| {
            let it = &task.items[item];
            (it.batch, if large_first { -task.medium.size(it) } else { 0 })
        });
        let list = Task {
            items: order.iter().map(|&item| task.items[item].clone()).collect(),
            order: Order::List { cartridges: CartridgeOrder::Free },
            ..task.clone()
        };
        let found = subset::start(&list, classes).map(|(cost, mut mounts)| {
            for item in mounts.iter_mut().flat_map(|mount| &mut mount.strips).flatten() {
                *item = order[*item];
            }
            (cost - label, mounts)
        });
        match (&found, &best) {
            (Ok(found_one), Ok::<(i64, Vec<Mount>), _>(known)) if found_one.0 >= known.0 => {}
            (Err(_), Ok(_)) => {}
            _ => best = found,
        }
    }
    best
}

#[cfg(test)]
mod tests;
