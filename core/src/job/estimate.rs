//! A plan in millimetres: tape, waste, cartridges, cost and time.

use super::{Cartridges, Job, Plan, Problem, Short, StockPlan};
use crate::shelf::{Freer, Source};
use crate::strip::print_ms;
use crate::unit::{Dots, Dpi, Micrometres};
use serde::Serialize;

/// Waste by where it went, in millimetres.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the words of the waste ledger")]
pub struct WasteMm {
    pub lead: f64,
    pub gap: f64,
    pub trail: f64,
    pub pad: f64,
    pub load: f64,
    pub tail: f64,
    pub scrap: f64,
    pub total: f64,
}

/// The labels on one stock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StockEstimate {
    /// Stock id.
    pub stock: String,
    /// Labels on it.
    pub labels: usize,
    /// Strips they are printed on.
    pub strips: usize,
    /// Tape used: labels and waste.
    pub tape_mm: f64,
    /// Tape that is label.
    pub label_mm: f64,
    /// Tape that is not.
    pub waste_mm: WasteMm,
    /// The same labels, each cut on its own.
    pub singly_mm: f64,
    /// Full cartridges needed.
    pub cartridges: usize,
    /// Price of the tape used; `None` where the stock has no price.
    pub cost: Option<f64>,
    /// Printing time with cartridge changes.
    pub seconds: f64,
    /// Whether no plan in list order uses less tape.
    pub optimal: bool,
    /// No plan in the order asked for, on the cartridges there are, uses less than this; where
    /// cartridges are chosen, changes and part-used cartridges count as tape.
    pub bound_mm: f64,
    /// The cartridges, where they come from a shelf or were planned one by one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shelf: Option<ShelfEstimate>,
}

/// Which cartridge is mounted when, and what becomes of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShelfEstimate {
    /// `list`, `pairs` or `free`.
    pub order: &'static str,
    /// They are on a shelf; else full ones are taken, as many as it needs.
    pub on_shelf: bool,
    /// In the order they are mounted.
    pub cartridges: Vec<CartridgeEstimate>,
    /// What is in the printer and is taken out unused, if so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken_out: Option<TakenOutEstimate>,
    /// Cartridges put in by hand.
    pub swaps: usize,
    /// Cartridges to be bought.
    pub buy: usize,
    /// Tape of the strips that the cartridges at hand have no room for.
    pub short_mm: f64,
    /// The last label that the cartridges at hand hold as they are, counted in list order, where some must be
    /// bought for all; `null` where they hold none, and where labels have no number.
    pub holds_to_label: Option<usize>,
    /// Whether no plan is better, changes and part-used cartridges counted as tape.
    pub proven: bool,
    /// No plan is better by more than this.
    pub within_mm: f64,
    /// The time ran out: with more, a better plan may be found.
    pub ran_out: bool,
    /// What freer orders would save.
    pub freer: Vec<FreerEstimate>,
}

/// A cartridge that makes room for others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TakenOutEstimate {
    /// Id on the shelf.
    pub cartridge: String,
    /// Fed out when it is taken out; in the waste of the stock.
    pub tail_mm: f64,
    /// Goes back to the shelf.
    pub left_mm: f64,
}

/// One cartridge: `length = load + strips + tail + scrap + left`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CartridgeEstimate {
    /// Its number in the job, from 1: what `--cartridge` takes.
    pub nth: usize,
    /// Id on the shelf; nothing where it must be bought or no shelf is kept.
    pub cartridge: Option<String>,
    /// `open`, `sealed` or `buy`.
    pub from: &'static str,
    /// It is in the printer already.
    pub mounted: bool,
    /// Labels printed from it.
    pub labels: usize,
    /// The first and the last of them, by name and end.
    pub first: String,
    #[allow(missing_docs, reason = "see `first`")]
    pub last: String,
    /// Strips printed from it.
    pub strips: usize,
    /// Tape that is there for sure.
    pub length_mm: f64,
    /// How far that was uncertain; already taken off.
    pub error_mm: f64,
    /// Fed at mounting.
    pub load_mm: f64,
    /// Fed by the strips: what `readback` measures.
    pub strips_mm: f64,
    /// Fed out at the end.
    pub tail_mm: f64,
    /// Too short to keep.
    pub scrap_mm: f64,
    /// Goes back to the shelf.
    pub left_mm: f64,
}

/// What a freer order would save.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FreerEstimate {
    /// `pairs` or `free`.
    pub order: &'static str,
    /// Tape saved; negative where more is used to spare a change.
    pub saves_mm: f64,
    /// Changes of cartridge saved.
    pub saves_swaps: i64,
    /// Cartridges that need not be bought.
    pub saves_buying: i64,
    /// Whether its plan is the best there is.
    pub proven: bool,
}

/// The whole job. Serialised, this is the answer of `estimate --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Cables in the list.
    pub cables: usize,
    /// Labels that will be printed.
    pub labels: usize,
    /// Why cables get none; a cable may have several.
    pub problems: Vec<JsonProblem>,
    /// Labels that fall short of what one aims at, in groups.
    pub legibility: Vec<JsonShort>,
    /// By stock.
    pub stocks: Vec<StockEstimate>,
    /// Tape used; equals `label_mm + waste_mm` to the last digit.
    pub tape_mm: f64,
    /// Tape that is label.
    pub label_mm: f64,
    /// Tape that is not.
    pub waste_mm: f64,
    /// The same labels, each cut on its own.
    pub singly_mm: f64,
}

