//! Why labels have the builds they have, in sentences.

use super::{Job, Slot, StockPlan, Why};
use crate::layout::Build;
use crate::unit::Micrometres;

/// Labels of one build for one reason, and their cables from the thinnest to the thickest.
struct Alike {
    build: Build,
    why: Why,
    labels: usize,
    diameters: Option<(Micrometres, Micrometres)>,
}

impl Job {
    /// Why a label has its build, in one sentence.
    pub fn reason(&self, plan: &StockPlan, slot: Slot) -> String {
        let od = self.diameter(slot);
        slot.why.sentence(slot.build, &self.stocks[plan.stock], od.map(|od| (od, od)))
    }

    /// Why labels have the builds they have: how many labels, and the reason in one sentence. Labels
    /// of one build for one reason are told together.
    pub fn reasons(&self, plan: &StockPlan) -> Vec<(usize, String)> {
        let mut groups: Vec<Alike> = Vec::new();
        for &slot in &plan.slots {
            let od = self.diameter(slot).map(|od| (od, od));
            match groups.iter_mut().find(|group| (group.build, group.why) == (slot.build, slot.why)) {
                None => groups.push(Alike { build: slot.build, why: slot.why, labels: 1, diameters: od }),
                Some(group) => {
                    group.labels += 1;
                    group.diameters = match (group.diameters, od) {
                        (Some((low, high)), Some((od, _))) => Some((low.min(od), high.max(od))),
                        (known, od) => known.or(od),
                    };
                }
            }
        }
        let stock = &self.stocks[plan.stock];
        groups.iter().map(|group| (group.labels, group.why.sentence(group.build, stock, group.diameters))).collect()
    }
}
