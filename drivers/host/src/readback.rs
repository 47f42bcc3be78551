//! Reading a stream back into lines and cuts.

use std::any::Any;
use std::ffi::c_void;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use tapewright_abi::raw::{self, Sized32, tw_status};
use tapewright_abi::value::{Cut, CutKind};

use crate::foreign::{self, fault};
use crate::{Failure, HostError};

/// Widest line a decoder may report, in dots; far beyond any head, and small enough to be held.
pub(crate) const WIDEST: u32 = 1 << 20;

/// Receives what a decoder finds, in order: `(strip_begin (lines | blank | cut)* strip_end)*`.
///
/// # Guarantees
///
/// Before each call was checked: the order; that rows are whole lines of the page's width; that
/// lines do not pass the number announced, and reach it at the end; that cuts ascend strictly and
/// lie within the lines, when their number was announced.
pub trait Events {
    /// Why the caller wants to stop.
    type Error;

    /// A strip begins.
    ///
    /// # Errors
    ///
    /// Any error of these functions stops the decoder and comes out of
    /// [`Decoder::push`] or [`Decoder::finish`].
    fn strip_begin(&mut self, page: &Page) -> Result<(), Self::Error>;

    /// `count` lines, back to back, [`Page::bytes_per_line`] each; dot 0 is the most significant
    /// bit of byte 0, 1 = ink, spare bits 0.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Self::Error>;

    /// `count` lines without ink.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn blank(&mut self, count: u32) -> Result<(), Self::Error>;

    /// A cut before line `cut.line`. It may come before or after the lines around it.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn cut(&mut self, cut: Cut) -> Result<(), Self::Error>;

    /// The strip ends.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn strip_end(&mut self) -> Result<(), Self::Error>;
}

/// Head of a strip as it stands in a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Page {
    /// Lines of the strip; `None` when the stream does not say in advance.
    pub lines: Option<u32>,
    /// Width of a line in dots, at least 1.
    pub dots: u32,
    /// Resolution across the tape in thousandths of a dot per inch; `None` when the stream does
    /// not say.
    pub dpi_across_milli: Option<u32>,
    /// Resolution along the tape in thousandths of a line per inch; `None` when the stream does
    /// not say.
    pub dpi_along_milli: Option<u32>,
}

impl Page {
    /// Bytes of a line: ⌈dots / 8⌉.
    pub fn bytes_per_line(&self) -> u32 {
        self.dots.div_ceil(8)
    }
}

/// How a family reads its own streams.
#[derive(Debug, Clone)]
pub struct Readback {
    module: String,
    /// The module's own pointer, first argument of both functions.
    this: *mut c_void,
    recognises: unsafe extern "C" fn(*mut c_void, *const u8, usize) -> u32,
    create: unsafe extern "C" fn(*mut c_void, *mut *const raw::tw_decoder) -> tw_status,
}

// SAFETY: driver.h: both functions are [any-thread], and the pointer is theirs for good.
unsafe impl Send for Readback {}
// SAFETY: see above.
unsafe impl Sync for Readback {}

impl Readback {
    pub(crate) fn new(module: &str, table: raw::tw_readback) -> Result<Readback, HostError> {
        let broken = |what: &str| HostError::Broken { module: module.to_owned(), what: what.to_owned() };
        Ok(Readback {
            module: module.to_owned(),
            this: table.self_,
            recognises: table.recognises.ok_or_else(|| broken("its readback has no recognises"))?,
            create: table.create.ok_or_else(|| broken("its readback has no create"))?,
        })
    }

    /// How sure the family is that a stream that begins with `first` is its own: 0 (not mine) …
    /// 100 (surely mine). A few hundred bytes are enough.
    ///
    /// # Errors
    ///
    /// [`HostError::Broken`] when the module says anything else.
    pub fn recognises(&self, first: &[u8]) -> Result<u8, HostError> {
        // SAFETY: [any-thread]; the bytes live through the call.
        let score = unsafe { (self.recognises)(self.this, first.as_ptr(), first.len()) };
        match u8::try_from(score) {
            Ok(score @ 0..=100) => Ok(score),
            _ => Err(HostError::Broken {
                module: self.module.clone(),
                what: format!("recognises says {score}, wanted 0 to 100"),
            }),
        }
    }

