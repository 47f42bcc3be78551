//! The raw interface of a module made with the kit, used as no host should use it.

use std::ffi::{CStr, c_char, c_void};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use tapewright_kit::abi::raw::{self, Sized32, tw_status};
use tapewright_kit::abi::value::read_text;
use tapewright_kit::{
    Capabilities, Description, DeviceStatus, Driver, Events, Families, Family, FamilyEntry, FamilyFiles, Fault, Job,
    LearnedDescription, LearnedFamily, LogLevel, Module, OptionKind, OptionSpec, Out, Page, Readback, ReadbackKind,
    Strip, entry,
};

/// Writes a byte for each call; a row that begins with 0xEE makes it panic, 0xDD fail.
struct Demo {
    width: u32,
}

impl Driver for Demo {
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
        self.width = job.stock.width_um.unwrap_or(0);
        out.log(LogLevel::Info, format!("job {} of {}\0", job.name, job.stock.title));
        out.extend(b"J");
        if job.options.int("pause") > 0 {
            out.wait(Duration::from_micros(1500));
            out.extend(b"after");
            out.wait_reply(3, Duration::from_secs(1));
        }
        Ok(())
    }
    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
        out.byte(b'S');
        for cut in strip.cuts {
            out.byte(u8::try_from(cut.line).unwrap_or(255));
        }
        Ok(())
    }
    fn lines(&mut self, rows: &[u8], _count: u32, out: &mut Out) -> Result<(), Fault> {
        match rows[0] {
            0xEE => panic!("row {:#x}", rows[0]),
            0xDD => Err(Fault::device("ribbon torn").with_code(17).with_retry()),
            _ => {
                out.extend(rows);
                Ok(())
            }
        }
    }
    fn blank(&mut self, count: u32, out: &mut Out) -> Result<(), Fault> {
        out.extend(&vec![0; count as usize]);
        Ok(())
    }
    fn end_strip(&mut self, out: &mut Out) -> Result<(), Fault> {
        out.byte(b's');
        Ok(())
    }
    fn end_job(&mut self, out: &mut Out) -> Result<(), Fault> {
        out.byte(b'j');
        Ok(())
    }
    fn cancel(&mut self, out: &mut Out) -> Result<(), Fault> {
        out.extend(b"reset");
        Ok(())
    }
    fn reply(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        out.extend(bytes);
        Ok(())
    }
    fn port_status(&mut self, status: u8) -> Result<(), Fault> {
        match status {
            0x18 => Ok(()),
            _ => Err(Fault::device(format!("port status {status:#04x}"))),
        }
    }
    fn status(&self) -> DeviceStatus {
        assert!(self.width != 13, "unlucky");
        DeviceStatus {
            known: true,
            busy: true,
            wrong_stock: true,
            found_width_um: self.width,
            found_kind: "a kind with a name of more than thirty-one bytes".into(),
            text: "ü".repeat(200),
            ..DeviceStatus::default()
        }
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        DROPPED.fetch_add(1, Ordering::SeqCst);
        assert!(self.width != 14, "a panic on the way out stays inside");
    }
}

static DROPPED: AtomicU32 = AtomicU32::new(0);

/// Reports each byte as a line; 0xEE makes it panic.
struct Echo;

impl Readback for Echo {
    fn push(&mut self, bytes: &[u8], events: &mut dyn Events) -> Result<(), Fault> {
        for byte in bytes {
            assert!(*byte != 0xEE, "byte {byte:#x}");
            events.lines(&[*byte], 1)?;
        }
        Ok(())
    }
    fn finish(&mut self, events: &mut dyn Events) -> Result<(), Fault> {
        let page = Page { lines: None, dots: 8, dpi_across_milli: None, dpi_along_milli: Some(1) };
        events.strip_begin(&page)?;
        events.strip_end()
    }
}

enum DemoFamily {}

impl Family for DemoFamily {
    const DESCRIPTION: Description = Description {
        family: "demo",
        title: "Demo",
        version: "1.2.3",
        description: "writes a byte for each call",
        capabilities: Capabilities { half_cuts: true, inner_cuts: false, reads_replies: true },
        options: &[
            OptionSpec { id: "pause", kind: OptionKind::Int { min: 0, max: 1 }, default: "0", help: "pauses" },
            OptionSpec { id: "ink", kind: OptionKind::Choice(&["thin", "thick"]), default: "thin", help: "how" },
        ],
        patterns: &[("CMD", "DEMO")],
    };
    const READBACK: Option<ReadbackKind> = Some(ReadbackKind {
        recognises: |first| if first.starts_with(b"J") { 255 } else { 0 },
        create: || Box::new(Echo),
    });
    fn create() -> Result<Box<dyn Driver>, Fault> {
        Ok(Box::new(Demo { width: 0 }))
    }
}

