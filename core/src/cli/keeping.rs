//! Orders to print, written down in the journal before anything of them leaves.

use super::answer::plural;
use super::log::{Log, hold};
use super::{Talk, now, waiting};
use crate::cable::Column;
use crate::error::{Error, Result};
use crate::font::bidi::bare;
use crate::job::{Job, Slot, StockPlan};
use crate::journal::{Fate, day};
use crate::register::{Kept, KeptLabel, Order, Place, Planned, Register};
use crate::run::Rows;
use crate::transport::Link;
use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap};
use std::path::Path;

/// The last printing of a label.
#[derive(Clone, Copy)]
struct Earlier {
    place: Place,
    at: i64,
    fate: Fate,
    /// It may be there already.
    in_doubt: bool,
}

/// A line without the blanks that are there for the eye.
fn words(line: &str) -> String {
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Labels by batch, number and end.
type Name = (String, String, String);

/// What was printed before of the labels of an order.
#[derive(Default)]
struct Before(HashMap<Name, Earlier>);

fn name(label: &KeptLabel) -> Name {
    (label.batch.to_lowercase(), label.number.to_lowercase(), label.end.clone())
}

impl Before {
    /// Looks for printings that nothing has replaced yet.
    fn look<'l>(register: &Register, labels: impl Iterator<Item = &'l KeptLabel>) -> Result<Self> {
        let mut before = Self::default();
        let mut fates: HashMap<i64, Vec<Fate>> = HashMap::new();
        let mut last = None;
        for label in labels.filter(|label| !label.number.is_empty()) {
            let cable = (&label.batch, &label.number);
            if last.replace(cable) == Some(cable) {
                continue;
            }
            for printing in register.printings(&label.batch, &label.number)? {
                let (job, nth) = printing.place;
                let known = match fates.entry(job) {
                    Entry::Occupied(known) => known.into_mut(),
                    Entry::Vacant(free) => free.insert(register.fates(job, register.job(job)?.labels)?),
                };
                let fate = known.get(nth - 1).copied().unwrap_or(Fate::Moved);
                if !matches!(fate, Fate::Moved | Fate::WrittenOff) {
                    let in_doubt = fate.in_doubt(printing.perhaps_twice);
                    let earlier = Earlier { place: printing.place, at: printing.at, fate, in_doubt };
                    // The newest comes first.
                    before.0.entry(name(&printing.label)).or_insert(earlier);
                }
            }
        }
        Ok(before)
    }

    /// The jobs that labels still wait in.
    fn open_jobs(&self) -> BTreeSet<i64> {
        self.0.values().filter(|earlier| earlier.fate.is_open()).map(|earlier| earlier.place.0).collect()
    }

    fn of(&self, label: &KeptLabel) -> Option<Earlier> {
        self.0.get(&name(label)).copied()
    }

    /// Tells the person what is printed a second time, and what another job left undone.
    fn tell(&self, labels: &[KeptLabel], talk: &Talk) {
        let of = |wanted: fn(Fate) -> bool| {
            let found = labels.iter().filter_map(move |label| Some((label, self.of(label)?)));
            found.filter(move |(_, earlier)| wanted(earlier.fate)).collect::<Vec<_>>()
        };
        let printed = of(|fate| matches!(fate, Fate::Left | Fate::Good));
        if let Some((label, earlier)) = printed.first() {
            talk.warn(&format!(
                "note: printed before: {} of {}, the first is {} on {} (job {}): they are printed again",
                printed.len(),
                plural(labels.len(), "label"),
                label.name(),
                day(earlier.at),
                earlier.place.0
            ));
        }
        let open = of(Fate::is_open);
        if let Some((label, earlier)) = open.first() {
            let perhaps = open.iter().filter(|(_, earlier)| earlier.in_doubt).count();
            let twice = match perhaps {
                0 => String::new(),
                _ => format!("; {} may have left the printer already: look for doubles", plural(perhaps, "label")),
            };
            talk.warn(&format!(
                "note: {} of {} still wait in an earlier job, the first is {} (job {} of {}): this one prints them{twice}",
                open.len(),
                plural(labels.len(), "label"),
                label.name(),
                earlier.place.0,
                day(earlier.at)
            ));
        }
    }
}

/// What the journal keeps of a label of a plan; its text comes with its bits.
fn kept_label(job: &Job, plan: &StockPlan, nth: usize) -> KeptLabel {
    let slot: Slot = plan.slots[nth];
    let cable = job.cable(slot);
    let text = |column| cable.text(column).to_owned();
    let next = plan.slots.get(nth + 1).map(|&slot| job.cable(slot).row());
    KeptLabel {
        cable: None,
        owner: text(Column::Owner),
        batch: text(Column::Batch),
        number: text(Column::Number),
        end: slot.end.word().to_owned(),
        build: slot.build.word().to_owned(),
        stock: job.stock(plan).id.clone(),
        text: String::new(),
        diameter: job.diameter(slot),
        joined: next == Some(cable.row()),
    }
}

/// Writes an order down with the bits of all its labels, before any of them leaves.
///
/// # Errors
/// Kind `Storage`: the register cannot be written; then nothing may be printed.
pub(super) fn written_down<'p>(
    job: &Job,
    plans: &[&'p StockPlan],
    name: &str,
    link: &Link,
    path: &Path,
    talk: &Talk,
) -> Result<Log> {
    let mut register = Register::open(path, waiting(talk))?;
    let mut labels: Vec<(&'p StockPlan, usize, usize, KeptLabel)> = Vec::new();
    let mut strip = 0;
    for &plan in plans {
        for range in &plan.strips.strips {
            strip += 1;
            labels.extend(range.clone().map(|nth| (plan, nth, strip, kept_label(job, plan, nth))));
        }
    }
    let before = Before::look(&register, labels.iter().map(|(.., label)| label))?;
    // What another program is about to print would come out twice.
    for job in before.open_jobs() {
        hold(path, job)?;
    }
    let kept: Vec<KeptLabel> = labels.iter().map(|(.., label)| label.clone()).collect();
    before.tell(&kept, talk);
    let order = Order {
        kind: "print",
        name: name.to_owned(),
        printer: job.printer.id.clone(),
        across: job.printer.across,
        along: job.printer.along,
        link: link.to_string(),
        between: job.between,
        longest_strip: job.policy.longest_strip,
        labels_a_strip: job.policy.labels_a_strip,
    };
    let mut rows: Option<(*const StockPlan, Rows<'_>)> = None;
    let planned = labels.into_iter().map(|(plan, nth, strip, mut label)| {
        let same = rows.as_ref().is_some_and(|(of, _)| std::ptr::eq(*of, plan));
        if !same {
            rows = Some((plan, Rows::new(job, plan)?));
        }
        let (_, rows) = rows.as_mut().ok_or_else(|| Error::bug("no rows to draw"))?;
        rows.draw(nth)?;
        label.text = rows.text().iter().map(|line| words(&bare(line))).collect::<Vec<_>>().join("\n");
        let earlier = before.of(&label);
        Ok(Planned {
            strip,
            bits: Kept::of(rows.bits()),
            again: earlier.map(|earlier| earlier.place),
            perhaps_twice: earlier.is_some_and(|earlier| earlier.in_doubt),
            label,
        })
    });
    let job = register.plan(now(), &order, planned)?;
    Log::new(register, job)
}
