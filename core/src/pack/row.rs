//! Least tape for consecutive items on one cartridge.

use super::Task;

/// The items of a list as sums, and how far a strip can reach from each.
pub(super) struct Rows<'t> {
    task: &'t Task,
    /// Sizes before each item.
    sums: Vec<i64>,
    /// End of the longest strip that begins at each item.
    ends: Vec<usize>,
    /// The longest strips, one after another, are least.
    greedy: bool,
}

impl<'t> Rows<'t> {
    /// Of a task whose items all fit a strip.
    pub(super) fn new(task: &'t Task) -> Self {
        let medium = &task.medium;
        let n = task.items.len();
        let mut sums = vec![0; n + 1];
        for (i, item) in task.items.iter().enumerate() {
            sums[i + 1] = sums[i] + medium.size(item);
        }
        let mut ends = vec![0; n];
        let (mut end, mut labels) = (0, 0i64);
        for begin in 0..n {
            if end <= begin {
                end = begin;
                labels = 0;
            }
            while end < n
                && task.items[end].batch == task.items[begin].batch
                && (end == begin
                    || sums[end + 1] - sums[begin] <= medium.capacity()
                        && labels + i64::from(task.items[end].labels) <= i64::from(medium.most_labels()))
            {
                labels += i64::from(task.items[end].labels);
                end += 1;
            }
            ends[begin] = end;
            labels -= i64::from(task.items[begin].labels);
        }
        let sizes = || task.items.iter().map(|item| medium.size(item));
        let (least, most) = (sizes().min().unwrap_or(0), sizes().max().unwrap_or(0));
        let never_padded = medium.piece(least) == medium.extra() + least;
        // A last strip that is too short takes items from the one before it, which has enough.
        let one_batch = task.items.windows(2).all(|pair| pair[0].batch == pair[1].batch);
        let lends = || {
            let full = (0..n).filter(|&begin| ends[begin] < n);
            let mut raws = full.map(|begin| medium.extra() + sums[ends[begin]] - sums[begin]);
            one_batch && raws.all(|raw| raw >= 2 * medium.min_piece + most)
        };
        let greedy = medium.extra() >= 0 && (never_padded || lends());
        Self { task, sums, ends, greedy }
    }

    pub(super) fn len(&self) -> usize {
        self.ends.len()
    }

    /// Least tape for `begin..end`, for rising `end`, while it is within the limit.
    pub(super) fn each(&self, begin: usize, limit: i64, visit: &mut dyn FnMut(usize, i64)) {
        let medium = &self.task.medium;
        if !self.greedy {
            self.each_padded(begin, limit, visit);
            return;
        }
        let (extra, mut first, mut before) = (medium.extra(), begin, 0);
        let base = self.sums[begin];
        for end in begin + 1..=self.len() {
            if end > self.ends[first] {
                first = end - 1;
                before += extra;
            }
            let mut tape = before + extra + self.sums[end] - base;
            if first == begin {
                tape = tape.max(medium.min_piece);
            }
            if tape > limit {
                return;
            }
            visit(end, tape);
        }
    }

    fn each_padded(&self, begin: usize, limit: i64, visit: &mut dyn FnMut(usize, i64)) {
        let mut least = vec![0];
        let mut first = begin;
        for end in begin + 1..=self.len() {
            let (tape, _) = self.last_strip(begin, &mut first, end, &least);
            if tape > limit {
                return;
            }
            least.push(tape);
            visit(end, tape);
        }
    }

    /// Least tape for `begin..end` and where its last strip begins, from those of shorter runs.
    fn last_strip(&self, begin: usize, first: &mut usize, end: usize, least: &[i64]) -> (i64, usize) {
        while self.ends[*first] < end {
            *first += 1;
        }
        let tapes = (*first..end)
            .map(|from| (least[from - begin] + self.task.medium.piece(self.sums[end] - self.sums[from]), from));
        tapes.min().unwrap_or((i64::MAX, begin))
    }

    /// The strips of least tape for `begin..end`.
    pub(super) fn strips(&self, begin: usize, end: usize) -> Vec<Vec<usize>> {
        let (mut least, mut froms) = (vec![0], vec![begin]);
        let mut first = begin;
        for at in begin + 1..=end {
            let (tape, from) = self.last_strip(begin, &mut first, at, &least);
            least.push(tape);
            froms.push(from);
        }
        let mut strips = Vec::new();
        let mut at = end;
        while at > begin {
            let from = froms[at - begin];
            strips.push((from..at).collect());
            at = from;
        }
        strips.reverse();
        strips
    }

    /// Least tape for `begin..` if one cartridge were long enough.
    pub(super) fn rest(&self, begin: usize) -> i64 {
        let mut all = 0;
        self.each(begin, i64::MAX, &mut |_, tape| all = tape);
        all
    }
}
