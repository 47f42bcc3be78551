//! Job to driver to link, and back: printing streams strip by strip, and reading a stream again.

use crate::bitmap::Bitmap;
use crate::error::{Error, Kind, Result};
use crate::font::Pen;
use crate::job::{Job, StockPlan};
use crate::layout::Layout;
use crate::mark::snip_guide;
use crate::raster::Raster;
use crate::strip::{self, Strip};
use crate::transport::{Delivery, Port};
use crate::unit::{Dots, Dpi};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tapewright_host::{
    Apart, Check, Cut, CutKind, Decoding, DeviceStatus, Driver, Events, Failure, FaultKind, HostError, JobSpec,
    LogLevel, Page, Place, Sink, Step, StripSpec, Work, find_in,
};

/// Rows handed to a driver at a time, in bytes.
const CHUNK: usize = 64 << 10;

/// Where driver modules are looked for: beside the program, then in the user's folder.
pub fn driver_folders(user: Option<PathBuf>) -> Vec<PathBuf> {
    let beside = std::env::current_exe().ok().and_then(|program| program.parent().map(PathBuf::from));
    beside.into_iter().chain(user.map(|folder| folder.join("drivers"))).collect()
}

/// The argument after which this program serves the module whose path follows.
pub const SERVE: &str = "serve-module";

/// A process of its own for each module: this program again, which serves the module.
///
/// # Errors
/// Kind `Device`: the platform does not tell where this program is.
pub fn apart(patience: Duration) -> Result<Place> {
    let program = std::env::current_exe()
        .map_err(|error| Error::new(Kind::Device, format!("this program cannot find itself: {error}")))?;
    Ok(Place::Apart(Apart { program, arguments: vec![SERVE.into()], patience }))
}

/// The modules found, and those refused with the reason.
pub fn modules(folders: &[PathBuf], place: &Place) -> (Vec<Driver>, Vec<Error>) {
    let found = find_in(folders, place);
    (found.modules, found.refused.into_iter().map(host_error).collect())
}

/// The module in a file, with the family files of `folders`.
///
/// # Errors
/// Kind `Driver`: it cannot be used.
pub fn load_module(path: &Path, folders: &[PathBuf], place: &Place) -> Result<Driver> {
    Driver::load(path, folders, place).map(|(module, _)| module).map_err(host_error)
}

/// What the validator finds about a family of a module.
///
/// # Errors
/// Kind `Driver`: it has no such family.
pub fn check_module(module: &Driver, family: &str) -> Result<Vec<Check>> {
    tapewright_host::check(module, family).map_err(host_error)
}

/// The module that has a family.
///
/// # Errors
/// Kind `Driver`: none has it; names the families found and the folders looked in.
pub fn module_for<'m>(modules: &'m [Driver], family: &str, folders: &[PathBuf]) -> Result<&'m Driver> {
    modules.iter().find(|module| module.family(family).is_some()).ok_or_else(|| {
        let known: Vec<&str> = modules.iter().flat_map(|m| m.families().iter().map(|f| f.id.as_str())).collect();
        let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
        let folders: Vec<String> = folders.iter().map(|folder| folder.display().to_string()).collect();
        Error::driver(format!(
            "found no driver family `{family}` (found: {known}), wanted its module in {}; in the source tree `cargo build --release` makes the modules",
            folders.join(" or ")
        ))
    })
}

/// The families that are for a device: those with a pattern that `says`, asked with key and value,
/// finds in its device id.
pub fn takers(modules: &[Driver], says: impl Fn(&str, &str) -> bool) -> Vec<String> {
    let families = modules.iter().flat_map(Driver::families);
    let fits = families.filter(|family| family.patterns.iter().any(|pattern| says(&pattern.key, &pattern.value)));
    fits.map(|family| family.id.clone()).collect()
}

/// Who must act on what a module did.
fn host_error(error: HostError) -> Error {
    let kind = match &error {
        HostError::Misuse { .. } => Kind::Bug,
        HostError::Fault(fault) => match fault.kind {
            FaultKind::Limit => Kind::Limit,
            FaultKind::BadArgument | FaultKind::Unsupported => Kind::Input,
            FaultKind::Fault => Kind::Device,
            FaultKind::BadState | FaultKind::Bug => Kind::Driver,
        },
        HostError::FamilyFile { .. } => Kind::Input,
        HostError::Load { .. } | HostError::NoFamily { .. } | HostError::Broken { .. } | HostError::Died { .. } => {
            Kind::Driver
        }
    };
    Error::new(kind, error.to_string())
}

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

