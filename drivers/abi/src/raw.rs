//! `driver.h`, name by name. The comments stand there and are not repeated; function pointers are
//! `Option` because the other side may have left them NULL.

#![allow(non_camel_case_types)]

use std::ffi::{c_char, c_void};

/// Must match exactly.
pub const TW_MAJOR: u32 = 1;
/// Only adds.
pub const TW_MINOR: u32 = 0;
/// The one exported symbol.
pub const TW_ENTRY_SYMBOL: &std::ffi::CStr = c"tapewright_driver_entry";
/// Id of [`tw_factory`].
pub const TW_FACTORY_ID: &std::ffi::CStr = c"driver-factory/1";
/// Id of [`tw_readback`].
pub const TW_READBACK_ID: &std::ffi::CStr = c"readback/1";
/// Id of [`tw_family_files`].
pub const TW_FAMILY_FILES_ID: &std::ffi::CStr = c"family-files/1";

/// What a function returns.
pub type tw_status = i32;
/// Done.
pub const TW_OK: tw_status = 0;
/// The device or the job.
pub const TW_FAULT: tw_status = 1;
/// Not now.
pub const TW_BAD_STATE: tw_status = 2;
/// A NULL, a struct too small, a value out of range.
pub const TW_BAD_ARGUMENT: tw_status = 3;
/// This family or setting cannot do it.
pub const TW_UNSUPPORTED: tw_status = 4;
/// A stated limit was passed.
pub const TW_LIMIT: tw_status = 5;
/// The driver's own mistake.
pub const TW_BUG: tw_status = 6;

/// Bytes of a fault text, NUL included.
pub const TW_FAULT_TEXT: usize = 512;
/// Bytes of a stock kind in a device status, NUL included.
pub const TW_KIND_TEXT: usize = 32;
/// Bytes of the text of a device status, NUL included.
pub const TW_STATUS_TEXT: usize = 256;

/// Half cut.
pub const TW_CUT_HALF: u32 = 1;
/// Full cut.
pub const TW_CUT_FULL: u32 = 2;

/// Bytes are in the buffer.
pub const TW_ACTION_BYTES: u32 = 1;
/// Wait.
pub const TW_ACTION_WAIT: u32 = 2;
/// Wait for a reply.
pub const TW_ACTION_WAIT_REPLY: u32 = 3;
/// The next input call may come.
pub const TW_ACTION_MORE_INPUT: u32 = 4;
/// Everything is out.
pub const TW_ACTION_DONE: u32 = 5;

/// The device has told its state.
pub const TW_DEVICE_KNOWN: u32 = 1;
/// Ready for a job.
pub const TW_DEVICE_READY: u32 = 2;
/// Printing or cutting.
pub const TW_DEVICE_BUSY: u32 = 4;
/// No stock.
pub const TW_DEVICE_STOCK_OUT: u32 = 8;
/// A cover is open.
pub const TW_DEVICE_COVER_OPEN: u32 = 16;
/// Other stock is loaded.
pub const TW_DEVICE_WRONG_STOCK: u32 = 32;
/// The device reports a fault.
pub const TW_DEVICE_FAULT: u32 = 64;

/// For whoever writes the driver.
pub const TW_LOG_DEBUG: u32 = 1;
/// Worth knowing.
pub const TW_LOG_INFO: u32 = 2;
/// Worth a look.
pub const TW_LOG_WARNING: u32 = 3;
/// Something went wrong.
pub const TW_LOG_ERROR: u32 = 4;

/// `true` or `false`.
pub const TW_OPTION_BOOL: u32 = 1;
/// Decimal.
pub const TW_OPTION_INT: u32 = 2;
/// Any text.
pub const TW_OPTION_STRING: u32 = 3;
/// One of a list.
pub const TW_OPTION_CHOICE: u32 = 4;

/// Half cuts can be told to the device.
pub const TW_CARRIES_HALF_CUTS: u32 = 1;
/// Full cuts inside a strip can be told to the device.
pub const TW_CARRIES_INNER_CUTS: u32 = 2;
/// Better over a link that answers.
pub const TW_READS_REPLIES: u32 = 4;

/// A value that may stand in memory shared with the other side, its size first.
///
/// # Safety
///
/// The type is `repr(C)`, starts with a `u32` that holds a size in bytes, and every bit pattern
/// is a valid value of every field.
pub unsafe trait Sized32: Copy {
    /// Size of the type in this version, in bytes.
    const SIZE: u32 = {
        let size = size_of::<Self>();
        assert!(size < 4096);
        #[allow(clippy::cast_possible_truncation)] // Just shown to be small.
        let size = size as u32;
        size
    };
}

