//! Column generation for one choice of cartridges: what the emptied cartridges can take together,
//! and the least tape of the rest.
//!
//! The program covers all units by loads of emptied cartridges, which cost nothing, and strips on
//! kept ones, which cost their length (Gilmore and Gomory, A linear programming approach to the
//! cutting-stock problem, 1961, for one length of stock; from memory). Its prices, rounded down to
//! whole parts, give a bound in integers.

use super::choice::{Choice, Limits};
use super::kinds::{Content, Load, Work};
use super::price::{Dearest, PART};
use super::realise::{Left, Manner, rest};
use super::simplex::{Simplex, Vector};
use super::sums::{Prefer, fill, mixed};

/// A load of a class, or a strip on a kept cartridge.
#[derive(Clone, Debug)]
struct Column {
    class: Option<usize>,
    strips: Vec<Content>,
}

/// The program of one choice.
#[derive(Clone)]
pub(super) struct Program<'w> {
    work: &'w Work,
    emptied: Vec<u32>,
    counts: Vec<u32>,
    columns: Vec<Column>,
    /// Classes with an emptied cartridge; their rows follow those of the kinds.
    rows: Vec<usize>,
    /// Fewest strips, of all and of those on kept cartridges: a row each, after the kinds.
    least: [i64; 2],
}

/// Rows of [`Program::least`].
const LEAST: usize = 2;

/// What a round of column generation ended with.
pub(super) enum End {
    /// No column improves.
    Done,
    /// Stopped early.
    Stopped,
}

impl<'w> Program<'w> {
    pub(super) fn new(work: &'w Work, choice: &Choice, limits: &Limits) -> Self {
        let kept = choice.kept.iter().map(|&count| i64::from(count)).sum::<i64>();
        let held: i64 = choice.emptied.iter().zip(&limits.emptied).map(|(&count, most)| i64::from(count) * most).sum();
        let by_size = (work.volume - held + limits.strip - 1) / limits.strip;
        let least = if work.single { [0; 2] } else { [limits.strips, by_size.max(kept)] };
        let rows = (0..choice.emptied.len()).filter(|&class| choice.emptied[class] > 0).collect();
        Self { work, emptied: choice.emptied.clone(), counts: work.counts(), columns: Vec::new(), rows, least }
    }

    fn longest(&self) -> i64 {
        let rows = self.rows.iter().filter(|&&class| self.emptied[class] > 0);
        rows.map(|&class| self.work.classes[class].usable).max().unwrap_or(0)
    }

    /// Kinds that are left, and their row.
    fn kinds(&self) -> Vec<usize> {
        (0..self.counts.len()).filter(|&kind| self.counts[kind] > 0).collect()
    }

    fn vector(&self, kinds_row: &[usize], kinds: usize, column: &Column) -> Vector {
        let mut entries: Vec<(usize, f64)> = Vec::new();
        for &(kind, count) in column.strips.iter().flatten() {
            let row = kinds_row[kind];
            if row == usize::MAX {
                continue;
            }
            // A load may hold more of a kind than there is: so it is priced.
            let most = if column.class.is_some() { f64::INFINITY } else { f64::from(self.counts[kind]) };
            match entries.iter_mut().find(|entry| entry.0 == row) {
                Some(entry) => entry.1 = (entry.1 + f64::from(count)).min(most),
                None => entries.push((row, f64::from(count).min(most))),
            }
        }
        let strips = column.strips.len() as f64;
        entries.push((kinds, strips));
        let cost = match column.class {
            Some(class) => {
                let row = self.rows.iter().position(|&other| other == class).unwrap_or(0);
                entries.push((kinds + LEAST + row, 1.0));
                0.0
            }
            None => {
                entries.push((kinds + 1, strips));
                self.work.tape(&column.strips) as f64
            }
        };
        Vector { entries, cost }
    }