fn job_spec(job: &Job, plan: &StockPlan, name: &str) -> Result<JobSpec> {
    let (printer, stock) = (&job.printer, job.stock(plan));
    Ok(JobSpec {
        name: name.replace('\0', ""),
        strips: u32::try_from(plan.strips.strips.len()).unwrap_or(0),
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

/// Makes an instance of the printer's driver.
///
/// # Errors
/// Kind `Driver`: the module has no such family or does not keep its contract.
pub fn open(module: &Driver, family: &str, warn: impl Fn(&str) + Send + 'static) -> Result<Work> {
    let log = move |level: LogLevel, text: &str| {
        if matches!(level, LogLevel::Warning | LogLevel::Error) {
            warn(text);
        }
    };
    module.open(family, log).map_err(host_error)
}

/// Prints the labels on one stock: every strip of its plan through a driver to a link.
///
/// Memory does not grow with the number of labels: one label's rows are held at a time, and what
/// the driver is handed at once. `progress` hears of every label handed to the driver, and may stop
/// the job.
///
/// # Errors
/// Kind `Driver`, `Input` or `Limit` as the driver reports; `Supply`, `Storage` or `Device` when
/// the device or the link fails. The chain says which labels are surely with the link and which
/// perhaps.
pub fn print(
    job: &Job,
    plan: &StockPlan,
    work: Work,
    name: &str,
    port: &mut dyn Port,
    progress: &mut dyn FnMut() -> Result<()>,
) -> Result<()> {
    let port = ToPort { port, sent: 0 };
    let mut stream = Stream { work, port, certain: 0, begun: 0, before: 0 };
    let sent = send(job, plan, name, &mut stream, progress);
    sent.map_err(|error| {
        // A driver that has heard from the device may know that a person there must act.
        let needs = |status: &DeviceStatus| status.stock_out || status.wrong_stock;
        let supply = error.kind() == Kind::Device && stream.work.status().is_ok_and(|status| needs(&status));
        let error = if supply { error.as_kind(Kind::Supply) } else { error };
        // Of a strip that gave the link nothing, nothing has left.
        let silent = stream.port.sent == stream.before && stream.port.port.delivery() != Delivery::WhenWhole;
        let begun = if silent { stream.certain } else { stream.begun };
        let told = reached(job, plan, stream.port.port.delivery(), stream.certain, begun);
        // What makes the device usable again; whether that works changes nothing here.
        stream.port.port.abandon();
        let _ = stream.step(&Step::Cancel).and_then(|()| stream.flush());
        error.doing(told)
    })
}

/// Which labels have left, in words.
fn reached(job: &Job, plan: &StockPlan, delivery: Delivery, certain: usize, begun: usize) -> String {
    let all = plan.slots.len();
    let label = |nth: usize| {
        let slot = plan.slots[nth - 1];
        format!("label {} ({} {})", plan.before + nth, job.name(job.cable(slot)), slot.end.word())
    };
    // Labels of other cartridges come before these.
    let first = plan.before + 1;
    let of = if first == 1 { format!("of {all}") } else { format!("of labels {first} to {}", plan.before + all) };
    match delivery {
        Delivery::AsSent | Delivery::HandedOver => {}
        Delivery::WhenWhole => return format!("nothing was kept, it stopped at label {} {of}", plan.before + begun),
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
        _ => format!("labels {first} to {} {more}, the last is {}", plan.before + certain, label(certain)),
    };
    match begun.saturating_sub(certain) {
        0 => format!("{certainly}; {of}{rest}"),
        1 => format!("{certainly}, {} perhaps in part; {of}{rest}", label(begun)),
        _ => format!("{certainly}, those up to {} perhaps in part; {of}{rest}", label(begun)),
    }
}

fn send(
    job: &Job,
    plan: &StockPlan,
    name: &str,
    stream: &mut Stream<'_>,
    progress: &mut dyn FnMut() -> Result<()>,
) -> Result<()> {
    let spec = job_spec(job, plan, name)?;
    stream.look()?;
    stream.step(&Step::BeginJob(&spec))?;
    // A job that is refused is refused before a label is drawn.
    stream.flush()?;
    let mut rows = Rows::new(job, plan)?;
    for (index, labels) in plan.strips.strips.iter().enumerate() {
        let strip = job.strip(plan, labels);
        let cuts = strip.cuts.iter().map(|&(at, kind)| {
            let kind = if kind == strip::Cut::Half { CutKind::Half } else { CutKind::Full };
            Ok(Cut { line: count(at)?, kind })
        });
        let cuts: Vec<Cut> = cuts.collect::<Result<_>>()?;
        let last = strip.starts.len() - 1;
        let end = strip.starts[last] + plan.lengths[labels.end - 1];
        let spec = StripSpec {
            index: u32::try_from(index).map_err(|_| Error::limit("more strips than can be counted"))?,
            lines: count(strip.length)?,
            lead_lines: count(strip.ledger.lead)?,
            trail_lines: count(strip.length - end)?,
            labels: u32::try_from(labels.len()).map_err(|_| Error::limit("more labels than can be counted"))?,
            cuts: &cuts,
        };
        stream.before = stream.port.sent;
        stream.step(&Step::BeginStrip(&spec))?;
        send_lines(&mut rows, labels.start, &strip, stream, progress)?;
        stream.step(&Step::EndStrip)?;
        // Where nothing counts before all of it is there, nobody asks which strip was the last.
        if stream.port.port.delivery() != Delivery::WhenWhole {
            stream.flush()?;
            stream.look()?;
        }
        stream.certain = labels.end;
    }
    stream.step(&Step::EndJob)?;
    stream.flush()?;
    stream.port.port.finish()
}

/// The head lines of a plan's labels, one label at a time.
pub struct Rows<'j> {
    job: &'j Job,
    plan: &'j StockPlan,
    raster: Raster<'j>,
    label: Bitmap,
    rows: Vec<u8>,
    /// What `rows` shows: the far end is often the same as the near one.
    held: Option<Layout>,
    head: usize,
    zone: (usize, usize),
}

impl<'j> Rows<'j> {
    /// Nothing drawn yet.
    ///
    /// # Errors
    /// Kind `Bug`: the plan's stock does not lie under the head.
    pub fn new(job: &'j Job, plan: &'j StockPlan) -> Result<Self> {
        let zone = job.printer.zone(job.stock(plan)).ok_or_else(|| Error::bug("the stock lies off the head"))?;
        Ok(Self {
            job,
            plan,
            raster: Raster::new(Pen::new(job.fonts())),
            label: Bitmap::new(0, 0),
            rows: Vec::new(),
            held: None,
            head: count(job.printer.head)? as usize,
            zone: (count(zone.0)? as usize, count(zone.1)? as usize),
        })
    }

    /// Bytes of a head line.
    pub const fn row_bytes(&self) -> usize {
        self.head.div_ceil(8)
    }

    /// The head lines of the label drawn last, back to back.
    pub fn rows(&self) -> &[u8] {
        &self.rows
    }

    /// Draws a label of the plan, by its place in the plan; its length.
    ///
    /// # Errors
    /// Kind `Bug`: the label does not come out as planned.
    pub fn draw(&mut self, label: usize) -> Result<Dots> {
        let slot = self.plan.slots[label];
        let layout = self.job.lay_out(self.plan, slot)?;
        let along = layout.along;
        if along != self.plan.lengths[label] {
            return Err(Error::bug(format!("a label planned at {} lays out to {along}", self.plan.lengths[label])));
        }
        if self.held.as_ref() != Some(&layout) {
            self.raster.draw(&layout, self.job.stock(self.plan).mirrored, &mut self.label);
            self.rows.clear();
            self.label.append_head_lines(self.head, self.zone.0, &mut self.rows);
            self.held = Some(layout);
        }
        Ok(along)
    }

    /// The one head line of a snip guide.
    pub fn guide(&self) -> Vec<u8> {
        let mut row = Vec::new();
        snip_guide(self.zone.1).append_head_lines(self.head, self.zone.0, &mut row);
        row
    }
}

/// Sends the lines of one strip: lead, labels, gaps with their guides, trail.
fn send_lines(
    rows: &mut Rows<'_>,
    first: usize,
    strip: &Strip,
    stream: &mut Stream<'_>,
    progress: &mut dyn FnMut() -> Result<()>,
) -> Result<()> {
    let row_bytes = rows.row_bytes();
    let mut at = Dots::ZERO;
    let mut guides = strip.guides.iter().copied().peekable();
    let guide = |at: Dots, guide: Dots, row: &[u8], stream: &mut Stream<'_>| -> Result<Dots> {
        stream.blank(guide - at)?;
        stream.step(&Step::Lines { rows: row, count: 1 })?;
        Ok(guide + Dots(1))
    };
    let guide_row = rows.guide();
    for (nth, &start) in strip.starts.iter().enumerate() {
        while let Some(next) = guides.next_if(|&guide| guide < start) {
            at = guide(at, next, &guide_row, stream)?;
        }
        stream.blank(start - at)?;
        stream.begun = first + nth + 1;
        at = start + rows.draw(first + nth)?;
        for chunk in rows.rows().chunks((CHUNK / row_bytes).max(1) * row_bytes) {
            let lines = u32::try_from(chunk.len() / row_bytes).unwrap_or(0);
            stream.step(&Step::Lines { rows: chunk, count: lines })?;
        }
        progress()?;
    }
    for next in guides {
        at = guide(at, next, &guide_row, stream)?;
    }
    stream.blank(strip.length - at)
}

/// One strip as a stream says it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StripRead {
    /// Head lines.
    pub lines: u64,
    /// Dots in a line.
    pub dots: u32,
    /// Resolution along, thousandths of a dot per inch.
    pub along: Option<Dpi>,
    /// Lines before which half cuts fall.
    pub half_cuts: Vec<u32>,
    /// Lines before which full cuts fall; the end of the strip counts as its number of lines.
    pub full_cuts: Vec<u32>,
    /// Inked dots.
    pub ink: u64,
}

