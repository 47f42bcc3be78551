//! Cables to a plan: the pure whole. A [`Job`] is everything that decides what is printed; its
//! [`Plan`] says which labels go on which strips, what that costs, and which cables get none and why.

mod choose;
mod estimate;
mod problem;
mod template;

pub use choose::Why;
pub use estimate::{Estimate, StockEstimate, WasteMm};
pub use problem::Problem;
pub use template::Template;

use crate::cable::{Cable, CableList, Column, Diameter, Kinds, Plug, Plugs};
use crate::error::{Error, Result};
use crate::font::Fonts;
use crate::layout::{Build, Design, Layout, Request, lay_out};
use crate::media::{Catalogue, Form, Printer, Stock};
use crate::strip::{self, Between, Rules, Strip};
use crate::unit::Dots;
use choose::Subject;
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::ops::Range;

/// An end of a cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The near end, labelled first.
    Near,
    /// The far end.
    Far,
}

impl End {
    /// Its word in text and lists.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
        }
    }
}

/// Which ends get a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ends {
    /// Both, near then far, side by side on the strip.
    #[default]
    Both,
    /// Only the near one.
    Near,
    /// Only the far one.
    Far,
}

impl Ends {
    /// Reads the word of a job file or flag.
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "both" => Some(Self::Both),
            "near" => Some(Self::Near),
            "far" => Some(Self::Far),
            _ => None,
        }
    }

    const fn list(self) -> &'static [End] {
        match self {
            Self::Both => &[End::Near, End::Far],
            Self::Near => &[End::Near],
            Self::Far => &[End::Far],
        }
    }
}

/// What a person asks for, in the words of the job file.
#[derive(Clone, Debug, PartialEq)]
pub struct Wishes {
    /// Printer id.
    pub printer: String,
    /// Stock ids, in order of preference.
    pub stocks: Vec<String>,
    /// Build, or `None` to choose.
    pub build: Option<Build>,
    /// Which ends.
    pub ends: Ends,
    /// Lines of text at the near end.
    pub near: Vec<String>,
    /// Lines of text at the far end.
    pub far: Vec<String>,
    /// Owner mark where a row has none.
    pub owner: String,
    /// What parts labels; `None` for the best the printer and stock allow.
    pub between: Option<Between>,
    /// How labels are laid out.
    pub design: Design,
}

/// Lines of text that suit most cables.
pub const USUAL_TEXT: [&str; 2] = ["{owner} {batch}", "{number} {length}"];

impl Default for Wishes {
    fn default() -> Self {
        let usual: Vec<String> = USUAL_TEXT.map(str::to_owned).to_vec();
        Self {
            printer: "bench-180".into(),
            stocks: vec!["tape-12".into()],
            build: Some(Build::Flag),
            ends: Ends::Both,
            near: usual.clone(),
            far: usual,
            owner: String::new(),
            between: None,
            design: Design::default(),
        }
    }
}

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
    /// How labels are laid out.
    pub design: Design,
    build: Option<Build>,
    ends: Ends,
    near: Vec<Template>,
    far: Vec<Template>,
    owner: String,
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
}

/// The labels on one stock, and their strips.
#[derive(Clone, Debug)]
pub struct StockPlan {
    stock: usize,
    /// Labels in list order.
    pub slots: Vec<Slot>,
    /// Their lengths.
    pub lengths: Vec<Dots>,
    /// Strips and cartridges.
    pub strips: strip::Plan,
    /// The same labels, each cut on its own.
    pub singly: Dots,
}