    /// Makes a decoder for one stream.
    ///
    /// # Errors
    ///
    /// What the module reports.
    pub fn decoder(&self) -> Result<Decoder, HostError> {
        let broken = |what: String| HostError::Broken { module: self.module.clone(), what };
        let mut decoder = std::ptr::null();
        // SAFETY: [any-thread]; the pointer to fill lives through the call.
        let status = unsafe { (self.create)(self.this, &mut decoder) };
        if status != raw::TW_OK {
            return Err(fault(&self.module, "readback create", status, &raw::tw_fault::empty()));
        }
        // SAFETY: driver.h: create set the pointer to a decoder that starts with its size.
        let decoder = unsafe { foreign::record(decoder, "the decoder") }.map_err(broken)?;
        let (Some(push), Some(finish), Some(fault), Some(destroy)) =
            (decoder.push, decoder.finish, decoder.fault, decoder.destroy)
        else {
            return Err(broken("its decoder lacks a function, wanted all of them".into()));
        };
        Ok(Decoder {
            module: self.module.clone(),
            instance: decoder.self_,
            push,
            finish,
            fault,
            destroy,
            strip: None,
            ended: false,
        })
    }
}

/// Reads one stream, piece by piece; its memory does not grow with the stream.
#[derive(Debug)]
pub struct Decoder {
    module: String,
    instance: *mut c_void,
    push: unsafe extern "C" fn(*mut c_void, *const raw::tw_readback_events, *const u8, usize) -> tw_status,
    finish: unsafe extern "C" fn(*mut c_void, *const raw::tw_readback_events) -> tw_status,
    fault: unsafe extern "C" fn(*mut c_void, *mut raw::tw_fault) -> tw_status,
    destroy: unsafe extern "C" fn(*mut c_void),
    strip: Option<Progress>,
    /// Finished or failed.
    ended: bool,
}

// SAFETY: driver.h lets the calls on a decoder come from different threads, one at a time; a
// `&mut Decoder` is needed for each.
unsafe impl Send for Decoder {}

impl Drop for Decoder {
    fn drop(&mut self) {
        // SAFETY: the last call on this decoder (driver.h).
        unsafe { (self.destroy)(self.instance) };
    }
}

/// How far the strip being read has come.
#[derive(Debug, Clone, Copy)]
struct Progress {
    page: Page,
    lines: u32,
    last_cut: Option<u32>,
}

impl Decoder {
    /// Reads the next bytes and reports what they hold.
    ///
    /// # Errors
    ///
    /// [`Failure::Host`] when the stream is not in order (kind `Fault`; the text tells where, what
    /// was found and what was wanted) or the module is not; [`Failure::Caller`] with the error of
    /// `events`. After an error the decoder is of no further use.
    pub fn push<E: Events + ?Sized>(&mut self, bytes: &[u8], events: &mut E) -> Result<(), Failure<E::Error>> {
        let (push, instance) = (self.push, self.instance);
        self.call("readback push", events, |table| {
            // SAFETY: the decoder is open; events and bytes live through the call.
            unsafe { push(instance, table, bytes.as_ptr(), bytes.len()) }
        })
    }

    /// The stream ends here.
    ///
    /// # Errors
    ///
    /// As [`Decoder::push`]; also when the stream stops in the middle.
    pub fn finish<E: Events + ?Sized>(&mut self, events: &mut E) -> Result<(), Failure<E::Error>> {
        let (finish, instance) = (self.finish, self.instance);
        self.call("readback finish", events, |table| {
            // SAFETY: the decoder is open; events live through the call.
            unsafe { finish(instance, table) }
        })?;
        self.ended = true;
        if self.strip.is_some() {
            return Err(HostError::Broken {
                module: self.module.clone(),
                what: "readback finish left a strip open, wanted strip_end or a fault".into(),
            }
            .into());
        }
        Ok(())
    }

