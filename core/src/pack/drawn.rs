//! Small tasks drawn from a seed, whose best plan a search of all plans finds: what bounds are held against.

use super::class::Class;
use super::exact;
use super::kinds::Work;
use super::sums::mixed;
use super::{Cartridge, Item, Medium, NEVER, Order, Task};

/// What a small task is like.
#[derive(Clone, Copy)]
pub(super) struct Small {
    pub(super) batches: u32,
    /// Strips may be padded.
    pub(super) padded: bool,
    /// Labels of an item.
    pub(super) most_labels: u32,
    /// A strip may have few labels only.
    pub(super) limited: bool,
}

/// A task, its work and the cost of its best plan; `None` if it has none, or cutting is cheaper than chaining.
pub(super) fn small(seed: u32, shape: Small) -> Option<(Task, Work, i64)> {
    let task = drawn(seed, shape);
    let classes = Class::of(&task, true);
    if task.medium.extra() <= 0 || task.misfit(&classes).is_err() {
        return None;
    }
    let work = Work::chained(&task, &classes);
    let (cost, _) = exact::search(&work, NEVER, false, &mut || true)??;
    Some((task, work, cost))
}

fn drawn(seed: u32, shape: Small) -> Task {
    let number = |of: u32, from: i64, to: i64| from + i64::from(mixed(seed, of)) % (to - from + 1);
    let medium = Medium {
        lead: number(0, 1, 9),
        gap: number(1, 0, 1),
        trail: number(2, 0, 2),
        min_piece: if shape.padded { number(3, 0, 6) } else { 0 },
        max_strip: number(4, 24, 60),
        max_labels: if shape.limited { [0, 3, 4][mixed(seed, 3) as usize % 3] } else { 0 },
        load: number(5, 0, 4),
        tail: number(6, 0, 4),
        reserve: number(7, 0, 6),
        min_remnant: number(8, 0, 12),
        keep_cost: number(9, 0, 12),
    };
    // Some tasks with many units alike, some with none.
    let alike = if seed.is_multiple_of(2) { 4 } else { 10 };
    let items = (0..number(10, 3, 9) as u32).map(|at| Item {
        length: number(20 + at % alike, 3, 14),
        labels: 1 + mixed(seed, 70 + at % alike) % shape.most_labels,
        batch: Some(mixed(seed, 60 + at) % shape.batches),
    });
    let cartridges = (0..3).map(|at| Cartridge {
        length: number(40 + at, 30, 90),
        count: 1 + mixed(seed, 50 + at) % 2,
        fixed: number(55 + at, 0, 12),
        sealed: false,
        mounted: false,
    });
    let mut cartridges: Vec<Cartridge> = cartridges.collect();
    if seed.is_multiple_of(3) {
        (cartridges[0].mounted, cartridges[0].count) = (true, 1);
    }
    Task { medium, items: items.collect(), cartridges, order: Order::Free }
}
