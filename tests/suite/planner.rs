//! The planner of strips and cartridges, through its public items: against a count of our own,
//! against every plan of tiny tasks, against plans of others and published optima.

#[path = "planner/audit.rs"]
mod audit;
#[path = "planner/brute.rs"]
mod brute;
#[path = "planner/cases.rs"]
mod cases;
#[path = "planner/published.rs"]
mod published;
#[path = "planner/stored.rs"]
mod stored;
#[path = "planner/wishes.rs"]
mod wishes;

use tapewright::pack::{Cartridge, CartridgeOrder, Infeasible, Item, Medium, Order, Plan, Task, plan};

const GIVEN: Order = Order::List { cartridges: CartridgeOrder::Given };
const LIST: Order = Order::List { cartridges: CartridgeOrder::Free };

/// Plans with so many steps, and audits what comes out.
#[track_caller]
fn planned(task: &Task, steps: u32) -> Result<Plan, Infeasible> {
    let mut left = steps;
    let plan = plan(task, &mut || {
        left = left.saturating_sub(1);
        left > 0
    })?;
    if let Err(fault) = audit::audit(task, &plan) {
        panic!("{fault}: {task:?} {plan:?}");
    }
    Ok(plan)
}

/// Numbers that look like chance.
struct Seed(u64);

impl Seed {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % limit
    }

    fn between(&mut self, low: i64, high: i64) -> i64 {
        low + i64::try_from(self.below(u64::try_from(high - low + 1).unwrap())).unwrap()
    }

    fn count(&mut self, low: i64, high: i64) -> u32 {
        u32::try_from(self.between(low, high)).unwrap()
    }
}

/// A task of at most `items` items whose rules are drawn anew.
fn drawn(seed: &mut Seed, items: i64, order: Order) -> Task {
    let retracts = seed.below(4) == 0;
    let gap = if retracts { seed.between(8, 20) } else { seed.between(0, 6) };
    let (lead, trail) = if retracts { (seed.between(0, 6), 1) } else { (seed.between(2, 20), seed.between(4, 8)) };
    let grain = [1, 1, 5][usize::try_from(seed.below(3)).unwrap()];
    let kinds: Vec<(i64, u32)> =
        (0..seed.between(1, 6)).map(|_| (seed.between(2, 14) * grain, seed.count(1, 2))).collect();
    let batches = seed.below(4) == 0;
    let items = (0..seed.between(1, items))
        .map(|_| {
            let (length, labels) = kinds[usize::try_from(seed.below(kinds.len() as u64)).unwrap()];
            Item { length, labels, batch: batches.then(|| seed.count(0, 1)) }
        })
        .collect();
    let cartridges = (0..seed.between(1, 3)).map(|_| Cartridge {
        length: seed.between(40, 260),
        count: seed.count(1, 2),
        fixed: seed.between(0, 30),
        sealed: seed.below(2) == 0,
        mounted: false,
    });
    let mut cartridges: Vec<Cartridge> = cartridges.collect();
    if seed.below(3) == 0 {
        let at = usize::try_from(seed.below(cartridges.len() as u64)).unwrap();
        cartridges[at].mounted = true;
        cartridges[at].count = 1;
    }
    Task {
        medium: Medium {
            lead,
            gap,
            trail,
            min_piece: seed.between(0, 40) * i64::from(seed.below(2) == 0),
            max_strip: seed.between(70, 200),
            max_labels: [0, 0, 1, 3][usize::try_from(seed.below(4)).unwrap()],
            load: seed.between(0, 12),
            tail: seed.between(0, 8) * i64::from(seed.below(2) == 0),
            reserve: seed.between(0, 10),
            min_remnant: seed.between(0, 40),
            keep_cost: seed.between(0, 30),
        },
        items,
        cartridges,
        order,
    }
}
