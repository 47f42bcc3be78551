//! Cables to a plan: the pure whole. A [`Job`] is everything that decides what is printed; its
//! [`Plan`] says which labels go on which strips, what that costs, and which cables get none and why.

mod again;
mod blocks;
mod choose;
mod estimate;
mod legible;
mod problem;
mod reasons;
mod supply;
mod template;
mod wishes;
mod wording;

pub use again::Again;
pub use choose::Why;
pub use estimate::{
    CartridgeEstimate, Estimate, FreerEstimate, ShelfEstimate, StockEstimate, TakenOutEstimate, WasteMm,
};
pub use legible::Short;
pub use problem::Problem;
pub use supply::Cartridges;
pub use template::Template;
pub use wishes::{End, Ends, USUAL_TEXT, Wishes};
pub use wording::{LengthMark, SignWishes};

use crate::cable::{Cable, CableList, Column, Diameter, Kinds, Plug, Plugs};
use crate::error::{Error, Result};
use crate::font::{Fonts, Pen};
use crate::layout::{Build, Design, Layout, Parts, Request, Strokes, lay_out};
use crate::media::{Catalogue, Form, Printer, Stock};
use crate::shelf::{Policy, Shelf};
use crate::strip::{self, Between, Rules, Strip};
use crate::unit::{Dots, Micrometres};
use blocks::Labels;
use choose::{Shortened, Subject};
use legible::Shorts;
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::ops::Range;
use wording::SignRules;

/// Everything that decides what is printed.
pub struct Job {
    list: CableList,
    kinds: Kinds,
    plugs: Plugs,
    fonts: Fonts,
    /// The printer.
    pub printer: Printer,
    /// The job's stocks first (sleeves by size), then every other stock known.
    stocks: Vec<Stock>,
    rules: Vec<Rules>,
    in_job: usize,
    /// What is asked to part labels; nothing for the best there is.
    pub between: Option<Between>,
    /// How labels are laid out.
    pub design: Design,
    build: Option<Build>,
    ends: Ends,
    near: Vec<Template>,
    far: Vec<Template>,
    /// Whether both ends of a cable always bear the same text.
    alike: bool,
    owner: String,
    parts: Parts,
    signs: SignRules,
    may_drop: Vec<String>,
    /// Order of labels, strips and cartridges.
    pub policy: Policy,
    shelf: Option<Shelf>,
    remarks: Vec<String>,
}

/// One label of a plan. Small, since a job may have a hundred thousand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    cable: u32,
    /// Which end.
    pub end: End,
    /// Its build.
    pub build: Build,
    /// Why that build.
    pub why: Why,
    /// How many of the columns that may be left out are.
    dropped: u8,
}

/// The labels on one stock, and their strips.
#[derive(Clone, Debug)]
pub struct StockPlan {
    stock: usize,
    /// Labels in the order they come out.
    pub slots: Vec<Slot>,
    /// Their lengths.
    pub lengths: Vec<Dots>,
    /// Strips and cartridges.
    pub strips: strip::Plan,
    /// The same labels, each cut on its own.
    pub singly: Dots,
    /// Labels of the stock that come out before these, by another plan or from another cartridge.
    pub before: usize,
    /// The cartridges; nothing where full ones are taken one after another, as many as it needs.
    pub cartridges: Option<Cartridges>,
}

/// A job thought through.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Cables in the list, those with problems included.
    pub cables: usize,
    /// One for each stock used, in the job's order.
    pub stocks: Vec<StockPlan>,
    /// Why cables get no labels, by row; all that is wrong with a row.
    pub problems: Vec<Problem>,
    /// Labels that fall short of the reading distance, or have strokes too thin, in groups.
    pub short: Vec<Short>,
}

/// What one cable's labels are made from.
struct Subjects {
    diameter: Option<Diameter>,
    plug: Plug,
    build: Option<Build>,
    stocks: Vec<usize>,
}

/// Offers are looked for on so many problems; a list with more is the wrong list.
const MOST_OFFERS: usize = 500;

/// How often the planner asks in [`Job::plan`] before it takes the best plan so far.
const TURNS: u32 = 100;

