//! Kept labels printed once more: the rest of a job that broke off, and what a person asks for again.

use super::answer::plural;
use super::args::AgainArgs;
use super::jobs::{Said, notes_of, state, state_json};
use super::log::{Log, hint, hold};
use super::pieces::{Going, Piece, Printed, Taking, in_place};
use super::streams::found_modules;
use super::{Done, MOST_SHOWN, Talk, answer, answer_json, cables, known_at, now, shelf, waiting, within};
use crate::cable::Column;
use crate::error::{Error, Kind, Result};
use crate::job::Again;
use crate::journal::{day, fates};
use crate::media::{Catalogue, Printer, Stock};
use crate::register::{Order, Planned, Printing, Register, Summary};
use crate::run::{Batch, Kept, module_for};
use crate::settings::ShelfFile;
use crate::shelf::{Policy, Source};
use crate::transport::Link;
use crate::unit::Dots;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::io::{self, IsTerminal};
use std::ops::Range;
use std::path::Path;
use std::time::Duration;

/// A label that is printed again.
struct Wanted {
    printing: Printing,
    /// It may have been printed already, and nobody says that it was bad.
    perhaps_twice: bool,
}

/// The labels on one stock, planned.
struct Part {
    stock: Stock,
    wanted: Vec<Wanted>,
    plan: Again,
    names: Vec<String>,
}

/// One stream of a part: strips, and its cartridge.
struct Stretch {
    part: usize,
    strips: Vec<Range<usize>>,
    labels: Range<usize>,
    mount: Option<usize>,
}

/// Shows how far a job was, and prints the rest.
pub(super) fn resume(
    path: &Path,
    job: Option<i64>,
    last_good: Option<&str>,
    args: &AgainArgs,
    as_json: bool,
    talk: &Talk,
) -> Done {
    let mut register = Register::existing(path, waiting(talk))?;
    let job = match job {
        Some(job) => register.job(job)?,
        None => match open_job(&register, last_good.is_some(), talk)? {
            Some(job) => job,
            None if as_json => return answer_json(&json!({ "job": null })),
            None => return answer("nothing to resume: no label of any job is waited for\n"),
        },
    };
    // Until the end: of two that resume at once, one does.
    let _held = if args.dry_run { None } else { Some(hold(register.path(), job.job)?) };
    let mut notes = register.notes(job.job)?;
    let said = notes_of(&register, &job, &Said { last_good, spoilt: &[], write_off: false })?;
    if !args.dry_run {
        register.note_all(job.job, &said)?;
    }
    notes.extend(said);
    let labels = register.labels(job.job)?;
    let fates = fates(job.labels, &notes);
    let report = state(&job, &labels, &fates, &notes);
    let state = state_json(&job, &labels, &fates);
    if !as_json {
        answer(&report)?;
    }
    let rest = labels.into_iter().zip(&fates).filter(|(_, fate)| fate.is_open());
    let rest = rest.map(|(printing, &fate)| Wanted { perhaps_twice: fate.in_doubt(printing.perhaps_twice), printing });
    let rest: Vec<Wanted> = rest.collect();
    if rest.is_empty() {
        return if as_json {
            answer_json(&json!({ "resumed": state, "sent": [] }))
        } else {
            answer("nothing is left to print\n")
        };
    }
    let went = Order { kind: "resume", ..job.order.clone() };
    print(&mut register, rest, went, args, Some(state), as_json, talk)
}

/// The job to resume: the last one with labels left, or where a person says what came out last, the last
/// one of all.
fn open_job(register: &Register, last: bool, talk: &Talk) -> Result<Option<Summary>> {
    let open = register.open_jobs()?;
    if last {
        return Ok(register.jobs(1)?.pop());
    }
    let mut open = open.into_iter().map(|(job, _)| job);
    let first = open.next();
    let others: Vec<String> = open.map(|job| job.job.to_string()).collect();
    if !others.is_empty() {
        talk.say(&format!("note: labels are left in job {}, too: `tapewright jobs` lists them", others.join(", ")));
    }
    Ok(first)
}

