//! Loads of a choice improved in parts: some emptied cartridges are filled again, in another manner, with
//! the kept ones. What costs no more is gone on from, so that many small changes add up.

use super::choice::Choice;
use super::kinds::{Load, Work};
use super::realise::{Left, Manner, realise, rest};
use super::sums::{Prefer, mixed};

/// Loads of a choice, the emptied cartridges first, and their cost.
pub(super) struct Drift {
    loads: Vec<Load>,
    cost: i64,
}

impl Drift {
    /// The cheapest loads that these manners make.
    pub(super) fn start(
        work: &Work,
        choice: &Choice,
        strip: i64,
        manners: &[Manner],
        go_on: &mut dyn FnMut() -> bool,
    ) -> Option<Self> {
        let manners = manners.iter().take_while(|_| go_on());
        let made = manners.filter_map(|&manner| realise(work, choice, strip, manner));
        let costs = made.filter_map(|loads| Some(Self { cost: work.cost(&loads)?, loads }));
        costs.min_by_key(|drift| drift.cost)
    }

    /// Loads made otherwise, if they are of this choice.
    pub(super) fn of(work: &Work, choice: &Choice, loads: &[Load]) -> Option<Self> {
        let mut full: Vec<Load> = Vec::new();
        let mut kept: Vec<Load> = Vec::new();
        for class in 0..work.classes.len() {
            let mut some: Vec<&Load> = loads.iter().filter(|load| load.class == class).collect();
            if some.len() as u32 != choice.emptied[class] + choice.kept[class] {
                return None;
            }
            some.sort_by_key(|load| -work.tape(&load.strips));
            let (emptied, others) = some.split_at(choice.emptied[class] as usize);
            full.extend(emptied.iter().copied().cloned());
            kept.extend(others.iter().copied().cloned());
        }
        full.extend(kept);
        Some(Self { cost: work.cost(&full)?, loads: full })
    }

    pub(super) const fn cost(&self) -> i64 {
        self.cost
    }

    /// Changes the loads, if that costs no more. Returns the new ones if they cost less.
    pub(super) fn step(&mut self, work: &Work, choice: &Choice, strip: i64, seed: u32) -> Option<&[Load]> {
        let loads = again(work, choice, &self.loads, strip, seed)?;
        let cost = work.cost(&loads).filter(|&cost| cost <= self.cost)?;
        let less = cost < self.cost;
        (self.loads, self.cost) = (loads, cost);
        less.then_some(&self.loads)
    }
}

/// The loads with the kept ones and one to three others made anew; `None` if that does not fit.
fn again(work: &Work, choice: &Choice, loads: &[Load], strip: i64, seed: u32) -> Option<Vec<Load>> {
    let full = choice.emptied.iter().sum::<u32>() as usize;
    let mut freed: Vec<usize> = Vec::new();
    for turn in 0..(1 + seed % 3).min(full as u32) {
        let at = mixed(seed, turn) as usize % full;
        if !freed.contains(&at) {
            freed.push(at);
        }
    }
    let mut counts = vec![0; work.kinds.len()];
    for load in loads.iter().enumerate().filter(|(at, _)| *at >= full || freed.contains(at)).map(|(_, load)| load) {
        for &(kind, count) in load.strips.iter().flatten() {
            counts[kind] += count;
        }
    }
    let mut left = Left::new(work, counts);
    let prefer = match seed % 4 {
        0 => Prefer::Large,
        _ => Prefer::Mixed(seed),
    };
    let manner = Manner { prefer, long_first: false, finish: (seed / 4).is_multiple_of(2), searched: 32 };
    let mut anew = loads[..full].to_vec();
    for at in freed {
        anew[at].strips = left.load(work.classes[anew[at].class].usable, strip, manner);
    }
    rest(work, &mut left, &choice.kept, strip, manner, &mut anew)?;
    Some(anew)
}
