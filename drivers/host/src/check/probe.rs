//! Calls no session makes: out of order, with wrong counts, with buffers of one byte.

use std::ffi::CString;

use tapewright_abi::raw::{self, Sized32, tw_status};

use crate::instance::Instance;
use crate::{HostError, JobSpec, Module};

/// How many wrong calls there are.
pub(super) const WRONG_CALLS: usize = 11;

/// What the driver takes that it must refuse, and what else it does wrong; empty when in order.
/// `job` is one it takes, `cuts_off` whether with a full cut at the end of a strip.
pub(crate) fn probe(module: Module, family: &str, job: &JobSpec, cuts_off: bool) -> Result<Vec<String>, HostError> {
    let texts = Texts::of(job)?;
    let mut found = wrong_calls(&module.instance(family)?, job, &texts, cuts_off);
    let at_once = stream(&module.instance(family)?, job, &texts, cuts_off, 64 << 10);
    let by_byte = stream(&module.instance(family)?, job, &texts, cuts_off, 1);
    match (at_once, by_byte) {
        (Ok(one), Ok(other)) if one == other => {}
        (Ok(_), Ok(_)) => found.push("fetched byte by byte, the stream is another one".into()),
        (Err(text), _) | (_, Err(text)) => found.push(text),
    }
    Ok(found)
}

/// Strings of a job that live as long as it is used.
struct Texts {
    name: CString,
    kind: CString,
    title: CString,
}

impl Texts {
    fn of(job: &JobSpec) -> Result<Texts, HostError> {
        let text = |text: &str| {
            CString::new(text).map_err(|_| HostError::Misuse { what: format!("{text:?} has a NUL, wanted none") })
        };
        Ok(Texts { name: text(&job.name)?, kind: text(&job.stock_kind)?, title: text(&job.stock_title)? })
    }

    fn job(&self, job: &JobSpec, options: &[raw::tw_pair]) -> raw::tw_job {
        raw::tw_job {
            size: raw::tw_job::SIZE,
            strips: 1,
            dpi_across_milli: job.dpi_across_milli,
            dpi_along_milli: job.dpi_along_milli,
            dots: job.dots,
            bytes_per_line: job.bytes_per_line(),
            web_first_dot: job.web_first_dot,
            web_dots: job.web_dots,
            width_um: job.width_um,
            option_count: u32::from(!options.is_empty()),
            #[allow(clippy::cast_possible_truncation)] // A few dozen.
            option_stride: size_of::<raw::tw_pair>() as u32,
            reserved: 0,
            name: self.name.as_ptr(),
            stock_kind: self.kind.as_ptr(),
            stock_title: self.title.as_ptr(),
            options: options.as_ptr(),
        }
    }
}

const LINES: u32 = 4;

/// The cut at the end, where there is one.
static END: raw::tw_cut = raw::tw_cut { line: LINES, kind: raw::TW_CUT_FULL };

fn strip(cuts_off: bool) -> raw::tw_strip {
    raw::tw_strip {
        size: raw::tw_strip::SIZE,
        index: 0,
        lines: LINES,
        lead_lines: 0,
        trail_lines: 0,
        labels: 1,
        cut_count: cuts_off.into(),
        #[allow(clippy::cast_possible_truncation)] // A few dozen.
        cut_stride: size_of::<raw::tw_cut>() as u32,
        cuts: &raw const END,
    }
}

/// Fetches what was put out; the status of the last take.
fn take_all(instance: &Instance, buffer: &mut [u8], into: &mut Vec<u8>) -> Result<(), String> {
    for _ in 0..1_000_000 {
        let mut action = raw::tw_action::empty();
        // SAFETY: the instance is open; buffer and action live through the call.
        let status = unsafe { (instance.calls.take)(instance.this, buffer.as_mut_ptr(), buffer.len(), &mut action) };
        if status != raw::TW_OK {
            return Err(format!("take returned {status}, wanted 0"));
        }
        match action.kind {
            raw::TW_ACTION_BYTES => {
                let count = usize::try_from(action.count).ok().filter(|count| (1..=buffer.len()).contains(count));
                let Some(count) = count else {
                    return Err(format!("take says {} bytes into {}, wanted 1 to all", action.count, buffer.len()));
                };
                into.extend_from_slice(&buffer[..count]);
            }
            raw::TW_ACTION_WAIT => {}
            raw::TW_ACTION_WAIT_REPLY => {
                // SAFETY: the instance is open; no bytes.
                let status = unsafe { (instance.calls.reply)(instance.this, std::ptr::null(), 0) };
                if status != raw::TW_OK {
                    return Err(format!("reply without bytes returned {status}, wanted 0"));
                }
            }
            raw::TW_ACTION_MORE_INPUT | raw::TW_ACTION_DONE => return Ok(()),
            other => return Err(format!("take says action {other}, wanted 1 to 5")),
        }
    }
    Err("take gives a million actions for one step, wanted an end".into())
}

/// A job of one strip, fetched with a buffer of `cap` bytes.
fn stream(instance: &Instance, job: &JobSpec, texts: &Texts, cuts_off: bool, cap: usize) -> Result<Vec<u8>, String> {
    let (mut bytes, mut buffer) = (Vec::new(), vec![0; cap]);
    let mut rows = vec![0x5A_u8; job.bytes_per_line() as usize * LINES as usize];
    let spare = job.dots.next_multiple_of(8) - job.dots;
    for row in rows.chunks_mut(job.bytes_per_line() as usize) {
        if let Some(last) = row.last_mut() {
            *last &= 0xFF << spare;
        }
    }
    let (job, strip) = (texts.job(job, &[]), strip(cuts_off));
    let (calls, this) = (&instance.calls, instance.this);
    let mut step = |what: &str, status: tw_status| {
        if status != raw::TW_OK {
            return Err(format!("{what} returned {status}, wanted 0"));
        }
        take_all(instance, &mut buffer, &mut bytes)
    };
    // SAFETY: the instance is open; everything pointed to lives through the calls.
    unsafe {
        step("begin_job", (calls.begin_job)(this, &job))?;
        step("begin_strip", (calls.begin_strip)(this, &strip))?;
        step("lines", (calls.lines)(this, rows.as_ptr(), rows.len(), LINES))?;
        step("end_strip", (calls.end_strip)(this))?;
        step("end_job", (calls.end_job)(this))?;
    }
    Ok(bytes)
}

