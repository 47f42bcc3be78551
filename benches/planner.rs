//! The planner: hot cases; with `--table` every stored case as a table, with `--cases NAME` one by one those
//! whose names begin so.

use criterion::{Criterion, criterion_group};
use std::hint::black_box;
use std::path::Path;
use tapewright::pack::{Cartridge, CartridgeOrder, Item, Medium, Order, Plan, Task, plan};

#[path = "../tests/suite/planner/stored.rs"]
mod stored;

const GIVEN: Order = Order::List { cartridges: CartridgeOrder::Given };

/// Processor time of this thread, in seconds; `/proc/thread-self/schedstat`, first number
/// (Linux, Documentation/scheduler/sched-stats.rst).
fn seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("this bench needs Linux");
    let nanoseconds = text.split(' ').next().and_then(|word| word.parse::<u64>().ok());
    nanoseconds.expect("a number of nanoseconds") as f64 / 1e9
}

/// A job of this many labels in eight lengths, listed as a bench would use them up.
fn large(labels: usize, order: Order) -> Task {
    let lengths = [254, 318, 381, 420, 500, 572, 600, 762];
    let items = (0..labels).map(|at| {
        let length = lengths[at / 7 * 5 % lengths.len()];
        Item { length, labels: 1, batch: None }
    });
    Task {
        medium: Medium {
            lead: 250,
            gap: 30,
            trail: 20,
            min_piece: 245,
            max_strip: 20_000,
            max_labels: 0,
            load: 250,
            tail: 250,
            reserve: 400,
            min_remnant: 1500,
            keep_cost: 1000,
        },
        items: items.collect(),
        cartridges: [(31_700, 1), (48_050, 1), (12_340, 1), (80_000, 2000)]
            .map(|(length, count)| Cartridge {
                length,
                count,
                fixed: if count > 1 { 3000 } else { 2000 },
                sealed: count > 1,
                mounted: false,
            })
            .to_vec(),
        order,
    }
}

fn planner(c: &mut Criterion) {
    let mut group = c.benchmark_group("planner");
    group.sample_size(10);
    let hot = [
        ("2,000 labels, list, given cartridges", large(2000, GIVEN)),
        ("100,000 labels, list, given cartridges", large(100_000, GIVEN)),
        ("300 labels, free", large(300, Order::Free)),
    ];
    for (name, task) in hot {
        group.bench_function(name, |b| b.iter(|| black_box(plan(&task, &mut || true))));
    }
    group.finish();
}

criterion_group!(benches, planner);

/// One row: what was proven, the largest gap, the longest time.
#[derive(Default)]
struct Row {
    cases: usize,
    proven: usize,
    better: usize,
    worse: usize,
    gap_of_cost: f64,
    gap_of_tape: f64,
    longest: f64,
}

impl Row {
    fn add(&mut self, plan: &Plan, known: i64, time: f64) {
        self.cases += 1;
        self.proven += usize::from(plan.proven);
        self.better += usize::from(plan.cost < known);
        self.worse += usize::from(plan.cost > known);
        let gap = (plan.cost - plan.bound) as f64 * 100.0;
        self.gap_of_cost = self.gap_of_cost.max(gap / plan.cost.max(1) as f64);
        self.gap_of_tape = self.gap_of_tape.max(gap / plan.ledger.tape().max(1) as f64);
        self.longest = self.longest.max(time);
    }

    fn print(&self, name: &str) {
        println!(
            "| {name} | {} of {} | {} | {} | {:.2} % | {:.3} % | {:.3} s |",
            self.proven, self.cases, self.better, self.worse, self.gap_of_cost, self.gap_of_tape, self.longest
        );
    }
}

/// Plans within a budget of processor time.
fn timed(task: &Task, budget: f64) -> (Plan, f64) {
    let start = seconds();
    let plan = plan(task, &mut || seconds() - start < budget).expect("the stored tasks have plans");
    (plan, seconds() - start)
}

fn table(budget: Option<f64>) {
    println!("| family, labels | proven | better than stored | worse | gap of cost | gap of tape | longest |");
    println!("|---|---|---|---|---|---|---|");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/cases/planning");
    let mut all = Row::default();
    for variant in ["ordg", "ordf", "free", "pair", "dist", "bench", "panel", "batch"] {
        for (low, high) in [(0, 100), (101, 300), (301, usize::MAX)] {
            let mut row = Row::default();
            for case in stored::cases(&folder, variant) {
                let labels: usize = case.task.items.iter().map(|item| item.labels as usize).sum();
                if labels < low || labels > high {
                    continue;
                }
                let seconds = budget.unwrap_or(match (variant, high) {
                    ("panel" | "batch", _) | (_, usize::MAX) => 10.0,
                    (_, 100) => 0.1,
                    _ => 1.0,
                });
                let (plan, time) = timed(&case.task, seconds);
                row.add(&plan, case.cost, time);
                all.add(&plan, case.cost, time);
            }
            let most = if high == usize::MAX { "more".to_owned() } else { format!("to {high}") };
            if row.cases > 0 {
                row.print(&format!("{variant}, {most}"));
            }
        }
    }
    all.print("all");
    println!();
    println!("| job | cost | bound | gap of cost | gap of tape | time |");
    println!("|---|---|---|---|---|---|");
    for (name, order, labels) in [
        ("list, given cartridges", GIVEN, 2000),
        ("list, given cartridges", GIVEN, 100_000),
        ("free", Order::Free, 2000),
        ("free", Order::Free, 100_000),
    ] {
        let (plan, time) = timed(&large(labels, order), 10.0);
        let gap = (plan.cost - plan.bound) as f64 * 100.0;
        println!(
            "| {labels} labels, {name} | {} | {} | {:.3} % | {:.4} % | {time:.3} s |",
            plan.cost,
            plan.bound,
            gap / plan.cost as f64,
            gap / plan.ledger.tape() as f64
        );
    }
}

/// The cases whose names begin so, each within a budget.
fn cases(begin: &str, budget: f64) {
    println!("| case | labels | cost | stored | bound | gap of cost | time |");
    println!("|---|---|---|---|---|---|---|");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/cases/planning");
    for case in stored::cases(&folder, "").into_iter().filter(|case| case.id.starts_with(begin)) {
        let labels: usize = case.task.items.iter().map(|item| item.labels as usize).sum();
        let (plan, time) = timed(&case.task, budget);
        let gap = (plan.cost - plan.bound) as f64 * 100.0 / plan.cost.max(1) as f64;
        println!(
            "| {} | {labels} | {} | {} | {} | {gap:.3} % | {time:.3} s |",
            case.id, plan.cost, case.cost, plan.bound
        );
    }
}

fn main() {
    let words: Vec<String> = std::env::args().collect();
    if let Some(at) = words.iter().position(|word| word == "--cases") {
        let begin = words.get(at + 1).map_or("", String::as_str);
        cases(begin, words.get(at + 2).and_then(|word| word.parse().ok()).unwrap_or(10.0));
        return;
    }
    if let Some(at) = words.iter().position(|word| word == "--table") {
        table(words.get(at + 1).and_then(|word| word.parse().ok()));
        return;
    }
    benches();
    Criterion::default().configure_from_args().final_summary();
}
