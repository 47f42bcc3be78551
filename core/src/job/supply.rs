//! The labels on one stock and the cartridges they go on.

use super::blocks::Labels;
use super::{Job, StockPlan};
use crate::shelf::{self, Aside, Demand, Freer, Offer, Offers, Order, Shelved, Source, Use, offers};
use crate::strip;
use crate::unit::Dots;

/// The cartridges of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Cartridges {
    /// One for each mount.
    pub uses: Vec<Use>,
    /// What is taken out of the printer unused.
    pub aside: Option<Aside>,
    /// They come from a shelf; else they are full ones, as many as it needs.
    pub on_shelf: bool,
    /// No plan is better by more than this, changes and part-used cartridges counted as tape.
    pub within: Dots,
    /// The time ran out before the plan was proven the best.
    pub ran_out: bool,
    /// Tape of the strips that the cartridges at hand had no room for.
    pub short: Dots,
    /// Labels from the first on that the cartridges at hand hold as they are, whole cables, where some must be
    /// bought for all. 0 where labels have no number: in other orders, and where some stay together.
    pub held: usize,
    /// The labels in list order, for plans that are tried besides.
    list: Labels,
    offers: Offers,
}

impl PartialEq for Labels {
    fn eq(&self, other: &Self) -> bool {
        (&self.slots, &self.lengths, &self.joined) == (&other.slots, &other.lengths, &other.joined)
    }
}

impl Cartridges {
    /// Cartridges to be put in by hand.
    pub fn swaps(&self) -> usize {
        self.uses.iter().filter(|one| !one.mounted).count()
    }

    /// Cartridges to be bought.
    pub fn to_buy(&self) -> usize {
        self.uses.iter().filter(|one| one.source == Source::Buy).count()
    }
}

impl Job {
    /// Whether a cartridge of this stock is in the printer.
    pub(super) fn is_mounted(&self, stock: usize) -> bool {
        let mounted = self.shelf.as_ref().and_then(|shelf| shelf.mounted(&self.printer.id));
        mounted.is_some_and(|one| one.stock == self.stocks[stock].id)
    }

    /// Labels on strips, strips on cartridges.
    pub(super) fn supply(
        &self,
        stock: usize,
        mut labels: Labels,
        taken_out: bool,
        go_on: &mut dyn FnMut() -> bool,
    ) -> StockPlan {
        let rules = &self.rules[stock];
        let media = &self.stocks[stock];
        let mut before = 0;
        let number = |label: &Option<(Option<String>, usize)>| {
            let (of, number) = label.as_ref()?;
            of.as_ref().is_none_or(|of| *of == media.id).then_some(*number)
        };
        if let Some(last) = number(&self.policy.to_label) {
            labels.keep(|label| label < last);
        }
        if let Some(first) = number(&self.policy.from_label) {
            before = (first - 1).min(labels.slots.len());
            labels.keep(|label| label >= before);
        }
        let apart = strip::plan(&rules.singly(), &labels.lengths, &labels.joined, taken_out);
        let singly = apart.ledger.tape();
        let on_shelf = self.shelf.as_ref().and_then(|shelf| offers(shelf, &self.printer, media, rules.cartridge));
        if labels.slots.is_empty() || (on_shelf.is_none() && self.policy.is_plain()) {
            let strips = strip::plan(rules, &labels.lengths, &labels.joined, taken_out);
            let Labels { slots, lengths, .. } = labels;
            return StockPlan { stock, slots, lengths, strips, singly, before, cartridges: None };
        }
        let offers = Offers {
            taken_out: on_shelf.is_some() || taken_out,
            price: media.price,
            list: on_shelf.clone().unwrap_or_else(|| {
                // What any two in a row hold between them is more than one gives, even label by label.
                let enough = 2 * singly.0 / rules.usable().0.max(1) + 2;
                vec![Offer {
                    id: String::new(),
                    length: rules.cartridge,
                    error: Dots::ZERO,
                    count: u32::try_from(enough).unwrap_or(u32::MAX),
                    source: Source::Sealed,
                    mounted: false,
                    price: media.price,
                }]
            }),
        };
        let shelved = self.shelved(stock, &labels, &offers, self.policy.order, go_on);
        let held = if shelved.to_buy() > 0 { self.held(stock, &labels, &offers, go_on) } else { 0 };
        let (slots, lengths) = labels.ordered(&shelved.labels);
        let cartridges = Cartridges {
            uses: shelved.uses,
            aside: shelved.aside,
            on_shelf: on_shelf.is_some(),
            within: shelved.within,
            ran_out: shelved.ran_out,
            short: shelved.short,
            held,
            list: labels,
            offers,
        };
        StockPlan { stock, slots, lengths, strips: shelved.strips, singly, before, cartridges: Some(cartridges) }
    }

