//! Items on strips on cartridges with the least tape: the planner proper, integers only.
//!
//! All lengths are integers in one unit of the caller's choice (dots of feed, 0.1 mm). An *item* is a
//! run of labels that stays together on one strip, a *strip* is printed in one go, a *mount* is a
//! cartridge and the strips printed from it.
//!
//! What counts is measured at the cutter: the lead of a strip is the tape that stood between head and
//! cutter before it, so what one strip leaves there is not charged twice. With
//! `size = length + labels · gap` of an item and `extra = lead + trail − gap` of a strip, a strip is
//! `max(min_piece, extra + Σ size)` long. What is left on a cartridge is kept, for [`Medium::tail`]
//! and [`Medium::keep_cost`], or is scrap.
//!
//! A cartridge that is in the printer is mounted for nothing, if it comes first. A plan that begins with
//! another one takes it out: [`Medium::tail`] of it is fed out and lost, and mounting it again, now or in
//! a later job, costs [`Medium::load`] and [`Cartridge::fixed`] as ever. So leaving it unused costs all
//! three, and one unit more, which makes the plan that uses it the least of equal ones.
//!
//! # Guarantees
//! - [`plan`] is a function of the task: no clock, no randomness that is not seeded by the task. Only
//!   a caller's `go_on` that says "no" changes its answer, and [`Plan::ran_out`] tells.
//! - [`Plan::bound`] holds for every plan of the task; [`Plan::proven`] says that the plan reaches it.
//! - Every plan has passed [`check`].
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "lengths and counts are held below 2^31 by `Task::assert_sane`, so indices and lengths convert both ways"
)]

mod choice;
mod class;
mod contents;
mod cover;
#[cfg(test)]
mod drawn;
mod drift;
mod exact;
mod forest;
mod free;
mod generate;
mod groups;
mod kinds;
mod ledger;
mod open;
mod ordered;
mod price;
mod realise;
mod row;
mod simplex;
mod structure;
mod subset;
mod sums;

pub use ledger::{Ledger, check};

use class::Class;

/// More than any plan costs.
const NEVER: i64 = i64::MAX / 4;

/// A printer with a stock, and what handling cartridges costs, in the caller's unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Medium {
    /// Blank before the first label of a strip.
    pub lead: i64,
    /// Between two labels of a strip.
    pub gap: i64,
    /// Blank after the last label of a strip.
    pub trail: i64,
    /// Shortest strip; shorter ones are padded.
    pub min_piece: i64,
    /// Longest strip.
    pub max_strip: i64,
    /// Most labels on a strip; 0 for no limit. 1 makes every item a strip of its own.
    pub max_labels: u32,
    /// Fed when a cartridge is mounted.
    pub load: i64,
    /// Fed out when a cartridge is taken out to be kept.
    pub tail: i64,
    /// End of a cartridge that cannot be printed.
    pub reserve: i64,
    /// Remnants shorter than this are thrown away, and so are those worth less than keeping them costs.
    pub min_remnant: i64,
    /// Cost of one more opened cartridge on the shelf.
    pub keep_cost: i64,
}

/// Labels that stay together, in their order, on one strip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// Sum of the lengths of its labels, without gaps.
    pub length: i64,
    /// How many labels; at least 1.
    pub labels: u32,
    /// Items of different batches do not share a strip; `None` is a batch too.
    pub batch: Option<u32>,
}

/// Cartridges of one length at hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cartridge {
    /// Tape left on it.
    pub length: i64,
    /// How many there are.
    pub count: u32,
    /// What mounting it costs, as a length of tape.
    pub fixed: i64,
    /// Not opened yet. Told for the caller's sake: the cost of opening is in `fixed`.
    pub sealed: bool,
    /// In the printer already, for one cartridge at most: without load and fixed cost if it is the first
    /// mount, and taken out if another is.
    pub mounted: bool,
}

/// The order in which cartridges are mounted, for a list printed in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CartridgeOrder {
    /// As given, one in the printer first; any may be left out.
    Given,
    /// As is best.
    Free,
}

/// The order in which items are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// As listed.
    List {
        /// And the cartridges.
        cartridges: CartridgeOrder,
    },
    /// Any.
    Free,
}

/// What is to be planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    /// Printer and stock.
    pub medium: Medium,
    /// The items, in the order of the list.
    pub items: Vec<Item>,
    /// The shelf.
    pub cartridges: Vec<Cartridge>,
    /// Which orders are allowed.
    pub order: Order,
}

