//! An instance of a driver at work.

use std::ffi::CString;
use std::time::Duration;

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::{DeviceStatus, read_text};

use crate::foreign::fault;
use crate::instance::Instance;
use crate::{Failure, HostError, JobSpec, Sink, StripSpec};

/// Bytes fetched from a driver at once.
const BUFFER: usize = 64 * 1024;
/// No reply a driver waits for is longer.
const LONGEST_REPLY: u64 = 64 * 1024;
/// Most things a driver may ask for after one step, and most bytes it may put out: no language is
/// that wordy, and a driver that asks again on silence would go on for ever.
const MOST_ACTIONS: u32 = 20_000;
const MOST_BYTES: u64 = 1 << 30;

/// One instance of a driver: jobs in, stream out.
///
/// The order of calls is `begin_job (begin_strip (lines | blank)* end_strip)* end_job`, and after
/// each of them [`Session::drain`]. Then the next job may begin. After a failure only
/// [`Session::cancel`] is left, and [`Session::drain`] after it; then the next job may begin, too.
/// Dropping a session ends the instance at any point.
///
/// A session may move to another thread between calls.
#[derive(Debug)]
pub struct Session {
    module: String,
    instance: Instance,
    buffer: Vec<u8>,
    reply: Vec<u8>,
    phase: Phase,
    /// Output of the last step was fetched completely.
    drained: bool,
    strips: u32,
    strips_done: u32,
    bytes_per_line: usize,
    lines_left: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Idle,
    Job,
    Strip,
    /// After end_job or cancel, until drained.
    Ending,
    /// A call failed: only cancel is left.
    Lost,
    /// The driver broke the contract: nothing is left.
    Broken,
}

impl Session {
    pub(crate) fn new(module: &str, instance: Instance) -> Session {
        Session {
            module: module.to_owned(),
            instance,
            buffer: Vec::new(),
            reply: Vec::new(),
            phase: Phase::Idle,
            drained: true,
            strips: 0,
            strips_done: 0,
            bytes_per_line: 0,
            lines_left: 0,
        }
    }

    /// Begins a job.
    ///
    /// # Errors
    ///
    /// [`HostError::Fault`] when the driver refuses the job, for example for an option value out
    /// of range (kind `BadArgument`) or a setting it cannot do (`Unsupported`). All steps below
    /// fail in the same way, and with [`HostError::Misuse`] when called out of order and
    /// [`HostError::Broken`] when the driver breaks the contract.
    pub fn begin_job(&mut self, job: &JobSpec) -> Result<(), HostError> {
        self.expect("begin_job", &[Phase::Idle])?;
        if job.dots == 0 || job.web_dots == 0 || job.dpi_across_milli == 0 || job.dpi_along_milli == 0 {
            return Err(HostError::Misuse {
                what: format!(
                    "begin_job with {} dots, {} web dots, {} × {} milli-dpi, wanted at least 1 of each",
                    job.dots, job.web_dots, job.dpi_across_milli, job.dpi_along_milli
                ),
            });
        }
        let name = c_text(&job.name, "job name")?;
        let stock_kind = c_text(&job.stock_kind, "stock kind")?;
        let stock_title = c_text(&job.stock_title, "stock title")?;
        let options = job
            .options
            .iter()
            .map(|(key, value)| Ok((c_text(key, "option")?, c_text(value, key)?)))
            .collect::<Result<Vec<(CString, CString)>, HostError>>()?;
        let pairs: Vec<raw::tw_pair> =
            options.iter().map(|(key, value)| raw::tw_pair { key: key.as_ptr(), value: value.as_ptr() }).collect();
        let raw_job = raw::tw_job {
            size: raw::tw_job::SIZE,
            strips: job.strips,
            dpi_across_milli: job.dpi_across_milli,
            dpi_along_milli: job.dpi_along_milli,
            dots: job.dots,
            bytes_per_line: job.bytes_per_line(),
            web_first_dot: job.web_first_dot,
            web_dots: job.web_dots,
            width_um: job.width_um,
            option_count: count(pairs.len(), "options")?,
            option_stride: stride::<raw::tw_pair>(),
            reserved: 0,
            name: name.as_ptr(),
            stock_kind: stock_kind.as_ptr(),
            stock_title: stock_title.as_ptr(),
            options: pairs.as_ptr(),
        };
        self.strips = job.strips;
        self.strips_done = 0;
        self.bytes_per_line = job.bytes_per_line() as usize;
        // SAFETY: the instance is open; the job and all it points to live through the call.
        let status = unsafe { (self.instance.calls.begin_job)(self.instance.this, &raw_job) };
        self.step("begin_job", status, Phase::Job)
    }