    fn call<E: Events + ?Sized>(
        &mut self,
        name: &str,
        events: &mut E,
        function: impl FnOnce(*const raw::tw_readback_events) -> tw_status,
    ) -> Result<(), Failure<E::Error>> {
        if self.ended {
            return Err(
                HostError::Misuse { what: format!("{name} after the end or a failure, wanted a new decoder") }.into()
            );
        }
        let mut target = Target { events, strip: self.strip, end: None };
        let table = raw::tw_readback_events {
            size: raw::tw_readback_events::SIZE,
            reserved: 0,
            context: (&raw mut target).cast(),
            strip_begin: Some(strip_begin::<E>),
            lines: Some(lines::<E>),
            blank: Some(blank::<E>),
            cut: Some(cut::<E>),
            strip_end: Some(strip_end::<E>),
        };
        let status = function(&table);
        let end = target.end.take();
        self.strip = target.strip;
        self.ended = status != raw::TW_OK || end.is_some();
        match end {
            Some(End::Caller(error)) => return Err(Failure::Caller(error)),
            Some(End::Panic(panic)) => resume_unwind(panic),
            Some(End::Broken(what)) => {
                return Err(HostError::Broken { module: self.module.clone(), what }.into());
            }
            None => {}
        }
        if status == raw::TW_OK {
            return Ok(());
        }
        let mut record = raw::tw_fault::empty();
        // SAFETY: the decoder is open; the record lives through the call.
        if unsafe { (self.fault)(self.instance, &mut record) } != raw::TW_OK {
            record = raw::tw_fault::empty();
        }
        Err(fault(&self.module, name, status, &record).into())
    }
}

/// Why a callback told the decoder to stop.
enum End<E> {
    Caller(E),
    Broken(String),
    Panic(Box<dyn Any + Send>),
}

/// Behind the context pointer during one call.
struct Target<'a, E: Events + ?Sized> {
    events: &'a mut E,
    strip: Option<Progress>,
    end: Option<End<E::Error>>,
}

type Outcome<E> = Result<(), End<<E as Events>::Error>>;

impl<E: Events + ?Sized> Target<'_, E> {
    fn strip(&mut self, call: &str) -> Result<&mut Progress, End<E::Error>> {
        self.strip
            .as_mut()
            .ok_or_else(|| End::Broken(format!("readback reports {call} outside a strip, wanted strip_begin")))
    }

    fn strip_begin(&mut self, raw: &raw::tw_readback_page) -> Outcome<E> {
        if self.strip.is_some() {
            return Err(End::Broken("readback reports strip_begin inside a strip, wanted strip_end".into()));
        }
        if raw.dots == 0 || raw.dots > WIDEST {
            return Err(End::Broken(format!("readback reports lines of {} dots, wanted 1 to {WIDEST}", raw.dots)));
        }
        let known = |value: u32| (value != 0).then_some(value);
        let page = Page {
            lines: known(raw.lines),
            dots: raw.dots,
            dpi_across_milli: known(raw.dpi_across_milli),
            dpi_along_milli: known(raw.dpi_along_milli),
        };
        self.strip = Some(Progress { page, lines: 0, last_cut: None });
        self.events.strip_begin(&page).map_err(End::Caller)
    }

    fn advance(&mut self, call: &str, count: u32) -> Result<Page, End<E::Error>> {
        let strip = self.strip(call)?;
        let most = strip.page.lines.unwrap_or(u32::MAX) - strip.lines;
        if count == 0 || count > most {
            return Err(End::Broken(format!(
                "readback reports {count} {call}, wanted 1 to the {most} left of the strip"
            )));
        }
        strip.lines += count;
        Ok(strip.page)
    }

    /// # Safety
    ///
    /// `rows` is NULL or `len` bytes there are valid to read until the call returns.
    unsafe fn lines(&mut self, rows: *const u8, len: usize, count: u32) -> Outcome<E> {
        let page = self.advance("lines", count)?;
        let wanted = u64::from(page.bytes_per_line()) * u64::from(count);
        if u64::try_from(len) != Ok(wanted) || rows.is_null() {
            return Err(End::Broken(format!(
                "readback reports {count} lines in {len} bytes at {rows:?}, wanted {wanted} bytes"
            )));
        }
        // SAFETY: not NULL; the caller promises the length.
        let rows = unsafe { std::slice::from_raw_parts(rows, len) };
        self.events.lines(rows, count).map_err(End::Caller)
    }

    fn blank(&mut self, count: u32) -> Outcome<E> {
        self.advance("blank lines", count)?;
        self.events.blank(count).map_err(End::Caller)
    }

    fn cut(&mut self, kind: u32, line: u32) -> Outcome<E> {
        let Some(kind) = CutKind::from_raw(kind) else {
            return Err(End::Broken(format!("readback reports a cut of kind {kind}, wanted 1 or 2")));
        };
        let strip = self.strip("a cut")?;
        let least = strip.last_cut.map_or(0, |last| u64::from(last) + 1);
        let most = strip.page.lines.unwrap_or(u32::MAX);
        if u64::from(line) < least || line > most {
            return Err(End::Broken(format!("readback reports a cut at line {line}, wanted {least} to {most}")));
        }
        strip.last_cut = Some(line);
        self.events.cut(Cut { line, kind }).map_err(End::Caller)
    }

    fn strip_end(&mut self) -> Outcome<E> {
        let strip = *self.strip("strip_end")?;
        let wanted = strip.page.lines.unwrap_or(strip.lines);
        if strip.lines != wanted {
            return Err(End::Broken(format!("readback ends a strip after {} lines, wanted {wanted}", strip.lines)));
        }
        self.strip = None;
        self.events.strip_end().map_err(End::Caller)
    }
}

