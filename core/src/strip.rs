//! Labels to strips: which labels are printed in one go, where cuts fall, and where every dot of
//! tape goes.
//!
//! Everything is measured at the cutter, in whole dots of feed. The lead of a strip is the tape
//! that stood between head and cutter before it, so what one strip leaves there is not charged twice.

use crate::media::{Cutter, Cutting, Printer, Stock};
use crate::unit::{Dots, Dpi};
use std::ops::Range;

/// What parts two labels of a strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// A cut through the label but not the backing.
    Half,
    /// A cut right through.
    Full,
    /// A printed guide for scissors.
    Snip,
}

impl Between {
    /// Its word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Half => "half",
            Self::Full => "full",
            Self::Snip => "snip",
        }
    }

    /// The one with this word.
    pub fn named(word: &str) -> Option<Self> {
        [Self::Half, Self::Full, Self::Snip].into_iter().find(|between| between.word() == word)
    }

    /// The best that printer and stock allow: half cuts, else full cuts, else printed guides.
    pub fn allowed(printer: &Printer, stock: &Stock) -> Self {
        match (printer.cutter, stock.cutting) {
            (Cutter::HalfAndFull, Cutting::Half) => Self::Half,
            (Cutter::None, _) | (_, Cutting::None) => Self::Snip,
            _ => Self::Full,
        }
    }
}

/// A cut of the cutter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Through the label, not the backing.
    Half,
    /// Right through.
    Full,
}

/// Lengths and limits of a printer with a stock, in dots along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Blank before the first label.
    pub lead: Dots,
    /// Between two labels.
    pub gap: Dots,
    /// Blank after the last label.
    pub trail: Dots,
    /// Least piece between two full cuts.
    pub min_piece: Dots,
    /// Longest strip.
    pub max_strip: Dots,
    /// Most labels in a strip; 0 for no limit.
    pub max_labels: u32,
    /// What parts labels.
    pub between: Between,
    /// Whether the printer cuts the strip off at its end.
    pub cut_off: bool,
    /// Tape in a full cartridge.
    pub cartridge: Dots,
    /// Fed when a cartridge is mounted.
    pub load: Dots,
    /// Fed out when a cartridge is taken out to be kept.
    pub tail: Dots,
    /// End of a cartridge that cannot be printed.
    pub reserve: Dots,
    /// Remnants shorter than this are thrown away.
    pub min_remnant: Dots,
}

impl Rules {
    /// The rules of a printer with a stock; `between` overrides what would be chosen.
    pub fn new(printer: &Printer, stock: &Stock, between: Option<Between>) -> Self {
        let dots = |length| printer.along.dots_covering(length);
        Self {
            lead: dots(printer.lead),
            gap: dots(printer.gap),
            trail: dots(printer.trail),
            min_piece: dots(printer.min_piece),
            max_strip: printer.along.dots_within(printer.max_strip),
            max_labels: printer.max_labels,
            between: between.unwrap_or_else(|| Between::allowed(printer, stock)),
            cut_off: printer.cutter != Cutter::None && stock.cutting != Cutting::None,
            cartridge: printer.along.dots_within(stock.length),
            load: dots(printer.load),
            tail: dots(printer.tail),
            reserve: dots(printer.reserve),
            min_remnant: dots(printer.min_remnant),
        }
    }

    /// The same, but every label cut on its own.
    #[must_use]
    pub const fn singly(mut self) -> Self {
        self.max_labels = 1;
        self
    }

    /// Tape a full cartridge can give to strips.
    pub fn usable(&self) -> Dots {
        self.cartridge - self.load - self.reserve
    }

    /// The longest piece that may be made.
    pub fn longest_piece(&self) -> Dots {
        self.max_strip.min(self.usable())
    }

    /// Whether these labels fit one strip.
    pub fn holds_all(&self, labels: &[Dots]) -> bool {
        let few = self.max_labels == 0 || labels.len() <= self.max_labels as usize;
        few && (labels.is_empty() || Strip::new(self, labels).length <= self.longest_piece())
    }

    /// The least and the most pad a label gets for itself, by its place on the strip. Both are 0 but
    /// between full cuts: elsewhere only a whole strip is padded.
    pub fn pads(&self, label: Dots) -> (Dots, Dots) {
        if self.between != Between::Full {
            return (Dots::ZERO, Dots::ZERO);
        }
        let front = if self.front_cut().is_none() { self.lead } else { self.gap_before() };
        let (before, after) = (front.max(self.gap_before()), self.trail.max(self.gap_after()));
        let least = (self.min_piece - (before + label + after)).max(Dots::ZERO);
        let (before, after) = (front.min(self.gap_before()), self.trail.min(self.gap_after()));
        (least, (self.min_piece - (before + label + after)).max(Dots::ZERO))
    }

