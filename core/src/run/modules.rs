//! Driver modules: where they are, and who must act on what they do.

use crate::error::{Error, Kind, Result};
use std::path::{Path, PathBuf};
use std::time::Duration;
use tapewright_host::{Apart, Check, Driver, FaultKind, HostError, LogLevel, Place, Work, find_in};

/// Where driver modules are looked for: beside the program, then in the user's folder.
pub fn driver_folders(user: Option<PathBuf>) -> Vec<PathBuf> {
    let beside = std::env::current_exe().ok().and_then(|program| program.parent().map(PathBuf::from));
    beside.into_iter().chain(user.map(|folder| folder.join("drivers"))).collect()
}

/// The argument after which this program serves the module whose path follows.
pub const SERVE: &str = "serve-module";

/// A process of its own for each module: this program again, which serves the module.
///
/// # Errors
/// Kind `Device`: the platform does not tell where this program is.
pub fn apart(patience: Duration) -> Result<Place> {
    let program = std::env::current_exe()
        .map_err(|error| Error::new(Kind::Device, format!("this program cannot find itself: {error}")))?;
    Ok(Place::Apart(Apart { program, arguments: vec![SERVE.into()], patience }))
}

/// The modules found, and those refused with the reason.
pub fn modules(folders: &[PathBuf], place: &Place) -> (Vec<Driver>, Vec<Error>) {
    let found = find_in(folders, place);
    (found.modules, found.refused.into_iter().map(host_error).collect())
}

/// The module in a file, with the family files of `folders`.
///
/// # Errors
/// Kind `Driver`: it cannot be used.
pub fn load_module(path: &Path, folders: &[PathBuf], place: &Place) -> Result<Driver> {
    Driver::load(path, folders, place).map(|(module, _)| module).map_err(host_error)
}

/// What the validator finds about a family of a module.
///
/// # Errors
/// Kind `Driver`: it has no such family.
pub fn check_module(module: &Driver, family: &str) -> Result<Vec<Check>> {
    tapewright_host::check(module, family).map_err(host_error)
}

/// The module that has a family.
///
/// # Errors
/// Kind `Driver`: none has it; names the families found and the folders looked in.
pub fn module_for<'m>(modules: &'m [Driver], family: &str, folders: &[PathBuf]) -> Result<&'m Driver> {
    modules.iter().find(|module| module.family(family).is_some()).ok_or_else(|| {
        let known: Vec<&str> = modules.iter().flat_map(|m| m.families().iter().map(|f| f.id.as_str())).collect();
        let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
        let folders: Vec<String> = folders.iter().map(|folder| folder.display().to_string()).collect();
        Error::driver(format!(
            "found no driver family `{family}` (found: {known}), wanted its module in {}; in the source tree `cargo build --release` makes the modules",
            folders.join(" or ")
        ))
    })
}

/// The families that are for a device: those with a pattern that `says`, asked with key and value,
/// finds in its device id.
pub fn takers(modules: &[Driver], says: impl Fn(&str, &str) -> bool) -> Vec<String> {
    let families = modules.iter().flat_map(Driver::families);
    let fits = families.filter(|family| family.patterns.iter().any(|pattern| says(&pattern.key, &pattern.value)));
    fits.map(|family| family.id.clone()).collect()
}

/// Who must act on what a module did.
pub(super) fn host_error(error: HostError) -> Error {
    let kind = match &error {
        HostError::Misuse { .. } => Kind::Bug,
        HostError::Fault(fault) => match fault.kind {
            FaultKind::Limit => Kind::Limit,
            FaultKind::BadArgument | FaultKind::Unsupported => Kind::Input,
            FaultKind::Fault => Kind::Device,
            FaultKind::BadState | FaultKind::Bug => Kind::Driver,
        },
        HostError::FamilyFile { .. } => Kind::Input,
        HostError::Load { .. } | HostError::NoFamily { .. } | HostError::Broken { .. } | HostError::Died { .. } => {
            Kind::Driver
        }
    };
    Error::new(kind, error.to_string())
}

/// Makes an instance of the printer's driver.
///
/// # Errors
/// Kind `Driver`: the module has no such family or does not keep its contract.
pub fn open(module: &Driver, family: &str, warn: impl Fn(&str) + Send + 'static) -> Result<Work> {
    let log = move |level: LogLevel, text: &str| {
        if matches!(level, LogLevel::Warning | LogLevel::Error) {
            warn(text);
        }
    };
    module.open(family, log).map_err(host_error)
}
