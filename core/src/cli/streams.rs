//! Printing to a link, and reading a stream back.

use super::answer::plural;
use super::log::Log;
use super::{Done, PATIENCE, Talk, answer, answer_json, stopped};
use crate::error::{Doing, Error, Result};
use crate::job::{Job, Plan};
use crate::journal::What;
use crate::run::{
    Batch, Labels, Lines, StripRead, Watch, apart, driver_folders, modules, open, print, read_back, recognise,
};
use crate::settings::user_folder;
use crate::store::files::{WholeFile, io_error, make_folder};
use crate::strip::Between;
use crate::transport::{Link, Shipment, Word};
use crate::unit::{Dots, Dpi};
use serde_json::json;
use std::fs::File;
use std::io::{self, Read, Write};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tapewright_host::{Driver, Place};

/// What was sent for one stock.
pub(super) struct Sent {
    pub(super) stock: String,
    pub(super) link: String,
    pub(super) labels: usize,
    pub(super) strips: usize,
    pub(super) feed: Dots,
}

/// The modules found; those refused are told of.
pub(super) fn found_modules(place: &Place, talk: &Talk) -> (Vec<Driver>, Vec<PathBuf>) {
    let folders = driver_folders(user_folder());
    let (found, refused) = modules(&folders, place);
    for error in refused {
        talk.warn(&format!("refused: {error}"));
    }
    let mut known: Vec<&str> = Vec::new();
    for family in found.iter().flat_map(Driver::families) {
        if known.contains(&family.id.as_str()) {
            talk.warn(&format!("note: found family `{}` in two modules, the first one is used", family.id));
        }
        known.push(&family.id);
    }
    (found, folders)
}

/// Says before anything is printed that the printer's driver carries no half cuts, where labels are to
/// be parted by them. Where there is no module, nothing is known.
pub(super) fn note_half_cuts(job: &Job, plan: &Plan, talk: &Talk) -> Result<()> {
    if plan.stocks.iter().all(|stock| job.rules(stock).between != Between::Half) {
        return Ok(());
    }
    let (found, _) = modules(&driver_folders(user_folder()), &apart(PATIENCE)?);
    let family = found.iter().find_map(|module| module.family(&job.printer.driver));
    if family.is_some_and(|family| !family.carries_half_cuts()) {
        talk.warn(&format!(
            "note: driver `{}` of printer `{}` carries no half cuts: `print` will refuse; set between = \"full\" or \"snip\"",
            job.printer.driver, job.printer.id
        ));
    }
    Ok(())
}

/// A driver and a link for a plan's labels.
pub(super) struct Way<'a> {
    pub(super) module: &'a Driver,
    pub(super) link: &'a Link,
    /// Most time in which a device must take at least one byte.
    pub(super) patience: Duration,
}

/// How far a stream came, in labels from its first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Reach {
    /// The device has them whole.
    pub(super) surely: usize,
    /// Something of them has gone to the link; a network or a queue may have kept it from the device.
    pub(super) perhaps: usize,
}

impl Reach {
    /// What a note on labels says about it.
    pub(super) fn note(&mut self, what: What, labels: &RangeInclusive<usize>) {
        match what {
            What::Leaving => self.perhaps = self.perhaps.max(*labels.end()),
            What::Stayed => self.perhaps = self.perhaps.min(labels.start() - 1),
            What::Taken | What::Ended => self.surely = self.surely.max(*labels.end()),
            _ => {}
        }
    }
}

/// Hears of labels for the person who waits, and for the journal.
struct Watcher<'w> {
    reach: &'w mut Reach,
    bar: &'w indicatif::ProgressBar,
    log: Option<&'w mut Log>,
}

impl Watch for Watcher<'_> {
    fn note(&mut self, what: What, labels: RangeInclusive<usize>, word: &str) -> Result<()> {
        self.reach.note(what, &labels);
        self.log.as_mut().map_or(Ok(()), |log| log.note(what, labels, word))
    }

    fn handed(&mut self) -> Result<()> {
        self.bar.inc(1);
        stopped()
    }
}

