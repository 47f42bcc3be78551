//! The module, linked, with the families of the tests.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use tapewright_driver_tests::{Family, case_folder, empty_folder};
use tapewright_host::Module;

use crate::round_trip;

/// A file that only its owner may write, as the host wants it, whatever the umask.
pub(crate) fn put(folder: &Path, name: &str, text: &str) {
    use std::os::unix::fs::PermissionsExt;
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
}

/// An empty folder of this test's own.
pub(crate) fn folder(name: &str) -> PathBuf {
    empty_folder(env!("CARGO_TARGET_TMPDIR"), name)
}

/// The module with the families built in, those of the cases, and those made for round trips; all
/// added by the host from one folder.
pub(crate) fn module() -> Module {
    static MODULE: OnceLock<Module> = OnceLock::new();
    *MODULE.get_or_init(|| {
        let folder = folder("families");
        for entry in std::fs::read_dir(case_folder("script").join("families")).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap();
            put(&folder, name, &std::fs::read_to_string(&path).unwrap());
        }
        for (name, text) in round_trip::descriptions() {
            put(&folder, &format!("{name}.toml"), &text);
        }
        let entry = tapewright_driver_script::linked_entry();
        let (module, refused) = Module::from_entry_with_files("script", entry, &[folder]).unwrap();
        assert!(refused.is_empty(), "{refused:?}");
        module
    })
}

/// A family of the module.
pub(crate) fn family(name: &str) -> Family {
    Family::new(module(), name)
}
