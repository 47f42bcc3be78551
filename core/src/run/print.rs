//! Printing: strips of labels through a driver to a link.

use super::CHUNK;
use super::batch::{Batch, Labels};
use super::modules::host_error;
use crate::error::{Error, Kind, Result};
use crate::journal::What;
use crate::strip::{self, Strip};
use crate::transport::{Delivery, Port};
use crate::unit::Dots;
use std::ops::RangeInclusive;
use std::time::Duration;
use tapewright_host::{Cut, CutKind, DeviceStatus, Failure, JobSpec, Sink, Step, StripSpec, Work};

/// What a driver puts out, to an open link.
struct ToPort<'p> {
    port: &'p mut dyn Port,
    /// Bytes the port was given.
    sent: u64,
}

impl Sink for ToPort<'_> {
    type Error = Error;

    fn bytes(&mut self, bytes: &[u8]) -> Result<()> {
        self.sent += bytes.len() as u64;
        self.port.send(bytes)
    }

    fn wait(&mut self, time: Duration) -> Result<()> {
        self.port.pause(time)
    }

    fn reply(&mut self, count: usize, time: Duration, reply: &mut Vec<u8>) -> Result<()> {
        self.port.receive(count, time, reply)
    }
}

/// A driver at work with the link its bytes go to.
struct Stream<'p> {
    work: Work,
    port: ToPort<'p>,
    /// Labels of strips the link has taken whole, and labels handed to the driver.
    certain: usize,
    begun: usize,
    /// Bytes the port had been given when the strip under way began.
    before: u64,
}

impl Stream<'_> {
    /// Makes a step of the driver and sends what it puts out, now or with a later step.
    fn step(&mut self, step: &Step<'_>) -> Result<()> {
        self.work.step(step, &mut self.port).map_err(link_failure)
    }

    fn flush(&mut self) -> Result<()> {
        self.work.flush(&mut self.port).map_err(link_failure)
    }

    fn blank(&mut self, lines: Dots) -> Result<()> {
        if lines == Dots::ZERO {
            return Ok(());
        }
        self.step(&Step::Blank(count(lines)?))
    }

    /// Asks the device how it is, where the link can: what it says may be a reason to stop.
    fn look(&mut self) -> Result<()> {
        let Some(status) = self.port.port.port_status()? else { return Ok(()) };
        self.step(&Step::PortStatus(status))?;
        self.flush()
    }
}

fn link_failure(failure: Failure<Error>) -> Error {
    match failure {
        Failure::Host(error) => host_error(error),
        Failure::Caller(error) => error,
    }
}

fn count(dots: Dots) -> Result<u32> {
    u32::try_from(dots.0).map_err(|_| Error::bug(format!("{dots} is no count")))
}

fn job_spec(batch: &Batch<'_>, name: &str) -> Result<JobSpec> {
    let Batch { printer, stock, .. } = *batch;
    Ok(JobSpec {
        name: name.replace('\0', ""),
        strips: u32::try_from(batch.strips.len()).unwrap_or(0),
        dpi_across_milli: printer.across.milli(),
        dpi_along_milli: printer.along.milli(),
        dots: count(printer.head)?,
        web_first_dot: i32::try_from(printer.stock_edge(stock).0).map_err(|_| Error::bug("the stock lies nowhere"))?,
        web_dots: count(printer.across.dots_nearest(stock.width))?.max(1),
        width_um: u32::try_from(stock.width.0).unwrap_or(0),
        stock_kind: stock.form.word().to_owned(),
        stock_title: stock.title.replace('\0', ""),
        options: printer.options.iter().map(|(key, value)| (key.clone(), value.clone())).collect(),
    })
}

/// Hears what becomes of labels. They are counted from 1 in their batch.
pub trait Watch {
    /// Something is known of labels. [`What::Leaving`] comes before the first of their bytes goes to the
    /// link.
    ///
    /// # Errors
    /// Whatever stops the job: what is not written down must not leave.
    fn note(&mut self, what: What, labels: RangeInclusive<usize>, word: &str) -> Result<()> {
        let _ = (what, labels, word);
        Ok(())
    }