/// What it means that a stream was sent to its end.
const fn ended(link: &Link) -> &'static str {
    match link {
        Link::File(_) => "the file is whole",
        Link::Stdout => "whoever reads standard output has taken the whole stream",
        Link::Usb(_) => "the printer has taken the whole stream",
        Link::Tcp { .. } => "the network has taken the whole stream",
        Link::Queue(_) => "the queue reports the job done",
    }
}

/// Sends a batch of labels to a link. `reach` says how far that came, also when it breaks off.
pub(super) fn send(
    batch: &Batch<'_>,
    drawn: &mut dyn Labels,
    name: &str,
    way: &Way<'_>,
    reach: &mut Reach,
    log: Option<&mut Log>,
    talk: &Talk,
) -> Result<Sent> {
    let Way { module, link, patience } = *way;
    let Batch { printer, stock, .. } = *batch;
    let bar = talk.bar(batch.lengths.len(), "printing");
    let mut watch = Watcher { reach, bar: &bar, log };
    let doing = || format!("{} to {link}", stock.id);
    let longest = batch.strips.iter().map(|labels| batch.strip(labels).length).max().unwrap_or(Dots::ZERO);
    let shipment =
        Shipment { name, family: &printer.driver, width: stock.width, longest: printer.along.length(longest) };
    let say = |word: Word<'_>| {
        bar.suspend(|| match word {
            Word::News(text) => talk.say(text),
            Word::Wants(text) => talk.warn(text),
        });
    };
    let warned = bar.clone();
    let mut work = Some(open(module, &printer.driver, move |text| {
        warned.suspend(|| _ = writeln!(io::stderr(), "driver: {text}"));
    })?);
    let mut printed = false;
    let carried = link.carry(&shipment, patience, &say, &mut |port| {
        let work = work.take().ok_or_else(|| Error::bug("a job sent twice"))?;
        print(batch, drawn, work, name, port, &mut watch)?;
        printed = true;
        Ok(())
    });
    let all = 1..=batch.lengths.len();
    match &carried {
        Ok(()) => watch.note(What::Ended, all, ended(link))?,
        // What the link says after it had taken everything.
        Err(error) if printed => watch.note(What::BrokeOff, all, &error.to_string())?,
        Err(_) => {}
    }
    carried.doing(doing)?;
    bar.finish_and_clear();
    Ok(Sent {
        stock: stock.id.clone(),
        link: link.to_string(),
        labels: batch.lengths.len(),
        strips: batch.strips.len(),
        feed: batch.feed(),
    })
}

/// Collects the figures of a stream, and its lines as one PBM file a strip where asked.
struct Measure<'p> {
    strips: Vec<StripRead>,
    pbm: Option<&'p Path>,
    open: Option<Pbm>,
}

/// A raw PBM under way. Its height stands before the rows, so it must be known or filled in after.
struct Pbm {
    file: WholeFile,
    left: u64,
}

impl Lines for Measure<'_> {
    fn begin(&mut self, strip: usize, dots: u32, lines: Option<u32>) -> Result<()> {
        let Some(folder) = self.pbm else { return Ok(()) };
        let Some(lines) = lines else {
            return Err(Error::limit("this stream does not say how long its strips are, so no PBM can be written"));
        };
        let path = folder.join(format!("strip-{strip:04}.pbm"));
        let mut file = WholeFile::create(&path)?;
        write!(file, "P4\n{dots} {lines}\n").map_err(|error| io_error(&path, &error))?;
        self.open = Some(Pbm { file, left: u64::from(lines) });
        Ok(())
    }

    fn rows(&mut self, rows: &[u8]) -> Result<()> {
        match &mut self.open {
            Some(pbm) => pbm.file.write_all(rows).map_err(|error| Error::storage(format!("PBM: {error}"))),
            None => Ok(()),
        }
    }

    fn end(&mut self, strip: &StripRead) -> Result<()> {
        self.strips.push(strip.clone());
        match self.open.take() {
            Some(pbm) if pbm.left == strip.lines => pbm.file.finish(),
            Some(pbm) => Err(Error::bug(format!("a strip of {} lines was announced with {}", strip.lines, pbm.left))),
            None => Ok(()),
        }
    }
}

