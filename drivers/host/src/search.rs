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
    /// Files with the name of a module, or of a family for one, that cannot be used, and why.
    pub refused: Vec<HostError>,
}

/// Loads all driver modules in `folders` into this process, and hands those that learn families
/// from files the files in the same folders.
///
/// Folders that do not exist are passed over; they are where modules *may* lie. A file that
/// others may write is refused (on Unix): it would let them run code as the caller. A module learns
/// its families when a process loads it first; files put in later wait for the next process.
pub fn find(folders: &[PathBuf]) -> Found<Module> {
    look(folders, |path| Module::load_with_files(path, folders))
}

/// As [`find`], with each module where `place` says.
pub fn find_in(folders: &[PathBuf], place: &Place) -> Found<Driver> {
    look(folders, |path| Driver::load(path, folders, place))
}

fn look<M>(folders: &[PathBuf], load: impl Fn(&Path) -> Result<(M, Vec<HostError>), HostError>) -> Found<M> {
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
                Ok((module, refused)) => {
                    found.modules.push(module);
                    found.refused.extend(refused);
                }
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
    files(folder, is_module_file)
}

/// The files in `folders` with this suffix, which describe families. A name found in an earlier
/// folder hides the same name in a later one.
pub(crate) fn family_files(folders: &[PathBuf], suffix: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = Vec::new();
    for folder in folders {
        for path in files(folder, |name| Path::new(name).extension() == Some(OsStr::new(suffix))) {
            if path.is_file() && found.iter().all(|known| known.file_name() != path.file_name()) {
                found.push(path);
            }
        }
    }
    found
}

fn files(folder: &Path, wanted: impl Fn(&OsStr) -> bool) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut files: Vec<PathBuf> =
        entries.filter_map(Result::ok).filter(|entry| wanted(&entry.file_name())).map(|entry| entry.path()).collect();
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