    /// One more label was handed to the driver.
    ///
    /// # Errors
    /// Whatever stops the job.
    fn handed(&mut self) -> Result<()>;
}

impl<F: FnMut() -> Result<()>> Watch for F {
    fn handed(&mut self) -> Result<()> {
        self()
    }
}

/// Prints a batch of labels: every strip through a driver to a link.
///
/// That the stream has ended is for the caller to say, once the link has nothing more to tell.
/// Memory does not grow with the number of labels: one label's rows are held at a time, and what
/// the driver is handed at once. `watch` hears of every label, and may stop the job.
///
/// # Errors
/// Kind `Driver`, `Input` or `Limit` as the driver reports; `Supply`, `Storage` or `Device` when
/// the device or the link fails. The chain says which labels are surely with the link and which
/// perhaps.
pub fn print(
    batch: &Batch<'_>,
    labels: &mut dyn Labels,
    work: Work,
    name: &str,
    port: &mut dyn Port,
    watch: &mut dyn Watch,
) -> Result<()> {
    let port = ToPort { port, sent: 0 };
    let mut stream = Stream { work, port, certain: 0, begun: 0, before: 0 };
    let sent = send(batch, labels, name, &mut stream, watch);
    sent.map_err(|error| {
        // A driver that has heard from the device may know that a person there must act.
        let needs = |status: &DeviceStatus| status.stock_out || status.wrong_stock;
        let supply = error.kind() == Kind::Device && stream.work.status().is_ok_and(|status| needs(&status));
        let error = if supply { error.as_kind(Kind::Supply) } else { error };
        let delivery = stream.port.port.delivery();
        // Of a strip that gave the link nothing, nothing has left.
        let silent = stream.port.sent == stream.before && delivery != Delivery::WhenWhole;
        let begun = if silent { stream.certain } else { stream.begun };
        let told = reached(batch, labels, delivery, stream.certain, begun);
        // What makes the device usable again; whether that works changes nothing here.
        stream.port.port.abandon();
        let _ = stream.step(&Step::Cancel).and_then(|()| stream.flush());
        // A watch that fails now has failed before, or leaves labels in doubt, which is safe.
        let all = batch.lengths.len();
        if delivery == Delivery::WhenWhole {
            let _ = watch.note(What::Stayed, 1..=all, "no file was made");
        } else if begun < stream.begun {
            let _ = watch.note(What::Stayed, begun + 1..=stream.begun, "the link was given nothing of them");
        }
        let _ = watch.note(What::BrokeOff, 1..=all, &error.to_string());
        error.doing(told)
    })
}

/// Which labels have left, in words.
fn reached(batch: &Batch<'_>, labels: &dyn Labels, delivery: Delivery, certain: usize, begun: usize) -> String {
    let all = batch.lengths.len();
    let label = |nth: usize| format!("label {} ({})", batch.before + nth, labels.name(nth - 1));
    // Labels of other cartridges come before these.
    let first = batch.before + 1;
    let of = if first == 1 { format!("of {all}") } else { format!("of labels {first} to {}", batch.before + all) };
    match delivery {
        Delivery::AsSent | Delivery::HandedOver => {}
        Delivery::WhenWhole => return format!("nothing was kept, it stopped at label {} {of}", batch.before + begun),
        Delivery::Queue => {
            return format!(
                "the job was given up after {certain} of {all} labels, what the printer had taken before may be printed"
            );
        }
    }
    // A network takes bytes for a printer that may never read them.
    let (one, more, rest) = match delivery {
        Delivery::AsSent => ("was sent", "were sent", ""),
        _ => ("was handed over", "were handed over", "; how much of it the printer took is not known"),
    };
    let certainly = match certain {
        0 => format!("no label {one} whole"),
        _ => format!("labels {first} to {} {more}, the last is {}", batch.before + certain, label(certain)),
    };
    match begun.saturating_sub(certain) {
        0 => format!("{certainly}; {of}{rest}"),
        1 => format!("{certainly}, {} perhaps in part; {of}{rest}", label(begun)),
        _ => format!("{certainly}, those up to {} perhaps in part; {of}{rest}", label(begun)),
    }
}