    /// Begins a strip.
    ///
    /// # Errors
    ///
    /// As [`Session::begin_job`].
    pub fn begin_strip(&mut self, strip: &StripSpec<'_>) -> Result<(), HostError> {
        self.expect("begin_strip", &[Phase::Job])?;
        let misuse = |what: String| Err(HostError::Misuse { what });
        if strip.index != self.strips_done || self.strips != 0 && strip.index >= self.strips {
            return misuse(format!(
                "begin_strip with index {}, wanted {} of {}",
                strip.index, self.strips_done, self.strips
            ));
        }
        let ends = u64::from(strip.lead_lines) + u64::from(strip.trail_lines);
        if strip.lines == 0 || ends > u64::from(strip.lines) {
            return misuse(format!(
                "begin_strip with {} lines, of them lead {} and trail {}, wanted 1 or more and no less than lead and trail",
                strip.lines, strip.lead_lines, strip.trail_lines
            ));
        }
        let ascending = strip.cuts.windows(2).all(|pair| pair[0].line < pair[1].line);
        if !ascending || strip.cuts.last().is_some_and(|cut| cut.line > strip.lines) {
            return misuse(format!(
                "begin_strip with cuts that do not ascend strictly to at most line {}",
                strip.lines
            ));
        }
        let cuts: Vec<raw::tw_cut> =
            strip.cuts.iter().map(|cut| raw::tw_cut { line: cut.line, kind: cut.kind.to_raw() }).collect();
        let raw_strip = raw::tw_strip {
            size: raw::tw_strip::SIZE,
            index: strip.index,
            lines: strip.lines,
            lead_lines: strip.lead_lines,
            trail_lines: strip.trail_lines,
            labels: strip.labels,
            cut_count: count(cuts.len(), "cuts")?,
            cut_stride: stride::<raw::tw_cut>(),
            cuts: cuts.as_ptr(),
        };
        self.lines_left = strip.lines;
        // SAFETY: the instance is open; the strip and its cuts live through the call.
        let status = unsafe { (self.instance.calls.begin_strip)(self.instance.this, &raw_strip) };
        self.step("begin_strip", status, Phase::Strip)
    }