enum Refusing {}

impl Family for Refusing {
    const DESCRIPTION: Description = Description { family: "refusing", ..Description::EMPTY };
    fn create() -> Result<Box<dyn Driver>, Fault> {
        panic!("no such luck")
    }
}

enum TestModule {}

impl Module for TestModule {
    fn families() -> &'static Families {
        static FAMILIES: Families = Families::new(&[FamilyEntry::of::<DemoFamily>(), FamilyEntry::of::<Refusing>()]);
        &FAMILIES
    }
}

fn factory() -> &'static raw::tw_factory {
    let entry = entry::<TestModule>().entry();
    // SAFETY: a constant id; the kit returns a factory that is valid for good.
    unsafe { &*entry.get_factory.unwrap()(raw::TW_FACTORY_ID.as_ptr()).cast() }
}

static LOG: Mutex<Vec<String>> = Mutex::new(Vec::new());

unsafe extern "C" fn log(_context: *mut c_void, level: u32, text: *const c_char) {
    // SAFETY: the kit gives a NUL-terminated string.
    let text = unsafe { CStr::from_ptr(text) }.to_str().unwrap();
    LOG.lock().unwrap().push(format!("{level} {text}"));
}

const HOST: raw::tw_host =
    raw::tw_host { size: raw::tw_host::SIZE, reserved: 0, context: std::ptr::null_mut(), log: Some(log) };

/// An instance that is destroyed at the end of the test.
struct Open(*const raw::tw_driver);

impl Drop for Open {
    fn drop(&mut self) {
        // SAFETY: made by `open`, the last call.
        unsafe { self.table().destroy.unwrap()(self.table().self_) };
    }
}

impl Open {
    fn new() -> Open {
        let mut driver = std::ptr::null();
        let mut record = raw::tw_fault::empty();
        // SAFETY: all pointers live through the call; the host is a constant.
        let status = unsafe { factory().create.unwrap()(c"demo".as_ptr(), &HOST, &mut driver, &mut record) };
        assert_eq!(status, raw::TW_OK);
        Open(driver)
    }
    fn table(&self) -> raw::tw_driver {
        // SAFETY: valid until destroy.
        unsafe { self.0.read() }
    }
    fn begin_job(&self, job: &raw::tw_job) -> tw_status {
        // SAFETY: valid for the call, as for all calls below.
        unsafe { self.table().begin_job.unwrap()(self.table().self_, job) }
    }
    fn begin_strip(&self, lines: u32, cuts: &[raw::tw_cut]) -> tw_status {
        let strip = strip(lines, cuts);
        // SAFETY: valid for the call.
        unsafe { self.table().begin_strip.unwrap()(self.table().self_, &strip) }
    }
    fn lines(&self, rows: &[u8], count: u32) -> tw_status {
        // SAFETY: valid for the call.
        unsafe { self.table().lines.unwrap()(self.table().self_, rows.as_ptr(), rows.len(), count) }
    }
    fn blank(&self, count: u32) -> tw_status {
        // SAFETY: the instance is open.
        unsafe { self.table().blank.unwrap()(self.table().self_, count) }
    }
    fn end_strip(&self) -> tw_status {
        // SAFETY: the instance is open.
        unsafe { self.table().end_strip.unwrap()(self.table().self_) }
    }
    fn end_job(&self) -> tw_status {
        // SAFETY: the instance is open.
        unsafe { self.table().end_job.unwrap()(self.table().self_) }
    }
    fn cancel(&self) -> tw_status {
        // SAFETY: the instance is open.
        unsafe { self.table().cancel.unwrap()(self.table().self_) }
    }
    fn reply(&self, bytes: &[u8]) -> tw_status {
        // SAFETY: valid for the call.
        unsafe { self.table().reply.unwrap()(self.table().self_, bytes.as_ptr(), bytes.len()) }
    }
    fn take(&self, cap: usize) -> (tw_status, raw::tw_action, Vec<u8>) {
        let mut buffer = vec![0; cap];
        let mut action = raw::tw_action::empty();
        // SAFETY: buffer and action live through the call.
        let status = unsafe { self.table().take.unwrap()(self.table().self_, buffer.as_mut_ptr(), cap, &mut action) };
        if action.kind == raw::TW_ACTION_BYTES {
            buffer.truncate(usize::try_from(action.count).unwrap());
        } else {
            buffer.clear();
        }
        (status, action, buffer)
    }
    /// Everything that comes out without a pause, and what take said at the end.
    fn drain(&self) -> (Vec<u8>, u32) {
        let mut bytes = Vec::new();
        loop {
            let (status, action, more) = self.take(3);
            assert_eq!(status, raw::TW_OK);
            if action.kind != raw::TW_ACTION_BYTES {
                return (bytes, action.kind);
            }
            bytes.extend(more);
        }
    }
    fn fault(&self) -> raw::tw_fault {
        let mut record = raw::tw_fault::empty();
        // SAFETY: the record lives through the call.
        let status = unsafe { self.table().fault.unwrap()(self.table().self_, &mut record) };
        assert_eq!(status, raw::TW_OK);
        record
    }
    fn text(&self) -> String {
        read_text(&self.fault().text).unwrap()
    }
}

