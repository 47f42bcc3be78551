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

/// Who may write a file.
#[cfg(unix)]
#[derive(Clone, Copy)]
struct Access {
    mode: u32,
    owner: u32,
    group: u32,
}

#[cfg(unix)]
impl Access {
    fn of(path: &Path) -> std::io::Result<Access> {
        use std::os::unix::fs::MetadataExt;
        let data = std::fs::metadata(path)?;
        Ok(Access { mode: data.mode() & 0o7777, owner: data.uid(), group: data.gid() })
    }
}

/// Why a module must not be loaded: somebody may have changed it who could not change the program.
/// A group may write the module where the same group may write the program itself, as after a build
/// with a umask of 002; anything stricter would refuse such a build and keep nobody out.
#[cfg(unix)]
fn refusal(module: Access, folder: Access, program: Option<Access>) -> Option<String> {
    let mode = module.mode & 0o777;
    if mode & 0o002 != 0 {
        return Some(format!("may be written by anybody (mode {mode:03o}); run chmod o-w on it"));
    }
    let same =
        |program: Access| program.mode & 0o020 != 0 && (program.owner, program.group) == (module.owner, module.group);
    if mode & 0o020 != 0 && !program.is_some_and(same) {
        return Some(format!("may be written by its group (mode {mode:03o}); run chmod g-w on it"));
    }
    // Who may rename files in the folder may put another one in this one's place.
    if folder.mode & 0o1002 == 0o002 {
        return Some(format!(
            "lies in a folder anybody may write to (mode {:03o}); run chmod o-w on it",
            folder.mode & 0o777
        ));
    }
    None
}

#[cfg(unix)]
pub(crate) fn check_permissions(path: &Path) -> Result<(), String> {
    let access = |path: &Path| Access::of(path).map_err(|error| error.to_string());
    let folder = access(path.parent().unwrap_or(Path::new("/")))?;
    let program = std::env::current_exe().ok().and_then(|program| Access::of(&program).ok());
    refusal(access(path)?, folder, program).map_or(Ok(()), Err)
}

#[cfg(not(unix))]
pub(crate) fn check_permissions(_path: &Path) -> Result<(), String> {
    Ok(())
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn nobody_may_write_a_module_who_could_not_write_the_program() {
        let with = |mode, owner, group| Access { mode, owner, group };
        let shut = with(0o755, 0, 0);
        for (module, folder, program, wanted) in [
            (with(0o755, 5, 5), shut, Some(with(0o755, 9, 9)), ""),
            (with(0o757, 5, 5), shut, Some(with(0o777, 5, 5)), "anybody (mode 757)"),
            (with(0o775, 5, 5), shut, Some(with(0o775, 5, 5)), ""),
            (with(0o775, 5, 5), shut, Some(with(0o755, 5, 5)), "its group (mode 775)"),
            (with(0o775, 5, 6), shut, Some(with(0o775, 5, 5)), "its group"),
            (with(0o775, 6, 5), shut, Some(with(0o775, 5, 5)), "its group"),
            (with(0o775, 5, 5), shut, None, "its group"),
            (with(0o755, 5, 5), with(0o777, 0, 0), None, "a folder anybody may write to (mode 777)"),
            (with(0o755, 5, 5), with(0o1777, 0, 0), None, ""),
        ] {
            let found = refusal(module, folder, program).unwrap_or_default();
            assert!(
                found.contains(wanted) && found.is_empty() == wanted.is_empty(),
                "found `{found}`, wanted `{wanted}`"
            );
        }
    }
}