    /// Whether a label of this length fits a strip on its own.
    pub fn holds(&self, label: Dots) -> bool {
        Run::new(self, label).piece() <= self.longest_piece()
    }

    /// The longest label a strip of its own can hold.
    pub fn longest_label(&self) -> Dots {
        (self.longest_piece() - self.lead - self.trail).max(Dots::ZERO)
    }

    /// Blank of the gap that stays with the label after it; the rest stays with the one before.
    const fn gap_before(&self) -> Dots {
        Dots(self.gap.0 - self.gap.0 / 2)
    }

    const fn gap_after(&self) -> Dots {
        Dots(self.gap.0 / 2)
    }

    /// Where the lead is parted from the first label, if it is. No guide can be printed there: the
    /// lead has passed the head before the strip begins.
    fn front_cut(&self) -> Option<Dots> {
        let at = self.lead - self.gap_before();
        match self.between {
            Between::Half => (at > Dots::ZERO).then_some(at),
            Between::Full => (at > Dots::ZERO && at >= self.min_piece).then_some(at),
            Between::Snip => None,
        }
    }

    /// Pad after a label that a full cut follows, so that the piece can be parted and pushed out.
    fn pad_inside(&self, label: Dots, first: bool) -> Dots {
        if self.between != Between::Full {
            return Dots::ZERO;
        }
        let before = if first && self.front_cut().is_none() { self.lead } else { self.gap_before() };
        (self.min_piece - (before + label + self.gap_after())).max(Dots::ZERO)
    }

    /// Pad after the last label of a strip.
    fn pad_at_end(&self, label: Dots, first: bool, raw: Dots) -> Dots {
        if self.between == Between::Full && !(first && self.front_cut().is_none()) {
            (self.min_piece - (self.gap_before() + label + self.trail)).max(Dots::ZERO)
        } else if self.between == Between::Full {
            (self.min_piece - (self.lead + label + self.trail)).max(Dots::ZERO)
        } else {
            (self.min_piece - raw).max(Dots::ZERO)
        }
    }
}

/// Consecutive labels taken as one strip, grown towards the front.
#[derive(Clone, Copy)]
struct Run<'r> {
    rules: &'r Rules,
    labels: u32,
    last: Dots,
    /// First label of the run; equal to `last` for one label.
    first: Dots,
    /// Labels, gaps and pads between the first label and the last, without those two.
    middle: Dots,
}

impl<'r> Run<'r> {
    const fn new(rules: &'r Rules, last: Dots) -> Self {
        Self { rules, labels: 1, last, first: last, middle: Dots::ZERO }
    }

    fn grow(&mut self, label: Dots) {
        if self.labels > 1 {
            self.middle += self.first + self.rules.pad_inside(self.first, false) + self.rules.gap;
        }
        self.first = label;
        self.labels += 1;
    }

    fn piece(&self) -> Dots {
        let rules = self.rules;
        let inside = if self.labels == 1 {
            Dots::ZERO
        } else {
            self.first + rules.pad_inside(self.first, true) + rules.gap + self.middle
        };
        let raw = rules.lead + inside + self.last + rules.trail;
        raw + rules.pad_at_end(self.last, self.labels == 1, raw)
    }
}

/// Where every dot of tape went.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// The labels themselves.
    pub label: Dots,
    /// Blank before first labels.
    pub lead: Dots,
    /// Between labels.
    pub gap: Dots,
    /// Blank after last labels.
    pub trail: Dots,
    /// Added to reach the least piece.
    pub pad: Dots,
    /// Fed at mounting.
    pub load: Dots,
    /// Fed out when a cartridge was taken out.
    pub tail: Dots,
    /// Remnants too short to use.
    pub scrap: Dots,
}

impl Ledger {
    /// Everything that is not label.
    pub fn waste(&self) -> Dots {
        self.lead + self.gap + self.trail + self.pad + self.load + self.tail + self.scrap
    }

    /// Adds another one's figures.
    pub fn add(&mut self, other: &Self) {
        self.label += other.label;
        self.lead += other.lead;
        self.gap += other.gap;
        self.trail += other.trail;
        self.pad += other.pad;
        self.load += other.load;
        self.tail += other.tail;
        self.scrap += other.scrap;
    }

