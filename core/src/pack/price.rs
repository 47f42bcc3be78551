//! What units are worth at given prices: the dearest strip of each length, the dearest load of each
//! amount of tape.

use super::kinds::{Content, Work};

/// Prices are whole numbers of this part of the caller's unit.
pub(super) const PART: i64 = 1 << 20;

/// The dearest content of a strip for each room, in steps of the grid, in one batch.
struct Table {
    worth: Vec<i64>,
    /// A kind of the smallest size that is left, and its room; no strip is shorter. `None` if nothing is left.
    smallest: Option<(usize, usize)>,
    /// What was added in which step: kind, count; and whether, for each room.
    steps: Vec<(usize, u32, Vec<u64>)>,
}

/// A strip that no shorter one is as dear as.
struct Point {
    /// Length in steps of the grid, rounded down.
    piece: usize,
    worth: i64,
    batch: usize,
    room: usize,
}

/// The dearest strips and loads.
pub(super) struct Dearest<'w> {
    work: &'w Work,
    bonus: i64,
    tables: Vec<Table>,
    points: Vec<Point>,
    /// Worth of the dearest load for each tape, in steps of the grid. Doubles hold whole numbers below
    /// 2^53 exactly, and their maximum is one instruction.
    loads: Vec<f64>,
    too_many: bool,
}

/// Steps that finding loads may take.
const STEPS: usize = 400_000_000;

impl<'w> Dearest<'w> {
    /// With no more of a kind than `counts` on a strip, and a strip worth `bonus` by itself. Loads are
    /// found for up to `longest` tape.
    pub(super) fn new(work: &'w Work, prices: &[i64], bonus: i64, counts: &[u32], longest: i64) -> Self {
        let tables: Vec<Table> = work.batches.iter().map(|batch| table(work, prices, counts, batch.clone())).collect();
        let mut points: Vec<Point> = Vec::new();
        for (batch, table) in tables.iter().enumerate() {
            // The shortest strip counts even if what is on it is worth nothing: it has its bonus.
            let mut best = -1;
            for (room, &worth) in table.rooms() {
                if worth > best {
                    let piece = (work.piece(room as i64 * work.grid) / work.grid).max(1) as usize;
                    points.push(Point { piece, worth: worth + bonus, batch, room });
                    best = worth;
                }
            }
        }
        points.sort_by_key(|point| (point.piece, -point.worth));
        let mut best = -1;
        points.retain(|point| {
            let dearer = point.worth > best;
            best = best.max(point.worth);
            dearer
        });
        let steps = (longest.max(0) / work.grid) as usize;
        let too_many = !work.single && points.len().saturating_mul(steps) > STEPS;
        let mut this = Self { work, bonus, tables, points, loads: Vec::new(), too_many };
        if longest > 0 && !too_many {
            this.loads = this.all_loads(steps);
        }
        this
    }

    fn all_loads(&self, longest: usize) -> Vec<f64> {
        let mut loads = vec![0f64; longest + 1];
        for point in &self.points {
            let (piece, worth) = (point.piece, point.worth as f64);
            if piece > longest || loads[piece] >= worth {
                continue;
            }
            if self.work.single {
                loads[piece] = worth;
                continue;
            }
            let mut at = piece;
            while at <= longest {
                let end = (at + piece).min(longest + 1);
                let (before, after) = loads.split_at_mut(at);
                for (to, from) in after[..end - at].iter_mut().zip(&before[at - piece..]) {
                    *to = to.max(from + worth);
                }
                at = end;
            }
        }
        let mut most = 0f64;
        for load in &mut loads {
            most = most.max(*load);
            *load = most;
        }
        loads
    }

    /// Loads were not found, as there are too many lengths of strips worth having.
    pub(super) const fn too_many(&self) -> bool {
        self.too_many
    }

    fn steps(&self, tape: i64) -> usize {
        ((tape.max(0) / self.work.grid) as usize).min(self.loads.len().saturating_sub(1))
    }

    /// Worth of the dearest load of this tape.
    pub(super) fn load_worth(&self, tape: i64) -> i64 {
        self.loads.get(self.steps(tape)).map_or(0, |&worth| worth as i64)
    }

