//! A small linear program, solved by the primal simplex method with an explicit inverse: cover
//! demands at least cost, with counts that may not be exceeded.
//!
//! Only `+ − × ÷` of doubles are used, so the answer is the same on every machine; nothing that is
//! promised rests on it, since bounds are computed again in integers from its prices.

/// Entries of a column by row, and its cost.
#[derive(Clone, Debug)]
pub(super) struct Vector {
    pub(super) entries: Vec<(usize, f64)>,
    pub(super) cost: f64,
}

/// Rows `demands` (at least) and then `supplies` (at most); minimum of the cost.
pub(super) struct Simplex {
    rows: usize,
    columns: Vec<Vector>,
    basis: Vec<usize>,
    inverse: Vec<f64>,
    values: Vec<f64>,
    in_basis: Vec<bool>,
}

const TINY: f64 = 1e-9;

impl Simplex {
    /// `starts` has a column for each demand that covers it alone.
    pub(super) fn new(demands: &[f64], supplies: &[f64], starts: Vec<Vector>) -> Self {
        let rows = demands.len() + supplies.len();
        let mut simplex = Self {
            rows,
            columns: starts,
            basis: (0..rows).collect(),
            inverse: vec![0.0; rows * rows],
            values: vec![0.0; rows],
            in_basis: vec![true; rows],
        };
        for row in 0..rows {
            // Slightly different right sides keep the method from circling.
            let shift = 1e-7 * (1.0 + (row * 7919 % 101) as f64 / 101.0);
            let start = if row < demands.len() {
                let entry =
                    simplex.columns[row].entries.iter().find(|entry| entry.0 == row).map_or(1.0, |entry| entry.1);
                simplex.values[row] = (demands[row] + shift) / entry;
                1.0 / entry
            } else {
                simplex.columns.push(Vector { entries: vec![(row, 1.0)], cost: 0.0 });
                simplex.values[row] = supplies[row - demands.len()] + shift;
                1.0
            };
            simplex.inverse[row * rows + row] = start;
        }
        for row in 0..demands.len() {
            simplex.push(Vector { entries: vec![(row, -1.0)], cost: 0.0 });
        }
        simplex
    }

    /// Adds a column and tells its number.
    pub(super) fn push(&mut self, column: Vector) -> usize {
        self.columns.push(column);
        self.in_basis.push(false);
        self.columns.len() - 1
    }

    /// The price of each row.
    pub(super) fn prices(&self) -> Vec<f64> {
        let mut prices = vec![0.0; self.rows];
        for (at, &column) in self.basis.iter().enumerate() {
            let cost = self.columns[column].cost;
            if cost != 0.0 {
                let row = &self.inverse[at * self.rows..(at + 1) * self.rows];
                for (price, entry) in prices.iter_mut().zip(row) {
                    *price += cost * entry;
                }
            }
        }
        prices
    }

    /// Value of each basic column.
    pub(super) fn solution(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.basis.iter().copied().zip(self.values.iter().copied())
    }

    /// Improves until no column of those known can; gives up after `most` steps.
    pub(super) fn solve(&mut self, most: usize) {
        for _ in 0..most {
            let prices = self.prices();
            let mut best = (-1e-7, usize::MAX);
            for (index, column) in self.columns.iter().enumerate() {
                if self.in_basis[index] {
                    continue;
                }
                let priced: f64 = column.entries.iter().map(|&(row, entry)| prices[row] * entry).sum();
                let reduced = column.cost - priced;
                if reduced < best.0 {
                    best = (reduced, index);
                }
            }
            if best.1 == usize::MAX || !self.enter(best.1) {
                return;
            }
        }
    }

    fn enter(&mut self, column: usize) -> bool {
        let rows = self.rows;
        let mut direction = vec![0.0; rows];
        for (at, to) in direction.iter_mut().enumerate() {
            let row = &self.inverse[at * rows..(at + 1) * rows];
            *to = self.columns[column].entries.iter().map(|&(row_index, entry)| row[row_index] * entry).sum();
        }
        let mut leave = None;
        let mut least = f64::INFINITY;
        for (at, &step) in direction.iter().enumerate() {
            if step > TINY {
                let ratio = self.values[at].max(0.0) / step;
                if ratio < least {
                    least = ratio;
                    leave = Some(at);
                }
            }
        }
        let Some(leave) = leave else { return false };
        let pivot = direction[leave];
        let (before, from) = self.inverse.split_at_mut(leave * rows);
        let (row, after) = from.split_at_mut(rows);
        for entry in row.iter_mut() {
            *entry /= pivot;
        }
        let others = before.chunks_mut(rows).chain(after.chunks_mut(rows));
        let steps = direction[..leave].iter().chain(&direction[leave + 1..]);
        for (other, &step) in others.zip(steps) {
            if step != 0.0 {
                for (to, &entry) in other.iter_mut().zip(row.iter()) {
                    *to -= step * entry;
                }
            }
        }
        for (at, &step) in direction.iter().enumerate() {
            self.values[at] = if at == leave { least } else { self.values[at] - step * least };
        }
        self.in_basis[self.basis[leave]] = false;
        self.in_basis[column] = true;
        self.basis[leave] = column;
        true
    }
}
