//! The functions of a driver instance, and what the host lends it.

use std::ffi::{CStr, c_char, c_void};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::LogLevel;

use crate::foreign::fault;
use crate::{HostError, foreign};

/// An instance of a driver, open until it is dropped.
#[derive(Debug)]
pub(crate) struct Instance {
    pub(crate) calls: Calls,
    /// The driver's own pointer, first argument of every function.
    pub(crate) this: *mut c_void,
    /// Made by `Box::into_raw`; freed after the instance is gone.
    host: *mut HostContext,
}

// SAFETY: driver.h lets the calls on an instance come from different threads, one at a time; its
// owner, the session, needs a `&mut` of itself for each. The log target is Send.
unsafe impl Send for Instance {}

/// The functions of an instance, shown to be there.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Calls {
    pub(crate) begin_job: unsafe extern "C" fn(*mut c_void, *const raw::tw_job) -> tw_status,
    pub(crate) begin_strip: unsafe extern "C" fn(*mut c_void, *const raw::tw_strip) -> tw_status,
    pub(crate) lines: unsafe extern "C" fn(*mut c_void, *const u8, usize, u32) -> tw_status,
    pub(crate) blank: unsafe extern "C" fn(*mut c_void, u32) -> tw_status,
    pub(crate) end_strip: unsafe extern "C" fn(*mut c_void) -> tw_status,
    pub(crate) end_job: unsafe extern "C" fn(*mut c_void) -> tw_status,
    pub(crate) cancel: unsafe extern "C" fn(*mut c_void) -> tw_status,
    pub(crate) take: unsafe extern "C" fn(*mut c_void, *mut u8, usize, *mut raw::tw_action) -> tw_status,
    pub(crate) reply: unsafe extern "C" fn(*mut c_void, *const u8, usize) -> tw_status,
    pub(crate) port_status: unsafe extern "C" fn(*mut c_void, u8) -> tw_status,
    pub(crate) status: unsafe extern "C" fn(*mut c_void, *mut raw::tw_device_status) -> tw_status,
    pub(crate) fault: unsafe extern "C" fn(*mut c_void, *mut raw::tw_fault) -> tw_status,
    pub(crate) destroy: unsafe extern "C" fn(*mut c_void),
}

impl Calls {
    fn of(driver: &raw::tw_driver) -> Option<Calls> {
        Some(Calls {
            begin_job: driver.begin_job?,
            begin_strip: driver.begin_strip?,
            lines: driver.lines?,
            blank: driver.blank?,
            end_strip: driver.end_strip?,
            end_job: driver.end_job?,
            cancel: driver.cancel?,
            take: driver.take?,
            reply: driver.reply?,
            port_status: driver.port_status?,
            status: driver.status?,
            fault: driver.fault?,
            destroy: driver.destroy?,
        })
    }
}

pub(crate) type Log = Box<dyn FnMut(LogLevel, &str) + Send>;

struct HostContext {
    raw: raw::tw_host,
    log: Mutex<Log>,
}

/// The log function given to drivers.
///
/// # Safety
///
/// `context` is the `HostContext` of a living session; `text` is NULL or a NUL-terminated string.
unsafe extern "C" fn log(context: *mut c_void, level: u32, text: *const c_char) {
    if context.is_null() || text.is_null() {
        return;
    }
    // SAFETY: not NULL; driver.h: the driver hands the context back unchanged while the instance
    // lives, and only shared references to it exist.
    let host = unsafe { &*context.cast::<HostContext>() };
    // SAFETY: driver.h: NUL-terminated, valid for the call.
    let text = unsafe { CStr::from_ptr(text) }.to_string_lossy();
    // A log function that panics must not unwind into the driver; the line is lost. The same for a
    // driver that logs from two threads at once, against its promise.
    let _ = catch_unwind(AssertUnwindSafe(|| {
        if let Ok(mut log) = host.log.try_lock() {
            log(LogLevel::from_raw(level), &text);
        }
    }));
}

impl Instance {
    /// Makes an instance of `family`.
    pub(crate) fn create(
        module: &str,
        factory: &'static raw::tw_factory,
        family: &CStr,
        target: Log,
    ) -> Result<Instance, HostError> {
        let broken = |what: String| HostError::Broken { module: module.to_owned(), what };
        let create = factory.create.ok_or_else(|| broken("its factory has no create".into()))?;
        let host = Box::into_raw(Box::new(HostContext {
            raw: raw::tw_host { size: raw::tw_host::SIZE, reserved: 0, context: std::ptr::null_mut(), log: Some(log) },
            log: Mutex::new(target),
        }));
        // SAFETY: just made, nobody else has it.
        unsafe { (*host).raw.context = host.cast() };
        // Frees the context unless a session takes it.
        let guard = HostGuard(host);
        let mut driver: *const raw::tw_driver = std::ptr::null();
        let mut record = raw::tw_fault::empty();
        // SAFETY: [any-thread]; all pointers are valid for the call, the host for the instance.
        let status = unsafe { create(family.as_ptr(), &raw const (*host).raw, &mut driver, &mut record) };
        if status != raw::TW_OK {
            return Err(fault(module, "create", status, &record));
        }
        // SAFETY: driver.h: create set the pointer to a driver that starts with its size.
        let driver = unsafe { foreign::record(driver, "the instance") }.map_err(broken)?;
        let calls =
            Calls::of(&driver).ok_or_else(|| broken("its instance lacks a function, wanted all of them".into()))?;
        std::mem::forget(guard);
        Ok(Instance { calls, this: driver.self_, host })
    }
}

struct HostGuard(*mut HostContext);

impl Drop for HostGuard {
    fn drop(&mut self) {
        // SAFETY: made by Box::into_raw; no instance was taken over that could still use it.
        drop(unsafe { Box::from_raw(self.0) });
    }
}

impl Drop for Instance {
    fn drop(&mut self) {
        // SAFETY: the last call on this instance (driver.h).
        unsafe { (self.calls.destroy)(self.this) };
        // SAFETY: made by Box::into_raw; the instance that used it is gone.
        drop(unsafe { Box::from_raw(self.host) });
    }
}
