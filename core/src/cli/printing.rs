//! Printing a job: which stocks and cartridges, in which order, and what that takes off the shelf.

use super::answer::plural;
use super::keeping::written_down;
use super::log::hint;
use super::pieces::{Going, Piece, Printed, Taking, in_place};
use super::streams::found_modules;
use super::{Done, Talk, answer, answer_json};
use crate::error::{Error, Kind, Result};
use crate::job::{Job, Plan, StockPlan};
use crate::run::{Batch, Rows, module_for};
use crate::settings::ShelfFile;
use crate::shelf::{Order, Source, Use};
use crate::transport::Link;
use serde_json::json;
use std::borrow::Cow;
use std::io::{self, IsTerminal};
use std::path::Path;
use std::time::Duration;
use tapewright_host::Place;

/// Where to, and what of a job.
pub(super) struct Where<'a> {
    pub(super) to: &'a str,
    pub(super) only: Option<&'a str>,
    /// The first cartridge by its number in the job, and the last.
    pub(super) cartridges: Option<(usize, usize)>,
    /// Whether the tape is taken off the shelf; nothing where the link decides.
    pub(super) take: Option<bool>,
    pub(super) patience: Duration,
    pub(super) place: Place,
    /// The register's file.
    pub(super) register: Option<&'a Path>,
    /// The person named the register.
    pub(super) named: bool,
}

impl Where<'_> {
    /// Whether the journal is told: what goes to a printer always is, what goes to a file where the
    /// person says that it will be printed.
    fn is_kept(&self, link: &Link) -> bool {
        link.is_device() || self.named || self.take == Some(true)
    }
}

/// A stream: the labels on one stock, or those that one cartridge prints.
struct Part<'p> {
    plan: Cow<'p, StockPlan>,
    /// The cartridge's number in the job, and the cartridge.
    cartridge: Option<(usize, &'p Use)>,
}

/// The streams of a job: one a cartridge where cartridges are known one by one or asked for, else one
/// a stock.
fn parts<'p>(job: &Job, plan: &'p Plan, whereto: &Where<'_>) -> Result<Vec<Part<'p>>> {
    let used: Vec<&str> = plan.stocks.iter().map(|stock| job.stock(stock).id.as_str()).collect();
    if let Some(only) = whereto.only.filter(|only| !used.contains(only)) {
        return Err(Error::input(format!("--only: found `{only}`, wanted a stock of this job: {}", used.join(", "))));
    }
    let all: usize = plan.stocks.iter().map(|stock| stock.strips.mounts.len()).sum();
    if let Some((first, last)) = whereto.cartridges
        && (first == 0 || first > all)
    {
        let flag = if first == last { "--cartridge" } else { "--from-cartridge" };
        return Err(Error::input(format!("{flag}: found {first}, wanted 1 to {all}: this job uses so many")));
    }
    let (first, last) = whereto.cartridges.unwrap_or((1, all));
    let mut parts = Vec::new();
    let mut before = 0;
    for stock in &plan.stocks {
        let mounts = stock.strips.mounts.len();
        let here = (before + 1)..=(before + mounts);
        before += mounts;
        if whereto.only.is_some_and(|only| job.stock(stock).id != only) {
            continue;
        }
        let on_shelf = stock.cartridges.as_ref().filter(|cartridges| cartridges.on_shelf);
        if on_shelf.is_none() && whereto.cartridges.is_none() {
            parts.push(Part { plan: Cow::Borrowed(stock), cartridge: None });
            continue;
        }
        for (mount, nth) in here.enumerate().filter(|(_, nth)| (first..=last).contains(nth)) {
            let part = if mounts == 1 { Cow::Borrowed(stock) } else { Cow::Owned(stock.of_mount(mount)) };
            let cartridge = on_shelf.map(|cartridges| (nth, &cartridges.uses[mount]));
            parts.push(Part { plan: part, cartridge });
        }
    }
    if parts.is_empty() {
        return Err(Error::input(format!(
            "found no label on {} from cartridge {first}, wanted a cartridge of that stock: `tapewright estimate` numbers them",
            whereto.only.unwrap_or_default()
        )));
    }
    Ok(parts)
}