/// What a person wants printed once more.
pub(super) struct Asked<'a> {
    pub(super) name: &'a [String],
    /// What is due until a time that is given, or now.
    pub(super) due: Option<&'a str>,
    pub(super) end: Option<&'a str>,
    pub(super) batch: Option<&'a str>,
    pub(super) strip_of: Option<&'a str>,
}

/// Prints labels once more.
pub(super) fn reprint(path: &Path, asked: &Asked<'_>, args: &AgainArgs, as_json: bool, talk: &Talk) -> Done {
    let mut register = Register::existing(path, waiting(talk))?;
    let wanted = find(&register, asked)?;
    let last = wanted.iter().map(|one| one.place.0).max().unwrap_or_default();
    let job = register.job(last)?;
    for one in &wanted {
        let other = register.job(one.place.0)?;
        let dots = |job: &Summary| (job.order.printer.clone(), job.order.across, job.order.along);
        if dots(&other) != dots(&job) {
            return Err(Error::input(format!(
                "found labels of printers `{}` and `{}`, wanted those of one: reprint them one after the other",
                other.order.printer, job.order.printer
            ))
            .into());
        }
    }
    let went = Order { kind: "reprint", name: "reprint".to_owned(), ..job.order };
    let wanted = wanted.into_iter().map(|printing| Wanted { printing, perhaps_twice: false }).collect();
    print(&mut register, wanted, went, args, None, as_json, talk)
}

/// The last printing of each label asked for, in the order they came out.
fn find(register: &Register, asked: &Asked<'_>) -> Result<Vec<Printing>> {
    if let Some(word) = asked.end.filter(|word| !matches!(*word, "near" | "far")) {
        return Err(Error::input(format!("--end: found `{word}`, wanted near or far")));
    }
    let (all, what) = if let Some(text) = asked.strip_of {
        let one = last_of(register.printings_named(text)?)
            .pop()
            .ok_or_else(|| unknown(&format!("label `{text}`"), "by batch, number and end, as `OTTER 1043 near`"))?;
        let strip = register.labels(one.place.0)?.into_iter().filter(|other| other.strip == one.strip);
        return Ok(strip.collect());
    } else if let Some(within) = asked.due {
        let until = cables::until(now(), "--due", Some(within))?;
        let mut all = Vec::new();
        for due in register.due(until, None)?.due {
            let text = |column| due.cable.fields.text(column);
            let of_cable = register.printings(text(Column::Batch), text(Column::Number))?;
            all.extend(of_cable.into_iter().filter(|one| one.label.end == due.end));
        }
        (all, format!("label that is due until {}", day(until)))
    } else if let Some(word) = asked.batch {
        (register.printings_of(word)?, format!("batch `{word}`"))
    } else {
        let name = asked.name.join(" ");
        (register.printings_named(&name)?, format!("label of `{name}`"))
    };
    let mut found = last_of(all);
    found.retain(|one| asked.end.is_none_or(|end| end == one.label.end));
    if found.is_empty() {
        return Err(unknown(&what, "that was printed: `tapewright jobs` lists what was"));
    }
    Ok(found)
}

fn unknown(what: &str, wanted: &str) -> Error {
    Error::input(format!("found no {what} in the journal, wanted one {wanted}"))
}

/// Of several printings of one label, given the newest first, the newest; then in the order they came out.
fn last_of(all: Vec<Printing>) -> Vec<Printing> {
    let mut newest: BTreeMap<(String, String, String), Printing> = BTreeMap::new();
    for one in all {
        let key = (one.label.batch.to_lowercase(), one.label.number.to_lowercase(), one.label.end.clone());
        newest.entry(key).or_insert(one);
    }
    let mut found: Vec<Printing> = newest.into_values().collect();
    found.sort_by_key(|one| one.place);
    found
}

/// The printer that prints kept bits: they have its dots.
fn printer<'c>(catalogue: &'c Catalogue, went: &Order, other: Option<&str>) -> Result<&'c Printer> {
    let printer = catalogue.printer(other.unwrap_or(&went.printer))?;
    if (printer.across, printer.along) != (went.across, went.along) {
        return Err(Error::input(format!(
            "found printer `{}` with {} by {}, wanted {} by {}: the bits of these labels were made for that; `print` draws them anew",
            printer.id, printer.across, printer.along, went.across, went.along
        )));
    }
    Ok(printer)
}

