//! Work for a printer, told as text: the same text must come from every way that leads to it.

use crate::fake::{Fake, Shared};
use std::fmt::{Display, Write};
use std::time::Duration;
use tapewright_usb::{CHUNK, Error, Printer, Wire, WriteFailure};

/// Bytes of a job.
pub const JOB: usize = 300_000;

/// Long enough to be no part of a scenario.
const LONG: Duration = Duration::from_secs(20);
/// For what is sure to time out, however slow the machine is.
const SHORT: Duration = Duration::from_millis(200);

/// A way to the first printer.
pub trait Bench {
    /// The wire it leads over.
    type Wire: Wire;

    /// Opens the printer.
    ///
    /// # Errors
    /// As [`Printer::open`].
    fn open(&self) -> Result<Printer<Self::Wire>, Error>;

    /// Has the printer obey a line; gives its answer.
    ///
    /// # Panics
    /// The printer does not know it: the scenario is wrong.
    fn tell(&self, line: &str) -> String;
}

impl Bench for Shared {
    type Wire = Fake;

    fn open(&self) -> Result<Printer<Fake>, Error> {
        let model = self.model();
        if model.gone() {
            return Err(Error::NotFound { wanted: "usb:".into(), found: Vec::new() });
        }
        let layout = model.sheet().layout();
        drop(model);
        let fake = Fake(self.clone());
        if layout.setting > 0 {
            let chosen = fake.control(0x01, 11, layout.setting.into(), layout.interface.into(), &mut [], LONG);
            chosen.map_err(|stop| Error::System { what: format!("{stop:?}") })?;
        }
        Ok(Printer::over(fake, layout))
    }

    fn tell(&self, line: &str) -> String {
        self.model().obey(line).unwrap_or_else(|error| panic!("{error}"))
    }
}

/// The job: bytes without a pattern, the same every time (xorshift of Marsaglia, 13-17-5).
#[must_use]
pub fn job() -> Vec<u8> {
    let mut state = 0x9e37_79b9_u32;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        state.to_le_bytes()[0]
    };
    (0..JOB).map(|_| next()).collect()
}

/// Points of a sweep: in each transfer of a job its first bytes, a packet more or less, its middle
/// and its last byte.
#[must_use]
pub fn points() -> Vec<usize> {
    let inner = [0, 1, 511, 512, 513, CHUNK / 2, CHUNK - 1];
    (0..JOB).step_by(CHUNK).flat_map(|start| inner.map(|more| start + more)).filter(|at| *at < JOB).collect()
}

/// What was done, a line each.
struct Told(String);

impl Told {
    fn line(&mut self, what: impl Display) {
        writeln!(self.0, "{what}").expect("a string takes everything");
    }

    fn write(&mut self, result: &Result<(), WriteFailure>) {
        match result {
            Ok(()) => self.line("wrote"),
            Err(WriteFailure { sent, cause }) => self.line(format_args!("{sent} bytes, then {cause:?}")),
        }
    }
}

/// Plays a scenario, and tells what happened.
///
/// # Errors
/// The printer could not be opened, or there is no such scenario.
pub fn play<B: Bench>(name: &str, bench: &B) -> Result<String, String> {
    let mut told = Told(String::new());
    match name {
        "write" => write(bench, &mut told)?,
        "resume" => resume(bench, &mut told)?,
        "sweep-unplug" => sweep(bench, "unplug", &mut told)?,
        "sweep-vanish" => sweep(bench, "vanish", &mut told)?,
        "sweep-rip" => sweep(bench, "rip", &mut told)?,
        "ask" => ask(bench, &mut told)?,
        "read" => read(bench, &mut told)?,
        "reset" => reset(bench, &mut told)?,
        _ => return Err(format!("found scenario `{name}`, wanted one of those in scenario.rs")),
    }
    Ok(told.0)
}

fn open<B: Bench>(bench: &B) -> Result<Printer<B::Wire>, String> {
    bench.open().map_err(|error| error.to_string())
}

/// One job, and the port status after it.
fn write<B: Bench>(bench: &B, told: &mut Told) -> Result<(), String> {
    let mut printer = open(bench)?;
    told.write(&printer.write(&job(), LONG));
    match printer.port_status() {
        Ok(status) => told.line(format_args!("status {status:#04x}")),
        Err(error) => told.line(format_args!("no status: {error:?}")),
    }
    told.line(format_args!("halts ended {}", bench.tell("halts")));
    Ok(())
}

