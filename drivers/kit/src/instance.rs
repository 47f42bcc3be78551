//! The fence around one driver: checks the order of calls and hands the output over.

use std::ffi::{CString, c_char, c_void};

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::{Cut, CutKind, FaultKind, write_text};

use crate::call;
use crate::out::Next;
use crate::{Driver, Fault, Job, OptionSpec, Options, Out, Stock, Strip};

/// No job has more settings; a greater number is a mistake or memory overwritten.
const MOST_OPTIONS: u32 = 1000;

/// Behind the `self` pointer of a driver made with the kit.
pub(crate) struct Instance {
    table: raw::tw_driver,
    host: raw::tw_host,
    options: &'static [OptionSpec],
    driver: Box<dyn Driver>,
    out: Out,
    state: State,
    fault: Option<Fault>,
    /// A reply was asked for and has not come.
    awaits_reply: bool,
    strips: u32,
    strips_done: u32,
    bytes_per_line: usize,
    /// Of the strip going on: all lines, and those to come.
    lines: u32,
    lines_left: u32,
    cuts: Vec<Cut>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Idle,
    Job,
    Strip,
    /// After end_job or cancel, until everything is taken.
    Ending,
    /// The driver failed: only cancel is left.
    Lost,
    /// The driver panicked: nothing is left.
    Broken,
}

impl State {
    fn name(self) -> &'static str {
        match self {
            State::Idle => "outside a job",
            State::Job => "between strips",
            State::Strip => "inside a strip",
            State::Ending => "after the end of the job",
            State::Lost => "after a fault, wanted cancel",
            State::Broken => "after the driver panicked, wanted destroy",
        }
    }
}

impl Instance {
    /// Makes an instance and gives the pointer the host keeps; `destroy` frees it.
    pub(crate) fn open(
        driver: Box<dyn Driver>,
        options: &'static [OptionSpec],
        host: raw::tw_host,
    ) -> *const raw::tw_driver {
        let instance = Box::into_raw(Box::new(Instance {
            table: TABLE,
            host,
            options,
            driver,
            out: Out::new(),
            state: State::Idle,
            fault: None,
            awaits_reply: false,
            strips: 0,
            strips_done: 0,
            bytes_per_line: 0,
            lines: 0,
            lines_left: 0,
            cuts: Vec::new(),
        }));
        // SAFETY: just made, nobody else has it.
        unsafe {
            (*instance).table.self_ = instance.cast();
            &raw const (*instance).table
        }
    }

    fn expect(&self, call: &str, state: State) -> Result<(), Fault> {
        if self.state == State::Lost {
            return Err(Fault::state(format!("{call} {}", self.state.name())));
        }
        if self.state != state {
            let found = self.state.name();
            return Err(Fault::state(format!("{call} {found}, wanted {}", state.name())));
        }
        if self.awaits_reply || !self.out.is_empty() {
            return Err(Fault::state(format!(
                "{call} before the output was taken, wanted take until it says more input"
            )));
        }
        Ok(())
    }

    /// Runs one step of the driver; a fault of it ends the job.
    fn step(
        &mut self,
        call: &str,
        next: State,
        function: impl FnOnce(&mut dyn Driver, &mut Out) -> Result<(), Fault>,
    ) -> Result<(), Fault> {
        let (driver, out) = (&mut *self.driver, &mut self.out);
        match call::fenced(call, || Ok(function(driver, out))) {
            Ok(Ok(())) => {
                self.state = next;
                Ok(())
            }
            Ok(Err(fault)) => {
                self.state = State::Lost;
                Err(fault)
            }
            Err(panic) => {
                self.state = State::Broken;
                self.out.clear();
                Err(panic)
            }
        }
    }

