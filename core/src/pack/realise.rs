//! A choice of cartridges made into loads: emptied cartridges are filled as far as can be, kept ones
//! get the rest on few strips.

use super::choice::Choice;
use super::kinds::{Content, Load, Work};
use super::sums::{Prefer, fill, mixed};

/// How units are taken.
#[derive(Clone, Copy, Debug)]
pub(super) struct Manner {
    pub(super) prefer: Prefer,
    /// Batches of which some is printed are finished first.
    pub(super) finish: bool,
    /// Long cartridges first.
    pub(super) long_first: bool,
    /// Kinds searched for an exact total.
    pub(super) searched: usize,
}

/// The units that are not yet on a strip.
pub(super) struct Left<'w> {
    pub(super) work: &'w Work,
    pub(super) counts: Vec<u32>,
    pub(super) volume: i64,
}

impl<'w> Left<'w> {
    pub(super) fn new(work: &'w Work, counts: Vec<u32>) -> Self {
        let volume = counts.iter().zip(&work.kinds).map(|(&count, kind)| kind.size * i64::from(count)).sum();
        Self { work, counts, volume }
    }

    pub(super) fn take(&mut self, content: &Content) {
        for &(kind, count) in content {
            self.counts[kind] -= count;
        }
        self.volume -= self.work.size(content);
    }

    fn smallest(&self) -> i64 {
        let left = self.counts.iter().zip(&self.work.kinds).filter(|(count, _)| **count > 0);
        left.map(|(_, kind)| kind.size).min().unwrap_or(i64::MAX)
    }

    /// The fullest strip of any batch; of equally full ones, that of the batch with most left.
    pub(super) fn fullest(&self, room: i64, manner: Manner) -> (i64, Content) {
        let batches = (0..self.work.batches.len()).map(|batch| {
            let (size, content) = fill(self.work, &self.counts, batch, room, manner.prefer, manner.searched);
            let left = self.work.batches[batch].clone().map(|k| i64::from(self.counts[k]) * self.work.kinds[k].size);
            (size, left.sum::<i64>(), content)
        });
        let (size, _, content) = batches.max_by_key(|(size, left, _)| (*size, *left)).unwrap_or_default();
        (size, content)
    }

    /// All that is left of a batch of which some is printed, the largest that fits one strip: a batch
    /// in pieces costs more strips than it must.
    fn begun(&self, room: i64) -> Option<Content> {
        let work = self.work;
        if work.batches.len() < 2 {
            return None;
        }
        let rests = work.batches.iter().filter_map(|batch| {
            let kinds = batch.clone();
            if kinds.clone().all(|kind| self.counts[kind] == work.kinds[kind].count) {
                return None;
            }
            let content: Content =
                kinds.map(|kind| (kind, self.counts[kind])).filter(|&(_, count)| count > 0).collect();
            let labels: u64 =
                content.iter().map(|&(kind, count)| u64::from(count) * u64::from(work.kinds[kind].labels)).sum();
            let size = work.size(&content);
            (size > 0 && size <= room && labels <= u64::from(work.labels)).then_some((size, content))
        });
        rests.max_by_key(|(size, _)| *size).map(|(_, content)| content)
    }

    /// Fills this much tape with strips and takes their units.
    pub(super) fn load(&mut self, tape: i64, strip: i64, manner: Manner) -> Vec<Content> {
        let work = self.work;
        let mut tape = tape;
        let mut strips = Vec::new();
        while self.volume > 0 && tape >= work.piece(self.smallest()) {
            let room = (tape - work.extra).min(work.capacity);
            let rest = tape - work.extra - strip;
            // A strip that leaves less than another one needs, though two would fit: share it out.
            let spare = spare(tape, work.extra, strip);
            let begun = if manner.finish { self.begun(room) } else { None };
            let content = if let Some(content) = begun {
                content
            } else if let (Prefer::Mixed(seed), true) = (manner.prefer, spare > 0 && rest > work.extra + strip) {
                let less = i64::from(mixed(seed, strips.len() as u32) % 256) * spare / 512;
                self.fullest((strip - less).min(room), manner).1
            } else if room >= strip && rest > 0 && rest < work.extra + strip {
                self.share(tape - 2 * work.extra, strip, manner)
            } else {
                self.fullest(room, manner).1
            };
            let piece = work.piece(work.size(&content));
            if content.is_empty() || piece > tape {
                break;
            }
            tape -= piece;
            self.take(&content);
            strips.push(content);
        }
        strips
    }

