//! A list in its order on cartridges in any order: best-first search over the cartridges used and
//! the items printed, guided by the cost to go if every cartridge could be used again.
//!
//! The guide is exact when one class is ample, so few states are looked at. A state with the least
//! sum of cost and guide is final; the first that has printed everything is the least plan.

use super::class::{Class, Handout};
use super::row::Rows;
use super::{Infeasible, Mount, Plan, Task, ordered};
use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};

/// Where the use count of each class stands in a state's key.
struct Fields {
    shift: Vec<u32>,
    mask: Vec<u128>,
}

impl Fields {
    /// `None` if the key is too short for so many cartridges.
    fn new(classes: &[Class], items: usize) -> Option<Self> {
        let (mut shift, mut mask, mut at) = (Vec::new(), Vec::new(), 0);
        for class in classes {
            let most = u128::from(class.count).min(items as u128);
            let bits = 128 - most.leading_zeros();
            shift.push(at);
            mask.push((1u128 << bits) - 1);
            at += bits;
        }
        (at <= 128).then_some(Self { shift, mask })
    }

    fn used(&self, key: u128, class: usize) -> u128 {
        key >> self.shift[class] & self.mask[class]
    }
}

/// Cost to go from each item on, if cartridges could be used again; the one in the printer is the
/// first or is not used.
fn costs_to_go(rows: &Rows, classes: &[Class]) -> Vec<i64> {
    let n = rows.len();
    let longest = classes.iter().map(|class| class.usable).max().unwrap_or(0);
    let idle: i64 = classes.iter().map(|class| class.idle).sum();
    let mut guide = vec![i64::MAX; n + 1];
    guide[n] = 0;
    for begin in (0..n).rev() {
        let mut least = i64::MAX;
        rows.each(begin, longest, &mut |end, tape| {
            let fit = classes.iter().filter(|class| tape <= class.usable && (begin == 0 || !class.mounted));
            let aside = |class: &Class| if begin == 0 && !class.mounted { idle } else { 0 };
            let costs = fit.map(|class| class.cost(tape) + aside(class));
            let cost = costs.min().unwrap_or(i64::MAX);
            least = least.min(cost.saturating_add(guide[end]));
        });
        guide[begin] = least;
    }
    guide
}

/// The best of the plans that mount in the order of some lists of classes.
pub(super) fn start(task: &Task, classes: &[Class]) -> Result<(i64, Vec<Mount>), Infeasible> {
    let mut best: Result<(i64, Vec<Mount>), Infeasible> = Err(Infeasible::NotEnough { short: 1, certain: false });
    let sorts: [fn(&Class) -> i64; 3] = [|_| 0, |class| class.length, |class| -class.length];
    for sort in sorts {
        let mut sorted = classes.to_vec();
        sorted.sort_by_key(|class| (!class.mounted, sort(class)));
        match (ordered::mounts(task, &sorted), &best) {
            (Ok(found), Ok(known)) if found.0 < known.0 => best = Ok(found),
            (Ok(found), Err(_)) => best = Ok(found),
            (Err(Infeasible::NotEnough { short, .. }), Err(Infeasible::NotEnough { short: known, .. }))
                if *known == 1 || short < *known =>
            {
                best = Err(Infeasible::NotEnough { short, certain: false });
            }
            _ => {}
        }
    }
    best
}

struct Node {
    key: u128,
    end: usize,
    class: usize,
    before: usize,
    cost: i64,
}

/// The best plan, or the best known when `go_on` says no.
pub(super) fn plan(task: &Task, given: &[Class], go_on: &mut dyn FnMut() -> bool) -> Result<Plan, Infeasible> {
    let rows = Rows::new(task);
    let n = rows.len();
    let label: i64 = task.items.iter().map(|item| item.length).sum();
    let known = start(task, given);
    // The cartridge in the printer may also be taken out and come later.
    let mut classes = given.to_vec();
    classes.extend(Class::unmounted(task));
    let idle: i64 = classes.iter().map(|class| class.idle).sum();
    let field = |class: usize| if class == given.len() { 0 } else { class };
    let guide = costs_to_go(&rows, &classes);
    let mut least = known.as_ref().map_or(i64::MAX, |known| known.0);
    let settled = |mounts: Vec<Mount>, bound: i64, ran_out: bool| Ok(Plan::new(task, mounts, bound - label, ran_out));
    let Some(fields) = Fields::new(given, n) else {
        // No search, but a bound: the guide lets every cartridge be used again.
        let (cost, mounts) = known?;
        return settled(mounts, guide[0].min(cost), false);
    };
    let mut nodes = vec![Node { key: 0, end: 0, class: usize::MAX, before: usize::MAX, cost: 0 }];
    let mut seen: HashMap<(usize, u128), i64> = HashMap::new();
    let mut heap = BinaryHeap::new();
    if guide[0] < least {
        heap.push((Reverse(guide[0]), 0, 0usize));
    }
    let mut found = None;
    let mut looked = 0u32;
    while let Some((Reverse(bound), _, index)) = heap.pop() {
        let Node { key, end: begin, cost, .. } = nodes[index];
        if begin == n {
            found = Some(index);
            break;
        }
        if seen.get(&(begin, key)).is_some_and(|&known| known < cost) {
            continue;
        }
        looked += 1;
        if looked.is_multiple_of(256) && !go_on() {
            let (cost, mounts) = known?;
            return settled(mounts, bound.min(cost), true);
        }
        for (class_index, class) in classes.iter().enumerate() {
            let field = field(class_index);
            let (later, first) = (class_index == given.len(), begin == 0);
            if fields.used(key, field) >= u128::from(given[field].count) || class.mounted && !first || later && first {
                continue;
            }
            let cost = cost + if first && !class.mounted { idle } else { 0 };
            let key = key + (1u128 << fields.shift[field]);
            rows.each(begin, class.usable, &mut |end, tape| {
                let cost = cost + class.cost(tape);
                let bound = cost.saturating_add(guide[end]);
                let best = seen.entry((end, key)).or_insert(i64::MAX);
                if bound >= least || cost >= *best {
                    return;
                }
                *best = cost;
                if end == n {
                    least = cost;
                }
                heap.push((Reverse(bound), end, nodes.len()));
                nodes.push(Node { key, end, class: class_index, before: index, cost });
            });
        }
    }
    let Some(mut at) = found else {
        return match known {
            Ok((cost, mounts)) => settled(mounts, cost, false),
            Err(Infeasible::NotEnough { short, .. }) => Err(Infeasible::NotEnough { short, certain: true }),
            Err(other) => Err(other),
        };
    };
    let bound = nodes[at].cost;
    let mut handout = Handout::new(given);
    let mut mounts = Vec::new();
    while at != 0 {
        let node = &nodes[at];
        let strips = rows.strips(nodes[node.before].end, node.end);
        mounts.push(Mount { cartridge: handout.take(field(node.class)), strips });
        at = node.before;
    }
    mounts.reverse();
    settled(mounts, bound, false)
}
