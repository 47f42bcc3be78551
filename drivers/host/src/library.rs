//! Loading a shared library for good.

use std::path::Path;

use tapewright_abi::LinkedEntry;
use tapewright_abi::raw;

use crate::HostError;

/// Loads the library and calls its entry function. The library is never unloaded: pointers a
/// module gives are valid until the process ends.
pub(crate) fn open(path: &Path) -> Result<LinkedEntry, HostError> {
    let refuse = |problem: String| HostError::Load { path: path.to_owned(), problem };
    check_permissions(path).map_err(refuse)?;
    // SAFETY: loading runs the library's initialisers. The caller put the file in a folder for
    // modules, and nobody else may write it; that is the promise there is.
    let library = unsafe { libloading::Library::new(path) }
        .map_err(|error| refuse(format!("cannot be loaded: {}", chain(&error))))?;
    // Kept for good, also when it turns out not to be a module: its initialisers have run, and
    // threads or exit handlers of it may exist.
    let library: &'static libloading::Library = Box::leak(Box::new(library));
    // SAFETY: driver.h gives the function of this name this type.
    let entry = unsafe { library.get::<raw::tw_entry_function>(raw::TW_ENTRY_SYMBOL.to_bytes_with_nul()) }
        .map_err(|_| refuse("does not export tapewright_driver_entry, as a driver module must".into()))?;
    // SAFETY: [any-thread], no arguments.
    let entry = unsafe { entry() };
    if entry.is_null() || !entry.is_aligned() {
        return Err(refuse(format!("its entry function returned {entry:?}, wanted a pointer to an entry")));
    }
    // The size is looked at before anything behind it is.
    // SAFETY: not null, aligned; driver.h: the entry starts with its size and is valid for good.
    let size = unsafe { entry.cast::<u32>().read() };
    if size < <raw::tw_entry as raw::Sized32>::SIZE {
        return Err(refuse(format!(
            "its entry has {size} bytes, wanted at least {}",
            <raw::tw_entry as raw::Sized32>::SIZE
        )));
    }
    // SAFETY: not null, aligned, large enough, valid for good (driver.h).
    let entry = unsafe { &*entry };
    // SAFETY: this is what a module promises by exporting the symbol; see above for who vouches.
    Ok(unsafe { LinkedEntry::new(entry) })
}

fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(inner) = source {
        text = format!("{text}: {inner}");
        source = inner.source();
    }
    text
}

/// Refuses a file that group or others may write: it could make the caller do what they want.
#[cfg(unix)]
pub(crate) fn check_permissions(path: &Path) -> Result<(), String> {
    use std::os::unix::fs::PermissionsExt;
    let data = std::fs::metadata(path).map_err(|error| error.to_string())?;
    let mode = data.permissions().mode() & 0o777;
    if mode & 0o022 != 0 {
        return Err(format!(
            "may be written by group or others (mode {mode:03o}), wanted at most 755; run chmod go-w on it"
        ));
    }
    Ok(())
}

#[cfg(not(unix))]
pub(crate) fn check_permissions(_path: &Path) -> Result<(), String> {
    Ok(())
}
