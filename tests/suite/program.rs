//! The program, run as a person runs it.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// The program under test.
pub(crate) fn path() -> &'static Path {
    Path::new(env!("CARGO_BIN_EXE_tapewright"))
}

/// A command of the program in a folder. It sees no settings of the person who runs the tests.
pub(crate) fn command(folder: &Path) -> Command {
    let mut command = Command::new(path());
    apart(&mut command, folder);
    command
}

/// Sets a command's folder and keeps the person's settings out.
pub(crate) fn apart(command: &mut Command, folder: &Path) {
    command.current_dir(folder).stdin(Stdio::null());
    command.env("TAPEWRIGHT_CONFIG", folder.join("no settings here")).env("TAPEWRIGHT_DATA", folder.join("data"));
}

/// Fails with a sentence where no driver module has been built.
pub(crate) fn needs_modules() {
    let folder = path().parent().expect("the program lies in a folder");
    let is_module = |name: &OsStr| {
        let name = name.to_string_lossy();
        name.starts_with(&format!("{}tapewright_driver_", std::env::consts::DLL_PREFIX))
            && name.ends_with(std::env::consts::DLL_SUFFIX)
    };
    let found = std::fs::read_dir(folder)
        .is_ok_and(|entries| entries.filter_map(Result::ok).any(|entry| is_module(&entry.file_name())));
    assert!(found, "no driver module beside the program: run `cargo build --workspace` first (tests/run does)");
}

/// What a run of the program left.
#[derive(Debug)]
pub(crate) struct Ran {
    /// The command line, for messages.
    pub(crate) what: String,
    pub(crate) code: Option<i32>,
    pub(crate) out: Vec<u8>,
    pub(crate) err: String,
}

impl Ran {
    pub(crate) fn new(command: &Command, output: Output) -> Self {
        let words: Vec<String> = command.get_args().map(|word| word.to_string_lossy().into_owned()).collect();
        Self {
            what: format!("tapewright {}", words.join(" ")),
            code: output.status.code(),
            out: output.stdout,
            err: String::from_utf8(output.stderr).expect("talk is UTF-8"),
        }
    }

    /// The answer as text.
    pub(crate) fn text(&self) -> &str {
        std::str::from_utf8(&self.out).unwrap_or_else(|_| panic!("{}: the answer is not UTF-8", self.what))
    }

    /// The answer as JSON: one line.
    #[track_caller]
    pub(crate) fn json(&self) -> serde_json::Value {
        let text = self.text();
        assert!(text.ends_with('\n') && text.lines().count() == 1, "{}: found {text:?}, wanted one line", self.what);
        serde_json::from_str(text).unwrap_or_else(|error| panic!("{}: {error}: {text}", self.what))
    }

    /// The run, which must have ended with this code and without a panic.
    #[track_caller]
    pub(crate) fn ended(self, code: i32) -> Self {
        assert!(!self.err.contains("panicked"), "{}: {}", self.what, self.err);
        assert_eq!(self.code, Some(code), "{}: exit code; it says: {}", self.what, self.err);
        self
    }
}

/// Runs the program in a folder.
pub(crate) fn run<S: AsRef<OsStr>>(folder: &Path, arguments: impl IntoIterator<Item = S>) -> Ran {
    let mut command = command(folder);
    command.args(arguments);
    let output = command.output().expect("the program starts");
    Ran::new(&command, output)
}

/// A folder that goes when the test ends.
pub(crate) fn folder() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder can be made in the target folder")
}

/// The names of all files below a folder, sorted.
pub(crate) fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).expect("the folder can be listed") {
            let path: PathBuf = entry.expect("the folder can be listed").path();
            let name = path.strip_prefix(folder).expect("below the folder").to_string_lossy().into_owned();
            if path.is_dir() {
                found.push(format!("{name}/"));
                folders.push(path);
            } else {
                found.push(name);
            }
        }
    }
    found.sort();
    found
}
