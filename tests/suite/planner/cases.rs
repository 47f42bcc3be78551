//! Stored tasks: never above the plan that others found, never below their bound.

use super::{planned, stored};
use std::path::Path;
use stored::Case;

/// The families whose name begins so.
fn cases(family: &str) -> Vec<Case> {
    stored::cases(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/cases/planning"), family)
}

/// Plans the tasks of a family; says how many were proven.
#[track_caller]
fn family(name: &str, steps: u32, largest: usize) -> (usize, usize) {
    let mut cases = cases(name);
    cases.retain(|case| case.task.items.len() <= largest);
    assert!(!cases.is_empty(), "no case of {name}");
    let mut proven = 0;
    for Case { id, task, cost, bound } in &cases {
        let plan = planned(task, steps).unwrap_or_else(|error| panic!("{id}: {error:?}"));
        assert!(plan.cost >= *bound, "{id}: found {} below the bound {bound}", plan.cost);
        assert!(plan.bound <= *cost, "{id}: found the bound {} above a plan of {cost}", plan.bound);
        assert!(plan.cost <= *cost, "{id}: found {}, wanted {cost} at most", plan.cost);
        proven += usize::from(plan.proven);
    }
    (proven, cases.len())
}

#[test]
fn lists_reach_every_stored_optimum() {
    let (proven, all) = family("ord", 1000, 1000);
    assert_eq!(proven, all);
}

#[test]
fn labels_in_any_order_are_proven() {
    for (name, largest) in [("free", 300), ("pair", 150), ("dist", 600), ("panel", 11)] {
        let (proven, all) = family(name, 300, largest);
        assert_eq!(proven, all, "{name}");
    }
}

#[test]
fn strips_without_room_to_lose_are_proven() {
    let (proven, all) = family("bench", 3000, 500);
    assert_eq!(proven, all);
}

/// No fill of its cartridges from the start finds the least plan of this one; many small changes do.
#[test]
fn loads_changed_a_little_many_times_reach_the_bound() {
    let case = cases("pair-s").into_iter().find(|case| case.id == "pair-s-800-1000").expect("a stored case");
    let plan = planned(&case.task, 3000).expect("a plan");
    assert!(plan.proven, "found {}, bound {}", plan.cost, plan.bound);
}

#[test]
fn batches_are_proven() {
    let (proven, all) = family("batch", 30_000, 600);
    assert_eq!(proven, all);
}

#[test]
fn no_bound_is_above_a_plan_of_others() {
    for Case { id, task, cost, bound } in cases("") {
        if task.items.len() > 600 {
            continue;
        }
        let plan = planned(&task, 3).unwrap_or_else(|error| panic!("{id}: {error:?}"));
        assert!(plan.bound <= cost, "{id}: found the bound {} above a plan of {cost}", plan.bound);
        assert!(plan.cost >= bound, "{id}: found {} below the bound {bound}", plan.cost);
    }
}
