//! The work sheet: a plan as rows for the bench.

use super::answer::{metres, plural};
use super::args::PaperArg;
use super::{Done, Talk, answer, answer_json, known, proofs};
use crate::bitmap::Bitmap;
use crate::cable::Column;
use crate::digest::Digest;
use crate::error::{Error, Result};
use crate::font::{Fonts, Pen};
use crate::job::{End, Job, Plan};
use crate::journal::{Fate, minute};
use crate::layout::Build;
use crate::proof::{Bench, BenchHead, BenchRow, OnCable, Reads};
use crate::raster::Raster;
use crate::register::{Register, Summary};
use crate::store::files::write_whole;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Where a work sheet goes, and what stands on it.
pub(super) struct To {
    pub(super) out: PathBuf,
    pub(super) paper: PaperArg,
    pub(super) title: String,
    /// Instead of the plan's digest.
    pub(super) reference: Option<String>,
}

/// What a work sheet says of itself.
pub(super) struct Written {
    pub(super) reference: String,
    pub(super) labels: usize,
    pub(super) strips: usize,
}

/// Takes in the dots of a label.
fn add_dots(digest: &mut Digest, bitmap: &Bitmap) {
    for line in 0..bitmap.lines() {
        bitmap.line(line).iter().for_each(|word| digest.add(&word.to_be_bytes()));
    }
}

/// A plan's digest as a person reads it: four groups of four.
fn words(digest: &Digest) -> String {
    let digits = format!("{:016x}", digest.value());
    format!("plan {}-{}-{}-{}", &digits[..4], &digits[4..8], &digits[8..12], &digits[12..])
}

/// Head lines: what is needed for the job.
fn facts(job: &Job, plan: &Plan, reference: &str) -> Vec<String> {
    let mut facts = vec![format!("{reference} · printer {} ({})", job.printer.title, job.printer.id)];
    for stock in &plan.stocks {
        let media = job.stock(stock);
        let tape = job.printer.along.length(stock.strips.ledger.tape());
        facts.push(format!(
            "{} ({}): {} in {}, {} of tape",
            media.title,
            media.id,
            plural(stock.slots.len(), "label"),
            plural(stock.strips.strips.len(), "strip"),
            metres(tape.mm())
        ));
    }
    let estimate = plan.estimate(job);
    let cartridges: Vec<String> = estimate
        .stocks
        .iter()
        .flat_map(proofs::cartridges)
        .filter_map(|(named, _)| named.map(|one| format!("{} ({})", one.nth, one.words)))
        .collect();
    if !cartridges.is_empty() {
        facts.push(format!("cartridges in order: {}", cartridges.join(", ")));
    }
    facts
}

/// Writes the work sheet of a plan.
pub(super) fn write(job: &Job, plan: &Plan, to: &To, talk: &Talk) -> Result<Written> {
    let mut bench = Bench::new(to.paper.paper());
    // Of what the plan prints: printer, stocks, strips, and each label's cable, end and dots.
    let mut digest = Digest::default();
    digest.add(job.printer.id.as_bytes());
    let estimate = plan.estimate(job);
    let cartridges: Vec<_> = estimate.stocks.iter().flat_map(proofs::cartridges).collect();
    let mut on = cartridges.iter().flat_map(|(named, strips)| std::iter::repeat_n(named, *strips));
    let total: usize = plan.stocks.iter().map(|stock| stock.strips.strips.len()).sum();
    let labels = plan.stocks.iter().map(|stock| stock.slots.len()).sum();
    let bar = talk.bar(labels, "work sheet");
    let mut raster = Raster::new(Pen::new(job.fonts()));
    let mut bitmap = Bitmap::new(0, 0);
    let (mut strip, mut nth) = (0, 0);
    for stock in &plan.stocks {
        let media = job.stock(stock);
        for range in &stock.strips.strips {
            strip += 1;
            digest.add(&[0]);
            digest.add(media.id.as_bytes());
            let from = on.next().and_then(Option::as_ref);
            let from = from.map_or(String::new(), |one| format!(" · cartridge {} ({})", one.nth, one.words));
            let length = job.printer.along.length(job.strip(stock, range).length);
            let heading = format!(
                "Strip {strip} of {total}{from} · {} · {}, {:.0} mm",
                media.title,
                plural(range.len(), "label"),
                length.mm()
            );
            for &slot in &stock.slots[range.clone()] {
                nth += 1;
                let layout = job.lay_out(stock, slot)?;
                raster.draw(&layout, false, &mut bitmap);
                let cable = job.cable(slot);
                let name = job.name(cable);
                digest.add(name.as_bytes());
                digest.add(slot.end.word().as_bytes());
                add_dots(&mut digest, &bitmap);
                let diameter = job.diameter(slot);
                let place = cable.text(if slot.end == End::Near { Column::From } else { Column::To });
                let view = OnCable { bitmap: &bitmap, layout: &layout, printer: &job.printer, stock: media, diameter };
                bench.add(&BenchRow {
                    nth,
                    strip,
                    heading: heading.clone(),
                    printer: &job.printer,
                    stock: media,
                    bitmap: &bitmap,
                    cable: name,
                    end: slot.end.word(),
                    place: place.to_owned(),
                    build: slot.build,
                    reads: Reads::of(&layout),
                    diameter,
                    notes: layout.notes.clone(),
                    view: Some(view),
                });
                bar.inc(1);
            }
        }
    }
    let reference = to.reference.clone().unwrap_or_else(|| words(&digest));
    let head = BenchHead { title: to.title.clone(), reference: reference.clone(), facts: facts(job, plan, &reference) };
    write_whole(&to.out, &bench.finish(&head, job.fonts())?)?;
    bar.finish_and_clear();
    Ok(Written { reference, labels, strips: total })
}

