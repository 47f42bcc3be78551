//! A list in its order on cartridges in theirs: an exact dynamic program over classes and items.
//!
//! Least tape is always best, since the cost of a cartridge never falls with the tape taken from it
//! (a remnant is kept only if that is worth its cost). So a state is the number of items printed; for
//! a class of several cartridges, with the number of them used, of which only those are kept that are
//! cheaper than all with fewer.

use super::class::{Class, Handout};
use super::row::Rows;
use super::{Infeasible, Mount, Plan, Task};

/// The cheapest way found to print the items before some place.
#[derive(Clone, Copy)]
struct State {
    cost: i64,
    /// Cartridges used of the class being planned.
    used: u32,
    /// The last run, once it is written down.
    run: u32,
    last: Run,
}

/// A run of items on a cartridge, and the run before it.
#[derive(Clone, Copy)]
struct Run {
    begin: u32,
    class: u32,
    before: u32,
}

const NONE: u32 = u32::MAX;

/// Adds a state unless one is as good; drops those that are no better than it.
fn add(states: &mut Vec<State>, state: State) {
    if states.iter().any(|other| other.cost <= state.cost && other.used <= state.used) {
        return;
    }
    states.retain(|other| other.cost < state.cost || other.used < state.used);
    states.push(state);
}

/// Writes the last run of a state down, once.
fn written(state: &mut State, runs: &mut Vec<Run>) -> u32 {
    if state.run == NONE && state.last.class != NONE {
        state.run = runs.len() as u32;
        runs.push(state.last);
    }
    state.run
}

/// The best plan.
pub(super) fn plan(task: &Task, classes: &[Class]) -> Result<Plan, Infeasible> {
    let (cost, mounts) = mounts(task, classes)?;
    let label: i64 = task.items.iter().map(|item| item.length).sum();
    Ok(Plan::new(task, mounts, cost - label, false))
}

/// The mounts of least cost with classes in this order, and their cost, labels counted.
pub(super) fn mounts(task: &Task, classes: &[Class]) -> Result<(i64, Vec<Mount>), Infeasible> {
    let rows = Rows::new(task);
    let n = rows.len();
    let mut runs: Vec<Run> = Vec::new();
    let mut states: Vec<Vec<State>> = vec![Vec::new(); n + 1];
    let start = Run { begin: 0, class: NONE, before: NONE };
    states[0].push(State { cost: 0, used: 0, run: NONE, last: start });
    for (index, class) in classes.iter().enumerate() {
        for at in &mut states {
            // Between classes only the cheapest counts.
            if let Some(&best) = at.iter().min_by_key(|state| state.cost) {
                at.clear();
                at.push(State { used: 0, ..best });
            }
        }
        // Backwards for a single cartridge, so that it is not used twice.
        let single = class.count == 1;
        let mut from = Vec::new();
        for step in 0..n {
            let begin = if single { n - 1 - step } else { step };
            from.clear();
            for state in states[begin].iter_mut().filter(|state| state.used < class.count) {
                from.push((state.cost, state.used + 1, written(state, &mut runs)));
            }
            if from.is_empty() {
                continue;
            }
            rows.each(begin, class.usable, &mut |end, tape| {
                for &(cost, used, before) in &from {
                    let last = Run { begin: begin as u32, class: index as u32, before };
                    add(&mut states[end], State { cost: cost + class.cost(tape), used, run: NONE, last });
                }
            });
        }
        // Only here nothing is printed yet: what is in the printer makes room for another one.
        states[0].iter_mut().for_each(|state| state.cost += class.idle);
    }
    let Some(last) = states[n].iter().min_by_key(|state| state.cost) else {
        let reached = states.iter().rposition(|at| !at.is_empty()).unwrap_or(0);
        return Err(Infeasible::NotEnough { short: rows.rest(reached).max(1), certain: true });
    };
    let mut mounts = Vec::new();
    let (mut run, mut end) = (last.last, n);
    while run.class != NONE {
        mounts.push((run.class as usize, rows.strips(run.begin as usize, end)));
        end = run.begin as usize;
        run = if run.before == NONE { start } else { runs[run.before as usize] };
    }
    mounts.reverse();
    let mut handout = Handout::new(classes);
    let mounts = mounts.into_iter().map(|(class, strips)| Mount { cartridge: handout.take(class), strips }).collect();
    Ok((last.cost, mounts))
}