    /// Labels from the first on that these cartridges hold without any being bought.
    fn held(&self, stock: usize, labels: &Labels, offers: &Offers, go_on: &mut dyn FnMut() -> bool) -> usize {
        if self.policy.order != Order::List || self.policy.together.is_some() {
            return 0;
        }
        let there: i64 = offers.list.iter().map(|offer| offer.length.0 * i64::from(offer.count)).sum();
        let mut tape = 0;
        let whole = |label: &usize| !labels.joined[*label];
        let within = |label: &usize| {
            tape += labels.lengths[*label].0;
            tape <= there
        };
        let ends: Vec<usize> =
            (0..labels.slots.len()).take_while(within).filter(whole).map(|label| label + 1).collect();
        let holds = |&end: &usize| {
            let mut some = labels.clone();
            some.keep(|label| label < end);
            self.shelved(stock, &some, offers, Order::List, go_on).to_buy() == 0
        };
        let count = ends.partition_point(holds);
        count.checked_sub(1).map_or(0, |last| ends[last])
    }

    fn shelved(
        &self,
        stock: usize,
        labels: &Labels,
        offers: &Offers,
        order: Order,
        go_on: &mut dyn FnMut() -> bool,
    ) -> Shelved {
        let rules = &self.rules[stock];
        let blocks = self.blocks(rules, labels, order);
        let demand = Demand { order, ..Demand::new(rules, &labels.lengths, &blocks, &self.policy, self.printer.along) };
        // Every block fits a strip, and every strip a full cartridge: those that do not are problems.
        shelf::plan(&demand, offers, go_on)
            .unwrap_or_else(|misfit| panic!("the planner refuses labels that fit: {misfit:?}"))
    }

    /// What freer orders would save on a stock. The planner asks `go_on` as in [`Job::plan_within`],
    /// which is told how much of the work is done.
    pub fn freer(&self, plan: &StockPlan, go_on: &mut dyn FnMut() -> bool) -> Vec<Freer> {
        let Some(now) = &plan.cartridges else { return Vec::new() };
        let mut freer = Vec::new();
        for &order in self.policy.order.freer() {
            let other = self.shelved(plan.stock, &now.list, &now.offers, order, go_on);
            // Blocks that a freer order would gather may be too large for any strip: it could not print them.
            if other.labels.len() != now.list.slots.len() {
                continue;
            }
            let count = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
            freer.push(Freer {
                order,
                tape: plan.strips.ledger.tape() - other.strips.ledger.tape(),
                swaps: count(now.swaps()) - other.swaps(),
                buy: count(now.to_buy()) - other.to_buy(),
                proven: other.within == Dots::ZERO,
            });
        }
        freer
    }
}

impl StockPlan {
    /// Whether both are of one stock.
    pub const fn same_stock(&self, other: &Self) -> bool {
        self.stock == other.stock
    }

    /// The part of the plan that one cartridge prints, as a plan of its own: its labels and strips. The
    /// ledger stays that of the whole.
    pub fn of_mount(&self, mount: usize) -> Self {
        let strips = self.strips.mounts[mount].strips.clone();
        let from = self.strips.strips[strips.start].start;
        let to = self.strips.strips[strips.end - 1].end;
        let shifted = self.strips.strips[strips.clone()].iter().map(|labels| labels.start - from..labels.end - from);
        Self {
            stock: self.stock,
            slots: self.slots[from..to].to_vec(),
            lengths: self.lengths[from..to].to_vec(),
            strips: strip::Plan {
                strips: shifted.collect(),
                mounts: vec![strip::Mount { strips: 0..strips.len(), ..self.strips.mounts[mount].clone() }],
                ..self.strips.clone()
            },
            singly: self.singly,
            before: self.before + from,
            cartridges: None,
        }
    }
}