pub(super) fn run(job: &Job, plan: &Plan, to: &To, json: bool, talk: &Talk) -> Done {
    let written = write(job, plan, to, talk)?;
    let path = to.out.display().to_string();
    if json {
        let Written { reference, labels, strips } = written;
        return answer_json(&json!({"sheet": path, "reference": reference, "labels": labels, "strips": strips}));
    }
    talk.say(&format!(
        "{}: {} on {}",
        written.reference,
        plural(written.labels, "label"),
        plural(written.strips, "strip")
    ));
    answer(&format!("{path}\n"))
}

/// Writes the work sheet of a job of the journal, from its kept bits.
///
/// # Errors
/// Kind `Input`: its printer or a stock is not known any more. Kind `Storage`: the sheet cannot be
/// written.
pub(super) fn of_job(register: &Register, job: &Summary, out: &Path, paper: PaperArg, fates: &[Fate]) -> Result<()> {
    let known = known()?;
    let printer = known.catalogue.printer(&job.order.printer)?;
    let labels = register.labels(job.job)?;
    let total = labels.iter().map(|one| one.strip).max().unwrap_or(0);
    let mut bench = Bench::new(paper.paper());
    for (one, fate) in labels.iter().zip(fates) {
        let stock = known.catalogue.stock(&one.label.stock)?;
        let mut bitmap = register.bits(one)?.bitmap();
        if stock.mirrored {
            bitmap.mirror();
        }
        let build = Build::named(&one.label.build)
            .ok_or_else(|| Error::bug(format!("the journal has a build `{}`", one.label.build)))?;
        let count = labels.iter().filter(|other| other.strip == one.strip).count();
        let column = if one.label.end == "near" { Column::From } else { Column::To };
        let cable = one.label.cable.map(|id| register.cable(id)).transpose()?.flatten();
        let place = cable.map_or(String::new(), |cable| cable.fields.text(column).to_owned());
        let twice = one.perhaps_twice.then(|| "perhaps there are two: throw one away".to_owned());
        let left = fate.is_open().then(|| fate.word().to_owned());
        bench.add(&BenchRow {
            nth: one.place.1,
            strip: one.strip,
            heading: format!("Strip {} of {total} · {} · {}", one.strip, stock.title, plural(count, "label")),
            printer,
            stock,
            bitmap: &bitmap,
            cable: format!("{} {}", one.label.batch, one.label.number).trim().to_owned(),
            end: &one.label.end,
            place,
            build,
            reads: None,
            diameter: one.label.diameter,
            notes: twice.into_iter().chain(left).collect(),
            view: None,
        });
    }
    let reference = format!("job {} of {}", job.job, minute(job.at));
    let facts = vec![
        format!("{reference} · {} · printer {} ({})", job.order.kind, printer.title, printer.id),
        format!("{} in {}", plural(labels.len(), "label"), plural(total, "strip")),
    ];
    let head = BenchHead { title: job.order.name.clone(), reference, facts };
    write_whole(out, &bench.finish(&head, &Fonts::embedded())?)
}
