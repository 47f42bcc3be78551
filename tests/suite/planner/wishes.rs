//! What a person expects of any planner: more to choose from never costs more, less of a gap neither;
//! a plan does not change when it is asked for again; a job goes on from the middle.

use super::{GIVEN, LIST, Seed, drawn, planned};
use tapewright::pack::{Cartridge, Infeasible, Item, Order, Plan, Task, plan};

const STEPS: u32 = 2000;

/// Both plans, if both are proven or the first cannot be.
fn both(before: &Task, after: &Task) -> Option<(Plan, Plan)> {
    let before = planned(before, STEPS).ok().filter(|plan| plan.proven)?;
    let after = planned(after, STEPS).unwrap_or_else(|error| panic!("{error:?}, though there was a plan"));
    after.proven.then_some((before, after))
}

/// Draws tasks, changes them, and compares costs; the change must have been seen often.
#[track_caller]
fn never_dearer(seed: u64, order: Order, change: impl Fn(&mut Seed, &mut Task)) {
    let mut seed = Seed(seed);
    let (mut seen, mut cheaper) = (0, 0);
    for round in 0..400 {
        let before = drawn(&mut seed, 9, order);
        let mut after = before.clone();
        change(&mut seed, &mut after);
        if let Some((old, new)) = both(&before, &after) {
            assert!(new.cost <= old.cost, "round {round}: {} after {}: {before:?} {after:?}", new.cost, old.cost);
            seen += 1;
            cheaper += u32::from(new.cost < old.cost);
        }
    }
    assert!(seen > 150 && cheaper > 0, "{seen} pairs compared, {cheaper} cheaper");
}

fn more(seed: &mut Seed, task: &mut Task) {
    let length = seed.between(40, 260);
    let fixed = seed.between(0, 30);
    task.cartridges.push(Cartridge { length, count: 1, fixed, sealed: false, mounted: false });
}

#[test]
fn one_more_cartridge_never_costs_more() {
    never_dearer(11, GIVEN, more);
    never_dearer(12, LIST, more);
    never_dearer(13, Order::Free, more);
}

#[test]
fn a_freer_order_never_costs_more() {
    never_dearer(14, GIVEN, |_, task| task.order = LIST);
    never_dearer(15, LIST, |_, task| task.order = Order::Free);
}

#[test]
fn a_smaller_gap_never_costs_more() {
    // The gap is part of a kept remnant's worth: without remnants, less tape is less cost.
    let smaller = |seed: &mut Seed, task: &mut Task| {
        let less = seed.between(0, task.medium.gap);
        task.medium.gap -= less;
    };
    for (seed, order) in [(16, GIVEN), (17, LIST), (18, Order::Free)] {
        never_dearer(seed, order, smaller);
    }
}

#[test]
fn the_same_task_has_the_same_plan() {
    let mut seed = Seed(19);
    for _ in 0..100 {
        let task = drawn(&mut seed, 12, Order::Free);
        assert_eq!(planned(&task, STEPS), planned(&task, STEPS));
    }
}

#[test]
fn a_search_that_is_stopped_says_so() {
    let mut seed = Seed(20);
    let mut stopped = 0;
    for _ in 0..200 {
        let mut task = drawn(&mut seed, 30, Order::Free);
        task.cartridges.iter_mut().filter(|cartridge| !cartridge.mounted).for_each(|cartridge| cartridge.count += 3);
        let (mut asked, mut refused) = (0, false);
        let found = plan(&task, &mut || {
            asked += 1;
            refused |= asked > 2;
            !refused
        });
        if let Ok(plan) = found {
            assert_eq!(plan.ran_out, refused);
            assert!(plan.bound <= plan.cost);
            stopped += u32::from(plan.ran_out);
        }
    }
    assert!(stopped > 10, "{stopped} searches were stopped");
}

#[test]
fn a_job_goes_on_from_the_cartridge_in_the_printer() {
    let mut seed = Seed(21);
    let mut seen = 0;
    for _ in 0..400 {
        let mut task = drawn(&mut seed, 9, LIST);
        task.cartridges.iter_mut().for_each(|cartridge| cartridge.mounted = false);
        let Ok(whole) = planned(&task, STEPS) else { continue };
        let [first, ..] = &whole.mounts[..] else { continue };
        let (printed, left) = (first.strips.len() / 2, first.strips.len() - first.strips.len() / 2);
        if printed == 0 || left == 0 {
            continue;
        }
        // Half of the first cartridge's strips are out; the rest is planned with what is on it.
        let done: usize = first.strips[..printed].iter().map(Vec::len).sum();
        let used: i64 = first.strips[..printed].iter().map(|strip| super::audit::piece(&task, strip)).sum();
        let mut rest = task.clone();
        rest.items.drain(..done);
        rest.cartridges[first.cartridge].count -= 1;
        let on_it = task.cartridges[first.cartridge].length - task.medium.load - used;
        rest.cartridges.push(Cartridge { length: on_it, count: 1, fixed: 0, sealed: false, mounted: true });
        let resumed = planned(&rest, STEPS).expect("the rest of a plan is a plan");
        let spent: i64 = task.items[..done].iter().map(|item| item.length).sum();
        let fixed = task.cartridges[first.cartridge].fixed;
        let all = resumed.cost + fixed + task.medium.load + used - spent;
        assert!(all <= whole.cost, "{all} in two parts, {} in one: {task:?}", whole.cost);
        seen += 1;
    }
    assert!(seen > 50, "{seen} jobs went on");
}

#[test]
fn what_is_short_is_told() {
    let mut task = drawn(&mut Seed(22), 1, GIVEN);
    task.medium.min_piece = 0;
    task.medium.max_labels = 1;
    task.items = vec![Item { length: 30, labels: 1, batch: None }; 9];
    task.cartridges = vec![Cartridge { length: 200, count: 1, fixed: 0, sealed: false, mounted: false }];
    let piece = task.medium.lead + 30 + task.medium.trail;
    let fit = (200 - task.medium.load - task.medium.reserve) / piece;
    assert!(fit < 9);
    for order in [GIVEN, LIST, Order::Free] {
        task.order = order;
        let wanted = Infeasible::NotEnough { short: (9 - fit) * piece, certain: true };
        assert_eq!(planned(&task, STEPS), Err(wanted), "{order:?}");
    }
}
