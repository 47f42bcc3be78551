//! Making a module of families.

use std::ffi::{CStr, CString, c_char, c_void};
use std::marker::PhantomData;
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use tapewright_abi::LinkedEntry;
use tapewright_abi::raw::{self, Sized32, tw_status};

use crate::call;
use crate::decoder::Decoder;
use crate::instance::Instance;
use crate::{
    Description, Driver, Family, FamilyFiles, Fault, LearnedFamily, OptionKind, OptionSpec, Readback, ReadbackKind,
};

/// Exports a driver module with the given families, or one that learns them from files.
///
/// Used once in the root of a `cdylib` crate, as `export_driver!(First, Second)` with types that
/// are a [`Family`], or as `export_driver!(files: FILES)` with a constant [`FamilyFiles`]. It makes
/// the one symbol a module exports, and a function `linked_entry` for the crate's own tests. The
/// crate may forbid unsafe code.
#[macro_export]
macro_rules! export_driver {
    (files: $files:path) => {
        $crate::export_driver!(@families $crate::Families::learned(&$files));
    };
    ($($family:ty),+ $(,)?) => {
        $crate::export_driver!(@families $crate::Families::new(&[$($crate::FamilyEntry::of::<$family>()),+]));
    };
    (@families $families:expr) => {
        /// This module and its families.
        #[derive(Debug, Clone, Copy)]
        pub enum DriverModule {}

        impl $crate::Module for DriverModule {
            fn families() -> &'static $crate::Families {
                static FAMILIES: $crate::Families = $families;
                &FAMILIES
            }
        }

        /// The entry of this module when it is linked instead of loaded, for tests.
        pub fn linked_entry() -> $crate::abi::LinkedEntry {
            $crate::entry::<DriverModule>()
        }

        /// The one symbol a driver module exports.
        #[unsafe(no_mangle)]
        pub extern "C" fn tapewright_driver_entry() -> *const $crate::abi::raw::tw_entry {
            linked_entry().entry()
        }
    };
}

/// A set of families; implemented by [`export_driver!`], and by tests that need several modules in
/// one program, where the exported symbols would collide.
pub trait Module: 'static {
    /// The families.
    fn families() -> &'static Families;
}

/// The entry of a module linked into this program.
pub fn entry<M: Module>() -> LinkedEntry {
    // SAFETY: the tables below and the fences they lead to keep what driver.h asks.
    unsafe { LinkedEntry::new(Tables::<M>::ENTRY) }
}

/// A host takes a module with more for one that is not in order.
const MOST_FAMILIES: usize = 1000;

/// The families of a module.
#[derive(Debug)]
pub struct Families {
    written: &'static [FamilyEntry],
    files: Option<&'static FamilyFiles>,
    /// What the host is told; grows when a file is added. Entries are never taken away.
    shown: OnceLock<Mutex<Vec<&'static Shown>>>,
    table: OnceLock<raw::tw_family_files>,
}

/// A family as it stands in [`Families`].
#[derive(Debug, Clone, Copy)]
pub struct FamilyEntry {
    description: &'static Description,
    create: fn() -> Result<Box<dyn Driver>, Fault>,
    readback: Option<ReadbackKind>,
}

impl FamilyEntry {
    /// The entry of family `F`.
    pub const fn of<F: Family>() -> FamilyEntry {
        FamilyEntry { description: &F::DESCRIPTION, create: F::create, readback: F::READBACK }
    }
}

impl Families {
    /// These families, in this order.
    pub const fn new(families: &'static [FamilyEntry]) -> Families {
        Families { written: families, files: None, shown: OnceLock::new(), table: OnceLock::new() }
    }

    /// The families built in, then those the host adds from files.
    pub const fn learned(files: &'static FamilyFiles) -> Families {
        Families { written: &[], files: Some(files), shown: OnceLock::new(), table: OnceLock::new() }
    }