/// Plans labels by stock: what is mounted first, then in the order they came out.
fn parts(
    wanted: Vec<Wanted>,
    printer: &Printer,
    catalogue: &Catalogue,
    shelf: Option<&ShelfFile>,
    (went, args): (&Order, &AgainArgs),
) -> Result<Vec<Part>> {
    let mut stocks: Vec<String> = Vec::new();
    for one in &wanted {
        if !stocks.contains(&one.printing.label.stock) {
            stocks.push(one.printing.label.stock.clone());
        }
    }
    if let Some(only) = &args.only
        && !stocks.contains(only)
    {
        return Err(Error::input(format!(
            "--only: found `{only}`, wanted a stock of these labels: {}",
            stocks.join(", ")
        )));
    }
    let mounted = shelf.and_then(|shelf| shelf.shelf().mounted(&printer.id)).map(|one| one.stock.clone());
    stocks.sort_by_key(|stock| mounted.as_ref() != Some(stock));
    let mut by_stock: BTreeMap<String, Vec<Wanted>> = BTreeMap::new();
    for one in wanted {
        by_stock.entry(one.printing.label.stock.clone()).or_default().push(one);
    }
    let mut parts = Vec::new();
    for id in stocks.iter().filter(|stock| args.only.as_ref().is_none_or(|only| only == *stock)) {
        let stock = catalogue.stock(id)?;
        let wanted = by_stock.remove(id).unwrap_or_default();
        let (_, zone) = printer.zone(stock).ok_or_else(|| {
            Error::input(format!("found stock `{id}`, wanted one that printer `{}` takes", printer.id))
        })?;
        let mut lengths = Vec::with_capacity(wanted.len());
        for one in &wanted {
            if Dots(i64::from(one.printing.dots)) != zone {
                return Err(Error::input(format!(
                    "{}: its bits are {} dots wide, `{id}` has {zone} on `{}` now: `print` draws it anew",
                    one.printing.label.name(),
                    one.printing.dots,
                    printer.id
                )));
            }
            lengths.push(Dots(i64::from(one.printing.lines)));
        }
        // A pair stands side by side, its second label named by the first one's place.
        let joined = |nth: usize| {
            let (this, next) = (&wanted[nth], wanted.get(nth + 1));
            this.printing.label.joined
                && next.is_some_and(|next| next.printing.place == (this.printing.place.0, this.printing.place.1 + 1))
        };
        let joined: Vec<bool> = (0..wanted.len()).map(joined).collect();
        let shelf = shelf.map(ShelfFile::shelf);
        let plan = Again::plan(
            printer,
            stock,
            (&lengths, &joined),
            shelf,
            (went.between, &policy(went)),
            &mut within(args.budget()),
        )?;
        let names = plan.order.iter().map(|&label| wanted[label].printing.label.name()).collect();
        parts.push(Part { stock: stock.clone(), wanted, plan, names });
    }
    Ok(parts)
}

/// What was asked of the strips the first time.
fn policy(went: &Order) -> Policy {
    Policy { longest_strip: went.longest_strip, labels_a_strip: went.labels_a_strip, ..Policy::default() }
}

/// The streams of a part: one a cartridge where a shelf names the stock.
fn stretches(nth: usize, part: &Part) -> Vec<Stretch> {
    let strips = &part.plan.strips.strips;
    if part.plan.uses.is_empty() {
        return vec![Stretch { part: nth, strips: strips.clone(), labels: 0..part.plan.lengths.len(), mount: None }];
    }
    let of_mount = |(mount, of): (usize, &crate::strip::Mount)| {
        let (from, to) = (strips[of.strips.start].start, strips[of.strips.end - 1].end);
        let strips = strips[of.strips.clone()].iter().map(|labels| labels.start - from..labels.end - from).collect();
        Stretch { part: nth, strips, labels: from..to, mount: Some(mount) }
    };
    part.plan.strips.mounts.iter().enumerate().map(of_mount).collect()
}

