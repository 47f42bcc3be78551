//! Labels on strips, strips on the cartridges at hand: a job's lengths handed to the planner, and its
//! answer made into strips, dot for dot.

use super::{Cartridge, Left, Order, Policy, Shelf};
use crate::media::{Printer, Stock};
use crate::pack;
use crate::strip::{Between, Ledger, Mount, Rules, Strip, take_out};
use crate::unit::Dots;

/// Where a cartridge comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// An open one on the shelf.
    Open,
    /// A sealed one on the shelf, or where no shelf is kept.
    Sealed,
    /// One that must be bought.
    Buy,
}

/// Cartridges that can be had, all alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Id on the shelf; empty where no shelf is kept, and for those that must be bought.
    pub id: String,
    /// Tape that is there for sure.
    pub length: Dots,
    /// How far the length is uncertain; already taken off.
    pub error: Dots,
    /// How many.
    pub count: u32,
    /// Where they come from.
    pub source: Source,
    /// It is in the printer already: no load, no change.
    pub mounted: bool,
    /// Price of a full one.
    pub price: Option<f64>,
}

/// The cartridges of one stock.
#[derive(Clone, Debug, PartialEq)]
pub struct Offers {
    /// In the order of the shelf.
    pub list: Vec<Offer>,
    /// Price of one that must be bought.
    pub price: Option<f64>,
    /// The last cartridge leaves the printer, too; else what is left on it is not counted.
    pub taken_out: bool,
}

/// What a shelf has of a stock for a printer; `None` where it does not name the stock. `full` is the
/// tape of a full cartridge.
pub fn offers(shelf: &Shelf, printer: &Printer, stock: &Stock, full: Dots) -> Option<Vec<Offer>> {
    if !shelf.names(&stock.id) {
        return None;
    }
    let along = printer.along;
    let here =
        |one: &&Cartridge| one.stock == stock.id && one.printer.as_ref().is_none_or(|other| *other == printer.id);
    let offers = shelf.cartridges().iter().filter(here).filter_map(|one| {
        let (length, error, count, source) = match one.left {
            Left::Open { error, .. } => {
                (along.dots_within(one.sure(stock.length)), along.dots_covering(error), 1, Source::Open)
            }
            Left::Sealed(0) => return None,
            Left::Sealed(count) => (full, Dots::ZERO, count, Source::Sealed),
        };
        let price = one.price.or(stock.price);
        Some(Offer { id: one.id.clone(), length, error, count, source, mounted: one.printer.is_some(), price })
    });
    Some(offers.collect())
}

/// Labels that stay together on a strip, in this order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// Their places in the list.
    pub labels: Vec<usize>,
    /// Batches do not mix on a strip where this differs.
    pub batch: Option<u32>,
}

/// What is to be printed on one stock.
#[derive(Clone, Copy, Debug)]
pub struct Demand<'d> {
    /// The printer with the stock.
    pub rules: &'d Rules,
    /// Length of each label.
    pub lengths: &'d [Dots],
    /// What stays together; every label is in one block.
    pub blocks: &'d [Block],
    /// In which order they may come out.
    pub order: Order,
    /// Cartridges are mounted in the order of the shelf.
    pub given: bool,
    /// A change of cartridges, in tape.
    pub swap: Dots,
    /// A part-used cartridge more, in tape.
    pub keep: Dots,
}

impl<'d> Demand<'d> {
    /// A demand as a policy asks for it.
    pub fn new(
        rules: &'d Rules,
        lengths: &'d [Dots],
        blocks: &'d [Block],
        policy: &Policy,
        along: crate::unit::Dpi,
    ) -> Self {
        let dots = |length| along.dots_nearest(length);
        Self {
            rules,
            lengths,
            blocks,
            order: policy.order,
            given: policy.given,
            swap: dots(policy.swap),
            keep: dots(policy.keep),
        }
    }
}

/// A cartridge as a plan uses it: `length = load + strips + tail + scrap + left`.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// Id on the shelf, as in [`Offer`].
    pub id: String,
    /// Where it comes from.
    pub source: Source,
    /// It is in the printer already.
    pub mounted: bool,
    /// Tape on it for sure, before.
    pub length: Dots,
    /// How far that was uncertain; already taken off.
    pub error: Dots,
    /// Fed at mounting.
    pub load: Dots,
    /// Fed by strips.
    pub strips: Dots,
    /// Fed out at the end, and before if it was in the printer and made room for others first.
    pub tail: Dots,
    /// Too short to keep.
    pub scrap: Dots,
    /// Goes back to the shelf.
    pub left: Dots,
    /// Price of a full one.
    pub price: Option<f64>,
}