const JOB: raw::tw_job = raw::tw_job {
    size: raw::tw_job::SIZE,
    strips: 1,
    dpi_across_milli: 180_000,
    dpi_along_milli: 180_000,
    dots: 16,
    bytes_per_line: 2,
    web_first_dot: -1,
    web_dots: 18,
    width_um: 12_000,
    option_count: 0,
    option_stride: 16,
    reserved: 0,
    name: c"night run".as_ptr(),
    stock_kind: c"tape".as_ptr(),
    stock_title: c"12 mm".as_ptr(),
    options: std::ptr::null(),
};

#[allow(clippy::cast_possible_truncation)] // Small counts.
fn strip(lines: u32, cuts: &[raw::tw_cut]) -> raw::tw_strip {
    raw::tw_strip {
        size: raw::tw_strip::SIZE,
        index: 0,
        lines,
        lead_lines: 0,
        trail_lines: 0,
        labels: 1,
        cut_count: cuts.len() as u32,
        cut_stride: size_of::<raw::tw_cut>() as u32,
        cuts: cuts.as_ptr(),
    }
}

#[test]
fn a_job_in_order() {
    let open = Open::new();
    assert_eq!(open.begin_job(&JOB), raw::TW_OK);
    assert!(LOG.lock().unwrap().contains(&"2 job night run of 12 mm\u{fffd}".to_owned()));
    assert_eq!(open.drain(), (b"J".to_vec(), raw::TW_ACTION_MORE_INPUT));
    let cuts = [raw::tw_cut { line: 1, kind: 1 }, raw::tw_cut { line: 3, kind: 2 }];
    assert_eq!(open.begin_strip(3, &cuts), raw::TW_OK);
    assert_eq!(open.drain(), (b"S\x01\x03".to_vec(), raw::TW_ACTION_MORE_INPUT));
    assert_eq!(open.lines(&[1, 2, 3, 4], 2), raw::TW_OK);
    assert_eq!(open.drain(), (vec![1, 2, 3, 4], raw::TW_ACTION_MORE_INPUT));
    assert_eq!(open.blank(1), raw::TW_OK);
    assert_eq!(open.drain(), (vec![0], raw::TW_ACTION_MORE_INPUT));
    assert_eq!(open.end_strip(), raw::TW_OK);
    assert_eq!(open.drain(), (b"s".to_vec(), raw::TW_ACTION_MORE_INPUT));
    assert_eq!(open.end_job(), raw::TW_OK);
    assert_eq!(open.drain(), (b"j".to_vec(), raw::TW_ACTION_DONE));
    // And the next job.
    assert_eq!(open.begin_job(&JOB), raw::TW_OK);
}