/// Tape that is not there must be bought before anything of it is printed.
fn enough(job: &Job, plan: &Plan, parts: &[Part<'_>]) -> Result<()> {
    let missing = |part: &Part<'_>| part.cartridge.is_some_and(|(_, one)| one.source == Source::Buy);
    if !parts.iter().any(missing) {
        return Ok(());
    }
    let short = plan.stocks.iter().filter_map(|stock| super::answer::to_buy(job, stock));
    let there: Vec<String> = parts
        .iter()
        .filter(|part| !missing(part))
        .filter_map(|part| part.cartridge.map(|(nth, _)| nth.to_string()))
        .collect();
    let several = plan.stocks.len() > 1;
    let lacking = |stock: &&StockPlan| parts.iter().any(|part| missing(part) && part.plan.same_stock(stock));
    let held = plan.stocks.iter().filter(lacking).find_map(|stock| {
        let held = stock.cartridges.as_ref().map(|cartridges| cartridges.held).filter(|&held| held > 0)?;
        let of = if several { format!("{}:", job.stock(stock).id) } else { String::new() };
        let last = stock.before + held;
        Some(format!("; --to-label {of}{last} prints what the shelf holds, and --from-label {of}{} the rest", last + 1))
    });
    let hint = if let Some(held) = held {
        held
    } else if there.is_empty() {
        String::new()
    } else {
        format!("; --cartridge {} prints from what is there", there.join(" or "))
    };
    Err(Error::new(Kind::Supply, format!("the shelf is not enough: {}{hint}", short.collect::<Vec<_>>().join("; "))))
}

impl Taking {
    fn of(job: &Job, whereto: &Where<'_>, link: &Link, parts: usize) -> Self {
        match whereto.take {
            Some(true) => Self::AtOnce,
            Some(false) => Self::Never,
            None if !link.is_device() || whereto.cartridges.is_some() => Self::Never,
            None if job.policy.order == Order::List || parts == 1 => Self::AtOnce,
            None => Self::AtTheEnd,
        }
    }
}

pub(super) fn print(
    job: &Job,
    plan: &Plan,
    name: &str,
    whereto: &Where<'_>,
    shelf: Option<&mut ShelfFile>,
    json: bool,
    talk: &Talk,
) -> Done {
    let link = Link::parse(whereto.to)?;
    let parts = parts(job, plan, whereto)?;
    let by_cartridge = parts.iter().all(|part| part.cartridge.is_some());
    let one_at_a_time = link == Link::Stdout || link.is_device();
    if parts.len() > 1 && one_at_a_time {
        let terminal = io::stdin().is_terminal() && io::stderr().is_terminal();
        if !by_cartridge {
            let used: Vec<&str> = plan.stocks.iter().map(|stock| job.stock(stock).id.as_str()).collect();
            return Err(Error::input(format!(
                "this job is on {}: load one after the other and name it with --only",
                used.join(", ")
            ))
            .into());
        }
        if link == Link::Stdout || !terminal {
            let numbers: Vec<String> = parts.iter().filter_map(|part| Some(part.cartridge?.0.to_string())).collect();
            return Err(Error::input(format!(
                "this job is on {} cartridges and nobody at a terminal changes them: put one in after the other, and print each with --cartridge {} before the shelf is changed",
                parts.len(),
                numbers.join(", ")
            ))
            .into());
        }
    }
    enough(job, plan, &parts)?;
    // Who names a cartridge has put it in.
    if let (true, None, Some((_, first))) = (link.is_device(), whereto.cartridges, parts[0].cartridge) {
        in_place(first, &job.stock(&parts[0].plan).id, &job.printer)?;
    }
    let taking = Taking::of(job, whereto, &link, parts.len());
    let (found, folders) = found_modules(&whereto.place, talk);
    let module = module_for(&found, &job.printer.driver, &folders)?;
    let going = Going {
        printer: &job.printer,
        name,
        link: &link,
        module,
        patience: whereto.patience,
        taking,
        keep: job.policy.keep,
        cartridges: plan.stocks.iter().map(|stock| stock.strips.mounts.len()).sum(),
    };
    let pieces = parts.iter().map(|part| {
        let labels = Box::new(Rows::new(job, &part.plan)?);
        Ok(Piece { batch: Batch::of(job, &part.plan), labels, cartridge: part.cartridge })
    });
    let mut pieces = pieces.collect::<Result<Vec<Piece<'_>>>>()?;
    let mut log = match whereto.register.filter(|_| whereto.is_kept(&link)) {
        Some(register) => {
            let plans: Vec<&StockPlan> = parts.iter().map(|part| &*part.plan).collect();
            Some(written_down(job, &plans, name, &link, register, talk)?)
        }
        None => None,
    };
    let sent = going.send(&mut pieces, shelf.filter(|_| taking != Taking::Never), log.as_mut(), talk);
    let sent = sent.map_err(|error| hint(error, log.as_ref()))?;
    if link == Link::Stdout {
        return Ok(());
    }
    if by_cartridge && taking == Taking::Never && whereto.take.is_none() {
        talk.say(if link.is_device() {
            "note: the shelf is as before, so that the other cartridges print by the same plan; when all is printed, say what is left with `tapewright stock set`"
        } else {
            "note: the shelf is as before: a file takes no tape; --take counts it all the same"
        });
    }
    tell(job, plan, &sent, json)
}

/// What was sent where.
fn tell(job: &Job, plan: &Plan, sent: &[Printed<'_>], json: bool) -> Done {
    let mm = |dots| job.printer.along.length(dots).mm();
    if json {
        let sent: Vec<_> = sent
            .iter()
            .map(|(cartridge, one)| {
                let mut value = json!({"stock": one.stock, "to": one.link, "labels": one.labels, "strips": one.strips, "feed_mm": mm(one.feed)});
                if let Some((nth, used)) = cartridge {
                    value["nth"] = json!(nth);
                    value["cartridge"] = json!(used.id);
                    value["left_mm"] = json!(mm(used.left));
                }
                value
            })
            .collect();
        return answer_json(&json!({ "sent": sent, "problems": plan.estimate(job).problems }));
    }
    for (cartridge, one) in sent {
        let from = cartridge.map_or(String::new(), |(nth, used)| match used.id.as_str() {
            "" => format!(", from cartridge {nth}"),
            id => format!(", from cartridge {nth} ({id})"),
        });
        answer(&format!(
            "{}: {} in {}, {:.2} m{from}, to {}\n",
            one.stock,
            plural(one.labels, "label"),
            plural(one.strips, "strip"),
            mm(one.feed) / 1000.0,
            one.link
        ))?;
    }
    Ok(())
}