/// The cartridge in the printer, where it makes room for others and is not used.
#[derive(Clone, Debug, PartialEq)]
pub struct Aside {
    /// Id on the shelf.
    pub id: String,
    /// Fed out when it is taken out.
    pub tail: Dots,
    /// Goes back to the shelf.
    pub left: Dots,
    /// Price of a full one.
    pub price: Option<f64>,
}

/// What a freer order would save.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Freer {
    /// The order.
    pub order: Order,
    /// Tape saved; negative where more is used, which may spare a change.
    pub tape: Dots,
    /// Changes of cartridge saved.
    pub swaps: i64,
    /// Cartridges that need not be bought.
    pub buy: i64,
    /// Whether its plan is the best there is.
    pub proven: bool,
}

/// Labels on strips on cartridges.
#[derive(Clone, Debug, PartialEq)]
pub struct Shelved {
    /// Places in the list of the labels, in the order they come out.
    pub labels: Vec<usize>,
    /// Labels of each strip, of those; cartridges; the ledger.
    pub strips: crate::strip::Plan,
    /// The cartridge of each mount.
    pub uses: Vec<Use>,
    /// What is taken out of the printer unused; its tail is in the ledger.
    pub aside: Option<Aside>,
    /// No plan is better by more than this, changes and part-used cartridges counted as tape.
    pub within: Dots,
    /// The time ran out: a better plan may be found with more.
    pub ran_out: bool,
    /// Tape of the strips that the cartridges at hand had no room for.
    pub short: Dots,
}

impl Shelved {
    /// Cartridges to be put in by hand.
    pub fn swaps(&self) -> i64 {
        self.uses.iter().map(|one| i64::from(!one.mounted)).sum()
    }

    /// Cartridges to be bought.
    pub fn to_buy(&self) -> i64 {
        self.uses.iter().map(|one| i64::from(one.source == Source::Buy)).sum()
    }
}

/// Why there is no plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misfit {
    /// This block fits no strip.
    Block(usize),
    /// Even with cartridges bought none was found.
    Nothing,
}

/// Turns in which cartridges are bought: each adds what was short, so one or two are enough.
const TURNS: u32 = 16;

/// A pad that a label may get for its place on the strip: the planner sees lengths without places, so
/// it plans with the largest pads, and its bound is taken with the least.
#[derive(Clone, Copy)]
enum Pads {
    Most,
    Least,
}

/// Puts labels on strips and strips on cartridges with the least tape, changes and part-used
/// cartridges counted as tape. Cartridges are bought only where those there are do not do.
///
/// What is in the printer is used first, unless that costs more than to take it out: the tape that
/// feeds out, and a change and a load when it is put in again.
///
/// `go_on` is asked from time to time; once it says no, the best plan so far is the answer. Without
/// that the answer is the same on any machine.
///
/// # Errors
/// A block that fits no strip; cartridges too small for anything.
///
/// # Panics
/// If the planner breaks its own rules.
pub fn plan(demand: &Demand<'_>, offers: &Offers, go_on: &mut dyn FnMut() -> bool) -> Result<Shelved, Misfit> {
    let mut offers = offers.clone();
    let mut lacking = Dots::ZERO;
    for _ in 0..TURNS {
        match pack::plan(&task(demand, &offers.list, Pads::Most), go_on) {
            Ok(plan) => {
                let mut found = shelved(demand, &offers, &plan, go_on);
                if found.to_buy() > 0 {
                    let bought = found.uses.iter().filter(|one| one.source == Source::Buy);
                    let bought: Dots = bought.map(|one| one.strips).sum();
                    // A label too long for what is there lacks a cartridge, whatever tape there is.
                    found.short = if lacking > Dots::ZERO { lacking.min(bought) } else { bought };
                }
                return Ok(found);
            }
            // It may fit a full cartridge where none is on the shelf.
            Err(pack::Infeasible::ItemTooLong { .. }) if !buys(&offers) => buy(demand.rules, &mut offers, 1),
            Err(pack::Infeasible::ItemTooLong { item, .. } | pack::Infeasible::TooManyLabels { item, .. }) => {
                return Err(Misfit::Block(item));
            }
            Err(pack::Infeasible::NotEnough { short, .. }) => {
                if !buys(&offers) {
                    lacking = Dots(short);
                }
                let each = demand.rules.usable().0.max(1);
                buy(demand.rules, &mut offers, u32::try_from((short + each - 1) / each).unwrap_or(u32::MAX).max(1));
            }
        }
    }
    Err(Misfit::Nothing)
}