#[test]
fn pauses_and_replies_keep_their_place() {
    let open = Open::new();
    let options = [raw::tw_pair { key: c"pause".as_ptr(), value: c"1".as_ptr() }];
    assert_eq!(open.begin_job(&raw::tw_job { option_count: 1, options: options.as_ptr(), ..JOB }), raw::TW_OK);
    assert_eq!(open.take(9).2, b"J");
    let (_, wait, _) = open.take(9);
    assert_eq!((wait.kind, wait.milliseconds), (raw::TW_ACTION_WAIT, 2));
    assert_eq!(open.take(2).2, b"af");
    assert_eq!(open.reply(b"xyz"), raw::TW_BAD_STATE);
    assert_eq!(open.take(9).2, b"ter");
    let (_, wait, _) = open.take(9);
    assert_eq!((wait.kind, wait.count, wait.milliseconds), (raw::TW_ACTION_WAIT_REPLY, 3, 1000));
    assert_eq!(open.take(9).0, raw::TW_BAD_STATE);
    assert_eq!(open.text(), "take before the reply, wanted reply");
    assert_eq!(open.begin_strip(1, &[]), raw::TW_BAD_STATE);
    assert_eq!(open.reply(b"xyz"), raw::TW_OK);
    assert_eq!(open.drain(), (b"xyz".to_vec(), raw::TW_ACTION_MORE_INPUT));
}