/// Bytes a family sees when it is asked whether a stream is its own.
const FIRST: usize = 4096;

/// Reads the figures of a stream.
pub(super) fn measure(
    path: &Path,
    pbm: Option<&Path>,
    family: Option<&str>,
    place: &Place,
    talk: &Talk,
) -> Result<Vec<StripRead>> {
    let mut stream: Box<dyn Read> = if path == Path::new("-") {
        Box::new(io::stdin().lock())
    } else {
        if path.is_dir() {
            return Err(Error::input(format!("{}: found a folder, wanted a stream", path.display())));
        }
        Box::new(File::open(path).map_err(|error| io_error(path, &error))?)
    };
    if let Some(folder) = pbm {
        make_folder(folder)?;
    }
    let doing = || path.display().to_string();
    let mut first = Vec::with_capacity(FIRST);
    stream.by_ref().take(FIRST as u64).read_to_end(&mut first).map_err(|error| io_error(path, &error))?;
    if first.is_empty() {
        return Err(Error::input("found an empty file, wanted a stream")).doing(doing);
    }
    let (found, _) = found_modules(place, talk);
    let mut decoder = recognise(&found, &first, family).doing(doing)?;
    let mut measure = Measure { strips: Vec::new(), pbm, open: None };
    read_back(&mut decoder, &mut stream, &first, &mut measure).doing(doing)?;
    Ok(measure.strips)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "range checked just before")]
fn given_dpi(dpi: Option<f64>) -> Result<Option<Dpi>> {
    let Some(dpi) = dpi else { return Ok(None) };
    let milli = if (1.0..=10_000.0).contains(&dpi) { Dpi::from_milli((dpi * 1000.0 + 0.5) as u32) } else { None };
    milli.map(Some).ok_or_else(|| Error::input(format!("--dpi: found {dpi}, wanted 1 to 10000")))
}

pub(super) fn readback(
    stream: &Path,
    pbm: Option<&Path>,
    family: Option<&str>,
    dpi: Option<f64>,
    place: &Place,
    json: bool,
    talk: &Talk,
) -> Done {
    let given = given_dpi(dpi)?;
    let strips = measure(stream, pbm, family, place, talk)?;
    let no_dpi = || Error::input("the stream does not say its resolution: give it with --dpi");
    let dpis: Vec<Dpi> = strips.iter().map(|s| given.or(s.along).ok_or_else(no_dpi)).collect::<Result<_>>()?;
    let mm = |dpi: Dpi, lines: u64| dpi.length(Dots(i64::try_from(lines).unwrap_or(i64::MAX))).mm();
    let feed: f64 = strips.iter().zip(&dpis).map(|(strip, &dpi)| mm(dpi, strip.lines)).sum();
    // Sums of thousandths in doubles: back to thousandths.
    let feed = (feed * 1000.0).round() / 1000.0;
    if json {
        let strips: Vec<_> = strips
            .iter()
            .zip(&dpis)
            .map(|(strip, &dpi)| {
                let places = |cuts: &[u32]| cuts.iter().map(|&cut| mm(dpi, u64::from(cut))).collect::<Vec<_>>();
                json!({
                    "lines": strip.lines,
                    "feed_mm": mm(dpi, strip.lines),
                    "half_cuts_mm": places(&strip.half_cuts),
                    "full_cuts_mm": places(&strip.full_cuts),
                    "ink_dots": strip.ink,
                })
            })
            .collect();
        return answer_json(&json!({ "strips": strips, "feed_mm": feed }));
    }
    for (nth, (strip, &dpi)) in strips.iter().zip(&dpis).enumerate() {
        answer(&format!(
            "strip {}: {} lines, {:.1} mm, {}, {}, {} inked dots\n",
            nth + 1,
            strip.lines,
            mm(dpi, strip.lines),
            plural(strip.half_cuts.len(), "half cut"),
            plural(strip.full_cuts.len(), "full cut"),
            strip.ink
        ))?;
    }
    answer(&format!("{}, {:.2} m of tape\n", plural(strips.len(), "strip"), feed / 1000.0))
}