/// What to do with the lines of a stream that is read back.
pub trait Lines {
    /// A strip begins, numbered from 1.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn begin(&mut self, strip: usize, dots: u32, lines: Option<u32>) -> Result<()>;

    /// Rows of `ceil(dots / 8)` bytes.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn rows(&mut self, rows: &[u8]) -> Result<()>;

    /// The strip ends.
    ///
    /// # Errors
    /// Whatever stops the reading.
    fn end(&mut self, strip: &StripRead) -> Result<()>;
}

struct Reader<'l> {
    strips: usize,
    open: StripRead,
    row_bytes: usize,
    lines: &'l mut dyn Lines,
}

impl Events for Reader<'_> {
    type Error = Error;

    fn strip_begin(&mut self, page: &Page) -> Result<()> {
        self.strips += 1;
        self.row_bytes = page.bytes_per_line() as usize;
        self.open = StripRead {
            dots: page.dots,
            along: page.dpi_along_milli.and_then(Dpi::from_milli),
            ..StripRead::default()
        };
        self.lines.begin(self.strips, page.dots, page.lines)
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<()> {
        self.open.lines += u64::from(count);
        self.open.ink += rows.iter().map(|byte| u64::from(byte.count_ones())).sum::<u64>();
        self.lines.rows(rows)
    }

    fn blank(&mut self, count: u32) -> Result<()> {
        self.open.lines += u64::from(count);
        let mut left = count as usize;
        let blank = vec![0; self.row_bytes * left.min(256)];
        while left > 0 {
            let some = left.min(256);
            self.lines.rows(&blank[..some * self.row_bytes])?;
            left -= some;
        }
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<()> {
        match cut.kind {
            CutKind::Half => self.open.half_cuts.push(cut.line),
            CutKind::Full => self.open.full_cuts.push(cut.line),
        }
        Ok(())
    }

    fn strip_end(&mut self) -> Result<()> {
        self.lines.end(&self.open)
    }
}

/// Finds the family a stream is of, by its first bytes.
///
/// # Errors
/// Kind `Input`: no module knows it. Kind `Driver`: a module broke its contract.
pub fn recognise(modules: &[Driver], first: &[u8], family: Option<&str>) -> Result<Decoding> {
    let mut best = (0, None);
    for module in modules {
        for info in module.families().iter().filter(|info| family.is_none_or(|family| family == info.id)) {
            let score = module.recognises(&info.id, first).map_err(host_error)?;
            // A family that was asked for reads the stream whatever it looks like.
            let score = if family.is_some() { score.map(|_| 101) } else { score };
            if score.is_some_and(|score| score > best.0) {
                best = (score.unwrap_or(0), Some((module, &info.id)));
            }
        }
    }
    let decoder = best.1.map(|(module, id)| module.decoder(id)).transpose().map_err(host_error)?.flatten();
    decoder.ok_or_else(|| match family {
        Some(family) => Error::input(format!("found no driver family `{family}` that can read streams")),
        None => Error::input("found a stream no driver module knows, wanted one that a module wrote"),
    })
}

/// Reads a stream back in one pass.
///
/// # Errors
/// Kind `Input`: the stream is not in order; kind `Driver`: the module is not.
pub fn read_back(decoder: &mut Decoding, stream: &mut dyn io::Read, first: &[u8], lines: &mut dyn Lines) -> Result<()> {
    let mut reader = Reader { strips: 0, open: StripRead::default(), row_bytes: 0, lines };
    let failed = |failure: Failure<Error>| match failure {
        Failure::Host(HostError::Fault(fault)) => Error::input(fault.text),
        Failure::Host(error) => host_error(error),
        Failure::Caller(error) => error,
    };
    decoder.push(first, &mut reader).map_err(failed)?;
    let mut buffer = vec![0; CHUNK];
    loop {
        let got = match stream.read(&mut buffer) {
            Ok(0) => break,
            Ok(got) => got,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(Error::storage(format!("the stream cannot be read: {error}"))),
        };
        decoder.push(&buffer[..got], &mut reader).map_err(failed)?;
    }
    decoder.finish(&mut reader).map_err(failed)
}