/// A job thought through.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Cables in the list, those with problems included.
    pub cables: usize,
    /// One for each stock used, in the job's order.
    pub stocks: Vec<StockPlan>,
    /// Cables without labels, by row.
    pub problems: Vec<Problem>,
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
        let in_job = stocks.len();
        let mut others: Vec<Stock> = catalogue.stocks.into_iter().filter(|stock| !stocks.contains(stock)).collect();
        by_sleeve_size(&mut others);
        stocks.append(&mut others);
        for stock in &stocks[..in_job] {
            may_part(wishes.between, &printer, stock)?;
        }
        let templates = |lines: &[String]| -> Result<Vec<Template>> {
            lines.iter().map(|line| Template::new(line, &list)).collect()
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
        Ok(Self {
            // A row may name a stock that allows less than the job's; it gets the best it allows.
            rules: stocks
                .iter()
                .map(|stock| {
                    let between = wishes.between.filter(|_| may_part(wishes.between, &printer, stock).is_ok());
                    Rules::new(&printer, stock, between)
                })
                .collect(),
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
            owner: wishes.owner,
        })
    }

    /// The embedded faces, for a pen.
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

    fn lines(&self, cable: Cable<'_>, end: End) -> std::result::Result<Vec<String>, Problem> {
        let templates = match end {
            End::Near => &self.near,
            End::Far => &self.far,
        };
        let mut lines = Vec::with_capacity(templates.len());
        for template in templates {
            let line = template
                .fill(cable, end, &self.owner)
                .map_err(|error| Problem::of_cell(cable.row(), &self.name(cable), &error))?;
            if !line.is_empty() {
                lines.push(line);
            }
        }
        Ok(lines)
    }

    /// Diameter, plug, and what the row itself asks for.
    fn subjects(&self, cable: Cable<'_>) -> std::result::Result<Subjects, Problem> {
        let cell = |error| Problem::of_cell(cable.row(), &self.name(cable), &error);
        let wrong = |field: &str, text: String| Problem {
            row: Some(cable.row()),
            field: Some(field.to_owned()),
            kind: "cell",
            text: format!("{}: {text}", self.name(cable)),
        };
        let diameter = cable.diameter(&self.kinds).map_err(cell)?;
        let plug = cable.plug(&self.plugs).map_err(cell)?;
        let build = match cable.text(Column::Build) {
            "" => self.build,
            word if word.eq_ignore_ascii_case("auto") => None,
            word => Some(Build::named(word).ok_or_else(|| {
                wrong("build", format!("found `{word}`, wanted flag, wrap, band, sleeve, plate or auto"))
            })?),
        };
        let stocks = match cable.text(Column::Stock) {
            "" => (0..self.in_job).collect(),
            id => match self.stocks.iter().position(|stock| stock.id.eq_ignore_ascii_case(id)) {
                Some(stock) => vec![stock],
                None => {
                    let known: Vec<&str> = self.stocks.iter().map(|stock| stock.id.as_str()).collect();
                    return Err(wrong("stock", format!("found `{id}`, wanted one of {}", known.join(", "))));
                }
            },
        };
        Ok(Subjects { diameter, plug, build, stocks })
    }

    /// Thinks the whole job through.
    pub fn plan(&self) -> Plan {
        let mut problems: Vec<Problem> = self.list.faults().iter().map(Problem::of_row).collect();
        let mut slots: Vec<(Vec<Slot>, Vec<Dots>, Vec<bool>)> = vec![Default::default(); self.stocks.len()];
        let mut offers = 0;
        for (index, cable) in self.list.iter().enumerate() {
            let index = u32::try_from(index).expect("lists are limited to a million rows");
            match self.labels(cable, &mut offers) {
                Ok(labels) => {
                    let count = labels.len();
                    for (nth, (end, choice)) in labels.into_iter().enumerate() {
                        let (slots, lengths, joined) = &mut slots[choice.stock];
                        slots.push(Slot { cable: index, end, build: choice.layout.build, why: choice.why });
                        lengths.push(choice.layout.along);
                        joined.push(nth + 1 < count);
                    }
                }
                Err(problem) => problems.push(problem),
            }
        }
        problems.sort_by_key(|problem| problem.row);
        let used: Vec<usize> = (0..slots.len()).filter(|&stock| !slots[stock].0.is_empty()).collect();
        let stocks = used.iter().map(|&stock| {
            let (slots, lengths, joined) = std::mem::take(&mut slots[stock]);
            let rules = &self.rules[stock];
            let taken_out = used.last() != Some(&stock);
            let strips = strip::plan(rules, &lengths, &joined, taken_out);
            let apart = strip::plan(&rules.singly(), &lengths, &joined, taken_out);
            StockPlan { stock, slots, lengths, strips, singly: apart.ledger.tape() }
        });
        Plan { cables: self.list.len() + self.list.faults().len(), stocks: stocks.collect(), problems }
    }

    /// The labels of one cable, all or none: half a pair helps nobody.
    fn labels(&self, cable: Cable<'_>, offers: &mut usize) -> std::result::Result<Vec<(End, choose::Choice)>, Problem> {
        let subjects = self.subjects(cable)?;
        let mut labels: Vec<(End, choose::Choice)> = Vec::with_capacity(2);
        let mut before: Option<Vec<String>> = None;
        for &end in self.ends.list() {
            let lines = self.lines(cable, end)?;
            if let (Some(same), Some((_, choice))) = (&before, labels.last())
                && *same == lines
            {
                let choice = choose::Choice { stock: choice.stock, why: choice.why, layout: choice.layout.clone() };
                labels.push((end, choice));
                continue;
            }
            let subject = Subject { diameter: subjects.diameter.as_ref(), plug: &subjects.plug, lines: &lines };
            // Both ends on the same stock, so that they come out side by side.
            let same_stock = labels.last().map(|(_, choice)| (choice.layout.build, vec![choice.stock]));
            let found = match &same_stock {
                Some((build, stock)) => self.choose(Some(*build), stock, &subject),
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
                    return Err(Problem::of_label(cable.row(), &name, &misfit, offer));
                }
            }
            before = Some(lines);
        }
        Ok(labels)
    }

    /// Lays a label of the plan out again: the same bits as when it was planned.
    ///
    /// # Errors
    /// Kind `Bug`: the label was in the plan and must lay out.
    pub fn lay_out(&self, plan: &StockPlan, slot: Slot) -> Result<Layout> {
        let cable = self.cable(slot);
        let bug = |text: String| Error::bug(format!("{}: {text}", self.name(cable)));
        let subjects = self.subjects(cable).map_err(|problem| bug(problem.text))?;
        let lines = self.lines(cable, slot.end).map_err(|problem| bug(problem.text))?;
        let request = Request {
            build: slot.build,
            stock: &self.stocks[plan.stock],
            printer: &self.printer,
            diameter: subjects.diameter.as_ref(),
            plug: &subjects.plug,
            lines: &lines,
            design: &self.design,
        };
        lay_out(&request, &self.fonts)
            .map_err(|misfit| bug(format!("found {}, wanted {}", misfit.found, misfit.wanted)))
    }

    /// Why a label has its build, in one sentence.
    pub fn reason(&self, plan: &StockPlan, slot: Slot) -> String {
        let diameter = self.cable(slot).diameter(&self.kinds).ok().flatten();
        slot.why.sentence(slot.build, &self.stocks[plan.stock], diameter.as_ref())
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

/// Sleeves are tried from the smallest up; other stocks keep the order given.
fn by_sleeve_size(stocks: &mut [Stock]) {
    stocks.sort_by_key(|stock| match stock.form {
        Form::Sleeve(sleeve) => sleeve.supplied.0,
        _ => 0,
    });
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
