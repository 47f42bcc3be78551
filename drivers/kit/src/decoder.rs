//! The fence around one decoder.

use std::ffi::c_void;

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::Cut;

use crate::call;
use crate::{Events, Fault, Page, Readback};

/// Behind the `self` pointer of a decoder made with the kit.
pub(crate) struct Decoder {
    table: raw::tw_decoder,
    readback: Box<dyn Readback>,
    fault: Option<Fault>,
}

impl Decoder {
    /// Makes a decoder and gives the pointer the host keeps; `destroy` frees it.
    pub(crate) fn open(readback: Box<dyn Readback>) -> *const raw::tw_decoder {
        let decoder = Box::into_raw(Box::new(Decoder {
            table: raw::tw_decoder {
                size: raw::tw_decoder::SIZE,
                reserved: 0,
                self_: std::ptr::null_mut(),
                push: Some(push),
                finish: Some(finish),
                fault: Some(fault),
                destroy: Some(destroy),
            },
            readback,
            fault: None,
        }));
        // SAFETY: just made, nobody else has it.
        unsafe {
            (*decoder).table.self_ = decoder.cast();
            &raw const (*decoder).table
        }
    }
}

/// The host's events, every function shown to be there.
struct HostEvents {
    context: *mut c_void,
    strip_begin: unsafe extern "C" fn(*mut c_void, *const raw::tw_readback_page) -> tw_status,
    lines: unsafe extern "C" fn(*mut c_void, *const u8, usize, u32) -> tw_status,
    blank: unsafe extern "C" fn(*mut c_void, u32) -> tw_status,
    cut: unsafe extern "C" fn(*mut c_void, u32, u32) -> tw_status,
    strip_end: unsafe extern "C" fn(*mut c_void) -> tw_status,
}

impl HostEvents {
    /// # Safety
    ///
    /// `table` is NULL or as driver.h says; the value is used only while the call it came with
    /// goes on.
    unsafe fn new(table: *const raw::tw_readback_events) -> Result<HostEvents, Fault> {
        // SAFETY: the caller's promise.
        let table = unsafe { call::record(table, "events") }?;
        let missing = || Fault::argument("events lack a function, wanted all of them");
        Ok(HostEvents {
            context: table.context,
            strip_begin: table.strip_begin.ok_or_else(missing)?,
            lines: table.lines.ok_or_else(missing)?,
            blank: table.blank.ok_or_else(missing)?,
            cut: table.cut.ok_or_else(missing)?,
            strip_end: table.strip_end.ok_or_else(missing)?,
        })
    }
}

fn heard(status: tw_status) -> Result<(), Fault> {
    if status == raw::TW_OK {
        return Ok(());
    }
    Err(Fault::device("stopped by the host"))
}

impl Events for HostEvents {
    fn strip_begin(&mut self, page: &Page) -> Result<(), Fault> {
        let raw = raw::tw_readback_page {
            size: raw::tw_readback_page::SIZE,
            lines: page.lines.unwrap_or(0),
            dots: page.dots,
            dpi_across_milli: page.dpi_across_milli.unwrap_or(0),
            dpi_along_milli: page.dpi_along_milli.unwrap_or(0),
            reserved: 0,
        };
        // SAFETY: the function and context of the host, during the call they came with (see
        // `new`); the page lives through the call. The same for those below.
        heard(unsafe { (self.strip_begin)(self.context, &raw) })
    }

    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Fault> {
        // SAFETY: as in strip_begin.
        heard(unsafe { (self.lines)(self.context, rows.as_ptr(), rows.len(), count) })
    }

    fn blank(&mut self, count: u32) -> Result<(), Fault> {
        // SAFETY: as in strip_begin.
        heard(unsafe { (self.blank)(self.context, count) })
    }

    fn cut(&mut self, cut: Cut) -> Result<(), Fault> {
        // SAFETY: as in strip_begin.
        heard(unsafe { (self.cut)(self.context, cut.kind.to_raw(), cut.line) })
    }

    fn strip_end(&mut self) -> Result<(), Fault> {
        // SAFETY: as in strip_begin.
        heard(unsafe { (self.strip_end)(self.context) })
    }
}

/// Runs one call on a decoder.
///
/// # Safety
///
/// `decoder` is NULL or the `self` pointer of a decoder that was not destroyed, and no other call
/// on it is going on; `events` is NULL or as driver.h says.
unsafe fn enter(
    decoder: *mut c_void,
    name: &str,
    events: *const raw::tw_readback_events,
    function: impl FnOnce(&mut dyn Readback, &mut HostEvents) -> Result<(), Fault>,
) -> tw_status {
    if decoder.is_null() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: the caller's promise; made by `Decoder::open`.
    let decoder = unsafe { &mut *decoder.cast::<Decoder>() };
    if decoder.fault.is_some() {
        return raw::TW_BAD_STATE;
    }
    let readback = &mut *decoder.readback;
    let result = call::fenced(name, || {
        // SAFETY: the caller's promise; the value ends with this call.
        let mut events = unsafe { HostEvents::new(events) }?;
        function(readback, &mut events)
    });
    match result {
        Ok(()) => raw::TW_OK,
        Err(fault) => {
            let status = fault.kind.to_raw();
            decoder.fault = Some(fault);
            status
        }
    }
}

unsafe extern "C" fn push(
    decoder: *mut c_void,
    events: *const raw::tw_readback_events,
    bytes: *const u8,
    len: usize,
) -> tw_status {
    // SAFETY: driver.h: the decoder is open and this is the only call on it; events and bytes are
    // valid for the call.
    unsafe {
        enter(decoder, "push", events, |readback, events| readback.push(call::bytes(bytes, len, "stream")?, events))
    }
}

unsafe extern "C" fn finish(decoder: *mut c_void, events: *const raw::tw_readback_events) -> tw_status {
    // SAFETY: driver.h, see push.
    unsafe { enter(decoder, "finish", events, |readback, events| readback.finish(events)) }
}

unsafe extern "C" fn fault(decoder: *mut c_void, out: *mut raw::tw_fault) -> tw_status {
    if decoder.is_null() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: driver.h: the decoder is open and this is the only call on it.
    let decoder = unsafe { &*decoder.cast::<Decoder>() };
    let record = decoder.fault.as_ref().map_or_else(raw::tw_fault::empty, Fault::to_raw);
    // SAFETY: driver.h: a record to fill.
    match unsafe { call::fill(out, record, "fault") } {
        Ok(()) => raw::TW_OK,
        Err(fault) => fault.kind.to_raw(),
    }
}

unsafe extern "C" fn destroy(decoder: *mut c_void) {
    if decoder.is_null() {
        return;
    }
    // SAFETY: driver.h: the last call; made by `Decoder::open` with Box::into_raw.
    let decoder = unsafe { Box::from_raw(decoder.cast::<Decoder>()) };
    let _ = call::fenced("destroy", || {
        drop(decoder);
        Ok(())
    });
}