    /// Tape used: labels and waste.
    pub fn tape(&self) -> Dots {
        self.label + self.waste()
    }
}

/// A cartridge as the plan uses it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mount {
    /// Strips printed from it.
    pub strips: Range<usize>,
    /// Tape left on it that goes back to the shelf (or stays mounted).
    pub returned: Dots,
}

/// Labels on strips, strips on cartridges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Labels of each strip.
    pub strips: Vec<Range<usize>>,
    /// Cartridges in the order they are mounted.
    pub mounts: Vec<Mount>,
    /// Where the tape went.
    pub ledger: Ledger,
    /// Cuts made, of either kind.
    pub cuts: u64,
    /// No plan that keeps the order, on full cartridges, uses less tape than this.
    pub bound: Dots,
}

/// One strip with every position, in dots from its front edge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Strip {
    /// Whole length of the piece.
    pub length: Dots,
    /// Start of each label.
    pub starts: Vec<Dots>,
    /// Cuts, in order.
    pub cuts: Vec<(Dots, Cut)>,
    /// Printed guides for scissors.
    pub guides: Vec<Dots>,
    /// The strip's own part of the ledger.
    pub ledger: Ledger,
}

impl Strip {
    /// Lays labels of these lengths out as one strip.
    ///
    /// # Panics
    /// On an empty list: a strip has a label.
    pub fn new(rules: &Rules, labels: &[Dots]) -> Self {
        assert!(!labels.is_empty(), "a strip without labels");
        let mut strip = Self {
            length: Dots::ZERO,
            starts: Vec::with_capacity(labels.len()),
            cuts: Vec::with_capacity(labels.len() + 2),
            guides: Vec::new(),
            ledger: Ledger { lead: rules.lead, trail: rules.trail, ..Ledger::default() },
        };
        if let Some(at) = rules.front_cut() {
            strip.part(rules, at);
        }
        let mut at = rules.lead;
        for (index, &label) in labels.iter().enumerate() {
            strip.starts.push(at);
            strip.ledger.label += label;
            at += label;
            if index + 1 < labels.len() {
                let pad = rules.pad_inside(label, index == 0);
                strip.ledger.pad += pad;
                strip.ledger.gap += rules.gap;
                strip.part(rules, at + pad + rules.gap_after());
                at += pad + rules.gap;
            }
        }
        let last = labels[labels.len() - 1];
        let pad = rules.pad_at_end(last, labels.len() == 1, at + rules.trail);
        strip.ledger.pad += pad;
        strip.length = at + rules.trail + pad;
        // Peels like the others: with half a gap of blank, the rest stays on the backing.
        if rules.between != Between::Full && strip.length > at + rules.gap_after() {
            strip.part(rules, at + rules.gap_after());
        }
        if rules.cut_off {
            strip.cuts.push((strip.length, Cut::Full));
        }
        strip
    }

    fn part(&mut self, rules: &Rules, at: Dots) {
        match rules.between {
            Between::Half => self.cuts.push((at, Cut::Half)),
            Between::Full => self.cuts.push((at, Cut::Full)),
            Between::Snip => self.guides.push(at),
        }
    }
}

/// The state after some labels: cartridges begun before the mounted one, and dots used on it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct State {
    cartridge: u32,
    used: i64,
}

/// Plans strips for labels in their order, on full cartridges mounted one after another.
///
/// `lengths` are labels in dots; `joined[i]` says that label `i + 1` must be on the strip of label
/// `i` (the two ends of a cable). A pair longer than a strip is parted all the same. The plan uses
/// the fewest cartridges, then the least tape: an exact dynamic program, `O(n · labels per strip)`
/// time, 16 bytes a label. `taken_out` says that the last cartridge leaves the printer too.
///
/// The order of states is total and more tape never helps, so the least state after each label is
/// enough; this also holds for printers that draw the tape back (lead + trail < gap), where parting
/// beats chaining.
///
/// # Panics
/// If a label is longer than [`Rules::holds`] allows; the caller leaves those out first.
pub fn plan(rules: &Rules, lengths: &[Dots], joined: &[bool], taken_out: bool) -> Plan {
    let strips = partition(rules, lengths, joined, rules.usable());
    let mut ledger = Ledger::default();
    let mut cuts = 0;
    let mut mounts: Vec<Mount> = Vec::new();
    let mut used = Dots::ZERO;
    for (index, labels) in strips.iter().enumerate() {
        let strip = Strip::new(rules, &lengths[labels.clone()]);
        ledger.add(&strip.ledger);
        cuts += strip.cuts.len() as u64;
        match mounts.last_mut() {
            Some(mount) if used + strip.length <= rules.usable() => mount.strips.end = index + 1,
            before => {
                if let Some(mount) = before {
                    mount.returned = take_out(rules, rules.cartridge - rules.load - used, &mut ledger);
                }
                mounts.push(Mount { strips: index..index + 1, returned: Dots::ZERO });
                ledger.load += rules.load;
                used = Dots::ZERO;
            }
        }
        used += strip.length;
    }
    if let Some(mount) = mounts.last_mut() {
        let left = rules.cartridge - rules.load - used;
        mount.returned = if taken_out { take_out(rules, left, &mut ledger) } else { left };
    }
    let bound = bound(rules, lengths, joined);
    Plan { strips, mounts, bound: bound.min(ledger.tape()), ledger, cuts }
}

