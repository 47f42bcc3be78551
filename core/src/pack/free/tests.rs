//! Bounds held against plans that are known: a choice's bound is never above the cost of a plan with
//! this choice, and the choice of every plan is listed. The tasks are too large for the search of all
//! plans, so the bounds must speak for themselves.

use super::{Best, NEVER, Open};
use crate::pack::choice::{Choice, Limits, choices};
use crate::pack::class::Class;
use crate::pack::kinds::Work;
use crate::pack::sums::mixed;
use crate::pack::{Cartridge, Infeasible, Item, Medium, Mount, Order, Task, ledger, plan};

/// Numbers from a seed.
struct Draw(u32, u32);

impl Draw {
    fn below(&mut self, limit: i64) -> i64 {
        self.1 += 1;
        i64::from(mixed(self.0, self.1)) % limit
    }
}

fn medium(lead: i64, min_piece: i64, max_strip: i64, min_remnant: i64) -> Medium {
    Medium {
        lead,
        gap: 0,
        trail: 0,
        min_piece,
        max_strip,
        max_labels: 0,
        load: 0,
        tail: 0,
        reserve: 0,
        min_remnant,
        keep_cost: 0,
    }
}

const fn item(length: i64, batch: Option<u32>) -> Item {
    Item { length, labels: 1, batch }
}

const fn cartridge(length: i64, count: u32, fixed: i64) -> Cartridge {
    Cartridge { length, count, fixed, sealed: false, mounted: false }
}

/// Asserts that these mounts, a plan of the task, are not ruled out.
fn assert_not_ruled_out(name: &str, task: &Task, mounts: &[Mount]) {
    let cost = ledger::check_mounts(task, mounts).expect("known mounts are a plan").cost;
    let classes = Class::of(task, true);
    let work = Work::chained(task, &classes);
    let limits = Limits::new(&work);
    let none = vec![0; classes.len()];
    let mut choice = Choice { bound: i64::MIN, emptied: none.clone(), kept: none };
    for mount in mounts {
        let of = |class: &Class| class.of.iter().any(|copy| copy.0 == mount.cartridge);
        let class = classes.iter().position(of).expect("every cartridge is of a class");
        let size = |strip: &Vec<usize>| strip.iter().map(|&item| task.medium.size(&task.items[item])).sum();
        let tape: i64 = mount.strips.iter().map(|strip| work.piece(size(strip))).sum();
        let count = if tape <= classes[class].keeps { &mut choice.kept } else { &mut choice.emptied };
        count[class] += 1;
    }
    let (listed, left_out) = choices(&work, &limits, cost + 1, 20_000);
    let same = |other: &&Choice| other.emptied == choice.emptied && other.kept == choice.kept;
    match listed.iter().find(same) {
        Some(listed) => assert!(listed.bound <= cost, "{name}: {listed:?} is above {cost}"),
        None => assert!(left_out <= cost, "{name}: {choice:?} of a plan of {cost} is not listed: {task:?}"),
    }
    let fresh = || Open::new(choice.clone());
    let unknown = |cost| Best { cost, mounts: Vec::new(), loads: Vec::new() };
    let mut by_strips = fresh();
    by_strips.shape(&work, &limits, &mut unknown(cost + 1), &mut || true);
    let mut by_prices = fresh();
    by_prices.settle(&work, &limits, 0, &mut unknown(NEVER), &mut || true);
    let mut by_contents = fresh();
    by_contents.exhaust(&work, &limits, 2, &mut unknown(cost + 1), &mut || true);
    let mut by_cover = fresh();
    by_cover.fill_up(&work, &limits, 0, &mut unknown(cost + 1), &mut || false);
    for (what, bound) in [
        ("strips", by_strips.choice.bound),
        ("prices", by_prices.choice.bound),
        ("contents", by_contents.choice.bound),
        ("cover", by_cover.choice.bound),
    ] {
        assert!(bound <= cost, "{name}: the bound by {what} of {bound} is above a plan of {cost}: {task:?}");
    }
}