    fn shown(&self) -> MutexGuard<'_, Vec<&'static Shown>> {
        let shown = self.shown.get_or_init(|| {
            let written = self
                .written
                .iter()
                .map(|entry| Shown::new(entry.description, entry.description.options, Source::Written(*entry)));
            let mut shown: Vec<&'static Shown> = written.collect();
            if let Some(files) = self.files {
                for (name, text) in files.built_in {
                    let family = (files.read)(name, text);
                    shown.push(Shown::learn(family.unwrap_or_else(|fault| panic!("{name} is built in: {fault}"))));
                }
            }
            Mutex::new(shown)
        });
        // A panic while the lock is held leaves the list as it was.
        shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn find(&self, family: &CStr) -> Option<&'static Shown> {
        let family = family.to_str().ok()?;
        self.shown().iter().find(|shown| shown.family == family).copied()
    }

    /// Adds the family in a file.
    fn add(&self, name: &str, text: &str) -> Result<(), Fault> {
        let files = self.files.ok_or_else(|| Fault::unsupported("this module learns no families"))?;
        let family = (files.read)(name, text)?;
        let id = family.description().family.clone();
        let mut shown = self.shown();
        if shown.iter().any(|shown| shown.family == id) {
            return Err(Fault::argument(format!("key family: found {id}, which is there already, wanted a new name")));
        }
        if shown.len() >= MOST_FAMILIES {
            return Err(Fault::limit(format!("there are {MOST_FAMILIES} families already, wanted no more")));
        }
        shown.push(Shown::learn(family));
        Ok(())
    }
}

/// What stands behind a family.
enum Source {
    Written(FamilyEntry),
    Learned(Box<dyn LearnedFamily>),
}

impl Source {
    fn create(&self) -> Result<Box<dyn Driver>, Fault> {
        match self {
            Source::Written(entry) => (entry.create)(),
            Source::Learned(family) => family.create(),
        }
    }

    fn recognises(&self, first: &[u8]) -> u8 {
        match self {
            Source::Written(entry) => entry.readback.map_or(0, |readback| (readback.recognises)(first)),
            Source::Learned(family) => family.recognises(first),
        }
    }

    fn decoder(&self) -> Option<Box<dyn Readback>> {
        match self {
            Source::Written(entry) => entry.readback.map(|readback| (readback.create)()),
            Source::Learned(family) => family.decoder(),
        }
    }

    fn reads_back(&self) -> bool {
        match self {
            Source::Written(entry) => entry.readback.is_some(),
            Source::Learned(family) => family.reads_back(),
        }
    }
}

/// A family as the host sees it. It and what it points to were leaked, once for each family:
/// driver.h wants them valid for good.
struct Shown {
    family: String,
    descriptor: raw::tw_descriptor,
    options: &'static [OptionSpec],
    source: Source,
    /// Its `self` is the `Source` above.
    readback: OnceLock<raw::tw_readback>,
}

// SAFETY: nothing the descriptor points to is ever written again, and the readback table points to
// the source beside it; the source is Send and Sync itself.
unsafe impl Send for Shown {}
// SAFETY: see above.
unsafe impl Sync for Shown {}

impl std::fmt::Debug for Shown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Shown").field(&self.family).finish()
    }
}