/// Runs one callback: nothing unwinds into the module, and after the first end nothing is
/// reported any more.
///
/// # Safety
///
/// `context` is NULL or the `Target<E>` of the call on the decoder that is going on.
unsafe fn report<E: Events + ?Sized>(
    context: *mut c_void,
    function: impl FnOnce(&mut Target<'_, E>) -> Outcome<E>,
) -> tw_status {
    if context.is_null() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: not NULL; driver.h: the module hands the context back unchanged during the call,
    // from one thread at a time, and the decoder touches the target only after the call.
    let target = unsafe { &mut *context.cast::<Target<'_, E>>() };
    if target.end.is_some() {
        return raw::TW_FAULT;
    }
    let end = match catch_unwind(AssertUnwindSafe(|| function(&mut *target))) {
        Ok(Ok(())) => return raw::TW_OK,
        Ok(Err(end)) => end,
        Err(panic) => End::Panic(panic),
    };
    target.end = Some(end);
    raw::TW_FAULT
}

unsafe extern "C" fn strip_begin<E: Events + ?Sized>(
    context: *mut c_void,
    page: *const raw::tw_readback_page,
) -> tw_status {
    // SAFETY: driver.h: a pointer to a page that starts with its size, valid for the call.
    let page = unsafe { foreign::record(page, "the page of strip_begin") };
    // SAFETY: driver.h: the context as given.
    unsafe { report::<E>(context, |target| target.strip_begin(&page.map_err(End::Broken)?)) }
}

unsafe extern "C" fn lines<E: Events + ?Sized>(
    context: *mut c_void,
    rows: *const u8,
    len: usize,
    count: u32,
) -> tw_status {
    // SAFETY: driver.h: the context as given; `len` bytes of rows, valid for the call.
    unsafe { report::<E>(context, |target| target.lines(rows, len, count)) }
}

unsafe extern "C" fn blank<E: Events + ?Sized>(context: *mut c_void, count: u32) -> tw_status {
    // SAFETY: driver.h: the context as given.
    unsafe { report::<E>(context, |target| target.blank(count)) }
}

unsafe extern "C" fn cut<E: Events + ?Sized>(context: *mut c_void, kind: u32, line: u32) -> tw_status {
    // SAFETY: driver.h: the context as given.
    unsafe { report::<E>(context, |target| target.cut(kind, line)) }
}

unsafe extern "C" fn strip_end<E: Events + ?Sized>(context: *mut c_void) -> tw_status {
    // SAFETY: driver.h: the context as given.
    unsafe { report::<E>(context, |target| target.strip_end()) }
}