fn buys(offers: &Offers) -> bool {
    offers.list.iter().any(|offer| offer.source == Source::Buy)
}

/// Adds cartridges to buy.
fn buy(rules: &Rules, offers: &mut Offers, count: u32) {
    match offers.list.iter_mut().find(|offer| offer.source == Source::Buy) {
        // Twice as many each time: what was short does not say how well it can be filled.
        Some(offer) => offer.count = offer.count.saturating_add(count.max(offer.count)),
        None => offers.list.push(Offer {
            id: String::new(),
            length: rules.cartridge,
            error: Dots::ZERO,
            count,
            source: Source::Buy,
            mounted: false,
            price: offers.price,
        }),
    }
}

/// The planner's task.
fn task(demand: &Demand<'_>, offers: &[Offer], pads: Pads) -> pack::Task {
    let rules = demand.rules;
    let cartridges = if demand.given { pack::CartridgeOrder::Given } else { pack::CartridgeOrder::Free };
    let length = |label: usize| {
        let (least, most) = rules.pads(demand.lengths[label]);
        (demand.lengths[label] + if matches!(pads, Pads::Most) { most } else { least }).0
    };
    pack::Task {
        medium: pack::Medium {
            lead: rules.lead.0,
            gap: rules.gap.0,
            trail: rules.trail.0,
            // Between full cuts every label has the least piece for itself.
            min_piece: if rules.between == Between::Full { 0 } else { rules.min_piece.0 },
            max_strip: rules.max_strip.0,
            max_labels: rules.max_labels,
            load: rules.load.0,
            tail: rules.tail.0,
            reserve: rules.reserve.0,
            min_remnant: rules.min_remnant.0,
            keep_cost: demand.keep.0,
        },
        items: demand
            .blocks
            .iter()
            .map(|block| pack::Item {
                length: block.labels.iter().map(|&label| length(label)).sum(),
                labels: u32::try_from(block.labels.len()).unwrap_or(u32::MAX),
                batch: block.batch,
            })
            .collect(),
        cartridges: offers
            .iter()
            .map(|offer| pack::Cartridge {
                length: offer.length.0,
                count: offer.count,
                fixed: fixed(demand, offer.source),
                sealed: offer.source != Source::Open,
                mounted: offer.mounted,
            })
            .collect(),
        order: if demand.order == Order::List { pack::Order::List { cartridges } } else { pack::Order::Free },
    }
}

/// What mounting this cartridge is worth in tape: a change; a seal broken counts as a part-used
/// cartridge more; one to buy is the last resort.
fn fixed(demand: &Demand<'_>, source: Source) -> i64 {
    demand.swap.0
        + match source {
            Source::Open => 0,
            Source::Sealed => demand.keep.0,
            Source::Buy => demand.keep.0 + demand.rules.cartridge.0,
        }
}