#[test]
fn null_pointers_and_wrong_sizes() {
    let open = Open::new();
    let (table, this) = (open.table(), open.table().self_);
    let null = std::ptr::null_mut::<c_void>();
    // SAFETY: NULL is what the kit promises to survive; the rest lives through the calls.
    unsafe {
        assert_eq!(table.begin_job.unwrap()(null, &JOB), raw::TW_BAD_ARGUMENT);
        assert_eq!(table.begin_job.unwrap()(this, std::ptr::null()), raw::TW_BAD_ARGUMENT);
        assert_eq!(open.text(), "job is at 0x0, wanted an aligned address");
        let small = raw::tw_job { size: 8, ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &small), raw::TW_BAD_ARGUMENT);
        assert_eq!(open.text(), format!("job has 8 bytes, wanted at least {}", raw::tw_job::SIZE));
        let unnamed = raw::tw_job { name: std::ptr::null(), ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &unnamed), raw::TW_BAD_ARGUMENT);
        assert_eq!(open.text(), "job name is NULL, wanted a string");
        let not_text = raw::tw_job { stock_kind: c"\xFF".as_ptr(), ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &not_text), raw::TW_BAD_ARGUMENT);
        assert_eq!(open.text(), "stock kind is not UTF-8, wanted UTF-8");
        let options = raw::tw_job { option_count: 1, ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &options), raw::TW_BAD_ARGUMENT);
        let pair = raw::tw_pair { key: c"ink".as_ptr(), value: c"thick".as_ptr() };
        let dense = raw::tw_job { option_count: 1, option_stride: 4, options: &pair, ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &dense), raw::TW_BAD_ARGUMENT);
        let narrow = raw::tw_job { bytes_per_line: 1, ..JOB };
        assert_eq!(table.begin_job.unwrap()(this, &narrow), raw::TW_BAD_ARGUMENT);
        let mut action = raw::tw_action::empty();
        assert_eq!(table.take.unwrap()(this, std::ptr::null_mut(), 9, &mut action), raw::TW_BAD_ARGUMENT);
        let mut buffer = [0; 4];
        assert_eq!(table.take.unwrap()(this, buffer.as_mut_ptr(), 0, &mut action), raw::TW_BAD_ARGUMENT);
        assert_eq!(table.take.unwrap()(this, buffer.as_mut_ptr(), 4, std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        action.size = 4;
        assert_eq!(table.take.unwrap()(this, buffer.as_mut_ptr(), 4, &mut action), raw::TW_BAD_ARGUMENT);
        assert_eq!(table.status.unwrap()(this, std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        assert_eq!(table.fault.unwrap()(this, std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        assert_eq!(table.reply.unwrap()(this, std::ptr::null(), 7), raw::TW_BAD_ARGUMENT);
        assert!(table.get_extension.unwrap()(this, c"none/1".as_ptr()).is_null());
        table.destroy.unwrap()(null);
    }
    // None of it had an effect.
    assert_eq!(open.begin_job(&JOB), raw::TW_OK);
    open.drain();
    // SAFETY: NULL rows are what the kit promises to survive.
    unsafe {
        assert_eq!(table.begin_strip.unwrap()(this, std::ptr::null()), raw::TW_BAD_ARGUMENT);
        assert_eq!(open.begin_strip(3, &[]), raw::TW_OK);
        open.drain();
        assert_eq!(table.lines.unwrap()(this, std::ptr::null(), 4, 2), raw::TW_BAD_ARGUMENT);
    }
    assert_eq!(open.lines(&[0; 4], 2), raw::TW_OK);
}

/// What has grown since is left alone: a newer, larger record keeps its size and its end.
#[test]
fn larger_records_are_fine() {
    #[repr(C)]
    struct Larger {
        fault: raw::tw_fault,
        more: u64,
    }
    let open = Open::new();
    assert_eq!(open.end_job(), raw::TW_BAD_STATE);
    let mut larger = Larger { fault: raw::tw_fault::empty(), more: 77 };
    larger.fault.size += 8;
    let record = (&raw mut larger).cast();
    // SAFETY: the record lives through the call.
    let status = unsafe { open.table().fault.unwrap()(open.table().self_, record) };
    assert_eq!((status, larger.fault.status, larger.more), (raw::TW_OK, raw::TW_BAD_STATE, 77));
    assert_eq!(larger.fault.size, raw::tw_fault::SIZE + 8);
    assert_eq!(read_text(&larger.fault.text).unwrap(), "end_job outside a job, wanted between strips");
}

#[test]
fn order_and_counts() {
    let open = Open::new();
    assert_eq!(open.blank(1), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "blank outside a job, wanted inside a strip");
    assert_eq!(open.begin_job(&JOB), raw::TW_OK);
    assert_eq!(open.begin_strip(3, &[]), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "begin_strip before the output was taken, wanted take until it says more input");
    open.drain();
    let cut = |line, kind| raw::tw_cut { line, kind };
    assert_eq!(open.begin_strip(3, &[cut(4, 1)]), raw::TW_BAD_ARGUMENT);
    assert_eq!(open.text(), "cut 0 is at line 4, wanted 0 to 3");
    assert_eq!(open.begin_strip(3, &[cut(1, 1), cut(1, 2)]), raw::TW_BAD_ARGUMENT);
    assert_eq!(open.text(), "cut 1 is at line 1, wanted 2 to 3");
    assert_eq!(open.begin_strip(3, &[cut(1, 9)]), raw::TW_BAD_ARGUMENT);
    assert_eq!(open.begin_strip(0, &[]), raw::TW_BAD_ARGUMENT);
    assert_eq!(open.begin_strip(3, &[]), raw::TW_OK);
    open.drain();
    assert_eq!(open.lines(&[0; 8], 4), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "lines with 4 lines, wanted 1 to the 3 left of 3");
    assert_eq!(open.lines(&[0; 5], 2), raw::TW_BAD_ARGUMENT);
    assert_eq!(open.text(), "lines with 5 bytes for 2 lines, wanted 2 bytes a line");
    assert_eq!(open.blank(0), raw::TW_BAD_STATE);
    assert_eq!(open.blank(u32::MAX), raw::TW_BAD_STATE);
    assert_eq!(open.end_job(), raw::TW_BAD_STATE);
    assert_eq!(open.blank(2), raw::TW_OK);
    open.drain();
    assert_eq!(open.end_strip(), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "end_strip after 2 lines, wanted 3");
    assert_eq!(open.blank(1), raw::TW_OK);
    open.drain();
    assert_eq!(open.end_strip(), raw::TW_OK);
    open.drain();
    assert_eq!(open.begin_strip(3, &[]), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "strip has index 0, wanted 1 of 1 strips");
}

#[test]
fn a_fault_ends_the_job_and_cancel_helps() {
    let open = Open::new();
    open.begin_job(&JOB);
    open.drain();
    open.begin_strip(3, &[]);
    open.drain();
    assert_eq!(open.lines(&[0xDD, 0], 1), raw::TW_FAULT);
    let record = open.fault();
    assert_eq!((record.status, record.code, record.retry), (raw::TW_FAULT, 17, 1));
    assert_eq!(open.text(), "ribbon torn");
    assert_eq!(open.blank(1), raw::TW_BAD_STATE);
    assert_eq!(open.text(), "blank after a fault, wanted cancel");
    assert_eq!(open.cancel(), raw::TW_OK);
    assert_eq!(open.drain(), (b"reset".to_vec(), raw::TW_ACTION_DONE));
    assert_eq!(open.begin_job(&JOB), raw::TW_OK);
}

#[test]
fn panics_stay_inside() {
    let before = DROPPED.load(Ordering::SeqCst);
    let open = Open::new();
    open.begin_job(&raw::tw_job { width_um: 14, ..JOB });
    open.drain();
    open.begin_strip(3, &[]);
    open.drain();
    assert_eq!(open.lines(&[0xEE, 0], 1), raw::TW_BUG);
    assert_eq!(open.text(), "driver panicked in lines: row 0xee");
    assert_eq!(open.cancel(), raw::TW_BUG);
    assert_eq!(open.text(), "driver panicked in lines: row 0xee");
    drop(open);
    assert!(DROPPED.load(Ordering::SeqCst) > before);

    let open = Open::new();
    open.begin_job(&raw::tw_job { width_um: 13, ..JOB });
    let mut status = raw::tw_device_status::empty();
    // SAFETY: the status lives through the call.
    let result = unsafe { open.table().status.unwrap()(open.table().self_, &mut status) };
    assert_eq!(result, raw::TW_BUG);
}

#[test]
fn device_status() {
    let open = Open::new();
    open.begin_job(&JOB);
    let mut status = raw::tw_device_status::empty();
    // SAFETY: the status lives through the call.
    unsafe {
        assert_eq!(open.table().status.unwrap()(open.table().self_, &mut status), raw::TW_OK);
        assert_eq!(open.table().port_status.unwrap()(open.table().self_, 0x18), raw::TW_OK);
        assert_eq!(open.table().port_status.unwrap()(open.table().self_, 0x30), raw::TW_FAULT);
    }
    assert_eq!(open.text(), "port status 0x30");
    let flags = raw::TW_DEVICE_KNOWN | raw::TW_DEVICE_BUSY | raw::TW_DEVICE_WRONG_STOCK;
    assert_eq!((status.flags, status.found_width_um), (flags, 12_000));
    assert_eq!(read_text(&status.found_kind).unwrap(), "a kind with a name of more than");
    assert_eq!(read_text(&status.text).unwrap(), "ü".repeat(127));
}

#[test]
fn factory_and_faults_of_create() {
    let factory = factory();
    let mut driver = std::ptr::null();
    let mut record = raw::tw_fault::empty();
    let create = factory.create.unwrap();
    // SAFETY: NULL is what the kit promises to survive; the rest lives through the calls.
    unsafe {
        assert_eq!(factory.count.unwrap()(), 2);
        assert!(factory.describe.unwrap()(2).is_null());
        let demo = &*factory.describe.unwrap()(0);
        assert_eq!(CStr::from_ptr(demo.version), c"1.2.3");
        assert_eq!(demo.capabilities, raw::TW_CARRIES_HALF_CUTS | raw::TW_READS_REPLIES);
        assert_eq!((demo.option_count, demo.pattern_count), (2, 1));
        let ink = &**demo.options.add(1);
        assert_eq!((ink.type_, ink.choice_count), (raw::TW_OPTION_CHOICE, 2));
        assert_eq!(CStr::from_ptr(*ink.choices.add(1)), c"thick");
        let pattern = &**demo.patterns;
        assert_eq!((CStr::from_ptr(pattern.key), CStr::from_ptr(pattern.value)), (c"CMD", c"DEMO"));

        assert_eq!(create(c"other".as_ptr(), &HOST, &mut driver, &mut record), raw::TW_UNSUPPORTED);
        assert_eq!(read_text(&record.text).unwrap(), "no family other in this module");
        assert_eq!(create(c"refusing".as_ptr(), &HOST, &mut driver, &mut record), raw::TW_BUG);
        assert_eq!(read_text(&record.text).unwrap(), "driver panicked in create: no such luck");
        assert_eq!(create(std::ptr::null(), &HOST, &mut driver, std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        assert_eq!(create(c"demo".as_ptr(), std::ptr::null(), &mut driver, &mut record), raw::TW_BAD_ARGUMENT);
        assert_eq!(create(c"demo".as_ptr(), &HOST, std::ptr::null_mut(), &mut record), raw::TW_BAD_ARGUMENT);
        assert!(driver.is_null());

        let entry = entry::<TestModule>().entry();
        assert!(entry.get_factory.unwrap()(c"driver-factory/2".as_ptr()).is_null());
        assert!(entry.get_factory.unwrap()(std::ptr::null()).is_null());
        let extension = factory.get_extension.unwrap();
        assert!(extension(c"demo".as_ptr(), c"readback/2".as_ptr()).is_null());
        assert!(extension(c"refusing".as_ptr(), raw::TW_READBACK_ID.as_ptr()).is_null());
        assert!(extension(std::ptr::null(), std::ptr::null()).is_null());
    }
}

unsafe extern "C" fn stop_page(_: *mut c_void, _: *const raw::tw_readback_page) -> tw_status {
    raw::TW_FAULT
}
unsafe extern "C" fn keep_lines(lines: *mut c_void, rows: *const u8, len: usize, _: u32) -> tw_status {
    // SAFETY: the context is the test's vector; the rows are valid for the call.
    unsafe { (*lines.cast::<Vec<u8>>()).extend(std::slice::from_raw_parts(rows, len)) };
    raw::TW_OK
}
unsafe extern "C" fn no_blank(_: *mut c_void, _: u32) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn no_cut(_: *mut c_void, _: u32, _: u32) -> tw_status {
    raw::TW_OK
}
unsafe extern "C" fn no_end(_: *mut c_void) -> tw_status {
    raw::TW_OK
}

#[test]
fn decoders() {
    let mut lines: Vec<u8> = Vec::new();
    let events = raw::tw_readback_events {
        size: raw::tw_readback_events::SIZE,
        reserved: 0,
        context: (&raw mut lines).cast(),
        strip_begin: Some(stop_page),
        lines: Some(keep_lines),
        blank: Some(no_blank),
        cut: Some(no_cut),
        strip_end: Some(no_end),
    };
    // SAFETY: the kit's table is valid for good; all else lives through the calls.
    unsafe {
        let table = factory().get_extension.unwrap()(c"demo".as_ptr(), raw::TW_READBACK_ID.as_ptr());
        let table = &*table.cast::<raw::tw_readback>();
        assert_eq!(table.recognises.unwrap()(table.self_, b"Jx".as_ptr(), 2), 100);
        assert_eq!(table.recognises.unwrap()(table.self_, std::ptr::null(), 2), 0);
        assert_eq!(table.create.unwrap()(table.self_, std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        let open = || {
            let mut decoder = std::ptr::null();
            assert_eq!(table.create.unwrap()(table.self_, &mut decoder), raw::TW_OK);
            decoder.read()
        };
        let text = |decoder: &raw::tw_decoder| {
            let mut record = raw::tw_fault::empty();
            assert_eq!(decoder.fault.unwrap()(decoder.self_, &mut record), raw::TW_OK);
            read_text(&record.text).unwrap()
        };

        let decoder = open();
        let push = decoder.push.unwrap();
        assert_eq!(push(decoder.self_, &events, b"ab".as_ptr(), 2), raw::TW_OK);
        assert_eq!(lines, b"ab");
        assert_eq!(push(decoder.self_, &events, [0xEEu8].as_ptr(), 1), raw::TW_BUG);
        assert_eq!(text(&decoder), "driver panicked in push: byte 0xee");
        assert_eq!(push(decoder.self_, &events, b"ab".as_ptr(), 2), raw::TW_BAD_STATE);
        decoder.destroy.unwrap()(decoder.self_);

        let decoder = open();
        assert_eq!(decoder.finish.unwrap()(decoder.self_, &events), raw::TW_FAULT);
        assert_eq!(text(&decoder), "stopped by the host");
        decoder.destroy.unwrap()(decoder.self_);

        let decoder = open();
        assert_eq!(decoder.push.unwrap()(decoder.self_, std::ptr::null(), b"a".as_ptr(), 1), raw::TW_BAD_ARGUMENT);
        decoder.destroy.unwrap()(decoder.self_);

        let decoder = open();
        let lacking = raw::tw_readback_events { cut: None, ..events };
        assert_eq!(decoder.push.unwrap()(decoder.self_, &lacking, b"a".as_ptr(), 1), raw::TW_BAD_ARGUMENT);
        assert_eq!(decoder.push.unwrap()(std::ptr::null_mut(), &events, b"a".as_ptr(), 1), raw::TW_BAD_ARGUMENT);
        decoder.destroy.unwrap()(decoder.self_);
    }
}

/// A family whose file is its name; `panic` panics, `bad` is refused.
struct Learned(LearnedDescription);

impl LearnedFamily for Learned {
    fn description(&self) -> &LearnedDescription {
        &self.0
    }
    fn create(&self) -> Result<Box<dyn Driver>, Fault> {
        Err(Fault::unsupported(format!("{} prints nothing", self.0.family)))
    }
    fn reads_back(&self) -> bool {
        self.0.family.starts_with("back")
    }
    fn recognises(&self, first: &[u8]) -> u8 {
        if first == self.0.family.as_bytes() { 77 } else { 0 }
    }
}

enum LearnedModule {}

impl Module for LearnedModule {
    fn families() -> &'static Families {
        static FILES: FamilyFiles = FamilyFiles {
            suffix: "fam",
            built_in: &[("first.fam", "first")],
            read: |name, text| match text {
                "panic" => panic!("{name} is too much"),
                "bad" => Err(Fault::argument("line 1: found bad, wanted good")),
                family => {
                    Ok(Box::new(Learned(LearnedDescription { family: family.into(), ..LearnedDescription::default() })))
                }
            },
        };
        static FAMILIES: Families = Families::learned(&FILES);
        &FAMILIES
    }
}

#[test]
fn families_are_learned() {
    // SAFETY: the kit's tables are valid for good; strings and records live through the calls.
    unsafe {
        let get_factory = entry::<LearnedModule>().entry().get_factory.unwrap();
        let factory = &*get_factory(raw::TW_FACTORY_ID.as_ptr()).cast::<raw::tw_factory>();
        let files = get_factory(raw::TW_FAMILY_FILES_ID.as_ptr()).cast::<raw::tw_family_files>();
        assert_eq!(files, get_factory(raw::TW_FAMILY_FILES_ID.as_ptr()).cast());
        let files = &*files;
        assert_eq!(CStr::from_ptr(files.suffix), c"fam");
        let add = |text: &CStr| {
            let mut record = raw::tw_fault::empty();
            let status = files.add.unwrap()(c"a.fam".as_ptr(), text.as_ptr(), &mut record);
            (status, read_text(&record.text).unwrap())
        };
        assert_eq!(add(c"second"), (raw::TW_OK, String::new()));
        assert_eq!(add(c"bad"), (raw::TW_BAD_ARGUMENT, "line 1: found bad, wanted good".into()));
        assert_eq!(add(c"panic"), (raw::TW_BUG, "driver panicked in add: a.fam is too much".into()));
        let twice = "key family: found first, which is there already, wanted a new name";
        assert_eq!(add(c"first"), (raw::TW_BAD_ARGUMENT, twice.into()));
        assert_eq!(files.add.unwrap()(std::ptr::null(), c"x".as_ptr(), std::ptr::null_mut()), raw::TW_BAD_ARGUMENT);
        assert_eq!(add(c"back-1"), (raw::TW_OK, String::new()));
        assert_eq!(add(c"back-2"), (raw::TW_OK, String::new()));

        let name = |index| CStr::from_ptr((*factory.describe.unwrap()(index)).family);
        assert_eq!(factory.count.unwrap()(), 4);
        assert_eq!([name(0), name(1), name(2), name(3)], [c"first", c"second", c"back-1", c"back-2"]);
        assert!(factory.describe.unwrap()(4).is_null());

        let mut driver = std::ptr::null();
        let mut record = raw::tw_fault::empty();
        let status = factory.create.unwrap()(c"second".as_ptr(), &HOST, &mut driver, &mut record);
        assert_eq!((status, read_text(&record.text).unwrap().as_str()), (raw::TW_UNSUPPORTED, "second prints nothing"));

        // Each table finds its own family.
        let readback = |family: &CStr| {
            factory.get_extension.unwrap()(family.as_ptr(), raw::TW_READBACK_ID.as_ptr()).cast::<raw::tw_readback>()
        };
        assert!(readback(c"second").is_null());
        for (family, score) in [(c"back-1", 77), (c"back-2", 0)] {
            let table = &*readback(family);
            assert_eq!(table.recognises.unwrap()(table.self_, b"back-1".as_ptr(), 6), score);
            assert_eq!(table.recognises.unwrap()(std::ptr::null_mut(), b"back-1".as_ptr(), 6), 0);
            let mut decoder = std::ptr::null();
            assert_eq!(table.create.unwrap()(table.self_, &mut decoder), raw::TW_UNSUPPORTED);
        }
        assert!(entry::<TestModule>().entry().get_factory.unwrap()(raw::TW_FAMILY_FILES_ID.as_ptr()).is_null());
    }
}