impl Job {
    /// Settles wishes against a list and what is known.
    ///
    /// # Errors
    /// Kind `Input`: an unknown printer or stock, a stock the printer cannot take, text that names
    /// no column, a cut the stock or printer cannot make.
    pub fn new(list: CableList, wishes: Wishes, catalogue: Catalogue, kinds: Kinds, plugs: Plugs) -> Result<Self> {
        let printer = catalogue.printer(&wishes.printer)?.clone();
        if wishes.stocks.is_empty() {
            return Err(Error::input("found no stock, wanted at least one (stock = \"tape-12\")"));
        }
        let mut stocks: Vec<Stock> = Vec::with_capacity(catalogue.stocks.len());
        for id in &wishes.stocks {
            let stock = catalogue.stock(id)?;
            if stock.width > printer.widest {
                return Err(Error::input(format!(
                    "stock `{id}` is {} wide, printer `{}` takes up to {}",
                    stock.width, printer.id, printer.widest
                )));
            }
            if !stocks.contains(stock) {
                stocks.push(stock.clone());
            }
        }
        by_sleeve_size(&mut stocks);
        if let Some(name) = wishes.policy.together.as_deref().filter(|name| list.column(name).is_none()) {
            return Err(Error::input(format!(
                "together: found `{name}`, wanted a column of the list: {}",
                list.headers().join(", ")
            )));
        }
        let in_job = stocks.len();
        let mut others: Vec<Stock> = catalogue.stocks.into_iter().filter(|stock| !stocks.contains(stock)).collect();
        by_sleeve_size(&mut others);
        stocks.append(&mut others);
        for stock in &stocks[..in_job] {
            may_part(wishes.between, &printer, stock)?;
        }
        Template::check_drops(&wishes.may_drop, &list)?;
        let templates = |lines: &[String]| -> Result<Vec<Template>> {
            lines.iter().map(|line| Template::new(line, &list, &wishes.may_drop)).collect()
        };
        let (near, far) = (templates(&wishes.near)?, templates(&wishes.far)?);
        let asked = match wishes.ends {
            Ends::Both => [&near[..], &far[..]],
            Ends::Near => [&near[..], &[]],
            Ends::Far => [&[], &far[..]],
        };
        if asked.iter().all(|lines| lines.iter().all(Template::lacks_columns)) {
            return Err(Error::input(format!(
                "the text {} needs columns the list does not have; it has {}",
                wishes.near.iter().map(|line| format!("`{line}`")).collect::<Vec<_>>().join(" / "),
                list.headers().join(", ")
            )));
        }
        let signs = SignRules::new(wishes.signs, &list, asked, &wishes.may_drop)?;
        let alike = near == far && !near.iter().any(Template::says_end) && signs.alike();
        Ok(Self {
            // A row may name a stock that allows less than the job's; it gets the best it allows.
            rules: stocks.iter().map(|stock| rules(&printer, stock, wishes.between, &wishes.policy)).collect(),
            between: wishes.between,
            list,
            kinds,
            plugs,
            fonts: Fonts::embedded(),
            printer,
            stocks,
            in_job,
            design: wishes.design,
            build: wishes.build,
            ends: wishes.ends,
            near,
            far,
            alike,
            owner: wishes.owner,
            parts: Parts::new(wishes.parts),
            signs,
            may_drop: wishes.may_drop,
            policy: wishes.policy,
            shelf: None,
            remarks: Vec::new(),
        })
    }

    /// The same job on the cartridges of a shelf.
    #[must_use]
    pub fn on_shelf(mut self, shelf: Shelf) -> Self {
        self.shelf = Some(shelf);
        self
    }

    /// The same job set in these fonts instead of the embedded ones.
    #[must_use]
    pub fn with_fonts(self, fonts: Fonts) -> Self {
        Self { fonts, ..self }
    }

    /// The same job, with what a person should know of what it was made from, in sentences.
    #[must_use]
    pub fn with_remarks(self, remarks: Vec<String>) -> Self {
        Self { remarks, ..self }
    }

    /// What a person should know of what the job was made from, in sentences.
    pub fn remarks(&self) -> &[String] {
        &self.remarks
    }

    /// The faces of the job, for a pen.
    pub const fn fonts(&self) -> &Fonts {
        &self.fonts
    }

    /// The cables.
    pub const fn list(&self) -> &CableList {
        &self.list
    }

    /// The stock of a part of the plan.
    pub fn stock(&self, plan: &StockPlan) -> &Stock {
        &self.stocks[plan.stock]
    }

    /// The rules strips of that stock keep.
    pub fn rules(&self, plan: &StockPlan) -> &Rules {
        &self.rules[plan.stock]
    }