impl Shown {
    fn learn(family: Box<dyn LearnedFamily>) -> &'static Shown {
        let description = family.description().leaked();
        Shown::new(&description, description.options, Source::Learned(family))
    }

    fn new(description: &Description, options: &'static [OptionSpec], source: Source) -> &'static Shown {
        Box::leak(Box::new(Shown {
            family: description.family.to_owned(),
            descriptor: descriptor(description),
            options,
            source,
            readback: OnceLock::new(),
        }))
    }

    fn readback(&'static self) -> Option<&'static raw::tw_readback> {
        self.source.reads_back().then(|| {
            self.readback.get_or_init(|| raw::tw_readback {
                size: raw::tw_readback::SIZE,
                reserved: 0,
                self_: (&raw const self.source).cast_mut().cast(),
                recognises: Some(recognises),
                create: Some(create_decoder),
            })
        })
    }
}

fn descriptor(description: &Description) -> raw::tw_descriptor {
    let options = description.options.iter().map(|option| {
        let (type_, min, max, choices): (_, _, _, &[&str]) = match option.kind {
            OptionKind::Bool => (raw::TW_OPTION_BOOL, 0, 0, &[]),
            OptionKind::Int { min, max } => (raw::TW_OPTION_INT, min, max, &[]),
            OptionKind::Text => (raw::TW_OPTION_STRING, 0, 0, &[]),
            OptionKind::Choice(choices) => (raw::TW_OPTION_CHOICE, 0, 0, choices),
        };
        leak(raw::tw_option {
            size: raw::tw_option::SIZE,
            type_,
            id: text(option.id),
            default_text: text(option.default),
            help: text(option.help),
            min,
            max,
            choices: array(choices.iter().map(|choice| text(choice))),
            choice_count: count(choices),
            reserved: 0,
        })
    });
    let patterns = description.patterns.iter().map(|(key, value)| {
        leak(raw::tw_pattern { size: raw::tw_pattern::SIZE, reserved: 0, key: text(key), value: text(value) })
    });
    raw::tw_descriptor {
        size: raw::tw_descriptor::SIZE,
        capabilities: description.capabilities.to_raw(),
        family: text(description.family),
        title: text(description.title),
        version: text(description.version),
        description: text(description.description),
        options: array(options),
        patterns: array(patterns),
        option_count: count(description.options),
        pattern_count: count(description.patterns),
    }
}

fn leak<T>(value: T) -> *const T {
    Box::leak(Box::new(value))
}

fn array<T>(values: impl Iterator<Item = *const T>) -> *const *const T {
    Vec::leak(values.collect()).as_ptr()
}

fn text(text: &str) -> *const c_char {
    // A NUL in a description is the driver's mistake; the host sees what stands before it.
    let text = text.split('\0').next().unwrap_or("");
    CString::new(text).unwrap_or_default().into_raw()
}

fn count<T>(values: &[T]) -> u32 {
    u32::try_from(values.len()).unwrap_or(u32::MAX)
}

struct Tables<M>(PhantomData<M>);

impl<M: Module> Tables<M> {
    const ENTRY: &'static raw::tw_entry = &raw::tw_entry {
        size: raw::tw_entry::SIZE,
        major: raw::TW_MAJOR,
        minor: raw::TW_MINOR,
        reserved: 0,
        get_factory: Some(get_factory::<M>),
    };

    const FACTORY: &'static raw::tw_factory = &raw::tw_factory {
        size: raw::tw_factory::SIZE,
        reserved: 0,
        count: Some(family_count::<M>),
        describe: Some(describe::<M>),
        create: Some(create::<M>),
        get_extension: Some(get_extension::<M>),
    };
}

/// The table of a module that learns families; it stands in the module's own static.
fn family_files<M: Module>(files: &FamilyFiles) -> *const raw::tw_family_files {
    M::families().table.get_or_init(|| raw::tw_family_files {
        size: raw::tw_family_files::SIZE,
        reserved: 0,
        suffix: text(files.suffix),
        add: Some(add::<M>),
    })
}

unsafe extern "C" fn get_factory<M: Module>(id: *const c_char) -> *const c_void {
    if id.is_null() {
        return std::ptr::null();
    }
    // SAFETY: driver.h: a string, valid for the call.
    let id = unsafe { CStr::from_ptr(id) };
    if id == raw::TW_FACTORY_ID {
        return std::ptr::from_ref(Tables::<M>::FACTORY).cast();
    }
    match M::families().files {
        Some(files) if id == raw::TW_FAMILY_FILES_ID => family_files::<M>(files).cast(),
        _ => std::ptr::null(),
    }
}

unsafe extern "C" fn add<M: Module>(
    name: *const c_char,
    family: *const c_char,
    fault: *mut raw::tw_fault,
) -> tw_status {
    let result = call::fenced("add", || {
        // SAFETY: driver.h: strings, valid for the call.
        let (name, family) = unsafe { (call::text(name, "name")?, call::text(family, "text")?) };
        M::families().add(name, family)
    });
    match result {
        Ok(()) => raw::TW_OK,
        Err(error) => {
            // As in create.
            // SAFETY: driver.h: a record to fill, or NULL.
            let _ = unsafe { call::fill(fault, error.to_raw(), "fault") };
            error.kind.to_raw()
        }
    }
}