/// Tape and money of a part.
fn cost(part: &Part, printer: &Printer) -> (f64, Option<f64>) {
    let tape = printer.along.length(part.plan.feed(0..part.plan.strips.strips.len()));
    let cost = part.stock.price.map(|price| price * tape.mm() / part.stock.length.mm());
    (tape.mm(), cost)
}

/// What is printed, one line for each stock.
fn told(parts: &[Part], printer: &Printer) -> String {
    let mut text = String::new();
    for part in parts {
        let (tape, cost) = cost(part, printer);
        let cost = cost.map_or(String::new(), |cost| format!(", cost {cost:.2}"));
        let _ = writeln!(
            text,
            "{}: {} in {}, {:.2} m{cost}",
            part.stock.id,
            plural(part.names.len(), "label"),
            plural(part.plan.strips.strips.len(), "strip"),
            tape / 1000.0
        );
    }
    text
}

fn told_json(parts: &[Part], printer: &Printer) -> Vec<Value> {
    let one = |part: &Part| {
        let (tape, cost) = cost(part, printer);
        json!({ "stock": part.stock.id, "labels": part.names, "strips": part.plan.strips.strips.len(), "tape_mm": tape, "cost": cost })
    };
    parts.iter().map(one).collect()
}

/// Labels that may come out a second time.
fn doubles(parts: &[Part]) -> Vec<String> {
    let all = parts.iter().flat_map(|part| &part.wanted);
    all.filter(|one| one.perhaps_twice).map(|one| one.printing.label.name()).collect()
}

/// Tape that is not there must be bought first.
fn enough(parts: &[Part], printer: &Printer) -> Result<()> {
    let short = parts.iter().filter(|part| part.plan.uses.iter().any(|one| one.source == Source::Buy));
    let short: Vec<String> = short
        .map(|part| format!("{}: {:.2} m short", part.stock.id, printer.along.length(part.plan.short).mm() / 1000.0))
        .collect();
    if short.is_empty() {
        return Ok(());
    }
    Err(Error::new(Kind::Supply, format!("the shelf is not enough: {}", short.join("; "))))
}