    /// Solves the program for what is left. Returns the bound on the tape of kept cartridges, the
    /// prices it rests on, and the value of each column that is used.
    fn solve(&mut self, go_on: &mut dyn FnMut() -> bool, rounds: usize, enough: i64) -> (i64, Vec<(usize, f64)>, End) {
        let work = self.work;
        let kinds = self.kinds();
        let mut kinds_row = vec![usize::MAX; self.counts.len()];
        for (row, &kind) in kinds.iter().enumerate() {
            kinds_row[kind] = row;
        }
        let mut demands: Vec<f64> = kinds.iter().map(|&kind| f64::from(self.counts[kind])).collect();
        demands.extend(self.least.map(|least| least as f64));
        let supplies: Vec<f64> = self.rows.iter().map(|&class| f64::from(self.emptied[class])).collect();
        // Where each column of the simplex comes from.
        let mut from: Vec<usize> = Vec::new();
        let mut starts = Vec::new();
        for &kind in &kinds {
            let it = &work.kinds[kind];
            let most = (work.capacity / it.size.max(1)).min(i64::from(self.counts[kind])) as u32;
            let column = Column { class: None, strips: vec![vec![(kind, most.max(1))]] };
            let mut start = self.vector(&kinds_row, kinds.len(), &column);
            start.entries.retain(|entry| entry.0 == kinds_row[kind]);
            starts.push(start);
            from.push(self.columns.len());
            self.columns.push(column);
        }
        for row in 0..LEAST {
            // A strip of nothing that costs more than any.
            let cost = 4.0 * (work.extra + work.capacity) as f64;
            starts.push(Vector { entries: vec![(kinds.len() + row, 1.0)], cost });
        }
        let mut simplex = Simplex::new(&demands, &supplies, starts);
        from.resize(simplex_start(demands.len(), supplies.len()), usize::MAX);
        for index in 0..self.columns.len() - kinds.len() {
            let vector = self.vector(&kinds_row, kinds.len(), &self.columns[index]);
            if vector.entries.iter().any(|entry| entry.0 < kinds.len()) {
                simplex.push(vector);
                from.push(index);
            }
        }
        let mut bound = 0;
        let mut end = End::Stopped;
        for _ in 0..rounds {
            simplex.solve(50 * (kinds.len() + 10));
            let prices = simplex.prices();
            let mut whole = vec![0i64; self.counts.len()];
            for (row, &kind) in kinds.iter().enumerate() {
                whole[kind] = (prices[row] * PART as f64).max(0.0) as i64;
            }
            let bonus = [0, 1].map(|row| (prices[kinds.len() + row] * PART as f64).max(0.0) as i64);
            let dearest = Dearest::new(work, &whole, bonus[0], &self.counts, self.longest());
            if dearest.too_many() {
                break;
            }
            bound = bound.max(self.bound(&dearest, &whole, bonus));
            let mut news: Vec<Column> = Vec::new();
            for (over, content) in dearest.strips(bonus[1]) {
                if over > PART / 1000 {
                    news.push(Column { class: None, strips: vec![content] });
                }
            }
            for (row, &class) in self.rows.iter().enumerate() {
                if self.emptied[class] == 0 {
                    continue;
                }
                let worth = dearest.load_worth(work.classes[class].usable) as f64 / PART as f64;
                if worth + prices[kinds.len() + LEAST + row] > 1e-3 {
                    news.push(Column { class: Some(class), strips: dearest.load(work.classes[class].usable) });
                }
            }
            if news.is_empty() {
                end = End::Done;
                break;
            }
            if bound >= enough || !go_on() {
                break;
            }
            for column in news {
                simplex.push(self.vector(&kinds_row, kinds.len(), &column));
                from.push(self.columns.len());
                self.columns.push(column);
            }
        }
        let used = simplex.solution().filter(|&(column, value)| from[column] != usize::MAX && value > 1e-4);
        (bound, used.map(|(column, value)| (from[column], value)).collect(), end)
    }

    /// Least tape of kept cartridges by these prices.
    fn bound(&self, dearest: &Dearest, prices: &[i64], bonus: [i64; 2]) -> i64 {
        let (worth, length) = dearest.steepest(bonus[1]);
        if worth <= length {
            return self.value(dearest, prices, bonus);
        }
        // A strip is worth more than it costs: all prices shrink until none is.
        let shrink = |price: i64| (i128::from(price) * i128::from(length) / i128::from(worth)) as i64;
        let prices: Vec<i64> = prices.iter().map(|&price| shrink(price)).collect();
        let bonus = bonus.map(shrink);
        let dearest = Dearest::new(self.work, &prices, bonus[0], &self.counts, self.longest());
        if dearest.too_many() {
            return 0;
        }
        self.value(&dearest, &prices, bonus)
    }

    fn value(&self, dearest: &Dearest, prices: &[i64], bonus: [i64; 2]) -> i64 {
        let all: i64 = prices.iter().zip(&self.counts).map(|(&price, &count)| price * i64::from(count)).sum();
        let strips: i64 = bonus.iter().zip(self.least).map(|(price, least)| price * least.max(0)).sum();
        let loads = self
            .rows
            .iter()
            .filter(|&&class| self.emptied[class] > 0)
            .map(|&class| dearest.load_worth(self.work.classes[class].usable) * i64::from(self.emptied[class]));
        let parts = all + strips - loads.sum::<i64>();
        (parts + PART - 1).div_euclid(PART)
    }

    /// Bound on the tape of kept cartridges.
    pub(super) fn relax(&mut self, go_on: &mut dyn FnMut() -> bool, enough: i64) -> i64 {
        let (bound, _, _) = self.solve(go_on, 400, enough);
        bound
    }