/// A cartridge leaves the printer with this much on it: kept, or thrown away.
pub(crate) fn take_out(rules: &Rules, left: Dots, ledger: &mut Ledger) -> Dots {
    if left >= rules.min_remnant + rules.tail && left > rules.tail {
        ledger.tail += rules.tail;
        left - rules.tail
    } else {
        ledger.scrap += left;
        Dots::ZERO
    }
}

/// Least tape of the strips alone, as if on one endless cartridge, and the mounts it cannot do without.
fn bound(rules: &Rules, lengths: &[Dots], joined: &[bool]) -> Dots {
    if lengths.is_empty() {
        return Dots::ZERO;
    }
    let strips = partition(rules, lengths, joined, Dots(i64::MAX / 4));
    let tape: Dots = strips.iter().map(|labels| Strip::new(rules, &lengths[labels.clone()]).length).sum();
    let mounts = (tape.0 + rules.usable().0 - 1) / rules.usable().0.max(1);
    tape + rules.load * mounts.max(1)
}

/// Cuts the list into strips: fewest cartridges of `usable` dots, then least tape.
fn partition(rules: &Rules, lengths: &[Dots], joined: &[bool], usable: Dots) -> Vec<Range<usize>> {
    let limit = rules.longest_piece();
    let most = if rules.max_labels == 0 { usize::MAX } else { rules.max_labels as usize };
    // A strip may begin at label i unless i is the second of a pair that fits together.
    let may_begin = |i: usize| {
        if i == 0 || !joined[i - 1] {
            return true;
        }
        let mut pair = Run::new(rules, lengths[i]);
        pair.grow(lengths[i - 1]);
        most < 2 || pair.piece() > limit
    };
    let worst = State { cartridge: u32::MAX, used: i64::MAX };
    let mut best = vec![(worst, 0u32); lengths.len() + 1];
    best[0] = (State { cartridge: 0, used: 0 }, 0);
    for end in 1..=lengths.len() {
        if end < lengths.len() && !may_begin(end) {
            continue;
        }
        let mut run = Run::new(rules, lengths[end - 1]);
        let mut begin = end - 1;
        loop {
            let piece = run.piece();
            // Pieces grow with every label, but for the first label's pad: stop a pad later.
            if piece > limit + rules.min_piece {
                break;
            }
            let (before, _) = best[begin];
            if piece <= limit && before != worst {
                let state = if before.used + piece.0 <= usable.0 {
                    State { cartridge: before.cartridge, used: before.used + piece.0 }
                } else {
                    State { cartridge: before.cartridge + 1, used: piece.0 }
                };
                if state < best[end].0 {
                    best[end] = (state, u32::try_from(begin).expect("lists are shorter than 2^32 labels"));
                }
            }
            if begin == 0 || end - begin >= most {
                break;
            }
            begin -= 1;
            run.grow(lengths[begin]);
        }
        assert!(best[end].0 != worst || !may_begin(end), "label {end} fits no strip");
    }
    let mut strips = Vec::new();
    let mut end = lengths.len();
    while end > 0 {
        let begin = best[end].1 as usize;
        strips.push(begin..end);
        end = begin;
    }
    strips.reverse();
    strips
}

/// Time to print: feed and cuts, in milliseconds; cartridge changes come on top.
pub fn print_ms(printer: &Printer, tape: Dots, cuts: u64, along: Dpi) -> i64 {
    let feed = along.length(tape).0 * 1000 / printer.speed.0.max(1);
    feed + i64::try_from(cuts).unwrap_or(i64::MAX).saturating_mul(printer.cut_ms)
}

#[cfg(test)]
mod tests;