macro_rules! records {
    ($($(#[$doc:meta])* pub struct $name:ident { $($field:ident : $type:ty,)* })*) => {
        $(
            $(#[$doc])*
            #[repr(C)]
            #[derive(Debug, Clone, Copy)]
            #[allow(missing_docs)] // Documented in driver.h.
            pub struct $name {
                pub size: u32,
                $(pub $field: $type,)*
            }

            // SAFETY: repr(C), the size first; all fields are integers, arrays of integers, raw
            // pointers or optional function pointers, whose NULL is None.
            unsafe impl Sized32 for $name {}
        )*
    };
}

/// An option of a job.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
#[allow(missing_docs)] // Documented in driver.h.
pub struct tw_pair {
    pub key: *const c_char,
    pub value: *const c_char,
}

/// A cut of a strip.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
#[allow(missing_docs)] // Documented in driver.h.
pub struct tw_cut {
    pub line: u32,
    pub kind: u32,
}

records! {
    /// Why a call failed.
    pub struct tw_fault {
        status: i32,
        code: u32,
        retry: u32,
        text: [c_char; TW_FAULT_TEXT],
    }

    /// What is true for all strips of a job.
    pub struct tw_job {
        strips: u32,
        dpi_across_milli: u32,
        dpi_along_milli: u32,
        dots: u32,
        bytes_per_line: u32,
        web_first_dot: i32,
        web_dots: u32,
        width_um: u32,
        option_count: u32,
        option_stride: u32,
        reserved: u32,
        name: *const c_char,
        stock_kind: *const c_char,
        stock_title: *const c_char,
        options: *const tw_pair,
    }

    /// One piece of tape.
    pub struct tw_strip {
        index: u32,
        lines: u32,
        lead_lines: u32,
        trail_lines: u32,
        labels: u32,
        cut_count: u32,
        cut_stride: u32,
        cuts: *const tw_cut,
    }

    /// What the host is to do next.
    pub struct tw_action {
        kind: u32,
        count: u64,
        milliseconds: u32,
        reserved: u32,
    }

    /// State of the device as it was last told.
    pub struct tw_device_status {
        flags: u32,
        found_width_um: u32,
        reserved: u32,
        found_kind: [c_char; TW_KIND_TEXT],
        text: [c_char; TW_STATUS_TEXT],
    }

    /// What the host offers to an instance.
    pub struct tw_host {
        reserved: u32,
        context: *mut c_void,
        log: Option<unsafe extern "C" fn(*mut c_void, u32, *const c_char)>,
    }

    /// An instance of a driver.
    pub struct tw_driver {
        reserved: u32,
        self_: *mut c_void,
        begin_job: Option<unsafe extern "C" fn(*mut c_void, *const tw_job) -> tw_status>,
        begin_strip: Option<unsafe extern "C" fn(*mut c_void, *const tw_strip) -> tw_status>,
        lines: Option<unsafe extern "C" fn(*mut c_void, *const u8, usize, u32) -> tw_status>,
        blank: Option<unsafe extern "C" fn(*mut c_void, u32) -> tw_status>,
        end_strip: Option<unsafe extern "C" fn(*mut c_void) -> tw_status>,
        end_job: Option<unsafe extern "C" fn(*mut c_void) -> tw_status>,
        cancel: Option<unsafe extern "C" fn(*mut c_void) -> tw_status>,
        take: Option<unsafe extern "C" fn(*mut c_void, *mut u8, usize, *mut tw_action) -> tw_status>,
        reply: Option<unsafe extern "C" fn(*mut c_void, *const u8, usize) -> tw_status>,
        port_status: Option<unsafe extern "C" fn(*mut c_void, u8) -> tw_status>,
        status: Option<unsafe extern "C" fn(*mut c_void, *mut tw_device_status) -> tw_status>,
        fault: Option<unsafe extern "C" fn(*mut c_void, *mut tw_fault) -> tw_status>,
        get_extension: Option<unsafe extern "C" fn(*mut c_void, *const c_char) -> *const c_void>,
        destroy: Option<unsafe extern "C" fn(*mut c_void)>,
    }

    /// A setting of a family.
    pub struct tw_option {
        type_: u32,
        id: *const c_char,
        default_text: *const c_char,
        help: *const c_char,
        min: i64,
        max: i64,
        choices: *const *const c_char,
        choice_count: u32,
        reserved: u32,
    }

    /// Which devices a family is for.
    pub struct tw_pattern {
        reserved: u32,
        key: *const c_char,
        value: *const c_char,
    }

    /// One family of devices.
    pub struct tw_descriptor {
        capabilities: u32,
        family: *const c_char,
        title: *const c_char,
        version: *const c_char,
        description: *const c_char,
        options: *const *const tw_option,
        patterns: *const *const tw_pattern,
        option_count: u32,
        pattern_count: u32,
    }

    /// The families of a module.
    pub struct tw_factory {
        reserved: u32,
        count: Option<unsafe extern "C" fn() -> u32>,
        describe: Option<unsafe extern "C" fn(u32) -> *const tw_descriptor>,
        create: Option<
            unsafe extern "C" fn(
                *const c_char,
                *const tw_host,
                *mut *const tw_driver,
                *mut tw_fault,
            ) -> tw_status,
        >,
        get_extension: Option<unsafe extern "C" fn(*const c_char, *const c_char) -> *const c_void>,
    }

    /// What the exported function returns.
    pub struct tw_entry {
        major: u32,
        minor: u32,
        reserved: u32,
        get_factory: Option<unsafe extern "C" fn(*const c_char) -> *const c_void>,
    }

    /// Head of a strip as it stands in a stream.
    pub struct tw_readback_page {
        lines: u32,
        dots: u32,
        dpi_across_milli: u32,
        dpi_along_milli: u32,
        reserved: u32,
    }

    /// Where a decoder reports.
    pub struct tw_readback_events {
        reserved: u32,
        context: *mut c_void,
        strip_begin: Option<unsafe extern "C" fn(*mut c_void, *const tw_readback_page) -> tw_status>,
        lines: Option<unsafe extern "C" fn(*mut c_void, *const u8, usize, u32) -> tw_status>,
        blank: Option<unsafe extern "C" fn(*mut c_void, u32) -> tw_status>,
        cut: Option<unsafe extern "C" fn(*mut c_void, u32, u32) -> tw_status>,
        strip_end: Option<unsafe extern "C" fn(*mut c_void) -> tw_status>,
    }

    /// A decoder at work.
    pub struct tw_decoder {
        reserved: u32,
        self_: *mut c_void,
        push: Option<
            unsafe extern "C" fn(*mut c_void, *const tw_readback_events, *const u8, usize) -> tw_status,
        >,
        finish: Option<unsafe extern "C" fn(*mut c_void, *const tw_readback_events) -> tw_status>,
        fault: Option<unsafe extern "C" fn(*mut c_void, *mut tw_fault) -> tw_status>,
        destroy: Option<unsafe extern "C" fn(*mut c_void)>,
    }

    /// Extension `readback/1`.
    pub struct tw_readback {
        reserved: u32,
        self_: *mut c_void,
        recognises: Option<unsafe extern "C" fn(*mut c_void, *const u8, usize) -> u32>,
        create: Option<unsafe extern "C" fn(*mut c_void, *mut *const tw_decoder) -> tw_status>,
    }

    /// Factory `family-files/1`.
    pub struct tw_family_files {
        reserved: u32,
        suffix: *const c_char,
        add: Option<unsafe extern "C" fn(*const c_char, *const c_char, *mut tw_fault) -> tw_status>,
    }
}

/// The exported function.
pub type tw_entry_function = unsafe extern "C" fn() -> *const tw_entry;

impl tw_fault {
    /// An empty record for a callee to fill.
    pub fn empty() -> tw_fault {
        tw_fault { size: tw_fault::SIZE, status: TW_OK, code: 0, retry: 0, text: [0; TW_FAULT_TEXT] }
    }
}

impl tw_action {
    /// An empty record for a callee to fill.
    pub fn empty() -> tw_action {
        tw_action { size: tw_action::SIZE, kind: 0, count: 0, milliseconds: 0, reserved: 0 }
    }
}

impl tw_device_status {
    /// An empty record for a callee to fill.
    pub fn empty() -> tw_device_status {
        tw_device_status {
            size: tw_device_status::SIZE,
            flags: 0,
            found_width_um: 0,
            reserved: 0,
            found_kind: [0; TW_KIND_TEXT],
            text: [0; TW_STATUS_TEXT],
        }
    }
}

// SAFETY: an entry, a factory, a descriptor and a readback table are constants of a module that
// nobody writes to after they were made (driver.h: valid for the module, functions [any-thread]).
unsafe impl Sync for tw_entry {}
// SAFETY: see above.
unsafe impl Send for tw_entry {}
// SAFETY: see above.
unsafe impl Sync for tw_factory {}
// SAFETY: see above.
unsafe impl Send for tw_factory {}
// SAFETY: see above.
unsafe impl Sync for tw_readback {}
// SAFETY: see above.
unsafe impl Send for tw_readback {}
// SAFETY: see above.
unsafe impl Sync for tw_family_files {}
// SAFETY: see above.
unsafe impl Send for tw_family_files {}