    fn begin_job(&mut self, raw: &raw::tw_job, texts: Texts<'_>) -> Result<(), Fault> {
        self.expect("begin_job", State::Idle)?;
        if raw.dots == 0
            || raw.bytes_per_line != raw.dots.div_ceil(8)
            || raw.web_dots == 0
            || raw.dpi_across_milli == 0
            || raw.dpi_along_milli == 0
        {
            return Err(Fault::argument(format!(
                "job has {} dots, {} bytes a line, {} web dots, {} × {} milli-dpi, wanted at least 1 of each and a byte for 8 dots",
                raw.dots, raw.bytes_per_line, raw.web_dots, raw.dpi_across_milli, raw.dpi_along_milli
            )));
        }
        let options = Options::new(self.options, &texts.options)?;
        self.strips = raw.strips;
        self.strips_done = 0;
        self.bytes_per_line = raw.bytes_per_line as usize;
        let job = Job {
            name: texts.name,
            strips: (raw.strips != 0).then_some(raw.strips),
            dpi_across_milli: raw.dpi_across_milli,
            dpi_along_milli: raw.dpi_along_milli,
            dots: raw.dots,
            bytes_per_line: self.bytes_per_line,
            stock: Stock {
                web_first_dot: raw.web_first_dot,
                web_dots: raw.web_dots,
                width_um: (raw.width_um != 0).then_some(raw.width_um),
                kind: texts.stock_kind,
                title: texts.stock_title,
            },
            options: &options,
        };
        self.step("begin_job", State::Job, |driver, out| driver.begin_job(&job, out))
    }

    /// The cuts of `raw` are in `self.cuts`.
    fn begin_strip(&mut self, raw: &raw::tw_strip) -> Result<(), Fault> {
        if raw.index != self.strips_done || self.strips != 0 && raw.index >= self.strips {
            return Err(Fault::state(format!(
                "strip has index {}, wanted {} of {} strips",
                raw.index, self.strips_done, self.strips
            )));
        }
        let ends = u64::from(raw.lead_lines) + u64::from(raw.trail_lines);
        if raw.lines == 0 || ends > u64::from(raw.lines) {
            return Err(Fault::argument(format!(
                "strip has {} lines, of them lead {} and trail {}, wanted at least 1 and no less than lead and trail",
                raw.lines, raw.lead_lines, raw.trail_lines
            )));
        }
        let cuts = std::mem::take(&mut self.cuts);
        let strip = Strip {
            index: raw.index,
            lines: raw.lines,
            lead_lines: raw.lead_lines,
            trail_lines: raw.trail_lines,
            labels: raw.labels,
            cuts: &cuts,
        };
        let result = self.step("begin_strip", State::Strip, |driver, out| driver.begin_strip(&strip, out));
        self.cuts = cuts;
        self.lines = raw.lines;
        self.lines_left = raw.lines;
        result
    }

    /// # Safety
    ///
    /// `raw.cuts` is an array of `cut_count` cuts with the stride given, or cannot be one.
    unsafe fn read_cuts(&mut self, raw: &raw::tw_strip) -> Result<(), Fault> {
        self.cuts.clear();
        for index in 0..raw.cut_count {
            // SAFETY: the caller's promise; the index is below the count.
            let cut = unsafe { call::element(raw.cuts, raw.cut_stride, index, "cuts") }?;
            let Some(kind) = CutKind::from_raw(cut.kind) else {
                return Err(Fault::argument(format!("cut {index} has kind {}, wanted 1 or 2", cut.kind)));
            };
            let least = self.cuts.last().map_or(0, |last| u64::from(last.line) + 1);
            if u64::from(cut.line) < least || cut.line > raw.lines {
                return Err(Fault::argument(format!(
                    "cut {index} is at line {}, wanted {least} to {}",
                    cut.line, raw.lines
                )));
            }
            self.cuts.push(Cut { line: cut.line, kind });
        }
        Ok(())
    }

