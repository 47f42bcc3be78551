//! Which files are driver modules.

use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use crate::{Driver, HostError, Module, Place};

/// What a search found.
#[derive(Debug)]
pub struct Found<M> {
    /// The modules, in the order of the folders, then of the names. A name found in an earlier
    /// folder hides the same name in a later one.
    pub modules: Vec<M>,
    /// Files with a module's name that cannot be used, and why.
    pub refused: Vec<HostError>,
}

/// Loads all driver modules in `folders` into this process.
///
/// Folders that do not exist are passed over; they are where modules *may* lie. A file that
/// others may write is refused (on Unix): it would let them run code as the caller.
pub fn find(folders: &[PathBuf]) -> Found<Module> {
    look(folders, Module::load)
}

/// As [`find`], with each module where `place` says.
pub fn find_in(folders: &[PathBuf], place: &Place) -> Found<Driver> {
    look(folders, |path| Driver::load(path, place))
}

fn look<M>(folders: &[PathBuf], load: impl Fn(&Path) -> Result<M, HostError>) -> Found<M> {
    let mut found = Found { modules: Vec::new(), refused: Vec::new() };
    let mut seen = Vec::new();
    for folder in folders {
        for path in module_files(folder) {
            let name = path.file_name().map(OsStr::to_owned);
            if seen.contains(&name) {
                continue;
            }
            seen.push(name);
            match load(&path) {
                Ok(module) => found.modules.push(module),
                Err(error) => found.refused.push(error),
            }
        }
    }
    found
}

/// Whether a file name is that of a driver module on this platform, such as
/// `libtapewright_driver_pwg.so`.
pub fn is_module_file(name: &OsStr) -> bool {
    name.to_str().and_then(module_name).is_some()
}

/// The module's own part of a file name: `pwg` of `libtapewright_driver_pwg.so`.
pub(crate) fn module_name(file_name: &str) -> Option<&str> {
    file_name
        .strip_prefix(DLL_PREFIX)?
        .strip_prefix("tapewright_driver_")?
        .strip_suffix(DLL_SUFFIX)
        .filter(|name| !name.is_empty())
}

fn module_files(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut files: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .filter(|entry| is_module_file(&entry.file_name()))
        .map(|entry| entry.path())
        .collect();
    files.sort();
    files
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_modules() {
        let name = |middle: &str| format!("{DLL_PREFIX}{middle}{DLL_SUFFIX}");
        assert!(is_module_file(OsStr::new(&name("tapewright_driver_pwg"))));
        assert!(!is_module_file(OsStr::new(&name("tapewright_driver_"))));
        assert!(!is_module_file(OsStr::new(&name("other"))));
        assert!(!is_module_file(OsStr::new("tapewright_driver_pwg.txt")));
        assert_eq!(module_name(&name("tapewright_driver_pwg")), Some("pwg"));
    }

    #[test]
    fn a_missing_folder_holds_nothing() {
        let found = find(&[PathBuf::from("/nonexistent/folder")]);
        assert!(found.modules.is_empty() && found.refused.is_empty());
    }
}
