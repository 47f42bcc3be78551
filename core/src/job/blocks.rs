//! What stays together on a strip: the labels of a cable, and cables with the same text in a column.

use super::{Job, Problem, Slot};
use crate::cable::ColumnIndex;
use crate::shelf::{Block, Order};
use crate::strip::Rules;
use crate::unit::Dots;
use std::collections::HashMap;

/// The labels on one stock while they are thought through.
#[derive(Clone, Debug, Default)]
pub(super) struct Labels {
    pub(super) slots: Vec<Slot>,
    pub(super) lengths: Vec<Dots>,
    /// `joined[i]`: label `i + 1` is the other end of label `i`'s cable.
    pub(super) joined: Vec<bool>,
}

impl Labels {
    pub(super) fn push(&mut self, slot: Slot, length: Dots, joined: bool) {
        self.slots.push(slot);
        self.lengths.push(length);
        self.joined.push(joined);
    }

    /// Keeps these labels only.
    pub(super) fn keep(&mut self, keep: impl Fn(usize) -> bool) {
        let mut kept = Self::default();
        for nth in (0..self.slots.len()).filter(|&nth| keep(nth)) {
            kept.push(self.slots[nth], self.lengths[nth], self.joined[nth] && keep(nth + 1));
        }
        *self = kept;
    }

    /// The same labels in another order.
    pub(super) fn ordered(&self, order: &[usize]) -> (Vec<Slot>, Vec<Dots>) {
        (order.iter().map(|&nth| self.slots[nth]).collect(), order.iter().map(|&nth| self.lengths[nth]).collect())
    }
}

/// A block that no strip can hold, and why.
struct TooLarge {
    labels: Vec<usize>,
    problem: Problem,
}

impl Job {
    /// The text that keeps labels together, if a column does.
    fn bond(&self, slot: Slot, column: Option<ColumnIndex>) -> &str {
        column.map_or("", |column| self.cable(slot).field(column).trim())
    }

    /// Labels in the blocks that an order leaves whole.
    pub(super) fn blocks(&self, rules: &Rules, labels: &Labels, order: Order) -> Vec<Block> {
        self.sorted(rules, labels, order).0
    }

    /// Takes out the labels of blocks that fit no strip; a problem for each.
    pub(super) fn leave_out_large_blocks(&self, rules: &Rules, labels: &mut Labels, problems: &mut Vec<Problem>) {
        let (_, large) = self.sorted(rules, labels, self.policy.order);
        let mut out = vec![false; labels.slots.len()];
        for block in large {
            block.labels.iter().for_each(|&label| out[label] = true);
            problems.push(block.problem);
        }
        labels.keep(|label| !out.get(label).copied().unwrap_or(true));
    }

    fn sorted(&self, rules: &Rules, labels: &Labels, order: Order) -> (Vec<Block>, Vec<TooLarge>) {
        let column = self.policy.together.as_deref().and_then(|name| self.list.column(name));
        let mut groups: Vec<(&str, Vec<usize>)> = Vec::with_capacity(labels.slots.len());
        let mut by_bond: HashMap<&str, usize> = HashMap::new();
        let mut at = 0;
        while at < labels.slots.len() {
            let bond = self.bond(labels.slots[at], column);
            let mut unit = vec![at];
            // A pair longer than a strip is parted all the same, as is one that may come apart.
            if labels.joined[at] && (order != Order::Free || !bond.is_empty()) {
                let pair = [labels.lengths[at], labels.lengths[at + 1]];
                if !bond.is_empty() || rules.holds_all(&pair) {
                    unit.push(at + 1);
                }
            }
            at += unit.len();
            let open = match order {
                Order::List => groups.len().checked_sub(1).filter(|&last| groups[last].0 == bond),
                _ => by_bond.get(bond).copied(),
            };
            match open.filter(|_| !bond.is_empty()) {
                Some(group) => groups[group].1.append(&mut unit),
                None => {
                    by_bond.insert(bond, groups.len());
                    groups.push((bond, unit));
                }
            }
        }
        self.judged(rules, labels, groups)
    }

    /// Groups as blocks, and those no strip can hold.
    fn judged(&self, rules: &Rules, labels: &Labels, groups: Vec<(&str, Vec<usize>)>) -> (Vec<Block>, Vec<TooLarge>) {
        let mut batches: HashMap<&str, u32> = HashMap::new();
        let (mut blocks, mut large) = (Vec::with_capacity(groups.len()), Vec::new());
        for (bond, group) in groups {
            let batch = |label: usize| self.cable(labels.slots[label]).text(crate::cable::Column::Batch);
            let lengths: Vec<Dots> = group.iter().map(|&label| labels.lengths[label]).collect();
            let mixed = group.iter().find(|&&label| batch(label) != batch(group[0])).filter(|_| self.policy.one_batch);
            let text = match mixed {
                Some(&other) => Some(format!(
                    "found batches `{}` and `{}` in one block, wanted one: one_batch_a_strip keeps them apart and `together` does not",
                    batch(group[0]),
                    batch(other)
                )),
                None if group.len() > 1 && !rules.holds_all(&lengths) => {
                    let longest = self.printer.along.length(rules.longest_piece());
                    let most = match rules.max_labels {
                        0 => String::new(),
                        most => format!(" and {most} labels"),
                    };
                    let wanted = crate::strip::Strip::new(rules, &lengths).length;
                    Some(format!(
                        "found {} labels that stay together, {} long, wanted up to {longest}{most} on a strip",
                        group.len(),
                        self.printer.along.length(wanted)
                    ))
                }
                None => None,
            };
            if let Some(text) = text {
                let column = self.policy.together.clone().unwrap_or_default();
                let row = self.cable(labels.slots[group[0]]).row();
                let problem =
                    Problem { row: Some(row), field: Some(column), kind: "block", text: format!("`{bond}`: {text}") };
                large.push(TooLarge { labels: group, problem });
                continue;
            }
            let next = u32::try_from(batches.len()).unwrap_or(u32::MAX);
            let batch = self.policy.one_batch.then(|| *batches.entry(batch(group[0])).or_insert(next));
            blocks.push(Block { labels: group, batch });
        }
        (blocks, large)
    }
}