/// A problem as JSON has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[allow(missing_docs, reason = "the fields of a problem")]
pub struct JsonProblem {
    pub row: Option<u32>,
    pub field: Option<String>,
    pub kind: &'static str,
    pub text: String,
}

/// Labels that fall short, as JSON has them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JsonShort {
    /// Their batch; `null` where the list has none.
    pub batch: Option<String>,
    /// Id of their stock.
    pub stock: String,
    /// How many.
    pub labels: usize,
    /// Height of capitals on the finished label.
    pub cap_mm: f64,
    /// Dots that is printed in.
    pub cap_dots: i64,
    /// Distance it is good for: 20′.
    pub good_to_mm: f64,
    /// Distance at which it can just be read: 16′.
    pub readable_to_mm: f64,
    /// Distance asked for.
    pub asked_mm: f64,
    /// Dots of the thinnest straight stem.
    pub stroke_dots: usize,
    /// Width of a module of its code; `null` without a code.
    pub module_mm: Option<f64>,
    /// The same in one sentence.
    pub text: String,
}

impl From<&Short> for JsonShort {
    fn from(short: &Short) -> Self {
        let its = &short.legibility;
        Self {
            batch: Some(short.batch.clone()).filter(|batch| !batch.is_empty()),
            stock: short.stock.clone(),
            labels: short.labels,
            cap_mm: its.cap.mm(),
            cap_dots: its.cap_dots.0,
            good_to_mm: its.good_to.mm(),
            readable_to_mm: its.readable_to.mm(),
            asked_mm: its.asked.mm(),
            stroke_dots: its.stroke_dots,
            module_mm: its.module.map(Micrometres::mm),
            text: short.to_string(),
        }
    }
}

impl From<&Problem> for JsonProblem {
    fn from(problem: &Problem) -> Self {
        Self { row: problem.row, field: problem.field.clone(), kind: problem.kind, text: problem.text.clone() }
    }
}

/// Dots to whole micrometres such that sums stay sums: each figure is the difference of two
/// rounded running totals, so every run of figures is right to a micrometre and adds up exactly.
struct Running {
    dpi: Dpi,
    dots: Dots,
    micrometres: i64,
}

impl Running {
    const fn new(dpi: Dpi) -> Self {
        Self { dpi, dots: Dots::ZERO, micrometres: 0 }
    }

    fn next(&mut self, part: Dots) -> i64 {
        self.dots += part;
        let total = self.dpi.length(self.dots).0;
        let part = total - self.micrometres;
        self.micrometres = total;
        part
    }
}

/// Micrometres as the millimetres JSON shows: the nearest double, so three decimals print exactly.
#[allow(clippy::cast_precision_loss, reason = "far below 2^53 µm")]
fn mm(micrometres: i64) -> f64 {
    micrometres as f64 / 1000.0
}

#[allow(clippy::cast_precision_loss, reason = "milliseconds and dots are far below 2^53")]
fn stock_estimate(job: &Job, plan: &StockPlan, running: &mut Running, first: bool) -> (StockEstimate, [i64; 2]) {
    let ledger = plan.strips.ledger;
    let along = job.printer.along;
    let label = running.next(ledger.label);
    let parts = [ledger.lead, ledger.gap, ledger.trail, ledger.pad, ledger.load, ledger.tail, ledger.scrap];
    let parts = parts.map(|part| running.next(part));
    let waste: i64 = parts.iter().sum();
    let stock = job.stock(plan);
    let swaps = match plan.cartridges.as_ref().filter(|cartridges| cartridges.on_shelf) {
        Some(cartridges) => i64::try_from(cartridges.swaps()).unwrap_or(0),
        None => i64::try_from(plan.strips.mounts.len()).unwrap_or(0) - i64::from(first),
    };
    let ms = print_ms(&job.printer, ledger.tape(), plan.strips.cuts, along) + swaps.max(0) * job.printer.swap_ms;
    let estimate = StockEstimate {
        stock: stock.id.clone(),
        labels: plan.slots.len(),
        strips: plan.strips.strips.len(),
        tape_mm: mm(label + waste),
        label_mm: mm(label),
        waste_mm: WasteMm {
            lead: mm(parts[0]),
            gap: mm(parts[1]),
            trail: mm(parts[2]),
            pad: mm(parts[3]),
            load: mm(parts[4]),
            tail: mm(parts[5]),
            scrap: mm(parts[6]),
            total: mm(waste),
        },
        singly_mm: mm(along.length(plan.singly).0),
        cartridges: plan.strips.mounts.len(),
        cost: cost(job, plan),
        seconds: mm(ms),
        optimal: plan.strips.bound == ledger.tape(),
        bound_mm: if plan.strips.bound == ledger.tape() {
            mm(label + waste)
        } else {
            mm(along.length(plan.strips.bound).0)
        },
        shelf: None,
    };
    (estimate, [label, waste])
}