    /// The dearest load of this tape.
    pub(super) fn load(&self, tape: i64) -> Vec<Content> {
        let mut strips = Vec::new();
        let mut at = self.steps(tape);
        while self.loads[at] > 0.0 {
            let last = self.points.iter().find(|point| {
                let rest = if self.work.single { 0.0 } else { self.loads[at - point.piece.min(at)] };
                point.piece <= at && rest + point.worth as f64 >= self.loads[at]
            });
            let Some(last) = last else { break };
            strips.push(self.content(last.batch, last.room));
            if self.work.single {
                break;
            }
            at -= last.piece;
        }
        strips
    }

    /// For each batch, the strip whose worth is most above its length times [`PART`], and by how much;
    /// `bonus` is a strip's own worth on a kept cartridge, beyond what it is worth anywhere.
    pub(super) fn strips(&self, bonus: i64) -> Vec<(i64, Content)> {
        let each = self.tables.iter().enumerate().map(|(batch, table)| {
            let over = |(room, &worth): (usize, &i64)| {
                (worth + self.bonus + bonus - PART * self.work.piece(room as i64 * self.work.grid), room)
            };
            let (over, room) = table.rooms().map(over).max().unwrap_or((0, 0));
            (over, if over > 0 { self.content(batch, room) } else { Vec::new() })
        });
        each.collect()
    }

    /// The largest ratio of a strip's worth to its length, as a fraction: numerator, denominator.
    pub(super) fn steepest(&self, bonus: i64) -> (i64, i64) {
        let points = self.points.iter().map(|point| {
            let piece = self.work.piece(point.room as i64 * self.work.grid);
            (point.worth + bonus, PART * piece)
        });
        points
            .filter(|point| point.0 > 0)
            .max_by(|a, b| (i128::from(a.0) * i128::from(b.1)).cmp(&(i128::from(b.0) * i128::from(a.1))))
            .unwrap_or((0, 1))
    }

    fn content(&self, batch: usize, mut room: usize) -> Content {
        let mut content: Content = Vec::new();
        for (kind, count, taken) in self.tables[batch].steps.iter().rev() {
            if taken[room / 64] >> (room % 64) & 1 == 1 {
                room -= (self.work.kinds[*kind].size / self.work.grid) as usize * *count as usize;
                match content.last_mut() {
                    Some(last) if last.0 == *kind => last.1 += count,
                    _ => content.push((*kind, *count)),
                }
            }
        }
        if content.is_empty()
            && let Some((kind, _)) = self.tables[batch].smallest
        {
            content.push((kind, 1));
        }
        content
    }
}

fn table(work: &Work, prices: &[i64], counts: &[u32], batch: std::ops::Range<usize>) -> Table {
    let width = (work.capacity / work.grid) as usize + 1;
    let mut worth = vec![0i64; width];
    let mut steps = Vec::new();
    let left = batch.clone().filter(|&kind| counts[kind] > 0).map(|kind| (work.kinds[kind].size, kind));
    let smallest = left.min().map(|(size, kind)| (kind, (size / work.grid) as usize));
    for kind in batch {
        let it = &work.kinds[kind];
        if prices[kind] <= 0 {
            continue;
        }
        let mut left = i64::from(counts[kind]).min(work.capacity / it.size.max(1));
        let mut times = 1;
        while left > 0 {
            let now = times.min(left);
            let (size, price) = ((it.size / work.grid * now) as usize, prices[kind] * now);
            let mut taken = vec![0u64; width.div_ceil(64)];
            for room in (size..width).rev() {
                let with = worth[room - size] + price;
                if with > worth[room] {
                    worth[room] = with;
                    taken[room / 64] |= 1 << (room % 64);
                }
            }
            steps.push((kind, now as u32, taken));
            left -= now;
            times *= 2;
        }
    }
    Table { worth, smallest, steps }
}

impl Table {
    /// Rooms that a strip can have, and what the dearest content is worth there.
    fn rooms(&self) -> impl Iterator<Item = (usize, &i64)> {
        let least = self.smallest.map_or(self.worth.len(), |(_, room)| room);
        self.worth.iter().enumerate().skip(least)
    }
}