#[test]
fn no_plan_found_is_ruled_out() {
    let (mut seen, mut padded) = (0, 0);
    for seed in 0..1200 {
        let mut draw = Draw(seed, 0);
        let mut items = Vec::new();
        for _ in 0..=draw.below(4) {
            let (length, count, batch) = (5 + draw.below(40), 1 + draw.below(20), draw.below(2));
            let batch = (seed % 2 == 1).then_some(batch as u32);
            items.extend((0..count).map(|_| item(length, batch)));
        }
        let pad = if seed % 3 == 0 { 40 + draw.below(30) } else { 0 };
        let total: i64 = items.iter().map(|item| item.length).sum();
        let mut cartridges = vec![cartridge(100_000, 1, 500)];
        if seed % 5 > 1 {
            cartridges.push(cartridge(total / (2 + draw.below(2)) + 30, 1 + draw.below(2) as u32, 0));
        }
        let task = Task { medium: medium(2 + draw.below(10), pad, 120, 10), items, cartridges, order: Order::Free };
        let mut steps = 40;
        let found = plan(&task, &mut || {
            steps -= 1;
            steps > 0
        });
        let Ok(found) = found else { continue };
        assert_not_ruled_out(&format!("task {seed}"), &task, &found.mounts);
        seen += 1;
        padded += u32::from(found.ledger.pad > 0);
    }
    assert!(seen > 1000 && padded > 40, "{seen} plans, {padded} with padded strips");
}

#[test]
fn no_plan_that_a_task_was_made_from_is_ruled_out() {
    let mut seen = 0;
    for seed in 5000..5300 {
        let mut draw = Draw(seed, 0);
        let lengths: Vec<i64> = (0..2 + draw.below(3)).map(|_| 15 + draw.below(45)).collect();
        let (lead, pad) = (1 + draw.below(12), if seed % 4 == 0 { 40 } else { 0 });
        let medium = medium(lead, pad, 120, 100_000);
        let (mut items, mut cartridges, mut mounts) = (Vec::new(), Vec::new(), Vec::new());
        for index in 0..2 + draw.below(3) {
            let (mut tape, mut strips) = (0, Vec::new());
            for _ in 0..2 + draw.below(3) {
                let (mut size, mut strip) = (0, Vec::new());
                for _ in 0..5 {
                    let length = lengths[draw.below(lengths.len() as i64) as usize];
                    if lead + size + length <= 120 {
                        size += length;
                        strip.push(items.len());
                        items.push(item(length, None));
                    }
                }
                tape += medium.piece(size);
                strips.push(strip);
            }
            cartridges.push(cartridge(tape + draw.below(3), 1, 0));
            mounts.push(Mount { cartridge: index as usize, strips });
        }
        let longest = cartridges.iter().map(|cartridge| cartridge.length).max().unwrap_or(0);
        cartridges.extend((0..3).map(|_| cartridge(longest - draw.below(10), 1, 300)));
        let task = Task { medium, items, cartridges, order: Order::Free };
        assert_not_ruled_out(&format!("task {seed}"), &task, &mounts);
        seen += 1;
    }
    assert_eq!(seen, 300);
}

#[test]
fn many_short_strips_may_hold_more_than_few_full_ones() {
    // A strip holds 50 or 26, and 179 of tape 3 strips of 50, or 6 of 26, which is 6 more.
    let strips = |counts: &[(i64, usize)]| -> Vec<i64> {
        counts.iter().flat_map(|&(length, count)| std::iter::repeat_n(length, count)).collect()
    };
    let loads = [strips(&[(26, 6)]), strips(&[(50, 3)]), strips(&[(26, 1), (50, 1)])];
    let mut items = Vec::new();
    let mounts = loads.iter().enumerate().map(|(cartridge, load)| {
        let strips = load.iter().map(|&length| {
            items.push(item(length, None));
            vec![items.len() - 1]
        });
        Mount { cartridge, strips: strips.collect() }
    });
    let mounts: Vec<Mount> = mounts.collect();
    let cartridges = vec![cartridge(179, 1, 0), cartridge(153, 1, 0), cartridge(78, 1, 0), cartridge(179, 1, 1000)];
    let task = Task { medium: medium(1, 0, 52, 100_000), items, cartridges, order: Order::Free };
    assert_not_ruled_out("many short strips", &task, &mounts);
    let known = ledger::check_mounts(&task, &mounts).expect("known mounts are a plan").cost;
    assert_eq!(known, 28);
    for seed in 0..20 {
        let mut task = task.clone();
        for at in (1..task.items.len()).rev() {
            task.items.swap(at, mixed(seed, at as u32) as usize % (at + 1));
        }
        let mut steps = 200;
        let found = plan(&task, &mut || {
            steps -= 1;
            steps > 0
        });
        let found = found.expect("there is a plan");
        assert!(found.bound <= known && found.cost >= known, "{} to {}", found.bound, found.cost);
    }
}

