//! A module written without the kit, each family of which breaks one promise.

use std::ffi::{CStr, CString, c_char, c_void};

use tapewright_host::LinkedEntry;
use tapewright_host::raw::{self, Sized32, tw_status};

/// Says what a family does wrong, by its id.
pub(crate) const FAMILIES: [&str; 18] = [
    "too-many-bytes",
    "no-bytes",
    "unknown-action",
    "unknown-status",
    "wait-nothing",
    "reply-nothing",
    "reply-huge",
    "done-too-early",
    "more-too-late",
    "mute-fault",
    "endless-fault-text",
    "fault-without-record",
    "status-text",
    "create-null",
    "create-small",
    "create-lacking",
    "create-status",
    "readback",
];

struct Constant<T>(T);
// SAFETY: written once, before the test threads see it.
unsafe impl<T> Sync for Constant<T> {}
// SAFETY: see above.
unsafe impl<T> Send for Constant<T> {}

fn leak<T>(value: T) -> *mut T {
    Box::into_raw(Box::new(value))
}

fn descriptor(family: &str) -> raw::tw_descriptor {
    raw::tw_descriptor {
        size: raw::tw_descriptor::SIZE,
        capabilities: 0,
        family: CString::new(family).unwrap().into_raw(),
        title: c"rubbish".as_ptr(),
        version: c"0".as_ptr(),
        description: c"breaks a promise".as_ptr(),
        options: std::ptr::null(),
        patterns: std::ptr::null(),
        option_count: 0,
        pattern_count: 0,
    }
}

/// The entry of the module whose families are [`FAMILIES`].
pub(crate) fn entry() -> LinkedEntry {
    static ENTRY: raw::tw_entry = raw::tw_entry {
        size: raw::tw_entry::SIZE,
        major: raw::TW_MAJOR,
        minor: raw::TW_MINOR + 7,
        reserved: 0,
        get_factory: Some(get_factory),
    };
    // SAFETY: what is wrong with it is what the host finds without touching memory it may not.
    unsafe { LinkedEntry::new(&ENTRY) }
}

unsafe extern "C" fn get_factory(id: *const c_char) -> *const c_void {
    // SAFETY: the host gives a string.
    if unsafe { CStr::from_ptr(id) } != raw::TW_FACTORY_ID {
        return std::ptr::null();
    }
    static FACTORY: raw::tw_factory = raw::tw_factory {
        size: raw::tw_factory::SIZE,
        reserved: 0,
        count: Some(count),
        describe: Some(describe),
        create: Some(create),
        get_extension: Some(get_extension),
    };
    (&raw const FACTORY).cast()
}

unsafe extern "C" fn count() -> u32 {
    u32::try_from(FAMILIES.len()).unwrap()
}

unsafe extern "C" fn describe(index: u32) -> *const raw::tw_descriptor {
    static TABLE: std::sync::OnceLock<Constant<Vec<raw::tw_descriptor>>> = std::sync::OnceLock::new();
    let make = || Constant(FAMILIES.into_iter().map(descriptor).collect());
    &raw const TABLE.get_or_init(make).0[index as usize]
}

unsafe extern "C" fn create(
    family: *const c_char,
    _: *const raw::tw_host,
    out: *mut *const raw::tw_driver,
    _: *mut raw::tw_fault,
) -> tw_status {
    // SAFETY: the host gives a string and a pointer to set.
    let family = unsafe { CStr::from_ptr(family) }.to_str().unwrap();
    let family: &'static str = FAMILIES.into_iter().find(|known| *known == family).unwrap();
    let mut driver = raw::tw_driver {
        size: raw::tw_driver::SIZE,
        reserved: 0,
        self_: leak(State { family, takes: 0 }).cast(),
        begin_job: Some(begin_job),
        begin_strip: Some(begin_strip),
        lines: Some(lines),
        blank: Some(blank),
        end_strip: Some(plain),
        end_job: Some(plain),
        cancel: Some(plain),
        take: Some(take),
        reply: Some(reply),
        port_status: Some(port_status),
        status: Some(status),
        fault: Some(fault),
        get_extension: None,
        destroy: Some(destroy),
    };
    match family {
        "create-null" => return raw::TW_OK,
        "create-small" => driver.size = 12,
        "create-lacking" => driver.blank = None,
        "create-status" => return -5,
        _ => {}
    }
    // SAFETY: the host's pointer to set.
    unsafe { out.write(leak(driver)) };
    raw::TW_OK
}

struct State {
    family: &'static str,
    takes: u32,
}

/// # Safety
///
/// `this` came from `create`.
unsafe fn state<'a>(this: *mut c_void) -> &'a mut State {
    // SAFETY: the caller's promise; the host makes one call at a time.
    unsafe { &mut *this.cast() }
}

unsafe extern "C" fn begin_job(this: *mut c_void, _: *const raw::tw_job) -> tw_status {
    // SAFETY: the host hands back what create gave.
    match unsafe { state(this) }.family {
        "unknown-status" => 99,
        "mute-fault" | "endless-fault-text" | "fault-without-record" => raw::TW_LIMIT,
        _ => raw::TW_OK,
    }
}
unsafe extern "C" fn begin_strip(_: *mut c_void, _: *const raw::tw_strip) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn lines(_: *mut c_void, _: *const u8, _: usize, _: u32) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn blank(_: *mut c_void, _: u32) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn plain(_: *mut c_void) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn reply(_: *mut c_void, _: *const u8, _: usize) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn port_status(_: *mut c_void, _: u8) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn destroy(this: *mut c_void) {
    // SAFETY: leaked by create; the last call.
    drop(unsafe { Box::from_raw(this.cast::<State>()) });
}