    /// What a person calls the cable: batch and number, or its row.
    pub fn name(&self, cable: Cable<'_>) -> String {
        let name = format!("{} {}", cable.text(Column::Batch), cable.text(Column::Number));
        match name.trim() {
            "" => format!("the cable of row {}", cable.row()),
            name => name.to_owned(),
        }
    }

    /// The cable of a label.
    pub fn cable(&self, slot: Slot) -> Cable<'_> {
        self.list.cable(slot.cable as usize)
    }

    /// The diameter a label was laid out for, where known.
    pub fn diameter(&self, slot: Slot) -> Option<Micrometres> {
        self.cable(slot).diameter(&self.kinds).ok().flatten().map(|diameter| diameter.typical)
    }

    /// Diameter, plug, and what the row itself asks for; or all that is wrong with them.
    fn subjects(&self, cable: Cable<'_>) -> std::result::Result<Subjects, Vec<Problem>> {
        let cell = |error| Problem::of_cell(cable.row(), &self.name(cable), &error);
        let wrong = |field: &str, text: String| Problem {
            row: Some(cable.row()),
            field: Some(field.to_owned()),
            kind: "cell",
            text: format!("{}: {text}", self.name(cable)),
        };
        let diameter = cable.diameter(&self.kinds).map_err(cell);
        // Only a sleeve has to pass it.
        let plug = cable.plug(&self.plugs);
        let build = match cable.text(Column::Build) {
            "" => Ok(self.build),
            word if word.eq_ignore_ascii_case("auto") => Ok(None),
            word => match Build::named(word) {
                Some(build) => Ok(Some(build)),
                None => Err(wrong("build", format!("found `{word}`, wanted flag, wrap, band, sleeve, plate or auto"))),
            },
        };
        let stocks = match cable.text(Column::Stock) {
            "" => Ok((0..self.in_job).collect()),
            id => match self.stocks.iter().position(|stock| stock.id.eq_ignore_ascii_case(id)) {
                Some(stock) => Ok(vec![stock]),
                None => {
                    let known: Vec<&str> = self.stocks.iter().map(|stock| stock.id.as_str()).collect();
                    Err(wrong("stock", format!("found `{id}`, wanted one of {}", known.join(", "))))
                }
            },
        };
        match (diameter, build, stocks) {
            (Ok(diameter), Ok(build), Ok(stocks)) => Ok(Subjects { diameter, plug, build, stocks }),
            (diameter, build, stocks) => {
                let plug = if let Plug::Unknown(error) = &plug { Some(cell(error.clone())) } else { None };
                Err([diameter.err(), plug, build.err(), stocks.err()].into_iter().flatten().collect())
            }
        }
    }

    /// Thinks the whole job through: [`Job::plan_within`] with a fixed number of turns, so that the
    /// answer is the same on any machine.
    pub fn plan(&self) -> Plan {
        let mut turns = 0;
        self.plan_within(&mut || {
            turns += 1;
            turns < TURNS
        })
    }

    /// Thinks the whole job through. The planner asks `go_on` from time to time; once it says no, the
    /// best plan so far is taken. Labels in list order on full cartridges need no asking.
    pub fn plan_within(&self, go_on: &mut dyn FnMut() -> bool) -> Plan {
        let mut problems: Vec<Problem> = self.list.faults().iter().map(Problem::of_row).collect();
        let mut labels: Vec<Labels> = vec![Labels::default(); self.stocks.len()];
        let mut shorts = Shorts::new(Strokes::new(Pen::new(&self.fonts)));
        let mut offers = 0;
        for (index, cable) in self.list.iter().enumerate() {
            let index = u32::try_from(index).expect("lists are limited to a million rows");
            match self.labels(cable, &mut offers) {
                Ok(found) => {
                    let count = found.len();
                    for (nth, (end, choice)) in found.into_iter().enumerate() {
                        let dropped = u8::try_from(choice.dropped).unwrap_or(u8::MAX);
                        shorts.look(self, cable, choice.stock, &choice.layout);
                        let slot = Slot { cable: index, end, build: choice.layout.build, why: choice.why, dropped };
                        labels[choice.stock].push(slot, choice.layout.along, nth + 1 < count);
                    }
                }
                Err(mut wrong) => problems.append(&mut wrong),
            }
        }
        if self.policy.together.is_some() {
            for (stock, labels) in labels.iter_mut().enumerate() {
                self.leave_out_large_blocks(&self.rules[stock], labels, &mut problems);
            }
        }
        problems.sort_by_key(|problem| problem.row);
        let mut used: Vec<usize> = (0..labels.len()).filter(|&stock| !labels[stock].slots.is_empty()).collect();
        // What is in the printer is printed first.
        used.sort_by_key(|&stock| !self.is_mounted(stock));
        let stocks: Vec<StockPlan> = used
            .iter()
            .map(|&stock| {
                let labels = std::mem::take(&mut labels[stock]);
                self.supply(stock, labels, used.last() != Some(&stock), go_on)
            })
            .filter(|plan| !plan.slots.is_empty())
            .collect();
        Plan { cables: self.list.len() + self.list.faults().len(), stocks, problems, short: shorts.groups(self) }
    }

    /// The labels of one cable, all or none: half a pair helps nobody. Or all that is wrong with it.
    fn labels(
        &self,
        cable: Cable<'_>,
        offers: &mut usize,
    ) -> std::result::Result<Vec<(End, choose::Choice)>, Vec<Problem>> {
        let subjects = self.subjects(cable);
        let mut problems = Vec::new();
        let told = if self.alike { 1 } else { 2 };
        let mut read = |end: &End| match self.wordings(cable, *end) {
            Ok(wordings) => wordings,
            Err(wrong) => {
                wrong.into_iter().for_each(|problem| add(&mut problems, problem));
                Vec::new()
            }
        };
        let wordings: Vec<Vec<Shortened>> = self.ends.list().iter().take(told).map(&mut read).collect();
        let subjects = match subjects {
            Ok(subjects) if problems.is_empty() => subjects,
            Ok(_) => return Err(problems),
            Err(mut wrong) => {
                wrong.append(&mut problems);
                return Err(wrong);
            }
        };
        let mut labels: Vec<(End, choose::Choice)> = Vec::with_capacity(2);
        for (nth, &end) in self.ends.list().iter().enumerate() {
            if let Some((_, choice)) = labels.last()
                && (self.alike || wordings[nth] == wordings[nth - 1])
            {
                let choice = choose::Choice { layout: choice.layout.clone(), ..*choice };
                labels.push((end, choice));
                continue;
            }
            let subject =
                Subject { diameter: subjects.diameter.as_ref(), plug: &subjects.plug, wordings: &wordings[nth] };
            // Both ends on the same stock, so that they come out side by side.
            let same_stock = labels.last().map(|(_, choice)| (choice.layout.build, vec![choice.stock]));
            let found = match &same_stock {
                Some((build, stock)) => match self.choose(Some(*build), stock, &subject) {
                    Err(misfit) => match self.moved(&subjects, &wordings, nth) {
                        Some((first, second)) => {
                            labels.clear();
                            labels.push((self.ends.list()[nth - 1], first));
                            Ok(second)
                        }
                        None => Err(misfit),
                    },
                    found => found,
                },
                None => self.choose(subjects.build, &subjects.stocks, &subject),
            };
            match found {
                Ok(mut choice) => {
                    if let Some((_, first)) = labels.last() {
                        choice.why = first.why;
                    }
                    labels.push((end, choice));
                }
                Err(misfit) => {
                    *offers += 1;
                    let offer =
                        if *offers <= MOST_OFFERS { self.offer(subjects.build, &misfit, &subject) } else { None };
                    let name = format!("{}, {} end", self.name(cable), end.word());
                    return Err(vec![Problem::of_label(cable.row(), &name, &misfit, offer)]);
                }
            }
        }
        Ok(labels)
    }

    /// Both labels of a cable where only the second one's place takes both.
    fn moved(
        &self,
        subjects: &Subjects,
        wordings: &[Vec<Shortened>],
        second: usize,
    ) -> Option<(choose::Choice, choose::Choice)> {
        let subject = |nth: usize| Subject {
            diameter: subjects.diameter.as_ref(),
            plug: &subjects.plug,
            wordings: &wordings[nth],
        };
        let there = self.choose(subjects.build, &subjects.stocks, &subject(second)).ok()?;
        let first = self.choose(Some(there.layout.build), &[there.stock], &subject(second - 1)).ok()?;
        Some((choose::Choice { why: there.why, ..first }, there))
    }

    /// Lays a label of the plan out again: the same bits as when it was planned.
    ///
    /// # Errors
    /// Kind `Bug`: the label was in the plan and must lay out.
    pub fn lay_out(&self, plan: &StockPlan, slot: Slot) -> Result<Layout> {
        let cable = self.cable(slot);
        let bug = |text: String| Error::bug(format!("{}: {text}", self.name(cable)));
        let bugs = |problems: Vec<Problem>| bug(problems.into_iter().map(|problem| problem.text).collect());
        let subjects = self.subjects(cable).map_err(bugs)?;
        let dropped = usize::from(slot.dropped);
        let wording = self.wording(cable, slot.end, dropped).map_err(bugs)?;
        let request = Request {
            build: slot.build,
            stock: &self.stocks[plan.stock],
            printer: &self.printer,
            diameter: subjects.diameter.as_ref(),
            plug: &subjects.plug,
            lines: &wording.text,
            signs: &wording.signs,
            parts: &self.parts,
            design: &self.design,
        };
        let mut layout = lay_out(&request, &self.fonts)
            .map_err(|misfit| bug(format!("found {}, wanted {}", misfit.found, misfit.wanted)))?;
        if dropped > 0 {
            layout.notes.push(format!("{} left out: there is no room to read it", self.left_out(slot)));
        }
        Ok(layout)
    }

    /// The text of a label, its lines parted by `/`; `None` where a code beside it names the cable.
    pub fn says(&self, slot: Slot) -> Option<String> {
        let wording = self.wording(self.cable(slot), slot.end, usize::from(slot.dropped)).ok()?;
        wording.signs.code.is_none().then(|| wording.text.lines().join(" / "))
    }

    /// What is left out of a label, in words; what is blank anyway is not left out.
    fn left_out(&self, slot: Slot) -> String {
        let text = |dropped| self.wording(self.cable(slot), slot.end, dropped).unwrap_or_default().text;
        let dropped = (0..usize::from(slot.dropped)).filter(|&place| text(place) != text(place + 1));
        dropped.map(|place| self.may_drop[place].as_str()).collect::<Vec<_>>().join(" and ")
    }

    /// Cables that bear the same batch and number as an earlier row: (earlier row, row, name).
    ///
    /// They are printed all the same; a person should know.
    pub fn twice(&self) -> Vec<(u32, u32, String)> {
        let mut first: HashMap<(&str, &str), u32> = HashMap::with_capacity(self.list.len());
        let mut twice = Vec::new();
        for cable in self.list.iter() {
            let key = (cable.text(Column::Batch), cable.text(Column::Number));
            if key.1.is_empty() {
                continue;
            }
            match first.entry(key) {
                Entry::Occupied(earlier) => twice.push((*earlier.get(), cable.row(), self.name(cable))),
                Entry::Vacant(free) => {
                    free.insert(cable.row());
                }
            }
        }
        twice
    }

    /// One strip of the plan with all its positions.
    pub fn strip(&self, plan: &StockPlan, labels: &Range<usize>) -> Strip {
        Strip::new(self.rules(plan), &plan.lengths[labels.clone()])
    }
}

