//! A module and its families.

use std::collections::BTreeMap;
use std::ffi::{CString, c_void};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tapewright_abi::LinkedEntry;
use tapewright_abi::raw::{self, Sized32};
use tapewright_abi::value::LogLevel;

use crate::foreign;
use crate::instance::Instance;
use crate::session::Session;
use crate::{FamilyInfo, HostError, OptionInfo, OptionType, Pattern, Readback, learn, library, search};

/// A driver module, ready to open sessions.
///
/// # Guarantees
///
/// - A file is loaded once in a process and never unloaded; loading it again gives the same
///   module.
/// - What [`Module::families`] says was checked: strings are UTF-8, ids are unique, defaults are
///   values their option takes.
#[derive(Debug, Clone, Copy)]
pub struct Module(&'static Inner);

#[derive(Debug)]
struct Inner {
    name: String,
    path: Option<PathBuf>,
    factory: &'static raw::tw_factory,
    families: Vec<FamilyInfo>,
}

static LOADED: Mutex<BTreeMap<PathBuf, Module>> = Mutex::new(BTreeMap::new());

fn loaded() -> MutexGuard<'static, BTreeMap<PathBuf, Module>> {
    // A panic while the lock is held leaves the map as it was.
    LOADED.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Module {
    /// Loads the module in this file.
    ///
    /// # Errors
    ///
    /// [`HostError::Load`] when the file cannot be read, may be written by others than the
    /// program, is no shared library for this machine, exports no entry, or speaks another major version;
    /// [`HostError::Broken`] when its description of itself is not in order.
    pub fn load(path: &Path) -> Result<Module, HostError> {
        Module::load_with_files(path, &[]).map(|(module, _)| module)
    }

    /// Loads the module in this file, and lets it learn families from the files in `folders`, when
    /// it does so. Also gives the files it refused. A module that was loaded before stays as it
    /// is.
    ///
    /// # Errors
    ///
    /// As [`Module::load`].
    pub fn load_with_files(path: &Path, folders: &[PathBuf]) -> Result<(Module, Vec<HostError>), HostError> {
        let canonical = path
            .canonicalize()
            .map_err(|error| HostError::Load { path: path.to_owned(), problem: error.to_string() })?;
        // Held while loading, so that two threads do not load the same file.
        let mut modules = loaded();
        if let Some(module) = modules.get(&canonical) {
            return Ok((*module, Vec::new()));
        }
        let entry = library::open(&canonical)?;
        let name = canonical
            .file_name()
            .and_then(|name| name.to_str())
            .and_then(search::module_name)
            .map_or_else(|| canonical.display().to_string(), str::to_owned);
        let (module, refused) = Module::new(name, Some(canonical.clone()), entry, folders)?;
        modules.insert(canonical, module);
        Ok((module, refused))
    }

    /// Opens a module that is linked into this program, for tests. `name` stands in messages.
    ///
    /// # Errors
    ///
    /// As [`Module::load`].
    pub fn from_entry(name: &str, entry: LinkedEntry) -> Result<Module, HostError> {
        Module::new(name.to_owned(), None, entry, &[]).map(|(module, _)| module)
    }

    /// As [`Module::from_entry`], with files as in [`Module::load_with_files`].
    ///
    /// # Errors
    ///
    /// As [`Module::load`].
    pub fn from_entry_with_files(
        name: &str,
        entry: LinkedEntry,
        folders: &[PathBuf],
    ) -> Result<(Module, Vec<HostError>), HostError> {
        Module::new(name.to_owned(), None, entry, folders)
    }

    fn new(
        name: String,
        path: Option<PathBuf>,
        entry: LinkedEntry,
        folders: &[PathBuf],
    ) -> Result<(Module, Vec<HostError>), HostError> {
        let refuse =
            |problem: String| HostError::Load { path: path.clone().unwrap_or_else(|| PathBuf::from(&name)), problem };
        let broken = |what: String| HostError::Broken { module: name.clone(), what };
        let entry = entry.entry();
        if entry.size < raw::tw_entry::SIZE {
            return Err(refuse(format!("its entry has {} bytes, wanted at least {}", entry.size, raw::tw_entry::SIZE)));
        }
        if entry.major != raw::TW_MAJOR {
            return Err(refuse(format!(
                "speaks version {}.{} of the driver interface, wanted {}.x; get a module built for it",
                entry.major,
                entry.minor,
                raw::TW_MAJOR
            )));
        }
        let get_factory = entry.get_factory.ok_or_else(|| broken("its entry has no get_factory".into()))?;
        // SAFETY: [any-thread]; the id is a NUL-terminated constant.
        let factory: *const raw::tw_factory = unsafe { get_factory(raw::TW_FACTORY_ID.as_ptr()) }.cast();
        if factory.is_null() {
            return Err(refuse("offers no factory driver-factory/1".into()));
        }
        // SAFETY: driver.h: a pointer to a factory that starts with its size.
        unsafe { foreign::record(factory, "its factory") }.map_err(broken)?;
        // SAFETY: not NULL, aligned and large enough as `record` found; valid for good (driver.h).
        let factory = unsafe { &*factory };
        // SAFETY: [any-thread]; the id is a NUL-terminated constant.
        let files: *const raw::tw_family_files = unsafe { get_factory(raw::TW_FAMILY_FILES_ID.as_ptr()) }.cast();
        let refused = if files.is_null() {
            Vec::new()
        } else {
            // SAFETY: driver.h: the factory of this id, which starts with its size.
            let files = unsafe { foreign::record(files, "its family-files") }.map_err(broken)?;
            // SAFETY: the record came from the module.
            unsafe { learn::add_families(&name, &files, folders) }.map_err(broken)?
        };
        let families = families(factory).map_err(broken)?;
        Ok((Module(Box::leak(Box::new(Inner { name, path, factory, families }))), refused))
    }

    /// Name of the module: the middle of its file name.
    pub fn name(&self) -> &str {
        &self.0.name
    }

    /// Its file; `None` for a module linked into this program.
    pub fn path(&self) -> Option<&Path> {
        self.0.path.as_deref()
    }

    /// Its families, in its own order.
    pub fn families(&self) -> &[FamilyInfo] {
        &self.0.families
    }

    /// The family with this id.
    pub fn family(&self, id: &str) -> Option<&FamilyInfo> {
        self.0.families.iter().find(|family| family.id == id)
    }

    /// Opens a session that drops what the driver logs.
    ///
    /// # Errors
    ///
    /// [`HostError::NoFamily`], or what the driver reports.
    pub fn open(&self, family: &str) -> Result<Session, HostError> {
        self.open_with_log(family, |_, _| {})
    }

    /// Opens a session; `log` gets what the driver logs, on the thread that calls the session.
    ///
    /// # Errors
    ///
    /// As [`Module::open`].
    pub fn open_with_log(
        &self,
        family: &str,
        log: impl FnMut(LogLevel, &str) + Send + 'static,
    ) -> Result<Session, HostError> {
        let id = self.family_id(family)?;
        Instance::create(self.name(), self.0.factory, &id, Box::new(log))
            .map(|instance| Session::new(self.name(), instance))
    }

    /// An instance without a session around it, for the validator.
    pub(crate) fn instance(&self, family: &str) -> Result<Instance, HostError> {
        let id = self.family_id(family)?;
        Instance::create(self.name(), self.0.factory, &id, Box::new(|_, _| {}))
    }

    /// How to read a stream of this family back; `None` when the driver cannot.
    ///
    /// # Errors
    ///
    /// [`HostError::NoFamily`]; [`HostError::Broken`] when the extension is not in order.
    pub fn readback(&self, family: &str) -> Result<Option<Readback>, HostError> {
        let id = self.family_id(family)?;
        let Some(get_extension) = self.0.factory.get_extension else {
            return Ok(None);
        };
        // SAFETY: [any-thread]; both ids are NUL-terminated and live through the call.
        let table: *const c_void = unsafe { get_extension(id.as_ptr(), raw::TW_READBACK_ID.as_ptr()) };
        if table.is_null() {
            return Ok(None);
        }
        // SAFETY: driver.h: the extension of this id starts with its size and is valid for good.
        let table = unsafe { foreign::record(table.cast::<raw::tw_readback>(), "its readback") }
            .map_err(|what| self.broken(what))?;
        Readback::new(self.name(), table).map(Some)
    }

    fn family_id(&self, family: &str) -> Result<CString, HostError> {
        self.family(family).and_then(|info| CString::new(info.id.as_str()).ok()).ok_or_else(|| HostError::NoFamily {
            module: self.0.name.clone(),
            family: family.to_owned(),
            known: self.0.families.iter().map(|info| info.id.clone()).collect(),
        })
    }

    fn broken(&self, what: String) -> HostError {
        HostError::Broken { module: self.0.name.clone(), what }
    }
}

fn families(factory: &raw::tw_factory) -> Result<Vec<FamilyInfo>, String> {
    const MOST: u32 = 1000;
    let count = factory.count.ok_or("its factory has no count")?;
    let describe = factory.describe.ok_or("its factory has no describe")?;
    factory.create.ok_or("its factory has no create")?;
    // SAFETY: [any-thread], no arguments.
    let count = unsafe { count() };
    if count == 0 || count > MOST {
        return Err(format!("it has {count} families, wanted 1 to {MOST}"));
    }
    let mut families: Vec<FamilyInfo> = Vec::new();
    for index in 0..count {
        let what = format!("descriptor {index}");
        // SAFETY: [any-thread].
        let descriptor = unsafe { describe(index) };
        // SAFETY: driver.h: a pointer to a descriptor that starts with its size.
        let descriptor = unsafe { foreign::record(descriptor, &what) }?;
        // SAFETY: the record came from the module, as `family` wants.
        let family = unsafe { family(&descriptor, &what) }?;
        if families.iter().any(|known| known.id == family.id) {
            return Err(format!("it describes family {} twice", family.id));
        }
        families.push(family);
    }
    Ok(families)
}

/// # Safety
///
/// The descriptor was filled by a module, so that its pointers are as driver.h says.
unsafe fn family(descriptor: &raw::tw_descriptor, what: &str) -> Result<FamilyInfo, String> {
    // SAFETY: driver.h: strings, NUL-terminated, valid for the module. The same for those below.
    let text = |pointer, field: &str| unsafe { foreign::text(pointer, &format!("{what}, {field}")) };
    let id = text(descriptor.family, "family")?;
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    if id.is_empty() || !id.bytes().all(plain) {
        return Err(format!("{what} has family id {id:?}, wanted lower case letters, digits and hyphens"));
    }
    let mut family = FamilyInfo {
        title: text(descriptor.title, "title")?,
        version: text(descriptor.version, "version")?,
        description: text(descriptor.description, "description")?,
        capabilities: descriptor.capabilities,
        options: Vec::new(),
        patterns: Vec::new(),
        id,
    };
    // SAFETY: driver.h: an array of option_count pointers, valid for the module.
    let options =
        unsafe { foreign::pointers(descriptor.options, descriptor.option_count, &format!("{what}, options")) }?;
    for option in options {
        // SAFETY: driver.h: each points to an option that starts with its size.
        let option = unsafe { foreign::record(option, &format!("{what}, an option")) }?;
        // SAFETY: the record came from the module.
        let option = unsafe { option_info(&option, what) }?;
        if family.option(&option.id).is_some() {
            return Err(format!("{what} has option {} twice", option.id));
        }
        family.options.push(option);
    }
    // SAFETY: driver.h: an array of pattern_count pointers, valid for the module.
    let patterns =
        unsafe { foreign::pointers(descriptor.patterns, descriptor.pattern_count, &format!("{what}, patterns")) }?;
    for pattern in patterns {
        // SAFETY: driver.h: each points to a pattern that starts with its size.
        let pattern = unsafe { foreign::record(pattern, &format!("{what}, a pattern")) }?;
        family.patterns.push(Pattern {
            key: text(pattern.key, "key of a pattern")?,
            value: text(pattern.value, "value of a pattern")?,
        });
    }
    Ok(family)
}

/// # Safety
///
/// The option was filled by a module, so that its pointers are as driver.h says.
unsafe fn option_info(option: &raw::tw_option, what: &str) -> Result<OptionInfo, String> {
    // SAFETY: driver.h: strings, NUL-terminated, valid for the module.
    let text = |pointer, field: &str| unsafe { foreign::text(pointer, &format!("{what}, {field}")) };
    let id = text(option.id, "id of an option")?;
    let default = text(option.default_text, &format!("default of option {id}"))?;
    let help = text(option.help, &format!("help of option {id}"))?;
    let kind = match option.type_ {
        raw::TW_OPTION_BOOL => OptionType::Bool,
        raw::TW_OPTION_INT => OptionType::Int { min: option.min, max: option.max },
        raw::TW_OPTION_STRING => OptionType::Text,
        raw::TW_OPTION_CHOICE => {
            let what = format!("choices of option {id}");
            // SAFETY: driver.h: an array of choice_count strings, valid for the module.
            let choices = unsafe { foreign::pointers(option.choices, option.choice_count, &what) }?;
            let choices = choices.into_iter().map(|choice| text(choice, &what));
            OptionType::Choice(choices.collect::<Result<_, _>>()?)
        }
        other => {
            return Err(format!("{what}: option {id} has type {other}, wanted 1 to 4"));
        }
    };
    let fits = match &kind {
        OptionType::Bool => default == "true" || default == "false",
        OptionType::Int { min, max } => default.parse().is_ok_and(|value: i64| (*min..=*max).contains(&value)),
        OptionType::Text => true,
        OptionType::Choice(choices) => choices.contains(&default),
    };
    if !fits {
        return Err(format!("{what}: option {id} has the default {default:?}, wanted {kind:?}"));
    }
    Ok(OptionInfo { id, kind, default, help })
}