    fn count_lines(&self, call: &str, count: u32) -> Result<u32, Fault> {
        match self.lines_left.checked_sub(count) {
            Some(left) if count > 0 => Ok(left),
            _ => Err(Fault::state(format!(
                "{call} with {count} lines, wanted 1 to the {} left of {}",
                self.lines_left, self.lines
            ))),
        }
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Fault> {
        self.expect("lines", State::Strip)?;
        let left = self.count_lines("lines", count)?;
        if (count as usize).checked_mul(self.bytes_per_line) != Some(rows.len()) {
            return Err(Fault::argument(format!(
                "lines with {} bytes for {count} lines, wanted {} bytes a line",
                rows.len(),
                self.bytes_per_line
            )));
        }
        self.lines_left = left;
        self.step("lines", State::Strip, |driver, out| driver.lines(rows, count, out))
    }

    fn blank(&mut self, count: u32) -> Result<(), Fault> {
        self.expect("blank", State::Strip)?;
        self.lines_left = self.count_lines("blank", count)?;
        self.step("blank", State::Strip, |driver, out| driver.blank(count, out))
    }

    fn end_strip(&mut self) -> Result<(), Fault> {
        self.expect("end_strip", State::Strip)?;
        if self.lines_left != 0 {
            return Err(Fault::state(format!(
                "end_strip after {} lines, wanted {}",
                self.lines - self.lines_left,
                self.lines
            )));
        }
        self.strips_done = self.strips_done.saturating_add(1);
        self.step("end_strip", State::Job, |driver, out| driver.end_strip(out))
    }

    fn end_job(&mut self) -> Result<(), Fault> {
        self.expect("end_job", State::Job)?;
        if self.strips != 0 && self.strips_done != self.strips {
            return Err(Fault::state(format!("end_job after {} strips, wanted {}", self.strips_done, self.strips)));
        }
        self.step("end_job", State::Ending, |driver, out| driver.end_job(out))
    }

    fn cancel(&mut self) -> Result<(), Fault> {
        self.out.clear();
        self.awaits_reply = false;
        self.step("cancel", State::Ending, |driver, out| driver.cancel(out))
    }

    fn reply(&mut self, bytes: &[u8]) -> Result<(), Fault> {
        if !self.awaits_reply {
            return Err(Fault::state("reply without a wait for one, wanted after wait-reply"));
        }
        self.awaits_reply = false;
        let state = self.state;
        self.step("reply", state, |driver, out| driver.reply(bytes, out))
    }

    /// What take says next; bytes are copied to `buffer`.
    ///
    /// # Safety
    ///
    /// `cap` bytes at `buffer` are valid to write.
    unsafe fn take(&mut self, buffer: *mut u8, cap: usize) -> Result<raw::tw_action, Fault> {
        if self.awaits_reply {
            return Err(Fault::state("take before the reply, wanted reply"));
        }
        let mut action = raw::tw_action::empty();
        match self.out.next(cap) {
            Next::Bytes(bytes) => {
                // SAFETY: at most `cap` bytes, which the caller promises; our own bytes are
                // elsewhere.
                unsafe { std::ptr::copy_nonoverlapping(bytes.as_ptr(), buffer, bytes.len()) };
                action.kind = raw::TW_ACTION_BYTES;
                action.count = bytes.len() as u64;
            }
            Next::Pause(pause) => {
                action = pause.to_raw();
                self.awaits_reply = action.kind == raw::TW_ACTION_WAIT_REPLY;
            }
            Next::Nothing if self.state == State::Ending => {
                self.state = State::Idle;
                action.kind = raw::TW_ACTION_DONE;
            }
            Next::Nothing => action.kind = raw::TW_ACTION_MORE_INPUT,
        }
        Ok(action)
    }

    fn device_status(&mut self) -> Result<raw::tw_device_status, Fault> {
        let driver = &*self.driver;
        let status = call::fenced("status", || Ok(driver.status())).inspect_err(|_| {
            self.state = State::Broken;
            self.out.clear();
        })?;
        let mut raw = raw::tw_device_status::empty();
        for (is_so, flag) in [
            (status.known, raw::TW_DEVICE_KNOWN),
            (status.ready, raw::TW_DEVICE_READY),
            (status.busy, raw::TW_DEVICE_BUSY),
            (status.stock_out, raw::TW_DEVICE_STOCK_OUT),
            (status.cover_open, raw::TW_DEVICE_COVER_OPEN),
            (status.wrong_stock, raw::TW_DEVICE_WRONG_STOCK),
            (status.fault, raw::TW_DEVICE_FAULT),
        ] {
            if is_so {
                raw.flags |= flag;
            }
        }
        raw.found_width_um = status.found_width_um;
        write_text(&mut raw.found_kind, &status.found_kind);
        write_text(&mut raw.text, &status.text);
        Ok(raw)
    }

    fn send_log(&mut self) {
        let lines = self.out.take_log();
        let Some(log) = self.host.log else { return };
        for (level, text) in lines {
            let text = text.replace('\0', "\u{fffd}");
            if let Ok(text) = CString::new(text) {
                // SAFETY: driver.h: may be called during a call on the instance, with the context
                // the host gave; the text is NUL-terminated and lives through the call.
                unsafe { log(self.host.context, level.to_raw(), text.as_ptr()) };
            }
        }
    }
}

/// The strings of a job.
struct Texts<'a> {
    name: &'a str,
    stock_kind: &'a str,
    stock_title: &'a str,
    options: Vec<(&'a str, &'a str)>,
}