    /// Makes whole columns of the parts of the solution, the surest first, and solves again for the
    /// rest; `turn` varies what is taken.
    pub(super) fn dive(
        mut self,
        choice: &Choice,
        strip: i64,
        turn: usize,
        go_on: &mut dyn FnMut() -> bool,
    ) -> Option<Vec<Load>> {
        let work = self.work;
        self.least = [0; 2];
        let mut left = Left::new(work, work.counts());
        let mut loads: Vec<Load> = Vec::new();
        let mut strips: Vec<Content> = Vec::new();
        let mut taken = 0;
        while left.volume > 0 {
            let (_, used, _) = self.solve(go_on, 60, i64::MAX);
            let mut picks: Vec<(usize, u32)> =
                used.iter().map(|&(column, value)| (column, (value + 1e-4) as u32)).filter(|pick| pick.1 > 0).collect();
            if picks.is_empty() {
                // The largest part first; later turns mistake sizes by up to a half.
                let luck = |column: usize| match turn {
                    0 => 1.0,
                    _ => 1.0 - f64::from(mixed((turn * 1000 + taken) as u32, column as u32) % 512) / 1024.0,
                };
                let parts = used.iter().map(|&(column, value)| (value * luck(column), column));
                let Some((_, column)) = parts.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1))) else {
                    break;
                };
                picks.push((column, 1));
            }
            taken += 1;
            for (column, times) in picks {
                for _ in 0..times {
                    let column = self.columns[column].clone();
                    if column.class.is_some_and(|class| self.emptied[class] == 0) {
                        continue;
                    }
                    let mut clipped: Vec<Content> = Vec::new();
                    for content in &column.strips {
                        let content: Content = content
                            .iter()
                            .map(|&(kind, count)| (kind, count.min(left.counts[kind])))
                            .filter(|unit| unit.1 > 0)
                            .collect();
                        left.take(&content);
                        if !content.is_empty() {
                            clipped.push(content);
                        }
                    }
                    if clipped.is_empty() {
                        continue;
                    }
                    if let Some(class) = column.class {
                        self.emptied[class] -= 1;
                        top_up(&mut left, &mut clipped, work.classes[class].usable);
                        loads.push(Load { class, strips: clipped });
                    } else {
                        for content in &mut clipped {
                            top_up_strip(&mut left, content, work.capacity);
                        }
                        strips.extend(clipped);
                    }
                }
            }
            self.counts.clone_from(&left.counts);
            if !go_on() {
                break;
            }
        }
        let manner = Manner { prefer: Prefer::Large, long_first: false, finish: true, searched: 40 };
        for class in 0..self.emptied.len() {
            for _ in 0..self.emptied[class] {
                let more = left.load(work.classes[class].usable, strip, manner);
                loads.push(Load { class, strips: more });
            }
        }
        // Strips meant for kept cartridges go there, one cartridge after another.
        let kept: u32 = choice.kept.iter().sum();
        if kept == 1 {
            let class = choice.kept.iter().position(|&count| count > 0)?;
            strips.extend(left.strips(manner));
            if left.volume > 0 || work.tape(&strips) > work.classes[class].usable {
                return None;
            }
            loads.push(Load { class, strips });
            return Some(loads);
        }
        for content in &strips {
            for &(kind, count) in content {
                left.counts[kind] += count;
            }
            left.volume += work.size(content);
        }
        rest(work, &mut left, &choice.kept, strip, manner, &mut loads)?;
        Some(loads)
    }
}

/// Columns of a simplex before any is added: starts, slacks of supplies, surpluses of demands.
const fn simplex_start(demands: usize, supplies: usize) -> usize {
    demands + supplies + demands
}

/// Fills strips of a load up with what is left.
pub(super) fn top_up(left: &mut Left, strips: &mut [Content], tape: i64) {
    let mut spare = tape - left.work.tape(strips);
    for content in strips {
        let before = left.work.piece(left.work.size(content));
        let room = left.work.capacity.min(left.work.size(content) + spare);
        top_up_strip(left, content, room);
        spare -= left.work.piece(left.work.size(content)) - before;
    }
}

fn top_up_strip(left: &mut Left, content: &mut Content, room: i64) {
    let work = left.work;
    if work.labels != u32::MAX {
        return;
    }
    let room = room - work.size(content);
    let Some(&(kind, _)) = content.first() else {
        return;
    };
    if left.volume == 0 || room <= 0 {
        return;
    }
    let (_, more) = fill(work, &left.counts, work.kinds[kind].batch, room, Prefer::Large, 40);
    left.take(&more);
    for (kind, count) in more {
        match content.iter_mut().find(|unit| unit.0 == kind) {
            Some(unit) => unit.1 += count,
            None => content.push((kind, count)),
        }
    }
}