unsafe extern "C" fn take(this: *mut c_void, _: *mut u8, cap: usize, action: *mut raw::tw_action) -> tw_status {
    // SAFETY: the host hands back what create gave, and an action to fill.
    let (state, action) = unsafe { (state(this), &mut *action) };
    state.takes += 1;
    (action.kind, action.count, action.milliseconds) = match state.family {
        "too-many-bytes" => (raw::TW_ACTION_BYTES, cap as u64 + 1, 0),
        "no-bytes" => (raw::TW_ACTION_BYTES, 0, 0),
        "unknown-action" => (17, 0, 0),
        "wait-nothing" => (raw::TW_ACTION_WAIT, 0, 0),
        "reply-nothing" => (raw::TW_ACTION_WAIT_REPLY, 0, 9),
        "reply-huge" => (raw::TW_ACTION_WAIT_REPLY, u64::MAX, 9),
        "done-too-early" => (raw::TW_ACTION_DONE, 0, 0),
        _ => (raw::TW_ACTION_MORE_INPUT, 0, 0),
    };
    raw::TW_OK
}

unsafe extern "C" fn status(_: *mut c_void, out: *mut raw::tw_device_status) -> tw_status {
    // SAFETY: the host gives a status to fill.
    unsafe { (*out).text = [b'x'.cast_signed() as c_char; raw::TW_STATUS_TEXT] };
    raw::TW_OK
}

unsafe extern "C" fn fault(this: *mut c_void, out: *mut raw::tw_fault) -> tw_status {
    // SAFETY: the host hands back what create gave, and a record to fill.
    let (state, out) = unsafe { (state(this), &mut *out) };
    match state.family {
        "endless-fault-text" => out.text = [b'x'.cast_signed() as c_char; raw::TW_FAULT_TEXT],
        "fault-without-record" => return raw::TW_BUG,
        _ => {}
    }
    raw::TW_OK
}

unsafe extern "C" fn get_extension(family: *const c_char, _: *const c_char) -> *const c_void {
    static READBACK: raw::tw_readback = raw::tw_readback {
        size: raw::tw_readback::SIZE,
        reserved: 0,
        self_: std::ptr::null_mut(),
        recognises: Some(recognises),
        create: Some(create_decoder),
    };
    // SAFETY: the host gives a string.
    if unsafe { CStr::from_ptr(family) } == c"readback" { (&raw const READBACK).cast() } else { std::ptr::null() }
}

unsafe extern "C" fn recognises(_: *mut c_void, first: *const u8, len: usize) -> u32 {
    if len == 0 {
        return 0;
    }
    // SAFETY: the host gives `len` bytes.
    u32::from(unsafe { *first })
}

unsafe extern "C" fn create_decoder(_: *mut c_void, out: *mut *const raw::tw_decoder) -> tw_status {
    let decoder = raw::tw_decoder {
        size: raw::tw_decoder::SIZE,
        reserved: 0,
        self_: std::ptr::null_mut(),
        push: Some(push),
        finish: Some(finish),
        fault: Some(no_fault),
        destroy: Some(no_destroy),
    };
    // SAFETY: the host's pointer to set.
    unsafe { out.write(leak(decoder)) };
    raw::TW_OK
}

unsafe extern "C" fn no_fault(_: *mut c_void, _: *mut raw::tw_fault) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn no_destroy(_: *mut c_void) {}
unsafe extern "C" fn finish(_: *mut c_void, _: *const raw::tw_readback_events) -> tw_status {
    raw::TW_OK
}

/// Reports what the letters of the stream say, and goes on whatever the host answers.
unsafe extern "C" fn push(
    _: *mut c_void,
    events: *const raw::tw_readback_events,
    bytes: *const u8,
    len: usize,
) -> tw_status {
    // SAFETY: the host gives events with all functions, and `len` bytes; rows live through the
    // calls.
    unsafe {
        let events = &*events;
        let context = events.context;
        let page = raw::tw_readback_page {
            size: raw::tw_readback_page::SIZE,
            lines: 3,
            dots: 8,
            dpi_across_milli: 0,
            dpi_along_milli: 0,
            reserved: 0,
        };
        for letter in std::slice::from_raw_parts(bytes, len) {
            match letter {
                b'(' => events.strip_begin.unwrap()(context, &page),
                b'w' => events.strip_begin.unwrap()(context, &raw::tw_readback_page { dots: u32::MAX, ..page }),
                b'0' => events.strip_begin.unwrap()(context, std::ptr::null()),
                b'l' => events.lines.unwrap()(context, [1].as_ptr(), 1, 1),
                b'L' => events.lines.unwrap()(context, [1, 2].as_ptr(), 2, 1),
                b'n' => events.lines.unwrap()(context, std::ptr::null(), 1, 1),
                b'b' => events.blank.unwrap()(context, 1),
                b'B' => events.blank.unwrap()(context, u32::MAX),
                b'c' => events.cut.unwrap()(context, raw::TW_CUT_HALF, 1),
                b'C' => events.cut.unwrap()(context, raw::TW_CUT_FULL, 4),
                b'k' => events.cut.unwrap()(context, 3, 2),
                b')' => events.strip_end.unwrap()(context),
                b'N' => events.blank.unwrap()(std::ptr::null_mut(), 1),
                _ => return raw::TW_FAULT,
            };
        }
    }
    raw::TW_OK
}
