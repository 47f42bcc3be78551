//! Items in any order: cartridges are chosen by what a choice costs at least, the cheapest choice
//! first, until a plan costs no more than every choice not yet settled.

use super::choice::{Choice, Limits, choices};
use super::class::Class;
use super::exact;
use super::kinds::{Load, Work};
use super::open::{Best, Open, manners};
use super::realise::{Left, Manner, realise};
use super::sums::Prefer;
use super::{CartridgeOrder, Infeasible, Mount, NEVER, Order, Plan, Task, subset};

/// Choices held at a time; the bound of the others is held as one number.
const CHOICES: usize = 20_000;

pub(super) fn plan(task: &Task, classes: &[Class], go_on: &mut dyn FnMut() -> bool) -> Result<Plan, Infeasible> {
    let (mut best, short) = match listed(task, classes) {
        Ok((cost, mounts)) => (Best { cost, mounts, loads: Vec::new() }, 0),
        Err(Infeasible::NotEnough { short, .. }) if classes.is_empty() => {
            return Err(Infeasible::NotEnough { short, certain: true });
        }
        Err(Infeasible::NotEnough { short, .. }) => {
            (Best { cost: NEVER, mounts: Vec::new(), loads: Vec::new() }, short)
        }
        Err(other) => return Err(other),
    };
    let (work, fluid) = work(task, classes);
    let limits = Limits::new(&work);
    let mut ran_out = false;
    let mut go_on = || {
        ran_out = ran_out || !go_on();
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

/// Ways to round a program's solution.
const TURNS: usize = 24;
/// The first of them where there are several batches, whose programs are slow and seldom settle anything.
const LATE: usize = 6;
/// Ways to mix units between two such ways.
const MIXES: u32 = 8;
/// Turns in which the contents of cartridges are tried, with twice the effort in each.
const EXHAUSTED: usize = 11;
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