/// A cartridge and what is printed from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mount {
    /// Index into [`Task::cartridges`].
    pub cartridge: usize,
    /// Indices into [`Task::items`] of each strip, in the order they are printed.
    pub strips: Vec<Vec<usize>>,
}

/// Items on strips on cartridges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Cartridges in the order they are mounted.
    pub mounts: Vec<Mount>,
    /// Where the tape goes.
    pub ledger: Ledger,
    /// [`Ledger::cost`]: waste, fixed costs, costs of keeping and of what is put aside.
    pub cost: i64,
    /// No plan of the task costs less.
    pub bound: i64,
    /// The plan costs no more than the bound.
    pub proven: bool,
    /// The search was stopped by `go_on`.
    pub ran_out: bool,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Infeasible {
    /// An item is longer than any strip can be.
    ItemTooLong {
        /// Index into [`Task::items`].
        item: usize,
        /// Its length with the gaps between its labels.
        length: i64,
        /// The longest that a strip of its own can hold on the cartridges at hand.
        fits: i64,
    },
    /// An item has more labels than a strip may have.
    TooManyLabels {
        /// Index into [`Task::items`].
        item: usize,
        /// Its labels.
        labels: u32,
    },
    /// The tape at hand does not reach.
    NotEnough {
        /// Tape of the strips that were left without a cartridge, at least 1.
        short: i64,
        /// No plan exists; otherwise none was found, though the tape might do.
        certain: bool,
    },
}

impl Medium {
    /// What a strip costs beyond the sizes of its items; negative for a printer that draws tape back.
    const fn extra(&self) -> i64 {
        self.lead + self.trail - self.gap
    }

    /// Length of a strip with items of this total size.
    fn piece(&self, size: i64) -> i64 {
        self.min_piece.max(self.extra() + size)
    }

    /// Largest total size of a strip.
    const fn capacity(&self) -> i64 {
        self.max_strip - self.extra()
    }

    /// Most labels of a strip.
    const fn most_labels(&self) -> u32 {
        if self.max_labels == 0 { u32::MAX } else { self.max_labels }
    }

    /// Least left over that is kept.
    fn least_kept(&self) -> i64 {
        (self.min_remnant.max(self.keep_cost) + self.tail).max(self.tail + 1)
    }

    const fn size(&self, item: &Item) -> i64 {
        item.length + item.labels as i64 * self.gap
    }
}

/// The cartridge in the printer, for plans that begin with another one.
#[derive(Clone, Copy)]
struct Aside {
    /// Index into [`Task::cartridges`].
    cartridge: usize,
    /// Fed out when it is taken out, and lost.
    tail: i64,
    /// Cost of mounting it again in a later job, if it does not come again in this one.
    again: i64,
}

impl Aside {
    /// What such a plan costs besides: of equal plans one that begins with what is there is the least.
    const TIE: i64 = 1;

    /// What it costs to leave it unused.
    const fn cost(&self) -> i64 {
        self.tail + self.again + Self::TIE
    }
}

impl Task {
    fn aside(&self) -> Option<Aside> {
        let cartridge = self.cartridges.iter().position(|cartridge| cartridge.mounted && cartridge.count > 0)?;
        let Cartridge { length, fixed, .. } = self.cartridges[cartridge];
        let tail = self.medium.tail.min(length);
        let again = if length > tail { self.medium.load + fixed } else { 0 };
        Some(Aside { cartridge, tail, again })
    }

    /// Holds the limits that arithmetic relies on.
    fn assert_sane(&self) {
        let small = |name: &str, value: i64| {
            assert!((0..1 << 31).contains(&value), "{name} of {value}, wanted 0 to 2^31 - 1");
        };
        let medium = &self.medium;
        for (name, value) in [
            ("lead", medium.lead),
            ("gap", medium.gap),
            ("trail", medium.trail),
            ("least piece", medium.min_piece),
            ("longest strip", medium.max_strip),
            ("load", medium.load),
            ("tail", medium.tail),
            ("reserve", medium.reserve),
            ("least remnant", medium.min_remnant),
            ("cost of keeping", medium.keep_cost),
        ] {
            small(name, value);
        }
        for item in &self.items {
            assert!(item.labels > 0, "an item without labels");
            small("item length", item.length);
            small("item size", medium.size(item));
            assert!(medium.size(item) > 0, "an item of no size");
        }
        for cartridge in &self.cartridges {
            small("cartridge length", cartridge.length);
            small("fixed cost", cartridge.fixed);
        }
        let mounted: u64 = self.cartridges.iter().filter(|one| one.mounted).map(|one| u64::from(one.count)).sum();
        assert!(mounted <= 1, "{mounted} cartridges in the printer, wanted one at most");
        assert!(self.items.len() < 1 << 31, "more than 2^31 items");
    }