/// The planner's answer as strips: every figure is measured on the strips themselves.
fn shelved(demand: &Demand<'_>, offers: &Offers, plan: &pack::Plan, go_on: &mut dyn FnMut() -> bool) -> Shelved {
    let rules = demand.rules;
    let mut labels = Vec::with_capacity(demand.lengths.len());
    let (mut strips, mut mounts, mut uses) = (Vec::new(), Vec::new(), Vec::new());
    let (mut ledger, mut cuts) = (Ledger::default(), 0);
    let mut cost = 0;
    // What is not worth keeping is thrown away like what is too short.
    let kept = Rules { min_remnant: rules.min_remnant.max(demand.keep), ..*rules };
    let mut in_order: Vec<&pack::Mount> = plan.mounts.iter().collect();
    // Where labels may come in any order, cartridges may as well: then as they stand on the shelf.
    if demand.order != Order::List && demand.given {
        in_order.sort_by_key(|mount| (!offers.list[mount.cartridge].mounted, mount.cartridge));
    }
    let there = offers.list.iter().position(|offer| offer.mounted);
    let there = there.filter(|&there| in_order.first().is_some_and(|mount| mount.cartridge != there));
    let lost = |there: usize| rules.tail.min(offers.list[there].length);
    for mount in in_order {
        let offer = &offers.list[mount.cartridge];
        let first = strips.len();
        let mut fed = Dots::ZERO;
        for items in &mount.strips {
            let mut items = items.clone();
            items.sort_unstable();
            let from = labels.len();
            labels.extend(items.iter().flat_map(|&item| demand.blocks[item].labels.iter().copied()));
            let lengths: Vec<Dots> = labels[from..].iter().map(|&label| demand.lengths[label]).collect();
            let strip = Strip::new(rules, &lengths);
            fed += strip.length;
            cuts += strip.cuts.len() as u64;
            ledger.add(&strip.ledger);
            strips.push(from..labels.len());
        }
        // One that is in the printer is the first, or has to be mounted again.
        let mounted = offer.mounted && uses.is_empty();
        let load = if mounted { Dots::ZERO } else { rules.load };
        let again = if there == Some(mount.cartridge) { lost(mount.cartridge) } else { Dots::ZERO };
        let before = offer.length - again - load - fed;
        assert!(before >= rules.reserve, "the planner left {before} on a cartridge, wanted {}", rules.reserve);
        let mut out = Ledger::default();
        let left = take_out(&kept, before, &mut out);
        cost += if mounted { 0 } else { fixed(demand, offer.source) };
        cost += if left > Dots::ZERO { demand.keep.0 } else { 0 };
        ledger.load += load;
        ledger.tail += again;
        ledger.add(&out);
        mounts.push(Mount { strips: first..strips.len(), returned: left });
        uses.push(Use {
            id: offer.id.clone(),
            source: offer.source,
            mounted,
            length: offer.length,
            error: offer.error,
            load,
            strips: fed,
            tail: again + out.tail,
            scrap: out.scrap,
            left,
            price: offer.price,
        });
    }
    let unused = there.filter(|&there| plan.mounts.iter().all(|mount| mount.cartridge != there));
    let aside = unused.map(|there| {
        let Offer { id, length, price, .. } = &offers.list[there];
        Aside { id: id.clone(), tail: lost(there), left: *length - lost(there), price: *price }
    });
    ledger.tail += aside.as_ref().map_or(Dots::ZERO, |aside| aside.tail);
    let cost = cost + ledger.waste().0 + plan.ledger.aside;
    let (bound, ran_out) = bound(demand, offers, plan, go_on);
    let within = Dots((cost - bound).max(0));
    if let (false, Some(one), Some(mount)) = (offers.taken_out, uses.last_mut(), mounts.last_mut()) {
        ledger.tail -= one.tail;
        ledger.scrap -= one.scrap;
        one.left += one.tail + one.scrap;
        (one.tail, one.scrap) = (Dots::ZERO, Dots::ZERO);
        mount.returned = one.left;
    }
    let bound = Dots((ledger.tape() - within).0.max(0));
    Shelved {
        labels,
        strips: crate::strip::Plan { strips, mounts, ledger, cuts, bound },
        uses,
        aside,
        within,
        ran_out,
        short: Dots::ZERO,
    }
}

/// What no plan costs less than, and whether the time ran out. Where pads depend on a label's place,
/// the planner's own bound holds for the largest pads only: a second task takes the least.
fn bound(demand: &Demand<'_>, offers: &Offers, plan: &pack::Plan, go_on: &mut dyn FnMut() -> bool) -> (i64, bool) {
    let depends = |&length: &Dots| {
        let (least, most) = demand.rules.pads(length);
        least != most
    };
    // The planner's waste leaves out the pads it was told were label.
    let pads: i64 = demand.lengths.iter().map(|&length| demand.rules.pads(length).0.0).sum();
    if !demand.lengths.iter().any(depends) {
        return (plan.bound + pads, plan.ran_out);
    }
    match pack::plan(&task(demand, &offers.list, Pads::Least), go_on) {
        Ok(least) => (least.bound + pads, plan.ran_out || least.ran_out),
        Err(_) => (0, plan.ran_out),
    }
}

#[cfg(test)]
mod tests;