/// Writes the job until the printer takes no more. A time-out that comes because the machine is slow
/// is no part of the scenario: the rest is written then.
fn until_it_stops<B: Bench>(bench: &B, printer: &mut Printer<B::Wire>, job: &[u8]) -> Result<WriteFailure, String> {
    let mut before = 0;
    loop {
        let failure = printer.write(&job[before..], SHORT).err().ok_or("the job did not stop")?;
        before += failure.sent;
        if failure.cause != Error::TimedOut || bench.tell("waits") == "yes" {
            return Ok(WriteFailure { sent: before, cause: failure.cause });
        }
    }
}

/// A job that stops in the middle, and goes on from where the link says.
fn resume<B: Bench>(bench: &B, told: &mut Told) -> Result<(), String> {
    let (mut printer, job) = (open(bench)?, job());
    let failure = until_it_stops(bench, &mut printer, &job)?;
    told.write(&Err(failure.clone()));
    let status = printer.port_status().map_err(|error| error.to_string())?;
    told.line(format_args!("status {status:#04x}"));
    // Nothing is taken while it waits.
    told.write(&printer.write(&job[failure.sent..], SHORT));
    bench.tell("resume");
    told.write(&printer.write(&job[failure.sent..], LONG));
    let status = printer.port_status().map_err(|error| error.to_string())?;
    told.line(format_args!("status {status:#04x}"));
    Ok(())
}

/// The plug is pulled at every point of a job.
fn sweep<B: Bench>(bench: &B, fault: &str, told: &mut Told) -> Result<(), String> {
    let (job, mut fewer) = (job(), 0_u32);
    for at in points() {
        bench.tell(&format!("fault {fault}@{at}"));
        let mut printer = open(bench)?;
        let failure = printer.write(&job, LONG).err().ok_or_else(|| format!("{at}: the job did not stop"))?;
        let taken: usize = bench.tell("taken").parse().map_err(|error| format!("{at}: {error}"))?;
        if taken != at || failure.sent > taken || failure.cause != Error::Unplugged {
            return Err(format!("{at}: the printer took {taken} bytes, the link told {failure:?}"));
        }
        fewer += u32::from(failure.sent < taken);
        // What was open is of no use any more, and says so.
        let again = [printer.write(&job, LONG).err().map(|failure| (failure.sent, failure.cause))];
        if again != [Some((0, Error::Unplugged))] || printer.port_status() != Err(Error::Unplugged) {
            return Err(format!("{at}: after that the link told {again:?}"));
        }
        drop(printer);
        if !matches!(bench.open(), Err(Error::NotFound { .. })) {
            return Err(format!("{at}: the printer is found while it is unplugged"));
        }
        bench.tell("plug");
    }
    told.line(format_args!("{} times unplugged, {fewer} times fewer told than taken", points().len()));
    Ok(())
}

/// What the printer is asked before a job.
fn ask<B: Bench>(bench: &B, told: &mut Told) -> Result<(), String> {
    let printer = open(bench)?;
    match printer.device_id() {
        Ok(id) => told.line(format_args!(
            "{:?}: {}, {}, {}",
            id.length_field(),
            id.manufacturer().unwrap_or("no manufacturer"),
            id.model().unwrap_or("no model"),
            id.commands().join("+")
        )),
        Err(error) => told.line(format_args!("no device id: {error}")),
    }
    told.line(format_args!("setting {}", bench.tell("setting")));
    Ok(())
}

/// Answers: none, some, more than asked for, after a halt, and with a job between them.
fn read<B: Bench>(bench: &B, told: &mut Told) -> Result<(), String> {
    let mut printer = open(bench)?;
    let mut take = |printer: &mut Printer<B::Wire>, want, within| {
        let mut bytes = vec![0xee];
        match printer.read(want, within, &mut bytes) {
            Ok(count) => told.line(format_args!("read {count}: {:02x?}", &bytes[1..])),
            Err(error) => told.line(format_args!("read nothing: {error:?}")),
        }
    };
    take(&mut printer, 3, SHORT);
    bench.tell("say 01 02 03 04 05");
    take(&mut printer, 2, LONG);
    take(&mut printer, 2, LONG);
    take(&mut printer, 4, SHORT);
    bench.tell("halt");
    bench.tell("say 06 07");
    take(&mut printer, 2, LONG);
    take(&mut printer, 0, LONG);
    bench.tell("unplug");
    take(&mut printer, 1, LONG);
    Ok(())
}

/// A job that stops for good, and a reset that makes the printer take the next one.
fn reset<B: Bench>(bench: &B, told: &mut Told) -> Result<(), String> {
    let (mut printer, job) = (open(bench)?, job());
    told.write(&Err(until_it_stops(bench, &mut printer, &job)?));
    match printer.soft_reset() {
        Ok(()) => told.line("reset"),
        Err(error) => told.line(format_args!("no reset: {error:?}")),
    }
    told.write(&printer.write(&job, LONG));
    told.line(format_args!("resets {}", bench.tell("resets")));
    Ok(())
}