    /// The first of two strips that together have this size, or come close.
    fn share(&self, size: i64, strip: i64, manner: Manner) -> Content {
        let (_, full) = self.fullest(strip, manner);
        if size <= strip {
            let (one, content) = self.fullest(size.max(0).min(strip), manner);
            return if one >= self.work.size(&full) { content } else { full };
        }
        let mut best: Option<(i64, Content)> = None;
        let mut room = strip;
        for _ in 0..6 {
            let (first, content) = self.fullest(room, manner);
            if first < size - strip || content.is_empty() {
                break;
            }
            let mut rest = Self { work: self.work, counts: self.counts.clone(), volume: self.volume };
            rest.take(&content);
            let (second, _) = rest.fullest((size - first).min(self.work.capacity), manner);
            let both = first + second;
            if best.as_ref().is_none_or(|best| both > best.0) {
                best = Some((both, content));
            }
            if both == size {
                break;
            }
            room = first - 1 - (first - (size - strip)).max(0) / 8;
        }
        best.map_or(full, |(_, content)| content)
    }

    /// All that is left as few strips, each as full as can be.
    pub(super) fn strips(&mut self, manner: Manner) -> Vec<Content> {
        let mut strips = Vec::new();
        for batch in 0..self.work.batches.len() {
            loop {
                let (_, content) =
                    fill(self.work, &self.counts, batch, self.work.capacity, manner.prefer, manner.searched);
                if content.is_empty() {
                    break;
                }
                self.take(&content);
                strips.push(content);
            }
        }
        strips
    }
}

/// How much less than full the strips on this much tape may be together.
fn spare(tape: i64, extra: i64, strip: i64) -> i64 {
    let count = (tape + extra + strip - 1) / (extra + strip).max(1);
    count * strip - (tape - count * extra)
}

/// Makes loads of a choice; `None` if something does not fit in this manner.
pub(super) fn realise(work: &Work, choice: &Choice, strip: i64, manner: Manner) -> Option<Vec<Load>> {
    let mut left = Left::new(work, work.counts());
    let mut emptied = spread(&choice.emptied);
    emptied.sort_by_key(
        |&class| {
            if manner.long_first { -work.classes[class].usable } else { work.classes[class].usable }
        },
    );
    let mut loads = Vec::new();
    for class in emptied {
        let strips = left.load(work.classes[class].usable, strip, manner);
        loads.push(Load { class, strips });
    }
    rest(work, &mut left, &choice.kept, strip, manner, &mut loads)?;
    Some(loads)
}

fn spread(counts: &[u32]) -> Vec<usize> {
    counts.iter().enumerate().flat_map(|(class, &count)| std::iter::repeat_n(class, count as usize)).collect()
}

/// Puts what is left on the kept cartridges.
pub(super) fn rest(
    work: &Work,
    left: &mut Left,
    kept: &[u32],
    strip: i64,
    manner: Manner,
    loads: &mut Vec<Load>,
) -> Option<()> {
    let mut kept = spread(kept);
    kept.sort_by_key(|&class| -work.classes[class].usable);
    if let [class] = kept[..] {
        let strips =
            if work.single { left.load(work.classes[class].usable, strip, manner) } else { left.strips(manner) };
        if left.volume > 0 || work.tape(&strips) > work.classes[class].usable {
            return None;
        }
        loads.push(Load { class, strips });
        return Some(());
    }
    for class in kept {
        let tape = if work.classes[class].keeps > 0 { work.classes[class].keeps } else { work.classes[class].usable };
        let strips = left.load(tape, strip, manner);
        loads.push(Load { class, strips });
    }
    (left.volume == 0).then_some(())
}
