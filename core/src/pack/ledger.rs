//! Where the tape of a plan goes, and whether a plan is one.

use super::{Aside, CartridgeOrder, Mount, Order, Plan, Task};

/// Where every unit of tape goes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// The labels themselves.
    pub label: i64,
    /// Blank before first labels.
    pub lead: i64,
    /// Between labels.
    pub gap: i64,
    /// Blank after last labels.
    pub trail: i64,
    /// Added to reach the least piece.
    pub pad: i64,
    /// Fed at mounting.
    pub load: i64,
    /// Fed out when cartridges are taken out to be kept, and when the one in the printer makes room.
    pub tail: i64,
    /// Remnants thrown away.
    pub scrap: i64,
    /// Strips printed.
    pub strips: i64,
    /// Cartridges used.
    pub mounts: i64,
    /// Cartridges kept after use.
    pub kept: i64,
    /// Sum of the fixed costs of the cartridges used.
    pub fixed: i64,
    /// What it costs, beyond its tail, that the cartridge in the printer is not the first mount.
    pub aside: i64,
    /// Waste, fixed costs, costs of keeping and of what is put aside.
    pub cost: i64,
}

impl Ledger {
    /// Everything that is not label.
    pub const fn waste(&self) -> i64 {
        self.lead + self.gap + self.trail + self.pad + self.load + self.tail + self.scrap
    }

    /// Tape that is gone: labels and waste.
    pub const fn tape(&self) -> i64 {
        self.label + self.waste()
    }
}

/// Checks a plan against its task and adds its ledger up again.
///
/// # Errors
/// A sentence on the first rule that is broken.
pub fn check(task: &Task, plan: &Plan) -> Result<Ledger, String> {
    let ledger = check_mounts(task, &plan.mounts)?;
    if ledger != plan.ledger || ledger.cost != plan.cost {
        return Err(format!("found the ledger {:?}, wanted {ledger:?}", plan.ledger));
    }
    if plan.bound > plan.cost || plan.proven != (plan.bound == plan.cost) {
        return Err(format!("found the bound {}, wanted it at most {}", plan.bound, plan.cost));
    }
    Ok(ledger)
}

pub(super) fn check_mounts(task: &Task, mounts: &[Mount]) -> Result<Ledger, String> {
    let medium = &task.medium;
    let mut ledger = Ledger::default();
    let mut seen = vec![false; task.items.len()];
    let mut uses = vec![0u32; task.cartridges.len()];
    let mut next = 0;
    let mut gone = 0;
    let there = task.aside();
    let first = mounts.first().map(|mount| mount.cartridge);
    let aside = there.filter(|aside| first.is_some_and(|first| first != aside.cartridge));
    for (at, mount) in mounts.iter().enumerate() {
        let cartridge =
            task.cartridges.get(mount.cartridge).ok_or_else(|| format!("no cartridge {}", mount.cartridge))?;
        if uses[mount.cartridge] == cartridge.count {
            return Err(format!("cartridge {} is mounted more than {} times", mount.cartridge, cartridge.count));
        }
        let mounted = at == 0 && there.is_some_and(|there| there.cartridge == mount.cartridge);
        let tail = aside.filter(|aside| aside.cartridge == mount.cartridge).map_or(0, |aside| aside.tail);
        let length = cartridge.length - tail;
        uses[mount.cartridge] += 1;
        let load = if mounted { 0 } else { medium.load };
        let mut tape = 0;
        for strip in &mount.strips {
            let mut size = 0;
            let mut labels = 0;
            for &item in strip {
                let it = task.items.get(item).ok_or_else(|| format!("no item {item}"))?;
                if std::mem::replace(&mut seen[item], true) {
                    return Err(format!("item {item} is printed twice"));
                }
                if matches!(task.order, Order::List { .. }) && item != next {
                    return Err(format!("item {item} is printed before item {next}"));
                }
                if it.batch != task.items[strip[0]].batch {
                    return Err(format!("items {} and {item} of two batches share a strip", strip[0]));
                }
                next += 1;
                size += medium.size(it);
                labels += i64::from(it.labels);
                ledger.label += it.length;
            }
            let alone = strip.len() == 1 && medium.max_labels == 1;
            if strip.is_empty() || (labels > i64::from(medium.most_labels()) && !alone) {
                return Err(format!("a strip of {labels} labels, wanted 1 to {}", medium.most_labels()));
            }
            let piece = medium.piece(size);
            if piece > medium.max_strip {
                return Err(format!("a strip of {piece}, wanted {} at most", medium.max_strip));
            }
            ledger.strips += 1;
            ledger.lead += medium.lead;
            ledger.trail += medium.trail;
            ledger.gap += medium.gap * (labels - 1);
            ledger.pad += piece - medium.extra() - size;
            tape += piece;
        }
        let left = length - load - tape;
        if left < medium.reserve || mount.strips.is_empty() {
            return Err(format!("cartridge {} has {left} left, wanted {}", mount.cartridge, medium.reserve));
        }
        ledger.mounts += 1;
        ledger.load += load;
        ledger.fixed += if mounted { 0 } else { cartridge.fixed };
        gone += length;
        if left >= medium.least_kept() {
            ledger.kept += 1;
            ledger.tail += medium.tail;
            gone -= left - medium.tail;
        } else {
            ledger.scrap += left;
        }
    }
    if let Some(item) = seen.iter().position(|seen| !seen) {
        return Err(format!("item {item} is not printed"));
    }
    if let Order::List { cartridges: CartridgeOrder::Given } = task.order {
        let rank = |index: usize| (!task.cartridges[index].mounted, index);
        if !mounts.iter().map(|mount| rank(mount.cartridge)).is_sorted() {
            return Err("cartridges are not in their order".to_owned());
        }
    }
    if let Some(aside) = aside {
        let again = if uses[aside.cartridge] == 0 { aside.again } else { 0 };
        ledger.aside = again + Aside::TIE;
        ledger.tail += aside.tail;
        gone += aside.tail;
    }
    if gone != ledger.tape() {
        return Err(format!("{gone} of tape is gone, labels and waste are {}", ledger.tape()));
    }
    ledger.cost = ledger.waste() + ledger.fixed + medium.keep_cost * ledger.kept + ledger.aside;
    Ok(ledger)
}