    /// The first item that no strip or no cartridge can hold.
    fn misfit(&self, classes: &[Class]) -> Result<(), Infeasible> {
        let medium = &self.medium;
        let longest = classes.iter().map(|class| class.usable).max().unwrap_or(0).min(medium.max_strip);
        for (item, it) in self.items.iter().enumerate() {
            if it.labels > medium.most_labels() && medium.max_labels != 1 {
                return Err(Infeasible::TooManyLabels { item, labels: it.labels });
            }
            if !classes.is_empty() && medium.piece(medium.size(it)) > longest {
                return Err(Infeasible::ItemTooLong {
                    item,
                    length: medium.size(it) - medium.gap,
                    fits: (longest - medium.lead - medium.trail).max(0),
                });
            }
        }
        Ok(())
    }
}

/// Plans a task with the least [`Plan::cost`] it can find.
///
/// - A list on cartridges in a given order: always the least cost, and `go_on` is not asked.
/// - A list on cartridges in any order: the least cost, unless `go_on` says no, or the cartridges are
///   of so many lengths that how many of each are used does not fit 128 bits. Then it is the best of
///   some orders of mounting, and proven only if it meets a bound.
/// - Items in any order: a search that ends when the plan meets the bound, when nothing it knows is
///   left to try, or when `go_on` says no. Up to some dozen items are always settled.
///
/// `go_on` is asked between steps of the search, most of some microseconds to some tens of milliseconds;
/// a step may take longer where there are very many units, batches or lengths. `false` ends the search with
/// the best plan so far.
///
/// ```
/// use tapewright::pack::{Cartridge, Item, Medium, Order, Task, plan};
///
/// let medium = Medium {
///     lead: 250, gap: 30, trail: 20, min_piece: 245, max_strip: 20_000, max_labels: 0,
///     load: 250, tail: 250, reserve: 400, min_remnant: 1500, keep_cost: 1000,
/// };
/// let cartridge = |length, count, fixed| Cartridge { length, count, fixed, sealed: count > 1, mounted: false };
/// let task = Task {
///     medium,
///     items: vec![Item { length: 600, labels: 1, batch: None }; 40],
///     cartridges: vec![cartridge(31_700, 1, 2000), cartridge(80_000, 3, 3000)],
///     order: Order::Free,
/// };
/// let plan = plan(&task, &mut || true)?;
/// assert!(plan.proven);
/// assert_eq!(plan.mounts.len(), 1);
/// assert_eq!(plan.ledger.tape(), plan.ledger.label + plan.ledger.waste());
/// # Ok::<(), tapewright::pack::Infeasible>(())
/// ```
///
/// # Errors
/// - [`Infeasible::ItemTooLong`], [`Infeasible::TooManyLabels`]: the first such item.
/// - [`Infeasible::NotEnough`]: the cartridges do not hold the items.
///
/// # Panics
/// If a length is negative or 2^31 or more, an item has no label or no size, or two cartridges are in the
/// printer.
pub fn plan(task: &Task, go_on: &mut dyn FnMut() -> bool) -> Result<Plan, Infeasible> {
    task.assert_sane();
    let regroup = task.order != Order::List { cartridges: CartridgeOrder::Given };
    let classes = Class::of(task, regroup);
    task.misfit(&classes)?;
    if task.items.is_empty() {
        return Ok(Plan {
            mounts: Vec::new(),
            ledger: Ledger::default(),
            cost: 0,
            bound: 0,
            proven: true,
            ran_out: false,
        });
    }
    match task.order {
        Order::List { cartridges: CartridgeOrder::Given } => ordered::plan(task, &classes),
        Order::List { cartridges: CartridgeOrder::Free } => subset::plan(task, &classes, go_on),
        Order::Free => free::plan(task, &classes, go_on),
    }
}

impl Plan {
    /// The plan of these mounts, checked.
    fn new(task: &Task, mounts: Vec<Mount>, bound: i64, ran_out: bool) -> Self {
        let ledger = match ledger::check_mounts(task, &mounts) {
            Ok(ledger) => ledger,
            Err(fault) => panic!("the planner made a plan that is none: {fault}"),
        };
        let cost = ledger.cost;
        assert!(bound <= cost, "a plan of {cost} below its bound of {bound}");
        Self { mounts, ledger, cost, bound, proven: bound == cost, ran_out }
    }
}
