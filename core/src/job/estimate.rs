//! A plan in millimetres: tape, waste, cartridges, cost and time.

use super::{Job, Plan, Problem, StockPlan};
use crate::strip::print_ms;
use crate::unit::{Dots, Dpi};
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
    /// No plan in list order, on full cartridges, uses less than this.
    pub bound_mm: f64,
}

/// The whole job. Serialised, this is the answer of `estimate --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Cables in the list.
    pub cables: usize,
    /// Labels that will be printed.
    pub labels: usize,
    /// Cables that get none, and why.
    pub problems: Vec<JsonProblem>,
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
    let swaps = i64::try_from(plan.strips.mounts.len()).unwrap_or(0) - i64::from(first);
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
        cost: stock.price.map(|price| {
            let share = ledger.tape().0 as f64 / job.rules(plan).cartridge.0.max(1) as f64;
            (price * share * 100.0 + 0.5).floor() / 100.0
        }),
        seconds: mm(ms),
        optimal: plan.strips.bound == ledger.tape(),
        bound_mm: if plan.strips.bound == ledger.tape() {
            mm(label + waste)
        } else {
            mm(along.length(plan.strips.bound).0)
        },
    };
    (estimate, [label, waste])
}

impl Plan {
    /// The plan in millimetres.
    pub fn estimate(&self, job: &Job) -> Estimate {
        let mut running = Running::new(job.printer.along);
        let (mut label, mut waste, mut singly) = (0, 0, 0);
        let mut stocks = Vec::with_capacity(self.stocks.len());
        for plan in &self.stocks {
            let (estimate, [its_label, its_waste]) = stock_estimate(job, plan, &mut running, stocks.is_empty());
            label += its_label;
            waste += its_waste;
            singly += job.printer.along.length(plan.singly).0;
            stocks.push(estimate);
        }
        Estimate {
            cables: self.cables,
            labels: self.stocks.iter().map(|plan| plan.slots.len()).sum(),
            problems: self.problems.iter().map(JsonProblem::from).collect(),
            stocks,
            tape_mm: mm(label + waste),
            label_mm: mm(label),
            waste_mm: mm(waste),
            singly_mm: mm(singly),
        }
    }
}