/// # Safety
///
/// The pointers of `raw` are as driver.h says, for `'a`.
unsafe fn texts<'a>(raw: &raw::tw_job) -> Result<Texts<'a>, Fault> {
    if raw.option_count > MOST_OPTIONS {
        return Err(Fault::argument(format!("job has {} options, wanted at most {MOST_OPTIONS}", raw.option_count)));
    }
    // SAFETY: driver.h, as the caller promises: strings.
    let text = |pointer, what: &str| unsafe { call::text(pointer, what) };
    let mut options = Vec::new();
    for index in 0..raw.option_count {
        // SAFETY: driver.h, as the caller promises: an array of option_count pairs.
        let pair = unsafe { call::element(raw.options, raw.option_stride, index, "options") }?;
        options.push((text(pair.key, "key of an option")?, text(pair.value, "value of an option")?));
    }
    Ok(Texts {
        name: text(raw.name, "job name")?,
        stock_kind: text(raw.stock_kind, "stock kind")?,
        stock_title: text(raw.stock_title, "stock title")?,
        options,
    })
}

const TABLE: raw::tw_driver = raw::tw_driver {
    size: raw::tw_driver::SIZE,
    reserved: 0,
    self_: std::ptr::null_mut(),
    begin_job: Some(begin_job),
    begin_strip: Some(begin_strip),
    lines: Some(lines),
    blank: Some(blank),
    end_strip: Some(end_strip),
    end_job: Some(end_job),
    cancel: Some(cancel),
    take: Some(take),
    reply: Some(reply),
    port_status: Some(port_status),
    status: Some(status),
    fault: Some(fault),
    get_extension: Some(get_extension),
    destroy: Some(destroy),
};

/// Runs one call on an instance: nothing unwinds out, what fails is recorded, the log is sent.
///
/// # Safety
///
/// `instance` is NULL or the `self` pointer of an instance that was not destroyed, and no other
/// call on it is going on.
unsafe fn enter(
    instance: *mut c_void,
    name: &str,
    function: impl FnOnce(&mut Instance) -> Result<(), Fault>,
) -> tw_status {
    if instance.is_null() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: the caller's promise; made by `Instance::open`.
    let instance = unsafe { &mut *instance.cast::<Instance>() };
    let result = if instance.state == State::Broken {
        let found = instance.state.name();
        Err(Fault::new(FaultKind::Bug, format!("{name} {found}")))
    } else {
        // The steps fence the driver themselves; this one is for mistakes of the kit.
        call::fenced(name, || function(instance))
    };
    instance.send_log();
    match result {
        Ok(()) => raw::TW_OK,
        Err(fault) => {
            let status = fault.kind.to_raw();
            // After a panic the first fault says why; later ones only that it was so.
            if instance.state != State::Broken
                || !matches!(&instance.fault, Some(first) if first.kind == FaultKind::Bug)
            {
                instance.fault = Some(fault);
            }
            status
        }
    }
}

unsafe extern "C" fn begin_job(instance: *mut c_void, job: *const raw::tw_job) -> tw_status {
    // SAFETY: driver.h: the job and what it points to are valid for the call; the instance is open
    // and this is the only call on it. The same holds for all functions below.
    unsafe {
        enter(instance, "begin_job", |instance| {
            let raw = call::record(job, "job")?;
            instance.begin_job(&raw, texts(&raw)?)
        })
    }
}

