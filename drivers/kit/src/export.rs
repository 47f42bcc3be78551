//! Making a module of families.

use std::ffi::{CStr, CString, c_char, c_void};
use std::marker::PhantomData;
use std::sync::OnceLock;

use tapewright_abi::LinkedEntry;
use tapewright_abi::raw::{self, Sized32, tw_status};

use crate::call;
use crate::decoder::Decoder;
use crate::instance::Instance;
use crate::{Description, Driver, Family, Fault, OptionKind};

/// Exports a driver module with the given families.
///
/// Used once in the root of a `cdylib` crate. It makes the one symbol a module exports, and a
/// function `linked_entry` for the crate's own tests. The crate may forbid unsafe code.
#[macro_export]
macro_rules! export_driver {
    ($($family:ty),+ $(,)?) => {
        /// This module and its families.
        #[derive(Debug, Clone, Copy)]
        pub enum DriverModule {}

        impl $crate::Module for DriverModule {
            fn families() -> &'static $crate::Families {
                static FAMILIES: $crate::Families =
                    $crate::Families::new(&[$($crate::FamilyEntry::of::<$family>()),+]);
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

/// The families of a module.
#[derive(Debug)]
pub struct Families {
    families: &'static [FamilyEntry],
    descriptors: OnceLock<Vec<Descriptor>>,
}

/// A family as it stands in [`Families`].
#[derive(Debug, Clone, Copy)]
pub struct FamilyEntry {
    description: &'static Description,
    create: fn() -> Result<Box<dyn Driver>, Fault>,
    readback: Option<&'static raw::tw_readback>,
}

impl FamilyEntry {
    /// The entry of family `F`.
    pub const fn of<F: Family>() -> FamilyEntry {
        FamilyEntry {
            description: &F::DESCRIPTION,
            create: F::create,
            readback: match F::READBACK {
                Some(_) => Some(ReadbackTable::<F>::TABLE),
                None => None,
            },
        }
    }
}

impl Families {
    /// These families, in this order.
    pub const fn new(families: &'static [FamilyEntry]) -> Families {
        Families { families, descriptors: OnceLock::new() }
    }

    fn descriptors(&self) -> &[Descriptor] {
        self.descriptors.get_or_init(|| {
            let descriptions = self.families.iter().map(|family| family.description);
            descriptions.map(Descriptor::new).collect()
        })
    }

    fn find(&self, family: &CStr) -> Option<&FamilyEntry> {
        let family = family.to_str().ok()?;
        self.families.iter().find(|entry| entry.description.family == family)
    }
}

/// A descriptor for the host. What it points to was leaked: driver.h wants it valid for good.
#[derive(Debug)]
struct Descriptor(raw::tw_descriptor);

// SAFETY: nothing it points to is ever written again.
unsafe impl Send for Descriptor {}
// SAFETY: see above.
unsafe impl Sync for Descriptor {}

impl Descriptor {
    fn new(description: &Description) -> Descriptor {
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
        Descriptor(raw::tw_descriptor {
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
        })
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

unsafe extern "C" fn get_factory<M: Module>(id: *const c_char) -> *const c_void {
    if id.is_null() {
        return std::ptr::null();
    }
    // SAFETY: driver.h: a string, valid for the call.
    if unsafe { CStr::from_ptr(id) } == raw::TW_FACTORY_ID {
        std::ptr::from_ref(Tables::<M>::FACTORY).cast()
    } else {
        std::ptr::null()
    }
}

unsafe extern "C" fn family_count<M: Module>() -> u32 {
    call::fenced("count", || Ok(count(M::families().families))).unwrap_or(0)
}

unsafe extern "C" fn describe<M: Module>(index: u32) -> *const raw::tw_descriptor {
    let find = || {
        let descriptor = M::families().descriptors().get(index as usize);
        Ok(descriptor.map_or(std::ptr::null(), |descriptor| &raw const descriptor.0))
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
        let entry = M::families()
            .find(family)
            .ok_or_else(|| Fault::unsupported(format!("no family {} in this module", family.to_string_lossy())))?;
        let driver = (entry.create)()?;
        Ok(Instance::open(driver, entry.description.options, host))
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
    let find = || Ok(M::families().find(family).and_then(|entry| entry.readback));
    match call::fenced("get_extension", find) {
        Ok(Some(table)) if id == raw::TW_READBACK_ID => std::ptr::from_ref(table).cast(),
        _ => std::ptr::null(),
    }
}

struct ReadbackTable<F>(PhantomData<F>);

impl<F: Family> ReadbackTable<F> {
    const TABLE: &'static raw::tw_readback = &raw::tw_readback {
        size: raw::tw_readback::SIZE,
        reserved: 0,
        recognises: Some(recognises::<F>),
        create: Some(create_decoder::<F>),
    };
}

unsafe extern "C" fn recognises<F: Family>(first: *const u8, len: usize) -> u32 {
    let score = call::fenced("recognises", || {
        // SAFETY: driver.h: `len` bytes, valid for the call.
        let first = unsafe { call::bytes(first, len, "stream") }?;
        Ok(F::READBACK.map_or(0, |readback| (readback.recognises)(first).min(100)))
    });
    score.map_or(0, u32::from)
}

unsafe extern "C" fn create_decoder<F: Family>(out: *mut *const raw::tw_decoder) -> tw_status {
    if out.is_null() || !out.is_aligned() {
        return raw::TW_BAD_ARGUMENT;
    }
    let decoder = call::fenced("create", || Ok(F::READBACK.map(|readback| (readback.create)())));
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