/// Price of the tape used, each cartridge's share of its own price, to the hundredth.
#[allow(clippy::cast_precision_loss, reason = "dots are far below 2^53")]
fn cost(job: &Job, plan: &StockPlan) -> Option<f64> {
    let full = job.rules(plan).cartridge.0.max(1) as f64;
    let share = |price: f64, tape: Dots| price * tape.0 as f64 / full;
    let cost = match &plan.cartridges {
        Some(cartridges) => {
            let used = cartridges.uses.iter().map(|one| (one.price, one.length - one.left));
            let lost = cartridges.aside.iter().map(|one| (one.price, one.tail));
            used.chain(lost).map(|(price, tape)| Some(share(price?, tape))).sum::<Option<f64>>()
        }
        None => job.stock(plan).price.map(|price| share(price, plan.strips.ledger.tape())),
    };
    cost.map(|cost| (cost * 100.0 + 0.5).floor() / 100.0)
}

/// The cartridges of a stock's plan; `before` mounts of the job come before them.
fn shelf_estimate(
    job: &Job,
    plan: &StockPlan,
    cartridges: &Cartridges,
    before: usize,
    freer: &[Freer],
) -> ShelfEstimate {
    let along = job.printer.along;
    let length = |dots| along.length(dots).mm();
    let name = |label: usize| {
        let slot = plan.slots[label];
        format!("{} {}", job.name(job.cable(slot)), slot.end.word())
    };
    let mounts = plan.strips.mounts.iter().zip(&cartridges.uses).enumerate();
    let all = mounts.map(|(nth, (mount, one))| {
        let strips = &plan.strips.strips[mount.strips.clone()];
        let (from, to) = (strips[0].start, strips[strips.len() - 1].end);
        let mut running = Running::new(along);
        let parts = [one.load, one.strips, one.tail, one.scrap, one.left].map(|part| mm(running.next(part)));
        CartridgeEstimate {
            nth: before + nth + 1,
            cartridge: (!one.id.is_empty()).then(|| one.id.clone()),
            from: match one.source {
                Source::Open => "open",
                Source::Sealed => "sealed",
                Source::Buy => "buy",
            },
            mounted: one.mounted,
            labels: to - from,
            first: name(from),
            last: name(to - 1),
            strips: strips.len(),
            length_mm: length(one.length),
            error_mm: length(one.error),
            load_mm: parts[0],
            strips_mm: parts[1],
            tail_mm: parts[2],
            scrap_mm: parts[3],
            left_mm: parts[4],
        }
    });
    ShelfEstimate {
        order: job.policy.order.word(),
        on_shelf: cartridges.on_shelf,
        cartridges: all.collect(),
        taken_out: cartridges.aside.as_ref().map(|one| TakenOutEstimate {
            cartridge: one.id.clone(),
            tail_mm: length(one.tail),
            left_mm: length(one.left),
        }),
        swaps: cartridges.swaps(),
        buy: cartridges.to_buy(),
        short_mm: length(cartridges.short),
        holds_to_label: (cartridges.held > 0).then_some(plan.before + cartridges.held),
        proven: cartridges.within == Dots::ZERO,
        within_mm: length(cartridges.within),
        ran_out: cartridges.ran_out,
        freer: freer
            .iter()
            .map(|one| FreerEstimate {
                order: one.order.word(),
                saves_mm: length(one.tape),
                saves_swaps: one.swaps,
                saves_buying: one.buy,
                proven: one.proven,
            })
            .collect(),
    }
}

impl Plan {
    /// The plan in millimetres.
    pub fn estimate(&self, job: &Job) -> Estimate {
        self.estimate_with(job, &[])
    }

    /// The plan in millimetres, with what freer orders would save: one list for each stock.
    pub fn estimate_with(&self, job: &Job, freer: &[Vec<Freer>]) -> Estimate {
        let mut mounts = 0;
        let mut running = Running::new(job.printer.along);
        let (mut label, mut waste, mut singly) = (0, 0, 0);
        let mut stocks = Vec::with_capacity(self.stocks.len());
        for plan in &self.stocks {
            let (mut estimate, [its_label, its_waste]) = stock_estimate(job, plan, &mut running, stocks.is_empty());
            label += its_label;
            waste += its_waste;
            singly += job.printer.along.length(plan.singly).0;
            if let Some(cartridges) = &plan.cartridges {
                let freer = freer.get(stocks.len()).map_or(&[][..], Vec::as_slice);
                estimate.shelf = Some(shelf_estimate(job, plan, cartridges, mounts, freer));
            }
            mounts += plan.strips.mounts.len();
            stocks.push(estimate);
        }
        Estimate {
            cables: self.cables,
            labels: self.stocks.iter().map(|plan| plan.slots.len()).sum(),
            problems: self.problems.iter().map(JsonProblem::from).collect(),
            legibility: self.short.iter().map(JsonShort::from).collect(),
            stocks,
            tape_mm: mm(label + waste),
            label_mm: mm(label),
            waste_mm: mm(waste),
            singly_mm: mm(singly),
        }
    }
}
