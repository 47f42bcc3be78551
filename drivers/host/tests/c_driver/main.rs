//! `driver.h` and a C compiler: the Rust mirror has the same layout, and a module written in C
//! loads and works.

mod layout;
mod module;

use std::path::{Path, PathBuf};
use std::process::Command;

/// Folder of `driver.h`.
fn include() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../abi")
}

/// A folder of this test's own, empty.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Compiles C11, strictly.
fn compile(source: &Path, output: &Path, more: &[&str]) {
    let result = Command::new("cc")
        .args(["-std=c11", "-Wall", "-Wextra", "-Werror", "-pedantic", "-I"])
        .arg(include())
        .args(more)
        .arg("-o")
        .arg(output)
        .arg(source)
        .output()
        .expect("this test needs a C compiler named cc: install gcc or clang");
    let said = String::from_utf8_lossy(&result.stderr);
    assert!(result.status.success(), "cc refuses {}:\n{said}", source.display());
}