#[test]
fn strips_of_several_kinds_keep_to_the_labels_allowed() {
    // A strip of 21 to 23 holds one item of 13 or two of 8, or one of each, which has 5 labels where 4
    // are allowed, though no kind alone has as many.
    let mut mixed_kinds = 0;
    for seed in 0..60 {
        let mut draw = Draw(seed, 0);
        let mut items = Vec::new();
        for _ in 0..15 + draw.below(25) {
            let (length, labels) = if draw.below(2) == 0 { (13, 3) } else { (8, 2) };
            items.push(Item { length, labels, batch: None });
        }
        let medium = Medium { max_labels: 4, ..medium(1 + draw.below(4), 0, 26, 10) };
        let cartridges = vec![cartridge(60 + draw.below(100), 3, 0), cartridge(2000, 1, 50)];
        let task = Task { medium, items, cartridges, order: Order::Free };
        let work = Work::chained(&task, &Class::of(&task, true));
        let alone = |size: i64, labels: i64| work.capacity / size * labels <= 4;
        if alone(13, 3) && alone(8, 2) && work.capacity >= 21 {
            assert!(work.labels_bind(), "task {seed}: strips would be made without a look at labels");
            mixed_kinds += 1;
        }
        let mut steps = 60;
        let found = plan(&task, &mut || {
            steps -= 1;
            steps > 0
        });
        // Every plan is checked before it is handed out, labels too.
        assert!(found.is_ok(), "task {seed}: {found:?}");
    }
    assert!(mixed_kinds > 10, "{mixed_kinds} tasks where only a mix has too many labels");
}

#[test]
fn small_items_may_be_cut_in_another_way_where_cutting_is_cheaper() {
    // Two items make a strip that needs no pad, 14 long; three make one of 24, which a cartridge holds.
    let medium = Medium { gap: 6, ..medium(0, 14, 60, 100_000) };
    let items = vec![item(4, None); 30];
    let cartridges = vec![cartridge(24, 10, 0), cartridge(24, 10, 1000)];
    let task = Task { medium, items, cartridges, order: Order::Free };
    let three = |at: usize| Mount { cartridge: 0, strips: vec![(3 * at..3 * at + 3).collect()] };
    let known = ledger::check_mounts(&task, &(0..10).map(three).collect::<Vec<_>>()).expect("a plan").cost;
    let classes = Class::of(&task, true);
    let (work, fluid) = super::work(&task, &classes);
    let by_strips = choices(&work, &Limits::new(&work), NEVER, 20_000).0[0].bound;
    assert!(by_strips > known, "as the strips are cut first, ten cartridges hold ten of fifteen");
    let volume = fluid.expect("strips were fixed that may be cut in another way");
    let bound = super::fluid_bound(&work, volume, NEVER);
    assert!(bound <= known, "a bound of {bound} above a plan of {known}");
}

#[test]
fn without_any_cartridge_there_is_not_enough() {
    let retracting = Medium { gap: 50, trail: 10, ..medium(10, 100, 1000, 0) };
    let sizes =
        |cartridges| Task { medium: retracting.clone(), items: vec![item(50, None)], cartridges, order: Order::Free };
    for cartridges in [vec![], vec![Cartridge { count: 0, ..cartridge(1000, 1, 0) }]] {
        let found = plan(&sizes(cartridges), &mut || true);
        assert!(matches!(found, Err(Infeasible::NotEnough { certain: true, .. })), "{found:?}");
    }
}

#[test]
fn a_pile_without_end_is_a_pile_of_as_many_as_there_are_items() {
    let items = (0..30).map(|at| item(20 + at % 3, None)).collect();
    let task = |count| Task {
        medium: medium(5, 0, 120, 10),
        items: Vec::clone(&items),
        cartridges: vec![cartridge(90, count, 3), cartridge(150, count, 4)],
        order: Order::Free,
    };
    let endless = plan(&task(u32::MAX), &mut || true).expect("enough");
    assert_eq!(endless.cost, plan(&task(30), &mut || true).expect("enough").cost);
}