unsafe extern "C" fn family_count<M: Module>() -> u32 {
    call::fenced("count", || Ok(count(&M::families().shown()))).unwrap_or(0)
}

unsafe extern "C" fn describe<M: Module>(index: u32) -> *const raw::tw_descriptor {
    let find = || {
        let shown = M::families().shown().get(index as usize).copied();
        Ok(shown.map_or(std::ptr::null(), |shown| &raw const shown.descriptor))
    };
    call::fenced("describe", find).unwrap_or(std::ptr::null())
}

unsafe extern "C" fn create<M: Module>(
    family: *const c_char,
    host: *const raw::tw_host,
    out: *mut *const raw::tw_driver,
    fault: *mut raw::tw_fault,
) -> tw_status {
    let result = call::fenced("create", || {
        if family.is_null() || out.is_null() || !out.is_aligned() {
            return Err(Fault::argument(format!("create with family at {family:?} and out at {out:?}, wanted both")));
        }
        // SAFETY: driver.h: a host, valid for the instance.
        let host = unsafe { call::record(host, "host") }?;
        // SAFETY: driver.h: a string, valid for the call.
        let family = unsafe { CStr::from_ptr(family) };
        let shown = M::families()
            .find(family)
            .ok_or_else(|| Fault::unsupported(format!("no family {} in this module", family.to_string_lossy())))?;
        let driver = shown.source.create()?;
        Ok(Instance::open(driver, shown.options, host))
    });
    match result {
        Ok(driver) => {
            // SAFETY: not NULL, aligned; driver.h: the host's pointer to set.
            unsafe { out.write(driver) };
            raw::TW_OK
        }
        Err(error) => {
            // Whoever gives no record, or one too small, hears the status only.
            // SAFETY: driver.h: a record to fill, or NULL.
            let _ = unsafe { call::fill(fault, error.to_raw(), "fault") };
            error.kind.to_raw()
        }
    }
}

unsafe extern "C" fn get_extension<M: Module>(family: *const c_char, id: *const c_char) -> *const c_void {
    if family.is_null() || id.is_null() {
        return std::ptr::null();
    }
    // SAFETY: driver.h: strings, valid for the call.
    let (family, id) = unsafe { (CStr::from_ptr(family), CStr::from_ptr(id)) };
    let find = || Ok(M::families().find(family).and_then(Shown::readback));
    match call::fenced("get_extension", find) {
        Ok(Some(table)) if id == raw::TW_READBACK_ID => std::ptr::from_ref(table).cast(),
        _ => std::ptr::null(),
    }
}

/// # Safety
///
/// `source` is NULL or the `self` of a table made by [`Shown::readback`].
unsafe fn source(source: *mut c_void) -> Result<&'static Source, Fault> {
    // SAFETY: the caller's promise; a source is leaked and never written.
    unsafe { source.cast_const().cast::<Source>().as_ref() }
        .ok_or_else(|| Fault::argument("readback without its self, wanted the one in its table"))
}

unsafe extern "C" fn recognises(this: *mut c_void, first: *const u8, len: usize) -> u32 {
    let score = call::fenced("recognises", || {
        // SAFETY: driver.h: the table's own pointer, and `len` bytes, valid for the call.
        let (source, first) = unsafe { (source(this)?, call::bytes(first, len, "stream")?) };
        Ok(source.recognises(first).min(100))
    });
    score.map_or(0, u32::from)
}

unsafe extern "C" fn create_decoder(this: *mut c_void, out: *mut *const raw::tw_decoder) -> tw_status {
    if out.is_null() || !out.is_aligned() {
        return raw::TW_BAD_ARGUMENT;
    }
    // SAFETY: driver.h: the table's own pointer.
    let decoder = call::fenced("create", || Ok(unsafe { source(this) }?.decoder()));
    match decoder {
        Ok(Some(decoder)) => {
            // SAFETY: not NULL, aligned; driver.h: the host's pointer to set.
            unsafe { out.write(Decoder::open(decoder)) };
            raw::TW_OK
        }
        Ok(None) => raw::TW_UNSUPPORTED,
        Err(fault) => fault.kind.to_raw(),
    }
}