/// Makes wrong calls between the right ones; what was not refused as it must be.
fn wrong_calls(instance: &Instance, job: &JobSpec, texts: &Texts, cuts_off: bool) -> Vec<String> {
    let mut found = Vec::new();
    let row = job.bytes_per_line() as usize;
    let rows = vec![0_u8; row * (LINES as usize + 1)];
    let unknown = [raw::tw_pair { key: c"no-such-option".as_ptr(), value: c"1".as_ptr() }];
    let (plain, with_unknown, strip) = (texts.job(job, &[]), texts.job(job, &unknown), strip(cuts_off));
    let small = raw::tw_job { size: 8, ..texts.job(job, &[]) };
    let (calls, this) = (&instance.calls, instance.this);
    let mut made = 0;
    let mut wrong = |what: &str, status: tw_status, wanted: &[tw_status]| {
        made += 1;
        if !wanted.contains(&status) {
            let wanted = wanted.iter().map(ToString::to_string).collect::<Vec<_>>().join(" or ");
            found.push(format!("{what} returned {status}, wanted {wanted}"));
        }
    };
    let state: &[tw_status] = &[raw::TW_BAD_STATE];
    let argument: &[tw_status] = &[raw::TW_BAD_ARGUMENT];
    let either: &[tw_status] = &[raw::TW_BAD_STATE, raw::TW_BAD_ARGUMENT];
    let mut right = Vec::new();
    let (mut buffer, mut bytes) = (vec![0; 4096], Vec::new());
    // SAFETY: the instance is open; everything pointed to lives through the calls, and NULL is what
    // driver.h has a driver check for (TW_BAD_ARGUMENT).
    unsafe {
        wrong("begin_strip outside a job", (calls.begin_strip)(this, &strip), state);
        wrong("lines outside a strip", (calls.lines)(this, rows.as_ptr(), row, 1), state);
        wrong("end_job outside a job", (calls.end_job)(this), state);
        wrong("begin_job with NULL", (calls.begin_job)(this, std::ptr::null()), argument);
        wrong("begin_job with a job of 8 bytes", (calls.begin_job)(this, &small), argument);
        wrong("begin_job with an unknown option", (calls.begin_job)(this, &with_unknown), argument);
        right.push(("begin_job after wrong ones", (calls.begin_job)(this, &plain)));
        right.push(("take after begin_job", result(take_all(instance, &mut buffer, &mut bytes))));
        wrong("begin_job inside a job", (calls.begin_job)(this, &plain), state);
        right.push(("begin_strip", (calls.begin_strip)(this, &strip)));
        right.push(("take after begin_strip", result(take_all(instance, &mut buffer, &mut bytes))));
        wrong("lines with a length that does not fit", (calls.lines)(this, rows.as_ptr(), row + 1, 1), either);
        wrong("more lines than announced", (calls.lines)(this, rows.as_ptr(), rows.len(), LINES + 1), state);
        wrong("end_strip before its lines", (calls.end_strip)(this), state);
        wrong("end_job inside a strip", (calls.end_job)(this), state);
        right.push(("lines after wrong ones", (calls.lines)(this, rows.as_ptr(), row * LINES as usize, LINES)));
        right.push(("take after lines", result(take_all(instance, &mut buffer, &mut bytes))));
        right.push(("end_strip", (calls.end_strip)(this)));
        right.push(("take after end_strip", result(take_all(instance, &mut buffer, &mut bytes))));
        right.push(("end_job", (calls.end_job)(this)));
        right.push(("take after end_job", result(take_all(instance, &mut buffer, &mut bytes))));
    }
    debug_assert_eq!(made, WRONG_CALLS, "the number that is told");
    found.extend(
        right
            .iter()
            .filter(|(_, status)| *status != raw::TW_OK)
            .map(|(what, status)| format!("{what} returned {status}, wanted 0: a refused call must have no effect")),
    );
    found.extend(overwrites(instance));
    found
}

fn result(taken: Result<(), String>) -> tw_status {
    if taken.is_ok() { raw::TW_OK } else { raw::TW_BUG }
}

/// A record with bytes behind it that are not the driver's to write.
#[repr(C)]
struct Guarded<T> {
    record: T,
    guard: [u8; 64],
}

/// Records a driver fills: it must not write past their size.
fn overwrites(instance: &Instance) -> Vec<String> {
    let mut found = Vec::new();
    let mut status = Guarded { record: raw::tw_device_status::empty(), guard: [0xA5; 64] };
    let mut fault = Guarded { record: raw::tw_fault::empty(), guard: [0xA5; 64] };
    // SAFETY: the instance is open; the records live through the calls.
    unsafe {
        (instance.calls.status)(instance.this, &raw mut status.record);
        (instance.calls.fault)(instance.this, &raw mut fault.record);
    }
    if status.guard != [0xA5; 64] {
        found.push("status writes past the record".into());
    }
    if fault.guard != [0xA5; 64] {
        found.push("fault writes past the record".into());
    }
    found
}