unsafe extern "C" fn begin_strip(instance: *mut c_void, strip: *const raw::tw_strip) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe {
        enter(instance, "begin_strip", |instance| {
            let raw = call::record(strip, "strip")?;
            instance.expect("begin_strip", State::Job)?;
            instance.read_cuts(&raw)?;
            instance.begin_strip(&raw)
        })
    }
}

unsafe extern "C" fn lines(instance: *mut c_void, rows: *const u8, len: usize, count: u32) -> tw_status {
    // SAFETY: driver.h, see begin_job; `len` bytes of rows.
    unsafe { enter(instance, "lines", |instance| instance.lines(call::bytes(rows, len, "rows")?, count)) }
}

unsafe extern "C" fn blank(instance: *mut c_void, count: u32) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe { enter(instance, "blank", |instance| instance.blank(count)) }
}

unsafe extern "C" fn end_strip(instance: *mut c_void) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe { enter(instance, "end_strip", Instance::end_strip) }
}

unsafe extern "C" fn end_job(instance: *mut c_void) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe { enter(instance, "end_job", Instance::end_job) }
}

unsafe extern "C" fn cancel(instance: *mut c_void) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe { enter(instance, "cancel", Instance::cancel) }
}

unsafe extern "C" fn take(
    instance: *mut c_void,
    buffer: *mut u8,
    cap: usize,
    action: *mut raw::tw_action,
) -> tw_status {
    // SAFETY: driver.h, see begin_job; `cap` bytes to write, and an action to fill.
    unsafe {
        enter(instance, "take", |instance| {
            if buffer.is_null() || cap == 0 {
                return Err(Fault::argument(format!("take with {cap} bytes at {buffer:?}, wanted at least 1")));
            }
            // Looked at before anything is taken, so that nothing is lost.
            call::record(action.cast_const(), "action")?;
            let next = instance.take(buffer, cap)?;
            call::fill(action, next, "action")
        })
    }
}

unsafe extern "C" fn reply(instance: *mut c_void, bytes: *const u8, len: usize) -> tw_status {
    // SAFETY: driver.h, see begin_job; `len` bytes.
    unsafe { enter(instance, "reply", |instance| instance.reply(call::bytes(bytes, len, "reply")?)) }
}

unsafe extern "C" fn port_status(instance: *mut c_void, status: u8) -> tw_status {
    // SAFETY: driver.h, see begin_job.
    unsafe {
        enter(instance, "port_status", |instance| {
            let state = instance.state;
            instance.step("port_status", state, |driver, _| driver.port_status(status))
        })
    }
}

unsafe extern "C" fn status(instance: *mut c_void, out: *mut raw::tw_device_status) -> tw_status {
    // SAFETY: driver.h, see begin_job; a status to fill.
    unsafe {
        enter(instance, "status", |instance| {
            let status = instance.device_status()?;
            call::fill(out, status, "status")
        })
    }
}

/// Not through `enter`: it works after a panic, and leaves the record as it is.
unsafe extern "C" fn fault(instance: *mut c_void, out: *mut raw::tw_fault) -> tw_status {
    if instance.is_null() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: driver.h: the instance is open and this is the only call on it.
    let instance = unsafe { &*instance.cast::<Instance>() };
    let record = instance.fault.as_ref().map_or_else(raw::tw_fault::empty, Fault::to_raw);
    // SAFETY: driver.h: a record to fill.
    match unsafe { call::fill(out, record, "fault") } {
        Ok(()) => raw::TW_OK,
        Err(fault) => fault.kind.to_raw(),
    }
}

unsafe extern "C" fn get_extension(_instance: *mut c_void, _id: *const c_char) -> *const c_void {
    std::ptr::null()
}

unsafe extern "C" fn destroy(instance: *mut c_void) {
    if instance.is_null() {
        return;
    }
    // SAFETY: driver.h: the last call; made by `Instance::open` with Box::into_raw.
    let instance = unsafe { Box::from_raw(instance.cast::<Instance>()) };
    // A driver may panic when it is dropped; nobody is left to hear why.
    let _ = call::fenced("destroy", || {
        drop(instance);
        Ok(())
    });
}