fn print(
    register: &mut Register,
    wanted: Vec<Wanted>,
    went: Order,
    args: &AgainArgs,
    state: Option<Value>,
    as_json: bool,
    talk: &Talk,
) -> Done {
    let known = known_at(Some(register.path().to_owned()), talk.quiet)?;
    let printer = printer(&known.catalogue, &went, args.printer.as_deref())?;
    let mut shelf = shelf::shown(args.shelf.as_deref(), &known)?;
    let parts = parts(wanted, printer, &known.catalogue, shelf.as_ref(), (&went, args))?;
    let link = Link::parse(args.to.as_deref().unwrap_or(&went.link))?;
    let doubles = doubles(&parts);
    if !as_json {
        answer(&told(&parts, printer))?;
    }
    if !doubles.is_empty() {
        let more = doubles.len().saturating_sub(MOST_SHOWN);
        let more = if more == 0 { String::new() } else { format!(" and {more} more: --json names them all") };
        let named = doubles[..doubles.len().min(MOST_SHOWN)].join(", ");
        talk.warn(&format!("may come out a second time; where there are two, throw one away: {named}{more}"));
    }
    let enough = enough(&parts, printer);
    if args.dry_run {
        if as_json {
            let planned = told_json(&parts, printer);
            answer_json(&json!({ "resumed": state, "planned": planned, "perhaps_twice": doubles, "sent": [] }))?;
        }
        return Ok(enough?);
    }
    enough?;
    let streams: Vec<Stretch> = parts.iter().enumerate().flat_map(|(nth, part)| stretches(nth, part)).collect();
    let one_at_a_time = link == Link::Stdout || link.is_device();
    let asks = link.is_device() && io::stdin().is_terminal() && io::stderr().is_terminal();
    if parts.len() > 1 && one_at_a_time && !(asks && streams.iter().all(|one| one.mount.is_some())) {
        let used: Vec<&str> = parts.iter().map(|part| part.stock.id.as_str()).collect();
        let used = used.join(", ");
        return Err(Error::input(format!(
            "these labels are on {used}: load one after the other and name it with --only"
        ))
        .into());
    }
    if let (true, Some((part, first))) =
        (link.is_device(), streams.first().and_then(|one| Some((one.part, one.mount?))))
    {
        in_place(&parts[part].plan.uses[first], &parts[part].stock.id, printer)?;
    }
    let (found, folders) = found_modules(&args.modules.place()?, talk);
    let module = module_for(&found, &printer.driver, &folders)?;
    let order = Order { printer: printer.id.clone(), link: link.to_string(), ..went };
    // The bits are read through a second door, while the first one writes what becomes of them.
    let bits = Register::existing(register.path(), waiting(talk))?;
    let mut strip = 0;
    let mut places: Vec<(usize, usize, usize)> = Vec::new();
    for stretch in &streams {
        for labels in &stretch.strips {
            strip += 1;
            places.extend(labels.clone().map(|nth| (stretch.part, stretch.labels.start + nth, strip)));
        }
    }
    let planned = places.iter().enumerate().map(|(at, &(part, place, strip))| {
        let one = &parts[part].wanted[parts[part].plan.order[place]];
        let mut label = one.printing.label.clone();
        label.joined = places.get(at + 1).is_some_and(|&(next_part, next, _)| {
            let next = &parts[next_part].wanted[parts[next_part].plan.order[next]].printing.label;
            (&next.batch, &next.number) == (&label.batch, &label.number) && next.end != label.end
        });
        let bits = bits.bits(&one.printing)?;
        Ok(Planned { label, strip, bits, again: Some(one.printing.place), perhaps_twice: one.perhaps_twice })
    });
    let job = register.plan(now(), &order, planned)?;
    let mut log = Log::new(Register::existing(register.path(), waiting(talk))?, job)?;
    let going = Going {
        printer,
        name: &order.name,
        link: &link,
        module,
        patience: Duration::from_secs(args.link_patience.into()),
        taking: if link.is_device() && !args.no_take { Taking::AtOnce } else { Taking::Never },
        keep: Policy::default().keep,
        cartridges: streams.len(),
    };
    let pieces = streams.iter().enumerate().map(|(nth, stretch)| {
        let part = &parts[stretch.part];
        let batch = Batch {
            printer,
            stock: &part.stock,
            rules: &part.plan.rules,
            strips: &stretch.strips,
            lengths: &part.plan.lengths[stretch.labels.clone()],
            before: stretch.labels.start,
        };
        let read = |nth: usize| {
            let one = &part.wanted[part.plan.order[stretch.labels.start + nth]];
            Ok(bits.bits(&one.printing)?.bitmap())
        };
        let labels = Box::new(Kept::new(printer, &part.stock, &part.names[stretch.labels.clone()], read)?);
        Ok(Piece { batch, labels, cartridge: stretch.mount.map(|mount| (nth + 1, &part.plan.uses[mount])) })
    });
    let mut pieces = pieces.collect::<Result<Vec<Piece<'_>>>>()?;
    let sent = going.send(&mut pieces, shelf.as_mut(), Some(&mut log), talk);
    let sent = sent.map_err(|error| hint(error, Some(&log)))?;
    if link == Link::Stdout {
        return Ok(());
    }
    if as_json {
        let planned = told_json(&parts, printer);
        return answer_json(
            &json!({ "resumed": state, "job": job, "planned": planned, "perhaps_twice": doubles, "sent": sent_json(&sent, printer) }),
        );
    }
    for (_, one) in &sent {
        answer(&format!("{}: {} sent to {}, job {job}\n", one.stock, plural(one.labels, "label"), one.link))?;
    }
    Ok(())
}

fn sent_json(sent: &[Printed<'_>], printer: &Printer) -> Vec<Value> {
    let one = |(_, one): &Printed<'_>| json!({ "stock": one.stock, "to": one.link, "labels": one.labels, "strips": one.strips, "feed_mm": printer.along.length(one.feed).mm() });
    sent.iter().map(one).collect()
}
