//! A plan counted again from its strips, without the planner's own terms.

use tapewright::pack::{CartridgeOrder, Order, Plan, Task, check};

/// Length of a strip: lead, labels with gaps between them, trail, and pad.
pub(super) fn piece(task: &Task, strip: &[usize]) -> i64 {
    let labels: i64 = strip.iter().map(|&item| i64::from(task.items[item].labels)).sum();
    let length: i64 = strip.iter().map(|&item| task.items[item].length).sum();
    let medium = &task.medium;
    medium.min_piece.max(medium.lead + length + (labels - 1) * medium.gap + medium.trail)
}

/// Whether these items may share a strip.
pub(super) fn allowed(task: &Task, strip: &[usize]) -> bool {
    let labels: u32 = strip.iter().map(|&item| task.items[item].labels).sum();
    let limit = task.medium.max_labels;
    piece(task, strip) <= task.medium.max_strip
        && (limit == 0 || labels <= limit || limit == 1 && strip.len() == 1)
        && strip.iter().all(|&item| task.items[item].batch == task.items[strip[0]].batch)
}

/// What is gone from a cartridge that gave this much to strips, whether it is kept, or `None` if that
/// is too much.
pub(super) fn gone(task: &Task, length: i64, load: i64, tape: i64) -> Option<(i64, bool)> {
    let medium = &task.medium;
    let left = length - load - tape;
    if left < medium.reserve {
        return None;
    }
    // Kept if it can be taken out, is long enough, and is worth its place on the shelf.
    let returned = left - medium.tail;
    let kept = returned > 0 && returned >= medium.min_remnant && returned >= medium.keep_cost;
    Some((if kept { length - returned } else { length }, kept))
}

/// A cartridge that was in the printer and had to make room for the first mount.
pub(super) struct Aside {
    pub(super) cartridge: usize,
    /// Tape it lost.
    pub(super) lost: i64,
    /// What else that costs: it must be mounted again, now (which that mount pays) or some day; and one
    /// unit that settles equal plans.
    pub(super) cost: i64,
}

/// What mounting these cartridges, in this order, does to the one in the printer.
pub(super) fn aside(task: &Task, mounts: &[usize]) -> Option<Aside> {
    let cartridge = task.cartridges.iter().position(|cartridge| cartridge.mounted && cartridge.count > 0)?;
    if mounts.is_empty() || mounts[0] == cartridge {
        return None;
    }
    let there = &task.cartridges[cartridge];
    let lost = there.length.min(task.medium.tail);
    let some_day = lost < there.length && !mounts.contains(&cartridge);
    let cost = 1 + if some_day { task.medium.load + there.fixed } else { 0 };
    Some(Aside { cartridge, lost, cost })
}

/// Counts everything again.
pub(super) fn audit(task: &Task, plan: &Plan) -> Result<(), String> {
    check(task, plan)?;
    let mut printed = vec![0; task.items.len()];
    let mut order = Vec::new();
    let (mut used, mut cost, mut strips, mut kept_count) = (0, 0, 0, 0);
    let mounts: Vec<usize> = plan.mounts.iter().map(|mount| mount.cartridge).collect();
    let aside = aside(task, &mounts);
    if let Some(aside) = &aside {
        used += aside.lost;
        cost += aside.lost + aside.cost;
    }
    for (at, mount) in plan.mounts.iter().enumerate() {
        let cartridge = &task.cartridges[mount.cartridge];
        let times = plan.mounts.iter().filter(|other| other.cartridge == mount.cartridge).count();
        if times > cartridge.count as usize {
            return Err(format!("cartridge {} is mounted {times} times", mount.cartridge));
        }
        let there = at == 0 && cartridge.mounted;
        let load = if there { 0 } else { task.medium.load };
        let mut tape = 0;
        for strip in &mount.strips {
            if !allowed(task, strip) {
                return Err(format!("the strip {strip:?} is not allowed"));
            }
            tape += piece(task, strip);
            order.extend(strip.iter().copied());
            strips += 1;
        }
        for &item in mount.strips.iter().flatten() {
            printed[item] += 1;
        }
        let lost = aside.as_ref().filter(|aside| aside.cartridge == mount.cartridge).map_or(0, |aside| aside.lost);
        let Some((gone, kept)) = gone(task, cartridge.length - lost, load, tape) else {
            return Err(format!("too much on cartridge {}", mount.cartridge));
        };
        used += gone;
        kept_count += i64::from(kept);
        cost += gone + if there { 0 } else { cartridge.fixed } + if kept { task.medium.keep_cost } else { 0 };
    }
    let labels: i64 = task.items.iter().map(|item| item.length).sum();
    let ledger = &plan.ledger;
    let listed = matches!(task.order, Order::List { .. });
    if let Order::List { cartridges: CartridgeOrder::Given } = task.order {
        let mut places: Vec<usize> = plan.mounts.iter().map(|mount| mount.cartridge).collect();
        places.retain(|&place| !task.cartridges[place].mounted);
        if !places.is_sorted() {
            return Err("cartridges out of order".to_owned());
        }
    }
    for (wrong, what) in [
        (printed.iter().any(|&times| times != 1), "an item is not printed once"),
        (listed && !order.is_sorted(), "the list is out of order"),
        (used != labels + ledger.waste(), "used tape is not labels and waste"),
        (ledger.label != labels, "labels"),
        (ledger.tape() != used, "tape"),
        (ledger.strips != strips || usize::try_from(ledger.mounts) != Ok(plan.mounts.len()), "strips or mounts"),
        (ledger.kept != kept_count, "kept cartridges"),
        (plan.cost != cost - labels, "cost"),
        (plan.bound > plan.cost, "bound above cost"),
        (plan.proven != (plan.bound == plan.cost), "proven"),
    ] {
        if wrong {
            return Err(format!("the audit found wrong: {what}"));
        }
    }
    Ok(())
}