    /// Hands over `count` head lines, back to back, [`JobSpec::bytes_per_line`] each; dot 0 is the
    /// most significant bit of byte 0, 1 = ink, spare bits 0. Does nothing when `count` is 0.
    ///
    /// # Errors
    ///
    /// As [`Session::begin_job`].
    pub fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), HostError> {
        self.expect("lines", &[Phase::Strip])?;
        if (count as usize).checked_mul(self.bytes_per_line) != Some(rows.len()) {
            return Err(HostError::Misuse {
                what: format!(
                    "lines with {} bytes for {count} lines, wanted {} a line",
                    rows.len(),
                    self.bytes_per_line
                ),
            });
        }
        if count == 0 {
            return Ok(());
        }
        self.count_lines("lines", count)?;
        // SAFETY: the instance is open; the rows live through the call.
        let status = unsafe { (self.instance.calls.lines)(self.instance.this, rows.as_ptr(), rows.len(), count) };
        self.step("lines", status, Phase::Strip)
    }

    /// Hands over `count` head lines without ink. Does nothing when `count` is 0.
    ///
    /// # Errors
    ///
    /// As [`Session::begin_job`].
    pub fn blank(&mut self, count: u32) -> Result<(), HostError> {
        self.expect("blank", &[Phase::Strip])?;
        if count == 0 {
            return Ok(());
        }
        self.count_lines("blank", count)?;
        // SAFETY: the instance is open.
        let status = unsafe { (self.instance.calls.blank)(self.instance.this, count) };
        self.step("blank", status, Phase::Strip)
    }

    /// Ends a strip of which all lines were handed over.
    ///
    /// # Errors
    ///
    /// As [`Session::begin_job`].
    pub fn end_strip(&mut self) -> Result<(), HostError> {
        self.expect("end_strip", &[Phase::Strip])?;
        if self.lines_left != 0 {
            return Err(HostError::Misuse {
                what: format!("end_strip with {} lines to come, wanted 0", self.lines_left),
            });
        }
        self.strips_done = self.strips_done.saturating_add(1);
        // SAFETY: the instance is open.
        let status = unsafe { (self.instance.calls.end_strip)(self.instance.this) };
        self.step("end_strip", status, Phase::Job)
    }

    /// Ends a job of which all strips were handed over.
    ///
    /// # Errors
    ///
    /// As [`Session::begin_job`].
    pub fn end_job(&mut self) -> Result<(), HostError> {
        self.expect("end_job", &[Phase::Job])?;
        if self.strips != 0 && self.strips_done != self.strips {
            return Err(HostError::Misuse {
                what: format!("end_job after {} strips, wanted {}", self.strips_done, self.strips),
            });
        }
        // SAFETY: the instance is open.
        let status = unsafe { (self.instance.calls.end_job)(self.instance.this) };
        self.step("end_job", status, Phase::Ending)
    }

    /// Gives the job up, at any point. What the device needs to become usable again comes out of
    /// the next [`Session::drain`]; output not yet drained is dropped.
    ///
    /// # Errors
    ///
    /// [`HostError::Fault`] when the driver cannot even do that, [`HostError::Broken`] when it has
    /// broken the contract before.
    pub fn cancel(&mut self) -> Result<(), HostError> {
        if self.phase == Phase::Broken {
            return Err(self.broken("it was called again after it broke the contract".into()));
        }
        // SAFETY: the instance is open.
        let status = unsafe { (self.instance.calls.cancel)(self.instance.this) };
        self.step("cancel", status, Phase::Ending)
    }

    /// Fetches everything the last step put out and gives it to `sink`, in order.
    ///
    /// # Errors
    ///
    /// [`Failure::Caller`] with the sink's error, after which only [`Session::cancel`] is left:
    /// part of the output is lost. [`Failure::Host`] as for [`Session::begin_job`].
    pub fn drain<S: Sink + ?Sized>(&mut self, sink: &mut S) -> Result<(), Failure<S::Error>> {
        if self.drained && matches!(self.phase, Phase::Idle | Phase::Job | Phase::Strip) {
            return Ok(());
        }
        if matches!(self.phase, Phase::Lost | Phase::Broken) {
            return Err(HostError::Misuse { what: "drain after a failure, wanted cancel".into() }.into());
        }
        // One buffer for the whole session; made by the first drain.
        self.buffer.resize(BUFFER, 0);
        let (mut actions, mut put_out) = (0, 0);
        loop {
            actions += 1;
            if actions > MOST_ACTIONS || put_out > MOST_BYTES {
                let what = format!(
                    "one step led to {actions} actions and {put_out} bytes, wanted at most {MOST_ACTIONS} and {MOST_BYTES}"
                );
                return Err(self.broken(what).into());
            }
            let mut action = raw::tw_action::empty();
            // SAFETY: the instance is open; buffer and action live through the call.
            let status = unsafe {
                (self.instance.calls.take)(self.instance.this, self.buffer.as_mut_ptr(), self.buffer.len(), &mut action)
            };
            if status != raw::TW_OK {
                return Err(self.failed("take", status).into());
            }
            let time = Duration::from_millis(u64::from(action.milliseconds));
            let done = match action.kind {
                raw::TW_ACTION_BYTES => {
                    let bytes = usize::try_from(action.count).ok();
                    let bytes = bytes.and_then(|n| self.buffer.get(..n)).filter(|b| !b.is_empty());
                    let Some(bytes) = bytes else {
                        let what = format!("take says {} bytes, wanted 1 to {}", action.count, self.buffer.len());
                        return Err(self.broken(what).into());
                    };
                    put_out += bytes.len() as u64;
                    let taken = sink.bytes(bytes);
                    self.caller(taken)?;
                    false
                }
                raw::TW_ACTION_WAIT | raw::TW_ACTION_WAIT_REPLY if time.is_zero() => {
                    let what = "take says wait 0 ms, wanted at least 1".to_owned();
                    return Err(self.broken(what).into());
                }
                raw::TW_ACTION_WAIT => {
                    let waited = sink.wait(time);
                    self.caller(waited)?;
                    false
                }
                raw::TW_ACTION_WAIT_REPLY => {
                    if !(1..=LONGEST_REPLY).contains(&action.count) {
                        let what =
                            format!("take waits for a reply of {} bytes, wanted 1 to {LONGEST_REPLY}", action.count);
                        return Err(self.broken(what).into());
                    }
                    #[allow(clippy::cast_possible_truncation)] // At most LONGEST_REPLY.
                    let most = action.count as usize;
                    self.reply.clear();
                    let answered = sink.reply(most, time, &mut self.reply);
                    self.caller(answered)?;
                    // SAFETY: the instance is open; the bytes live through the call.
                    let status = unsafe {
                        (self.instance.calls.reply)(self.instance.this, self.reply.as_ptr(), self.reply.len())
                    };
                    if status != raw::TW_OK {
                        return Err(self.failed("reply", status).into());
                    }
                    false
                }
                raw::TW_ACTION_MORE_INPUT if self.phase != Phase::Ending => true,
                raw::TW_ACTION_DONE if self.phase == Phase::Ending => {
                    self.phase = Phase::Idle;
                    true
                }
                raw::TW_ACTION_MORE_INPUT => {
                    let what = "take says more input after the end of the job, wanted done".to_owned();
                    return Err(self.broken(what).into());
                }
                raw::TW_ACTION_DONE => {
                    let what = "take says done inside a job, wanted more input".to_owned();
                    return Err(self.broken(what).into());
                }
                other => {
                    let what = format!("take says action {other}, wanted 1 to 5");
                    return Err(self.broken(what).into());
                }
            };
            if done {
                self.drained = true;
                return Ok(());
            }
        }
    }

    /// Hands over the status byte of a USB printer (USB Printer Class 1.1, GET_PORT_STATUS). Does
    /// not disturb a job.
    ///
    /// # Errors
    ///
    /// [`HostError::Fault`] when the driver sees a fault in it; [`HostError::Broken`].
    pub fn port_status(&mut self, status: u8) -> Result<(), HostError> {
        if self.phase == Phase::Broken {
            return Err(self.broken("it was called again after it broke the contract".into()));
        }
        // SAFETY: the instance is open.
        let result = unsafe { (self.instance.calls.port_status)(self.instance.this, status) };
        if result == raw::TW_OK {
            return Ok(());
        }
        Err(self.failed("port_status", result))
    }

    /// What the device last told about itself.
    ///
    /// # Errors
    ///
    /// [`HostError::Fault`] when the driver cannot say; [`HostError::Broken`].
    pub fn status(&mut self) -> Result<DeviceStatus, HostError> {
        if self.phase == Phase::Broken {
            return Err(self.broken("it was called again after it broke the contract".into()));
        }
        let mut out = raw::tw_device_status::empty();
        // SAFETY: the instance is open; `out` lives through the call.
        let status = unsafe { (self.instance.calls.status)(self.instance.this, &mut out) };
        if status != raw::TW_OK {
            return Err(self.failed("status", status));
        }
        let (Some(found_kind), Some(text)) = (read_text(&out.found_kind), read_text(&out.text)) else {
            return Err(self.broken("status gives a text without end or not in UTF-8".into()));
        };
        let has = |flag: u32| out.flags & flag != 0;
        Ok(DeviceStatus {
            known: has(raw::TW_DEVICE_KNOWN),
            ready: has(raw::TW_DEVICE_READY),
            busy: has(raw::TW_DEVICE_BUSY),
            stock_out: has(raw::TW_DEVICE_STOCK_OUT),
            cover_open: has(raw::TW_DEVICE_COVER_OPEN),
            wrong_stock: has(raw::TW_DEVICE_WRONG_STOCK),
            fault: has(raw::TW_DEVICE_FAULT),
            found_width_um: out.found_width_um,
            found_kind,
            text,
        })
    }

    fn expect(&self, call: &str, phases: &[Phase]) -> Result<(), HostError> {
        if phases.contains(&self.phase) && self.drained {
            return Ok(());
        }
        let found = match self.phase {
            Phase::Idle => "outside a job",
            _ if !self.drained && !matches!(self.phase, Phase::Lost | Phase::Broken) => {
                "before the output of the last step was drained"
            }
            Phase::Job => "between strips",
            Phase::Strip => "inside a strip",
            Phase::Ending => "after the end of the job",
            Phase::Lost => "after a failure, wanted cancel",
            Phase::Broken => "after the driver broke the contract, wanted a new session",
        };
        Err(HostError::Misuse { what: format!("{call} {found}") })
    }

    fn count_lines(&mut self, call: &str, count: u32) -> Result<(), HostError> {
        let Some(left) = self.lines_left.checked_sub(count) else {
            return Err(HostError::Misuse {
                what: format!("{call} with {count} lines, wanted at most the {} left of the strip", self.lines_left),
            });
        };
        self.lines_left = left;
        Ok(())
    }

    fn step(&mut self, call: &str, status: tw_status, next: Phase) -> Result<(), HostError> {
        if status != raw::TW_OK {
            return Err(self.failed(call, status));
        }
        self.phase = next;
        self.drained = false;
        Ok(())
    }

    fn caller<T, E>(&mut self, result: Result<T, E>) -> Result<T, Failure<E>> {
        result.map_err(|error| {
            self.phase = Phase::Lost;
            Failure::Caller(error)
        })
    }

    fn failed(&mut self, call: &str, status: tw_status) -> HostError {
        let mut record = raw::tw_fault::empty();
        // SAFETY: the instance is open; the record lives through the call.
        let told = unsafe { (self.instance.calls.fault)(self.instance.this, &mut record) };
        if told != raw::TW_OK {
            record = raw::tw_fault::empty();
        }
        let error = fault(&self.module, call, status, &record);
        self.phase = match error {
            HostError::Fault(_) => Phase::Lost,
            _ => Phase::Broken,
        };
        error
    }

    fn broken(&mut self, what: String) -> HostError {
        self.phase = Phase::Broken;
        HostError::Broken { module: self.module.clone(), what }
    }
}

fn c_text(text: &str, what: &str) -> Result<CString, HostError> {
    CString::new(text).map_err(|error| HostError::Misuse {
        what: format!("{what} {text:?} has a NUL at byte {}, wanted none", error.nul_position()),
    })
}

fn count(len: usize, what: &str) -> Result<u32, HostError> {
    u32::try_from(len).map_err(|_| HostError::Misuse { what: format!("{len} {what}, wanted at most {}", u32::MAX) })
}

const fn stride<T>() -> u32 {
    let size = size_of::<T>();
    assert!(size < 4096);
    #[allow(clippy::cast_possible_truncation)] // Just shown to be small.
    let size = size as u32;
    size
}