fn send(
    batch: &Batch<'_>,
    labels: &mut dyn Labels,
    name: &str,
    stream: &mut Stream<'_>,
    watch: &mut dyn Watch,
) -> Result<()> {
    let spec = job_spec(batch, name)?;
    stream.look()?;
    stream.step(&Step::BeginJob(&spec))?;
    // A job that is refused is refused before a label is drawn.
    stream.flush()?;
    let delivery = stream.port.port.delivery();
    let all = batch.lengths.len();
    if delivery == Delivery::WhenWhole {
        watch.note(What::Leaving, 1..=all, "")?;
    }
    for (index, range) in batch.strips.iter().enumerate() {
        let strip = batch.strip(range);
        let cuts = strip.cuts.iter().map(|&(at, kind)| {
            let kind = if kind == strip::Cut::Half { CutKind::Half } else { CutKind::Full };
            Ok(Cut { line: count(at)?, kind })
        });
        let cuts: Vec<Cut> = cuts.collect::<Result<_>>()?;
        let last = strip.starts.len() - 1;
        let end = strip.starts[last] + batch.lengths[range.end - 1];
        let spec = StripSpec {
            index: u32::try_from(index).map_err(|_| Error::limit("more strips than can be counted"))?,
            lines: count(strip.length)?,
            lead_lines: count(strip.ledger.lead)?,
            trail_lines: count(strip.length - end)?,
            labels: u32::try_from(range.len()).map_err(|_| Error::limit("more labels than can be counted"))?,
            cuts: &cuts,
        };
        stream.before = stream.port.sent;
        stream.step(&Step::BeginStrip(&spec))?;
        send_lines(batch, labels, range.start, &strip, stream, watch)?;
        stream.step(&Step::EndStrip)?;
        // Where nothing counts before all of it is there, nobody asks which strip was the last.
        if delivery != Delivery::WhenWhole {
            stream.flush()?;
            stream.look()?;
            let (what, word) = match delivery {
                Delivery::AsSent => (What::Taken, "the printer has taken them"),
                Delivery::HandedOver => (What::Given, "the network has taken them"),
                _ => (What::Given, "the queue has taken them"),
            };
            watch.note(what, range.start + 1..=range.end, word)?;
        }
        stream.certain = range.end;
    }
    stream.step(&Step::EndJob)?;
    stream.flush()?;
    stream.port.port.finish()
}

/// Sends the lines of one strip: lead, labels, gaps with their guides, trail.
fn send_lines(
    batch: &Batch<'_>,
    labels: &mut dyn Labels,
    first: usize,
    strip: &Strip,
    stream: &mut Stream<'_>,
    watch: &mut dyn Watch,
) -> Result<()> {
    let row_bytes = batch.row_bytes();
    let by_label = stream.port.port.delivery() != Delivery::WhenWhole;
    let mut at = Dots::ZERO;
    let mut guides = strip.guides.iter().copied().peekable();
    let guide = |at: Dots, guide: Dots, row: &[u8], stream: &mut Stream<'_>| -> Result<Dots> {
        stream.blank(guide - at)?;
        stream.step(&Step::Lines { rows: row, count: 1 })?;
        Ok(guide + Dots(1))
    };
    let guide_row = batch.guide()?;
    for (nth, &start) in strip.starts.iter().enumerate() {
        while let Some(next) = guides.next_if(|&guide| guide < start) {
            at = guide(at, next, &guide_row, stream)?;
        }
        stream.blank(start - at)?;
        let drawn = labels.draw(first + nth)?;
        if drawn != batch.lengths[first + nth] {
            return Err(Error::bug(format!("a label planned at {} came out at {drawn}", batch.lengths[first + nth])));
        }
        if by_label {
            watch.note(What::Leaving, first + nth + 1..=first + nth + 1, "")?;
        }
        stream.begun = first + nth + 1;
        at = start + drawn;
        for chunk in labels.rows().chunks((CHUNK / row_bytes).max(1) * row_bytes) {
            let lines = u32::try_from(chunk.len() / row_bytes).unwrap_or(0);
            stream.step(&Step::Lines { rows: chunk, count: lines })?;
        }
        watch.handed()?;
    }
    for next in guides {
        at = guide(at, next, &guide_row, stream)?;
    }
    stream.blank(strip.length - at)
}