/// Adds a problem unless it is told already: both ends may name the same cell.
fn add(problems: &mut Vec<Problem>, problem: Problem) {
    if !problems.contains(&problem) {
        problems.push(problem);
    }
}

/// Sleeves are tried from the smallest up; other stocks keep the order given.
fn by_sleeve_size(stocks: &mut [Stock]) {
    stocks.sort_by_key(|stock| match stock.form {
        Form::Sleeve(sleeve) => sleeve.supplied.0,
        _ => 0,
    });
}

/// The rules strips keep: those of printer and stock, and what is asked beyond them. What cannot be
/// parted as asked is parted as well as it can be.
fn rules(printer: &Printer, stock: &Stock, between: Option<Between>, policy: &Policy) -> Rules {
    let between = between.filter(|_| may_part(between, printer, stock).is_ok());
    let mut rules = Rules::new(printer, stock, between);
    if let Some(longest) = policy.longest_strip {
        rules.max_strip = rules.max_strip.min(printer.along.dots_within(longest));
    }
    if let Some(most) = policy.labels_a_strip {
        rules.max_labels = if rules.max_labels == 0 { most } else { rules.max_labels.min(most) };
    }
    rules
}

/// Refuses a way of parting labels that printer and stock cannot do.
fn may_part(between: Option<Between>, printer: &Printer, stock: &Stock) -> Result<()> {
    let best = Between::allowed(printer, stock);
    let order = [Between::Half, Between::Full, Between::Snip];
    let place = |between| order.iter().position(|&one| one == between);
    match between {
        Some(asked) if place(asked) < place(best) => Err(Error::input(format!(
            "between: found `{}`, wanted `{}` or less: that is what printer `{}` can do with stock `{}`",
            asked.word(),
            best.word(),
            printer.id,
            stock.id
        ))),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests;
